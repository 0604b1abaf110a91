"""What counts as found: evidence hour by hour, until it is enough; repeated findings are one."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any, Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

from ventcalc.units.words import table_words

__all__ = ["Episode", "Finding", "Signal", "episodes", "signal", "stamp"]

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

MERGED = 7 * 86400.0
"""Findings of the same thing less than this apart are one. [s]"""
KEPT = 2.0
"""Times the hours needed that evidence piles up, so that what was mended is forgotten. [1]"""
CERTAIN, LIKELY = 0.9, 0.7
"""Part of the able hours that show it, from which on it is called so. [1]"""

Sure = Literal["certain", "likely", "possible"]


@dataclass(frozen=True, kw_only=True, eq=False)
class Signal:
    """What one rule sees of one thing, by the hour or by the day."""

    id: str
    """Name of the finding; that of the alarm where the meaning is the same."""
    rule: str
    """S1 to S14, or the name of what has no number."""
    level: int
    """1 danger to people or crop, 2 equipment, 3 to be looked at."""
    time: Array
    """Of each hour or day, UTC since 1970-01-01. [s]"""
    able: Flags
    """Whether the fault would show now."""
    shows: Flags
    """Whether it does."""
    size: Array
    """How large it is, where it shows. [any]"""
    need: float
    """So many hours that show it, less those that do not, make a finding. [h]"""
    text: str
    """What is wrong, with ``{size}`` where the number goes."""
    unit: str
    """Of the size, for ``units.show``; with ``digits`` after the point."""
    first: str
    """What to look at first."""
    digits: int = 1
    place: str = ""
    height: float = math.nan
    """Of the place above the floor, where it has one. [m]"""
    hours: float = 1.0
    """That one element stands for. [h]"""
    forgets: float = 1.0
    """Hours of evidence that an able hour without it takes back. [1]"""


def signal(key: str, **seen: Any) -> Signal:
    """What a rule sees; its name, words and level stand in ``findings.csv``."""
    told = table_words("findings", key, size="{size}")
    told |= {name: int(told[name]) for name in ("level", "digits")}
    del told["key"]
    return Signal(**told, **seen)


class Episode(NamedTuple):
    """A time in which a signal was strong enough."""

    start: int
    """First element that shows it."""
    raised: int
    """Element at which it was enough."""
    last: int
    """Last element that shows it."""
    shown: int
    able: int
    stands: bool
    """Whether it still does at the end."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Finding:
    """One thing that is wrong."""

    id: str
    """Name; that of the alarm of ``advise`` where the meaning is the same."""
    rule: str
    level: int
    """1 danger to people or crop, 2 equipment, 3 to be looked at."""
    place: str
    """Where, if it has a place."""
    since: str
    """When it began to show, ISO 8601, UTC."""
    found: str
    """When that was enough."""
    until: str
    """When it showed last."""
    stands: bool
    """Whether the log ends before enough hours without it."""
    sure: Sure
    shown_hours: float
    """In which it showed. [h]"""
    able_hours: float
    """In which it could have shown. [h]"""
    text: str
    first: str
    """What to look at first."""


def episodes(signal: Signal) -> list[Episode]:
    """
    Times in which a signal showed more often than not, long enough; those close together are one.
    """
    found: list[Episode] = []
    score, start, raised, last, shown, able = 0.0, -1, -1, -1, 0, 0
    for k in np.flatnonzero(signal.able).tolist():
        shows = bool(signal.shows[k])
        if score <= 0.0 and not shows:
            continue
        if score <= 0.0:
            start, raised, shown, able = k, -1, 0, 0
        able += 1
        if shows:
            shown, last = shown + 1, k
            score = min(score + signal.hours, KEPT * signal.need)
        else:
            score -= signal.hours * signal.forgets
        if score >= signal.need and raised < 0:
            raised = k
        if score <= 0.0 and raised >= 0:
            found.append(Episode(start, raised, last, shown, able, False))
    if score > 0.0 and raised >= 0:
        found.append(Episode(start, raised, last, shown, able, True))
    return _merged(found, signal.time)


def _merged(found: Sequence[Episode], time: Array) -> list[Episode]:
    """Neighbours less than ``MERGED`` apart as one."""
    merged: list[Episode] = []
    for one in found:
        if merged and time[one.start] - time[merged[-1].last] < MERGED:
            before = merged.pop()
            one = Episode(
                before.start, before.raised, one.last,
                before.shown + one.shown, before.able + one.able,
                one.stands,
            )  # fmt: skip
        merged.append(one)
    return merged


def stamp(time: float) -> str:
    """A time as ISO 8601, UTC."""
    return datetime.fromtimestamp(time, UTC).isoformat()


def sureness(signal: Signal, episode: Episode) -> Sure:
    """How sure: by the part of the able hours that show it, and how many they are."""
    share = episode.shown / max(episode.able, 1)
    long = episode.shown * signal.hours >= KEPT * signal.need
    if share >= CERTAIN and long:
        return "certain"
    return "likely" if share >= LIKELY else "possible"
