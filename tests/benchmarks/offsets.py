"""
The trial of the estimator of probe offsets: is what it says of itself true?

Seasons of a bay whose airflow, transpiration and respiration are not those that the estimator
believes, with an offset in every probe (0.3 K, 3 % RH, standard deviations), noise of every hour
(0.1 K, 1 %), drift by the month (0.05 K, 0.5 %) and a plenum that stays wet for six hours after the
spray stops (about 2 % moister, its heat taken from the air)::

    python tests/benchmarks/offsets.py --cases 8 [--bay fry_bay] [--weather FILE ...] [--seed 77]

Tells for some days how often the truth lies beyond twice the stated uncertainty (5 % would be
perfect, 17 % is the most that is accepted), the error of the combination that counts for wetting,
and how often it was told at all; the row RH % is the plenum's humidity alone.
"""

from __future__ import annotations

import argparse
from dataclasses import replace
from typing import Any

import numpy as np

import ventcalc as vc
from ventcalc.air.plain import AIR_HEAT, EVAPORATION, WATER_HEAT
from ventcalc.diagnose import Log
from ventcalc.diagnose.log import COLUMNS, FACTORS
from ventcalc.diagnose.offsets import WETTING, sensor_offsets
from ventcalc.pile.crop import crop_for, other_crop
from ventcalc.report.season_log import PROBES, season_columns
from ventcalc.trial.cases import placed

DAY, MONTH = 86400.0, 30.4375
DAYS = (25, 40, 60, 100, 150, 200)
AIRFLOW, TRANSPIRATION, RESPIRATION = 0.12, 0.35, 0.25
"""Standard deviations of the logarithms of what is believed wrongly. [1]"""
NAMES = ("pulp", "top", "plenum", "return", "outside",
         "plenum_humidity", "return_humidity", "outside_humidity")  # fmt: skip
WETS, DRIES = 0.02, 6
"""What a wet plenum adds after the spray [0-1], and for how long [h]."""
LAYERS, PLENUM = 30, "plenum_humidity"

Told = dict[int, list[tuple[float, float]]]


def season_of(bay: Any, weather: Any, offsets: np.ndarray, rng: Any, until: Any = None) -> Any:
    """A season of a bay that is not what its advice takes it for."""
    air, skin, breath = np.exp(rng.normal(0.0, (AIRFLOW, TRANSPIRATION, RESPIRATION)))
    crop = other_crop(crop_for(bay.use), skin, breath)
    errors = vc.SensorErrors(
        pulp=offsets[0],
        plenum_temperature=offsets[2],
        return_temperature=offsets[3],
        outside_temperature=offsets[4],
        return_relative_humidity=0.01 * offsets[6],
        outside_relative_humidity=0.01 * offsets[7],
    )
    true = replace(bay, fans=replace(bay.fans, airflow=bay.fans.airflow * float(air)))
    return vc.run_season(
        true, weather, believed=bay, sensor_errors=errors, crop=crop,
        layers=LAYERS, until=until, compiled=True if until is None else None,
    )  # fmt: skip


def read_by_probes(
    season: Any, offsets: np.ndarray, rng: Any, wet: bool = True
) -> tuple[Log, np.ndarray]:
    """The log that probes with these offsets would have written, and their offsets by the hour."""
    time, columns = season_columns(season)
    columns = {name: np.array(values, dtype=float) for name, values in columns.items()}
    if wet:
        _wet_plenum(columns, season.pressure)
    steps = rng.normal(size=(len(time), 8)) * np.sqrt(np.diff(time, prepend=time[0])[:, None] / DAY)
    drift = np.cumsum(steps, axis=0) / MONTH**0.5 * ([0.05] * 5 + [0.5] * 3)
    off = offsets + drift
    for k in range(1, PROBES + 1):
        columns[f"pulp_{k}_c"] += off[:, 1 if k == PROBES else 0] + rng.normal(0, 0.1, len(time))
    for j, name in enumerate(("plenum", "return", "outside")):
        columns[f"{name}_temp_c"] += off[:, 2 + j] + rng.normal(0, 0.1, len(time))
        moist = columns[f"{name}_rh"] + 0.01 * (off[:, 5 + j] + rng.normal(0, 1.0, len(time)))
        columns[f"{name}_rh"] = np.clip(moist, 0.0, 1.0)
    values = {
        COLUMNS[name][0]: column * FACTORS.get(COLUMNS[name][0], 1.0)
        for name, column in columns.items()
        if name in COLUMNS
    }
    pulp = np.array([columns[f"pulp_{k}_c"] for k in range(1, PROBES + 1)]).T
    return Log(time=time, values=values, pulp=pulp), off


def _wet_plenum(columns: dict[str, np.ndarray], pressure: float) -> None:
    """Evaporation after the spray stops: moister and colder at the same enthalpy."""
    left = 0
    for k in range(len(columns["humidifier"])):
        left = DRIES if columns["humidifier"][k] > 0.02 else max(left - 1, 0)
        if 0 < left < DRIES and columns["fan_speed"][k] > 0.0:
            warm, relative = columns["plenum_temp_c"][k], columns["plenum_rh"][k]
            full = float(vc.air.saturation_humidity_ratio(warm, pressure))
            added = min(WETS, 1.0 - relative) * full / 2.0  # colder air holds less: half is room
            wet = float(vc.air.humidity_ratio(warm, relative, pressure)) + added
            warm -= added * (EVAPORATION - WATER_HEAT * 10.0) / AIR_HEAT
            columns["plenum_temp_c"][k] = warm
            columns["plenum_rh"][k] = float(vc.air.relative_humidity(warm, wet, pressure))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n\n")[0])
    parser.add_argument("--cases", type=int, default=24, help="of each climate (24)")
    parser.add_argument("--bay", default="seed_bay")
    parser.add_argument("--weather", nargs="+", default=["example"], help="weather files")
    parser.add_argument("--seed", type=int, default=0)
    args = parser.parse_args()
    told: Told = {day: [] for day in DAYS}
    humid: list[tuple[float, float]] = []
    count = args.cases * len(args.weather)
    print(f"{args.bay}, {count} cases; unlearnt, the combination has 0.64 K")
    print("day  told  beyond 2 sd  rms error  stated [K]")
    for place, name in enumerate(args.weather):
        weather = vc.example_weather() if name == "example" else vc.read_weather(name)
        here: Told = {day: [] for day in DAYS}
        for case in range(args.cases):
            rng = np.random.default_rng([args.seed, place, case])
            _one(placed(vc.example_bay(args.bay), weather), weather, rng, here, humid)
        for day, cases in here.items():
            told[day] += cases
        every = [case for cases in here.values() for case in cases]
        print(_line(weather.name, every, args.cases * len(DAYS)), flush=True)
    for day, cases in told.items():
        print(_line(str(day), cases, count))
    print(_line("RH %", humid, count * len(DAYS)))
    print(_line("all", [case for cases in told.values() for case in cases], count * len(DAYS)))


def _one(bay: Any, weather: Any, rng: Any, told: Told, humid: list[tuple[float, float]]) -> None:
    """Error and stated uncertainty on each day of a season, where they are told."""
    c = np.array([WETTING.get(name, 0.0) for name in NAMES])
    offsets = np.concatenate([rng.normal(0.0, 0.3, 5), rng.normal(0.0, 3.0, 3)])
    season = season_of(bay, weather, offsets, rng)
    log, off = read_by_probes(season, offsets, rng)
    found = sensor_offsets(vc.as_installed(bay, pressure=season.pressure), log)
    for day in DAYS:
        k = int(np.searchsorted(found.time, found.time[0] + day * DAY))
        if k < len(found.time) and found.tells[k]:
            true = off[np.searchsorted(log.time, found.time[k])]
            error = found.wetting_difference[k] - true @ c
            told[day].append((float(error), float(found.wetting_uncertainty[k])))
            error = found.offsets[PLENUM][k] - true[NAMES.index(PLENUM)]
            humid.append((float(error), float(found.uncertainties[PLENUM][k])))


def _line(name: str, cases: list[tuple[float, float]], count: int) -> str:
    if not cases:
        return f"{name:4} {0:4.0%}"
    error, stated = np.array(cases).T
    beyond = np.mean(np.abs(error) > 2.0 * stated)
    rms, mean = np.sqrt(np.mean(error**2)), np.mean(stated)
    return f"{name:4} {len(cases) / count:4.0%}  {beyond:11.0%}  {rms:9.2f}  {mean:6.2f}"


if __name__ == "__main__":
    main()
