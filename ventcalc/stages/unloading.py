"""All bays that are emptied one after the other: trucks, warm-up, air, people, weights."""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import NamedTuple

from ventcalc.bay.description import Bay
from ventcalc.logbook.filling import filling_of
from ventcalc.logbook.folder import Logbook
from ventcalc.logbook.weights import Shrink, shrink_of
from ventcalc.stages.emptying import (
    People,
    Remaining,
    air_for_remains,
    on_the_truck,
    people_inside,
)
from ventcalc.stages.trucks import BayTurn, DayOff, TruckPlan, plan_trucks, turns_of
from ventcalc.stages.warm_up import ModelRun, WarmUp, model_run, warm_up
from ventcalc.weather import Weather

__all__ = ["Trucks", "Unloading", "content_of", "pulp_seen", "unload"]

DAY = 86400.0


@dataclass(frozen=True, kw_only=True, slots=True)
class Trucks:
    """What comes to fetch the crop."""

    trucks_per_day: float
    """[1/day]"""
    truck_load: float
    """Crop on one. [kg]"""
    truck_time: float
    """To load one. [s]"""
    working_time: float
    """Work on a day. [s]"""
    off: Collection[DayOff] = ()
    """Days on which none comes."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Unloading:
    """One bay from re-warming to the last truck."""

    bay: Bay
    mass: float
    """Crop in it now. [kg]"""
    weighed: bool
    """Whether that comes from its season folder, not from the bay file."""
    pulp: float
    """Now. [°C]"""
    final: float
    """At the first truck. [°C]"""
    outside_temperature: float
    """Mean while it warms. [°C]"""
    turn: BayTurn
    balance: WarmUp
    model: ModelRun | None
    """None where no weather was given or nothing is to be warmed."""
    lead_time: float
    """The longer of heat balance and model. [s]"""
    air: tuple[Remaining, ...]
    people: People
    sweating: float
    """Working hours with a dew point outside above the pulp; NaN without weather. [0-1]"""
    freezing: float
    """Working hours with air in which tubers freeze; NaN without weather. [0-1]"""
    shrinks: tuple[Shrink, ...]
    """By lot, where trucks went out."""


def content_of(bay: Bay, book: Logbook) -> tuple[float, bool]:
    """Crop in a bay [kg], and whether it was weighed; by the bay file where no load is told."""
    if not book.entries("loads"):
        return bay.mass, False
    return max(filling_of(bay, book).content, 0.0), True


def pulp_seen(book: Logbook) -> float:
    """Pulp last measured by hand; NaN where nobody did. [°C]"""
    seen = [x for x in book.lines("observations") if x.entry.pulp is not None]
    return max(seen, key=lambda x: x.time).entry.pulp if seen else math.nan


def unload(
    bays: Sequence[tuple[Bay, Logbook]],
    *,
    first: date,
    trucks: Trucks,
    pulp: float = math.nan,
    final: float = math.nan,
    outside_temperature: float = math.nan,
    ramp: float = math.nan,
    weather: Weather | None = None,
) -> list[Unloading]:
    """
    Plan the end of the season of bays in the order in which they are emptied; pulp, wanted pulp and
    ramp are the bay's own if not given, ``weather`` is for the pile model and sweating.
    """
    crops = [content_of(bay, book) for bay, book in bays]
    plans = [_trucks_for(mass, trucks) for mass, _ in crops]
    starts = [turn.first_truck for turn in turns_of(first, plans, [0.0] * len(plans), trucks.off)]
    warmed = []
    for (bay, book), (mass, _), day in zip(bays, crops, starts, strict=True):
        now = _first_known(pulp, pulp_seen(book), bay.schedule.holding_temperature)
        goal = _first_known(final, bay.schedule.warm_up_temperature)
        around = _first_known(outside_temperature, _mean_outside(weather, day), goal)
        gentle = _first_known(ramp, bay.schedule.ramp)
        warmed.append(_warmed(bay, mass, now, goal, around, gentle, day, weather))
    leads = [min(one.lead_time / DAY, 365.0) for one in warmed]
    turns = turns_of(first, plans, leads, trucks.off)
    return [
        _told(bay, book, crop, warm, turn, weather)
        for (bay, book), crop, warm, turn in zip(bays, crops, warmed, turns, strict=True)
    ]


class _Warmed(NamedTuple):
    """How one bay comes from its pulp to the one wanted."""

    pulp: float
    final: float
    outside_temperature: float
    balance: WarmUp
    model: ModelRun | None

    @property
    def lead_time(self) -> float:
        """The longer of heat balance and model. [s]"""
        return max(self.balance.lead_time, self.model.lead_time if self.model else 0.0)


def _warmed(
    bay: Bay,
    mass: float,
    pulp: float,
    final: float,
    outside_temperature: float,
    ramp: float,
    day: date,
    weather: Weather | None,
) -> _Warmed:
    balance = warm_up(
        bay, mass, pulp=pulp, final=final, outside_temperature=outside_temperature, ramp=ramp
    )
    model = None
    if weather is not None and 0.0 < balance.lead_time < math.inf:
        lead = balance.lead_time
        model = model_run(bay, weather, pulp=pulp, final=final, day=day, lead_time=lead)
    return _Warmed(pulp, final, outside_temperature, balance, model)


def _told(
    bay: Bay,
    book: Logbook,
    crop: tuple[float, bool],
    warm: _Warmed,
    turn: BayTurn,
    weather: Weather | None,
) -> Unloading:
    (mass, weighed), pulp, truck = crop, max(warm.pulp, warm.final), (math.nan, math.nan)
    if weather is not None:
        truck = on_the_truck(
            weather,
            bay.site.time_zone,
            pulp=pulp,
            first=turn.first_truck,
            days=(turn.last_truck - turn.first_truck).days + 1,
        )
    return Unloading(
        bay=bay,
        mass=mass,
        weighed=weighed,
        pulp=warm.pulp,
        final=warm.final,
        outside_temperature=warm.outside_temperature,
        turn=turn,
        balance=warm.balance,
        model=warm.model,
        lead_time=warm.lead_time,
        air=tuple(air_for_remains(bay, mass)) if mass > 0.0 else (),
        people=people_inside(bay, max(mass, 1.0), pulp),
        sweating=truck[0],
        freezing=truck[1],
        shrinks=_shrinks(book),
    )


def _trucks_for(mass: float, trucks: Trucks) -> TruckPlan:
    return plan_trucks(
        mass,
        trucks_per_day=trucks.trucks_per_day,
        truck_load=trucks.truck_load,
        truck_time=trucks.truck_time,
        working_time=trucks.working_time,
    )


def _first_known(*values: float) -> float:
    return next((value for value in values if not math.isnan(value)), math.nan)


def _mean_outside(weather: Weather | None, day: date) -> float:
    """Of the three weeks before a day of the year. [°C]"""
    if weather is None:
        return math.nan
    wanted = {(day - timedelta(days=k)).timetuple()[1:3] for k in range(1, 22)}
    days = [stamp.astype(object) for stamp in weather.time.astype("datetime64[D]")]
    rows = [k for k, one in enumerate(days) if (one.month, one.day) in wanted]
    return float(weather.temperature[rows].mean()) if rows else math.nan


def _shrinks(book: Logbook) -> tuple[Shrink, ...]:
    lots = dict.fromkeys(x.lot for x in book.entries("weights_out"))
    named = tuple(shrink_of(book, lot) for lot in lots)
    return (*named, shrink_of(book)) if len(named) > 1 else named
