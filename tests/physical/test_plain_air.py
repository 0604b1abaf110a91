"""Air with constant heats: balances, round trips, and its distance from ``air``."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from ventcalc import air
from ventcalc.air import plain as plain_air
from ventcalc.air import process as air_process
from ventcalc.air.broadcast import elementwise

approx = pytest.approx
temperatures = st.floats(-30.0, 30.0)
humidities = st.floats(0.05, 1.0)
pressures = st.floats(75e3, 102e3)
shares = st.floats(0.0, 1.0)


def enthalpy_with_fog(temperature, vapour, fog):
    return plain_air.enthalpy(temperature, vapour) + fog * plain_air.fog_heat(temperature)


def blend(share, t1, w1, t2, w2):
    """Enthalpy and water of two streams. [J/kg dry air, kg/kg dry air]"""
    h1, h2 = plain_air.enthalpy(t1, w1), plain_air.enthalpy(t2, w2)
    return h1 + share * (h2 - h1), w1 + share * (w2 - w1)


@settings(deadline=None)
@given(temperatures, st.floats(0.0, 0.03))
def test_temperature_undoes_enthalpy(t, w):
    assert plain_air.dry_bulb(plain_air.enthalpy(t, w), w) == approx(t, abs=1e-10)


@settings(deadline=None)
@given(shares, temperatures, humidities, temperatures, humidities, pressures)
def test_splitting_conserves_water_and_enthalpy(share, t1, rh1, t2, rh2, p):
    """Unless fog is just freezing, where neither water nor ice alone has that enthalpy."""
    w1, w2 = air.humidity_ratio(t1, rh1, p), air.humidity_ratio(t2, rh2, p)
    h, water = blend(share, t1, w1, t2, w2)
    t, vapour, fog = plain_air.split(h, water, p)
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
    t, vapour, fog = elementwise(plain_air.split, *blend(share, t1, w1, t2, w2), p)
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
    plain = plain_air.dry_bulb(plain_air.enthalpy(t, w) + gain, w)
    assert np.max(np.abs(plain - real)) < 0.03


def test_wetting_is_that_of_real_air_to_0_03_kelvin():
    """Water of 10 °C evaporates until 95 %, from 1 to 25 °C and 40 % upwards."""
    t, rh = (g.ravel() for g in np.meshgrid(np.linspace(1.0, 25.0, 49), np.linspace(0.4, 0.94, 28)))
    p = 92e3
    w = air.humidity_ratio(t, rh, p)
    wet = elementwise(plain_air.humidified, t, w, p, 0.95, 10.0)
    liquid = plain_air.WATER_HEAT * 10.0
    plain = plain_air.dry_bulb(plain_air.enthalpy(t, w) + (wet - w) * liquid, wet)
    real = air.temperature_from_enthalpy(air.enthalpy(t, w, p) + (wet - w) * liquid, wet, p)
    assert np.max(np.abs(plain - real)) < 0.03
    assert air.relative_humidity(plain, wet, p) == approx(np.full(t.shape, 0.95), abs=2e-4)


@settings(deadline=None)
@given(st.floats(-10.0, 20.0), st.floats(0.3, 1.0), st.floats(0.3, 1.0), pressures)
def test_humidified_reaches_the_aim_from_either_side(t, start, aim, p):
    """Above the aim the answer lies below what the air holds: water would have to go."""
    w = air.humidity_ratio(t, start, p)
    wet = plain_air.humidified(t, w, p, aim, 10.0)
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
        found, vapour, fog = plain_air.split(h, water, p)
        assert found == approx(t, abs=1e-4)
        assert vapour == approx(w, rel=1e-5)
        assert 0.0 <= fog < 1e-9


@pytest.mark.parametrize("gone", [0, 1, 2])
def test_missing_air_stays_missing(gone):
    """Enthalpy, water or pressure unknown: so is what the air splits into."""
    for water in (0.004, 0.02):
        known = [20e3, water, 95e3]
        known[gone] = math.nan
        assert all(map(math.isnan, plain_air.split(*known)))


@settings(deadline=None)
@given(st.floats(-50.0, 60.0), pressures)
def test_saturation_is_that_of_air(t, p):
    """Saturated humidity ratio, relative humidity, dew point: the sums of ``air``, to 1e-12."""
    full = air.saturation_humidity_ratio(np.array([t]), p)[0]
    assert plain_air.saturated(t, p) == approx(full, rel=1e-12)
    w = 0.5 * full
    assume(2e-6 < w < 0.1)
    relative = air.relative_humidity(np.array([t]), w, p)[0]
    assert plain_air.relative_humidity(t, w, p) == approx(relative, rel=1e-12)
    assert plain_air.humidity_ratio(t, relative, p) == approx(w, rel=1e-12)
    assert plain_air.dew_point(w, p) == approx(air.dew_point(np.array([w]), p)[0], abs=1e-10)


@settings(deadline=None)
@given(temperatures, humidities, pressures)
def test_a_share_of_saturation_is_one_of_pressures(t, rh, p):
    full = plain_air.saturated(t, p)
    assert plain_air.at_humidity(full, rh) == approx(plain_air.humidity_ratio(t, rh, p), rel=1e-12)


@settings(deadline=None)
@given(st.floats(-40.0, 45.0), pressures)
def test_the_slope_is_that_of_the_curve(t, p):
    """To 0.1 %, away from the kink at freezing."""
    assume(abs(t) > 0.02)
    rise = plain_air.log_saturation(t + 1e-3, p) - plain_air.log_saturation(t - 1e-3, p)
    assert plain_air.saturation_slope(t) == approx(rise / 2e-3, rel=1.05e-3)


def test_beyond_a_float_saturation_is_infinite_and_no_pressure_has_no_dew_point():
    """Python's own exponential and logarithm would raise here, compiled code's would not."""
    assert math.isinf(plain_air.relative_humidity(-241.0, 0.005, 95e3))
    assert math.isnan(plain_air.saturated(-1e4, 1e6))
    assert math.isnan(plain_air.dew_point(0.005, 0.0))
    assert math.isnan(plain_air.dew_point(0.005, -1.0))
