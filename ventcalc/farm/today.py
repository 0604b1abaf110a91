"""How a bay stands today: readings, advice, alarms, and what is lost so far."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ventcalc.advice.alarms import Alarm, alarms
from ventcalc.advice.json_values import moment_of
from ventcalc.errors import BadInput
from ventcalc.farm.advised import Advised, advise_log, advise_once
from ventcalc.farm.expected import ExpectedLoss, expected_loss
from ventcalc.farm.folder import FarmBay
from ventcalc.logbook.weights import Shrink, shrink_of
from ventcalc.units import UnitSystem

__all__ = ["BayToday", "today_of"]

Array = NDArray[np.float64]
APART = 600.0
"""Rows of it that are advised on are at least so far apart. [s]"""
REMEMBERED = 3 * 86400.0
"""Of a log, what is advised anew so that the last row knows what went before. [s]"""

AHEAD = 600.0
"""Between two clocks, beyond which one of them is wrong. [s]"""


@dataclass(frozen=True, kw_only=True, eq=False)
class BayToday:
    """One bay now."""

    place: FarmBay
    advised: Advised | None
    """None where there are no readings."""
    age: float
    """Since they were read; NaN without any. [s]"""
    alarms: tuple[Alarm, ...]
    """The worst first."""
    pulp_coldest: float
    """NaN where none is read. [°C]"""
    pulp_warmest: float
    """Also of a probe that stands alone: it may be a hot spot. [°C]"""
    weights: Shrink | None
    """In and out; None where nothing was weighed."""
    expected: ExpectedLoss | None
    """Shrink so far by the log; None where that does not hold enough."""
    problems: tuple[str, ...]

    @property
    def lapsed(self) -> bool:
        """Whether the advice is older than it stands for."""
        return self.advised is not None and self.age > self.advised.advice.valid_for


def today_of(place: FarmBay, now: float, units: UnitSystem = "metric") -> BayToday:
    """How a bay stands by its newest readings, file or log, at ``now`` [s, UTC since 1970]."""
    weights = shrink_of(place.book) if place.book is not None else None
    weights = weights if weights is not None and weights.mass_in > 0.0 else None
    problems = list(place.problems)
    advised, pulp, expected = None, np.empty(0), None
    try:
        advised, pulp = _advised(place, weights)
        expected = expected_loss(place)
    except BadInput as error:
        problems += [f"{place.name}.readings: {problem}" for problem in error.problems]
    known = pulp[~np.isnan(pulp)]
    age = now - advised.given.readings.time if advised is not None else math.nan
    if age < -AHEAD:
        problems.append(f"{place.name}.readings: time lies ahead; check clock and offset")
    return BayToday(
        place=place,
        advised=advised,
        age=age,
        alarms=alarms(advised.advice, place.bay, advised.memory, units) if advised else (),
        pulp_coldest=float(known.min()) if len(known) else math.nan,
        pulp_warmest=float(known.max()) if len(known) else math.nan,
        weights=weights,
        expected=expected,
        problems=tuple(problems),
    )


def _advised(place: FarmBay, weights: Shrink | None) -> tuple[Advised | None, Array]:
    """By the file of readings or the end of the log, whichever is newer; and all pulp probes."""
    told = {}
    checks = place.book.lines("sensor_checks") if place.book is not None else ()
    if weights is not None:
        there = 0.0 if weights.complete else max(weights.mass_in - weights.mass_out, 0.0)
        told["loaded_t"] = there / 1000.0
    log, given = place.log, place.given
    if given is not None:
        wrong: list[str] = []
        time = moment_of(given.get("time"), wrong)
        if log is None or wrong or time >= log.time[-1]:
            found = advise_once(place.bay, {**told, **given}, checks)
            return found, np.array(found.given.pulp)
    if log is None:
        return None, np.empty(0)
    *_, last = advise_log(place.bay, log, _last_rows(log.time), checks, **told)
    return last, np.array(last.given.pulp)


def _last_rows(time: Array) -> list[int]:
    """Rows of the last days, the last one among them."""
    wanted = np.arange(time[-1], max(time[-1] - REMEMBERED, time[0]) - 1.0, -APART)
    rows: list[int] = np.unique(np.searchsorted(time, wanted, "right") - 1).tolist()
    return rows
