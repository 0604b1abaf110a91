"""How fast trucks empty bays, and when the next bay must be warm."""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import count, islice

from ventcalc.errors import BadInput

__all__ = ["BayTurn", "DayOff", "TruckPlan", "plan_trucks", "turns_of"]

DAY = 86400.0
DayOff = int | date
"""A day without trucks: of each week, Monday is 0, or a date."""


@dataclass(frozen=True, kw_only=True, slots=True)
class TruckPlan:
    """What a day of loading takes out of a bay."""

    mass: float
    """Crop to take out. [kg]"""
    trucks_per_day: float
    """[1/day]"""
    mass_per_day: float
    """[kg/day]"""
    loading_time: float
    """Work at the bay on a day. [s]"""
    days: float
    """Until it is empty; the last day counts by its share. [days]"""
    trucks: int
    """All of them; the last may be part full."""
    binds: str
    """What sets the rate: ``trucks``, or ``working_time`` where the day is too short for them."""


def plan_trucks(
    mass: float,
    *,
    trucks_per_day: float,
    truck_load: float,
    truck_time: float,
    working_time: float = DAY,
) -> TruckPlan:
    """How long a bay lasts, loading one truck after the other. [kg, 1/day, s]"""
    for name, value in (
        ("trucks_per_day", trucks_per_day),
        ("truck_load", truck_load),
        ("truck_time", truck_time),
        ("working_time", working_time),
    ):
        if not 0.0 < value < math.inf:
            raise BadInput(f"{name}: must be above zero")
    most = working_time / truck_time
    each_day = min(trucks_per_day, most)
    return TruckPlan(
        mass=mass,
        trucks_per_day=each_day,
        mass_per_day=each_day * truck_load,
        loading_time=each_day * truck_time,
        days=mass / (each_day * truck_load),
        trucks=math.ceil(mass / truck_load - 1e-9),
        binds="trucks" if trucks_per_day <= most else "working_time",
    )


@dataclass(frozen=True, kw_only=True, slots=True)
class BayTurn:
    """One bay's place in the order of unloading."""

    warm_up: date
    """Latest day to begin re-warming."""
    first_truck: date
    last_truck: date
    left: tuple[tuple[date, float], ...]
    """Crop at the end of each day from the first truck to the last. [kg]"""
    plan: TruckPlan


def turns_of(
    first: date,
    plans: Sequence[TruckPlan],
    leads: Sequence[float],
    off: Collection[DayOff] = (),
) -> list[BayTurn]:
    """
    Bays one after the other from the first day with trucks on; the day on which one runs out goes
    on in the next.
    """
    if set(range(7)) <= set(off):
        raise BadInput("no_trucks: leave a day of the week on which trucks come")
    ends = [0.0]
    for plan in plans:
        ends.append(ends[-1] + plan.days)
    work = list(islice(_work_days(first, off), math.ceil(ends[-1]) + 1))
    turns = []
    for plan, lead, start, end in zip(plans, leads, ends[:-1], ends[1:], strict=True):
        begins = work[math.floor(start + 1e-9)]
        last = max(work[max(math.ceil(end - 1e-9) - 1, 0)], begins)
        turns.append(
            BayTurn(
                warm_up=begins - timedelta(days=math.ceil(lead - 1e-9)),
                first_truck=begins,
                last_truck=last,
                left=tuple(_left(plan, start, work, begins, last)),
                plan=plan,
            )
        )
    return turns


def _work_days(first: date, off: Collection[DayOff]) -> Iterator[date]:
    for k in count():
        day = first + timedelta(days=k)
        if day not in off and day.weekday() not in off:
            yield day


def _left(
    plan: TruckPlan, start: float, work: Sequence[date], begins: date, last: date
) -> Iterator[tuple[date, float]]:
    """Of a bay whose loading begins after so many days of work. [kg]"""
    for k in range((last - begins).days + 1):
        day = begins + timedelta(days=k)
        worked = bisect_right(work, day) - start
        yield day, max(plan.mass - max(worked, 0.0) * plan.mass_per_day, 0.0)
