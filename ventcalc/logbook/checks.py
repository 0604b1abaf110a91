"""What cannot be true of the lines of a season together: one line of words each, with its row."""

from __future__ import annotations

import bisect
from collections import defaultdict
from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from ventcalc.bay.description import Bay
from ventcalc.errors import BadInput
from ventcalc.logbook.columns import known_like
from ventcalc.logbook.kinds import Line
from ventcalc.logbook.probe_checks import probe_offset
from ventcalc.logbook.rows import Problem, Table
from ventcalc.units import show
from ventcalc.units.text import quoted

__all__ = ["cross_problems"]

FULL = 1.05
"""Scales and bulk density differ: so much more than a full bay is still believed (common practice,
no source). [1]"""
EMPTY = 0.05
"""A bay with less than this part of its greatest content counts as emptied (common practice, no
source). [1]"""
OVER_WEIGHT = 1.02
"""So much more of a lot may leave than came in, by the error of scales (common practice, no
source). [1]"""
MOVES = ("loads", "moves", "weights_out")


def known_lots(tables: Mapping[str, Table], bay: Bay) -> list[str]:
    """Names of lots: those of the bay file, and of ``lots.csv``."""
    told = [line.entry.lot for line in tables["lots"].lines]
    return list(dict.fromkeys([*(lot.name for lot in bay.lots), *told]))


def cross_problems(tables: Mapping[str, Table], bay: Bay) -> list[Problem]:
    """Every problem between lines."""
    zone = ZoneInfo(bay.site.time_zone)
    found: list[Problem] = []
    for table in tables.values():
        twice = _twice(table)
        found += [*twice, *_out_of_order(table, zone, {p.row for p in twice}), *_weights(table)]
    found += [*_unknown_lots(tables, bay), *_balance(tables, bay)]
    return [*found, *_moves(tables), *_probes(tables)]


def _moves(tables: Mapping[str, Table]) -> list[Problem]:
    words = "neither away_to nor here_from; say which way it went"
    return [
        Problem("moves", line.row, words)
        for line in tables["moves"].lines
        if line.entry.away_to is None and line.entry.here_from is None
    ]


def _probes(tables: Mapping[str, Table]) -> list[Problem]:
    """Checks of probes that tell no offset."""
    table = tables["sensor_checks"]
    found = []
    for line in table.lines:
        try:
            probe_offset(line.entry, line.time)
        except BadInput as error:
            found.append(Problem(table.kind, line.row, str(error)))
    return found


def _out_of_order(table: Table, zone: ZoneInfo, twice: set[int]) -> list[Problem]:
    """
    Rows whose time does not fit between its neighbours.

    The fewest that must be wrong: all that a longest run of times in order leaves out, so that one
    slip far ahead does not blame every row behind it.
    """
    lines = [line for line in table.lines if line.row not in table.late | twice]
    kept = _longest_run([line.time for line in lines])
    return [
        Problem(table.kind, line.row, _order_words(lines, kept, k, zone))
        for k, line in enumerate(lines)
        if k not in kept
    ]


def _longest_run(times: Sequence[float]) -> set[int]:
    """
    Places of a longest run that never falls, from the end so that of two the later is left out.

    Patience sorting: ``ends`` holds the latest time at which a run of each length may begin.
    """
    ends: list[float] = []
    first: list[int] = []
    after = [-1] * len(times)
    for k in range(len(times) - 1, -1, -1):
        place = bisect.bisect_right(ends, -times[k])
        after[k] = first[place - 1] if place else -1
        if place == len(ends):
            ends.append(-times[k])
            first.append(k)
        else:
            ends[place], first[place] = -times[k], k
    kept = set()
    at = first[-1] if first else -1
    while at >= 0:
        kept.add(at)
        at = after[at]
    return kept


def _order_words(lines: Sequence[Line[Any]], kept: set[int], k: int, zone: ZoneInfo) -> str:
    def told(line: Line[Any]) -> str:
        return f"{datetime.fromtimestamp(line.time, zone):%Y-%m-%d %H:%M} (row {line.row})"

    here = f"time {datetime.fromtimestamp(lines[k].time, zone):%Y-%m-%d %H:%M}"
    above = max((i for i in kept if i < k), default=-1)
    below = min((i for i in kept if i > k), default=-1)
    if above >= 0 and lines[k].time < lines[above].time:
        words = f"{here} runs backwards, it follows {told(lines[above])}"
    else:
        words = f"{here} is ahead of {told(lines[below])} below it"
    return f'{words}; mend the time, or write "yes" under late'


def _twice(table: Table) -> list[Problem]:
    seen: dict[Any, int] = {}
    tickets: dict[str, int] = {}
    found = []
    for line in table.lines:
        lot = line.entry.lot if table.kind == "lots" else None
        key = lot or (line.time, line.entry)
        ticket = getattr(line.entry, "ticket", None) or ""
        row = seen.setdefault(key, line.row)
        if row == line.row and ticket:
            row = tickets.setdefault(ticket, line.row)
            what = f"ticket {ticket} stands in row {row} already"
        else:
            what = f"{f'lot {quoted(lot)}' if lot else 'the same'} stands in row {row} already"
        if row != line.row:
            found.append(
                Problem(table.kind, line.row, f"{what}; correct or strike out one of them")
            )
    return found


def _weights(table: Table) -> list[Problem]:
    return [
        Problem(
            table.kind,
            line.row,
            f"tare {_both(line.entry.tare)} is not below gross {_both(line.entry.gross)}; "
            "exchanged, or in different units?",
        )
        for line in table.lines
        if table.kind in ("loads", "weights_out") and line.entry.tare >= line.entry.gross
    ]


def _both(mass: float) -> str:
    return f"{show(mass, 'kg small', 'metric', 0)} ({show(mass, 'kg small', 'us', 0)})"


def _unknown_lots(tables: Mapping[str, Table], bay: Bay) -> list[Problem]:
    known = known_lots(tables, bay)
    found = []
    for table in tables.values():
        for line in table.lines:
            lot = getattr(line.entry, "lot", None)
            if lot is None or lot in known:
                continue
            close = known_like(lot, known)
            hint = f"did you mean {quoted(close)}?" if close else f"known are {', '.join(known)}"
            words = f"lot {quoted(lot)} is not known; {hint}; new lots go into lots.csv first"
            found.append(Problem(table.kind, line.row, words))
    return found


def _balance(tables: Mapping[str, Table], bay: Bay) -> list[Problem]:
    """A bay that would hold more than it can, or is filled twice; a lot that gave too much."""
    capacity = bay.pile.capacity
    content, most = 0.0, 0.0
    came: defaultdict[str, float] = defaultdict(float)
    went: defaultdict[str, float] = defaultdict(float)
    found: dict[str, Problem] = {}
    for kind, line, change in _events(tables):
        lot = line.entry.lot
        if change > 0.0:
            came[lot] += change
        else:
            went[lot] -= change
        if change > 0.0 and content < EMPTY * most and most > 0.5 * capacity:
            found.setdefault(
                "again",
                Problem(kind, line.row, "the bay was emptied before this load and would be filled "
                "twice in one season; begin a new season folder"),
            )  # fmt: skip
        content += change
        most = max(most, content)
        if content > FULL * capacity:
            found.setdefault(
                "full",
                Problem(kind, line.row, f"from here on the bay would hold {_both(content)}, more "
                f"than the {_both(capacity)} of a full one; filled twice, or weights in the wrong "
                "unit?"),
            )  # fmt: skip
        if change < 0.0 and went[lot] > OVER_WEIGHT * came[lot]:
            found.setdefault(
                lot,
                Problem(kind, line.row, f"with this {_both(went[lot])} of lot {quoted(lot)} left, "
                f"and only {_both(came[lot])} came in; wrong lot, or a load not written down?"),
            )  # fmt: skip
    return list(found.values())


def _events(tables: Mapping[str, Table]) -> list[tuple[str, Line[Any], float]]:
    """What came into the bay and left it, in order of time. [kg]"""
    found = []
    for kind in MOVES:
        for line in tables[kind].lines:
            entry = line.entry
            if kind == "moves":
                change = entry.change
            else:
                change = max(entry.net, 0.0) * (1.0 if kind == "loads" else -1.0)
            found.append((kind, line, change))
    return sorted(found, key=lambda event: event[1].time)
