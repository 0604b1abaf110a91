"""The states of the weather that a bay is sized for, taken from a file's percentiles."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ventcalc import air
from ventcalc import weather as outside
from ventcalc.bay import calendar
from ventcalc.bay.description import Bay
from ventcalc.bay.hourly import hourly
from ventcalc.building import sky
from ventcalc.weather import Weather
from ventcalc.weather.parts import steps_of

__all__ = ["COLD_PERCENTILE", "WARM_PERCENTILE", "DesignDay", "DesignStates", "design_states"]

Array = NDArray[np.float64]
DAY = 86400.0

COLD_PERCENTILE = 0.4
"""Of all hours, for the winter: ASHRAE's 99.6 % heating temperature. [%]"""
WARM_PERCENTILE = 95.0
"""Of the daily means of a stage, for its warm day; one day in twenty is warmer (common
practice, no source: a pile carries a warm day over). [%]"""
STAGES = ("filling", "cool_down", "holding")
ROOF_ABSORPTANCE = 0.6
"""For sunlight, a grey roof (common practice, no source). [1]"""


@dataclass(frozen=True, kw_only=True, slots=True)
class DesignDay:
    """A real warm day of one stage of the season."""

    stage: str
    date: str
    """Local, year-month-day."""
    mean_temperature: float
    """Dry bulb over the day. [°C]"""
    highest_temperature: float
    """Warmest hour. [°C]"""
    humidity_ratio: float
    """Mean of the day, at the bay's air pressure. [kg/kg dry air]"""
    roof_temperature: float
    """Mean sol-air temperature of a flat roof in the day's sun. [°C]"""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class DesignStates:
    """What the weather file asks of a bay."""

    pressure: float
    """Standard air pressure at the bay's height. [Pa]"""
    winter_temperature: float
    """Dry bulb, colder in 0.4 % of the hours. [°C]"""
    winter_humidity_ratio: float
    """Median of the hours as cold as that. [kg/kg dry air]"""
    winter_roof_temperature: float
    """Sol-air of a roof under a clear night sky, colder in 0.4 % of the hours. [°C]"""
    days: Mapping[str, DesignDay]
    """Warm day of ``filling`` (with wound healing), ``cool_down`` and ``holding``."""
    enthalpy_days: Mapping[str, DesignDay]
    """The same by the enthalpy of the air: what a coil meets where it is damp."""
    now: Array
    """Middle of each step of the season, since the first load. [s]"""
    step: float
    """Length of a step. [s]"""
    stage: NDArray[np.int_]
    """Place in ``calendar.STAGES`` for each step."""
    target: Array
    """Pulp temperature planned for each step. [°C]"""
    local_time: NDArray[np.datetime64]
    """Start of each step by the clock of the place."""
    temperature: Array
    """Outside, each step. [°C]"""
    humidity_ratio: Array
    """Outside, each step, at the bay's air pressure. [kg/kg dry air]"""
    notes: tuple[str, ...]


def design_states(bay: Bay, weather: Weather) -> DesignStates:
    """
    Take the states to size for out of a weather file: percentiles, warm days, the season.

    Relative humidity is kept where the station's air pressure is not the bay's. 99.6 % heating
    temperature: ASHRAE Handbook of Fundamentals, climatic design information.
    """
    pressure = float(air.standard_pressure(bay.site.altitude))
    part = _season(bay, weather)
    now, stage, target = _plan(bay, part)
    cold = float(outside.dry_bulb_percentiles(weather, COLD_PERCENTILE))
    as_cold = weather.temperature <= cold
    roof = _roof_at_night(weather, pressure)
    winter_moisture = _moisture(weather, pressure)[as_cold]
    days, enthalpy_days = {}, {}
    for name in STAGES:
        codes = _codes(name)
        hours = np.isin(stage, codes)
        if hours.sum() * weather.step >= DAY:
            of_stage = steps_of(part, hours)
            heat = air.enthalpy(of_stage.temperature, _moisture(of_stage, pressure), pressure)
            days[name] = _warm_day(name, of_stage, pressure)
            enthalpy_days[name] = _warm_day(name, of_stage, pressure, np.asarray(heat))
    return DesignStates(
        pressure=pressure,
        winter_temperature=cold,
        winter_humidity_ratio=float(np.median(winter_moisture)),
        winter_roof_temperature=float(np.percentile(roof, COLD_PERCENTILE)),
        days=days,
        enthalpy_days=enthalpy_days,
        now=now,
        step=part.step,
        stage=stage,
        target=target,
        local_time=outside.local_time(part),
        temperature=part.temperature,
        humidity_ratio=_moisture(part, pressure),
        notes=_notes(bay, weather, part, pressure),
    )


def _codes(name: str) -> list[int]:
    codes = [calendar.STAGES.index(name)]
    return [*codes, calendar.WOUND_HEALING] if name == "filling" else codes


def _season(bay: Bay, weather: Weather) -> Weather:
    """From the first load to the last truck, by the bay's clock."""
    plan, own = bay.schedule, replace(weather, time_zone=bay.site.time_zone)
    last = date.fromisoformat(f"2001-{plan.unloading_start}")
    last += timedelta(days=plan.unloading_days / DAY + 1)
    whole_year = 365 <= len(weather.time) * weather.step / DAY <= 366
    return outside.season(own, start=plan.fill_start, end=f"{last:%m-%d}", wrap=whole_year)


def _plan(bay: Bay, part: Weather) -> tuple[Array, NDArray[np.int_], Array]:
    """Time since the first load, stage and target of each step."""
    times = part.time.astype("datetime64[s]").astype(np.int64)
    year = hourly(bay, float(times[0] + 0.5 * part.step))
    first = calendar.calendar_at(year, float(times[0] + 0.5 * part.step))
    now = first.now + (times - times[0]).astype(float)
    steps = [first._replace(now=one) for one in now.tolist()]
    targets = [calendar.planned_target(year, when) for when in steps]
    stages = [
        calendar.stage_of(year, when, target) for when, target in zip(steps, targets, strict=True)
    ]
    return now, np.array(stages), np.array(targets)


def _moisture(weather: Weather, pressure: float) -> Array:
    return np.asarray(air.humidity_ratio(weather.temperature, weather.relative_humidity, pressure))


def _roof_at_night(weather: Weather, pressure: float) -> Array:
    """Sol-air temperature without sun; a clear sky where the file says nothing of the sky."""
    # The formula of the clear sky ends at a dew point of -40 °C, where hardly a vapour is left.
    dew_point = np.maximum(air.dew_point(weather.humidity_ratio, weather.pressure), -40.0)
    clear = sky.sky_temperature(weather.temperature, dew_point, pressure=pressure)
    cold = np.where(np.isnan(weather.sky_temperature), clear, weather.sky_temperature)
    return np.asarray(sky.sol_air_temperature(weather.temperature, sky_temperature=cold))


def _warm_day(name: str, hours: Weather, pressure: float, ranked: Array | None = None) -> DesignDay:
    day = outside.design_day(hours, percentile=WARM_PERCENTILE, ranked=ranked)
    sun = np.where(np.isnan(day.global_radiation), 0.0, np.maximum(day.global_radiation, 0.0))
    roof: Any = sky.sol_air_temperature(
        day.temperature, solar=np.minimum(sun, 1500.0), absorptance=ROOF_ABSORPTANCE
    )
    return DesignDay(
        stage=name,
        date=str(outside.local_time(day)[0].astype("datetime64[D]")),
        mean_temperature=float(day.temperature.mean()),
        highest_temperature=float(day.temperature.max()),
        humidity_ratio=float(_moisture(day, pressure).mean()),
        roof_temperature=float(np.mean(roof)),
    )


def _notes(bay: Bay, weather: Weather, part: Weather, pressure: float) -> tuple[str, ...]:
    notes = list(part.notes)
    days = len(weather.time) * weather.step / DAY
    if days < 365:
        notes.append(
            f"the winter temperature is a percentile of {days:.0f} days, not of a whole year"
        )
    elif days <= 366 and not weather.typical:
        notes.append(
            "one real year: its coldest night and warmest autumn are not those of twenty years"
        )
    elif days > 366:
        first = str(part.time[0].astype("datetime64[Y]"))
        notes.append(
            f"of {days / 365.25:.1f} years the winter counts them all, the warm days and the hours "
            f"only the season from {first} on"
        )
    mean = float(weather.pressure.mean())
    if abs(mean / pressure - 1.0) > 0.03:
        notes.append(
            f"the weather's air pressure of {mean / 1000:.1f} kPa is not that of the bay's height, "
            f"{pressure / 1000:.1f} kPa: the bay's is used, relative humidity kept; mind that the "
            "station stands higher or lower than the bay"
        )
    if np.isnan(part.global_radiation).all():
        notes.append("the weather has no radiation: the roof is reckoned without sun")
    return tuple(notes)
