"""Several lots in one bay: their mean by mass, in whatever order they stand."""

from __future__ import annotations

from dataclasses import replace
from itertools import permutations

import pytest

from ventcalc.bay.description import Lot
from ventcalc.bay.file import example_bay
from ventcalc.check.check import check_pile
from ventcalc.check.crop_state import crop_states
from ventcalc.season.bay_state import bed_of, first_layers

LOTS = (
    Lot(name="a", mass=1.1e6, loading_temperature=14.0, maturity="mature"),
    Lot(name="b", mass=0.3e6, loading_temperature=17.0, maturity="immature"),
    Lot(name="c", mass=0.4e6, loading_temperature=11.0, maturity="mature"),
)
BAY = replace(example_bay("seed_bay"), lots=LOTS)


@pytest.mark.parametrize(
    "order", list(permutations(LOTS)), ids=lambda o: "".join(x.name for x in o)
)
def test_order_of_lots_changes_nothing(order):
    other = replace(BAY, lots=order)
    assert bed_of(other, 9e4, 10).fresh_respiration == bed_of(BAY, 9e4, 10).fresh_respiration
    assert first_layers(other, 1)[0].temperature == first_layers(BAY, 1)[0].temperature
    assert crop_states(other, 9e4) == crop_states(BAY, 9e4)
    for one, two in zip(check_pile(other).checks, check_pile(BAY).checks, strict=True):
        assert str(one.value) == str(two.value)


def test_fresh_heat_is_the_mean_of_the_lots_by_mass():
    """1.5 of 1.8 kt at 43.3 W/t, 0.3 at 72.1 (J. Agric. Sci., Cambridge): 48.1 W/t."""
    by_hand = (1.5 * 43.3 + 0.3 * 72.1) / 1.8
    assert by_hand == pytest.approx(48.1)
    assert bed_of(BAY, 9e4, 10).fresh_respiration == pytest.approx(by_hand * 1e-3, rel=1e-12)


def test_one_immature_lot_among_many_raises_the_load_by_its_share():
    """Half way between a bay of mature and one of immature crop where half the mass is immature."""

    def bay(*kinds):
        lots = tuple(
            Lot(name=str(k), mass=1e5, loading_temperature=14.0, maturity=kind)
            for k, kind in enumerate(kinds)
        )
        return replace(BAY, lots=lots)

    young, old, both = (
        crop_states(bay(*kinds), 9e4)["filling"].respiration_heat
        for kinds in (("immature",), ("mature",), ("immature", "mature"))
    )
    assert both == pytest.approx(0.5 * (young + old), rel=1e-12)
    assert young > 1.3 * old
