"""The deep bed: a season of one pile, seasons of many, one step of it, one hour of a whole bay."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import numpy as np
import pytest

from ventcalc import air
from ventcalc.advice.policies import Positions
from ventcalc.bay.file import example_bay
from ventcalc.bay.hourly import hourly
from ventcalc.pile import bed
from ventcalc.pile.crop import crop_for
from ventcalc.season.bay_model import step_bay
from ventcalc.season.bay_state import StepRecord, bed_of, first_layers, first_state
from ventcalc.season.surroundings import Ground, Outside

SEASON = 6570
HOUR = 3600.0
PRESSURE = 95e3


def a_bed(**other):
    size = {"height": 5.0, "bulk_density": 650.0, "tuber_diameter": 0.06, "pressure": PRESSURE}
    return bed.Bed(**{**size, "crop": crop_for("table"), "layers": 40, **other})


def a_season():
    """Supply air that swings half a kelvin about 6 °C with the fans on two hours in three."""
    hour = np.arange(SEASON)
    temperature = 6.0 + 0.5 * np.sin(hour * 0.26)
    return {
        "superficial_velocity": np.where(hour % 3 == 2, 2e-4, 0.02),
        "inlet_temperature": temperature,
        "inlet_humidity_ratio": air.humidity_ratio(temperature, 0.95, PRESSURE),
        "age": hour * HOUR,
    }


@pytest.mark.parametrize("compiled", [True, False], ids=["compiled", "plain"])
def test_season_of_one_bed(benchmark, compiled):
    model, series = a_bed(), a_season()
    state = bed.fresh_bed(model, 14.0)
    benchmark.extra_info["hourly steps"] = SEASON
    given = {"step": HOUR, "compiled": compiled, **series}
    benchmark.pedantic(bed.run_steps, (model, state), given, rounds=3, warmup_rounds=1)
    benchmark.extra_info["seasons per second"] = 1.0 / benchmark.stats["median"]


@pytest.mark.parametrize("workers", [1, 2])
def test_seasons_of_many_beds(benchmark, workers):
    """150 piles of all sizes, in threads; compiled."""
    rng, count, series = np.random.default_rng(1), 150, a_season()
    heights, diameters = rng.uniform(4.0, 6.0, count), rng.uniform(0.05, 0.07, count)
    piles = [
        a_bed(height=float(height), tuber_diameter=float(diameter))
        for height, diameter in zip(heights, diameters, strict=True)
    ]

    def one(model):
        start = bed.fresh_bed(model, 14.0)
        return bed.run_steps(model, start, step=HOUR, compiled=True, **series)

    def all_of_them():
        with ThreadPoolExecutor(workers) as pool:
            return list(pool.map(one, piles))

    benchmark.pedantic(all_of_them, rounds=3, warmup_rounds=1)
    benchmark.extra_info["seasons per second"] = count / benchmark.stats["median"]


@pytest.mark.parametrize("wet", [False, True], ids=["dry", "wet"])
def test_step_of_one_bed(benchmark, wet):
    model = a_bed()
    state = bed.fresh_bed(model, 8.0)
    if wet:
        state = replace(state, film=np.full(40, 1e-3))

    def step():
        return bed.step(
            model, state, step=HOUR, superficial_velocity=0.02, inlet_temperature=6.0,
            inlet_humidity_ratio=0.0055, age=1e6,
        )  # fmt: skip

    benchmark(step)


@pytest.mark.parametrize("speed", [1.0, 0.0], ids=["fans on", "fans off"])
def test_hour_of_a_whole_bay(benchmark, speed):
    bay = hourly(example_bay(), 1_700_000_000.0)
    model, layers = bed_of(bay, PRESSURE, 40), first_layers(bay, 40)
    weather = Outside(
        time=1_700_000_000.0, temperature=2.0, relative_humidity=0.7,
        humidity_ratio=float(air.humidity_ratio(2.0, 0.7, PRESSURE)),
    )  # fmt: skip
    positions = Positions(fan_speed=speed, door_opening=0.2, humidity_wanted=0.95)
    record, start = StepRecord(), first_state(bay, PRESSURE)

    def step(state):
        return step_bay(bay, model, Ground(), layers, state, positions, weather, HOUR, record)

    state, _, _ = step(start)
    benchmark(step, state)
