"""Air with constant heats: balances, round trips, and its distance from ``air``."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from ventcalc._ops import ARRAY, SCALAR

from ventcalc import air
from ventcalc.air import plain as plain_air
from ventcalc.air import process as air_process

approx = pytest.approx
temperatures = st.floats(-30.0, 30.0)
humidities = st.floats(0.05, 1.0)
pressures = st.floats(75e3, 102e3)
shares = st.floats(0.0, 1.0)


def enthalpy_with_fog(temperature, vapour, fog, ops=SCALAR):
    return plain_air.enthalpy(temperature, vapour) + fog * plain_air.fog_heat(temperature, ops)


def blend(share, t1, w1, t2, w2):
    """Enthalpy and water of two streams. [J/kg dry air, kg/kg dry air]"""
    h1, h2 = plain_air.enthalpy(t1, w1), plain_air.enthalpy(t2, w2)
    return h1 + share * (h2 - h1), w1 + share * (w2 - w1)


@settings(deadline=None)
@given(temperatures, st.floats(0.0, 0.03))
def test_temperature_undoes_enthalpy(t, w):
    assert plain_air.temperature(plain_air.enthalpy(t, w), w) == approx(t, abs=1e-10)


@settings(deadline=None)
@given(shares, temperatures, humidities, temperatures, humidities, pressures)
def test_splitting_conserves_water_and_enthalpy(share, t1, rh1, t2, rh2, p):
    """Unless fog is just freezing, where neither water nor ice alone has that enthalpy."""
    w1, w2 = air.humidity_ratio(t1, rh1, p), air.humidity_ratio(t2, rh2, p)
    h, water = blend(share, t1, w1, t2, w2)
    t, vapour, fog = plain_air.split(h, water, p, SCALAR)
    assert fog >= 0.0
    assert vapour + fog == approx(water, rel=1e-13)
    if fog > 0.0:
        assume(abs(t) > 0.75)
        assert vapour == approx(air.saturation_humidity_ratio(t, p), rel=1e-12)
    else:
        assert vapour <= air.saturation_humidity_ratio(t, p) * (1.0 + 1e-12)
    assert enthalpy_with_fog(t, vapour, fog) == approx(h, abs=1e-2)


def random_pairs(count=50_000):
    rng = np.random.default_rng(11)
    t1, t2 = rng.uniform(-30.0, 30.0, (2, count))
    p = rng.uniform(75e3, 102e3, count)
    w1, w2 = (air.humidity_ratio(t, rng.uniform(0.05, 1.0, count), p) for t in (t1, t2))
    return rng.uniform(0.0, 1.0, count), t1, w1, t2, w2, p


def test_mixing_is_that_of_real_air_to_0_03_kelvin():
    """Stated: temperatures within 0.03 K, -30 to 30 °C; fog within 0.02 g/kg."""
    share, t1, w1, t2, w2, p = random_pairs()
    real = air_process.mix(1.0 - share, t1, w1, share, t2, w2, p)
    t, vapour, fog = plain_air.split(*blend(share, t1, w1, t2, w2), p, ARRAY)
    thawing = (fog > 0.0) & (np.abs(real.temperature) < 0.05)
    assert thawing.mean() < 0.01
    assert (fog > 1e-5).mean() > 0.05
    off = np.abs(t - real.temperature)[~thawing]
    assert off.max() < 0.03
    assert np.abs(fog - real.liquid)[~thawing].max() < 2e-5
    assert np.abs(vapour - real.humidity_ratio)[~thawing].max() < 2e-5


def test_heating_and_cooling_is_that_of_real_air_to_0_03_kelvin():
    """By up to 10 kJ/kg, within -30 to 30 °C."""
    _, t, w, _, _, p = random_pairs()
    gain = np.random.default_rng(5).uniform(-10e3, 10e3, t.shape)
    real = air.temperature_from_enthalpy(air.enthalpy(t, w, p) + gain, w, p)
    plain = plain_air.temperature(plain_air.enthalpy(t, w) + gain, w)
    assert np.max(np.abs(plain - real)) < 0.03


def test_wetting_is_that_of_real_air_to_0_03_kelvin():
    """Water of 10 °C evaporates until 95 %, from 1 to 25 °C and 40 % upwards."""
    t, rh = (g.ravel() for g in np.meshgrid(np.linspace(1.0, 25.0, 49), np.linspace(0.4, 0.94, 28)))
    p = 92e3
    w = air.humidity_ratio(t, rh, p)
    wet = plain_air.humidified(t, w, p, 0.95, 10.0, ARRAY)
    liquid = plain_air.WATER_HEAT * 10.0
    plain = plain_air.temperature(plain_air.enthalpy(t, w) + (wet - w) * liquid, wet)
    real = air.temperature_from_enthalpy(air.enthalpy(t, w, p) + (wet - w) * liquid, wet, p)
    assert np.max(np.abs(plain - real)) < 0.03
    assert air.relative_humidity(plain, wet, p) == approx(np.full(t.shape, 0.95), abs=2e-4)


@settings(deadline=None)
@given(st.floats(-10.0, 20.0), st.floats(0.3, 1.0), st.floats(0.3, 1.0), pressures)
def test_humidified_reaches_the_aim_from_either_side(t, start, aim, p):
    """Above the aim the answer lies below what the air holds: water would have to go."""
    w = air.humidity_ratio(t, start, p)
    wet = plain_air.humidified(t, w, p, aim, 10.0, SCALAR)
    assume(abs(aim - start) > 1e-4)
    assert (wet > w) == (aim > start)


@settings(deadline=None)
@given(st.floats(-15.0, 25.0), humidities, pressures)
def test_fog_and_vapour_meet_at_saturation(t, rh, p):
    """Just enough water for fog gives the saturated temperature."""
    w = air.saturation_humidity_ratio(t, p)
    assume(abs(t) > 0.75)
    h = plain_air.enthalpy(t, w)
    for water in (w * (1.0 - 1e-9), w * (1.0 + 1e-9)):
        found, vapour, fog = plain_air.split(h, water, p, SCALAR)
        assert found == approx(t, abs=1e-4)
        assert vapour == approx(w, rel=1e-5)
        assert 0.0 <= fog < 1e-9


def test_array_is_scalar_by_scalar():
    share, t1, w1, t2, w2, p = (x[:400] for x in random_pairs())
    h, water = blend(share, t1, w1, t2, w2)
    found = np.array(plain_air.split(h, water, p, ARRAY))
    for i in range(400):
        alone = plain_air.split(float(h[i]), float(water[i]), float(p[i]), SCALAR)
        assert all(isinstance(x, float) for x in alone)
        assert alone == approx(found[:, i], rel=1e-10, abs=1e-15)


def test_missing_air_stays_missing_in_its_own_place():
    h, water = np.array([10e3, np.nan, 20e3]), np.array([0.004, 0.004, 0.02])
    for part in plain_air.split(h, water, 95e3, ARRAY):
        assert np.isnan(part).tolist()[0::2] == [False, False]
    assert np.isnan(plain_air.split(h, water, 95e3, ARRAY)[0][1])
