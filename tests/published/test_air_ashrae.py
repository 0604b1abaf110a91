"""
Moist air against printed numbers.

ASHRAE: 2017 Handbook - Fundamentals, chapter 1, tables 2 and 3 and example 1, as quoted in the
tests of PsychroLib (MIT licence). IAPWS: check values of the releases. WMO: guide no. 8.
Each tolerance is the rounding of the table and what its ideal-gas steps lose.
"""

from __future__ import annotations

import numpy as np
import pytest

from ventcalc import air

ATM = 101325.0


@pytest.mark.parametrize(
    ("temperature", "pascal"),
    [(-20.0, 103.24), (-5.0, 401.74), (5.0, 872.6), (25.0, 3169.7), (50.0, 12351.3)],
)
def test_saturation_pressure_table_3(temperature, pascal):
    assert air.saturation_pressure(temperature) == pytest.approx(pascal, rel=300e-6)


def test_saturation_pressure_of_the_iapws_releases():
    """R7-97 table 35 (300 K) and R14-08 table 3 (230 K over ice); both from memory."""
    assert air.saturation_pressure(300.0 - 273.15) == pytest.approx(3536.58941, rel=2e-5)
    assert air.saturation_pressure(230.0 - 273.15) == pytest.approx(8.94735, rel=2e-5)
    assert air.saturation_pressure(air.FREEZING) == pytest.approx(611.657, rel=2e-5)


@pytest.mark.parametrize(
    ("temperature", "ratio"),
    [(-20.0, 0.0006373), (-5.0, 0.0024863), (5.0, 0.005425), (25.0, 0.020173)],
)
def test_saturation_humidity_ratio_table_2(temperature, ratio):
    """The older virial data of the table: agreement 0.1 %, rounding aside."""
    assert air.saturation_humidity_ratio(temperature, ATM) == pytest.approx(ratio, rel=1e-3)


@pytest.mark.parametrize(
    ("temperature", "joule", "tolerance"),
    [(-5.0, 1164.0, 40.0), (5.0, 18639.0, 30.0), (25.0, 76504.0, 100.0)],
)
def test_saturated_enthalpy_table_2(temperature, joule, tolerance):
    w = air.saturation_humidity_ratio(temperature, ATM)
    assert air.enthalpy(temperature, w, ATM) == pytest.approx(joule, abs=tolerance)


@pytest.mark.parametrize(
    ("dry", "wet", "ratio", "tolerance"),
    [(30.0, 25.0, 0.0192281, 1e-4), (-1.0, -5.0, 0.00120400, 1.5e-5)],
)
def test_humidity_ratio_from_wet_bulb(dry, wet, ratio, tolerance):
    """
    PsychroLib's values, without enhancement factor: they are lower by 0.45 % of the
    saturation humidity ratio at the wet bulb, which is the tolerance. The second is on ice.
    """
    w = air.humidity_ratio_from_wet_bulb(dry, wet, 95461.0)
    assert w == pytest.approx(ratio, abs=tolerance)
    assert air.wet_bulb(dry, w, 95461.0) == pytest.approx(wet, abs=1e-3)


def test_moist_air_at_30_degrees():
    """PsychroLib's ideal-gas values: agreement 0.1 %."""
    assert air.enthalpy(30.0, 0.02, ATM) == pytest.approx(81316.0, rel=1e-3)
    assert air.specific_volume(30.0, 0.02, 95461.0) == pytest.approx(0.940855, rel=1e-3)
    assert air.density(30.0, 0.02, 95461.0) == pytest.approx(1.084120, rel=1e-3)


def test_example_1():
    """40 °C dry bulb, 20 °C wet bulb at sea level; the example reads a chart."""
    state = air.state(pressure=ATM, temperature=40.0, wet_bulb=20.0)
    assert state.humidity_ratio == pytest.approx(0.0065, abs=1e-4)
    assert state.dew_point == pytest.approx(7.0, abs=0.5)
    assert state.relative_humidity == pytest.approx(0.14, abs=0.005)
    assert state.enthalpy == pytest.approx(56700.0, rel=0.005)
    assert state.specific_volume == pytest.approx(0.896, rel=0.001)


@pytest.mark.parametrize(("altitude", "pascal"), [(0, 101325), (500, 95461), (1000, 89875)])
def test_standard_pressure_table_1(altitude, pascal):
    assert air.standard_pressure(altitude) == pytest.approx(pascal, abs=1.0)


@pytest.mark.parametrize("temperature", [-5.0, -10.0, -20.0, -30.0])
def test_relative_humidity_over_ice_against_the_formulas_of_the_wmo(temperature):
    """WMO-No. 8, annex 4.B (from memory), Magnus forms; they agree within 0.6 %."""
    water = 611.2 * np.exp(17.62 * temperature / (243.12 + temperature))
    ice = 611.2 * np.exp(22.46 * temperature / (272.62 + temperature))
    ours = air.relative_humidity_over_ice(temperature, 0.7)
    assert ours == pytest.approx(0.7 * water / ice, rel=6e-3)


@pytest.mark.parametrize(("relative_humidity", "depression"), [(0.96, 0.6), (0.90, 1.5)])
def test_dew_point_depression_of_the_trade(relative_humidity, depression):
    """'96 % lies just 0.6 K above its dew point, 90 % 1.5 K': common practice, rounded."""
    for temperature in (5.0, 7.5, 10.0):
        w = air.humidity_ratio(temperature, relative_humidity, ATM)
        assert temperature - air.dew_point(w, ATM) == pytest.approx(depression, abs=0.1)
