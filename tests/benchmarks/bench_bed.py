"""The deep bed: a season of one bay, a step of many bays, a step of a whole bay."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from ventcalc._ops import SCALAR

from ventcalc import air
from ventcalc.advice.policies import Positions
from ventcalc.bay import calendar
from ventcalc.bay.file import example_bay
from ventcalc.pile import bed
from ventcalc.pile import series as bed_series
from ventcalc.pile.crop import crop_for
from ventcalc.season import bay_model

SEASON = 6570
HOUR = 3600.0
PRESSURE = 95e3


def a_bed(**other):
    size = {"height": 5.0, "bulk_density": 650.0, "tuber_diameter": 0.06, "pressure": PRESSURE}
    return bed.Bed(**{**size, "crop": crop_for("table"), "layers": 40, **other})


def a_season(bays=None, steps=SEASON):
    """Supply air that swings half a kelvin about 6 °C with the fans on two hours in three."""
    hour = np.arange(steps)
    temperature = 6.0 + 0.5 * np.sin(hour * 0.26)
    series = {
        "superficial_velocity": np.where(hour % 3 == 2, 2e-4, 0.02),
        "inlet_temperature": temperature,
        "inlet_humidity_ratio": air.humidity_ratio(temperature, 0.95, PRESSURE),
        "age": hour * HOUR,
    }
    if bays is None:
        return series
    return {name: values[:, None] + np.zeros(bays) for name, values in series.items()}


@pytest.fixture(params=["compiled", "numpy"])
def way_to_march(request, monkeypatch):
    """With llvmlite, and without it."""
    if request.param == "numpy":
        monkeypatch.setattr(bed_series, "available", lambda: False)
    return request.param


@pytest.mark.usefixtures("way_to_march")
def test_season_of_one_bay(benchmark):
    model, series = a_bed(), a_season()
    state = bed.fresh_bed(model, 14.0)
    benchmark.extra_info["hourly steps"] = SEASON
    benchmark.pedantic(
        bed_series.march_through,
        (model, state),
        {"step": HOUR, **series},
        rounds=3,
        warmup_rounds=1,
    )
    benchmark.extra_info["seasons per second"] = 1.0 / benchmark.stats["median"]


@pytest.mark.parametrize("workers", [1, 2])
def test_six_weeks_of_many_bays(benchmark, workers):
    """1 000 bays, whose passages and inlets are all their own; compiled."""
    assert bed_series.available()
    rng, bays, steps = np.random.default_rng(1), 1000, 1000
    model = a_bed(height=rng.uniform(4.0, 6.0, bays), tuber_diameter=rng.uniform(0.05, 0.07, bays))
    state, series = bed.fresh_bed(model, 14.0, bays), a_season(bays, steps)
    given = {"step": HOUR, "workers": workers, **series}
    benchmark.pedantic(bed_series.march_through, (model, state), given, rounds=3, warmup_rounds=1)
    seasons = bays * steps / SEASON
    benchmark.extra_info["seasons per second"] = seasons / benchmark.stats["median"]


@pytest.mark.parametrize("wet", [False, True], ids=["dry", "wet"])
@pytest.mark.parametrize("bays", [1000])
def test_step_of_many_bays(benchmark, bays, wet):
    rng = np.random.default_rng(1)
    model = a_bed(height=rng.uniform(4.0, 6.0, bays), tuber_diameter=rng.uniform(0.05, 0.07, bays))
    state = bed.fresh_bed(model, 8.0, bays)
    if wet:
        state = replace(state, film=np.full((40, bays), 1e-3), wet=True)
    way = bed.passage(model, rng.uniform(0.01, 0.03, bays), HOUR)
    temperature = rng.uniform(5.0, 7.0, bays)
    ratio = air.humidity_ratio(temperature, 0.95, PRESSURE)

    def step():
        return bed.march(
            model, state, way, inlet_temperature=temperature, inlet_humidity_ratio=ratio,
            age=30 * 86400.0,
        )  # fmt: skip

    benchmark(step)
    benchmark.extra_info["seasons per second"] = bays / (SEASON * benchmark.stats["median"])


@pytest.mark.parametrize("wet", [False, True], ids=["dry", "wet"])
def test_step_of_one_bay(benchmark, wet):
    model = a_bed()
    state, way = bed.fresh_bed(model, 8.0), bed.passage(model, 0.02, HOUR)
    if wet:
        state = replace(state, film=np.full(40, 1e-3), wet=True)

    def step():
        return bed.march(
            model, state, way, inlet_temperature=6.0, inlet_humidity_ratio=0.0055, age=1e6
        )

    benchmark(step)


@pytest.mark.parametrize("speed", [1.0, 0.0], ids=["fans on", "fans off"])
def test_hour_of_a_whole_bay(benchmark, speed):
    bay = example_bay()
    model = bay_model.bed_of(bay, PRESSURE, 40)
    state = bay_model.first_state(bay, model, None)
    when = calendar.calendar_at(bay, 1_700_000_000.0)
    weather = bay_model.Outside(
        time=1_700_000_000.0, temperature=2.0, relative_humidity=0.7,
        humidity_ratio=air.humidity_ratio(2.0, 0.7, PRESSURE), pressure=PRESSURE,
    )  # fmt: skip
    positions = Positions(fan_speed=speed, door_opening=0.2, humidity_wanted=0.95)
    state, _ = bay_model.step_bay(bay, model, state, positions, weather, when, HOUR, SCALAR)
    benchmark(bay_model.step_bay, bay, model, state, positions, weather, when, HOUR, SCALAR)
