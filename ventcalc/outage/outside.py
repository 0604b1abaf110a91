"""Air outside from the failure on: as it is now, as somebody expects it, or by a weather file."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import UTC, datetime

import numpy as np
from numpy.typing import NDArray

from ventcalc.air.plain import humidity_ratio
from ventcalc.bay.description import Bay
from ventcalc.errors import BadInput
from ventcalc.outage.outage import HOURS
from ventcalc.season.surroundings import Ground, Outside, ground_of, hours_of
from ventcalc.weather import Weather

__all__ = ["steady_outside", "weather_outside"]

USUAL_HUMIDITY = 0.7
"""Outside, where nobody says; common practice, no source. [0-1]"""


def steady_outside(
    temperature: float, relative_humidity: float, pressure: float, time: float
) -> Sequence[Outside]:
    """Air outside that stays as it is, without sun; NaN takes 70 % relative humidity."""
    if math.isnan(temperature):
        raise BadInput(
            'outside: no temperature; write --outside "-20 degF", give outside_temp_c in the '
            "readings, or a weather file"
        )
    wet = USUAL_HUMIDITY if math.isnan(relative_humidity) else relative_humidity
    return [
        Outside(
            time=time,
            temperature=temperature,
            relative_humidity=wet,
            humidity_ratio=humidity_ratio(temperature, wet, pressure),
        )
    ]


def weather_outside(
    bay: Bay, weather: Weather, time: float
) -> tuple[Sequence[Outside], Ground, tuple[str, ...]]:
    """
    Two weeks of a weather file from a time on, the ground below, and what was assumed.

    A file that does not hold the time but a whole year gives the same days of its year.
    """
    stamps = weather.time.astype("datetime64[s]").astype(np.int64)
    whole = len(stamps) * weather.step >= 365 * 86400.0
    notes: tuple[str, ...] = ()
    at = time
    if not stamps[0] <= time < stamps[-1]:
        if not whole:
            raise BadInput(
                f"weather {weather.name!r} runs from {weather.time[0]} to {weather.time[-1]} UTC "
                f"and does not hold {datetime.fromtimestamp(time, UTC):%Y-%m-%d %H:%M} UTC; take "
                "a forecast from then on, or a whole year"
            )
        at = _same_day(stamps, time)
        notes = (f"Outside: the same days of {weather.name}, not a forecast.",)
    first = int(np.searchsorted(stamps, at, side="right")) - 1
    rows = first + (np.arange(HOURS) * 3600.0 / weather.step).astype(np.int64)
    rows = rows % len(stamps) if whole else rows[rows < len(stamps)]
    if len(rows) < HOURS:
        notes += (f"Outside: the file ends after {len(rows)} h; its last hour stays.",)
    hours, more = hours_of(weather, rows, float(np.mean(weather.pressure[rows])), weather)
    ground = ground_of(bay, weather) if whole else Ground()
    return hours, ground, (*notes, *more)


def _same_day(stamps: NDArray[np.int64], time: float) -> float:
    """The same day and hour of the file's own year. [s]"""
    year = 365.2425 * 86400.0
    return float(stamps[0] + (time - stamps[0]) % year)
