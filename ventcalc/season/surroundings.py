"""What stands around a bay in a season: air, roof under sun and sky, ground under the floor."""

from __future__ import annotations

import math
from datetime import UTC, datetime
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from ventcalc import air
from ventcalc.bay.calendar import calendar_at, planned_target
from ventcalc.bay.description import Bay
from ventcalc.bay.hourly import hourly
from ventcalc.building import sky
from ventcalc.building.envelope import OUTSIDE_RESISTANCE
from ventcalc.building.ground import SOILS, Floor, ground_response
from ventcalc.weather import Weather
from ventcalc.weather.record import zone

__all__ = ["Ground", "Outside", "floor_heat", "ground_at", "ground_of", "hours_of"]

Array = NDArray[np.float64]

DAY, YEAR = 86400.0, 365.25 * 86400.0
CLEAREST = 95.0
"""Percentile of the days' sunlight, over its course in the year, that counts as clear. [%]"""
DARKEST = 10.0
"""Brightest day of a file without sunlight worth the name. [W/m²]"""
SHORT = 150 * DAY
"""Weather shorter than this tells nothing of the year's course; the ground gets its mean. [s]"""
WARM_GROUND_LATER = 1.0 / 12.0
"""Of a year, after the warmest day of the air. [1]"""
CLOUD_UNKNOWN = 0.5
"""Taken where the weather has neither sky nor sunlight; common practice, no source. [1]"""


class Outside(NamedTuple):
    """Outside air of one step, and what else roof and ground feel."""

    time: float
    """UTC since 1970-01-01. [s]"""
    temperature: float
    """[°C]"""
    relative_humidity: float
    """[0-1]"""
    humidity_ratio: float
    """[kg/kg dry air]"""
    solar_rise: float = 0.0
    """Of a black roof over the air, by the sun. [K]"""
    sky_drop: float = 0.0
    """Of a black roof under the air, by a cold sky. [K]"""
    ground_season: float = 0.0
    """Season of the ground, 1 a month after the warmest day. [1]"""


class Ground(NamedTuple):
    """Heat through the floor of a bay."""

    steady_heat: float = 0.0
    """Yearly mean, into the bay. [W]"""
    season_heat: float = 0.0
    """With the season outside. [W]"""
    inner: float = 0.0
    """Lost per kelvin of the pile above the yearly mean of the floor. [W/K]"""
    inside_mean: float = 0.0
    """Yearly mean of the floor. [°C]"""


def hours_of(
    weather: Weather, rows: NDArray[np.int64], pressure: float, year: Weather | None = None
) -> tuple[list[Outside], tuple[str, ...]]:
    """The steps of a season."""
    temperature = weather.temperature[rows]
    relative = weather.relative_humidity[rows]
    rise, drop, notes = _roof(weather, rows)
    year = weather if year is None else year
    if _is_short(year):
        notes = (*notes, "ground: weather too short for the year's course; its mean taken")
    times = _seconds(weather)[rows]
    _, _, warmest = _outside_year(year)
    columns = (
        times,
        temperature,
        relative,
        air.humidity_ratio(temperature, relative, pressure),
        rise,
        drop,
        np.cos(2.0 * np.pi * ((times - warmest) / YEAR - WARM_GROUND_LATER)),
    )
    found = zip(*(column.tolist() for column in columns), strict=True)
    return [Outside(*row) for row in found], notes


def _roof(weather: Weather, rows: NDArray[np.int64]) -> tuple[Array, Array, tuple[str, ...]]:
    """Rise by the sun and drop under the sky of a black roof. [K]"""
    notes = []
    wind = weather.wind_speed[rows]
    still = np.isnan(wind)
    resistance = np.where(
        still, OUTSIDE_RESISTANCE, sky.outside_resistance(np.where(still, 0.0, wind))
    )
    if still.any():
        notes.append(f"roof: no wind speed for {np.mean(still):.0%} of the hours; 4 m/s taken")
    sun = weather.global_radiation[rows]
    dark = np.isnan(sun)
    if dark.any():
        notes.append(f"roof: no sunlight for {np.mean(dark):.0%} of the hours; none taken")
    sun = np.where(dark, 0.0, sun)
    given = weather.sky_temperature[rows]
    unknown = np.isnan(given)
    if unknown.any():
        cover, how = _cloud_cover(weather)
        notes.append(f"roof: sky temperature by Martin and Berdahl, {how}")
        given = np.where(unknown, _sky_temperature(weather, cover)[rows], given)
    outside = weather.temperature[rows]
    black = sky.sol_air_temperature(
        outside, surface_resistance=resistance, sky_temperature=given, emittance=1.0
    )
    return resistance * sun, outside - black, tuple(notes)


def _seconds(weather: Weather) -> Array:
    """Start of each step, UTC since 1970-01-01. [s]"""
    return weather.time.astype("datetime64[s]").astype(np.int64).astype(float)


def _local_seconds(weather: Weather) -> Array:
    """The same by the clock of the place; the shift to summer time is left aside. [s]"""
    times = _seconds(weather)
    first = datetime.fromtimestamp(times[0], UTC).astimezone(zone(weather.time_zone))
    offset = first.utcoffset()
    return times + (0.0 if offset is None else offset.total_seconds())


def _cloud_cover(weather: Weather) -> tuple[Array, str]:
    """Cloud cover of each row's day from its sunlight, and how it was found."""
    days = (_local_seconds(weather) // DAY).astype(np.int64)
    sun, days = weather.global_radiation, days - days[0]
    count = np.bincount(days)
    daily = np.bincount(days, sun) / count
    if not np.max(daily) > DARKEST:
        return np.full(sun.shape, CLOUD_UNKNOWN), f"cloud cover {CLOUD_UNKNOWN:g} taken"
    clear = np.maximum(_year_fit(DAY * np.arange(float(len(daily))), daily)[0], 1.0)
    clear = np.maximum(clear * np.percentile(daily / clear, CLEAREST), 1.0)
    cover = sky.cloud_cover_from_radiation(daily, clear)
    return cover[days], "cloud cover by Kasten and Czeplak from the day's sunlight"


def _sky_temperature(weather: Weather, cloud_cover: Array) -> Array:
    # The emittance was measured down to -20 °C; colder dew points change it little.
    dew = np.maximum(air.dew_point(weather.humidity_ratio, weather.pressure), -40.0)
    hour = _local_seconds(weather) % DAY / 3600.0
    found: Array = sky.sky_temperature(
        weather.temperature, dew, pressure=weather.pressure, cloud_cover=cloud_cover, hour=hour
    )
    return found


def _year_fit(times: Array, values: Array) -> tuple[Array, float, float, float]:
    """A yearly cosine through values: itself, its mean, swing and greatest moment [s]."""
    angle = 2.0 * np.pi * times / YEAR
    columns = np.stack([np.ones(len(times)), np.cos(angle), np.sin(angle)], axis=1)
    found = np.linalg.lstsq(columns, values, rcond=None)[0]
    mean, cosine, sine = found.tolist()
    greatest = math.atan2(sine, cosine) / (2.0 * math.pi) * YEAR
    return columns @ found, mean, math.hypot(cosine, sine), greatest


def _is_short(weather: Weather) -> bool:
    """Whether it tells nothing of the year's course."""
    times = _seconds(weather)
    return bool(times[-1] - times[0] < SHORT)


def _outside_year(weather: Weather) -> tuple[float, float, float]:
    """Yearly mean [°C], swing [K] and warmest moment [s] of the air outside; short: no swing."""
    times = _seconds(weather)
    if _is_short(weather):
        return float(np.mean(weather.temperature)), 0.0, 0.0
    return _year_fit(times, weather.temperature)[1:]


def ground_of(bay: Bay, weather: Weather) -> Ground:
    """
    The ground under a bay, for a whole season.

    Source: ISO 13370, slab on ground; see ``ground_response``.
    """
    pile = bay.pile
    floor = Floor(
        area=pile.floor_area,
        perimeter=2.0 * (pile.length + pile.width),
        soil=SOILS[bay.envelope.soil],
    )
    through = ground_response(floor)
    mean, swing, warmest = _outside_year(weather)
    total = 0.0
    start = float(_seconds(weather)[0])
    for day in range(365):
        time = start + day * DAY
        year = hourly(bay, time)
        when = calendar_at(year, time)
        if when.now < when.emptied:
            total += planned_target(year, when)
        else:
            total += mean + swing * math.cos(2.0 * math.pi * (time - warmest) / YEAR)
    inside = total / 365.0
    # One number of numpy here would make every number of a season one, at twice the time.
    return Ground(
        steady_heat=float(through.steady) * (mean - inside),
        season_heat=float(through.outer) * swing,
        inner=float(through.inner),
        inside_mean=inside,
    )


def ground_at(bay: Bay, weather: Weather, time: float) -> Ground:
    """The ground for the days about a time (UTC since 1970-01-01 [s]), its season held still."""
    ground = ground_of(bay, weather)
    _, _, warmest = _outside_year(weather)
    season = math.cos(2.0 * math.pi * ((time - warmest) / YEAR - WARM_GROUND_LATER))
    heat = ground.steady_heat + season * ground.season_heat
    return ground._replace(steady_heat=heat, season_heat=0.0)


def floor_heat(ground: Ground, outside: Outside, pulp: float) -> float:
    """Heat that comes in through the floor, under a pile of a mean temperature [°C]. [W]"""
    season = ground.season_heat * outside.ground_season
    return ground.steady_heat + season - ground.inner * (pulp - ground.inside_mean)
