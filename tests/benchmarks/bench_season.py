"""A whole season of one bay, and short ones of many bays with the memory they take."""

from __future__ import annotations

import resource
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from ventcalc.bay.description import Bay
from ventcalc.bay.file import example_bay
from ventcalc.season.batch import run_seasons
from ventcalc.season.run import run_season
from ventcalc.weather import Weather, example_weather, season

DAY = 86400.0


@pytest.fixture(scope="module")
def weather() -> Weather:
    return season(example_weather(), start="09-01", end="06-30", wrap=True)


def short(bay: Bay) -> Bay:
    """Loaded, healed, cooled and emptied within thirty days."""
    schedule = replace(
        bay.schedule,
        fill_start="09-20",
        fill_days=3 * DAY,
        healing_days=7 * DAY,
        warm_up_start="10-12",
        unloading_start="10-17",
        unloading_days=3 * DAY,
    )
    return replace(bay, schedule=schedule)


def peak_memory() -> float:
    """Most memory that this process has held so far. [MB]"""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0


@pytest.mark.parametrize("way", ["compiled", "plain"])
@pytest.mark.parametrize("policy", ["advice", "thermostat"])
def test_season_of_one_bay(benchmark: Any, weather: Weather, policy: str, way: str) -> None:
    given = example_bay("seed_bay"), weather, policy
    how = {"compiled": way == "compiled"}
    done = benchmark.pedantic(run_season, given, how, rounds=3, warmup_rounds=1)
    benchmark.extra_info["hours"] = hours = len(done.time)
    benchmark.extra_info["ms per hour"] = round(1e3 * benchmark.stats.stats.median / hours, 3)


@pytest.mark.parametrize("bays", [1, 10, 100, 1000])
@pytest.mark.parametrize("workers", [1, 2])
def test_thirty_days_of_many_bays(
    benchmark: Any, weather: Weather, bays: int, workers: int
) -> None:
    """Bays that differ in their airflow; run one size alone for its own peak of memory."""
    bay = short(example_bay("seed_bay"))
    hours = len(run_season(bay, weather, "clock", layers=4).time)
    many = [
        replace(bay, fans=replace(bay.fans, airflow=bay.fans.airflow * share))
        for share in np.linspace(0.7, 1.3, bays).tolist()
    ]
    before = peak_memory()
    how = {"workers": workers, "compiled": True}
    kpi = benchmark.pedantic(run_seasons, (many, weather, "advice"), how, rounds=1)
    assert np.shape(kpi.fan_hours) == (bays,)
    benchmark.extra_info["peak memory before, MB"] = round(before)
    benchmark.extra_info["peak memory after, MB"] = round(peak_memory())
    took = benchmark.stats.stats.median
    benchmark.extra_info["bay-hours per second"] = round(bays * hours / took)
