"""
Whether advice was followed, and why not: what was advised against what the log shows was done.

Beside ``north.toml`` stands ``north.advice.csv``: the bridge's export of its advice, or what
``ventcalc advise --log`` prints. The reason for a departure is what people wrote down about then.
"""

from __future__ import annotations

import csv
import math
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from ventcalc.diagnose.hours import LONGEST_STEP
from ventcalc.diagnose.log import Log
from ventcalc.errors import BadInput
from ventcalc.logbook.folder import Logbook

__all__ = ["DEVICES", "Departure", "Followed", "GivenAdvice", "followed", "read_advice"]

Array = NDArray[np.float64]
DEVICES = ("fan_speed", "door_opening", "humidifier", "refrigeration", "heater")
GIVEN = ("advice", "observe")
"""Kinds of entries of the bridge's log that hold advice, to the controller or to people."""
APART = 0.15
"""Difference of positions that is too much (common practice, no source). [0-1]"""
STANDS = 7200.0
"""Age at which advice no longer counts (common practice, no source). [s]"""
NEAR = 6 * 3600.0
"""What was written so long before or after a departure may tell why (ours). [s]"""
SHORTEST = 3600.0
"""A departure that is told by itself lasts at least so long (ours). [s]"""


class GivenAdvice(NamedTuple):
    """Advice as it was given."""

    time: Array
    """UTC since 1970-01-01, rising. [s]"""
    positions: Mapping[str, Array]
    """By device, 0-1; NaN where the advice leaves it alone. [1]"""
    silent: Sequence[str]
    """Why nothing was advised; empty where something was."""
    remarks: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class Departure:
    """A stretch in which something else was done than was advised."""

    begin: float
    """UTC since 1970-01-01. [s]"""
    end: float
    """[s]"""
    devices: tuple[str, ...]
    why: str
    """What people wrote down about then; empty where nobody did."""


@dataclass(frozen=True, kw_only=True)
class Followed:
    """What became of the advice of a season."""

    advised_time: float
    """In which advice stood and the log knows what was done. [s]"""
    followed_time: float
    """[s]"""
    device_time: Mapping[str, float]
    """By device, in which it did something else. [s]"""
    silent_time: Mapping[str, float]
    """By reason, in which nothing was advised. [s]"""
    departures: tuple[Departure, ...]

    @property
    def share(self) -> float:
        """Of the time with advice; NaN without any. [0-1]"""
        return self.followed_time / self.advised_time if self.advised_time > 0.0 else math.nan


def read_advice(text: str, name: str) -> GivenAdvice:
    """
    Read advice that was given: CSV with ``time`` or ``time_utc`` and ``DEVICES``, each as far as it
    is there; ``none`` says why nothing was advised.
    """
    rows = csv.DictReader(text.splitlines())
    titles = rows.fieldnames or ()
    clock = next((key for key in ("time", "time_utc") if key in titles), "")
    there = [key for key in DEVICES if key in titles]
    if not clock or not there:
        raise BadInput(f"{name}: needs the columns time and at least one of {', '.join(DEVICES)}")
    found: list[tuple[float, list[float], str]] = []
    wrong = []
    for number, row in enumerate(rows, start=2):
        if row.get("kind", "advice") not in GIVEN:
            continue
        try:
            stamp = datetime.fromisoformat(row[clock] or "")
            positions = [float(row[key] or math.nan) for key in there]
        except (ValueError, TypeError):
            wrong.append(number)
            continue
        if stamp.tzinfo is None or any(not (x != x or 0.0 <= x <= 1.0) for x in positions):
            wrong.append(number)
            continue
        found.append((stamp.timestamp(), positions, (row.get("none") or "").strip()))
    found.sort(key=lambda one: one[0])
    more = f" and {len(wrong) - 1} more" if len(wrong) > 1 else ""
    remarks = (f"{name}: row {wrong[0]}{more}: no time with offset, or a position that is not "
               "0 to 1: left out",) if wrong else ()  # fmt: skip
    table = np.array([positions for _, positions, _ in found]).reshape(len(found), len(there))
    return GivenAdvice(
        time=np.array([time for time, _, _ in found]),
        positions={key: table[:, k] for k, key in enumerate(there)},
        silent=[none for _, _, none in found],
        remarks=remarks,
    )


def followed(given: GivenAdvice, log: Log, book: Logbook) -> Followed:
    """
    Hold what was done against what was advised, which counts until the next, two hours at most;
    positions of a row of the log are those since the row before.
    """
    step = np.minimum(np.diff(log.time, prepend=log.time[0]), LONGEST_STEP)
    which = np.searchsorted(given.time, log.time, "left") - 1
    stands = which >= 0
    if len(given.time):
        stands &= log.time - given.time[which] <= STANDS
    silent: defaultdict[str, float] = defaultdict(float)
    for row in np.flatnonzero(stands):
        if reason := given.silent[which[row]]:
            silent[reason] += float(step[row])
    apart: dict[str, NDArray[np.bool_]] = {}
    known = np.zeros(len(log.time), bool)
    for key, positions in given.positions.items():
        if key not in log.values:
            continue
        wanted = np.where(stands, positions[which], np.nan) if len(positions) else log.time * np.nan
        away = np.abs(log.values[key] - wanted)
        known |= ~np.isnan(away)
        apart[key] = away > APART
    off = np.any(list(apart.values()), axis=0) if apart else known
    return Followed(
        advised_time=float(step[known].sum()),
        followed_time=float(step[known & ~off].sum()),
        device_time={key: float(step[rows].sum()) for key, rows in apart.items()},
        silent_time=dict(sorted(silent.items(), key=lambda pair: -pair[1])),
        departures=tuple(_departures(log.time, step, off, apart, book)),
    )


def _departures(
    time: Array,
    step: Array,
    off: NDArray[np.bool_],
    apart: Mapping[str, NDArray[np.bool_]],
    book: Logbook,
) -> list[Departure]:
    """Stretches of rows in a row, the longest first."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], off, [False]]).astype(int)))
    told = []
    for first, after in zip(edges[::2], edges[1::2], strict=True):
        begin, end = float(time[first] - step[first]), float(time[after - 1])
        if end - begin < SHORTEST:
            continue
        devices = tuple(key for key, rows in apart.items() if rows[first:after].any())
        told.append(Departure(begin=begin, end=end, devices=devices, why=_why(book, begin, end)))
    return sorted(told, key=lambda one: one.begin - one.end)


def _why(book: Logbook, begin: float, end: float) -> str:
    """What was written down about then."""
    lines: list[Any] = [
        line
        for kind in ("settings", "observations", "treatments", "inspections")
        for line in book.lines(kind)
        if begin - NEAR <= line.time <= end + NEAR
    ]
    words = []
    for line in sorted(lines, key=lambda line: float(line.time)):
        reason = getattr(line.entry, "why", None) or line.note or line.entry.what
        words.append(f"{reason} [{line.who}]" if line.who else str(reason))
    return "; ".join(dict.fromkeys(words))
