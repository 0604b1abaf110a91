"""The building against published tables and worked examples."""

from __future__ import annotations

import math

import pytest

from ventcalc import building
from ventcalc.building import ground, sky

# Scottish building standards, technical handbook, annex 6.C (and the same table in appendix C
# of Approved Document L for England, Wales), "U-values of solid ground floors", clay soil,
# 300 mm walls: rows P/A in 1/m, columns resistance of all-over insulation in m² K/W.
FLOOR_RESISTANCES = (0.0, 0.5, 1.0, 1.5, 2.0)
FLOOR_TABLE = {
    0.05: (0.13, 0.11, 0.10, 0.09, 0.08),
    0.10: (0.22, 0.18, 0.16, 0.14, 0.13),
    0.15: (0.30, 0.24, 0.21, 0.18, 0.17),
    0.20: (0.37, 0.29, 0.25, 0.22, 0.19),
    0.25: (0.44, 0.34, 0.28, 0.24, 0.22),
    0.30: (0.49, 0.38, 0.31, 0.27, 0.23),
    0.40: (0.60, 0.44, 0.36, 0.30, 0.26),
    0.50: (0.70, 0.50, 0.40, 0.33, 0.28),
    0.60: (0.78, 0.55, 0.43, 0.35, 0.29),
    0.80: (0.93, 0.62, 0.47, 0.37, 0.32),
    1.00: (1.05, 0.68, 0.50, 0.40, 0.33),
}


@pytest.mark.parametrize("ratio", FLOOR_TABLE)
def test_ground_u_value_table(ratio: float) -> None:
    """Annex 6.C: agreement to the last printed digit, half a digit over (0.006)."""
    for resistance, printed in zip(FLOOR_RESISTANCES, FLOOR_TABLE[ratio], strict=True):
        floor = ground.Floor(
            area=1000.0,
            perimeter=1000.0 * ratio,
            insulation=resistance,
            soil=ground.SOILS["clay"],
        )
        assert ground.ground_u_value(floor) == pytest.approx(printed, abs=0.006)


@pytest.mark.parametrize(("soil", "printed"), [("clay", 2.2), ("sand", 3.2), ("rock", 4.2)])
def test_penetration_depth(soil: str, printed: float) -> None:
    """Periodic penetration depths of ISO 13370 (and NS 3031 table B.8) from the soil values."""
    properties = ground.SOILS[soil]
    depth = math.sqrt(365 * 86400 * properties.conductivity / (math.pi * properties.heat_capacity))
    assert depth == pytest.approx(printed, abs=0.05)


def mm(thickness: float, conductivity: float) -> float:
    return thickness / 1000.0 / conductivity


def whole(resistance: float) -> list[tuple[float, float]]:
    return [(1.0, resistance)]


def test_bridged_u_value_timber_frame() -> None:
    """Scottish building standards, annex 6.B.2, timber framed wall: R 3.435 and 3.304, U 0.297."""
    planes = [
        whole(mm(102, 0.77)),
        whole(0.18),
        whole(mm(9, 0.13)),
        [(0.85, mm(140, 0.04)), (0.15, mm(140, 0.12))],
        whole(mm(12.5, 0.21)),
    ]
    assert building.bridged_u_value(planes) == pytest.approx(0.297, abs=0.0005)


def test_bridged_u_value_dry_lined_masonry() -> None:
    """Scottish building standards, annex 6.B.3: limits 3.617 and 3.136, so U = 0.296 (0.30)."""
    planes = [
        whole(mm(102, 0.77)),
        whole(0.18),
        [(0.933, mm(125, 0.11)), (0.067, mm(125, 0.88))],
        [(0.882, mm(89, 0.038)), (0.118, mm(89, 0.13))],
        whole(mm(12.5, 0.21)),
    ]
    assert building.bridged_u_value(planes) == pytest.approx(2.0 / (3.617 + 3.136), abs=0.0005)


def test_u_value_worked_walls() -> None:
    """Two walls of an open condensation library (pachi/condensaciones), ISO 6946."""
    first = [
        building.layer(thickness=0.11, conductivity=0.69),
        building.layer(thickness=0.01, conductivity=0.41),
        building.layer(thickness=0.03, conductivity=0.037),
        building.layer(thickness=0.03, conductivity=0.44),
        building.layer(thickness=0.01, conductivity=0.57),
    ]
    second = [
        building.layer(thickness=0.03, conductivity=3.5),
        building.layer(thickness=0.02, conductivity=1.3),
        building.layer(thickness=0.05, conductivity=0.034),
        building.layer(thickness=0.14, conductivity=0.432),
        building.layer(thickness=0.015, conductivity=0.3),
    ]
    assert building.u_value(first) == pytest.approx(0.80, abs=0.005)
    assert building.u_value(second) == pytest.approx(0.49, abs=0.005)


@pytest.mark.parametrize(
    ("wind", "printed"),
    [(1, 0.08), (2, 0.06), (3, 0.05), (4, 0.04), (5, 0.04), (7, 0.03), (10, 0.02)],
)
def test_outside_resistance_by_wind(wind: float, printed: float) -> None:
    """ISO 6946, annex on surface resistances, table by wind speed (from memory)."""
    assert sky.outside_resistance(float(wind)) == pytest.approx(printed, abs=0.005)


def test_sky_against_other_correlations() -> None:
    """
    Clear sky at 20 °C with dew point 10 °C, within 6 % of two others.

    Clark and Allen 1978 as worked in the EnergyPlus support list (msg03264): emissivity 0.815,
    340.6 W/m². Swinbank 1963 in the form 9.36e-6 T⁶ that a Danish building simulation manual
    prints.
    """
    ours = sky.sky_temperature(20.0, 10.0, pressure=1e5, hour=6.0)
    irradiance = sky.STEFAN_BOLTZMANN * (ours + 273.15) ** 4
    assert irradiance == pytest.approx(340.6, rel=0.06)
    swinbank = (9.36e-6 * 293.15**6) ** 0.25 - 273.15
    assert ours == pytest.approx(swinbank, abs=4.0)


def emittance(outside: float, heavens: float) -> float:
    return ((heavens + 273.15) / (outside + 273.15)) ** 4


def test_sky_height_and_cloud_terms() -> None:
    """
    Terms of Berdahl and Martin as an open building simulation prints them (cse-sim/cse, PR 50).

    0.12 per atmosphere of 29.53 inHg (1000 mbar), and 0.784 (1 - e) for a covered sky, the
    latter from the 2013 Californian reference manual, equation 76.
    """
    sea = emittance(5.0, sky.sky_temperature(5.0, 0.0, pressure=1.0e5, hour=6.0))
    hills = emittance(5.0, sky.sky_temperature(5.0, 0.0, pressure=0.8e5, hour=6.0))
    covered = emittance(
        5.0, sky.sky_temperature(5.0, 0.0, pressure=1.0e5, hour=6.0, cloud_cover=1.0)
    )
    assert sea == pytest.approx(0.711, abs=1e-9)
    assert hills - sea == pytest.approx(-0.2 * 0.12, abs=1e-9)
    assert covered == pytest.approx(sea + 0.784 * (1.0 - sea), abs=1e-9)


def test_sol_air_long_wave_correction() -> None:
    """
    ASHRAE Fundamentals: for horizontal roofs dR is about 63 W/m², e dR / h_o about 4 K.

    With h_o = 17 W/(m² K) and emittance 1, and a sky that takes 63 W/m² from air at 30 °C.
    """
    black = sky.STEFAN_BOLTZMANN * 303.15**4
    cold = ((black - 63.0) / sky.STEFAN_BOLTZMANN) ** 0.25 - 273.15
    roof = sky.sol_air_temperature(
        30.0, surface_resistance=1 / 17.0, sky_temperature=cold, emittance=1.0
    )
    assert 30.0 - roof == pytest.approx(3.9, abs=0.25)


def test_sol_air_in_sun() -> None:
    """ASHRAE Fundamentals: a / h_o is 0.052 for dark surfaces and 0.026 for light ones."""
    for absorptance, slope in ((0.9, 0.052), (0.45, 0.026)):
        roof = sky.sol_air_temperature(
            30.0, surface_resistance=1 / 17.0, solar=1000.0, absorptance=absorptance
        )
        assert (roof - 30.0) / 1000.0 == pytest.approx(slope, abs=0.0015)


def test_cloud_from_sunlight() -> None:
    """
    Kasten and Czeplak, Solar Energy 24 (1980): sunlight by eighths of cloud over the clear one.

    Their formula by hand, 1 - 0.75 (n/8)^3.4 (from memory): 0.93 at 4/8, 0.72 at 6/8, 0.25 at 8/8.
    """
    for eighths, share in ((4, 0.93), (6, 0.72), (8, 0.25)):
        found = sky.cloud_cover_from_radiation(share * 300.0, 300.0)
        assert found == pytest.approx(eighths / 8.0, abs=0.02)
    assert sky.cloud_cover_from_radiation(310.0, 300.0) == 0.0
