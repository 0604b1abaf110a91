"""All bays today as a page; a phone shows a card a bay."""

from __future__ import annotations

from collections.abc import Sequence

from ventcalc.farm.shared import SharedUse
from ventcalc.farm.today import BayToday
from ventcalc.report.board_text import (
    board_rows,
    first_line,
    log_lines,
    sensor_lines,
    shared_lines,
    worst_first,
)
from ventcalc.report.diagnose_text import WORDS
from ventcalc.report.pages import Verdict, page
from ventcalc.units import UnitSystem

__all__ = ["board_page"]


def board_page(
    today: Sequence[BayToday],
    shared: Sequence[SharedUse],
    units: UnitSystem = "metric",
    when: str = "",
) -> str:
    """One page for all bays; ``when`` is the time from which ages are counted."""
    alarmed = [
        [one.place.bay.name, WORDS[alarm.level], alarm.text, alarm.first]
        for one in worst_first(today)
        for alarm in one.alarms
    ]
    return page(
        "board.html",
        title=f"All bays, {when}",
        facts=[
            "Readings, logs and season folders that lie beside the bay files. Advice stands for "
            "the time that each bay file says, and lapses after it. ± is a standard uncertainty.",
            *log_lines(today),
            *sensor_lines(today, units),
        ],
        verdict=_verdict(today),
        rows=board_rows(today, units),
        do_first=[["bay", "do first"]]
        + [[one.place.bay.name, first_line(one, units)] for one in worst_first(today)],
        alarms=[["bay", "level", "what", "first"], *alarmed] if alarmed else [],
        shared=shared_lines(shared, units),
        problems=[f"{one.place.name}: {problem}" for one in today for problem in one.problems],
        bold=[row[2] for row in alarmed if row[1] == WORDS[1]],
    )


def _verdict(today: Sequence[BayToday]) -> Verdict:
    def named(bays: list[BayToday]) -> str:
        return ", ".join(one.place.bay.name for one in bays)

    danger = [one for one in today if one.alarms and one.alarms[0].level == 1]
    if danger:
        return Verdict("bad", "Go there first:", f"{named(danger)}.")
    alarmed = [one for one in today if one.alarms]
    if alarmed:
        return Verdict(
            "watch", "Look at", f"{named(alarmed)}; no danger to people or crop is seen."
        )
    dark = [one for one in today if one.advised is None or one.lapsed]
    if dark:
        return Verdict("watch", "Read anew:", f"{named(dark)}; what is read elsewhere is in order.")
    return Verdict("good", "No alarm", f"in {len(today)} bays.")
