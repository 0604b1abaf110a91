"""Unchecked solutions for moist air that several unknowns hang on: fog, pads, odd pairs."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from ventcalc.air import fit, kernel
from ventcalc.air.kernel import FREEZING
from ventcalc.air.numbers import log, maximum, minimum

__all__ = [
    "fog_temperature",
    "humidity_on_line",
    "temperature_from_humidities",
    "temperature_from_wet_bulb",
    "temperature_from_wet_bulb_and_humidity",
]


def temperature_from_humidities(w: Any, rh: Any, p: Any) -> Any:
    """Dry bulb at which humidity ratio ``w`` is relative humidity ``rh``."""
    return kernel.saturation_temperature(log(kernel.vapour_pressure(w, p) / rh), p)


def temperature_from_wet_bulb(wet: Any, w: Any, p: Any) -> Any:
    """Dry bulb of air of humidity ratio ``w`` and wet bulb ``wet``."""
    return kernel.temperature_from_enthalpy(kernel.saturated_balance(wet, w, p), w, p)


def temperature_from_wet_bulb_and_humidity(wet: Any, rh: Any, p: Any) -> Any:
    """Newton from the wet bulb: the balance is convex, so it overshoots once, then closes in."""
    cond = kernel.condensed_heat(wet)
    t = wet
    for _ in range(10):
        w = kernel.humidity_ratio(t, rh, p)
        rise = _rise(t, w) * (fit.VAPOUR[0] + fit.VAPOUR[1] * t - cond)
        gap = kernel.enthalpy(t, w, p) - kernel.saturated_balance(wet, w, p)
        t = t - gap / (kernel.heat_capacity(t, w, p) + rise)
    return t


def _rise(t: Any, w: Any) -> Any:
    """d W / d t at constant relative humidity."""
    return w * (1.0 + w / fit.MASS_RATIO) * kernel.log_saturation_slope(t)


def fog_temperature(h: Any, w: Any, p: Any) -> Any:
    """
    Temperature of saturated air with fog, of total enthalpy ``h`` and total water ``w``.

    The balance is that of the wet bulb, but with more water than the vapour. Solved once with
    water and once with ice; where neither fits, the fog is freezing at 0.01 °C.
    """
    start = kernel.wet_bulb_of(h, w, p)
    over_water = _fog_newton(start, h, w, p, kernel.water_heat)
    if type(over_water) is float and over_water >= FREEZING:
        return over_water
    over_ice = _fog_newton(start, h, w, p, kernel.ice_heat)
    return maximum(over_water, FREEZING) + minimum(over_ice - FREEZING, 0.0)


def _fog_newton(t: Any, h: Any, w: Any, p: Any, heat: Callable[[Any], Any]) -> Any:
    """Newton, until it stands still; the curve is smooth on either branch."""
    for _ in range(8):
        ws = kernel.saturated(t, p)
        cond = heat(t)
        f = kernel.enthalpy(t, ws, p) + (w - ws) * cond - h
        rise = _rise(t, ws) * (fit.VAPOUR[0] + fit.VAPOUR[1] * t - cond)
        step = f / (kernel.heat_capacity(t, ws, p) + rise + (w - ws) * 4186.0)
        t = t - step
        if _stands(step, 1e-9):
            break
    return t


def _stands(step: Any, small: float) -> bool:
    """Whether every step is small; NaN elements do not hold the others up."""
    return not np.any(abs(step) > small)


def humidity_on_line(t: Any, w: Any, p: Any, added: Any, rh: Any) -> Any:
    """
    Humidity ratio at which air that takes up water of enthalpy ``added`` reaches ``rh``.

    Newton on W: along the line the air cools, so W - W(t, rh) rises with W.
    """
    h = kernel.enthalpy(t, w, p)
    out = w
    for _ in range(10):
        now = kernel.temperature_from_enthalpy(h + (out - w) * added, out, p)
        goal = kernel.humidity_ratio(now, rh, p)
        fall = (added - fit.VAPOUR[0] - fit.VAPOUR[1] * now) / kernel.heat_capacity(now, out, p)
        step = (out - goal) / (1.0 - _rise(now, goal) * fall)
        out = out - step
        if _stands(step, 1e-12):
            break
    return out
