"""
Moist air against PsychroLib, an independent code of the ASHRAE ideal-gas formulas.

What differs is known: PsychroLib has no enhancement factor (W up to 0.6 % low), a constant
specific heat and no ideal-gas correction; the tolerances below are these differences.
"""

from __future__ import annotations

import numpy as np
import psychrolib
import pytest

from ventcalc import air


@pytest.fixture(scope="module")
def states():
    random = np.random.default_rng(11)
    n = 300
    return list(
        zip(
            random.uniform(-30.0, 45.0, n).tolist(),
            random.uniform(0.05, 1.0, n).tolist(),
            random.uniform(75e3, 101e3, n).tolist(),
            strict=True,
        )
    )


def test_humidity_ratio_is_higher_by_the_enhancement_factor(states):
    for t, rh, p in states:
        theirs = psychrolib.GetHumRatioFromRelHum(t, rh, p)
        factor = air.humidity_ratio(t, rh, p) / theirs
        assert 1.0025 < factor < 1.0065
        wet = 1.0 + theirs / air.MASS_RATIO
        assert factor == pytest.approx(1.0 + (air.enhancement_factor(t, p) - 1.0) * wet, abs=5e-4)


def test_saturation_pressure(states):
    for t, _, _ in states:
        assert air.saturation_pressure(t) == pytest.approx(psychrolib.GetSatVapPres(t), rel=5e-4)


def test_dew_point_at_the_same_vapour_pressure(states):
    """Without the enhancement factor their dew point is too high by 0.03 to 0.08 K."""
    for t, rh, p in states:
        w = air.humidity_ratio(t, rh, p)
        ours = air.dew_point(w, p)
        theirs = psychrolib.GetTDewPointFromVapPres(t, air.vapour_pressure(w, p))
        assert 0.015 < theirs - ours < 0.1


def test_enthalpy_and_volume(states):
    for t, rh, p in states:
        w = air.humidity_ratio(t, rh, p)
        assert air.enthalpy(t, w, p) == pytest.approx(
            psychrolib.GetMoistAirEnthalpy(t, w), rel=2e-3, abs=400.0
        )
        assert air.specific_volume(t, w, p) == pytest.approx(
            psychrolib.GetMoistAirVolume(t, w, p), rel=1.5e-3
        )


def test_wet_bulb_where_both_wicks_agree(states):
    compared = 0
    for t, rh, p in states:
        w = psychrolib.GetHumRatioFromRelHum(t, rh, p)
        ours = air.wet_bulb(t, air.humidity_ratio(t, rh, p), p)
        theirs = psychrolib.GetTWetBulbFromHumRatio(t, w, p)
        if (ours < air.FREEZING) == (theirs < air.FREEZING):
            compared += 1
            assert ours == pytest.approx(theirs, abs=0.08)
    assert compared > 280
