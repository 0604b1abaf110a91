"""A pile check as the page shows it; its words and numbers are those of the command line."""

from __future__ import annotations

import math
from typing import Any, NamedTuple

from ventcalc.check.check import PileCheck
from ventcalc.check.record import CANNOT_SAY, MARGINAL, NO, OK, Check
from ventcalc.page.sketch import bay_sketch, reach_sketch
from ventcalc.report.check_text import (
    CHECK_CAUTIONS,
    capacity_line,
    check_cells,
    findings,
    headline,
    numbered_sources,
    wall_rows,
)
from ventcalc.units import UnitSystem, show

__all__ = ["STATES", "CheckRow", "check_shown", "overall"]

STATES = {OK: "good", MARGINAL: "watch", CANNOT_SAY: "open", NO: "none"}
"""How a verdict looks; the words stand beside it."""
_BADGES = {
    OK: "no check fails",
    MARGINAL: "marginal",
    CANNOT_SAY: "not all judged",
    NO: "a check fails",
}
_SEEN = ("Marginal at", "Not judged at")
"""Findings from these on stand in the table too, or are remarks."""
_WORST = (NO, MARGINAL, CANNOT_SAY, OK)


class CheckRow(NamedTuple):
    """One check in the table."""

    key: str
    cells: tuple[str, ...]
    """Name, value, limit, margin, verdict."""
    state: str
    share: float | None
    """Margin over the limit, -1 to 1; None where there is none."""
    source: str
    formula: str


def overall(result: PileCheck) -> str:
    """The worst verdict of the checks, as in JSON."""
    found = {str(check.verdict) for check in result.checks}
    return next(verdict for verdict in _WORST if verdict in found)


def _share(check: Check) -> float | None:
    share = float(check.margin) / float(check.limit) if check.limit else math.nan
    return None if math.isnan(share) else round(max(-1.0, min(1.0, share)), 4)


def check_shown(result: PileCheck, units: UnitSystem) -> dict[str, Any]:
    """What the template of a check asks for."""
    numbers, sources = numbered_sources(result)
    rows = [
        CheckRow(
            key=check.key,
            cells=tuple(check_cells(check, units)),
            state=STATES[str(check.verdict)],
            share=_share(check),
            source=number,
            formula=check.formula,
        )
        for check, number in zip(result.checks, numbers, strict=True)
    ]
    verdict = overall(result)
    lines = findings(result, units)
    most = next((k for k, line in enumerate(lines) if line.startswith(_SEEN)), len(lines))
    return {
        "question": f"May {result.bay.name} be filled to {show(result.height, 'm', units)}?",
        "answer": headline(result, units),
        "badge": _BADGES[verdict],
        "state": STATES[verdict],
        "capacity": capacity_line(result, units),
        "findings": lines[:most],
        "remarks": lines[most:],
        "rows": rows,
        "sources": sources,
        "walls": [
            ["Method", "Pressure at the foot", "Thrust per length", "Moment per length"],
            *wall_rows(result, units),
        ],
        "bay": bay_sketch(result, units),
        "reach": reach_sketch(result, units),
        "cautions": CHECK_CAUTIONS,
    }
