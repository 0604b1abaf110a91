"""Pile: resistance, loads and flattening against equations and figures published elsewhere."""

from __future__ import annotations

import fluids
import numpy as np
import pytest

from ventcalc.pile import loads as pile_loads
from ventcalc.pile import pile

FOOT = 0.3048
POUND_PER_FT3 = 0.45359237 / FOOT**3
POUND_FORCE_PER_FT2 = 47.880259


@pytest.mark.parametrize("velocity", [0.005, 0.0191, 0.0383, 0.0735, 0.5])
@pytest.mark.parametrize(("void", "diameter"), [(0.38, 0.06), (0.45, 0.04)])
def test_ergun_equals_the_equation_in_fluids(velocity, void, diameter):
    """The open library fluids, Ergun (1952) as first published: agreement to round-off."""
    air = {"rho": 1.25, "mu": 1.77e-5}
    expected = fluids.packed_bed.Ergun(dp=diameter, voidage=void, vs=velocity, L=5.0, **air)
    got = pile.pressure_drop_ergun(
        velocity,
        height=5.0,
        porosity=void,
        tuber_diameter=diameter,
        density=air["rho"],
        viscosity=air["mu"],
    )
    assert got == pytest.approx(expected, rel=1e-12)


def test_soil_compounds_as_the_hamadan_study_says():
    """Each further 2 % of soil: x1.36 for Agria, x1.33 for Marfona (abstract, areeo 125712)."""
    for factor in (pile.SOIL_FACTOR_AGRIA, pile.SOIL_FACTOR_MARFONA):
        low, high = pile.soil_factor(np.array([0.01, 0.03]), per_two_percent=factor)
        assert high / low == pytest.approx(factor, rel=1e-12)
    assert (pile.SOIL_FACTOR_AGRIA, pile.SOIL_FACTOR_MARFONA) == (1.36, 1.33)


def test_mass_of_the_published_bin():
    """aardappelpagina.nl, storage pages: 20 m² by 3.5 m at 670 kg/m³, printed rounded as 50 t."""
    shape = pile.pile_shape(toe=5.0, width=4.0, height=3.5, bulk_density=670.0)
    assert shape.mass == pytest.approx(50_000, rel=0.07)


def test_rankine_ratio_against_the_textbook_table():
    """Table of K_a in soil mechanics textbooks (from memory): 25, 30, 34, 35, 40 degrees."""
    angle = np.array([25.0, 30.0, 34.0, 35.0, 40.0])
    table = [0.406, 0.333, 0.283, 0.271, 0.217]
    assert pile_loads.rankine_ratio(angle) == pytest.approx(table, abs=6e-4)


def test_at_rest_ratio_against_the_textbook_table():
    """Jaky (1944): one half at 30 degrees, 0.426 at 35 (textbook table, from memory)."""
    assert pile_loads.at_rest_ratio(np.array([30.0, 35.0])) == pytest.approx([0.5, 0.426], abs=6e-4)


def test_flattening_passes_through_the_two_published_heights():
    """Czerko (IHAR): largest flats 328 mm² at 2.5 m and 413 mm² at 5.0 m."""
    result = pile_loads.flattening(np.array([2.5, 5.0]))
    assert result.area * 1e6 == pytest.approx([328.0, 413.0], rel=1e-12)
    assert not result.extrapolated.any()
    assert result.above_threshold.tolist() == [False, True]  # 3.5 m: INRA ephytia C/23700


def test_floor_pressure_of_a_pound_per_cubic_foot_per_foot():
    """1 ft of crop at 1 lb/ft³ weighs 1 lbf/ft² (definition of the pound-force)."""
    got = pile_loads.floor_pressure(18 * FOOT, bulk_density=42 * POUND_PER_FT3)
    assert got == pytest.approx(18 * 42 * POUND_FORCE_PER_FT2, rel=1e-6)
