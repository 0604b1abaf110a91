"""
Moist air against CoolProp's HumidAir, the ASHRAE RP-1485 real-gas model, in its own code.

Domain: -30 to 45 °C, 1 to 100 % relative humidity, 75 to 101 kPa; a seeded sample. The grid
over the whole domain is printed by ``fit_air_coefficients.py``.
"""

from __future__ import annotations

import numpy as np
import pytest

from ventcalc import air
from ventcalc.air.coolprop import humid_air, pure_fluid

KELVIN = 273.15


@pytest.fixture(scope="module")
def sample():
    random = np.random.default_rng(7)
    n = 1500
    t = np.r_[random.uniform(-30.0, 45.0, n), random.uniform(-2.0, 6.0, 500)]
    rh = np.r_[random.uniform(0.01, 1.0, n - 100), np.ones(100), random.uniform(0.01, 1.0, 500)]
    p = random.uniform(75e3, 101e3, t.size)
    truth = {
        key: humid_air(key, "T", t + KELVIN, "R", rh, "P", p) for key in ("W", "H", "V", "D", "B")
    }
    return t, rh, p, truth


def test_humidity_ratio_within_a_hundredth_of_a_percent(sample):
    t, rh, p, truth = sample
    np.testing.assert_allclose(air.humidity_ratio(t, rh, p), truth["W"], rtol=1e-4)
    np.testing.assert_allclose(air.relative_humidity(t, truth["W"], p), rh, rtol=1e-4)


def test_dew_point_within_a_millikelvin(sample):
    _, _, p, truth = sample
    theirs = truth["D"] - KELVIN
    error = np.abs(air.dew_point(truth["W"], p) - theirs)
    kink = np.abs(theirs) < 0.02
    assert error[~kink].max() < 1e-3


def test_dew_point_between_the_freezing_point_in_air_and_the_triple_point():
    """CoolProp steps by 1e-4 in vapour pressure at 0.01 °C, we do not: 1.5 mK there."""
    t, p = (a.ravel() for a in np.meshgrid(np.linspace(-0.02, 0.03, 40), np.r_[75e3, 101325.0]))
    w = humid_air("W", "T", t + KELVIN, "R", 1.0, "P", p)
    np.testing.assert_allclose(air.dew_point(w, p), t, rtol=0, atol=1.5e-3)
    np.testing.assert_allclose(air.saturation_humidity_ratio(t, p), w, rtol=1.1e-4)


def test_enthalpy_within_one_joule_per_kilogram(sample):
    t, _, p, truth = sample
    np.testing.assert_allclose(air.enthalpy(t, truth["W"], p), truth["H"], rtol=0, atol=1.0)
    back = air.temperature_from_enthalpy(truth["H"], truth["W"], p)
    np.testing.assert_allclose(back, t, rtol=0, atol=1e-3)


def test_specific_volume_within_a_hundred_thousandth(sample):
    t, _, p, truth = sample
    np.testing.assert_allclose(air.specific_volume(t, truth["W"], p), truth["V"], rtol=1e-5)


def test_wet_bulb_within_a_millikelvin_where_it_is_unique(sample):
    t, _, p, truth = sample
    ours, theirs = air.wet_bulb(t, truth["W"], p), truth["B"] - KELVIN
    same_wick = (ours < air.FREEZING) == (theirs < air.FREEZING)
    assert same_wick.mean() > 0.96
    np.testing.assert_allclose(ours[same_wick], theirs[same_wick], rtol=0, atol=1e-3)


def test_wet_bulb_where_coolprop_takes_ice_and_we_take_water(sample):
    """Two balances exist there: ours must close as well, in CoolProp's numbers throughout."""
    t, _, p, truth = sample
    ours = air.wet_bulb(t, truth["W"], p)
    differs = (ours < air.FREEZING) != (truth["B"] - KELVIN < air.FREEZING)
    assert differs.sum() > 5
    assert (ours[differs] >= air.FREEZING).all()
    kelvin = np.maximum(ours[differs] + KELVIN, 273.16 + 1e-6)
    ws = humid_air("W", "T", kelvin, "R", 1.0, "P", p[differs])
    hs = humid_air("H", "T", kelvin, "R", 1.0, "P", p[differs])
    water = pure_fluid("H", "T", kelvin, "P", p[differs], "Water")
    balance = hs - (ws - truth["W"][differs]) * water - truth["H"][differs]
    np.testing.assert_allclose(balance, 0.0, atol=4.0)  # 4 J/kg is about 2 mK


def test_saturation_pressure_of_water_against_if97():
    t = np.linspace(0.02, 45.0, 40)
    truth = pure_fluid("P", "T", t + KELVIN, "Q", 0.0, "IF97::Water")
    np.testing.assert_allclose(air.saturation_pressure(t), truth, rtol=2e-5)


def test_the_rest_of_the_accepted_range_is_a_little_worse():
    """-50 to 60 °C, 60 to 110 kPa, up to 0.1 kg/kg: the tolerances are those of the fit there."""
    random = np.random.default_rng(13)
    t, rh = random.uniform(-50.0, 60.0, 800), random.uniform(0.1, 1.0, 800)
    p = random.uniform(60e3, 110e3, 800)
    w = humid_air("W", "T", t + KELVIN, "R", rh, "P", p)
    t, rh, p, w = (a[w < 0.1] for a in (t, rh, p, w))
    np.testing.assert_allclose(air.humidity_ratio(t, rh, p), w, rtol=4e-4)
    truth = {key: humid_air(key, "T", t + KELVIN, "W", w, "P", p) for key in ("H", "V", "D", "B")}
    np.testing.assert_allclose(air.dew_point(w, p), truth["D"] - KELVIN, rtol=0, atol=2e-3)
    np.testing.assert_allclose(air.enthalpy(t, w, p), truth["H"], rtol=0, atol=3.0)
    np.testing.assert_allclose(air.specific_volume(t, w, p), truth["V"], rtol=3e-5)
    ours, theirs = air.wet_bulb(t, w, p), truth["B"] - KELVIN
    same_wick = (ours < air.FREEZING) == (theirs < air.FREEZING)
    assert same_wick.mean() > 0.98
    np.testing.assert_allclose(ours[same_wick], theirs[same_wick], rtol=0, atol=2e-3)
