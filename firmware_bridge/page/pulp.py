"""The pile over the last days, coldest and warmest probe by the hour: a trend and a small line."""

from __future__ import annotations

import contextlib
import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from firmware_bridge.errors import JournalError
from firmware_bridge.journal.journal import Journal
from firmware_bridge.page.words import Units, reading_text
from ventcalc.web.scale import Scale
from ventcalc.web.svg import Picture, area, path, words

__all__ = ["PulpHours", "PulpPast", "Spark", "pulp_hours", "spark", "trend"]

HOUR, DAY = 3600.0, 86400.0
SPAN = 3 * DAY
"""Of the small line. [s]"""
LEAST = 3 * HOUR
"""Shorter than this there is no trend. [s]"""
READ_EVERY = 300.0
"""Finished hours are packed as often. [s]"""
STEADY = 0.1
"""A smaller change is none: the resolution of a pulp probe. [K]"""
Spark = tuple[Picture, str]
"""A picture, and its words."""
_WIDTH, _HEIGHT, _ROOM = 260.0, 64.0, 52.0
"""Of the picture, and of the words at its right end. [px]"""


@dataclass(frozen=True, kw_only=True, slots=True)
class PulpHours:
    """Hourly means of all pulp probes."""

    times: tuple[float, ...]
    """Start of each hour, UTC. [s]"""
    probes: tuple[tuple[float, ...], ...]
    """Of each hour, every sound probe. [°C]"""

    def ends(self, end: Callable[[Iterable[float]], float]) -> tuple[float, ...]:
        """The coldest (``min``) or warmest (``max``) of each hour."""
        return tuple(end(found) for found in self.probes)


def pulp_hours(journal: Journal, bay: str, now: float) -> PulpHours:
    """What the journal holds of the last days; raises ``JournalError`` where it cannot be read."""
    found: dict[float, list[float]] = {}
    for roll in journal.rolls(bay, now - SPAN, now):
        if roll.kind == "pulp_temperature":
            found.setdefault(roll.hour, []).append(roll.mean)
    return PulpHours(times=tuple(found), probes=tuple(map(tuple, found.values())))


class PulpPast:
    """The hours of every bay, read anew now and then; used by one thread."""

    def __init__(self, journal: Callable[[], Journal]) -> None:
        self._journal = journal
        self._kept: dict[str, tuple[float, PulpHours | None]] = {}

    def of(self, bay: str, now: float) -> PulpHours | None:
        """Those of a bay; None where the journal cannot be read."""
        read_at, hours = self._kept.get(bay, (-math.inf, None))
        if not 0.0 <= now - read_at < READ_EVERY:
            with contextlib.suppress(JournalError):
                hours = pulp_hours(self._journal(), bay, now)
            self._kept[bay] = (now, hours)
        return hours


def trend(times: Sequence[float], past: Sequence[float], value: float, units: Units) -> str:
    """How far a value has moved in a day, or in as much of it as is known."""
    if not times or math.isnan(value):
        return ""
    latest = times[-1] + HOUR
    first = next(n for n, t in enumerate(times) if t >= latest - DAY)
    span = latest - times[first]
    if span < LEAST:
        return ""
    moved, over = value - past[first], f"in {span / HOUR:.0f} h"
    if abs(moved) < STEADY:
        return f"→ steady {over}"
    arrow = "↘" if moved < 0.0 else "↗"
    return f"{arrow} {reading_text(moved, 'difference', units, sign=True)} {over}"


def spark(name: str, hours: PulpHours, units: Units) -> Spark | None:
    """The pile of the last three days as a small picture; None where there is too little."""
    if len(hours.times) < 3:
        return None
    cold, warm = hours.ends(min), hours.ends(max)
    low, high = min(cold), max(warm)
    x = Scale(hours.times[0], hours.times[-1], 4.0, _WIDTH - _ROOM)
    y = Scale(low, max(high, low + 1.0), _HEIGHT - 8.0, 8.0)
    lines = [
        [(x(t), y(value)) for t, value in zip(hours.times, end, strict=True)]
        for end in (cold, warm)
    ]
    (bottom, top) = lines
    texts = [reading_text(end[-1], "temperature", units) for end in (cold, warm)]
    beside = [bottom[-1][1] + 5.0, top[-1][1] + 5.0]
    if beside[0] - beside[1] < 16.0:  # the two do not stand on each other
        middle = 0.5 * (beside[0] + beside[1])
        beside = [middle + 8.0, middle - 8.0]
    end = _WIDTH - _ROOM + 6.0
    shapes = [
        area(top, bottom, fill="var(--c0)", fill_opacity=0.15),
        path(top, stroke="var(--c1)", stroke_width=2.0),
        path(bottom, stroke="var(--c0)", stroke_width=2.0, stroke_dasharray="5 3"),
        words(end, beside[1], texts[1]),
        words(end, beside[0], texts[0]),
    ]
    days = (hours.times[-1] - hours.times[0] + HOUR) / DAY
    span = f"{days:.0f} days" if days > 1.9 else f"{24.0 * days:.0f} h"
    said = [reading_text(value, "temperature", units) for value in (low, high)]
    title = f"Pile, last {span}"
    told = (
        f"Between {said[0]} and {said[1]} in the last {span}; "
        f"now coldest {texts[0]}, warmest {texts[1]}."
    )
    picture = Picture(name=name, title=title, width=_WIDTH, height=_HEIGHT, shapes=shapes)
    return picture, told
