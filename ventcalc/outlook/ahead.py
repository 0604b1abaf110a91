"""A bay through the days ahead: under the present advice, by a forecast, and how sure that is."""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ventcalc.advice.policies import Policy, policy_named
from ventcalc.bay.description import Bay
from ventcalc.bay.hourly import hourly
from ventcalc.errors import BadInput, OutOfRange, check_range
from ventcalc.outage.start import LEAST_SHARE
from ventcalc.outlook.band import Other, around_first, chosen_runs, percentiles, random_runs
from ventcalc.outlook.events import Event, events_of
from ventcalc.outlook.state import PileState
from ventcalc.pile.bed import layers_of
from ventcalc.pile.crop import other_crop
from ventcalc.season.bay_state import bed_of
from ventcalc.season.course import Course, use_machine_code
from ventcalc.season.guest import name_of
from ventcalc.season.installed import as_installed
from ventcalc.season.kpi import POWERS
from ventcalc.season.plan import Plan
from ventcalc.season.run import Season, run_plan, season_of
from ventcalc.season.steps import PlantFaults, SensorErrors
from ventcalc.season.surroundings import hours_of
from ventcalc.weather.files import Weather
from ventcalc.weather.forecast import Forecast, hours_ahead
from ventcalc.weather.forecast_errors import with_errors
from ventcalc.weather.forecast_local import ABSURD

__all__ = ["Outlook", "hours_of_bay", "look_ahead", "plan_ahead", "power_cost"]

Array = NDArray[np.float64]
RUNS = 32
"""For the band by machine code. [1]"""


@dataclass(frozen=True, kw_only=True, eq=False)
class Outlook:
    """The days ahead of a bay."""

    season: Season
    """The run by the forecast as it stands: hours, pile, positions, power."""
    low_pulp: Array
    """10th percentile of each layer after each step: (steps, layers). [°C]"""
    high_pulp: Array
    """90th percentile of each layer after each step: (steps, layers). [°C]"""
    low_pulp_mean: Array
    """10th percentile of the mean pulp after each step. [°C]"""
    high_pulp_mean: Array
    """90th percentile of the mean pulp after each step. [°C]"""
    costs: tuple[float, float, float]
    """Of electricity: 10th percentile, by the forecast, 90th percentile; both outer ones NaN where
    the runs are chosen or none: a week's cost hangs on which hours cool. [currency]"""
    runs: int
    """Runs beside it that the band rests on; 0 for none."""
    chosen: bool
    """Whether those are two chosen runs, all warm and all cold, in place of random ones."""
    events: tuple[Event, ...]
    """When limits would be met, by the forecast as it stands."""
    met_in: dict[str, int]
    """By kind of event, in how many of all runs (those and the first) it comes."""
    forecast: Forecast
    """Cut to the hours that were run."""
    state: PileState
    """That it began from."""
    notes: tuple[str, ...]
    """What was assumed."""


def look_ahead(
    bay: Bay,
    state: PileState,
    forecast: Forecast,
    *,
    hours: int = 168,
    policy: Policy | str = "advice",
    runs: int | None = None,
    level: str = "medium",
    seed: int = 0,
    compiled: bool | None = None,
) -> Outlook:
    """
    The days ahead under the present advice.

    Parameters
    ----------
    bay : Bay
        The bay.
    state : PileState
        Where it stands, of ``vc.read_state`` or ``vc.state_of_readings``.
    forecast : Forecast
        Outside air, of ``vc.read_forecast``.
    hours : int
        How far to look, 24 to 240; less where the forecast ends before.
    policy : str or callable
        As of ``run_season``.
    runs : int, optional
        Random runs for the band, 0 for no band. By itself two chosen runs, with ``compiled`` 32
        random ones.
    level : str
        How far forecasts err: ``low``, ``medium`` or ``high``.
    seed : int
        Of the random runs.
    compiled : bool, optional
        As of ``run_season``; by itself not for chosen runs, which are over before it is loaded.

    Returns
    -------
    Outlook

    Raises
    ------
    BadInput
        If the forecast may not be used at the state's time, or the bay is empty.
    OutOfRange
        If something leaves the range of the model, or an argument its own.

    Notes
    -----
    The band covers the error of the forecast (``forecast_errors``), of the probes, which go on
    reading as wrong as they do now, and of respiration, transpiration and airflow, not that of the
    model. Chosen runs: outside air and its dew point warmer and the crop breathing more, or colder
    and less, each by so much that its mean from now on is exceeded one time in ten; in quadrature
    the same of the state's mean temperature and four tenths of the hysteresis of cooling, within
    which chance decides. Their band is rough, and tells nothing of the cost.
    """
    check_range("runs", 2 if runs is None else runs, 0, 10000)
    policy = policy_named(policy) if isinstance(policy, str) else policy
    name = name_of(policy)
    ahead = hours_of_bay(bay, state, forecast, hours)
    fast = use_machine_code(False if runs is None and compiled is None else compiled, policy, 1)
    plan = plan_ahead(bay, state, ahead.weather)
    season = season_of(bay, plan, run_plan(plan, policy, fast, None), name, ahead.weather.name)
    around, lost, chosen = _around(bay, state, ahead, policy, fast, runs, level, seed)
    band = _band(season, around, state.standard_uncertainty if chosen else None)
    ground = () if any(state.ground) else ("ground: no heat through the floor is known",)
    beyond = (f"{lost} runs left the model's range and count for nothing",) if lost else ()
    return Outlook(
        season=season,
        **band,
        runs=len(around),
        chosen=chosen,
        events=events_of(season),
        met_in=dict(sorted(Counter(k for one in (season, *around) for k in _kinds(one)).items())),
        forecast=ahead,
        state=state,
        notes=tuple(dict.fromkeys((*state.notes, *ahead.notes, *plan.notes, *ground, *beyond))),
    )


def hours_of_bay(bay: Bay, state: PileState, forecast: Forecast, hours: int) -> Forecast:
    """
    The hours after a state; refuses an empty bay, what may not be used at its time, and what is
    absurd beside the site's own reading.
    """
    check_range("hours", hours, 24, 240, "h")
    if state.season.bay.share < LEAST_SHARE:
        raise BadInput(f"{bay.name}: empty by its state; there is nothing to look ahead for")
    ahead = hours_ahead(forecast, state.season.time, hours)
    off = float(ahead.weather.temperature[0]) - state.outside_temperature
    if abs(off) > ABSURD:
        raise BadInput(
            f"forecast: {off:+.0f} K off what the site reads outside now; are place, unit and time "
            "zone right, and does the probe stand in the shade?"
        )
    return ahead


def plan_ahead(bay: Bay, state: PileState, weather: Weather) -> Plan:
    """Everything before the first hour."""
    pressure = float(np.mean(weather.pressure))
    installed = as_installed(bay, pressure=pressure)
    start = state.season
    hours, notes = hours_of(weather, np.arange(len(weather.time)), pressure)
    whole = hourly(installed, hours[0].time)
    course = Course(
        bay=whole,
        believed=whole,
        bed=bed_of(installed, pressure, len(start.bed.temperature)),
        ground=state.ground,
        hours=hours,
        step=weather.step,
        errors=SensorErrors(),
        faults=PlantFaults(),
    )
    told = tuple(note for note in notes if not note.startswith("ground:"))
    return Plan(
        installed=installed,
        course=course,
        state=start.bay,
        layers=layers_of(start.bed),
        memory=start.memory,
        time=weather.time,
        notes=told,
    )


def _plan_of(bay: Bay, state: PileState, weather: Weather, other: Other) -> Plan:
    """The hours of a run that differs."""
    plan = plan_ahead(
        bay, state, with_errors(weather, other.temperature_difference, other.dew_point_difference)
    )
    course, bed = plan.course, state.season.bed
    fans, crop = (
        course.bay.fans,
        other_crop(course.bed.crop, other.transpiration_factor, other.respiration_factor),
    )
    return replace(
        plan,
        course=replace(
            course,
            bay=replace(
                course.bay, fans=replace(fans, airflow=fans.airflow * other.airflow_factor)
            ),
            bed=replace(course.bed, crop=crop),
            errors=other.read,
        ),
        layers=layers_of(replace(bed, temperature=bed.temperature - other.read.pulp)),
    )


def _kinds(season: Season) -> set[str]:
    return {event.kind for event in events_of(season)}


def _around(
    bay: Bay,
    state: PileState,
    ahead: Forecast,
    policy: Any,
    fast: bool,
    runs: int | None,
    level: str,
    seed: int,
) -> tuple[list[Season], int, bool]:
    """Runs beside that of the forecast, how many failed, and whether they are the chosen ones."""
    hours = len(ahead.weather.time)
    lead = max(round((state.season.time - ahead.issued) / 3600.0), 0)
    chosen = runs is None and not fast
    if chosen:
        others = chosen_runs(hours, level, lead)
    elif runs == 0:
        others = []
    else:
        others = random_runs(bay, state, hours, level, lead, runs or RUNS, seed)
    found = []
    for other in others:
        plan = _plan_of(bay, state, ahead.weather, other)
        try:
            ran = run_plan(plan, policy, fast, None)
        except OutOfRange:  # a pile that heats itself up in one of them
            continue
        found.append(season_of(bay, plan, ran, name_of(policy), ahead.weather.name))
    return found, len(others) - len(found), chosen


def power_cost(bay: Bay, records: NDArray[Any], step: float) -> Array:
    """Electricity of each step. [currency]"""
    cost: Array = np.sum([records[name] for name in POWERS], axis=0) * step
    return cost * bay.costs.electricity


def _band(season: Season, around: list[Season], sure: float | None) -> dict[str, Any]:
    """
    Percentiles of pulp and cost; of chosen runs, where ``sure`` [K] tells how well the pile is
    known, the envelope and what no run shows.
    """
    times = season.time.astype("datetime64[s]").astype(float)
    step = season.state.time - float(times[-1])
    every = (season, *around)
    pulp = np.stack([one.pulp for one in every])
    money = [float(power_cost(season.bay, one.records, step).sum()) for one in every]
    cheap = dear = math.nan
    if sure is None and around:
        outer = percentiles(np.array(money))
        cheap, dear = min(float(outer[0]), money[0]), max(float(outer[1]), money[0])
    if sure is None:
        low, high = percentiles(pulp)
        low_mean, high_mean = percentiles(pulp.mean(axis=2))
    else:
        low, high = around_first(pulp, season.bay, sure)
        low_mean, high_mean = around_first(pulp.mean(axis=2), season.bay, sure)
    return {
        "low_pulp": low,
        "high_pulp": high,
        "low_pulp_mean": low_mean,
        "high_pulp_mean": high_mean,
        "costs": (cheap, money[0], dear),
    }
