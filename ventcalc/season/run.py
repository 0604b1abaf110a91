"""A bay, or many bays at once, through a weather file under a policy."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import Executor, ProcessPoolExecutor, ThreadPoolExecutor
from dataclasses import dataclass, fields
from datetime import date, timedelta
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ventcalc import air
from ventcalc import compiled as machine
from ventcalc.advice.policies import POLICIES, Policy, policy_named
from ventcalc.air.plain import DRIEST
from ventcalc.bay.calendar import calendar_at
from ventcalc.bay.description import Bay, Limits, Schedule
from ventcalc.bay.hourly import hourly
from ventcalc.errors import BadInput
from ventcalc.pile.bed import BedState, layers_of, state_of
from ventcalc.season.bay_state import BayState, bed_of, first_layers, first_state
from ventcalc.season.installed import as_installed
from ventcalc.season.kpi import Kpi, key_figures
from ventcalc.season.steps import Course, PlantFaults, Ran, SensorErrors, is_numba, run_course
from ventcalc.season.surroundings import Outside, ground_of, hours_of
from ventcalc.weather import Weather
from ventcalc.weather import season as part_of_year

__all__ = [
    "TRACES",
    "PlantFaults",
    "Season",
    "SeasonState",
    "SensorErrors",
    "run_season",
    "run_seasons",
    "weather_of_season",
]

Array = NDArray[np.float64]
DAY = 86400.0
WORTH_COMPILING = 5
"""Fewer seasons are over in plain Python before they would be compiled."""
MARGIN = timedelta(days=2), timedelta(days=3)
"""Taken before the first load and after the last truck, for the clock's sake."""

RECORDED = (
    "target", "pulp_mean", "plenum_temperature", "return_temperature", "ceiling_temperature",
    "fan_speed", "door_opening", "humidity_wanted", "refrigeration", "heater", "action", "stage",
    "co2", "water_loss", "dry_matter_loss", "film", "drip", "fan_power", "coil_power",
    "heater_power", "humidifier_power", "share",
)  # fmt: skip
TRACES = (
    "outside_temperature", "outside_humidity_ratio", "pulp_bottom", "pulp_middle", "pulp_top",
    "return_relative_humidity", "ceiling_margin", "wetting_margin", *RECORDED,
)  # fmt: skip
"""What a season records each step, in the units of the glossary."""


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
class Season:
    """One bay's season."""

    bay: Bay
    installed: Bay
    """The same with its fans at their operating point, as the season was calculated."""
    policy: str
    kpi: Kpi
    time: NDArray[np.datetime64]
    """UTC, start of each step."""
    traces: dict[str, Array]
    """Means or values at the start of each step; names in ``TRACES``."""
    records: NDArray[Any]
    """Everything that was kept of each step, fields as of ``StepRecord``."""
    pulp: Array
    """Every layer after each step, bottom first: (steps, layers). [°C]"""
    state: SeasonState
    """After the last step."""
    weather_name: str
    notes: tuple[str, ...]

    def kpi_by(self, limits: Limits) -> Kpi:
        """Key figures measured against other limits than the bay's."""
        step = self.state.time - float(self.time[-1].astype("datetime64[s]").astype(np.int64))
        return key_figures(self.installed, self.records, self.pulp, step, limits)


def run_season(
    bay: Bay,
    weather: Weather,
    policy: Policy | str = "advice",
    *,
    name: str = "",
    layers: int = 40,
    progress: Callable[[int, int], None] | None = None,
    start: SeasonState | None = None,
    until: np.datetime64 | None = None,
    believed: Bay | None = None,
    sensor_errors: SensorErrors | None = None,
    faults: PlantFaults | None = None,
    limits: Limits | None = None,
    compiled: bool | None = None,
) -> Season:
    """
    One bay from the first load to the last truck, hour by hour.

    Parameters
    ----------
    bay : Bay
        The bay.
    weather : Weather
        Outside air from before the first load until after the last truck; one whole year is
        joined to itself, with a note that says so.
    policy : str or callable
        ``advice``, ``thermostat``, ``clock`` or ``nothing``, or a callable
        ``(bay, readings, memory) -> (advice, memory)`` that decides the positions of every step:
        plain Python, or a numba function.
    name : str
        Name of the policy, for the record.
    layers : int
        Layers of the pile.
    progress : callable, optional
        Called with (steps done, steps in all) about once a simulated day.
    start : SeasonState, optional
        To start from, in the place of an empty bay at its first load.
    until : datetime64, optional
        End, UTC, before the last truck.
    believed : Bay, optional
        The bay that the policy takes this one for.
    sensor_errors : SensorErrors, optional
        What probes read less what is true.
    faults : PlantFaults, optional
        Parts that do not do what they are told.
    limits : Limits, optional
        To measure the season by; the bay's own if not given.
    compiled : bool, optional
        True for machine code (some seconds the first time), False for plain Python; by itself
        it takes machine code where that is already there.

    Returns
    -------
    Season
        Results and hourly traces.

    Raises
    ------
    BadInput
        If the weather does not cover the season, or the policy's answer cannot be used.
    OutOfRange
        If something leaves the range of the model; says what, and at which hour.

    Notes
    -----
    A plain policy is called with the bay (every part there; what it lacks has no capacity), the
    readings and the memory that it returned last, None at first. A numba function gets a
    record with the same names, ``vc.Memory()`` at first, and returns ``vc.Positions`` and
    ``vc.Memory``, every field given.
    """
    chosen = policy_named(policy) if isinstance(policy, str) else policy
    if not callable(chosen):
        raise BadInput(
            f"policy {policy!r}: write a name, or give a function of bay, readings, memory"
        )
    plan = _plan(bay, weather, layers, start, until, believed, sensor_errors, faults, {})
    fast = _use_machine_code(compiled, chosen, 1)
    ran = _run(plan, chosen, fast, progress)
    records, pulp = ran.records, ran.pulp
    return Season(
        bay=bay,
        installed=plan.installed,
        policy=name or _name_of(policy),
        kpi=key_figures(plan.installed, records, pulp, plan.course.step, limits),
        time=plan.time,
        traces=_traces(plan.course, records, pulp),
        records=records,
        pulp=pulp,
        state=SeasonState(
            time=float(plan.course.hours[-1].time) + plan.course.step,
            bay=ran.state,
            bed=state_of(ran.layers, ran.state.curing),
            memory=ran.memory,
        ),
        weather_name=weather.name,
        notes=plan.notes,
    )


def run_seasons(
    bays: Bay | Sequence[Bay],
    weathers: Weather | Sequence[Weather],
    policies: Policy | str | Sequence[Policy | str] = "advice",
    *,
    layers: int = 40,
    workers: int = 1,
    limits: Limits | None = None,
    progress: Callable[[int, int], None] | None = None,
    say: Callable[[str], None] | None = None,
    compiled: bool | None = None,
) -> Kpi:
    """
    Many seasons: bays, weathers and policies side by side.

    Parameters
    ----------
    bays : Bay or sequence of Bay
        One for all seasons, or one for each.
    weathers : Weather or sequence of Weather
        Likewise.
    policies : str, callable or sequence of them
        Likewise, as of ``run_season``.
    layers : int
        Layers of the piles.
    workers : int
        Threads to share the seasons between, or processes where nothing is compiled (then, in a
        script, with the usual ``if __name__ == "__main__"``).
    limits : Limits, optional
        To measure every season by; each bay's own if not given.
    progress : callable, optional
        Called with (seasons done, seasons in all).
    say : callable, optional
        Called with a word on what takes long: the first compiling.
    compiled : bool, optional
        As of ``run_season``; by itself five seasons or more are compiled.

    Returns
    -------
    Kpi
        Arrays with one element per season.

    Raises
    ------
    BadInput
        If the sequences differ in length, or the weather does not cover a season.
    OutOfRange
        As ``run_season``.
    """
    cases = _side_by_side(bays, weathers, policies)
    chosen = [policy_named(p) if isinstance(p, str) else p for _, _, p in cases]
    fast = all(_use_machine_code(compiled, one, len(cases)) for one in chosen)
    shared: dict[Any, Any] = {}

    def one(k: int) -> Kpi:
        bay, weather, _ = cases[k]
        plan = _plan(bay, weather, layers, None, None, None, None, None, shared)
        ran = _run(plan, chosen[k], fast, None)
        return key_figures(plan.installed, ran.records, ran.pulp, plan.course.step, limits)

    found = []
    if fast and say is not None and not all(machine.ready(_job(policy)) for policy in chosen):
        say("compiling, once on this machine")
    for k, kpi in enumerate(_each(one, cases, layers, limits, workers, fast)):
        found.append(kpi)
        if progress is not None:
            progress(k + 1, len(cases))
    return Kpi(**{f.name: np.array([getattr(kpi, f.name) for kpi in found]) for f in fields(Kpi)})


def _each(
    one: Callable[[int], Kpi],
    cases: Sequence[tuple[Bay, Weather, Any]],
    layers: int,
    limits: Limits | None,
    workers: int,
    fast: bool,
) -> Any:
    """Results of every case, in order, as they come."""
    if workers <= 1 or len(cases) == 1:
        yield from map(one, range(len(cases)))
        return
    pool: Executor
    if fast:
        yield one(0)  # whatever must be compiled is compiled once
        with ThreadPoolExecutor(workers) as pool:
            yield from _in_order(pool, [pool.submit(one, k) for k in range(1, len(cases))])
        return
    with ProcessPoolExecutor(workers) as pool:
        jobs = [pool.submit(_alone, *case, layers, limits) for case in cases]
        yield from _in_order(pool, jobs)


def _in_order(pool: Executor, jobs: list[Any]) -> Any:
    """Results as they come; the first failure, or Ctrl-C, drops what has not begun."""
    try:
        for job in jobs:
            yield job.result()
    except BaseException:
        pool.shutdown(wait=False, cancel_futures=True)
        raise


def _alone(bay: Bay, weather: Weather, policy: Any, layers: int, limits: Limits | None) -> Kpi:
    return run_season(bay, weather, policy, layers=layers, limits=limits, compiled=False).kpi


def _side_by_side(bays: Any, weathers: Any, policies: Any) -> list[tuple[Bay, Weather, Any]]:
    """One bay, weather and policy for each season."""
    single = (Bay, Weather, str)
    columns = [
        [x] if isinstance(x, single) or callable(x) else list(x) for x in (bays, weathers, policies)
    ]
    count = max(map(len, columns))
    if any(len(column) not in (1, count) for column in columns) or 0 in map(len, columns):
        lengths = ", ".join(str(len(column)) for column in columns)
        raise BadInput(
            f"bays, weathers and policies: give one of each, or as many as there are seasons "
            f"(got {lengths})"
        )
    return list(
        zip(*(column * count if len(column) == 1 else column for column in columns), strict=True)
    )


# --- machine code or not -----------------------------------------------------------------


def _job(policy: Any) -> str:
    """Name of the machine code that a policy needs."""
    for name, known in POLICIES.items():
        if policy is known:
            return f"season-{name}"
    return "season-own" if is_numba(policy) else "season-asked"


def _use_machine_code(wish: bool | None, policy: Any, seasons: int) -> bool:
    """Compiling takes some seconds once; it is never in the way of a single season."""
    if wish is False:
        return False
    worth = is_numba(policy) or seasons >= WORTH_COMPILING
    if (wish or worth or machine.ready(_job(policy))) and machine.works():
        return True
    if wish:
        raise BadInput('compiled=True needs numba: python -m pip install "ventcalc[fast]"')
    return False


# --- what a season is made of ------------------------------------------------------------


@dataclass(frozen=True, kw_only=True, eq=False)
class _Plan:
    """Everything that is known before the first step."""

    installed: Bay
    course: Course
    state: BayState
    layers: Any
    memory: Any
    time: NDArray[np.datetime64]
    notes: tuple[str, ...]


def _plan(
    bay: Bay,
    weather: Weather,
    layers: int,
    start: SeasonState | None,
    until: np.datetime64 | None,
    believed: Bay | None,
    errors: SensorErrors | None,
    faults: PlantFaults | None,
    shared: dict[Any, Any],
) -> _Plan:
    key = (id(weather), bay.schedule, bay.site.time_zone)
    if key not in shared:
        shared[key] = _surroundings(bay, weather)
    whole, rows, hours, notes, pressure = shared[key]
    times = whole.time[rows]
    first, last = 0, len(hours)
    if start is not None:
        first = int(np.searchsorted([hour.time for hour in hours], start.time - 1e-6))
    if until is not None:
        last = int(np.searchsorted(times, until))
    if not 0 <= first < last:
        raise BadInput(
            f"season of {bay.name!r}: no step between its start and its end; it runs from "
            f"{times[0]} to {times[-1]} UTC"
        )
    installed = as_installed(bay, pressure=pressure)
    other = as_installed(believed, pressure=pressure) if believed is not None else installed
    course = Course(
        bay=hourly(installed, hours[0].time),
        believed=hourly(other, hours[0].time),
        bed=bed_of(installed, pressure, layers if start is None else len(start.bed.temperature)),
        ground=ground_of(installed, whole),
        hours=hours[first:last],
        step=whole.step,
        errors=SensorErrors(*map(float, errors or SensorErrors())),
        faults=PlantFaults(*map(float, faults or PlantFaults())),
    )
    return _Plan(
        installed=installed,
        course=course,
        state=first_state(installed, pressure) if start is None else start.bay,
        layers=first_layers(installed, layers) if start is None else layers_of(start.bed),
        memory=None if start is None else start.memory,
        time=times[first:last],
        notes=(*whole.notes, *notes),
    )


def _surroundings(
    bay: Bay, weather: Weather
) -> tuple[Weather, NDArray[np.int64], list[Outside], tuple[str, ...], float]:
    """Weather, rows and hours of a season; the same for every bay with these dates."""
    whole = weather_of_season(bay.schedule, weather)
    rows = _rows(bay, whole)
    pressure = float(np.mean(whole.pressure))
    hours, notes = hours_of(whole, rows, pressure)
    return whole, rows, hours, notes, pressure


def _run(plan: _Plan, policy: Any, fast: bool, progress: Callable[[int, int], None] | None) -> Ran:
    ran = run_course(
        plan.course, policy, plan.state, plan.layers, plan.memory, fast=fast, progress=progress
    )
    if fast:
        machine.mark_ready(_job(policy))
    return ran


def _name_of(policy: Policy | str) -> str:
    return policy if isinstance(policy, str) else getattr(policy, "__name__", "policy")


def weather_of_season(plan: Schedule, weather: Weather) -> Weather:
    """
    Weather that holds a season: a single year is joined to itself, with a note that says so.

    Parameters
    ----------
    plan : Schedule
        The season's dates.
    weather : Weather
        One year, or more, or what covers the season.

    Returns
    -------
    Weather
        From two days before the first load until after the last truck, or as given.

    Raises
    ------
    BadInput
        If one year holds no such season.
    """
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


def _traces(course: Course, records: NDArray[Any], pulp: Array) -> dict[str, Array]:
    """Traces under their public names."""
    pressure = course.bed.pressure
    warm, moist = records["return_temperature"], records["return_humidity_ratio"]
    supplied = records["plenum_humidity_ratio"]
    return {
        "outside_temperature": np.array([hour.temperature for hour in course.hours]),
        "outside_humidity_ratio": np.array([hour.humidity_ratio for hour in course.hours]),
        "pulp_bottom": pulp[:, 0],
        "pulp_middle": pulp[:, pulp.shape[1] // 2],
        "pulp_top": pulp[:, -1],
        "return_relative_humidity": air.relative_humidity(warm, moist, pressure),
        "ceiling_margin": records["ceiling_temperature"] - _dew_point(moist, pressure),
        "wetting_margin": records["pulp_coldest"] - _dew_point(supplied, pressure),
        **{name: records[name] for name in RECORDED},
    }


def _dew_point(humidity_ratio: Array, pressure: float) -> Array:
    found: Array = air.dew_point(np.maximum(humidity_ratio, DRIEST), pressure)
    return found
