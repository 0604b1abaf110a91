"""Refrigeration against worked examples of textbooks; the source stands beside each check."""

from __future__ import annotations

import numpy as np
import pytest

from ventcalc.equipment import refrigerant_cycle as rc

approx = pytest.approx
BAR = 1e5


def test_ideal_cycle_of_cengel_and_boles_11_1():
    """
    Çengel & Boles, Thermodynamics, example 11-1: R134a between 0.14 and 0.8 MPa, 0.05 kg/s.

    Table values h1 239.16, h2 275.39, h3 95.47 kJ/kg; 7.18 kW, 1.81 kW, 9.0 kW, COP 3.97.
    Saturation temperatures of the same tables: -18.77 and 31.31 °C (from memory).
    """
    result = rc.cycle(
        "R134a", evaporating_temperature=-18.77, condensing_temperature=31.31,
        superheat=0.0, subcooling=0.0, isentropic_efficiency=1.0, cooling=7.18e3,
    )  # fmt: skip
    assert result.evaporating_pressure == approx(0.14e6, rel=2e-3)
    assert result.condensing_pressure == approx(0.80e6, rel=2e-3)
    assert result.refrigerating_effect == approx((239.16 - 95.47) * 1e3, rel=2e-3)
    assert result.work == approx((275.39 - 239.16) * 1e3, rel=2e-3)
    assert result.performance == approx(3.97, abs=0.01)
    assert result.mass_flow == approx(0.05, rel=2e-3)
    assert result.power == approx(1.81e3, rel=3e-3)
    assert result.rejected_heat == approx(9.0e3, rel=3e-3)


def test_actual_cycle_of_cengel_and_boles_11_2():
    """
    Çengel & Boles, example 11-2: suction -10 °C at 0.14 MPa, discharge 50 °C at 0.8 MPa.

    Liquid 26 °C; table values h1 246.36, h2s 284.21, h2 286.69, h3 87.83 kJ/kg: efficiency
    93.9 %, COP 3.93. The book's drop to 0.72 MPa on the liquid side hardly moves h3.
    """
    result = rc.cycle(
        "R134a", evaporating_temperature=-18.77, condensing_temperature=31.31,
        superheat=8.77, subcooling=5.31, isentropic_efficiency=0.939,
    )  # fmt: skip
    assert result.discharge_temperature == approx(50.0, abs=0.5)
    assert result.refrigerating_effect == approx((246.36 - 87.83) * 1e3, rel=2e-3)
    assert result.performance == approx(3.93, abs=0.03)


@pytest.mark.parametrize(
    ("evaporating", "condensing", "h1", "h2", "h3"),
    [
        # Hundy, Trott & Welch, Refrigeration and Air-Conditioning, example 2.1: COP 5.4
        (-5.0, 35.0, 395.6, 422.5, 249.7),
        # ME 201 homework 22, Michigan State University, 2006: -20 °C to 1.2 MPa (46.29 °C)
        (-20.0, 46.29, 238.41, 284.48, 117.77),
        # An exercise printed with its table values: 5 kg/min between -10 and 28 °C
        (-10.0, 28.0, 241.35, 267.90, 88.61),
    ],
)
def test_r134a_from_printed_tables(evaporating, condensing, h1, h2, h3):
    """Effect, work and COP by hand from the enthalpies printed in the sources [kJ/kg]."""
    result = rc.cycle(
        "R134a", evaporating_temperature=evaporating, condensing_temperature=condensing,
        superheat=0.0, subcooling=0.0, isentropic_efficiency=1.0,
    )  # fmt: skip
    assert result.refrigerating_effect == approx((h1 - h3) * 1e3, rel=0.01)
    assert result.work == approx((h2 - h1) * 1e3, rel=0.01)
    assert result.performance == approx((h1 - h3) / (h2 - h1), rel=0.01)


def test_ammonia_from_a_printed_table():
    """
    Ammonia -10/25 °C, 5 K subcooled, from the table of a 15 TR exercise.

    hg(-10) 1433.05, sg(-10) 5.4770, hg(25) 1465.84, sg(25) 5.0391, hf(25) 298.9 kJ/kg; cp of
    superheated vapour 2.8, of liquid 4.6 kJ/(kg K). Worked by hand for dry saturated suction.
    """
    hot = 298.15 * np.exp((5.4770 - 5.0391) / 2.8)
    work = 1465.84 + 2.8 * (hot - 298.15) - 1433.05
    effect = 1433.05 - (298.9 - 4.6 * 5.0)
    result = rc.cycle(
        "R717", evaporating_temperature=-10.0, condensing_temperature=25.0,
        superheat=0.0, subcooling=5.0, isentropic_efficiency=1.0,
    )  # fmt: skip
    assert result.discharge_temperature == approx(hot - 273.15, abs=1.5)
    assert result.refrigerating_effect == approx(effect * 1e3, rel=2e-3)
    assert result.work == approx(work * 1e3, rel=5e-3)
    assert result.performance == approx(effect / work, rel=5e-3)


@pytest.mark.parametrize(("name", "published"), [("R717", 4.76), ("R134a", 4.60), ("R290", 4.50)])
def test_standard_cycle(name, published):
    """ASHRAE Fundamentals, comparative refrigerant performance, -15/30 °C (from memory)."""
    result = rc.cycle(
        name, evaporating_temperature=-15.0, condensing_temperature=30.0,
        superheat=0.0, subcooling=0.0, isentropic_efficiency=1.0,
    )  # fmt: skip
    assert result.performance == approx(published, rel=0.015)


@pytest.mark.parametrize("evaporating", [-5.0, 0.0, 5.0])
@pytest.mark.parametrize("outlet", [32.0, 38.0, 45.0])
def test_gas_cooler_pressure_of_liao(evaporating, outlet):
    """
    Liao, Zhao & Jakobsen 2000 against a search on the cycle with Span-Wagner properties.

    Two independent ways to the best pressure: within 1.5 bar, and 0.1 % of the best COP.
    """
    pressures = np.arange(74.0, 131.0) * BAR
    found = [_transcritical(evaporating, outlet, float(p)).performance for p in pressures]
    best = int(np.argmax(found))
    published = rc.gas_cooler_pressure(evaporating, outlet)
    assert published == approx(pressures[best], abs=1.5 * BAR)
    assert _transcritical(evaporating, outlet, published).performance > found[best] * 0.999


def _transcritical(evaporating: float, outlet: float, pressure: float) -> rc.Cycle:
    return rc.cycle(
        "R744", evaporating_temperature=evaporating, condensing_temperature=outlet,
        high_pressure=pressure,
    )  # fmt: skip
