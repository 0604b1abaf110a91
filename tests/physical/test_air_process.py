"""Processes of moist air: water and enthalpy balances, fog, limits."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ventcalc import air
from ventcalc.air import process as process
from ventcalc.errors import OutOfRange

ATM = 101325.0
temperatures = st.floats(-30.0, 40.0)
humidities = st.floats(0.05, 1.0)
pressures = st.floats(75e3, 102e3)
shares = st.floats(0.0, 1.0)


def total_enthalpy(blend, p):
    """Air, vapour and fog, the fog by published heats: ice -333.4 + 2.1 t, water 4.19 t kJ/kg."""
    t = blend.temperature
    condensed = np.where(t < air.FREEZING, -333.4e3 + t * (2096.0 + 3.6 * t), 4196.0 * t)
    return air.enthalpy(t, blend.humidity_ratio, p) + blend.liquid * condensed


@given(shares, temperatures, humidities, temperatures, humidities, pressures)
def test_mixing_conserves_water_and_enthalpy(share, t1, rh1, t2, rh2, p):
    w1, w2 = air.humidity_ratio(t1, rh1, p), air.humidity_ratio(t2, rh2, p)
    blend = process.mix(1.0 - share, t1, w1, share, t2, w2, p)
    water = (1.0 - share) * w1 + share * w2
    heat = (1.0 - share) * air.enthalpy(t1, w1, p) + share * air.enthalpy(t2, w2, p)
    assert blend.humidity_ratio + blend.liquid == pytest.approx(water, rel=1e-12)
    assert blend.enthalpy == pytest.approx(heat, rel=1e-12, abs=1e-8)
    if abs(blend.temperature - air.FREEZING) > 1e-9:  # there fog may be partly frozen
        assert total_enthalpy(blend, p) == pytest.approx(heat, abs=2.0)
    assert blend.liquid >= 0.0
    rh = air.relative_humidity(blend.temperature, blend.humidity_ratio, p)
    assert rh <= 1.0 + 1e-9
    if blend.liquid > 0.0:
        assert rh == pytest.approx(1.0, abs=1e-9)


def test_cold_outside_air_makes_fog_of_return_air():
    """
    Return air of 5 °C and 98 % blended to 3 °C with outside air of -20 °C.

    Derived, as a sanity check: about 0.12 g/kg too much water at 3 °C by dry bulb alone, and the
    heat of condensation warms the blend by 0.1 to 0.4 K.
    """
    w1, w2 = air.humidity_ratio(5.0, 0.98, ATM), air.humidity_ratio(-20.0, 0.8, ATM)
    share = 0.08
    blend = process.mix(1.0 - share, 5.0, w1, share, -20.0, w2, ATM)
    water = (1.0 - share) * w1 + share * w2
    excess = water - air.saturation_humidity_ratio(3.0, ATM)
    assert 0.1e-3 < excess < 0.3e-3
    assert 0.05e-3 < blend.liquid < excess
    assert 3.1 < blend.temperature < 3.4


def test_fog_freezes_below_zero_and_waits_at_the_freezing_point():
    w = 0.006
    freezing = air.saturation_humidity_ratio(air.FREEZING, ATM)
    vapour = air.enthalpy(air.FREEZING, freezing, ATM)
    half = process.saturated_split(vapour + (w - freezing) * -167e3, w, ATM)
    assert half.temperature == pytest.approx(air.FREEZING, abs=1e-9)
    assert half.liquid == pytest.approx(w - freezing, rel=1e-9)
    warm = process.saturated_split(vapour + (w - freezing) * 100.0, w, ATM)
    cold = process.saturated_split(vapour + (w - freezing) * -333.5e3, w, ATM)
    assert warm.temperature >= air.FREEZING > cold.temperature > -0.2


def test_splitting_is_continuous_and_rises_with_enthalpy():
    h = np.linspace(-30e3, 40e3, 20_001)
    split = process.saturated_split(h, 0.006, 95e3)
    steps = np.diff(split.temperature)
    assert (steps >= -1e-9).all()
    assert steps.max() < 3.5 / 1000.0 * 1.2  # no faster than dry air, 1005 J/(kg K)
    assert np.abs(np.diff(split.liquid)).max() < 2e-6
    assert split.liquid[0] > 0.0 == split.liquid[-1]


@given(st.floats(1.0, 45.0), st.floats(0.05, 0.98), pressures)
def test_a_perfect_pad_saturates_at_the_wet_bulb(t, rh, p):
    w = air.humidity_ratio(t, rh, p)
    leaving, humid = process.humidify_adiabatic(t, w, p, effectiveness=1.0)
    assert leaving == pytest.approx(air.wet_bulb(t, w, p), abs=2e-3)
    assert air.relative_humidity(leaving, humid, p) == pytest.approx(1.0, abs=2e-4)


@given(st.floats(5.0, 40.0), st.floats(0.1, 0.95), st.floats(0.0, 1.0), st.floats(1.0, 30.0))
def test_humidifying_takes_its_heat_from_the_air(t, rh, effectiveness, water_temperature):
    w = air.humidity_ratio(t, rh, ATM)
    leaving, humid = process.humidify_adiabatic(
        t, w, ATM, effectiveness=effectiveness, water_temperature=water_temperature
    )
    brought = (humid - w) * 4196.0 * water_temperature
    gained = air.enthalpy(leaving, humid, ATM) - air.enthalpy(t, w, ATM)
    assert gained == pytest.approx(brought, abs=2.0)
    assert humid >= w


@given(st.floats(1.0, 40.0), st.floats(0.1, 0.9), st.floats(0.9, 1.0), pressures)
def test_humidifying_to_a_humidity_reaches_it(t, rh, wanted, p):
    w = air.humidity_ratio(t, rh, p)
    leaving, humid, water = process.humidify_to(t, w, p, relative_humidity=wanted)
    assert air.relative_humidity(leaving, humid, p) == pytest.approx(wanted, abs=1e-8)
    assert water == pytest.approx(humid - w, rel=1e-9, abs=1e-15)
    assert water >= -1e-12


def test_too_humid_already_is_told_by_the_sign():
    _, _, water = process.humidify_to(5.0, 0.0052, ATM, relative_humidity=0.9)
    assert water < 0.0


@given(temperatures, humidities, st.floats(-5000.0, 5000.0), pressures)
def test_heating_adds_its_heat_and_no_water(t, rh, per_kilogram, p):
    w = air.humidity_ratio(t, rh, p)
    leaving = process.heat(t, w, p, heat_flow=per_kilogram * 3.0, mass_flow=3.0)
    gained = air.enthalpy(leaving, w, p) - air.enthalpy(t, w, p)
    assert gained == pytest.approx(per_kilogram, abs=1e-6)


def test_a_kilowatt_warms_a_kilogram_by_one_kelvin():
    """Specific heat of moist air about 1.01 kJ/(kg K): common practice, no source."""
    assert process.heat(5.0, 0.005, ATM, heat_flow=1000.0, mass_flow=1.0) - 5.0 == pytest.approx(
        0.986, abs=0.005
    )


@given(st.floats(2.0, 35.0), st.floats(0.3, 1.0), st.floats(-10.0, 20.0), shares)
def test_coil_balances(t, rh, surface, bypass):
    w = air.humidity_ratio(t, rh, ATM)
    leaving, out, condensate, total, sensible = process.cool_coil(
        t, w, ATM, surface_temperature=surface, bypass_factor=bypass
    )
    assert out + condensate == pytest.approx(w, rel=1e-12)
    ice = -333.4e3 + surface * (2096.0 + 3.6 * surface)
    drained = 4196.0 * surface if surface >= air.FREEZING else ice
    left = air.enthalpy(leaving, out, ATM) + total + condensate * drained
    assert left == pytest.approx(air.enthalpy(t, w, ATM), abs=5.0)  # of the linear heats
    assert condensate >= 0.0
    assert (condensate > 0.0) == (
        bypass < 1.0 and w > air.saturation_humidity_ratio(surface, ATM)
    ) or condensate < 1e-15
    if condensate == 0.0:
        assert sensible == pytest.approx(total, abs=1e-6)


def test_coil_without_bypass_gives_the_surface_and_with_full_bypass_nothing():
    met = process.cool_coil(10.0, 0.0065, ATM, surface_temperature=2.0, bypass_factor=0.0)
    assert met[0] == pytest.approx(2.0, abs=1e-9)
    assert met[1] == pytest.approx(air.saturation_humidity_ratio(2.0, ATM), rel=1e-12)
    missed = process.cool_coil(10.0, 0.0065, ATM, surface_temperature=2.0, bypass_factor=1.0)
    assert missed == pytest.approx((10.0, 0.0065, 0.0, 0.0, 0.0), abs=1e-9)


def test_arrays_floats_and_nan():
    t = np.array([5.0, math.nan, 12.0])
    blend = process.mix(1.0, t, 0.004, np.array([[0.5], [1.0]]), -10.0, 0.001, 1e5)
    assert blend.temperature.shape == blend.enthalpy.shape == (2, 3)
    assert np.isnan(blend.temperature[:, 1]).all()
    alone = process.mix(1.0, 12.0, 0.004, 0.5, -10.0, 0.001, 1e5)
    assert type(alone.temperature) is float
    assert blend.temperature[0, 2] == pytest.approx(alone.temperature, rel=1e-12)
    assert np.isnan(process.heat(t, 0.004, 1e5, heat_flow=1.0, mass_flow=1.0)).tolist() == [
        False,
        True,
        False,
    ]
    empty = process.mix(np.empty(0), 5.0, 0.004, 0.5, -10.0, 0.001, 1e5)
    assert empty.temperature.shape == (0,)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: process.mix(0.0, 5.0, 0.004, 0.0, 3.0, 0.004, 1e5), "mass_flow must lie"),
        (lambda: process.mix(1.0, 5.0, 4.0, 1.0, 3.0, 0.004, 1e5), "humidity_ratio_1.*g/kg"),
        (lambda: process.mix(-1.0, 5.0, 0.004, 3.0, 3.0, 0.004, 1e5), "mass_flow_1"),
        (lambda: process.heat(5.0, 0.004, 1e5, heat_flow=1.0, mass_flow=0.0), "above zero"),
        (
            lambda: process.humidify_adiabatic(5.0, 0.004, 1e5, effectiveness=85.0),
            "effectiveness.*percentage",
        ),
        (lambda: process.saturated_split(40.0e6, 0.004, 1e5), "enthalpy"),
    ],
)
def test_refusals(call, message):
    with pytest.raises(OutOfRange, match=message):
        call()
