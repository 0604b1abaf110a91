"""What weather must keep: means, straight lines, the sun's noon, saturation, the order of time."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from ventcalc import air
from ventcalc.weather import (
    Weather,
    design_day,
    dry_bulb_percentiles,
    example_weather,
    local_time,
    read_weather,
    season,
)

DATA = Path(__file__).parents[1] / "behaviour" / "data"
Array = NDArray[np.float64]
TITLES = "time,outside_temp_c,outside_rh_percent,pressure_hpa"


@pytest.fixture(scope="module")
def example() -> Weather:
    return example_weather()


def written(folder: Path, step: int, columns: Array) -> Path:
    start = np.datetime64("2025-01-10T00:00:00")
    rows = [
        f"{start + np.timedelta64(i * step, 's')}Z," + ",".join(map(repr, row))
        for i, row in enumerate(columns.tolist())
    ]
    path = folder / "air.csv"
    path.write_text("\n".join([TITLES, *rows]))
    return path


@settings(max_examples=25, deadline=None)
@given(data=st.data(), per_hour=st.sampled_from([2, 4, 12]))
def test_averaging_keeps_the_means(
    tmp_path_factory: pytest.TempPathFactory, data: st.DataObject, per_hour: int
) -> None:
    count = 3 * per_hour
    rows = st.tuples(st.floats(-30, 40), st.floats(5, 70), st.floats(700, 1050))
    columns = np.array(data.draw(st.lists(rows, min_size=count, max_size=count)))
    path = written(tmp_path_factory.mktemp("weather"), 3600 // per_hour, columns)
    fine, hourly = read_weather(path, step=None), read_weather(path)
    for name in ("temperature", "pressure"):
        assert getattr(hourly, name).mean() == pytest.approx(getattr(fine, name).mean(), abs=1e-9)
    # water is kept unless an hour's mixture is fog, which the note then tells
    if not any("above saturation" in note for note in hourly.notes):
        assert hourly.humidity_ratio.mean() == pytest.approx(fine.humidity_ratio.mean(), rel=1e-3)


def test_gap_in_a_straight_line_leaves_no_trace(tmp_path: Path) -> None:
    temperature = np.linspace(-5, 10, 24)
    columns = np.stack([temperature, np.full(24, 60.0), np.linspace(840, 850, 24)], axis=1)
    columns[9:12, 0] = np.nan
    columns[15, 2] = np.nan
    path = written(tmp_path, 3600, columns)
    path.write_text(path.read_text().replace("nan", ""))
    weather = read_weather(path)
    assert weather.temperature == pytest.approx(temperature, abs=1e-12)
    assert weather.pressure == pytest.approx(np.linspace(84000, 85000, 24), rel=1e-12)


@settings(max_examples=50, deadline=None)
@given(temperature=st.floats(-40, 45), humidity=st.floats(2, 100), pressure=st.floats(700, 1050))
def test_humidities_agree_and_never_pass_saturation(
    tmp_path_factory: pytest.TempPathFactory, temperature: float, humidity: float, pressure: float
) -> None:
    columns = np.tile([temperature, humidity, pressure], (2, 1))
    weather = read_weather(written(tmp_path_factory.mktemp("weather"), 3600, columns))
    assert (weather.relative_humidity <= 1 + 1e-9).all()
    back = air.humidity_ratio(
        weather.temperature, np.minimum(weather.relative_humidity, 1), weather.pressure
    )
    assert weather.humidity_ratio == pytest.approx(back, rel=1e-6)
    if temperature > 0.01:
        assert weather.relative_humidity == pytest.approx(np.full(2, humidity / 100), rel=1e-6)


def test_dew_point_file_returns_its_dew_point(tmp_path: Path) -> None:
    temperature = np.linspace(-25, 30, 12)
    dew_point = temperature - np.linspace(0.5, 12, 12)
    columns = np.stack([temperature, dew_point, np.full(12, 850.0)], axis=1)
    path = written(tmp_path, 3600, columns)
    text = path.read_text().replace("outside_rh_percent", "outside_dew_point_c")
    path.write_text("# humidity_over: ice\n" + text)
    weather = read_weather(path)
    assert air.dew_point(weather.humidity_ratio, weather.pressure) == pytest.approx(
        dew_point, abs=1e-3
    )


@pytest.mark.parametrize(
    ("name", "meridian", "equation_of_time"),
    # equation of time around 31 January: -13.4 min (any almanac; here Spencer 1971)
    [("denver_two_days.epw", 105 - 104.65, -13.4), ("sand_point_two_days_tmy3.csv", -25.5, -13.4)],
)
def test_radiation_is_centred_on_solar_noon(
    name: str, meridian: float, equation_of_time: float
) -> None:
    """An hour's error in reading hour-ending stamps would show here."""
    weather = read_weather(DATA / name)
    local = local_time(weather)
    middle = (local - local.astype("datetime64[D]")).astype(float) / 3600 + 0.5
    centre = np.average(middle, weights=weather.global_radiation)
    solar_noon = 12 - meridian / 15 - equation_of_time / 60
    assert centre == pytest.approx(solar_noon, abs=0.4)


def test_example_is_centred_on_solar_noon(example: Weather) -> None:
    hour = (example.time - example.time.astype("datetime64[D]")).astype(float) / 3600
    centre = np.average((hour - 7) % 24 + 0.5, weights=example.global_radiation)
    # 105.06 W lies on the zone's meridian; afternoon cloud pulls the centre forward
    assert centre == pytest.approx(12.0, abs=0.4)


def test_example_is_sound(example: Weather) -> None:
    assert np.unique(np.diff(example.time)).tolist() == [np.timedelta64(3600, "s")]
    for name in ("temperature", "relative_humidity", "humidity_ratio", "pressure"):
        assert np.isfinite(getattr(example, name)).all()
    limit = air.saturation_humidity_ratio(example.temperature, example.pressure)
    assert (example.humidity_ratio <= limit * (1 + 1e-9)).all()
    # the reanalysis' ground lies somewhat above the place, see SOURCE.md
    assert air.standard_pressure(1526.0) == pytest.approx(example.pressure.mean(), rel=0.02)


def test_season_joins_the_same_hours_in_order(example: Weather) -> None:
    wrapped = season(example, wrap=True)
    assert np.unique(np.diff(wrapped.time)).tolist() == [np.timedelta64(3600, "s")]
    origin = np.where(
        wrapped.time > example.time[-1], wrapped.time - np.timedelta64(365, "D"), wrapped.time
    )
    place = np.searchsorted(example.time, origin)
    assert (example.time[place] == origin).all()
    assert (example.temperature[place] == wrapped.temperature).all()
    assert (example.humidity_ratio[place] == wrapped.humidity_ratio).all()


def test_leap_day_is_left_out_of_the_joined_part(tmp_path: Path) -> None:
    first = np.datetime64("2024-01-01")
    rows = [f"{first + day}T00:00Z,{day / 10:.1f},50,850" for day in range(366)]
    path = tmp_path / "leap.csv"
    path.write_text("\n".join([TITLES, *rows]))
    weather = read_weather(path)
    wrapped = season(weather, start="12-30", end="03-03", wrap=True)
    by_date = {str(t)[:10]: v for t, v in zip(wrapped.time, wrapped.temperature, strict=True)}
    assert by_date["2024-12-31"] == pytest.approx(36.5)
    assert by_date["2025-02-28"] == pytest.approx(5.8)
    assert by_date["2025-03-01"] == pytest.approx(6.0)  # 29 February 2024 was 5.9


def test_percentiles_rise_from_the_coldest_to_the_hottest(example: Weather) -> None:
    values = dry_bulb_percentiles(example, [0, 0.4, 1, 50, 99, 99.6, 100])
    assert (np.diff(values) > 0).all()
    assert values[[0, -1]].tolist() == [example.temperature.min(), example.temperature.max()]
    below = (example.temperature <= values[2]).mean()
    assert below == pytest.approx(0.01, abs=2e-4)


@settings(max_examples=20, deadline=None)
@given(percentile=st.floats(0, 100))
def test_design_day_is_a_real_day_near_its_percentile(percentile: float) -> None:
    weather = example_weather()
    day = design_day(weather, percentile=percentile)
    place = np.searchsorted(weather.time, day.time)
    assert len(day.time) == 24
    assert (weather.temperature[place] == day.temperature).all()
    assert (weather.pressure[place] == day.pressure).all()
    colder = design_day(weather, percentile=percentile / 2)
    assert colder.temperature.mean() <= day.temperature.mean()
