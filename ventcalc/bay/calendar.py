"""The season's calendar of a bay: which stage, and which pulp temperature is wanted."""

from __future__ import annotations

import math
from typing import NamedTuple

from ventcalc.bay.hourly import HourlyBay

__all__ = [
    "STAGES",
    "Calendar",
    "calendar_at",
    "final_target",
    "local_hour",
    "planned_target",
    "stage_of",
    "target_of",
    "told_calendar",
]

STAGES = (
    "filling", "wound_healing", "cool_down", "holding", "warm_up", "unloading", "empty",
)  # fmt: skip
"""Names of the stages, in order; a stage's code is its place."""

FILLING, WOUND_HEALING, COOL_DOWN, HOLDING, WARM_UP, UNLOADING, EMPTY = range(7)

HOUR, DAY = 3600.0, 86400.0
LAG = 0.5
"""How far the pile may trail its target before the target waits. [K]"""
COLD_START = 1.0
"""How far below the pulp a target may begin that nobody remembers. [K]"""
ARRIVED = 0.05
"""How near the target must be to where it heads for the ramp to count as done. [K]"""


class Calendar(NamedTuple):
    """Ends of the stages, as time since the first load."""

    now: float
    """[s]"""
    filled: float
    """[s]"""
    healed: float
    """[s]"""
    warm_up: float
    """[s]"""
    unloading: float
    """[s]"""
    emptied: float
    """[s]"""


def local_hour(bay: HourlyBay, time: float) -> float:
    """Hour of the local clock. [h]"""
    offset = bay.dates.utc_offsets[0]
    for i in range(4):
        if time >= bay.dates.clock_changes[i]:
            offset = bay.dates.utc_offsets[i + 1]
    return (time + offset) % DAY // HOUR


def calendar_at(bay: HourlyBay, time: float) -> Calendar:
    """Where a time (UTC since 1970-01-01 [s]) stands in the bay's season."""
    plan, dates = bay.schedule, bay.dates
    start = dates.fill_start
    return Calendar(
        now=time - start,
        filled=plan.fill_days,
        healed=plan.fill_days + plan.healing_days,
        warm_up=dates.warm_up_start - start,
        unloading=dates.unloading_start - start,
        emptied=dates.unloading_start - start + plan.unloading_days,
    )


def told_calendar(when: Calendar, stage: int) -> Calendar:
    """The calendar moved to a stage that people tell, to the end of it that is nearer."""
    begins, ends = when.now, when.now
    if stage == FILLING:
        begins, ends = 0.0, when.filled - 1.0
    elif stage == WOUND_HEALING:
        begins, ends = when.filled, when.healed - 1.0
    elif stage == COOL_DOWN or stage == HOLDING:
        begins, ends = when.healed, when.warm_up - 1.0
    elif stage == WARM_UP:
        begins, ends = when.warm_up, when.unloading - 1.0
    elif stage == UNLOADING:
        begins, ends = when.unloading, when.emptied - 1.0
    elif stage == EMPTY:
        begins, ends = when.emptied, max(when.now, when.emptied)
    return Calendar(
        now=min(max(when.now, begins), ends),
        filled=when.filled,
        healed=when.healed,
        warm_up=when.warm_up,
        unloading=when.unloading,
        emptied=when.emptied,
    )


def stage_of(bay: HourlyBay, when: Calendar, target: float) -> int:
    """Code of the stage; cool-down lasts until the target [°C] has come down to holding."""
    now = when.now
    if now < when.filled:
        return FILLING
    if now < when.healed:
        return WOUND_HEALING
    if now < when.warm_up:
        return COOL_DOWN if target > bay.schedule.holding_temperature + ARRIVED else HOLDING
    if now < when.unloading:
        return WARM_UP
    return UNLOADING if now < when.emptied else EMPTY


def planned_target(bay: HourlyBay, when: Calendar) -> float:
    """Pulp temperature that the calendar alone asks for, however far the pile has come. [°C]"""
    plan = bay.schedule
    if when.now < when.healed:
        return plan.healing_temperature
    if when.now < when.warm_up:
        fall = plan.ramp * (when.now - when.healed)
        return max(plan.healing_temperature - fall, plan.holding_temperature)
    share = min((when.now - when.warm_up) / (when.unloading - when.warm_up), 1.0)
    rise = plan.warm_up_temperature - plan.holding_temperature
    return plan.holding_temperature + rise * share


def final_target(bay: HourlyBay, when: Calendar) -> float:
    """Where the target is heading in this part of the season. [°C]"""
    plan = bay.schedule
    if when.now < when.healed:
        return plan.healing_temperature
    return plan.holding_temperature if when.now < when.warm_up else plan.warm_up_temperature


def target_of(bay: HourlyBay, when: Calendar, last: float, pulp: float, elapsed: float) -> float:
    """
    Pulp temperature wanted now. [°C]

    Without a target from before, the plan's is taken, or a kelvin below a warmer pile; what is warm
    before its warm-up stays so. The ramp
    waits for a pile that lags more than half a kelvin behind: otherwise a warm autumn would let the
    target run ahead, and the first cold night would cool the crop too fast.
    """
    plan = bay.schedule
    if when.now < when.healed:
        return plan.healing_temperature
    if math.isnan(last):
        last = planned_target(bay, when)
        # While it should still come down; a pile that should long be cold has nothing to wait for.
        if when.now >= when.warm_up:
            last = max(last, min(pulp, plan.warm_up_temperature))
        elif pulp - COLD_START > last > plan.holding_temperature:
            last = min(pulp - COLD_START, plan.healing_temperature)
    if when.now < when.warm_up:
        if pulp - last > LAG:
            return last
        return max(last - plan.ramp * elapsed, plan.holding_temperature)
    if last - pulp > LAG:
        return last
    low, warm = plan.holding_temperature, plan.warm_up_temperature
    rate = (warm - low) / (when.unloading - when.warm_up)
    return min(last + rate * elapsed, max(warm, low))
