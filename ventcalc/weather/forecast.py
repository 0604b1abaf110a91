"""A forecast of the outside air: read, its issue time kept, cut to the hours that are wanted."""

from __future__ import annotations

import json
import re
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np

from ventcalc.errors import BadInput, check_range
from ventcalc.weather.files import Weather, record_of, text_of, weather_of
from ventcalc.weather.forecast_services import record_of_service
from ventcalc.weather.parts import finer, steps_of
from ventcalc.weather.record import Record

__all__ = [
    "LIFE",
    "Forecast",
    "forecast_from_text",
    "hours_ahead",
    "read_forecast",
    "zone_unless_told",
]

HOUR = 3600.0
_ZONE = re.compile(r"^#\s*time_zone\s*:", re.MULTILINE)
LIFE = 36 * HOUR
"""
Age after which a forecast is not used: services renew theirs every 1 to 12 h, and the error of a
day-old one is that of its second day. [s]
"""
LEAST = 24
"""Fewer hours ahead are no outlook. [h]"""
MOST_GAP = 3 * HOUR
"""Longest gap that is filled with a straight line. [s]"""


@dataclass(frozen=True, kw_only=True)
class Forecast:
    """Outside air that is expected, hour by hour."""

    weather: Weather
    """``source`` names the service and its terms."""
    issued: float
    """UTC since 1970-01-01; the first hour where the file does not say. [s]"""
    notes: tuple[str, ...] = ()
    """What was assumed, filled or left out."""


def read_forecast(
    path: str | Path, *, time_zone: str | None = None, altitude: float | None = None
) -> Forecast:
    """
    Read a forecast: CSV as of ``read_weather``, or the JSON of a public weather service.

    Parameters
    ----------
    path : str or Path
        The file; what it is, is told from its content.
    time_zone : str, optional
        Zone of times without offset in a CSV file whose header has none.
    altitude : float, optional
        Height of the store above sea level, used where there is no station pressure. [m]

    Returns
    -------
    Forecast

    Raises
    ------
    BadInput
        Every problem found, one line each.

    Notes
    -----
    Known are the JSON of Open-Meteo (hourly arrays), of the United States National Weather Service
    (gridpoint, ``forecastGridData``) and of MET Norway (Locationforecast). A CSV file tells when
    it was issued in a header line, ``# issued: 2026-01-10T06:00Z``. Gaps up to 3 h are filled with
    a straight line, with a note; what lies behind a longer one is left out, with a note.
    """
    file = Path(path)
    try:
        text = text_of(file)
    except BadInput as error:
        raise BadInput(f"{file.name}: {line}" for line in error.problems) from None
    return forecast_from_text(text, file.name, time_zone=time_zone, altitude=altitude)


def forecast_from_text(
    text: str,
    name: str = "forecast",
    *,
    time_zone: str | None = None,
    altitude: float | None = None,
) -> Forecast:
    """Read a forecast from its text."""
    if altitude is not None:
        check_range("altitude", altitude, -500, 5000, "m")
    try:
        record = _record(text, time_zone)
        record, cut = _before_long_gap(record)
        weather = _by_the_hour(weather_of(record, time_zone, altitude, MOST_GAP, HOUR))
    except BadInput as error:
        raise BadInput(f"{name}: {line}" for line in error.problems) from None
    notes = (*weather.notes, *cut, *_height(record, altitude))
    issued = record.issued
    if issued is None:
        issued = float(weather.time[0].astype("datetime64[s]").astype(np.int64))
        notes = (*notes, "forecast: does not say when it was issued; its first hour is taken")
    return Forecast(weather=weather, issued=issued, notes=notes)


def _record(text: str, time_zone: str | None) -> Record:
    if text.lstrip()[:1] not in ("{", "["):
        return record_of(text, zone_unless_told(text, time_zone))
    try:
        data = json.loads(text)
    except (ValueError, RecursionError):
        raise BadInput("is cut off or no valid JSON; fetch it again") from None
    return record_of_service(data)


def zone_unless_told(text: str, time_zone: str | None) -> str | None:
    """The zone for times without offset, unless a header line of the text has one."""
    return None if _ZONE.search(text) else time_zone


def _too_coarse(step: float) -> BadInput:
    return BadInput(
        f"is in steps of {step / HOUR:g} h, which hide the nights; at most {MOST_GAP / HOUR:g} h "
        "serve"
    )


def _by_the_hour(weather: Weather) -> Weather:
    """Steps of two or three hours on straight lines between them."""
    if weather.step > MOST_GAP:
        raise _too_coarse(weather.step)
    return finer(weather, HOUR) if weather.step > HOUR else weather


def _before_long_gap(record: Record) -> tuple[Record, tuple[str, ...]]:
    """Rows before the first gap that is too long to be filled; and a word on the others."""
    values = record.values
    nothing = np.full(record.time.shape, np.nan)
    humid = [values.get(name, nothing) for name in ("relative_humidity", "dew_point")]
    known = ~np.isnan(values["temperature"]) & ~np.isnan(humid).all(axis=0)
    rows = np.flatnonzero(known)
    if not len(rows):
        raise BadInput("no hour has temperature and humidity together")
    apart = np.diff(record.time[rows].astype(np.int64)).astype(float) - HOUR
    long = np.flatnonzero(apart > MOST_GAP)
    if not len(long):
        return record, ()
    last = int(rows[long[0]])
    if long[0] == 0:
        raise _too_coarse(float(apart[0]) + HOUR)
    keep = slice(0, last + 1)
    shorter = replace(
        record,
        time=record.time[keep],
        values={name: column[keep] for name, column in values.items()},
        lines=record.lines[keep],
    )
    until = str(record.time[last].astype("datetime64[m]")).replace("T", " ")
    return shorter, (
        f"forecast: used until {until} UTC; {apart[long[0]] / HOUR:g} h are missing there, and at "
        f"most {MOST_GAP / HOUR:g} h are filled",
    )


HEIGHT = 150.0
"""Difference in height that is told: 1 K in the standard atmosphere. [m]"""


def _height(record: Record, altitude: float | None) -> tuple[str, ...]:
    if altitude is None or record.altitude is None or abs(record.altitude - altitude) < HEIGHT:
        return ()
    return (
        f"forecast: for {record.altitude:g} m, the store stands at {altitude:g} m: about "
        f"{0.0065 * (record.altitude - altitude):+.1f} K at the store, not corrected",
    )


def hours_ahead(forecast: Forecast, time: float, hours: int = 168) -> Forecast:
    """The hours from a time on, of a forecast that may be used then."""
    weather, now = forecast.weather, datetime.fromtimestamp(time, UTC)
    age = time - forecast.issued
    if age > LIFE:
        raise BadInput(
            f"forecast: {_long(age)} old at {now:%Y-%m-%d %H:%M} UTC; one older than "
            f"{LIFE / HOUR:g} h is not used: get a new one"
        )
    stamps = weather.time.astype("datetime64[s]").astype(np.int64)
    first = round(time - stamps[0]) // round(weather.step)
    lead, notes = 0, forecast.notes
    if first < 0:
        lead = int(-first)
        if lead * weather.step > MOST_GAP:
            raise BadInput(
                f"forecast: begins at {weather.time[0]} UTC, {_long(lead * weather.step)} after "
                f"the state ({now:%Y-%m-%d %H:%M} UTC): give a newer state, or an older forecast"
            )
        notes = (*notes, f"forecast: begins {lead} h late; its first hour stands for them")
    rows = np.clip(np.arange(first, min(first + hours, len(stamps))), 0, None)
    if len(rows) < min(LEAST, hours):
        raise BadInput(
            f"forecast: ends at {weather.time[-1]} UTC, {max(len(rows), 0)} h after the state "
            f"({now:%Y-%m-%d %H:%M} UTC); at least {LEAST} h are wanted: get a newer one"
        )
    if len(rows) < hours:
        notes = (*notes, f"forecast: ends after {len(rows)} h of the {hours} h asked for")
    cut = steps_of(weather, rows)
    hour = np.timedelta64(round(weather.step), "s")
    when = np.datetime64(round(time), "s") + np.arange(len(rows)) * hour
    return replace(forecast, weather=replace(cut, time=when), notes=notes)


def _long(seconds: float) -> str:
    """Hours, or days from two on."""
    hours = seconds / HOUR
    return f"{hours:.0f} h" if hours < 48.0 else f"{hours / 24.0:,.0f} days"
