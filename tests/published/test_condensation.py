"""Condensation against published statements, tables and a worked wall."""

from __future__ import annotations

import numpy as np
import pytest

from ventcalc import building
from ventcalc.building import condensation
from ventcalc.building.ceiling import Ceiling, ceiling_check, required_resistance
from ventcalc.building.iso13788 import (
    interstitial,
    iso13788_saturation_pressure,
    temperature_factor,
)

SEA_LEVEL = 101325.0


@pytest.mark.parametrize("temperature", [5.0, 7.5, 10.0])
def test_dew_point_is_six_tenths_below_at_96_percent(temperature: float) -> None:
    """AHDB Storage Bulletin, January 2016: 96 to 100 % at 5-10 °C is just 0.6 °C."""
    check = condensation.surface_check(
        surface_temperature=temperature,
        air_temperature=temperature,
        relative_humidity=0.96,
        pressure=SEA_LEVEL,
    )
    assert check.margin == pytest.approx(0.6, abs=0.05)


@pytest.mark.parametrize("temperature", [4.0, 7.0, 10.0])
def test_dew_point_is_one_and_a_half_below_at_90_percent(temperature: float) -> None:
    """AHDB Storage Bulletin, November 2014: above 90 %, typically 1.5 °C condenses."""
    check = condensation.surface_check(
        surface_temperature=temperature,
        air_temperature=temperature,
        relative_humidity=0.90,
        pressure=SEA_LEVEL,
    )
    assert check.margin == pytest.approx(1.5, abs=0.1)


# Canada Plan Service leaflet Q-6313 (1986): recommended RSI of walls and ceilings of potato
# storages above 90 % relative humidity, by winter design temperature.
CANADA_PLAN_SERVICE = {
    -40.0: (5.6, 7.0),
    -30.0: (5.0, 5.5),
    -20.0: (4.2, 5.0),
    -10.0: (3.0, 4.2),
}


@pytest.mark.parametrize("outside", CANADA_PLAN_SERVICE)
def test_recommended_insulation_keeps_90_percent_dry(outside: float) -> None:
    """
    Every recommended RSI exceeds what 90 % at 8 °C needs, none stands 97.5 %.

    8 °C and an inside surface resistance of 0.12 m² K/W are taken here; the leaflet prints
    neither.
    """
    for resistance in CANADA_PLAN_SERVICE[outside]:
        needed = required_resistance(
            inside_temperature=8.0,
            relative_humidity=np.array([0.90, 0.975]),
            pressure=SEA_LEVEL,
            outside_temperature=outside,
            surface_resistance=0.12,
        )
        assert needed[0] < resistance < needed[1]


def test_recommended_walls_follow_the_95_percent_limit_when_mild() -> None:
    """At -10 and -20 °C the leaflet's walls lie within 7 % of the 95 % limit at 8 °C."""
    for outside in (-10.0, -20.0):
        needed = required_resistance(
            inside_temperature=8.0,
            relative_humidity=0.95,
            pressure=SEA_LEVEL,
            outside_temperature=outside,
            surface_resistance=0.12,
        )
        assert needed == pytest.approx(CANADA_PLAN_SERVICE[outside][0], rel=0.07)


# Worked wall of an open condensation library (pachi/condensaciones, numbers recomputed),
# ISO 13788 method, from outside to inside: resistance and vapour thickness.
WALL = tuple(
    building.Layer(resistance=resistance, vapour_thickness=thickness)
    for resistance, thickness in (
        (0.11 / 0.667, 1.10),
        (0.01 / 0.41, 0.10),
        (0.03 / 0.0375, 0.60),
        (0.03 / 0.445, 0.30),
        (0.01 / 0.57, 0.06),
    )
)
COLD_MONTH = {
    "outside_temperature": 5.0,
    "outside_humidity": 0.96,
    "inside_temperature": 20.0,
    "inside_humidity": 0.55,
}
MONTH = 30 * 86400.0


def test_worked_wall_transmittance() -> None:
    u = building.u_value(WALL)
    assert 1.0 / u == pytest.approx(1.24426738, abs=5e-9)
    assert u == pytest.approx(0.80368578, abs=5e-9)
    assert temperature_factor(u) == pytest.approx(0.79907855, abs=1e-8)


def test_worked_wall_profiles() -> None:
    wall = interstitial(WALL, **COLD_MONTH)
    temperatures = [
        5.0,
        5.48221147,
        7.47033972,
        7.76437110,
        17.40860050,
        18.22131646,
        18.43281272,
        20.0,
    ]
    pressures = [
        836.98994423,
        836.98994423,
        1065.30777,
        1086.06394,
        1210.60093,
        1272.86943,
        1285.32312909,
        1285.32312909,
    ]
    saturation = [
        871.86452524,
        901.64941257,
        1034.13909983,
        1055.12211007,
        1987.36474526,
        2091.70930457,
        2119.63722782,
        2336.95114380,
    ]
    assert wall.temperature == pytest.approx(np.array(temperatures), abs=6e-9)
    assert wall.saturation_pressure == pytest.approx(np.array(saturation), abs=6e-9)
    # The printed pressures are those of the straight line, before water is taken out.
    depth = np.array([0.0, 1.10, 1.20, 1.80, 2.10, 2.16])
    line = pressures[0] + (pressures[-1] - pressures[0]) * depth / 2.16
    assert line == pytest.approx(np.array(pressures[1:-1]), abs=6e-6)
    assert np.all(wall.vapour_pressure <= np.array(pressures) + 1e-5)


def test_worked_wall_condensate() -> None:
    """31.397530 g/m² in 30 days, 15.865 at the brick's face and 15.533 behind the mortar."""
    wall = interstitial(WALL, **COLD_MONTH)
    grams = 1000.0 * MONTH * wall.condensation
    assert grams.sum() == pytest.approx(31.397530, abs=5e-7)
    assert grams[2] == pytest.approx(15.865, abs=5e-4)
    assert grams[3] == pytest.approx(15.533, abs=5e-4)
    assert not wall.surface_wet
    assert "Indicative" in wall.scope


def test_worked_wall_dry_month() -> None:
    """Outside 10.7 °C and 79 %: no interstitial condensation."""
    dry = interstitial(
        WALL, **(COLD_MONTH | {"outside_temperature": 10.7, "outside_humidity": 0.79})
    )
    assert dry.total == 0.0
    assert dry.vapour_pressure[1] == pytest.approx(1016.00114017, abs=5e-9)
    flow = 2e-10 * (dry.vapour_pressure[-2] - dry.vapour_pressure[1]) / 2.16
    assert flow * 3600.0 * 1000.0 == pytest.approx(0.08977400, abs=5e-9)


def test_iso_saturation_formula_near_truth() -> None:
    """ASHRAE Fundamentals 2017 ch. 1 table 3: 872.6 Pa at 5 °C, 3169.7 at 25; 103.24 at -20."""
    assert iso13788_saturation_pressure(5.0) == pytest.approx(872.6, rel=5e-3)
    assert iso13788_saturation_pressure(25.0) == pytest.approx(3169.7, rel=5e-3)
    assert iso13788_saturation_pressure(-20.0) == pytest.approx(103.24, rel=6e-3)


def test_dew_point_margin_is_within_sensor_error() -> None:
    """At 95 % and 2 % of humidity error nobody can tell: Taylor and Cheng 2010 argue alike."""
    check = ceiling_check(
        Ceiling(u=0.2),
        inside_temperature=8.0,
        relative_humidity=0.95,
        outside_temperature=-10.0,
        pressure=SEA_LEVEL,
    )
    assert check.verdict == "cannot tell"
    assert max(check.parts, key=lambda name: check.parts[name]) == "relative_humidity"
