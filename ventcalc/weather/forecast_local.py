"""What a site's own outside readings make of a forecast: its bias taken off, or yesterday again."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ventcalc import air
from ventcalc.errors import BadInput
from ventcalc.weather.files import Weather
from ventcalc.weather.forecast import Forecast
from ventcalc.weather.forecast_errors import with_errors
from ventcalc.weather.parts import steps_of
from ventcalc.weather.record import Array

__all__ = ["ABSURD", "Bias", "corrected", "learn_bias", "like_yesterday"]

DAY = 86400.0
LEADS = (24.0, 48.0, 96.0)
"""Where classes of hours ahead end; the last one goes on. [h]"""
MEMORY = 7 * DAY
"""
Time in which a difference loses to 1/e of its weight: a week, over which the filter of Galanis and
Anadranistakis (2002) learns. [s]
"""
PRIOR = 24.0
"""Weight of the belief that there is no bias: that many hours without one. [h]"""
ABSURD = 12.0
"""Mean difference from which place, unit or time zone must be mixed up. [K]"""
ENOUGH = 6
"""Hours together below which neither bias nor absurdity is told. [h]"""


@dataclass(frozen=True, kw_only=True)
class Bias:
    """Forecast less reading, by class of hours ahead."""

    temperature_difference: tuple[float, ...]
    """[K]"""
    dew_point_difference: tuple[float, ...]
    """[K]"""
    hours: int
    """Hours of forecasts and readings together that it rests on."""


def learn_bias(past: Sequence[Forecast], observed: Weather) -> Bias:
    """Local bias of a forecast."""
    read = _seconds(observed)
    sums = np.zeros((len(LEADS) + 1, 3))
    total = 0
    for one in past:
        _, mine, theirs = np.intersect1d(_seconds(one.weather), read, return_indices=True)
        mine, theirs = (rows[read[theirs] >= one.issued] for rows in (mine, theirs))
        if len(mine) < ENOUGH:
            continue
        total += len(mine)
        warm = one.weather.temperature[mine] - observed.temperature[theirs]
        moist = _dew(one.weather)[mine] - _dew(observed)[theirs]
        if abs(warm.mean()) > ABSURD:
            raise BadInput(
                f"forecast: {warm.mean():+.0f} K off the site's own readings over {len(mine)} h; "
                "are place, unit and time zone right?"
            )
        weight = np.exp((read[theirs] - read[-1]) / MEMORY)
        group = np.searchsorted(LEADS, (read[theirs] - one.issued) / 3600.0, side="right")
        for column, values in enumerate((np.ones(len(mine)), warm, moist)):
            np.add.at(sums[:, column], group, weight * values)
    means = sums[:, 1:] / (sums[:, :1] + PRIOR)
    for k in range(1, len(means)):
        if sums[k, 0] == 0.0:
            means[k] = means[k - 1]
    return Bias(
        temperature_difference=tuple(means[:, 0].tolist()),
        dew_point_difference=tuple(means[:, 1].tolist()),
        hours=total,
    )


def corrected(forecast: Forecast, bias: Bias) -> Forecast:
    """The forecast less its local bias, with a note that says how much."""
    if not bias.hours:
        note = "forecast: no hours together with the site's readings; nothing is corrected"
        return replace(forecast, notes=(*forecast.notes, note))
    ahead = (_seconds(forecast.weather) - forecast.issued) / 3600.0
    group = np.searchsorted(LEADS, ahead, side="right")
    warm, moist = (
        np.array(part)[group] for part in (bias.temperature_difference, bias.dew_point_difference)
    )
    note = (
        f"forecast: {-warm[0]:+.1f} K (dew point {-moist[0]:+.1f} K) in its first day, as the "
        f"site's own readings over {bias.hours} h ask for"
    )
    return replace(
        forecast,
        weather=with_errors(forecast.weather, -warm, -moist),
        notes=(*forecast.notes, note),
    )


def like_yesterday(observed: Weather, time: float, hours: int = 168) -> Forecast:
    """The last day of the site's own readings over and over, where there is no forecast."""
    step = int(observed.step)
    read, day = _seconds(observed), round(DAY) // step
    last = int(np.searchsorted(read, time, side="right"))
    if last < day or time - read[last - 1] > 3 * 3600.0:
        raise BadInput("observed: holds no whole day up to the time of the state")
    rows = last - day + np.arange(hours * 3600 // step) % day
    weather = steps_of(observed, rows)
    first = int(read[last - 1]) + step
    when = np.datetime64(first, "s") + np.arange(len(rows)) * np.timedelta64(step, "s")
    return Forecast(
        weather=replace(weather, time=when, source="no forecast: the site's last day repeated"),
        issued=time,
        notes=("NO FORECAST: the last day of the site's own readings is repeated; trust no hours",),
    )


def _seconds(weather: Weather) -> NDArray[np.float64]:
    found: Array = weather.time.astype("datetime64[s]").astype(np.int64).astype(float)
    return found


def _dew(weather: Weather) -> Array:
    found: Array = air.dew_point(weather.humidity_ratio, weather.pressure)
    return found
