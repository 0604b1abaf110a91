"""
Formulas of moist air, unchecked: one body for a float and for a block of an array.

Every function takes the carrier ``ops`` first. ``x`` is ``t / (t + OFFSET)``, in which the
logarithm of the saturation pressure is nearly a straight line.
"""

from __future__ import annotations

from typing import Any

from ventcalc._ops import Ops
from ventcalc.physics import _air_fit as fit

__all__ = [
    "dew_point",
    "enhancement_factor",
    "enthalpy",
    "humidity_ratio",
    "humidity_ratio_from_wet_bulb",
    "log_saturation",
    "over_ice",
    "relative_humidity",
    "saturated",
    "saturation_pressure",
    "saturation_temperature",
    "temperature_from_enthalpy",
    "vapour_pressure",
    "volume",
    "wet_bulb",
]

FREEZING = 0.01
_X0 = FREEZING / (FREEZING + fit.OFFSET)


def _poly(c: tuple[float, ...], x: Any) -> Any:
    value = c[-1]
    for k in c[-2::-1]:
        value = value * x + k
    return value


def _poly_p(c: tuple[float, ...], d: tuple[float, ...], p: Any, x: Any) -> Any:
    """Polynomial in x whose coefficients are c + d p; ``d`` may be shorter than ``c``."""
    value: Any = 0.0
    for k in range(len(c) - 1, -1, -1):
        value = value * x + (c[k] + d[k] * p if k < len(d) else c[k])
    return value


def log_pure(ops: Ops, x: Any, step: Any = 0.0) -> Any:
    """Logarithm of the saturation pressure without air; ``step`` moves the freezing point."""
    u = x - _X0
    return _poly(fit.WATER, x) + ops.minimum(u * _poly(fit.ICE, u) + step, 0.0)


def log_enhancement(t: Any, p: Any) -> Any:
    """Logarithm of the enhancement factor over water."""
    return _poly_p(fit.ENHANCEMENT, fit.ENHANCEMENT_P, p, t)


def log_saturation(ops: Ops, t: Any, p: Any) -> Any:
    """
    Logarithm of the saturated vapour pressure in air at ``p``.

    The stable phase is the one with the lower vapour pressure, hence the minimum: ice and
    water meet, without a step, at the freezing point in air (0.00 °C at 1 atm), not at the
    triple point.
    """
    x = t / (t + fit.OFFSET)
    return log_pure(ops, x, fit.FREEZING_STEP * p) + log_enhancement(t, p)


def _log_slope(ops: Ops, t: Any, x: Any) -> Any:
    """d ln(p) / dt to about 0.1 %."""
    u = x - _X0
    water = fit.WATER[1] + x * (2 * fit.WATER[2] + x * (3 * fit.WATER[3] + x * 4 * fit.WATER[4]))
    c = fit.ICE
    ice = c[0] + u * (2 * c[1] + u * (3 * c[2] + u * (4 * c[3] + u * 5 * c[4])))
    both = water + ops.where(u < 0.0, ice, 0.0)
    return both * fit.OFFSET / ((t + fit.OFFSET) * (t + fit.OFFSET))


def ratio_from_pressure(vapour: Any, p: Any) -> Any:
    return fit.MASS_RATIO * vapour / (p - vapour)


def vapour_pressure(w: Any, p: Any) -> Any:
    return p * w / (fit.MASS_RATIO + w)


def saturated(ops: Ops, t: Any, p: Any) -> Any:
    """Humidity ratio at saturation."""
    return ratio_from_pressure(ops.exp(log_saturation(ops, t, p)), p)


def saturation_pressure(ops: Ops, t: Any) -> Any:
    return ops.exp(log_pure(ops, t / (t + fit.OFFSET)))


def enhancement_factor(ops: Ops, t: Any, p: Any) -> Any:
    return ops.exp(log_saturation(ops, t, p) - log_pure(ops, t / (t + fit.OFFSET)))


def over_ice(ops: Ops, t: Any, rh: Any) -> Any:
    x = t / (t + fit.OFFSET)
    return rh * ops.exp(_poly(fit.WATER, x) - log_pure(ops, x))


def humidity_ratio(ops: Ops, t: Any, rh: Any, p: Any) -> Any:
    return ratio_from_pressure(rh * ops.exp(log_saturation(ops, t, p)), p)


def relative_humidity(ops: Ops, t: Any, w: Any, p: Any) -> Any:
    return vapour_pressure(w, p) * ops.exp(-log_saturation(ops, t, p))


def dew_point(ops: Ops, w: Any, p: Any) -> Any:
    return saturation_temperature(ops, ops.log(vapour_pressure(w, p)), p)


def saturation_temperature(ops: Ops, wanted: Any, p: Any) -> Any:
    """
    Temperature at which ln(vapour pressure) is saturated in air at ``p``.

    Starts from the inverse polynomials, then two Newton steps.
    """
    y = wanted - (4.2e-8 * p + 6.4160876)
    x = ops.maximum(_poly(fit.WATER_INVERSE, y), _poly(fit.ICE_INVERSE, y))
    t = fit.OFFSET * x / (1.0 - x)
    for _ in range(2):
        x = t / (t + fit.OFFSET)
        t = t - (log_saturation(ops, t, p) - wanted) / _log_slope(ops, t, x)
    return t


def _enthalpy_parts(t: Any, p: Any) -> tuple[Any, Any, Any, Any]:
    return (
        _poly_p(fit.AIR, fit.AIR_P, p, t),
        _poly_p(fit.VAPOUR, fit.VAPOUR_P, p, t),
        _poly(fit.VAPOUR_2, t) * p,
        _poly(fit.VAPOUR_3, t) * p,
    )


def enthalpy(t: Any, w: Any, p: Any) -> Any:
    a, b, c, d = _enthalpy_parts(t, p)
    return a + w * (b + w * (c + w * d))


def heat_capacity(t: Any, w: Any, p: Any) -> Any:
    """d h / d t at constant humidity ratio, from the leading terms (to about 0.2 %)."""
    air = fit.AIR[1] + fit.AIR_P[1] * p + 2.0 * t * fit.AIR[2]
    return air + w * (fit.VAPOUR[1] + fit.VAPOUR_P[1] * p + 2.0 * t * fit.VAPOUR[2])


def temperature_from_enthalpy(h: Any, w: Any, p: Any) -> Any:
    t = (h - fit.AIR[0] - w * fit.VAPOUR[0]) / (fit.AIR[1] + w * fit.VAPOUR[1])
    for _ in range(4):
        t = t - (enthalpy(t, w, p) - h) / heat_capacity(t, w, p)
    return t


def volume(t: Any, w: Any, p: Any) -> Any:
    ideal = fit.GAS * (t + 273.15) * (1.0 + w / fit.MASS_RATIO) / p
    excess = _poly(fit.VOLUME, t) + w * (_poly(fit.VOLUME_1, t) + w * _poly(fit.VOLUME_2, t))
    return ideal + excess


def water_heat(t: Any) -> Any:
    """Enthalpy of liquid water."""
    return _poly(fit.WATER_HEAT, t)


def ice_heat(t: Any) -> Any:
    """Enthalpy of ice."""
    return _poly(fit.ICE_HEAT, t)


def condensed_heat(ops: Ops, t: Any) -> Any:
    """Enthalpy of ice below 0.01 °C, of water from there on."""
    return ops.where(t < FREEZING, ice_heat(t), water_heat(t))


def is_iced(ops: Ops, h: Any, w: Any, p: Any) -> Any:
    """Whether a wet wick would freeze: the balance over water has its root below 0.01 °C."""
    ws = saturated(ops, FREEZING, p)
    return h < enthalpy(FREEZING, ws, p) - (ws - w) * water_heat(FREEZING)


def saturated_balance(ops: Ops, t: Any, w: Any, p: Any) -> Any:
    """Enthalpy of air of humidity ratio ``w`` whose wet bulb is ``t`` (ice below 0.01 °C)."""
    ws = saturated(ops, t, p)
    return enthalpy(t, ws, p) - (ws - w) * condensed_heat(ops, t)


def humidity_ratio_from_wet_bulb(ops: Ops, t: Any, wet: Any, p: Any) -> Any:
    """The balance of the wet bulb, solved for W: linear but for the small W^2 terms."""
    w = saturated(ops, wet, p)
    for _ in range(4):
        cond = condensed_heat(ops, wet)
        excess = saturated_balance(ops, wet, w, p) - enthalpy(t, w, p)
        w = w + excess / (fit.VAPOUR[0] + fit.VAPOUR[1] * t - cond)
    return w


def wet_bulb_from(ops: Ops, start: Any, h: Any, w: Any, p: Any, steps: int = 4) -> Any:
    """Solve h_s(t) - (W_s(t) - W) h_cond(t) = h by Halley steps from ``start``."""
    iced = is_iced(ops, h, w, p)
    t = start
    for _ in range(steps):
        x = t / (t + fit.OFFSET)
        slope = _log_slope(ops, t, x)
        ws = saturated(ops, t, p)
        rise = ws * (1.0 + ws / fit.MASS_RATIO) * slope
        cond = ops.where(iced, ice_heat(t), water_heat(t))
        heat = ops.where(iced, 2100.0, 4186.0)
        latent = fit.VAPOUR[0] + fit.VAPOUR[1] * t - cond
        f = enthalpy(t, ws, p) - (ws - w) * cond - h
        f1 = heat_capacity(t, ws, p) + rise * latent - (ws - w) * heat
        f2 = latent * rise * (slope * (1.0 + 2.0 * ws / fit.MASS_RATIO) - 2.0 / (t + fit.OFFSET))
        t = t - f * f1 / (f1 * f1 - 0.5 * f * f2)
    return t


def wet_bulb(ops: Ops, t: Any, w: Any, p: Any) -> Any:
    """Wet bulb of air at ``t``; the start is a point between dew point and dry bulb."""
    h = enthalpy(t, w, p)
    dew = dew_point(ops, ops.maximum(w, 1e-6), p)
    return wet_bulb_from(ops, dew + 0.5 * (t - dew), h, w, p)


def temperature_from_humidities(ops: Ops, w: Any, rh: Any, p: Any) -> Any:
    """Dry bulb at which humidity ratio ``w`` is relative humidity ``rh``."""
    return saturation_temperature(ops, ops.log(vapour_pressure(w, p) / rh), p)


def temperature_from_wet_bulb(ops: Ops, wet: Any, w: Any, p: Any) -> Any:
    return temperature_from_enthalpy(saturated_balance(ops, wet, w, p), w, p)


def temperature_from_wet_bulb_and_humidity(ops: Ops, wet: Any, rh: Any, p: Any) -> Any:
    """Newton from the wet bulb: the balance is convex, so it overshoots once, then closes in."""
    cond = condensed_heat(ops, wet)
    t = wet
    for _ in range(10):
        w = humidity_ratio(ops, t, rh, p)
        slope = w * (1.0 + w / fit.MASS_RATIO) * _log_slope(ops, t, t / (t + fit.OFFSET))
        latent = fit.VAPOUR[0] + fit.VAPOUR[1] * t - cond
        gap = enthalpy(t, w, p) - saturated_balance(ops, wet, w, p)
        t = t - gap / (heat_capacity(t, w, p) + slope * latent)
    return t


def fog_temperature(ops: Ops, h: Any, w: Any, p: Any) -> Any:
    """
    Temperature of saturated air with fog, of total enthalpy ``h`` and total water ``w``.

    The balance is that of the wet bulb, but with more water than the vapour. Solved once with
    water and once with ice; where neither fits, the fog is freezing at 0.01 °C.
    """
    start = temperature_from_enthalpy(h, w, p)
    over_water = _fog_newton(ops, start, h, w, p, water_heat)
    over_ice = _fog_newton(ops, start, h, w, p, ice_heat)
    return ops.maximum(over_water, FREEZING) + ops.minimum(over_ice - FREEZING, 0.0)


def _fog_newton(ops: Ops, t: Any, h: Any, w: Any, p: Any, cond_heat: Any) -> Any:
    for _ in range(8):
        ws = saturated(ops, t, p)
        rise = ws * (1.0 + ws / fit.MASS_RATIO) * _log_slope(ops, t, t / (t + fit.OFFSET))
        cond = cond_heat(t)
        f = enthalpy(t, ws, p) + (w - ws) * cond - h
        f1 = heat_capacity(t, ws, p) + rise * (fit.VAPOUR[0] + fit.VAPOUR[1] * t - cond)
        t = t - f / (f1 + (w - ws) * 4186.0)
    return t


def humidity_at_saturation_line(ops: Ops, t: Any, w: Any, p: Any, added: Any, rh: Any) -> Any:
    """
    Humidity ratio at which air that takes up water of enthalpy ``added`` reaches ``rh``.

    Newton on W: temperature falls along the line, so W - W(t, rh) rises with W. Starts from
    the humidity at the entering temperature, from where the convex curve is approached from
    one side.
    """
    h = enthalpy(t, w, p)
    out = w
    for _ in range(10):
        now = temperature_from_enthalpy(h + (out - w) * added, out, p)
        goal = humidity_ratio(ops, now, rh, p)
        rise = goal * (1.0 + goal / fit.MASS_RATIO) * _log_slope(ops, now, now / (now + fit.OFFSET))
        fall = (added - fit.VAPOUR[0] - fit.VAPOUR[1] * now) / heat_capacity(now, out, p)
        out = out - (out - goal) / (1.0 - rise * fall)
    return out
