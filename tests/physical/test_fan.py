"""Fans: exact cases, conservation, ambiguity and refusal."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ventcalc.equipment.fan import (
    FanCurve,
    Motor,
    SystemCurve,
    assumed_curve,
    operating_point,
    remarks,
    system_through,
)
from ventcalc.errors import BadInput, OutOfRange

AIRFLOW = (0.0, 4.0, 8.0, 10.0, 12.0, 14.0)
FALLING = (500.0, 480.0, 400.0, 310.0, 190.0, 0.0)
STALLING = (500.0, 300.0, 420.0, 330.0, 190.0, 0.0)
POWER = (3000.0, 4000.0, 5000.0, 5200.0, 5000.0, 4000.0)
FAN = FanCurve(airflow=AIRFLOW, static_pressure=FALLING, shaft_power=POWER)
STALLER = FanCurve(airflow=AIRFLOW, static_pressure=STALLING, accept_stall=True)
MOTOR = Motor(rating=5100.0, efficiency=0.9)


@settings(deadline=None)
@given(
    coefficient=st.floats(1e-3, 1e3), fixed=st.floats(-100.0, 900.0), speed=st.floats(0.05, 1.5),
    count=st.integers(1, 8), density=st.floats(0.8, 1.4),
)  # fmt: skip
def test_straight_fan_against_square_system_is_a_quadratic(
    coefficient, fixed, speed, count, density
):
    """1000 (1 - q/20) Pa, scaled by the fan laws, equals c (n q)² + fixed in closed form."""
    fan = FanCurve(airflow=(0.0, 20.0), static_pressure=(1000.0, 0.0))
    point = operating_point(
        fan, SystemCurve(coefficient=coefficient, fixed=fixed), fan_speed=speed, count=count,
        density=density,
    )  # fmt: skip
    dense = density / 1.2
    a, b = coefficient * count**2, 1000.0 / 20.0 * speed * dense
    c = fixed - 1000.0 * speed**2 * dense
    if c >= 0.0:
        assert point.airflow == 0.0
        assert point.deadhead
        return
    exact = 2.0 * -c / (b + math.sqrt(b * b - 4.0 * a * c))
    if exact > 20.0 * speed:
        assert point.beyond_curve
        assert math.isnan(point.airflow)
    else:
        assert point.airflow_per_fan == pytest.approx(exact, rel=1e-9, abs=1e-9)
        assert not point.ambiguous


def test_point_lies_on_both_curves():
    system = SystemCurve(coefficient=np.linspace(0.1, 40.0, 200), exponent=1.8, fixed=20.0)
    point = operating_point(FAN, system, fan_speed=0.8, density=1.0, count=3)
    assert point.airflow.shape == (200,)
    inside = ~point.beyond_curve
    assert inside.sum() > 190
    flow, own = point.airflow[inside], point.airflow_per_fan[inside]
    needed = 20.0 + system.coefficient[inside] * flow**1.8
    assert point.static_pressure[inside] == pytest.approx(needed, rel=1e-9)
    assert FAN.pressure_at(own, fan_speed=0.8, density=1.0) == pytest.approx(needed, rel=1e-9)
    assert (np.diff(flow) < 0.0).all()


def test_thin_air_leaves_the_airflow_of_a_square_system():
    """Fan and duct pressure both go with density, so only pressure and power fall."""
    low = operating_point(FAN, system_through(10.0, 300.0))
    high = operating_point(FAN, system_through(10.0, 300.0 * 0.8), density=1.2 * 0.8)
    assert high.airflow == pytest.approx(low.airflow, rel=1e-9)
    assert high.shaft_power == pytest.approx(0.8 * low.shaft_power, rel=1e-9)


def test_two_fans_are_one_of_double_airflow():
    double = FanCurve(airflow=tuple(2.0 * q for q in AIRFLOW), static_pressure=FALLING)
    system = system_through(18.0, 350.0)
    pair, one = operating_point(FAN, system, count=2), operating_point(double, system)
    assert pair.airflow == pytest.approx(one.airflow, rel=1e-12)


def test_more_fans_add_less_each():
    point = operating_point(FAN, system_through(10.0, 300.0), count=np.arange(1, 6))
    gain = np.diff(point.airflow)
    assert (gain > 0.0).all()
    assert (np.diff(gain) < 0.0).all()


def test_all_the_electricity_becomes_heat_in_the_air():
    inside = operating_point(FAN, system_through(30.0, 300.0), count=3, motor=MOTOR)
    outside = operating_point(
        FAN, system_through(30.0, 300.0), count=3,
        motor=Motor(rating=5100.0, efficiency=0.9, in_airstream=False),
    )  # fmt: skip
    assert inside.heat == inside.electrical_power == pytest.approx(inside.shaft_power / 0.9)
    assert outside.heat == outside.shaft_power
    air_power = inside.airflow * inside.static_pressure
    assert inside.fan_efficiency == pytest.approx(air_power / inside.shaft_power)
    assert air_power < inside.shaft_power < inside.electrical_power


def test_stalling_curve_tells_every_intersection():
    system = SystemCurve(coefficient=0.2, fixed=340.0)
    point = operating_point(STALLER, system)
    assert point.intersections.size == 3
    assert point.ambiguous
    for flow in point.intersections:
        assert STALLER.pressure_at(flow) == pytest.approx(340.0 + 0.2 * flow**2, rel=1e-9)
    assert point.airflow == pytest.approx(point.intersections[-1])
    assert not point.stalled
    assert any("more than one airflow" in line for line in remarks(point))


def test_stalled_region_is_marked():
    point = operating_point(STALLER, SystemCurve(coefficient=np.array([100.0, 3.0])))
    assert point.stalled.tolist() == [True, False]
    assert STALLER.stall_airflow == 8.0
    assert FAN.stall_airflow == 0.0


def test_fan_that_cannot_start_but_could_run_is_ambiguous():
    """At no flow the pressure wanted is above the shut-off; further right the fan would hold."""
    humped = FanCurve(airflow=AIRFLOW, static_pressure=(300.0, 350.0, 420.0, 330.0, 190.0, 0.0),
                      accept_stall=True)  # fmt: skip
    point = operating_point(humped, SystemCurve(coefficient=0.0, fixed=340.0))
    assert point.ambiguous
    assert point.airflow > 8.0


@pytest.mark.parametrize(
    "system",
    [SystemCurve(coefficient=math.inf), SystemCurve(coefficient=1.0, fixed=600.0)],
)
def test_shut_doors(system):
    point = operating_point(FAN, system, motor=MOTOR)
    assert point.deadhead
    assert point.airflow == pytest.approx(0.0, abs=1e-9)
    assert point.static_pressure == pytest.approx(500.0)
    assert point.shaft_power == pytest.approx(3000.0)
    assert any("shut doors" in line for line in remarks(point))


def test_standing_fan_moves_nothing_and_is_no_fault():
    point = operating_point(FAN, system_through(10.0, 300.0), fan_speed=0.0, motor=MOTOR)
    assert (point.airflow, point.static_pressure, point.electrical_power) == (0.0, 0.0, 0.0)
    assert remarks(point) == ()


def test_overloaded_motor():
    point = operating_point(
        FAN, system_through(10.0, 310.0), fan_speed=np.array([0.9, 1.0]), motor=MOTOR
    )
    assert point.overloaded.tolist() == [False, True]
    assert "(1 of 2 cases)" in remarks(point)[0]


def test_nothing_is_extrapolated():
    free = operating_point(FAN, SystemCurve(coefficient=0.0))
    assert free.airflow == pytest.approx(14.0)
    short = FanCurve(airflow=(6.0, 10.0), static_pressure=(400.0, 300.0))
    assert operating_point(short, SystemCurve(coefficient=0.1)).beyond_curve
    steep = operating_point(short, SystemCurve(coefficient=100.0))
    assert steep.below_curve
    assert math.isnan(steep.airflow)
    assert math.isnan(short.pressure_at(5.0))


def test_efficiency_and_power_say_the_same():
    known = [q * p / w for q, p, w in zip(AIRFLOW, FALLING, POWER, strict=True)]
    fan = FanCurve(airflow=AIRFLOW, static_pressure=FALLING, efficiency=known)
    assert fan.power_curve(np.array(AIRFLOW[1:5])) == pytest.approx(POWER[1:5], rel=1e-12)
    assert np.isnan(fan.power_curve(np.array([0.0]))).all()


def test_nan_stays_in_its_element():
    point = operating_point(
        FAN, system_through(10.0, 300.0), fan_speed=np.array([0.5, np.nan, 1.0])
    )
    assert np.isnan(point.airflow).tolist() == [False, True, False]
    assert np.isnan(point.shaft_power).tolist() == [False, True, False]


def test_any_callable_is_a_system():
    with_callable = operating_point(FAN, lambda q: 50.0 + 2.0 * q + 1.5 * q**2, fan_speed=0.9)
    flow = with_callable.airflow
    assert with_callable.static_pressure == pytest.approx(50.0 + 2.0 * flow + 1.5 * flow**2)


def test_assumed_curve_passes_through_the_known_point():
    fan = assumed_curve(9.0, 280.0, fan_efficiency=0.6, density=1.1)
    point = operating_point(fan, system_through(9.0, 280.0))
    assert point.airflow == pytest.approx(9.0, rel=1e-9)
    assert point.fan_efficiency == pytest.approx(0.6, rel=1e-9)
    assert fan.pressure_at(0.0) == pytest.approx(1.4 * 280.0)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"static_pressure": STALLING}, "accept_stall"),
        ({"static_pressure": FALLING[::-1], "accept_stall": True}, "swapped"),
        ({"airflow": (0.0, 4.0, 4.0, 10.0, 12.0, 14.0)}, "sort the points"),
        ({"airflow": AIRFLOW[:-1]}, "one for each"),
        ({"shaft_power": tuple(w / 1000.0 for w in POWER)}, "kilowatt"),
        ({"shaft_power": None, "efficiency": (0.0, 50.0, 60.0, 60.0, 50.0, 0.0)}, "percent"),
        ({"efficiency": (0.5,) * 6}, "not both"),
        ({"static_pressure": (500.0, math.nan, 400.0, 310.0, 190.0, 0.0)}, "must be a number"),
        ({"density": 0.0}, "above 0"),
    ],
)
def test_bad_curves_are_refused(change, words):
    given_ = {"airflow": AIRFLOW, "static_pressure": FALLING, "shaft_power": POWER, **change}
    with pytest.raises(BadInput, match=words):
        FanCurve(**given_)


def test_likely_slips_are_named():
    with pytest.raises(OutOfRange, match="percent"):
        operating_point(FAN, system_through(10.0, 300.0), fan_speed=80.0)
    with pytest.raises(OutOfRange, match="lb/ft3"):
        operating_point(FAN, system_through(10.0, 300.0), density=0.075)
