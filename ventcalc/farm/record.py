"""The record of a bay's season, from its season folder and its log: nothing is asked twice."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from ventcalc.diagnose.diagnose import Diagnosis, diagnose
from ventcalc.diagnose.hours import LONGEST_STEP, RUNS
from ventcalc.diagnose.log import Log
from ventcalc.errors import BadInput
from ventcalc.farm.expected import ExpectedLoss, expected_loss
from ventcalc.farm.folder import FarmBay
from ventcalc.farm.followed import Followed, followed
from ventcalc.logbook.kinds import Line
from ventcalc.logbook.lots import LotState, lots_of
from ventcalc.logbook.weights import Shrink, shrink_of
from ventcalc.season.installed import as_installed
from ventcalc.units import UnitSystem

__all__ = ["BayRecord", "Month", "bay_record", "farm_shrink"]

Array = NDArray[np.float64]
COVERED = 0.9
"""Part of the stay that the log must cover, to be held against the weights. [0-1]"""
TOLD = ("treatments", "inspections", "observations", "sensor_checks", "settings", "moves")
"""Kinds of lines that are told one by one, beside loads, lots and weights."""


@dataclass(frozen=True, kw_only=True)
class Month:
    """A month of a log; NaN where nothing was read."""

    begin: float
    """UTC since 1970-01-01. [s]"""
    pulp_coldest: float
    """[°C]"""
    pulp_mean: float
    """[°C]"""
    pulp_warmest: float
    """[°C]"""
    least_plenum_temperature: float
    """While the fans ran. [°C]"""
    co2: float
    """Highest volume fraction. [1]"""
    fan_time: float
    """How long the fans ran. [s]"""
    energy: float
    """Electrical. [J]"""


@dataclass(frozen=True, kw_only=True, eq=False)
class BayRecord:
    """The season of one bay."""

    place: FarmBay
    total: Shrink
    """All of the bay."""
    lots: tuple[tuple[LotState, Shrink], ...]
    expected: ExpectedLoss | None
    """By the log; None where that does not hold enough."""
    months: tuple[Month, ...]
    """Empty without a log."""
    diagnosis: Diagnosis | None
    """What the log shows to be wrong; None without one."""
    followed: Followed | None
    """What became of the advice; None without a file of it and a log."""
    told: tuple[tuple[str, Line[object]], ...]
    """Kind and line of what was done and seen, by time."""
    problems: tuple[str, ...]

    @property
    def energy(self) -> float:
        """Electrical, of all months; NaN where none was logged. [J]"""
        return math.fsum(month.energy for month in self.months) if self.months else math.nan

    @property
    def surprise(self) -> float:
        """Shrink by weight less that by the log, per standard uncertainty; NaN if not both. [1]"""
        if self.expected is None or not self.total.complete or self.expected.covered < COVERED:
            return math.nan
        doubt = math.hypot(self.total.doubt, self.expected.doubt)
        return (self.total.mass_loss - self.expected.mass_loss) / doubt


def bay_record(place: FarmBay, units: UnitSystem = "metric") -> BayRecord:
    """The season of a bay; what could not be used is told in ``problems``."""
    book = place.book
    if book is None:
        raise BadInput(f"{place.name}: {problem}" for problem in place.problems)
    problems = list(place.problems)
    expected, diagnosis = None, None
    if place.log is not None:
        try:
            expected = expected_loss(place)
            diagnosis = diagnose(as_installed(place.bay), place.log, units)
        except BadInput as error:
            problems += [f"{place.name}.readings.csv: {problem}" for problem in error.problems]
    told = [(kind, line) for kind in TOLD for line in book.lines(kind)]
    states = [state for state in lots_of(place.bay, book) if state.loaded > 0.0]
    return BayRecord(
        place=place,
        total=shrink_of(book),
        lots=tuple((state, shrink_of(book, state.entry.lot)) for state in states),
        expected=expected,
        months=_months(place.log, place.bay.site.time_zone) if place.log is not None else (),
        diagnosis=diagnosis,
        followed=None
        if place.advice is None or place.log is None
        else followed(place.advice, place.log, book),
        told=tuple(sorted(told, key=lambda pair: pair[1].time)),
        problems=tuple(problems),
    )


def farm_shrink(records: Sequence[BayRecord]) -> tuple[float, float]:
    """
    Shrink of all bays that are empty again, together, NaN while none is, and its standard
    uncertainty: one scale and one habit of sampling soil serve all, so their errors are the same.
    [1]
    """
    done = [one.total for one in records if one.total.complete]
    came = sum(total.mass_in for total in done)
    if came <= 0.0:
        return math.nan, math.nan
    lost = came - sum(total.mass_out for total in done)
    return lost / came, sum(total.mass_in * total.doubt for total in done) / came


# --- months ------------------------------------------------------------------------------


def _months(log: Log, zone: str) -> tuple[Month, ...]:
    """The log by local months."""
    begins = _month_begins(float(log.time[0]), float(log.time[-1]), ZoneInfo(zone))
    cuts = np.searchsorted(log.time, [*begins, np.inf])
    step = np.minimum(np.diff(log.time, prepend=log.time[0]), LONGEST_STEP)
    return tuple(
        _month(log, begin, slice(first, last), step)
        for begin, first, last in zip(begins, cuts[:-1], cuts[1:], strict=True)
        if last > first
    )


def _month_begins(first: float, last: float, zone: ZoneInfo) -> list[float]:
    day = datetime.fromtimestamp(first, zone)
    year, month = day.year, day.month
    begins = []
    while (begin := datetime(year, month, 1, tzinfo=zone).timestamp()) <= last:
        begins.append(begin)
        year, month = (year + 1, 1) if month == 12 else (year, month + 1)
    return begins


def _month(log: Log, begin: float, rows: slice, step: Array) -> Month:
    pulp, values = log.pulp[rows], {name: x[rows] for name, x in log.values.items()}
    none = np.full(rows.stop - rows.start, np.nan)
    runs = values["fan_speed"] > RUNS
    plenum = np.where(runs, values["plenum_temperature"], np.nan)
    return Month(
        begin=begin,
        pulp_coldest=_of(np.min, pulp),
        pulp_mean=_of(np.mean, pulp),
        pulp_warmest=_of(np.max, pulp),
        least_plenum_temperature=_of(np.min, plenum),
        co2=_of(np.max, values.get("co2", none)),
        fan_time=float(np.sum(step[rows][runs])),
        energy=_of(np.sum, values.get("energy", none)),
    )


def _of(what: Callable[[Array], float], values: Array) -> float:
    known = values[~np.isnan(values)]
    return float(what(known)) if len(known) else math.nan
