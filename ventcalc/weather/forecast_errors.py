"""How forecasts err: an emulator of the error of temperature and dew point by the hour ahead."""

from __future__ import annotations

from dataclasses import replace
from typing import NamedTuple

import numpy as np

from ventcalc import air
from ventcalc.errors import BadInput, check_range
from ventcalc.weather.files import Weather
from ventcalc.weather.record import Array

__all__ = ["LEVELS", "erred", "error_of_running_mean", "forecast_errors", "with_errors"]


class _Level(NamedTuple):
    """Parameters of e(1) = F0 + K0 w, e(k+1) = F e(k) + K w + mu, w standard normal."""

    F0: float
    """[K]"""
    K0: float
    """[K]"""
    F: float
    """[1]"""
    K: float
    """[K]"""
    mu: float
    """[K]"""


LEVELS = {
    "low": _Level(0.0, 0.6, 0.92, 0.4, 0.0),
    "medium": _Level(0.15, 1.2, 0.93, 0.6, 0.0),
    "high": _Level(-0.58, 1.5, 0.95, 0.7, -0.015),
}
"""
Of dry bulb, up to 48 h ahead: emulator and parameters of BOPTEST (github.com/ibpsa/
project1-boptest, forecast/forecast_uncertainty_params.json).
"""
TOGETHER = 0.6
"""
Correlation of the errors of dew point and temperature, of equal size: assumed, no source (a wrong
air mass is wrong in both, a wrong cloud cover in temperature alone).
"""
KNOWN, DOUBLED = 48, 168
"""The emulator's end, and the hour at which the error is taken as twice that: common practice, no
source; the error of numerical forecasts about doubles from the second to the seventh day. [h]"""


def _growth(hours: int) -> Array:
    ahead = np.arange(1, hours + 1)
    return 1.0 + np.maximum(ahead - KNOWN, 0) / (DOUBLED - KNOWN)


def _series(noise: Array, level: _Level) -> Array:
    """Errors from noise, both (..., hours)."""
    error = np.empty_like(noise)
    error[..., 0] = level.F0 + level.K0 * noise[..., 0]
    for k in range(1, noise.shape[-1]):
        error[..., k] = level.F * error[..., k - 1] + level.K * noise[..., k] + level.mu
    grown: Array = error * _growth(noise.shape[-1])
    return grown


def _level(name: str) -> _Level:
    if name not in LEVELS:
        raise BadInput(f"forecast errors {name!r}: write one of {', '.join(LEVELS)}")
    return LEVELS[name]


def forecast_errors(
    hours: int, *, level: str = "medium", seed: int = 0, runs: int = 1, bias: bool = True
) -> tuple[Array, Array]:
    """Errors of a forecast, the same for the same seed. [K]"""
    check_range("hours", hours, 1, 10000)
    check_range("runs", runs, 1, 100000)
    chosen = _level(level)
    if not bias:
        chosen = chosen._replace(F0=0.0, mu=0.0)
    noise = np.stack(
        [
            np.random.default_rng([seed, pair]).normal(size=(2, hours))
            for pair in range(-(-runs // 2))
        ]
    )
    noise = np.stack([noise, -noise], axis=1).reshape(-1, 2, hours)[:runs]
    own = np.sqrt(1.0 - TOGETHER**2)
    warm = _series(noise[:, 0], chosen)
    moist = _series(TOGETHER * noise[:, 0] + own * noise[:, 1], chosen)
    return warm, moist


def error_of_running_mean(hours: int, *, level: str = "medium", lead: int = 0) -> Array:
    """
    An error whose mean up to any hour is that mean's standard uncertainty: a pile feels means. [K]
    """
    chosen = _level(level)._replace(F0=0.0, mu=0.0)
    by_noise = _series(np.eye(lead + hours), chosen)[:, lead:]  # (noise of an hour, error at one)
    of_sum = np.sqrt((np.cumsum(by_noise, axis=1) ** 2).sum(axis=0))
    shape: Array = np.diff(of_sum, prepend=0.0)
    return shape


def with_errors(
    weather: Weather, temperature_difference: Array, dew_point_difference: Array
) -> Weather:
    """Weather plus errors; a dew point stays at or below its temperature."""
    temperature, ratio = erred(
        weather.temperature, weather.humidity_ratio, weather.pressure,
        temperature_difference, dew_point_difference,
    )  # fmt: skip
    relative = air.relative_humidity(temperature, ratio, weather.pressure)
    return replace(
        weather,
        temperature=temperature,
        humidity_ratio=ratio,
        relative_humidity=np.minimum(relative, 1.0),
    )


def erred(
    temperature: Array,
    humidity_ratio: Array,
    pressure: Array | float,
    temperature_difference: Array,
    dew_point_difference: Array,
) -> tuple[Array, Array]:
    """Temperature [°C] and humidity ratio [kg/kg] plus errors."""
    dew = air.dew_point(humidity_ratio, pressure) + dew_point_difference
    warm = np.clip(temperature + temperature_difference, -50.0, 60.0)
    return warm, air.saturation_humidity_ratio(np.clip(dew, -50.0, warm), pressure)
