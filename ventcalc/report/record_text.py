"""The season's record as plain text and as a page to print."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

from ventcalc.diagnose.diagnose import UNSEEN
from ventcalc.farm.record import BayRecord
from ventcalc.report.pages import page
from ventcalc.report.record_rows import (
    departure_rows,
    farm_rows,
    followed_lines,
    found_rows,
    lot_rows,
    money_lines,
    month_rows,
    surprise_words,
    told_rows,
)
from ventcalc.report.table import bullets, first_of, table
from ventcalc.units import UnitSystem

__all__ = ["record_page", "record_text"]

FACTS = (
    "From the season folder beside each bay file and the log of its readings; what nobody wrote "
    "down is not in it.",
    "Shrink of the whole farm is that of its bays that are empty again.",
    "± is a standard uncertainty: of shrink by weight that of scales and soil, of the expectation "
    "that of published values of the crop and of the probes. Rest losses are not in the "
    "expectation.",
    "The log cannot show: " + "; ".join(UNSEEN) + ".",
)


def record_text(records: Sequence[BayRecord], units: UnitSystem = "metric") -> str:
    """The farm in a table, then each bay."""
    lines = table(farm_rows(records, units), 0)
    for one in records:
        lines += ["", one.place.bay.name, *bullets(_about(one, units))]
        for rows, title, words in _tables(one, units):
            said = bullets(words(*row) for row in rows[1:]) if words else table(rows, 4)
            lines += [f"  {title}:", *said]
        left = [f"  Left out: {problem}" for problem in one.problems]
        lines += first_of(left, "--json lists every one")
    return "\n".join(lines)


def record_page(records: Sequence[BayRecord], units: UnitSystem = "metric") -> str:
    """One page that prints clean: the farm, then a section a bay."""
    names = ", ".join(one.place.bay.name for one in records)
    return page(
        "record.html",
        title=names if len(records) == 1 else f"Season of {len(records)} bays",
        facts=FACTS,
        farm=farm_rows(records, units),
        bays=[_bay(one, units) for one in records],
    )


def _about(one: BayRecord, units: UnitSystem) -> list[str]:
    return [surprise_words(one), *money_lines(one, units), *followed_lines(one)]


def _tables(
    one: BayRecord, units: UnitSystem
) -> list[tuple[list[list[str]], str, Callable[..., str] | None]]:
    """What is not empty: rows, title, and how a row is said where it holds more than numbers."""
    every: list[tuple[list[list[str]], str, Callable[..., str] | None]] = [
        (lot_rows(one, units), "Lots", None),
        (month_rows(one, units), "Months of the log", None),
        (found_rows(one), "Found in the log", "{0} to {1}, {4}: {3}".format),
        (
            departure_rows(one),
            "Otherwise than advised, the longest stretches",
            "{0}, {1} h: {2}; {3}".format,
        ),
        (
            told_rows(one, units),
            "Done, checked and seen",
            lambda when, kind, what, who: f"{when}, {kind}: {what}{f' [{who}]' if who else ''}",
        ),
    ]
    return [part for part in every if len(part[0]) > 1]


def _bay(one: BayRecord, units: UnitSystem) -> dict[str, Any]:
    return {
        "name": one.place.bay.name,
        "about": _about(one, units),
        "tables": [(rows, title, bool(words)) for rows, title, words in _tables(one, units)],
        "problems": one.problems,
    }
