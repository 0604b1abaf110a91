"""The dates of one season: midnights of the local calendar, and what the local clock does."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache
from typing import Any
from zoneinfo import ZoneInfo

from ventcalc.bay.description import Schedule

__all__ = ["SeasonDates", "season_dates"]

HOUR = 3600.0


@dataclass(frozen=True, kw_only=True)
class SeasonDates:
    """Midnights of one season, UTC since 1970-01-01."""

    fill_start: float
    """First load. [s]"""
    warm_up_start: float
    """[s]"""
    unloading_start: float
    """First truck out. [s]"""
    clock_changes: tuple[float, float, float, float]
    """When the local clock is put forward or back from then on; infinity for none. [s]"""
    utc_offsets: tuple[float, float, float, float, float]
    """Local time less UTC, before the first change, after the first, and so on. [s]"""


@lru_cache(maxsize=256)
def _day(month_day: str, year: int, zone: str) -> float:
    month, day = map(int, month_day.split("-"))
    return datetime(year, month, day, tzinfo=ZoneInfo(zone)).timestamp()


def season_dates(schedule: Schedule, zone: str, time: float) -> SeasonDates:
    """The season that a time belongs to: the last first load before it, and what follows that."""
    year = datetime.fromtimestamp(time, ZoneInfo(zone)).year
    if time < _day(schedule.fill_start, year, zone):
        year -= 1
    return _dates(schedule.fill_start, schedule.warm_up_start, schedule.unloading_start, zone, year)


@lru_cache(maxsize=64)
def _dates(fill: str, warm: str, unload: str, zone: str, year: int) -> SeasonDates:
    """First load in ``year``, and the warm-up and unloading that follow it."""
    start = _day(fill, year, zone)
    warm_up, unloading = (
        day if (day := _day(date, year, zone)) > start else _day(date, year + 1, zone)
        for date in (warm, unload)
    )
    changes, offsets = _clock(zone, start)
    return SeasonDates(
        fill_start=start,
        warm_up_start=warm_up,
        unloading_start=unloading,
        clock_changes=changes,
        utc_offsets=offsets,
    )


def _clock(zone: str, start: float) -> tuple[Any, Any]:
    """Changes of the local clock in the two years from a time on, and the offsets between them."""
    place = ZoneInfo(zone)

    def offset(hour: int) -> float:
        found = datetime.fromtimestamp(start + hour * HOUR, place).utcoffset()
        return found.total_seconds() if found is not None else 0.0

    changes: list[float] = []
    offsets = [offset(0)]
    for day in range(2 * 366):
        if len(changes) < 4 and offset(24 * day + 24) != offsets[-1]:
            hour = next(h for h in range(24 * day, 24 * day + 25) if offset(h) != offsets[-1])
            changes.append(start + hour * HOUR)
            offsets.append(offset(hour))
    lacking = 4 - len(changes)
    return (*changes, *[math.inf] * lacking), (*offsets, *[offsets[-1]] * lacking)
