"""Ducts and laterals: exact cases, identities, limits and refusal."""

from __future__ import annotations

import math

import fluids
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ventcalc.equipment import duct
from ventcalc.equipment.fan import FanCurve, operating_point
from ventcalc.equipment.lateral import (
    Lateral,
    lateral_flow,
    least_share,
    problems,
    uniformity,
)
from ventcalc.equipment.shared_plenum import shared_plenum
from ventcalc.errors import BadInput, OutOfRange

AIR = {"density": 1.25, "viscosity": 1.77e-5}
PIPE = duct.round_section(0.5)
SLIPPERY = duct.Section(area=0.2, hydraulic_diameter=1e9)
LATERAL = Lateral(length=15.0, section=PIPE, ports=40, port_area=0.0035, roughness=1.5e-4)


def pipe(**change):
    settings = {
        "length": 15.0, "section": PIPE, "ports": 40, "port_area": 0.0035, "roughness": 1.5e-4
    }  # fmt: skip
    return Lateral(**{**settings, **change})


def test_friction_factor_is_continuous():
    re = np.array([1999.999, 2000.001, 3999.999, 4000.001])
    f = duct.friction_factor(re, 1e-3)
    assert f[1] == pytest.approx(f[0], rel=1e-5)
    assert f[3] == pytest.approx(f[2], rel=1e-5)


def test_sections():
    half, whole = duct.half_round_section(0.6), duct.round_section(0.6)
    assert half.area == pytest.approx(whole.area / 2.0)
    perimeter = math.pi * 0.3 + 0.6
    assert half.hydraulic_diameter == pytest.approx(4.0 * half.area / perimeter)
    assert duct.rectangular_section(2.0, 2.0).hydraulic_diameter == pytest.approx(2.0)


def test_three_ports_by_hand():
    """
    No friction, regain 1, r = Cd a / A. With p1 at the dead end, and each port's jet
    w = sqrt(2 p / rho): p2 = p1 - rho/2 (r w1)², p3 = p1 - rho/2 (r (w1 + w2))²,
    plenum = p1 + 0.5 * rho/2 (r (w1 + w2 + w3))².
    """
    lateral = pipe(section=SLIPPERY, ports=3, port_area=0.06, roughness=0.0)
    rho, r, p1 = 1.25, 0.65 * 0.06 / 0.2, 200.0
    w1 = math.sqrt(2.0 * p1 / rho)
    p2 = p1 - 0.5 * rho * (r * w1) ** 2
    w2 = math.sqrt(2.0 * p2 / rho)
    p3 = p1 - 0.5 * rho * (r * (w1 + w2)) ** 2
    w3 = math.sqrt(2.0 * p3 / rho)
    plenum = p1 + 0.5 * 0.5 * rho * (r * (w1 + w2 + w3)) ** 2
    flow = lateral_flow(lateral, plenum_pressure=plenum, **AIR)
    assert flow.end_pressure == pytest.approx(p1, rel=1e-9)
    assert flow.static_pressure == pytest.approx([p3, p2, p1], rel=1e-9)
    assert flow.port_airflow == pytest.approx(0.65 * 0.06 * np.array([w3, w2, w1]), rel=1e-9)
    assert type(flow.airflow) is float


def sine_law_error(ports, regain):
    """
    Even slot without friction: u' = (Cd S / A L) sqrt(k) sqrt(1 - u²), u = V / sqrt(2 p / k rho).

    So the head velocity is sqrt(2 p_end / (k rho)) sin(sqrt(k) Cd S / A).
    """
    lateral = pipe(
        section=SLIPPERY, ports=ports, port_area=0.18 / ports, roughness=0.0, regain=regain
    )
    flow = lateral_flow(lateral, plenum_pressure=250.0, **AIR)
    top = math.sqrt(2.0 * flow.end_pressure / (regain * 1.25))
    exact = top * math.sin(math.sqrt(regain) * 0.65 * 0.18 / 0.2)
    return flow.airflow / 0.2 / exact - 1.0


@pytest.mark.parametrize("regain", [0.5, 1.0])
def test_many_ports_approach_the_sine_law_of_a_slot(regain):
    errors = [abs(sine_law_error(n, regain)) for n in (50, 100, 200)]
    assert errors[2] < 1e-3
    assert errors[0] / errors[1] == pytest.approx(2.0, rel=0.05)
    assert errors[1] / errors[2] == pytest.approx(2.0, rel=0.05)


@settings(max_examples=40, deadline=None)
@given(
    pressure=st.floats(1.0, 1000.0), regain=st.floats(0.0, 1.0), entry=st.floats(0.0, 2.0),
    roughness=st.floats(0.0, 0.005), outside=st.floats(-20.0, 0.9),
)  # fmt: skip
def test_plenum_pressure_is_spent_and_nothing_else(pressure, regain, entry, roughness, outside):
    """Plenum less dead end = friction (by fluids) + (1 + entry - regain) velocity pressures."""
    lateral = pipe(regain=regain, entry_loss=entry, roughness=roughness)
    flow = lateral_flow(lateral, plenum_pressure=pressure, outlet_pressure=outside, **AIR)
    spacing = 15.0 / 40
    lengths = np.full(40, spacing)
    lengths[0] = spacing / 2.0
    friction = 0.0
    for v, length in zip(flow.velocity, lengths, strict=True):
        re = float(1.25 * v * 0.5 / 1.77e-5)
        if re > 4000.0:
            f = fluids.friction.Colebrook(re, roughness / 0.5)
        else:
            f = duct.friction_factor(re, roughness / 0.5)
        friction += f * length / 0.5 * 0.625 * v**2
    head = (1.0 + entry - regain) * 0.625 * flow.velocity[0] ** 2
    assert pressure - flow.end_pressure == pytest.approx(friction + head, rel=1e-6, abs=1e-8)
    jets = np.sqrt(2.0 * (flow.static_pressure - outside) / 1.25)
    assert flow.port_airflow == pytest.approx(0.65 * 0.0035 * jets, rel=1e-9)
    assert flow.airflow == pytest.approx(flow.velocity[0] * PIPE.area, rel=1e-9)


def test_ports_give_out_no_more_power_than_comes_in():
    flow = lateral_flow(LATERAL, plenum_pressure=250.0, **AIR)
    assert np.sum(flow.port_airflow * flow.static_pressure) < 250.0 * flow.airflow


def test_many_cases_equal_single_ones():
    pressure = np.linspace(1.0, 500.0, 25)
    together = lateral_flow(LATERAL, plenum_pressure=pressure, **AIR)
    alone = [lateral_flow(LATERAL, plenum_pressure=float(p), **AIR) for p in pressure]
    assert together.airflow == pytest.approx([f.airflow for f in alone], rel=1e-9)
    assert together.port_airflow[:, 3] == pytest.approx(alone[3].port_airflow, rel=1e-9)
    assert together.uniformity == pytest.approx([f.uniformity for f in alone], rel=1e-9)


def test_sizes_can_be_swept_in_one_call():
    sweep = lateral_flow(
        pipe(section=duct.round_section(np.linspace(0.45, 0.9, 10))), plenum_pressure=250.0, **AIR
    )
    assert (np.diff(sweep.uniformity) > 0.0).all()
    assert (np.diff(sweep.airflow) > 0.0).all()


def ports_within(length):
    """Ports that lie within a distance of the plenum; ports first, then the shape of it. [m]"""
    places = (np.arange(LATERAL.ports) + 0.5) * (LATERAL.length / LATERAL.ports)
    return np.less_equal.outer(places, length)


def test_a_short_lateral_is_a_long_one_with_its_end_plugged():
    plugged = lateral_flow(LATERAL, plenum_pressure=250.0, open_ports=ports_within(7.5), **AIR)
    short = lateral_flow(pipe(length=7.5, ports=20), plenum_pressure=250.0, **AIR)
    assert plugged.airflow == pytest.approx(short.airflow, rel=1e-9)
    assert plugged.port_airflow[:20] == pytest.approx(short.port_airflow, rel=1e-9)
    assert (plugged.port_airflow[20:] == 0.0).all()
    assert plugged.uniformity == pytest.approx(short.uniformity, rel=1e-9)


def test_ports_left_open_beyond_the_crop_draw_air_away():
    under = ports_within(7.5)
    pile = np.where(under, 30.0, 0.0)
    left = lateral_flow(LATERAL, plenum_pressure=60.0, outlet_pressure=pile, **AIR)
    plugged = lateral_flow(
        LATERAL, plenum_pressure=60.0, outlet_pressure=pile, open_ports=under, **AIR
    )
    assert left.port_airflow[under].sum() < plugged.port_airflow.sum()
    assert left.port_airflow[~under].sum() > left.port_airflow[under].sum()


def test_nothing_flows_without_pressure_and_nan_stays():
    flow = lateral_flow(LATERAL, plenum_pressure=np.array([0.0, np.nan, 50.0]), **AIR)
    assert flow.airflow[0] == 0.0
    assert np.isnan(flow.airflow).tolist() == [False, True, False]


def test_shared_plenum_balances():
    mask = ports_within(np.array([15.0, 15.0, 7.5, 15.0]))
    plenum = shared_plenum(LATERAL, airflow=4.0, open_ports=mask, **AIR)
    flows = plenum.laterals.airflow
    assert flows.sum() == pytest.approx(4.0, rel=1e-9)
    assert flows[0] == pytest.approx(flows[3], rel=1e-12)
    assert flows[2] < flows[0]
    single = lateral_flow(LATERAL, plenum_pressure=plenum.plenum_pressure, **AIR)
    assert single.airflow == pytest.approx(flows[0], rel=1e-8)


def test_closing_ports_raises_the_pressure_and_the_rest_get_more():
    full = ports_within(np.full(4, 15.0))
    fewer = ports_within(np.array([15.0, 15.0, 15.0, 0.0]))
    before = shared_plenum(LATERAL, airflow=4.0, open_ports=full, **AIR)
    after = shared_plenum(LATERAL, airflow=4.0, open_ports=fewer, **AIR)
    assert after.plenum_pressure > before.plenum_pressure
    assert after.laterals.airflow[3] == pytest.approx(0.0, abs=1e-12)
    assert after.laterals.airflow[:3] == pytest.approx(4.0 / 3.0, rel=1e-9)
    assert before.uniformity == pytest.approx(before.laterals.uniformity[0], rel=1e-9)


def test_shared_plenum_over_airflows_is_a_system_for_the_fan():
    mask = ports_within(np.full(4, 15.0))

    def system(airflow):
        return shared_plenum(LATERAL, airflow=airflow, open_ports=mask, **AIR).plenum_pressure

    fan = FanCurve(airflow=(0.0, 2.0, 4.0), static_pressure=(400.0, 300.0, 0.0))
    point = operating_point(fan, system, count=2)
    alone = shared_plenum(LATERAL, airflow=point.airflow, open_ports=mask, **AIR)
    assert alone.plenum_pressure == pytest.approx(point.static_pressure, rel=1e-8)


def test_uniformity_by_hand():
    """1, 2, 3: mean 2, mean deviation 2/3."""
    assert uniformity([1.0, 2.0, 3.0]) == pytest.approx(2.0 / 3.0)
    assert least_share([1.0, 2.0, 3.0]) == pytest.approx(0.5)
    assert uniformity([2.0, 2.0, 9.0], used=[True, True, False]) == 1.0
    assert math.isnan(uniformity([0.0, 0.0]))


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"port_area": 0.01}, "ports total 0.4 m² but the duct has only"),
        ({"port_area": (0.003, 0.003)}, "one for each of 40"),
        ({"length": 500.0}, "length must lie"),
        ({"regain": 1.5}, "regain must lie"),
        ({"discharge_coefficient": 65.0}, "discharge_coefficient must lie"),
    ],
)
def test_bad_laterals_are_refused(change, words):
    with pytest.raises(BadInput, match=words):
        pipe(**change)


def test_lateral_longer_than_its_bay():
    assert problems(LATERAL, bay_length=20.0) == []
    assert problems(LATERAL, bay_length=12.0) == [
        "lateral is 15 m long but the bay only 12 m: shorten it, or correct the bay"
    ]


def test_likely_slips_are_named():
    with pytest.raises(OutOfRange, match="plenum_pressure less outlet_pressure"):
        lateral_flow(LATERAL, plenum_pressure=10.0, outlet_pressure=30.0, **AIR)
    with pytest.raises(OutOfRange, match="inches"):
        duct.round_section(18.0)
    with pytest.raises(BadInput, match="no way out"):
        shared_plenum(LATERAL, airflow=1.0, open_ports=np.zeros((40, 2)), **AIR)


def test_velocity_remarks():
    chain = duct.velocity_chain(10.0, outlet_area=2.5, duct_area=2.0, plenum_area=1.0)
    lines = " ".join(duct.remarks(chain))
    assert chain.area_ratio == 1.25
    assert not chain.outlet_fast
    for words in ("rule 0.85", "dead end takes most", "plenum is fast"):
        assert words in lines
