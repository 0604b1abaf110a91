"""
Moist air as the safety gate knows it: one formula of its own, independent of the adviser's.

Saturation after Magnus as WMO-No. 8 (2018), annex 4.B gives it: over water -45 to 60 °C, over
ice -65 to 0 °C; it agrees with the adviser's formula within 0.1 K of dew point.
"""

from __future__ import annotations

import math

__all__ = ["dew_point", "humidity_ratio", "wet_bulb"]


def _saturation(temperature: float) -> float:
    """Saturation vapour pressure, over ice below 0 °C. [Pa]"""
    if temperature >= 0.0:
        return 611.2 * math.exp(17.62 * temperature / (243.12 + temperature))
    return 611.2 * math.exp(22.46 * temperature / (272.62 + temperature))


def humidity_ratio(temperature: float, relative_humidity: float, pressure: float) -> float:
    """Water in moist air. [kg/kg dry air]"""
    vapour = relative_humidity * _saturation(temperature)
    return 0.62198 * vapour / (pressure - vapour)


def dew_point(ratio: float, pressure: float) -> float:
    """Dew point, frost point below 0 °C; -90 for dry air. [°C]"""
    vapour = pressure * ratio / (0.62198 + ratio)
    if math.isnan(vapour):
        return math.nan
    if vapour <= 0.01:
        return -90.0
    log = math.log(vapour / 611.2)
    return 243.12 * log / (17.62 - log) if log >= 0.0 else 272.62 * log / (22.46 - log)


def wet_bulb(temperature: float, ratio: float, pressure: float) -> float:
    """Wet bulb by the energy balance of adiabatic saturation, by bisection, to 0.001 K. [°C]"""
    low, high = temperature - 40.0, temperature
    while high - low > 1e-3:
        middle = 0.5 * (low + high)
        gain = humidity_ratio(middle, 1.0, pressure) - ratio
        if 1006.0 * (temperature - middle) > 2.501e6 * gain:
            low = middle
        else:
            high = middle
    return high
