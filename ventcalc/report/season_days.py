"""A season by the day and by the month, in the bay's local time: what plots and tables show."""

from __future__ import annotations

from calendar import timegm
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from ventcalc.bay.calendar import STAGES
from ventcalc.bay.description import Bay
from ventcalc.season.run import Season

__all__ = ["Days", "days_of", "local", "loss_at", "noon", "stage_runs", "stamps"]

Array = NDArray[np.float64]


def local(bay: Bay, time: float) -> datetime:
    """Wall-clock time at the bay of a time in UTC since 1970-01-01 [s], with its offset."""
    return datetime.fromtimestamp(time, ZoneInfo(bay.site.time_zone))


def stamps(season: Season) -> list[float]:
    """Beginning of each step, UTC since 1970. [s]"""
    found: list[float] = season.time.astype("datetime64[s]").astype(float).tolist()
    return found


def noon(day: date) -> float:
    """Where a day stands on an axis of dates. [s]"""
    return timegm(day.timetuple()) + 43200.0


@dataclass(frozen=True, kw_only=True, eq=False)
class Days:
    """The steps of a season sorted into local days and months."""

    season: Season
    wall: list[datetime]
    """Local time of each step."""
    dates: list[date]
    """Each day of the season."""
    day: NDArray[np.int64]
    """Place in ``dates`` of each step."""
    month: NDArray[np.int64]
    """Place in ``months`` of each step."""
    months: list[str]
    """Such as ``Oct 2026``."""

    @property
    def step_hours(self) -> float:
        """Length of a step. [h]"""
        time = self.season.time
        return float((time[1] - time[0]) / np.timedelta64(1, "s")) / 3600.0

    def daily(self, name: str, what: Callable[[Array], Any]) -> Array:
        """``what`` of a trace each day; NaN where nothing is known."""
        return self._grouped(self.season.traces[name], self.day, len(self.dates), what)

    def monthly(self, name: str, what: Callable[[Array], Any]) -> Array:
        """``what`` of a trace each month; NaN where nothing is known."""
        return self._grouped(self.season.traces[name], self.month, len(self.months), what)

    def monthly_total(self, name: str) -> Array:
        """A trace times the time it lasted, each month. [unit of the trace times h]"""
        return self.monthly(name, np.sum) * self.step_hours

    def monthly_hours(self, name: str, when: Callable[[Array], Any]) -> Array:
        """How long each month a trace was as ``when`` asks. [h]"""
        return self.monthly(name, lambda values: np.count_nonzero(when(values))) * self.step_hours

    @staticmethod
    def _grouped(
        values: Array, groups: NDArray[np.int64], count: int, what: Callable[[Array], Any]
    ) -> Array:
        result = np.full(count, np.nan)
        known = ~np.isnan(values)
        for group in range(count):
            part = values[known & (groups == group)]
            if len(part):
                result[group] = what(part)
        return result


def days_of(season: Season) -> Days:
    """The steps of a season sorted into local days and months."""
    wall = [local(season.bay, stamp).replace(tzinfo=None) for stamp in stamps(season)]
    first = wall[0].date()
    day = [(time.date() - first).days for time in wall]
    month = [(time.year - first.year) * 12 + time.month - first.month for time in wall]
    names = {place: f"{time:%b %Y}" for place, time in zip(month, wall, strict=True)}
    return Days(
        season=season,
        wall=wall,
        dates=[date.fromordinal(first.toordinal() + k) for k in range(day[-1] + 1)],
        day=np.array(day),
        month=np.array(month),
        months=[names[place] for place in range(month[-1] + 1)],
    )


def stage_runs(days: Days) -> list[tuple[str, datetime, datetime]]:
    """
    Name, first and last step (local time) of each stage, in their order.

    A stage that comes back within the run of another (a target that waits) is not listed twice.
    """
    codes = days.season.traces["stage"].astype(int)
    runs = []
    for code in dict.fromkeys(codes.tolist()):
        rows = np.flatnonzero(codes == code)
        name = STAGES[code].replace("_", " ")
        runs.append((name, days.wall[rows[0]], days.wall[rows[-1]]))
    return runs


def loss_at(season: Season, days: float) -> float:
    """Shrink some days after the first load, of the mass loaded; NaN after the end. [1]"""
    age = (season.time - season.time[0]) / np.timedelta64(86400, "s")
    if age[-1] < days:
        return float("nan")
    row = int(np.searchsorted(age, days))
    return float(season.traces["water_loss"][row] + season.traces["dry_matter_loss"][row])
