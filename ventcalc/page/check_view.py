"""A pile check as the page shows it; its words and numbers are those of the command line."""

from __future__ import annotations

import math
from typing import Any, NamedTuple

from ventcalc.check.check import PileCheck
from ventcalc.check.record import CANNOT_SAY, MARGINAL, NO, OK, Check
from ventcalc.report.check_page import bay_figure
from ventcalc.report.check_plots import reach_plot
from ventcalc.report.check_summary import check_glances, check_verdict
from ventcalc.report.check_text import (
    CHECK_CAUTIONS,
    capacity_line,
    check_cells,
    findings,
    numbered_sources,
    wall_rows,
)
from ventcalc.report.equipment_bill import bill
from ventcalc.units import UnitSystem, reworded, show

__all__ = ["CheckRow", "check_shown", "overall"]

_STATES = {OK: "good", MARGINAL: "watch", CANNOT_SAY: "open", NO: "bad"}
"""How a verdict looks; the words stand beside it."""
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
    numbers, sources = numbered_sources(result, units)
    rows = [
        CheckRow(
            key=check.key,
            cells=tuple(check_cells(check, units)),
            state=_STATES[str(check.verdict)],
            share=_share(check),
            source=number,
            formula=reworded(check.formula, units),
        )
        for check, number in zip(result.checks, numbers, strict=True)
    ]
    return {
        "question": f"May {result.bay.name} be filled to {show(result.height, 'm', units)}?",
        "verdict": check_verdict(result, units),
        "glances": check_glances(result, units),
        "capacity": capacity_line(result, units),
        "findings": findings(result, units),
        "rows": rows,
        "sources": sources,
        "walls": [
            ["Method", "Pressure at the foot", "Thrust per length", "Moment per length"],
            *wall_rows(result, units),
        ],
        "bay": bay_figure(result, units, "pile"),
        "reach": reach_plot(result, units) if result.reaches or result.plant_reaches else None,
        "bill": bill(result.bay, units),
        "cautions": CHECK_CAUTIONS,
    }
