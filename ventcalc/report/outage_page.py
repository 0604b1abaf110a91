"""One sheet to print and hang up at the bay."""

from __future__ import annotations

from ventcalc.bay.description import Bay
from ventcalc.outage.outage import Outage
from ventcalc.report.outage_text import (
    CAUTIONS,
    limit_rows,
    sources,
    steps,
    title,
    weather_line,
)
from ventcalc.report.pages import page
from ventcalc.units import UnitSystem

__all__ = ["outage_page"]


def outage_page(bay: Bay, found: Outage, units: UnitSystem = "metric") -> str:
    """The sheet, one A4 page."""
    return page(
        "outage.html",
        title=title(bay, found),
        caution="Nobody goes in before the air is tested; never alone; fans locked out.",
        cautions=CAUTIONS,
        facts=sources(),
        weather=weather_line(found, units),
        rows=limit_rows(found, units),
        steps=steps(bay, found, units),
        notes=found.notes,
    )
