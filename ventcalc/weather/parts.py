"""Parts of the weather: a storage season, percentiles, a design day."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime, tzinfo
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ventcalc import air
from ventcalc.errors import BadInput, check_range
from ventcalc.weather.files import ARRAYS, Weather
from ventcalc.weather.grid import when
from ventcalc.weather.record import Array, Times, zone

__all__ = [
    "colder",
    "design_day",
    "dry_bulb_percentiles",
    "finer",
    "local_time",
    "season",
    "steps_of",
]

DAY = 86400.0
SPAN = 6 * 3600
"""No zone moves its clock twice in it. [s]"""


def local_time(weather: Weather) -> Times:
    """
    Wall-clock time at the start of each step, in ``weather.time_zone``.

    Parameters
    ----------
    weather : Weather

    Returns
    -------
    array of datetime64[s]
    """
    place = zone(weather.time_zone)
    stamps = weather.time.astype("datetime64[s]").astype(np.int64)
    days, which = np.unique(stamps // SPAN, return_inverse=True)
    begins, ends = (_offsets(place, days * SPAN + edge) for edge in (0, SPAN - 1))
    offset = begins[which]
    changes = (begins != ends)[which]  # the clock is moved within these
    offset[changes] = _offsets(place, stamps[changes])
    return (stamps + offset).astype("datetime64[s]")


def _offsets(place: tzinfo, stamps: NDArray[np.int64]) -> NDArray[np.int64]:
    """Local time less UTC. [s]"""
    found = (datetime.fromtimestamp(stamp, place).utcoffset() for stamp in stamps.tolist())
    return np.array([round(one.total_seconds()) if one else 0 for one in found], dtype=np.int64)


def season(
    weather: Weather,
    *,
    start: str = "09-15",
    end: str = "06-15",
    year: int | None = None,
    wrap: bool = False,
) -> Weather:
    """
    The part of the weather that a storage season covers.

    Parameters
    ----------
    weather : Weather
        Several years, one season, or one year that can be wrapped.
    start, end : str
        First day, and the day after the last, month-day, local time.
    year : int, optional
        Year of ``start``; without it the first season found.
    wrap : bool
        Allow the end of a real year to be joined to its beginning. A typical year, which is no
        real sequence anyway, is joined without asking; both get a note.

    Returns
    -------
    Weather

    Raises
    ------
    BadInput
        The season is not inside the weather, or a date is not month-day.
    """
    found = _season_in(weather, start, end, year)
    if found is not None:
        return found
    days = len(weather.time) * weather.step / DAY
    covers = (
        f"the weather runs from {when(weather.time[0], weather.time_zone)} for {days:.1f} days "
        f"and does not hold {start} to {end}" + (f" of {year}" if year is not None else "")
    )
    if not 365 <= days <= 366:
        raise BadInput(f"{covers}; give weather that does, or one whole year to be wrapped")
    if not (weather.typical or wrap):
        raise BadInput(f"{covers}; pass wrap=True to join the end of this year to its beginning")
    found = _season_in(_twice(weather), start, end, year)
    if found is None:
        raise BadInput(f"{covers}; choose another year or other dates")
    seam = when(weather.time[-1] + _seconds(weather.step), weather.time_zone)
    kind = "typical" if weather.typical else "real"
    note = f"end of the {kind} year joined to its own beginning; the seam at {seam} is not weather"
    return replace(found, notes=(*found.notes, note))


def _season_in(weather: Weather, start: str, end: str, year: int | None) -> Weather | None:
    local = local_time(weather)
    first, last = local[0], local[-1] + _seconds(weather.step)
    years = [year] if year is not None else range(first.item().year - 1, last.item().year + 1)
    for candidate in years:
        begin, finish = _date(candidate, start), _date(candidate, end)
        if finish <= begin:
            finish = _date(candidate + 1, end)
        if first <= begin and finish <= last:
            return steps_of(weather, (local >= begin) & (local < finish))
    return None


def _date(year: int, month_day: str) -> np.datetime64:
    try:
        month, day = (int(part) for part in month_day.split("-"))
        date(2001, month, day)
        return np.datetime64(date(year, month, day), "s")
    except ValueError:
        raise BadInput(f"{month_day!r} is not a date; write month-day such as 09-15") from None


def _twice(weather: Weather) -> Weather:
    """One year, and the same again as the following year, without 29 February."""
    local = local_time(weather).astype("datetime64[D]")
    leap = (local - local.astype("datetime64[Y]")).astype(int) == 59
    leap &= local.astype("datetime64[M]").astype(int) % 12 == 1
    again = steps_of(weather, ~leap)
    start = weather.time[-1] + _seconds(weather.step)
    steps = np.arange(len(again.time)) * _seconds(weather.step)
    joined: dict[str, Any] = {
        name: np.concatenate([getattr(weather, name), getattr(again, name)]) for name in ARRAYS
    }
    joined["time"] = np.concatenate([weather.time, start + steps])
    return replace(weather, **joined)


def steps_of(weather: Weather, which: ArrayLike | slice) -> Weather:
    """Only some steps of the weather."""
    return replace(weather, **{name: getattr(weather, name)[which] for name in ARRAYS})


def _seconds(step: float) -> np.timedelta64:
    return np.timedelta64(round(step), "s")


def finer(weather: Weather, step: float) -> Weather:
    """
    The same weather at a shorter step, on straight lines between the hours.

    Parameters
    ----------
    weather : Weather
    step : float
        A whole part of the weather's own step. [s]

    Returns
    -------
    Weather
        With a note that says so.

    Raises
    ------
    BadInput
        If the step does not divide the weather's own.
    """
    parts = round(weather.step / step)
    if parts < 1 or parts * step != weather.step:
        raise BadInput(f"step {step:g} s does not divide the weather's {weather.step:g} s")
    places = np.arange(len(weather.time) * parts) / parts
    own = np.arange(len(weather.time))
    values: dict[str, Any] = {
        name: np.interp(places, own, getattr(weather, name)) for name in ARRAYS if name != "time"
    }
    limit = air.saturation_humidity_ratio(values["temperature"], values["pressure"])
    values["humidity_ratio"] = np.minimum(values["humidity_ratio"], limit)
    relative = air.relative_humidity(
        values["temperature"], values["humidity_ratio"], values["pressure"]
    )
    values["relative_humidity"] = np.minimum(relative, 1.0)
    times = weather.time[0] + np.arange(len(places)) * _seconds(step)
    note = f"steps of {step / 60:g} min on straight lines between those of {weather.step / 60:g}"
    return replace(weather, time=times, step=step, notes=(*weather.notes, note), **values)


def colder(weather: Weather, colder_by: float) -> Weather:
    """
    A harder winter made from a real year, for trials; not a climate that was measured anywhere.

    Parameters
    ----------
    weather : Weather
    colder_by : float
        Taken off in mid-January, less and less towards the summer, 0 to 30. [K]

    Returns
    -------
    Weather
        Relative humidity (over ice) kept; with a note that says what was done.

    Raises
    ------
    OutOfRange
        If ``colder_by`` lies outside 0 to 30.
    """
    check_range("colder_by", colder_by, 0.0, 30.0, "K")
    day = (weather.time.astype("datetime64[D]") - weather.time.astype("datetime64[Y]")).astype(int)
    off = colder_by * (0.5 + 0.5 * np.cos(2.0 * np.pi * (day - 15) / 365.25)) ** 1.5
    cold = np.maximum(weather.temperature - off, -50.0)
    moist = air.humidity_ratio(cold, weather.relative_humidity, weather.pressure)
    note = (
        f"made up to {colder_by:g} K colder in winter, relative humidity kept: an invented climate"
    )
    return replace(
        weather,
        temperature=cold,
        humidity_ratio=np.asarray(moist),
        sky_temperature=weather.sky_temperature - off,
        name=f"{weather.name}, up to {colder_by:g} K colder",
        notes=(*weather.notes, note),
    )


def dry_bulb_percentiles(weather: Weather, percentiles: ArrayLike) -> Array:
    """
    Temperatures at or below which the air is for given shares of the steps.

    Parameters
    ----------
    weather : Weather
    percentiles : array-like
        Percentiles, counted from the cold end: ASHRAE's 99.6 % heating temperature is percentile
        0.4, its 0.4 % cooling temperature percentile 99.6. [0-100]

    Returns
    -------
    array
        One temperature per percentile. [°C]

    Raises
    ------
    OutOfRange
        A percentile outside 0 to 100.
    """
    check_range("percentiles", percentiles, 0, 100, "%")
    result: Array = np.percentile(weather.temperature, np.asarray(percentiles, dtype=float))
    return result


def design_day(
    weather: Weather, *, percentile: float, ranked: NDArray[np.float64] | None = None
) -> Weather:
    """
    A real day, midnight to midnight, whose mean lies at a percentile of those of all days.

    Parameters
    ----------
    weather : Weather
        At least one whole day.
    percentile : float
        Of the daily means, from the cold end. [0-100]
    ranked : array, optional
        What the days are ranked by, one value for each step, such as enthalpy [any];
        temperature if not given.

    Returns
    -------
    Weather
        24 hours that were measured together, so humidity and pressure fit the temperature.

    Raises
    ------
    OutOfRange
        ``percentile`` outside 0 to 100.
    BadInput
        Less than a whole day, or steps that do not divide a day.

    Notes
    -----
    Days are blocks of 24 h from the first local midnight.
    """
    check_range("percentile", percentile, 0, 100, "%")
    per_day = round(DAY / weather.step)
    local = local_time(weather)
    midnights = np.flatnonzero(local == local.astype("datetime64[D]"))
    first = int(midnights[0]) if len(midnights) else len(local)
    days = (len(local) - first) // per_day
    if days < 1 or per_day * weather.step != DAY:
        raise BadInput("a design day needs at least one whole day, in steps that divide a day")
    whole = slice(first, first + days * per_day)
    means = weather.temperature[whole].reshape(days, per_day).mean(axis=1)
    order = means if ranked is None else ranked[whole].reshape(days, per_day).mean(axis=1)
    day = int(np.argmin(np.abs(order - np.percentile(order, percentile))))
    begin = first + day * per_day
    chosen = steps_of(weather, slice(begin, begin + per_day))
    note = (
        f"design day {local[begin].astype('datetime64[D]')}: mean {means[day]:.1f} °C, "
        f"percentile {percentile:g} of {days} daily means"
    )
    return replace(chosen, notes=(*chosen.notes, note))
