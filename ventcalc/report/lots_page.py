"""Lots of one or more bays as a page, the pile drawn from the side to scale."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from ventcalc.bay.description import Bay
from ventcalc.logbook.bay_lots import BayLots
from ventcalc.logbook.lots import Stretch, face_at
from ventcalc.report.lots_text import lot_rows, order_lines, rule_lines, shrink_lines
from ventcalc.report.pages import page
from ventcalc.units import UnitSystem, show

__all__ = ["lots_page", "outline"]


def outline(bay: Bay, part: Stretch) -> list[tuple[float, float]]:
    """Corners of a lot's part of the pile, from the back wall and above the floor. [m]"""
    (foot_a, low_a), (crest_a, top_a) = face_at(bay, part.start)
    (foot_b, low_b), (crest_b, top_b) = face_at(bay, part.end)
    corners = [(foot_a, low_a)]
    if low_b > 0.0 and low_a == 0.0:
        corners.append((bay.pile.length, 0.0))
    corners += [(foot_b, low_b), (crest_b, top_b)]
    if top_a < bay.pile.height and top_b == bay.pile.height:
        corners.append((0.0, bay.pile.height))
    return [*corners, (crest_a, top_a)]


def lots_page(told: Sequence[BayLots], units: UnitSystem = "metric") -> str:
    """One page for all bays that are told of."""
    return page(
        "lots.html",
        title="Lots in store",
        facts=["Loads, moves and weights out as they stand in the season folder of each bay."],
        bays=[_bay(one, units) for one in told],
    )


def _bay(one: BayLots, units: UnitSystem) -> dict[str, Any]:
    bay, lots = one.bay, one.lots
    hatches = {state.entry.lot: k % 4 for k, state in enumerate(lots)}
    pieces = []
    for part in one.stretches:
        corners = [(x, bay.pile.height - z) for x, z in outline(bay, part)]
        ends = " to ".join(show(x, "m", units) for x in (part.start, part.end))
        middle = 0.5 * (part.start + part.end)
        pieces.append(
            {
                "lot": part.lot,
                "points": " ".join(f"{x:.2f},{y:.2f}" for x, y in corners),
                "middle": f"{middle:.2f}",
                "hatch": hatches.get(part.lot, 0),
                "where": f"{part.lot}: {ends}, {show(part.mass, 'kg', units)}",
            }
        )
    return {
        "name": bay.name,
        "length": bay.pile.length,
        "height": bay.pile.height,
        "words": f"{show(bay.pile.length, 'm', units)} from the back wall (left) to the door, "
        f"{show(bay.pile.height, 'm', units)} high",
        "pieces": pieces,
        "rows": lot_rows(bay, lots, units),
        "order": order_lines(lots, one.blocked),
        "shrinks": shrink_lines(one.shrinks, units),
        "rules": rule_lines(one.rules),
    }
