"""Forecasts of public weather services as they document their JSON, told by its structure."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from datetime import datetime, timedelta
from typing import Any, NamedTuple

import numpy as np

from ventcalc.errors import BadInput
from ventcalc.weather.record import Array, Record, offset_name

__all__ = ["SERVICES", "Service", "record_of_service"]


class Service(NamedTuple):
    """A public weather service."""

    name: str
    terms: str
    """Licence and terms of use, as the service states them."""
    url: str
    """Where a forecast is asked for; ``{lat}`` and ``{lon}`` in degrees."""
    documented: str


SERVICES = {
    "open-meteo": Service(
        name="Open-Meteo",
        terms="data CC BY 4.0; the free service is for non-commercial use: open-meteo.com/en/terms",
        url="https://api.open-meteo.com/v1/forecast?latitude={lat:.4f}&longitude={lon:.4f}"
        "&hourly=temperature_2m,relative_humidity_2m,dew_point_2m,surface_pressure,"
        "wind_speed_10m,shortwave_radiation&wind_speed_unit=ms&timezone=UTC&forecast_days=9",
        documented="https://open-meteo.com/en/docs",
    ),
    "weather-gov": Service(
        name="United States National Weather Service",
        terms="open data, free for any purpose: weather.gov/documentation/services-web-api",
        url="https://api.weather.gov/points/{lat:.4f},{lon:.4f}",
        documented="https://www.weather.gov/documentation/services-web-api",
    ),
    "met-norway": Service(
        name="MET Norway",
        terms="data CC BY 4.0, commercial use too: api.met.no/doc/TermsOfService",
        url="https://api.met.no/weatherapi/locationforecast/2.0/complete?lat={lat:.4f}&lon={lon:.4f}",
        documented="https://api.met.no/weatherapi/locationforecast/2.0/documentation",
    ),
}
"""
By the word of ``--fetch``. All ask for a User-Agent that names the caller, and not to be asked more
often than they renew; the terms are short for what their pages say, which count.
"""

_UNITS: dict[str, tuple[float, float]] = {
    "°C": (1.0, 0.0), "celsius": (1.0, 0.0), "degC": (1.0, 0.0),
    "°F": (5 / 9, -160 / 9), "degF": (5 / 9, -160 / 9),
    "%": (0.01, 0.0), "percent": (0.01, 0.0),
    "Pa": (1.0, 0.0), "hPa": (100.0, 0.0),
    "m/s": (1.0, 0.0), "m_s-1": (1.0, 0.0), "km/h": (1 / 3.6, 0.0), "km_h-1": (1 / 3.6, 0.0),
    "mp/h": (0.44704, 0.0), "kn": (1852 / 3600, 0.0),
    "W/m²": (1.0, 0.0),
}  # fmt: skip
"""Names that the services give units: factor and offset into ours."""
_OPEN_METEO = {
    "temperature_2m": "temperature",
    "relative_humidity_2m": "relative_humidity",
    "dew_point_2m": "dew_point",
    "surface_pressure": "pressure",
    "wind_speed_10m": "wind_speed",
    "shortwave_radiation": "global_radiation",
}
_WEATHER_GOV = {
    "temperature": "temperature",
    "relativeHumidity": "relative_humidity",
    "dewpoint": "dew_point",
    "windSpeed": "wind_speed",
}
_MET_NORWAY = {
    "air_temperature": "temperature",
    "relative_humidity": "relative_humidity",
    "dew_point_temperature": "dew_point",
    "wind_speed": "wind_speed",
}
"""Their name: our quantity. Pressure at sea level is of no use here."""
_DURATION = re.compile(r"P(?:(\d+)D)?(?:T(?:(\d+)H)?(?:(\d+)M)?(?:(\d+)S)?)?")
"""ISO 8601."""


def record_of_service(data: Any) -> Record:
    """The record of a service's JSON, whichever of the known ones it is."""
    for fits, read in _READERS:
        if fits(data):
            try:
                return read(data)
            except (KeyError, TypeError, AttributeError, ValueError, OverflowError) as error:
                if isinstance(error, BadInput):
                    raise
                raise BadInput(f"{_slip(error)}; fetch it again") from None
    if isinstance(data, Mapping) and "periods" in _inside(data):
        raise BadInput(
            "holds a forecast in words; take the service's grid data (forecastGridData), which has "
            "dew points and humidity"
        )
    names = ", ".join(service.name for service in SERVICES.values())
    raise BadInput(f"is the JSON of no known service ({names}); CSV with named columns serves too")


def _slip(error: Exception) -> str:
    if isinstance(error, KeyError):
        return f"{error.args[0]} is missing"
    return f"does not look as documented ({error})"


def _inside(data: Mapping[str, Any]) -> Mapping[str, Any]:
    found = data.get("properties")
    return found if isinstance(found, Mapping) else {}


def _is_open_meteo(data: Any) -> bool:
    return isinstance(data, Mapping) and "hourly" in data and "hourly_units" in data


def _is_met_norway(data: Any) -> bool:
    return isinstance(data, Mapping) and "timeseries" in _inside(data)


def _is_weather_gov(data: Any) -> bool:
    found = _inside(data).get("temperature") if isinstance(data, Mapping) else None
    return isinstance(found, Mapping) and "values" in found


def _numbers(values: Sequence[Any], unit: Any, what: str) -> Array:
    """Numbers in our unit; null is NaN."""
    name = str(unit).removeprefix("wmoUnit:").removeprefix("unit:")
    if name not in _UNITS:
        raise BadInput(f"{what} is in {name!r}; known are {', '.join(_UNITS)}")
    if any(isinstance(one, bool) or not isinstance(one, int | float | None) for one in values):
        raise BadInput(f"{what} holds what is no number; fetch it again")
    factor, offset = _UNITS[name]
    read = np.array([np.nan if one is None else float(one) for one in values], dtype=float)
    return read * factor + offset


def _credit(key: str) -> str:
    return f"{SERVICES[key].name} ({SERVICES[key].terms})"


def _height(value: Any) -> float | None:
    return float(value) if isinstance(value, int | float) else None


def _made(stamp: str, what: str) -> float:
    time = datetime.fromisoformat(stamp)
    if time.tzinfo is None:
        raise BadInput(f"{what} is {stamp!r}: without offset nobody knows the hour")
    return time.timestamp()


def _open_meteo(data: Mapping[str, Any]) -> Record:
    """Arrays by the hour, local time by one offset; radiation is the mean of the hour before."""
    hourly, units = data["hourly"], data["hourly_units"]
    offset = int(data["utc_offset_seconds"])
    stamps = hourly["time"]
    if units.get("time") == "unixtime":
        seconds = [int(stamp) for stamp in stamps]
    else:
        seconds = [int(_made(f"{stamp}+00:00", "time")) - offset for stamp in stamps]
    values = {
        ours: _numbers(hourly[theirs], units[theirs], theirs)
        for theirs, ours in _OPEN_METEO.items()
        if theirs in hourly
    }
    if short := [name for name, column in values.items() if len(column) != len(seconds)]:
        raise BadInput(f"{short[0]} has another number of hours than time; fetch it again")
    last = len(seconds)
    if "global_radiation" in values:  # the last hour's is not told
        last -= 1
        values["global_radiation"] = values["global_radiation"][1:]
    return _record(
        seconds[:last],
        {name: column[:last] for name, column in values.items()},
        "open-meteo",
        offset_name(offset / 3600.0),
        _height(data.get("elevation")),
        None,
    )


def _met_norway(data: Mapping[str, Any]) -> Record:
    """Values at a time; by the hour for two to three days, then every six."""
    inside = data["properties"]
    units, series = inside["meta"]["units"], inside["timeseries"]
    seconds = [int(_made(one["time"], "time")) for one in series]
    told = [one["data"]["instant"]["details"] for one in series]
    values = {
        ours: _numbers([one.get(theirs) for one in told], units[theirs], theirs)
        for theirs, ours in _MET_NORWAY.items()
        if theirs in units
    }
    place = data.get("geometry", {}).get("coordinates", ())
    height = _height(place[2]) if len(place) > 2 else None
    issued = _made(inside["meta"]["updated_at"], "updated_at")
    return _record(seconds, values, "met-norway", "UTC", height, issued)


def _weather_gov(data: Mapping[str, Any]) -> Record:
    """Values that hold over intervals, each quantity with its own; a value is kept through them."""
    inside = data["properties"]
    issued = _made(inside["updateTime"], "updateTime")
    found = {
        ours: _held(inside[theirs], theirs)
        for theirs, ours in _WEATHER_GOV.items()
        if inside.get(theirs, {}).get("values")
    }
    if "temperature" not in found:
        raise BadInput("temperature is missing; fetch it again")
    hours = sorted(set().union(*found.values()))
    values = {
        name: np.array([by_hour.get(hour, np.nan) for hour in hours], dtype=float)
        for name, by_hour in found.items()
    }
    height = _height((inside.get("elevation") or {}).get("value"))
    return _record(hours, values, "weather-gov", "UTC", height, issued)


def _held(layer: Mapping[str, Any], what: str) -> dict[int, float]:
    """Value of each hour."""
    rows = layer["values"]
    numbers = _numbers([row["value"] for row in rows], layer["uom"], what)
    by_hour: dict[int, float] = {}
    for row, number in zip(rows, numbers.tolist(), strict=True):
        begin, _, length = row["validTime"].partition("/")
        told = _DURATION.fullmatch(length)
        if told is None or not any(told.groups()):
            raise BadInput(f"{what}: interval {row['validTime']!r} is not as ISO 8601 writes one")
        days, hours, minutes, seconds = (int(part or 0) for part in told.groups())
        lasts = timedelta(days=days, hours=hours, minutes=minutes, seconds=seconds)
        first = int(_made(begin, "validTime"))
        for hour in range(first, first + int(lasts.total_seconds()), 3600):
            by_hour[hour] = number
    return by_hour


def _record(
    seconds: Sequence[int],
    values: dict[str, Array],
    key: str,
    time_zone: str,
    height: float | None,
    issued: float | None,
) -> Record:
    if "temperature" not in values:
        raise BadInput("temperature is missing; ask the service for it")
    if not values.keys() & {"relative_humidity", "dew_point"}:
        raise BadInput("humidity is missing; ask the service for humidity or dew point")
    return Record(
        time=np.array(seconds, dtype="datetime64[s]"),
        values=values,
        time_zone=time_zone,
        lines=np.arange(1.0, len(seconds) + 1.0),
        row="hour",
        humidity_over="water",  # WMO-No. 8
        altitude=height,
        issued=issued,
        name=SERVICES[key].name,
        source=_credit(key),
    )


_READERS: tuple[tuple[Callable[[Any], bool], Callable[[Mapping[str, Any]], Record]], ...] = (
    (_is_open_meteo, _open_meteo),
    (_is_met_norway, _met_norway),
    (_is_weather_gov, _weather_gov),
)
