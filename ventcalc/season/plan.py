"""What is known of a season before its first step."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ventcalc.bay.calendar import calendar_at
from ventcalc.bay.description import Bay, Schedule
from ventcalc.bay.hourly import hourly
from ventcalc.compiled import records_of
from ventcalc.errors import BadInput
from ventcalc.pile.bed import BedState, layers_of
from ventcalc.pile.crop import Crop
from ventcalc.season.bay_state import BayState, bed_of, first_layers, first_state
from ventcalc.season.course import Course
from ventcalc.season.installed import as_installed
from ventcalc.season.steps import PlantFaults, SensorErrors
from ventcalc.season.surroundings import Outside, ground_of, hours_of
from ventcalc.weather import Weather
from ventcalc.weather import season as part_of_year

__all__ = ["Plan", "SeasonState", "plan_of", "weather_of_season"]

DAY = 86400.0
MARGIN = timedelta(days=2), timedelta(days=3)
"""Taken before the first load and after the last truck, for the clock's sake."""
FEW_LAYERS = 30
"""Below it a season is not converged."""


@dataclass(frozen=True, kw_only=True, eq=False)
class SeasonState:
    """Where a season stands; another can start from it."""

    time: float
    """UTC since 1970-01-01. [s]"""
    bay: BayState
    bed: BedState
    memory: Any
    """Whatever the policy returned last; [any]."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Plan:
    """Everything that is known before the first step."""

    installed: Bay
    course: Course
    state: BayState
    layers: Any
    """Of the pile, from the bottom up; [any]."""
    memory: Any
    """Of the policy; [any]."""
    time: NDArray[np.datetime64]
    notes: tuple[str, ...]


def plan_of(
    bay: Bay,
    weather: Weather,
    layers: int,
    start: SeasonState | None,
    until: np.datetime64 | None,
    believed: Bay | None,
    errors: SensorErrors | None,
    faults: PlantFaults | None,
    shared: dict[Any, Any],
    crop: Crop | None = None,
) -> Plan:
    """
    A bay, its pile and its weather, ready to run; ``shared`` keeps what bays may share.

    ``crop`` is what is in the pile where it is not what everybody takes it for.
    """
    if not isinstance(layers, int | np.integer) or layers < 1:
        raise BadInput(f"layers is {layers!r}; a whole number of layers of the pile, usually 40")
    key = (id(weather), bay.schedule, bay.site.time_zone)
    if key not in shared:
        shared[key] = _surroundings(bay, weather)
    whole, rows, hours, records, notes, pressure = shared[key]
    times = whole.time[rows]
    first, last = 0, len(hours)
    if start is not None:
        first = int(np.searchsorted([hour.time for hour in hours], start.time - 1e-6))
    if until is not None:
        last = int(np.searchsorted(times, until))
    if not 0 <= first < last:
        raise BadInput(
            f"season of {bay.name!r}: no step between its start and its end; it runs from "
            f"{times[0]} to {times[-1]} UTC; give an end within it"
        )
    if (id(weather), bay) not in shared:
        made = as_installed(bay, pressure=pressure)
        shared[id(weather), bay] = made, ground_of(made, weather)
    installed, ground = shared[id(weather), bay]
    whole_bay = taken_for = hourly(installed, hours[0].time)
    if believed is not None:
        taken_for = hourly(as_installed(believed, pressure=pressure), hours[0].time)
    bed = bed_of(installed, pressure, layers if start is None else len(start.bed.temperature))
    course = Course(
        bay=whole_bay,
        believed=taken_for,
        bed=bed if crop is None else replace(bed, crop=crop),
        ground=ground,
        hours=hours[first:last],
        hour_records=records[first:last],
        step=whole.step,
        errors=SensorErrors(*map(float, errors or SensorErrors())),
        faults=PlantFaults(*map(float, faults or PlantFaults())),
    )
    return Plan(
        installed=installed,
        course=course,
        state=first_state(installed, pressure) if start is None else start.bay,
        layers=first_layers(installed, layers) if start is None else layers_of(start.bed),
        memory=None if start is None else start.memory,
        time=times[first:last],
        notes=(*whole.notes, *notes, *_coarse(course.bed.layers)),
    )


def _coarse(layers: int) -> tuple[str, ...]:
    """A word on too few layers."""
    if layers >= FEW_LAYERS:
        return ()
    return (
        f"{layers} layers are few: energy and spread may be 10 % off; the usual 40 are within "
        "2 % of many more under the same decisions",
    )


def _surroundings(
    bay: Bay, weather: Weather
) -> tuple[Weather, NDArray[np.int64], list[Outside], NDArray[Any], tuple[str, ...], float]:
    """Weather, rows and hours of a season; the same for every bay with these dates."""
    whole = weather_of_season(bay.schedule, weather)
    rows = _rows(bay, whole)
    pressure = float(np.mean(whole.pressure))
    hours, notes = hours_of(whole, rows, pressure, weather)
    return whole, rows, hours, records_of(hours), notes, pressure


def weather_of_season(plan: Schedule, weather: Weather) -> Weather:
    """Weather that holds a season: a single year is joined to itself, with a note that says so."""
    days = len(weather.time) * weather.step / DAY
    if not 365 <= days <= 366:
        return weather
    first, last = (
        date.fromisoformat(f"2001-{day}") for day in (plan.fill_start, plan.unloading_start)
    )
    first -= MARGIN[0]
    last += timedelta(days=plan.unloading_days / DAY) + MARGIN[1]
    return part_of_year(weather, start=f"{first:%m-%d}", end=f"{last:%m-%d}", wrap=True)


def _rows(bay: Bay, weather: Weather) -> NDArray[np.int64]:
    """Rows of the weather from the first load until the bay is empty."""
    times = weather.time.astype("datetime64[s]").astype(np.int64)
    for row in range(0, len(times), max(1, int(DAY // weather.step))):
        when = calendar_at(hourly(bay, float(times[row])), float(times[row]))
        if when.now <= 2 * DAY:
            break
    else:
        raise BadInput(
            f"weather {weather.name!r} ({weather.time[0]} to {weather.time[-1]} UTC) holds no "
            f"first load on {bay.schedule.fill_start}; take a file that covers the season"
        )
    begin = float(times[row]) - when.now
    rows = np.flatnonzero((times >= begin) & (times < begin + when.emptied))
    if (
        len(rows) == 0
        or times[rows[0]] - begin > weather.step
        or (times[rows[-1]] < begin + when.emptied - 2 * weather.step)
    ):
        raise BadInput(
            f"weather {weather.name!r} runs from {weather.time[0]} to {weather.time[-1]} UTC; the "
            f"season from {np.datetime64(int(begin), 's')} to "
            f"{np.datetime64(int(begin + when.emptied), 's')}: take a file that covers it"
        )
    return rows
