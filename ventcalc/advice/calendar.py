"""The season's calendar of a bay: which stage, and which pulp temperature is wanted."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache
from typing import Any
from zoneinfo import ZoneInfo

from ventcalc._ops import Ops, at_moment
from ventcalc.bay.description import Bay

__all__ = ["STAGES", "Calendar", "calendar_at", "planned_target", "stage_of", "target_of"]

STAGES = (
    "filling", "wound_healing", "cool_down", "holding", "warm_up", "unloading", "empty",
)  # fmt: skip
"""Names of the stages, in order; a stage's code is its place."""

FILLING, WOUND_HEALING, COOL_DOWN, HOLDING, WARM_UP, UNLOADING, EMPTY = range(7)

LAG = 0.5
"""How far the pile may trail its target before the target waits. [K]"""
COLD_START = 1.0
"""How far below the pulp a target may begin that nobody remembers. [K]"""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Calendar:
    """Ends of the stages, as time since the first load. [s]"""

    now: Any
    """[s]"""
    filled: Any
    """[s]"""
    healed: Any
    """[s]"""
    warm_up: Any
    """[s]"""
    unloading: Any
    """[s]"""
    emptied: Any
    """[s]"""


@lru_cache(maxsize=256)
def _day(month_day: str, year: int, zone: str) -> float:
    month, day = map(int, month_day.split("-"))
    return datetime(year, month, day, tzinfo=ZoneInfo(zone)).timestamp()


@lru_cache(maxsize=64)  # policy, model and results ask for the same moment
def _season_of(
    time: float, fill: str, warm: str, unload: str, zone: str
) -> tuple[float, float, float]:
    """First load at or before a moment, and the warm-up and unloading after it. [s, epoch]"""
    year = datetime.fromtimestamp(time, ZoneInfo(zone)).year
    if time < _day(fill, year, zone):
        year -= 1
    return _dates(fill, warm, unload, zone, year)


@lru_cache(maxsize=64)
def _dates(fill: str, warm: str, unload: str, zone: str, year: int) -> tuple[float, float, float]:
    """First load in ``year``, and the warm-up and unloading that follow it. [s, epoch]"""
    start = _day(fill, year, zone)
    later = [
        day if (day := _day(date, year, zone)) > start else _day(date, year + 1, zone)
        for date in (warm, unload)
    ]
    return start, later[0], later[1]


def calendar_at(bay: Bay, time: float) -> Calendar:
    """
    Where a moment stands in the bay's season.

    Parameters
    ----------
    bay : Bay
        The bay; in a batch its dates are shared, its durations may be arrays.
    time : float
        Moment, UTC, since 1970-01-01. [s]

    Returns
    -------
    Calendar
        Times since the last first load at or before the moment. [s]
    """
    plan = bay.schedule
    dates = plan.fill_start, plan.warm_up_start, plan.unloading_start
    start, warm, unload = at_moment(_season_of, time, *dates, bay.site.time_zone)
    return Calendar(
        now=time - start,
        filled=plan.fill_days,
        healed=plan.fill_days + plan.healing_days,
        warm_up=warm - start,
        unloading=unload - start,
        emptied=unload - start + plan.unloading_days,
    )


def stage_of(when: Calendar, target: Any, holding: Any, ops: Ops) -> Any:
    """
    Code of the stage.

    Parameters
    ----------
    when : Calendar
        The moment.
    target : array-like
        Pulp temperature now wanted. [°C]
    holding : array-like
        Pulp temperature to hold. [°C]
    ops : Ops
        Carrier.

    Returns
    -------
    array of int
        Place in ``STAGES``; cool-down lasts until the target has come down to holding.
    """
    now = when.now
    where = ops.where
    middle = where(target > holding + 0.05, COOL_DOWN, HOLDING)
    late = where(now < when.unloading, WARM_UP, where(now < when.emptied, UNLOADING, EMPTY))
    early = where(now < when.filled, FILLING, WOUND_HEALING)
    return where(now < when.healed, early, where(now < when.warm_up, middle, late))


def target_of(bay: Bay, when: Calendar, last: Any, pulp: Any, elapsed: Any, ops: Ops) -> Any:
    """
    Pulp temperature wanted now.

    Parameters
    ----------
    bay : Bay
        The bay.
    when : Calendar
        The moment.
    last : array-like
        The target before; NaN at the start. [°C]
    pulp : array-like
        Mean pulp temperature; NaN leaves the target where it was. [°C]
    elapsed : array-like
        Time since ``last``. [s]
    ops : Ops
        Carrier.

    Returns
    -------
    array
        The wound-healing temperature until healed, then a ramp to holding, later a ramp to
        the warm-up temperature. [°C]

    Notes
    -----
    Without a target from before, the plan's is taken, or a kelvin below a warmer pile.
    The ramp waits for a pile that lags more than half a kelvin behind: otherwise a warm autumn
    would let the target run ahead, and the first cold night would cool the crop too fast.
    """
    plan = bay.schedule
    where = ops.where
    low, high = plan.holding_temperature, plan.healing_temperature
    planned = planned_target(bay, when, ops)
    start = where(pulp - COLD_START > planned, ops.minimum(pulp - COLD_START, high), planned)
    last = where(ops.isnan(last), start, last)
    step = plan.ramp * elapsed
    lags = pulp - last > LAG
    down = where(lags, last, ops.maximum(last - step, low))
    warm = plan.warm_up_temperature
    rate = (warm - low) / (when.unloading - when.warm_up)
    runs_ahead = last - pulp > LAG
    up = where(runs_ahead, last, ops.minimum(last + rate * elapsed, ops.maximum(warm, low)))
    cooling = where(when.now < when.warm_up, down, up)
    return where(when.now < when.healed, high, cooling)


def planned_target(bay: Bay, when: Calendar, ops: Ops) -> Any:
    """
    Pulp temperature that the calendar alone asks for.

    Parameters
    ----------
    bay : Bay
        The bay.
    when : Calendar
        The moment.
    ops : Ops
        Carrier.

    Returns
    -------
    array
        Without regard to how far the pile has come. [°C]
    """
    plan = bay.schedule
    low, high, warm = plan.holding_temperature, plan.healing_temperature, plan.warm_up_temperature
    down = ops.maximum(high - plan.ramp * (when.now - when.healed), low)
    share = (when.now - when.warm_up) / (when.unloading - when.warm_up)
    up = low + (warm - low) * ops.minimum(share, 1.0)
    later = ops.where(when.now < when.warm_up, down, up)
    return ops.where(when.now < when.healed, high, later)
