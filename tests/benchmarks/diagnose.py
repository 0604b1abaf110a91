"""
The trial of the diagnosis: how many simulated faults are found, and how many alarms are false.

``python -m pip install --no-deps ochre-nrel accim-samples pvlib besos`` brings real years of
weather (EPW and TMY3 files inside packages; their licences are theirs). Every probe of a bay gets
a calibration error of its own (0.2 K, 2 % RH, standard deviations) and noise; the log has a row
every ten minutes::

    python tests/benchmarks/diagnose.py --folder weather --keep logs

Faults of parts are simulated: the bay feels them, the log holds what the parts were *told*. Faults
that the bay model cannot simulate are written into a sound log: wet, swapped and drifted probes,
hot spot, blocked lateral, energy, hunting, CO2, the sun on the outside probe.

Found means: the right name, and the right probe, by the end of the second day on which the fault
could show for some hours (``shows`` of each fault, by the truth, not by the rules), and half a
day more for the rules that look at whole days. ``--keep`` holds the simulated logs, which take
minutes; looking at them takes seconds.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
from climates import bay_at, climates

import ventcalc as vc
from ventcalc.advice.readings import START
from ventcalc.advice.rules import decide
from ventcalc.diagnose import Diagnosis, Log, diagnose
from ventcalc.diagnose.log import COLUMNS, FACTORS
from ventcalc.report.season_log import season_columns
from ventcalc.season.run import PlantFaults
from ventcalc.weather import finer

DAY, STEP = 86400.0, 600.0
LEAD, LENGTH = 20, 9
"""Sound days before a fault, and days with it."""
STARTS = ((10, 20), (12, 10), (2, 1))
"""Month and day on which a fault begins."""
TEMPERATURES = ("outside_temp_c", "return_temp_c", "plenum_temp_c")
HUMIDITIES = ("outside_rh", "return_rh", "plenum_rh")
SITES = (
    ("seed_bay", "Denver"),
    ("seed_bay", "Aberdeen"),
    ("fry_bay", "London"),
    ("seed_bay", "London"),
    ("fry_bay", "Greensboro"),
)
"""Bays with faults; the seasons without are those of every climate and both bays."""
HELD_BACK = 2
"""The last of them were not looked at while thresholds were chosen."""

Columns = dict[str, np.ndarray]


@dataclass(frozen=True, kw_only=True)
class Fault:
    """One fault of a stated size."""

    name: str
    finding: str
    """Names of findings that lead to it: a spot that neither cools nor heats up looks like one
    without air."""
    shows: Callable[[Columns], np.ndarray]
    """Rows in which it could show, by the truth."""
    hours: float = 3.0
    """Of such rows that make a day on which it could show, or kelvins of cooling."""
    part: str = ""
    """Simulated: which part."""
    alter: Callable[[Columns, np.random.Generator], None] | None = None
    """Written into the log."""
    place: str = ""
    fry_only: bool = False


def runs(c: Columns) -> np.ndarray:
    return c["fan_speed"] > 0.1


def span(c: Columns) -> np.ndarray:
    return np.abs(c["outside_temp_c"] - c["return_temp_c"])


def always(c: Columns) -> np.ndarray:
    return np.ones(len(c["fan_speed"]), dtype=bool)


def cools(c: Columns) -> np.ndarray:
    """Supply well below the return air."""
    return runs(c) & (c["plenum_temp_c"] < c["return_temp_c"] - 1.2)


def cooling(c: Columns) -> np.ndarray:
    """
    Cooling of the pile by the sensible heat of its air, by told speed. [K/h]

    About 20 m³/s for 1 800 t of 3 430 J/(kg K); evaporation comes on top.
    """
    return 0.013 * c["fan_speed"] * np.maximum(c["return_temp_c"] - c["plenum_temp_c"], 0.0)


def _set(name: str, value: float) -> Callable[[Columns, np.random.Generator], None]:
    def alter(c: Columns, _: np.random.Generator) -> None:
        c[name][:] = value

    return alter


def _add(name: str, value: float) -> Callable[[Columns, np.random.Generator], None]:
    def alter(c: Columns, _: np.random.Generator) -> None:
        c[name] += value

    return alter


def _swap(c: Columns, _: np.random.Generator) -> None:
    c["plenum_temp_c"], c["return_temp_c"] = c["return_temp_c"], c["plenum_temp_c"]


def _warm(rate: float) -> Callable[[Columns, np.random.Generator], None]:
    def alter(c: Columns, _: np.random.Generator) -> None:
        c["pulp_3_c"] += rate * np.arange(len(c["pulp_3_c"])) * STEP / DAY

    return alter


def _still(c: Columns, _: np.random.Generator) -> None:
    """A probe over a lateral without air: warmed by 8 W/t, hardly touched by the supply."""
    days = np.arange(len(c["pulp_2_c"])) * STEP / DAY
    c["pulp_2_c"][:] = c["pulp_2_c"][0] + 8e-3 / 3430.0 * DAY * days


def _more_energy(c: Columns, _: np.random.Generator) -> None:
    c["energy_kwh"] += 12.0 * STEP / 3600.0


def _hunt(c: Columns, rng: np.random.Generator) -> None:
    c["door_opening"][::2] = np.clip(c["door_opening"][::2] + 0.1, 0.0, 1.0)


def _sun(c: Columns, _: np.random.Generator) -> None:
    """5 K at noon of every day; local time from the clock of the site."""
    hour = (c["time"] / 3600.0 + c["utc_offset"][0]) % 24.0
    c["outside_temp_c"] += 5.0 * np.maximum(np.sin((hour - 7.0) / 12.0 * np.pi), 0.0)


FAULTS = (
    Fault(name="door stuck 30 % open", finding="door_stuck", part="door 0.3",
          shows=lambda c: runs(c) & (c["door_opening"] < 0.1) & (span(c) > 6.0)),
    Fault(name="door stuck shut", finding="door_stuck", part="door 0.0",
          shows=lambda c: runs(c) & (c["door_opening"] * span(c) > 2.0)),
    Fault(name="fans do not turn", finding="fans_no_air fans_weak", part="fans",
          shows=lambda c: runs(c) & (c["door_opening"] * span(c) > 2.0)),
    Fault(name="no mist", finding="humidity_low", part="humidifier",
          shows=lambda c: runs(c) & (c["humidifier"] > 0.35)),
    Fault(name="fans 40 % less air, power as told", finding="airflow_low", part="airflow 0.6",
          hours=0.35, shows=cooling),
    Fault(name="coil at 40 %", finding="coil_weak", part="coil 0.4", fry_only=True,
          shows=lambda c: runs(c) & (c["refrigeration"] > 0.4)),
    Fault(name="coil in the place of outside air", finding="coil_not_needed", part="coil first",
          fry_only=True, shows=lambda c: runs(c) & (c["refrigeration"] > 0.05)
          & (c["outside_temp_c"] < c["plenum_temp_c"] - 2.0)),
    Fault(name="fans draw 60 %", finding="fans_weak", shows=runs,
          alter=lambda c, _: c.update(energy_kwh=0.6 * c["energy_kwh"])),
    Fault(name="hot spot 0.5 K/day", finding="hot_spot lateral_blocked", place="pulp probe 3",
          shows=always, alter=_warm(0.5)),
    Fault(name="hot spot 1 K/day", finding="hot_spot lateral_blocked", place="pulp probe 3",
          shows=always, alter=_warm(1.0)),
    Fault(name="lateral without air", finding="lateral_blocked", place="pulp probe 2", hours=0.35,
          shows=cooling, alter=_still),
    Fault(name="return humidity at 100 %", finding="humidity_probe_return", shows=runs,
          alter=_set("return_rh", 1.0)),
    Fault(name="plenum humidity at 100 %", finding="humidity_probe_plenum",
          alter=_set("plenum_rh", 1.0), shows=lambda c: runs(c) & (c["plenum_rh_true"] < 0.90)),
    Fault(name="plenum and return swapped", finding="probes_swapped", shows=cools, alter=_swap),
    Fault(name="plenum probe +1.5 K", finding="plenum_probe", alter=_add("plenum_temp_c", 1.5),
          shows=lambda c: runs(c) & (c["refrigeration"] < 0.02)
          & (c["plenum_true"] > np.maximum(c["return_temp_c"], c["outside_temp_c"]) - 0.3)),
    Fault(name="12 kW run untold", finding="energy_high", shows=always, alter=_more_energy),
    Fault(name="door hunts", finding="hunting", shows=runs, alter=_hunt),
    Fault(name="CO2 stands at 8000 ppm", finding="co2_stays", alter=_set("co2_ppm", 8000.0),
          shows=lambda c: runs(c) & (c["door_opening"] > 0.15)),
    Fault(name="sun on the outside probe, 5 K", finding="outside_probe", shows=always, alter=_sun),
)  # fmt: skip


# --- logs --------------------------------------------------------------------------------


def site(name: str, place: str, weathers: dict[str, vc.Weather]) -> tuple[vc.Bay, vc.Weather]:
    """A bay at the altitude of a climate, and that climate every ten minutes."""
    weather = weathers[place]
    bay = vc.example_bay(name)
    return replace(bay, site=bay_at(weather).site if name == "seed_bay" else replace(
        bay.site, altitude=bay_at(weather).site.altitude)), finer(weather, STEP)  # fmt: skip


def sound(bay: vc.Bay, weather: vc.Weather, until: Any = None) -> tuple[Any, Columns]:
    """A season without fault, and its columns."""
    season = vc.run_season(bay, weather, "advice", until=until, compiled=True)
    time, columns = season_columns(season)
    return season, {"time": time, **columns, "pulp_mean": season.records["pulp_mean"]}


def faulty(bay: vc.Bay, weather: vc.Weather, state: Any, part: str) -> Columns:
    """Days with a fault, from where a sound season stands; positions as told."""
    told: list[Any] = []

    def policy(believed: Any, readings: Any, memory: Any) -> Any:
        given, after = decide(believed, readings, memory or START)
        if part == "coil first" and given.door_opening > 0.05 and given.fan_speed > 0.0:
            given = given._replace(door_opening=0.0, refrigeration=0.5)
        told.append(given)
        return given, after

    word, _, size = part.partition(" ")
    begin, plant, faults = state.time, vc.as_installed(bay), PlantFaults()
    if word == "door":
        faults = PlantFaults(door_opening=float(size), door_from=0.0)
    elif word == "fans":
        faults = PlantFaults(fans_from=0.0)
    elif word == "humidifier":
        faults = PlantFaults(humidifier_from=0.0)
    elif word == "airflow":
        less = replace(plant.fans, airflow=plant.fans.airflow * float(size),
                       efficiency=plant.fans.efficiency * float(size),
                       curve_airflow=None, curve_static_pressure=None)  # fmt: skip
        plant = replace(plant, fans=less, ducts=None)
    elif part.startswith("coil 0"):
        cool = replace(plant.refrigeration, capacity=plant.refrigeration.capacity * float(size))
        plant = replace(plant, refrigeration=cool)
    until = np.datetime64(int(begin + LENGTH * DAY), "s")
    season = vc.run_season(plant, weather, policy, start=state, until=until, believed=bay,
                           faults=faults, compiled=False)  # fmt: skip
    time, columns = season_columns(season)
    for name in ("fan_speed", "door_opening", "humidifier", "refrigeration", "heater"):
        columns[name] = np.array([getattr(one, name) for one in told])
    return {"time": time, **columns, "pulp_mean": season.records["pulp_mean"]}


def with_errors(columns: Columns, rng: np.random.Generator) -> Columns:
    """What probes with errors of their own would have written."""
    seen = {name: values.copy() for name, values in columns.items()}
    count = len(seen["time"])
    for name in seen:
        if name in TEMPERATURES or (name.startswith("pulp_") and name != "pulp_mean"):
            seen[name] += rng.normal(0.0, 0.2) + rng.normal(0.0, 0.05, count)
        if name in HUMIDITIES:
            off = rng.normal(0.0, 0.02) + rng.normal(0.0, 0.005, count)
            seen[name] = np.clip(seen[name] + off, 0.0, 1.0)
    seen["co2_ppm"] = seen["co2_ppm"] * rng.normal(1.0, 0.03) + rng.normal(0.0, 30.0, count)
    return seen


def log_of(columns: Columns) -> Log:
    """The log without a detour by text."""
    pulps = [name for name in columns if name.startswith("pulp_") and name != "pulp_mean"]
    values = {
        COLUMNS[name][0]: column * FACTORS.get(COLUMNS[name][0], 1.0)
        for name, column in columns.items()
        if name in COLUMNS
    }
    pulp = np.array([columns[name] for name in pulps]).T
    return Log(time=columns["time"], values=values, pulp=pulp)


def with_forecast(columns: Columns, rng: np.random.Generator) -> None:
    """A forecast of a day ahead: error of 1.6 K, AR(1) with 0.93 an hour (medium of BOPTEST)."""
    hours = len(columns["time"]) // 6 + 2
    error = np.zeros(hours)
    for k in range(1, hours):
        error[k] = 0.93 * error[k - 1] + rng.normal(0.0, 0.6)
    columns["forecast_temp_c"] = (
        columns["outside_temp_c"] + np.repeat(error, 6)[: len(columns["time"])]
    )


# --- trial -------------------------------------------------------------------------------


def kept(folder: str | None, name: str, make: Callable[[], Columns]) -> Columns:
    """Columns from the folder, or made and put there."""
    path = Path(folder) / f"{name}.npz" if folder else None
    if path is not None and path.exists():
        return dict(np.load(path))
    columns = make()
    if path is not None:
        path.parent.mkdir(parents=True, exist_ok=True)
        np.savez(path, **columns)
    return columns


def false_alarms(weathers: dict[str, vc.Weather], args: argparse.Namespace) -> None:
    """Every finding on seasons without a fault; an uneven pile that is uneven is true."""
    total = seasons = 0
    for name in ("seed_bay", "fry_bay"):
        for place in weathers:
            if name == "fry_bay" and place not in ("London", "Greensboro", "Fort Collins"):
                continue
            bay, weather = site(name, place, weathers)

            def make(bay: Any = bay, weather: Any = weather) -> Columns:
                return sound(bay, weather)[1]

            truth = kept(args.keep, f"sound_{name}_{place}".replace(" ", "_"), make)
            for seed in range(args.draws):
                rng = np.random.default_rng(seed)
                seen = with_errors(truth, rng)
                with_forecast(seen, rng)
                found = diagnose(vc.as_installed(bay), log_of(seen)).findings
                wrong = [one for one in found if not _true(one, truth)]
                total, seasons = total + len(wrong), seasons + 1
                words = ", ".join(f"{one.id} {one.place[:12]} {one.since[:10]}" for one in wrong)
                print(f"  {name} {place} {seed}: {len(wrong)} false, {len(found) - len(wrong)} true"
                      f"  {words}", flush=True)  # fmt: skip
    print(f"false alarms: {total} in {seasons} bay-seasons, {total / max(seasons, 1):.2f} each")


def _true(one: Any, truth: Columns) -> bool:
    """Whether the pile was as uneven as is told."""
    if one.id != "pile_uneven":
        return False
    begin, end = (datetime.fromisoformat(t).timestamp() for t in (one.since, one.until))
    rows = (truth["time"] >= begin) & (truth["time"] <= end)
    apart = np.abs(truth["pulp_5_c"] - truth["pulp_1_c"])[rows]
    return bool(np.median(apart) > 1.5)


def found_rates(weathers: dict[str, vc.Weather], args: argparse.Namespace) -> None:
    """Every fault at every site and start."""
    for title, sites in (("chosen on", SITES[:-HELD_BACK]), ("held back", SITES[-HELD_BACK:])):
        tally: dict[str, list[int]] = {fault.name: [0, 0, 0, 0] for fault in FAULTS}
        for name, place in sites:
            if place not in weathers:
                continue
            bay, weather = site(name, place, weathers)
            for month, day in STARTS:
                one_start(bay, weather, name, place, (month, day), tally, args)
        _show(title, tally)


def _show(title: str, tally: dict[str, list[int]]) -> None:
    """The table of found faults."""
    print(f"{title:36s} in time, in all, of windows that show it; windows that do not")
    for name, (in_time, at_all, shown, idle) in tally.items():
        print(f"{name:36s} {in_time:3d} {at_all:3d} of {shown:3d}   {idle:3d}")
    sums = np.array(list(tally.values())).sum(axis=0)
    print(f"{'all':36s} {sums[0]} {sums[1]} of {sums[2]}   {sums[3]}: "
          f"{100.0 * sums[0] / max(sums[2], 1):.0f} % in time")  # fmt: skip


def one_start(
    bay: vc.Bay,
    weather: vc.Weather,
    name: str,
    place: str,
    start: tuple[int, int],
    tally: dict[str, list[int]],
    args: argparse.Namespace,
) -> None:
    """All faults that begin on one day at one site."""
    middle = weather.time[len(weather.time) // 2].astype("datetime64[Y]").astype(int) + 1970
    label = f"{name}_{place}_{start[0]:02d}{start[1]:02d}".replace(" ", "_")
    year = int(middle) + (start[0] < 7)
    begin = datetime(year, *start, 12, tzinfo=UTC).timestamp()
    state: list[Any] = []

    def healthy() -> Columns:
        season, columns = sound(bay, weather, np.datetime64(int(begin), "s"))
        state.append(season.state)
        rows = columns["time"] > begin - LEAD * DAY
        return {key: values[rows] for key, values in columns.items()}

    def made(part: str) -> Columns:
        if not state:
            healthy()
        return faulty(bay, weather, state[0], part)

    before = kept(args.keep, f"{label}_before", healthy)
    for fault in FAULTS:
        if fault.fry_only and name != "fry_bay":
            continue
        part = fault.part or "none"
        file = f"{label}_{part}".replace(" ", "_")
        during = kept(args.keep, file, lambda part=part: made(part))
        if args.only and args.only not in fault.name:
            continue
        _judge(bay, fault, before, during, tally[fault.name], label)


def _judge(
    bay: vc.Bay, fault: Fault, before: Columns, during: Columns, row: list[int], label: str
) -> None:
    """Diagnose one log and count."""
    rng = np.random.default_rng(sum(map(ord, fault.name + label)))
    begin = float(before["time"][-1])
    whole = {key: np.concatenate([before[key], during[key]]) for key in before}
    truth = {key: whole[key][whole["time"] > begin] for key in whole}
    truth |= {"plenum_true": truth["plenum_temp_c"], "plenum_rh_true": truth["plenum_rh"]}
    seen = with_errors(whole, rng)
    with_forecast(seen, rng)
    if fault.finding == "hunting":  # cannot be counted in rows ten minutes apart
        seen = {key: np.repeat(values, 2) for key, values in seen.items()}
        seen["time"] = seen["time"] + np.tile([-STEP / 2.0, 0.0], len(seen["time"]) // 2)
        seen["energy_kwh"] = seen["energy_kwh"] / 2.0
    rows = seen["time"] > begin
    if fault.alter is not None:
        part = {key: values[rows] for key, values in seen.items()}
        part["utc_offset"] = np.full(len(part["time"]), -7.0 if "seed" in label else 1.0)
        fault.alter(part, rng)
        for key in seen:
            seen[key][rows] = part[key]
    if fault.finding == "airflow_low":
        del seen["energy_kwh"]
    found = diagnose(vc.as_installed(bay), log_of(seen))
    _count(fault, found, truth, begin, row, label)


def _count(
    fault: Fault, found: Diagnosis, truth: Columns, begin: float, row: list[int], label: str
) -> None:
    days = np.floor((truth["time"] - begin - 1.0) / DAY).astype(int)
    weight = fault.shows(truth).astype(float)
    able = np.bincount(days, weight, minlength=LENGTH) * STEP / 3600.0
    shown = np.flatnonzero(able >= fault.hours)
    raised = [
        datetime.fromisoformat(one.found).timestamp()
        for one in found.findings
        if one.id in fault.finding.split() and one.place.startswith(fault.place)
        and datetime.fromisoformat(one.found).timestamp() > begin
    ]  # fmt: skip
    if len(shown) < 2:
        row[3] += 1
        return
    row[2] += 1
    limit = begin + (shown[1] + 1) * DAY + 12 * 3600.0  # days of the rules end at midnight
    row[0] += any(time <= limit for time in raised)
    row[1] += bool(raised)
    if not any(time <= limit for time in raised):
        others = sorted({one.id for one in found.findings})
        print(f"  late or missed: {fault.name} {label}: {able.round(1).tolist()} a day; "
              f"raised {[round((t - begin) / DAY, 1) for t in raised]} d; found {others}",
              flush=True)  # fmt: skip


def main() -> None:
    """Both tables."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[1])
    parser.add_argument("--folder", help="folder with the weather files, instead of packages")
    parser.add_argument("--keep", help="folder for the simulated logs")
    parser.add_argument("--draws", type=int, default=1, help="probe errors drawn for each season")
    parser.add_argument("--only", help="part of a fault's name")
    parser.add_argument("--skip-sound", action="store_true", help="faults alone")
    args = parser.parse_args()
    weathers = climates(args.folder)
    found_rates(weathers, args)
    if not args.skip_sound:
        false_alarms(weathers, args)


if __name__ == "__main__":
    sys.exit(main())
