"""The season's record as plain text and as a page to print."""

from __future__ import annotations

from collections.abc import Sequence
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
        for title, rows in (
            ("Lots", lot_rows(one, units)),
            ("Months of the log", month_rows(one, units)),
        ):
            if len(rows) > 1:
                lines += [f"  {title}:", *table(rows, 4)]
        if len(rows := found_rows(one)) > 1:
            lines += ["  Found in the log:"]
            lines += bullets(f"{row[0]} to {row[1]}, {row[4]}: {row[3]}" for row in rows[1:])
        if len(rows := departure_rows(one)) > 1:
            lines += ["  Otherwise than advised, the longest stretches:"]
            lines += bullets(f"{row[0]}, {row[1]} h: {row[2]}; {row[3]}" for row in rows[1:])
        if len(rows := told_rows(one, units)) > 1:
            lines += ["  Done, checked and seen:"]
            lines += bullets(
                f"{when}, {kind}: {what}{f' [{who}]' if who else ''}"
                for when, kind, what, who in rows[1:]
            )
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


def _bay(one: BayRecord, units: UnitSystem) -> dict[str, Any]:
    return {
        "name": one.place.bay.name,
        "about": _about(one, units),
        "tables": [
            (rows, caption, words)
            for rows, caption, words in (
                (lot_rows(one, units), "Lots", False),
                (month_rows(one, units), "Months of the log", False),
                (found_rows(one), "Found in the log", True),
                (departure_rows(one), "Otherwise than advised, the longest stretches", True),
                (told_rows(one, units), "Done, checked and seen", True),
            )
            if len(rows) > 1
        ],
        "problems": one.problems,
    }
