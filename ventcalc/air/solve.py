"""Unchecked solutions for moist air that several unknowns hang on: fog, pads, odd pairs."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from ventcalc._ops import SCALAR, Ops
from ventcalc.air import fit as fit
from ventcalc.air import kernel as kernel
from ventcalc.air.kernel import FREEZING

__all__ = [
    "fog_temperature",
    "humidity_on_line",
    "temperature_from_humidities",
    "temperature_from_wet_bulb",
    "temperature_from_wet_bulb_and_humidity",
]


def temperature_from_humidities(ops: Ops, w: Any, rh: Any, p: Any) -> Any:
    """Dry bulb at which humidity ratio ``w`` is relative humidity ``rh``."""
    return kernel.saturation_temperature(ops, ops.log(kernel.vapour_pressure(w, p) / rh), p)


def temperature_from_wet_bulb(ops: Ops, wet: Any, w: Any, p: Any) -> Any:
    """Dry bulb of air of humidity ratio ``w`` and wet bulb ``wet``."""
    return kernel.temperature_from_enthalpy(kernel.saturated_balance(ops, wet, w, p), w, p)


def temperature_from_wet_bulb_and_humidity(ops: Ops, wet: Any, rh: Any, p: Any) -> Any:
    """Newton from the wet bulb: the balance is convex, so it overshoots once, then closes in."""
    cond = kernel.condensed_heat(ops, wet)
    t = wet
    for _ in range(10):
        w = kernel.humidity_ratio(ops, t, rh, p)
        rise = _rise(ops, t, w) * (fit.VAPOUR[0] + fit.VAPOUR[1] * t - cond)
        gap = kernel.enthalpy(t, w, p) - kernel.saturated_balance(ops, wet, w, p)
        t = t - gap / (kernel.heat_capacity(t, w, p) + rise)
    return t


def _rise(ops: Ops, t: Any, w: Any) -> Any:
    """d W / d t at constant relative humidity."""
    return w * (1.0 + w / fit.MASS_RATIO) * kernel.log_saturation_slope(ops, t)


def fog_temperature(ops: Ops, h: Any, w: Any, p: Any) -> Any:
    """
    Temperature of saturated air with fog, of total enthalpy ``h`` and total water ``w``.

    The balance is that of the wet bulb, but with more water than the vapour. Solved once with
    water and once with ice; where neither fits, the fog is freezing at 0.01 °C.
    """
    start = kernel.wet_bulb_of(ops, h, w, p)
    over_water = _fog_newton(ops, start, h, w, p, kernel.water_heat)
    if ops is SCALAR and over_water >= FREEZING:
        return over_water
    over_ice = _fog_newton(ops, start, h, w, p, kernel.ice_heat)
    return ops.maximum(over_water, FREEZING) + ops.minimum(over_ice - FREEZING, 0.0)


def _fog_newton(ops: Ops, t: Any, h: Any, w: Any, p: Any, heat: Callable[[Any], Any]) -> Any:
    """Newton, until it stands still; the curve is smooth on either branch."""
    for _ in range(8):
        ws = kernel.saturated(ops, t, p)
        cond = heat(t)
        f = kernel.enthalpy(t, ws, p) + (w - ws) * cond - h
        rise = _rise(ops, t, ws) * (fit.VAPOUR[0] + fit.VAPOUR[1] * t - cond)
        step = f / (kernel.heat_capacity(t, ws, p) + rise + (w - ws) * 4186.0)
        t = t - step
        if _stands(ops, step, 1e-9):
            break
    return t


def _stands(ops: Ops, step: Any, small: float) -> bool:
    """Whether every step is small; NaN elements do not hold the others up."""
    if ops is SCALAR:
        return not abs(step) > small
    return not (abs(step) > small).any()


def humidity_on_line(ops: Ops, t: Any, w: Any, p: Any, added: Any, rh: Any) -> Any:
    """
    Humidity ratio at which air that takes up water of enthalpy ``added`` reaches ``rh``.

    Newton on W: along the line the air cools, so W - W(t, rh) rises with W.
    """
    h = kernel.enthalpy(t, w, p)
    out = w
    for _ in range(10):
        now = kernel.temperature_from_enthalpy(h + (out - w) * added, out, p)
        goal = kernel.humidity_ratio(ops, now, rh, p)
        fall = (added - fit.VAPOUR[0] - fit.VAPOUR[1] * now) / kernel.heat_capacity(now, out, p)
        step = (out - goal) / (1.0 - _rise(ops, now, goal) * fall)
        out = out - step
        if _stands(ops, step, 1e-12):
            break
    return out
