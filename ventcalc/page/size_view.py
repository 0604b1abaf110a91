"""A sizing as the page shows it; rows, words and numbers are those of the command line."""

from __future__ import annotations

from typing import Any

from ventcalc.bay.checks import bay_notes
from ventcalc.report.size_text import by_subject, cells, head_lines, refrigerants_line, working
from ventcalc.sizing.size import CAUTIONS, Sizing
from ventcalc.units import UnitSystem

__all__ = ["size_shown"]


def size_shown(sizing: Sizing, units: UnitSystem) -> dict[str, Any]:
    """What the template of a sizing asks for."""
    currency = sizing.bay.costs.currency
    rows = [["Size", "Needed", "Margin", "Bay now"]]
    for subject, sizes in by_subject(sizing.sizes):
        rows.append([subject.capitalize()])
        rows += [cells(one, units, currency) for one in sizes]
    return {
        "head": head_lines(sizing, units),
        "notes": sizing.notes,
        "rows": rows,
        "refrigerants": refrigerants_line(sizing),
        "working": [(one.name, working(one, units)) for one in sizing.sizes],
        "remarks": bay_notes(sizing.sized),
        "cautions": CAUTIONS,
    }
