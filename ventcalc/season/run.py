"""A bay, or many bays at once, through a weather file under a policy."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, fields
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ventcalc._ops import ARRAY, SCALAR
from ventcalc.advice import calendar
from ventcalc.advice.policies import Policy
from ventcalc.air import plain as plain_air
from ventcalc.bay.batch import stack_bays
from ventcalc.bay.description import Bay
from ventcalc.errors import BadInput
from ventcalc.season.installed import as_installed
from ventcalc.season.kpi import Kpi, Tally
from ventcalc.season.record import Kept
from ventcalc.season.steps import Course, blocks_of
from ventcalc.season.surroundings import Outside, ground_of, hours_of
from ventcalc.weather import Weather

__all__ = ["TRACES", "Season", "run_season", "run_seasons"]

Array = NDArray[np.float64]

TRACES = (
    "outside_temperature", "outside_humidity_ratio", "target", "pulp_bottom", "pulp_middle",
    "pulp_top", "pulp_mean", "plenum_temperature", "return_temperature",
    "return_relative_humidity", "ceiling_temperature", "ceiling_margin", "fan_speed",
    "door_opening", "humidity_wanted", "refrigeration", "heater", "action", "stage", "co2",
    "water_loss", "dry_matter_loss", "film", "drip", "fan_power", "coil_power", "heater_power",
    "humidifier_power", "share", "wetting_margin",
)  # fmt: skip
"""What a season records each step, in the units of the glossary."""


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
    weather_name: str
    notes: tuple[str, ...]


def run_season(
    bay: Bay,
    weather: Weather,
    policy: Policy,
    *,
    name: str = "",
    layers: int = 40,
    progress: Callable[[int, int], None] | None = None,
) -> Season:
    """
    One bay from the first load to the last truck, hour by hour.

    Parameters
    ----------
    bay : Bay
        The bay.
    weather : Weather
        Outside air from before the first load until after the last truck.
    policy : callable
        Decides the positions of every step.
    name : str
        Name of the policy, for the record.
    layers : int
        Layers of the pile.
    progress : callable, optional
        Called with (steps done, steps in all) about once a simulated day.

    Returns
    -------
    Season
        Results and hourly traces.

    Raises
    ------
    BadInput
        If the weather does not cover the season.
    """
    rows = _rows(bay, weather)
    traces = {key: np.full(len(rows), np.nan) for key in TRACES}
    pressure = float(np.mean(weather.pressure))
    installed = as_installed(bay, pressure=pressure)
    hours, notes = hours_of(weather, rows, pressure)
    kpi = _run(installed, weather, hours, policy, layers, None, progress, traces)
    return Season(
        bay=bay,
        installed=installed,
        policy=name or getattr(policy, "__name__", "policy"),
        kpi=kpi,
        time=weather.time[rows],
        traces=traces,
        weather_name=weather.name,
        notes=(*weather.notes, *notes),
    )


def run_seasons(
    bays: Sequence[Bay], weather: Weather, policy: Policy, *, layers: int = 40, workers: int = 1
) -> Kpi:
    """
    Many bays through the same weather, calculated together.

    Parameters
    ----------
    bays : sequence of Bay
        They share use, dates, time zone and maturity; everything else may differ.
    weather : Weather
        Outside air.
    policy : callable
        Decides the positions of every step, on arrays.
    layers : int
        Layers of the piles.
    workers : int
        Processes to share the bays between; more than one needs a policy that can be pickled
        and, in a script, the usual ``if __name__ == "__main__"``.

    Returns
    -------
    Kpi
        Arrays with one element per bay.

    Raises
    ------
    BadInput
        If the weather does not cover the season, or a text differs between the bays.
    """
    if workers > 1:
        parts = [list(bays[i::workers]) for i in range(min(workers, len(bays)))]
        with ProcessPoolExecutor(len(parts)) as pool:
            jobs = [pool.submit(run_seasons, p, weather, policy, layers=layers) for p in parts]
            return _interleaved([job.result() for job in jobs], len(bays))
    longest = max(bays, key=lambda bay: bay.schedule.unloading_days)
    pressure = float(np.mean(weather.pressure))
    hours, _ = hours_of(weather, _rows(longest, weather), pressure)
    many = stack_bays([as_installed(bay, pressure=pressure) for bay in bays])
    return _run(many, weather, hours, policy, layers, len(bays), None, None)


def _interleaved(parts: Sequence[Kpi], bays: int) -> Kpi:
    """Results of every ``len(parts)``-th bay, put back in order."""
    values: dict[str, Any] = {}
    for field in fields(Kpi):
        values[field.name] = np.empty(bays)
        for i, part in enumerate(parts):
            values[field.name][i :: len(parts)] = getattr(part, field.name)
    return Kpi(**values)


def _rows(bay: Bay, weather: Weather) -> NDArray[np.int64]:
    """Rows of the weather from the first load until the bay is empty."""
    times = weather.time.astype("datetime64[s]").astype(np.int64)
    for row in range(0, len(times), max(1, int(86400 // weather.step))):
        when = calendar.calendar_at(bay, float(times[row]))
        if when.now <= 2 * 86400.0:
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


def _run(
    bay: Bay,
    weather: Weather,
    hours: Sequence[Outside],
    policy: Policy,
    layers: int,
    bays: int | None,
    progress: Callable[[int, int], None] | None,
    traces: dict[str, Array] | None,
) -> Kpi:
    course = Course(
        bay=bay,
        ground=ground_of(bay, weather, SCALAR if bays is None else ARRAY),
        pressure=hours[0].pressure,
        policy=policy,
        step=weather.step,
        layers=layers,
        bays=bays,
    )
    tally = Tally(bay, 0.0 if bays is None else np.zeros(bays), weather.step)
    done, a_day = 0, max(1, round(86400.0 / weather.step))
    for kept in blocks_of(course, hours):
        some = hours[done : done + len(kept.pulp)]
        tally.count(kept)
        if traces is not None:
            _record(traces, done, kept, some)
        if progress is not None:
            for k in range(-(-done // a_day) * a_day, done + len(some), a_day):
                progress(k, len(hours))
        done += len(some)
    return tally.result()


def _record(traces: dict[str, Array], first: int, kept: Kept, hours: Sequence[Outside]) -> None:
    """Write the traces of some steps, from the step ``first`` on."""
    pressure, pulp = hours[0].pressure, kept.pulp
    warm, moist = kept.return_temperature, kept.return_humidity_ratio
    supplied = plain_air.dew_point(kept.plenum_humidity_ratio, pressure, ARRAY)
    own = set(TRACES) & {f.name for f in fields(Kept)}
    values = {name: getattr(kept, name) for name in own} | {
        "outside_temperature": [one.temperature for one in hours],
        "outside_humidity_ratio": [one.humidity_ratio for one in hours],
        "pulp_bottom": pulp[:, 0],
        "pulp_middle": pulp[:, pulp.shape[1] // 2],
        "pulp_top": pulp[:, -1],
        "return_relative_humidity": plain_air.relative_humidity(warm, moist, pressure, ARRAY),
        "ceiling_margin": kept.ceiling_temperature - plain_air.dew_point(moist, pressure, ARRAY),
        "wetting_margin": kept.pulp_coldest - supplied,
    }
    for name, value in values.items():
        traces[name][first : first + len(hours)] = value
