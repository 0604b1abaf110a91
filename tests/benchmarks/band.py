"""
The trial of an outlook's band: does 10 to 90 % hold eight in ten?

Weeks of simulated winters, begun at random between the end of filling and spring. The bay is not
what its file tells: airflow, transpiration and respiration are drawn (12, 35, 25 %, standard
deviations of the logarithm), every probe has an offset (0.2 K, 2 % RH) by which the advice runs it
before and during the week, and the forecast errs as the emulator says, with seeds of its own. The
outlook knows the file, the pile as its probes read it and the forecast::

    python tests/benchmarks/band.py --weather FILE ... [--weeks 10]

Tells for each bay and climate, and over all, in how many weeks the truth lay in the band: mean
pulp, a low and a high layer, from one to seven days ahead; and the cost of electricity.
"""

from __future__ import annotations

import argparse
from dataclasses import replace
from typing import Any

import numpy as np

import ventcalc as vc
from ventcalc.outlook.state import state_of_season
from ventcalc.pile.crop import crop_for, other_crop
from ventcalc.season.kpi import POWERS
from ventcalc.trial.cases import placed
from ventcalc.weather.forecast import Forecast
from ventcalc.weather.forecast_errors import forecast_errors, with_errors
from ventcalc.weather.parts import steps_of

HOURS = np.arange(24, 169, 24)
FIRST, LAST = 12, 200
"""Days after the first load between which a week begins."""
LAYERS = 40


def week(bay: Any, weather: Any, first: Any, seed: list[int]) -> dict[str, list[np.ndarray]]:
    """Whether the truth lay in each band: (hours ahead, mean and bottom and top), and energy."""
    rng = np.random.default_rng(seed)
    begin = first + np.timedelta64(int(rng.uniform(FIRST, LAST) * 24), "h")
    air, skin, breath = np.exp(rng.normal(0.0, (0.12, 0.35, 0.25)))
    warm, moist = rng.normal(0.0, 0.2, 4), rng.normal(0.0, 0.02, 2)
    true = replace(bay, fans=replace(bay.fans, airflow=bay.fans.airflow * float(air)))
    how = {
        "believed": bay,
        "crop": other_crop(crop_for(bay.use), skin, breath),
        "layers": LAYERS,
        "compiled": True,
        "sensor_errors": vc.SensorErrors(
            pulp=warm[0], plenum_temperature=warm[1], return_temperature=warm[2],
            outside_temperature=warm[3], return_relative_humidity=moist[0],
            outside_relative_humidity=moist[1],
        ),
    }  # fmt: skip
    before = vc.run_season(true, weather, until=begin, **how)
    end = begin + np.timedelta64(168, "h")
    after = vc.run_season(true, weather, start=before.state, until=end, **how)
    state = state_of_season(before, weather)
    bed = before.state.bed
    read = replace(before.state, bed=replace(bed, temperature=bed.temperature + warm[0]))
    state = replace(state, season=read, standard_uncertainty=bay.sensors.temperature)
    hour = (begin - weather.time[0]).astype("timedelta64[h]").astype(int) % len(weather.time)
    row = np.arange(hour, hour + 168) % len(weather.time)
    told = replace(steps_of(weather, row), time=begin + np.arange(168) * np.timedelta64(1, "h"))
    error = forecast_errors(168, seed=int(rng.integers(1 << 30)))
    told = with_errors(told, error[0][0], error[1][0])
    forecast = Forecast(weather=told, issued=state.season.time)
    paid = sum(after.records[name].sum() for name in POWERS) * 3600.0 * bay.costs.electricity
    found = {}
    for kind, compiled in (("random", True), ("chosen", False)):
        band = vc.look_ahead(bay, state, forecast, compiled=compiled)
        assert band.chosen == (kind == "chosen")
        inside = [
            (low <= pulp) & (pulp <= high)
            for low, pulp, high in (
                (band.low_pulp_mean, after.pulp.mean(axis=1), band.high_pulp_mean),
                (band.low_pulp[:, 2], after.pulp[:, 2], band.high_pulp[:, 2]),
                (band.low_pulp[:, -2], after.pulp[:, -2], band.high_pulp[:, -2]),
            )
        ]
        low, _, high = band.costs  # not told by chosen runs
        wide = (band.high_pulp_mean - band.low_pulp_mean)[HOURS - 1]
        found[kind] = [np.array(inside)[:, HOURS - 1], np.array(low <= paid <= high), wide]
    return found


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n\n")[0])
    parser.add_argument("--weather", nargs="+", default=["example"], help="weather files")
    parser.add_argument("--weeks", type=int, default=10, help="of each bay and climate (10)")
    parser.add_argument("--seed", type=int, default=0)
    args = parser.parse_args()
    every: dict[str, list[list[np.ndarray]]] = {"random": [], "chosen": []}
    print("band    in it: mean pulp by day, bottom, top, all; cost; width of day 1 and 7 [K]")
    for place, name in enumerate(args.weather):
        weather = vc.example_weather() if name == "example" else vc.read_weather(name)
        for which, kind in enumerate(("seed_bay", "fry_bay")):
            bay = placed(vc.example_bay(kind), weather)
            first = vc.run_season(bay, weather, layers=10).time[0]
            here: dict[str, list[list[np.ndarray]]] = {"random": [], "chosen": []}
            for k in range(args.weeks):
                try:
                    found = week(bay, weather, first, [args.seed, place, which, k])
                except vc.OutOfRange as error:  # a pile that heats itself up
                    print(f"left out: {error}")
                    continue
                for band, row in found.items():
                    here[band].append(row)
            print(f"{bay.name}, {weather.name}, {len(here['random'])} weeks")
            for band, rows in here.items():
                every[band] += rows
                _tell(band, rows)
    print("all")
    for band, rows in every.items():
        _tell(band, rows)


def _tell(band: str, rows: list[list[np.ndarray]]) -> None:
    inside, cost, wide = (np.mean([row[j] for row in rows], axis=0) for j in range(3))
    days = " ".join(f"{share:4.0%}" for share in inside[0])
    mean, bottom, top = inside.mean(axis=1)
    print(
        f"  {band:7} {days} | {mean:.0%} {bottom:.0%} {top:.0%}, {inside.mean():.0%}; "
        f"{cost:.0%}; {wide[0]:.2f} {wide[-1]:.2f}",
        flush=True,
    )


if __name__ == "__main__":
    main()
