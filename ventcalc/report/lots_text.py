"""Lots of a bay as text, for JSON and as a page, to scale: what lies where, what leaves first."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

from ventcalc.bay.description import Bay
from ventcalc.logbook.allotment import HOW_LONG, Placing
from ventcalc.logbook.bay_lots import BayLots
from ventcalc.logbook.lots import Blocked, LotState, Stretch, face_at, known_use
from ventcalc.logbook.seed_rules import RuleFinding
from ventcalc.logbook.weights import Shrink
from ventcalc.report.logbook_text import entry_data, problem_lines
from ventcalc.report.numbers import known
from ventcalc.report.pages import page
from ventcalc.report.table import bullets, table
from ventcalc.units import UnitSystem, show

__all__ = ["allotment_text", "lots_data", "lots_page", "lots_text", "outline", "shrink_lines"]

_WIDTH = 72
_AGAINST = {
    "rot": "rot",
    "frost": "frost",
    "wet": "came in wet",
    "hot": "came in too warm",
    "immature": "immature",
    "disease": "disease",
}


def lots_text(told: BayLots, units: UnitSystem) -> str:
    """All that is known of the lots of one bay."""
    bay, book, lots = told.bay, told.book, told.lots
    if not lots:
        return "\n".join([f"{bay.name}: no lots in {book.folder}", *problem_lines(book)])
    lines = [f"{bay.name}: lots", *table(lot_rows(bay, lots, units))]
    lines += ["", *_map(bay, told.stretches, units)]
    lines += ["", "Out of the bay:", *bullets(order_lines(lots, told.blocked))]
    if told.shrinks:
        lost = shrink_lines(told.shrinks, units)
        lines += ["", "Weight out against weight in:", *bullets(lost)]
    if told.rules:
        lines += ["", "Rules for seed (who certifies decides):", *bullets(rule_lines(told.rules))]
    return "\n".join([*lines, *problem_lines(book)])


def lot_rows(bay: Bay, lots: Sequence[LotState], units: UnitSystem) -> list[list[str]]:
    """A row a lot, the heading first."""
    rows = [["lot", "for", "variety", "came in", "there now", "pulp", "rot", "stays", "because of"]]
    for state in lots:
        entry = state.entry
        rows.append(
            [
                entry.lot,
                known_use(state, bay),
                " ".join(filter(None, (entry.variety, entry.seed_class))),
                show(state.loaded, "kg", units),
                show(state.content, "kg", units),
                show(state.pulp_mean, "degC", units),
                show(state.rot_share, "1 percent", units),
                entry.keep_until or state.term,
                ", ".join(_AGAINST[name] for name in state.against),
            ]
        )
    return rows


def _map(bay: Bay, stretches: Sequence[Stretch], units: UnitSystem) -> list[str]:
    """The pile from the side, a letter a lot, to scale."""
    names = dict.fromkeys(part.lot for part in stretches)
    letters = {lot: chr(ord("A") + k % 26) for k, lot in enumerate(names)}
    bar = ["."] * _WIDTH
    for part in stretches:
        first, last = (round(x / bay.pile.length * _WIDTH) for x in (part.start, part.end))
        for k in range(max(first, 0), min(max(last, first + 1), _WIDTH)):
            bar[k] = letters[part.lot]
    end = show(bay.pile.length, "m", units)
    rows = [
        [
            f"{letters[part.lot]} {part.lot}",
            f"{show(part.start, 'm', units)} to {show(part.end, 'm', units)}",
            show(part.mass, "kg", units),
        ]
        for part in stretches
    ]
    return [
        "From the back wall to the door, to scale (. is empty floor):",
        f"  |{''.join(bar)}|",
        f"  0{end.rjust(_WIDTH + 1)}",
        *(table(rows) if rows else []),
    ]


def order_lines(lots: Sequence[LotState], blocked: Sequence[Blocked]) -> list[str]:
    """In which order the lots should leave, and what lies in the way."""
    there = [state for state in lots if state.content > 0.0]
    lines = []
    for place, state in enumerate(there, start=1):
        why = ", ".join(_AGAINST[name] for name in state.against)
        until = f"until {state.entry.keep_until}" if state.entry.keep_until else ""
        words = "; ".join(filter(None, (until or HOW_LONG[state.term], why)))
        lines.append(f"{place}. {state.entry.lot}: {words}")
    for lot, before in blocked:
        lines.append(f"{lot} should leave first and lies behind {', '.join(before)}")
    return lines


def rule_lines(rules: Sequence[RuleFinding]) -> list[str]:
    """What was found by each rule for seed."""
    return [f"{one.verdict}: {one.rule}; {one.words} ({one.source})" for one in rules]


def shrink_lines(shrinks: Sequence[Shrink], units: UnitSystem) -> list[str]:
    """What each lot that is all out has lost."""
    lines = []
    for one in shrinks:
        name = one.lot or "all lots"
        came, went = (show(x, "kg", units) for x in (one.mass_in, one.mass_out))
        if not one.complete or math.isnan(one.mass_loss):
            lines.append(f"{name}: {came} in, {went} out so far")
            continue
        lines.append(
            f"{name}: {came} in, {went} out: {100 * one.mass_loss:.1f}% lost, give or take "
            f"{100 * one.doubt:.1f}% (scales and soil)"
        )
    return lines


def allotment_text(placings: Sequence[Placing], units: UnitSystem) -> str:
    """Which lot into which bay, and why."""
    if not placings:
        return "No lot is announced: lots.csv tells each with its mass before it comes in"
    lines = []
    for bay in dict.fromkeys(placing.bay for placing in placings):
        lines += ["", f"{bay}, in this order:" if bay else "No bay for:"]
        lines += bullets(
            f"{f'{p.order}. ' if p.order else ''}{p.lot}, {show(p.mass, 'kg', units)}, "
            f"{'until ' if p.until[:1].isdigit() else ''}{p.until}: {'; '.join(p.reasons)}"
            for p in placings
            if p.bay == bay
        )
    return "\n".join(lines[1:])


def lots_data(told: BayLots) -> dict[str, Any]:
    """All that is known of the lots of one bay."""
    return {
        "bay": told.bay.name,
        "lots": [
            {
                **entry_data(state.entry),
                "use": known_use(state, told.bay),
                "loaded_kg": state.loaded,
                "content_kg": state.content,
                "pulp_temp_c": known(state.pulp_mean),
                "rot_share": state.rot_share,
                "frost_share": state.frost_share,
                "term": state.term,
                "against": list(state.against),
            }
            for state in told.lots
        ],
        "stretches": [
            {"lot": p.lot, "start_m": p.start, "end_m": p.end, "mass_kg": p.mass}
            for p in told.stretches
        ],
        "unloading_order": [state.entry.lot for state in told.lots if state.content > 0.0],
        "blocked": [{"lot": one.lot, "behind": list(one.behind)} for one in told.blocked],
        "seed_rules": [asdict(rule) for rule in told.rules],
        "weights": [
            {
                "lot": one.lot,
                "mass_in_kg": one.mass_in,
                "mass_out_kg": one.mass_out,
                "complete": one.complete,
                "mass_loss": known(one.mass_loss),
                "standard_uncertainty": known(one.doubt),
            }
            for one in told.shrinks
        ],
        "problems": [problem.text for problem in told.book.problems],
    }


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
