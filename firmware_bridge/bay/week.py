"""
The days ahead of a bay, by a forecast that its site keeps: outlook, plan, may advice follow it?

With ``advisor`` a door to ``ventcalc``. It takes seconds, so it runs beside the loop; what comes
out is plain values.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import timedelta
from pathlib import Path

import numpy as np

from firmware_bridge.bay import advisor
from firmware_bridge.bay.told import Told
from firmware_bridge.bay.told import standing as standing_words
from firmware_bridge.config import BayConfig
from firmware_bridge.errors import BadConfig
from firmware_bridge.sensors.sample import Sample, pulp_keys
from firmware_bridge.wire.messages import Alarm
from ventcalc.advice.advise import Memory
from ventcalc.advice.readings_file import ReadingsFile
from ventcalc.bay.description import Bay
from ventcalc.bay.file import read_bay
from ventcalc.errors import VentcalcError
from ventcalc.outlook.ahead import Outlook, look_ahead
from ventcalc.outlook.events import EVENTS
from ventcalc.outlook.start import state_of_readings
from ventcalc.plan.reduced import REST
from ventcalc.plan.steer import steered_bay
from ventcalc.plan.tariff import Tariff, flat, tariff_of
from ventcalc.plan.week import PlannedHour, WeekPlan, plan_week
from ventcalc.report.outlook_text import sentences
from ventcalc.report.plan_text import stretches, what, why
from ventcalc.report.season_days import local
from ventcalc.season.installed import as_installed
from ventcalc.units import UnitSystem, show
from ventcalc.weather.forecast import LIFE, Forecast, hours_ahead, read_forecast

__all__ = [
    "Hour",
    "Question",
    "Week",
    "doubt_of",
    "forecast_problem",
    "foretold",
    "no_week",
    "plan_hour",
    "question_of",
    "standing",
    "tariff_problem",
    "week_of",
]

LASTS = 3 * 3600.0
"""
So long one is used: it is renewed each hour, and the pile goes its own way meanwhile; common
practice, no source. [s]
"""
WAITS = "it is not worked out yet"
IN_THE_PLAN = frozenset({"people_inside", "loaded_t"})
"""May be told without a doubt about the plan: the advice keeps to it, or the state knows it."""
SOON = 48 * 3600.0
"""Frost that comes later is no alarm yet: forecasts of temperature are good for two days. [s]"""
_UNITS: tuple[UnitSystem, ...] = ("metric", "us")
Lines = Mapping[str, tuple[str, ...]]
"""By system of units."""
_NO_LINES: Lines = dict.fromkeys(_UNITS, ())


@dataclass(frozen=True, kw_only=True, slots=True)
class Question:
    """All that the days ahead are worked out from."""

    config: BayConfig
    bay: Bay
    """As it was when the bridge began."""
    given: ReadingsFile
    memory: Memory | None
    heights: tuple[float, ...] | None
    """Of the pulp probes. [m]"""


@dataclass(frozen=True, kw_only=True, slots=True)
class Hour:
    """An hour of the plan."""

    bay: Bay
    """As the advice is to take it: the plan moves nothing else."""
    word: str = ""
    """What the plan wants, and why."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Week:
    """The days ahead."""

    made: float
    """UTC. [s]"""
    until: float = math.inf
    """End of the forecast's life. [s]"""
    trouble: str = ""
    """Why there is no outlook."""
    said: Lines = field(default_factory=lambda: _NO_LINES)
    """The outlook's sentences."""
    stretches: Lines = field(default_factory=lambda: _NO_LINES)
    """What the plan does today and tomorrow, and why."""
    refused: str = ""
    """Why the plan is not to be followed."""
    start: float = math.nan
    """Of the plan's first hour. [s]"""
    hours: tuple[Hour, ...] = ()
    frost: tuple[Alarm, ...] = ()

    def at(self, time: float) -> Hour | None:
        """What the plan wants at a time; None where it says nothing."""
        if not self.made <= time < min(self.until, self.made + LASTS):
            return None
        k = int((time - self.start) // 3600.0)
        return self.hours[k] if 0 <= k < len(self.hours) else None


def no_week(made: float, error: Exception) -> Week:
    """That there is no outlook, and why."""
    return Week(made=made, trouble=advisor.trouble_of(error))


def standing(week: Week | None, time: float) -> Week:
    """What stands of it at a time: of an old one nothing but that it is old."""
    if week is None:
        return Week(made=time, trouble=WAITS)
    age = time - week.made
    if week.trouble or (0.0 <= age <= LASTS and time < week.until):
        return week
    if time >= week.until:
        text = f"the forecast has outlived its {LIFE / 3600.0:.0f} h; get a new one"
    else:
        text = f"the last is {age / 3600.0:.0f} h old; no reading since then serves for a new one"
    return Week(made=week.made, trouble=text)


def doubt_of(config: BayConfig, week: Week, told: Told) -> str:
    """Why advice goes by the present alone; empty where it follows the plan, or never shall."""
    if not config.plan:
        return ""
    if week.trouble:
        return f"no outlook, {week.trouble}"
    others = sorted(standing_words(told).keys() - IN_THE_PLAN)
    return week.refused or (f"what was told is not in it ({', '.join(others)})" if others else "")


def plan_hour(config: BayConfig, week: Week | None, told: Told, time: float) -> Hour | None:
    """What the plan wants now; None where it is not to be followed."""
    if week is None or not config.plan or doubt_of(config, week, told):
        return None
    return week.at(time)


def tariff_problem(text: str) -> str:
    """What is wrong with prices by the hour; empty for nothing."""
    try:
        _tariff(text, 0.0)
    except VentcalcError as error:
        return f"tariff: {error}"
    return ""


def forecast_problem(config: BayConfig, time: float) -> str:
    """Why there would be no outlook at a time; empty where there would be one, or none is asked."""
    if config.forecast is None:
        return ""
    try:
        hours_ahead(_forecast(config.forecast, read_bay(config.bay_file)), time)
    except VentcalcError as error:
        return "; ".join(str(error).splitlines())
    return ""


def foretold(config: BayConfig, time: float) -> dict[int, float]:
    """
    Outside air [°C] that the site's forecast had for hours gone by, each by its number since 1970;
    none where there is no forecast that can be read.
    """
    if config.forecast is None:
        return {}
    try:
        found = _forecast(config.forecast, read_bay(config.bay_file))
    except VentcalcError:
        return {}
    begin = found.weather.time.astype("datetime64[s]").astype(np.int64)
    gone = begin <= min(time, found.issued + LIFE)
    hours: list[int] = (begin[gone] // 3600).tolist()
    return dict(zip(hours, found.weather.temperature[gone].tolist(), strict=True))


def _forecast(path: Path, bay: Bay) -> Forecast:
    return read_forecast(path, time_zone=bay.site.time_zone, altitude=bay.site.altitude)


def _tariff(text: str, price: float) -> Tariff:
    return tariff_of(text) if text else flat(price)


def question_of(
    config: BayConfig,
    bay: Bay,
    sample: Sample,
    wall: float,
    told: Mapping[str, object],
    memory: Memory | None,
) -> Question:
    """The newest reading and what the adviser remembers, as a beginning."""
    keys = [key for key in pulp_keys(sample) if key not in sample.ignore]
    places = tuple(sample.heights.get(key, math.nan) for key in keys)
    rising = all(a < b for a, b in itertools.pairwise(places))
    readings = advisor.readings_of(sample, wall, told)
    pulp = tuple(math.nan if key in sample.faults else sample.values[key] for key in keys)
    return Question(
        config=config,
        bay=bay,
        given=ReadingsFile(readings=readings, loaded=readings.loaded * bay.mass, pulp=pulp),
        memory=memory,
        heights=places if rising and not any(map(math.isnan, places)) else None,
    )


def week_of(asked: Question) -> Week:
    """Work it out; raises whatever the forecast or the model stumbles over."""
    made, path = asked.given.readings.time, asked.config.forecast
    assert path is not None
    bay = _unchanged(asked)
    forecast = _forecast(path, bay)
    state = state_of_readings(bay, asked.given, asked.memory, asked.heights)
    found = look_ahead(bay, state, forecast, compiled=False)
    planned = plan_week(
        bay, state, forecast, tariff=_tariff(asked.config.tariff, bay.costs.electricity)
    )
    return Week(
        made=made,
        until=forecast.issued + LIFE,
        said={units: tuple(sentences(found, units)) for units in _UNITS},
        stretches={units: _stretches(planned, made, units) for units in _UNITS},
        refused=_dearer(planned),
        start=planned.hours[0].time,
        hours=_hours(asked.bay, planned),
        frost=_frost(found, made),
    )


def _unchanged(asked: Question) -> Bay:
    """The bay as written: the model finds the operating point of its fans by itself."""
    bay = read_bay(asked.config.bay_file)
    if as_installed(bay) != asked.bay:
        raise BadConfig("the bay file has changed since the bridge began; start the bridge anew")
    return bay


def _dearer(planned: WeekPlan) -> str:
    """Why it is not to be followed: in the model of layers it must be cheaper than the advice."""
    more = planned.planned.money.total - planned.present.money.total
    if more < 0.0:
        return ""
    return f"it would cost {more:,.0f} {planned.bay.costs.currency} more than the present advice"


def _hours(bay: Bay, planned: WeekPlan) -> tuple[Hour, ...]:
    bays = {hour.action: steered_bay(bay, hour.action) for hour in planned.hours}
    return tuple(
        Hour(
            bay=bays[hour.action],
            word=f"By the plan of the days ahead: {what(hour)}; {why(some)}.",
        )
        for some in stretches(planned)
        for hour in some
    )


def _stretches(planned: WeekPlan, made: float, units: UnitSystem) -> tuple[str, ...]:
    """Today and tomorrow by the store's own clock."""
    after = local(planned.bay, made).date() + timedelta(days=2)
    return tuple(
        _stretch(planned, some, units)
        for some in stretches(planned)
        if local(planned.bay, some[0].time).date() < after
    )


def _stretch(planned: WeekPlan, some: list[PlannedHour], units: UnitSystem) -> str:
    begin, end = (local(planned.bay, t) for t in (some[0].time, some[-1].time + planned.step))
    does = what(some[0])
    if some[0].action.kind != REST:
        speed = sum(hour.action.fan_speed for hour in some) / len(some)
        does += f", fans {speed:.0%}"
    outside = [hour.outside_temperature for hour in some]
    low, high = (show(value, "degC", units) for value in (min(outside), max(outside)))
    air = high if low == high else f"{low.partition(' ')[0]} to {high}"
    until = f"{end:%H:%M}" if begin.date() == end.date() else f"{end:%a %d %b %H:%M}"
    return f"{begin:%a %d %b %H:%M} to {until}: {does}; outside {air}; {why(some)}"


def _frost(found: Outlook, made: float) -> tuple[Alarm, ...]:
    """Pulp, plenum or outside air on their way to frost, the gravest of it."""
    for kind in ("freezing", "freeze_protection", "deep_frost"):
        soon = [one for one in found.events if one.kind == kind and one.begin - made < SOON]
        if soon:
            begin = local(found.season.bay, soon[0].begin)
            worst = float(np.min([one.value for one in soon]))
            what = "pulp" if kind == "freezing" else "outside"
            text = f"by the forecast {EVENTS[kind].words} from {begin:%a %d %b %H:%M}"
            return (Alarm(id="frost_ahead", level=3, text=f"{text}; {what} {worst:.1f} °C"),)
    return ()
