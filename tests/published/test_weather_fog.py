"""Foggy hours of five climates go through everything that takes weather; see fog/SOURCE.md."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from ventcalc import air
from ventcalc.bay.file import example_bay
from ventcalc.season.run import run_season
from ventcalc.sizing import weather as sizing_weather
from ventcalc.weather import example_weather, read_weather
from ventcalc.weather.files import ARRAYS
from ventcalc.weather.parts import colder, dry_bulb_percentiles, finer

HERE = Path(__file__).parent / "fog"
CLIMATES = ("denver.epw", "chicago.epw", "greensboro.csv", "sand_point.csv", "example")
BAY = example_bay("seed_bay")
BRIEF = replace(BAY, schedule=replace(
    BAY.schedule, fill_start="10-10", warm_up_start="10-30", unloading_start="11-01",
    fill_days=2 * 86400.0, healing_days=3 * 86400.0, unloading_days=2 * 86400.0))  # fmt: skip


def foggy_day(name):
    if name != "example":
        return read_weather(HERE / name)
    whole = example_weather()
    days = whole.relative_humidity.reshape(-1, 24).sum(axis=1)
    rows = 24 * int(np.argmax(days)) + np.arange(24)
    return replace(whole, **{field: getattr(whole, field)[rows] for field in ARRAYS})


def year_with(day, over):
    """A year with this day in it again and again, air as moist as its fog and ``over``."""
    year, rows = example_weather(), np.arange(282 * 24, 306 * 24)
    values = {field: getattr(year, field).copy() for field in ARRAYS}
    for field in ("temperature", "relative_humidity"):
        values[field][rows] = np.tile(getattr(day, field), len(rows) // 24)
    full = values["relative_humidity"] > 0.995
    ratio = air.humidity_ratio(values["temperature"], values["relative_humidity"], year.pressure)
    values["humidity_ratio"] = np.where(full, (1.0 + over) * ratio, ratio)
    values["relative_humidity"] = np.where(
        full, (1.0 + over) * values["relative_humidity"], values["relative_humidity"]
    )
    return replace(year, **values)


@pytest.mark.parametrize("name", CLIMATES)
def test_fog_is_read_as_saturated_air(name):
    day = foggy_day(name)
    assert len(day.time) == 24
    assert day.relative_humidity.max() == pytest.approx(1.0, abs=1e-9 if name != "example" else 0.1)
    assert (day.relative_humidity <= 1.0).all()


@pytest.mark.parametrize("name", CLIMATES)
@pytest.mark.parametrize("over", [0.0, 2e-16, 1e-9, 0.03])
def test_fog_and_round_off_go_through_everything(name, over):
    weather = year_with(foggy_day(name), over)
    assert (weather.relative_humidity <= 1.0).all()
    assert any("fog" in note for note in weather.notes) == (over > 1e-3 and name != "example")
    assert np.isfinite(dry_bulb_percentiles(weather, [0.4, 99.6])).all()
    assert (finer(weather, 1800.0).relative_humidity <= 1.0).all()
    assert np.isfinite(colder(weather, 5.0).humidity_ratio).all()
    states = sizing_weather.design_states(BAY, weather)
    assert np.isfinite(states.winter_humidity_ratio)
    ran = run_season(BRIEF, weather, "clock", layers=4, compiled=False)
    assert 0.0 < ran.kpi.mass_loss < 0.1
