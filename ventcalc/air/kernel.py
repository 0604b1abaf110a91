"""
Formulas of moist air, unchecked: for a float and for a block of an array.

Sums are written in place, as the time of an array goes into passes over memory: only into arrays
made here. The saturation of a float is that of the hour (``plain``), by the same polynomials.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache
from typing import Any

from ventcalc.air import fit, plain
from ventcalc.air.formula import (
    cubic,
    humidity_of_vapour,
    linear,
    place,
    quadratic,
    quartic,
    sextic,
    vapour_pressure,
)
from ventcalc.air.numbers import everywhere, exp, log, maximum, minimum, where

__all__ = [
    "condensed_heat",
    "dew_point",
    "enhancement_factor",
    "enthalpy",
    "humidity_ratio",
    "humidity_ratio_from_wet_bulb",
    "log_saturation",
    "log_saturation_slope",
    "of_humidity_ratio",
    "of_relative_humidity",
    "over_ice",
    "relative_humidity",
    "saturated",
    "saturated_balance",
    "saturation_and_slope",
    "saturation_pressure",
    "saturation_temperature",
    "temperature_from_enthalpy",
    "vapour_pressure",
    "volume",
    "wet_bulb",
]

FREEZING = plain.FREEZING
_X0 = plain.FREEZING_PLACE
_WATER_CAPACITY = 4186.0
_ICE_CAPACITY = 2100.0
_SLOPE, _ICE_SLOPE = plain.WATER_SLOPE, plain.ICE_SLOPE


# Saturated air at 0.01 °C: vapour pressure, and enthalpy over that of liquid water.
_MELTING_0 = exp(quartic(fit.WATER, _X0) + quartic(fit.ENHANCEMENT, FREEZING))
_MELTING_1 = _MELTING_0 * quartic(fit.ENHANCEMENT_P, FREEZING)
_MELTING_AIR = cubic(fit.AIR, FREEZING), quadratic(fit.AIR_P, FREEZING)
_MELTING_WATER = cubic(fit.WATER_HEAT, FREEZING)
_MELTING_VAPOUR = (
    quadratic(fit.VAPOUR, FREEZING) - _MELTING_WATER,
    quadratic(fit.VAPOUR_P, FREEZING),
)
_MELTING_2 = quadratic(fit.VAPOUR_2, FREEZING)


def _per_pressure(make: Callable[[Any], Any]) -> Callable[[Any], Any]:
    """Coefficients at one pressure; remembered for a single number, made anew for an array."""
    remembered = lru_cache(maxsize=64)(make)

    def at(p: Any) -> Any:
        return remembered(p) if type(p) is float else make(p)

    return at


def _with_p(c: tuple[float, ...], d: tuple[float, ...], p: Any) -> tuple[Any, ...]:
    """c + d p, term by term; ``d`` may be shorter than ``c``."""
    return (*[a + b * p for a, b in zip(c, d, strict=False)], *c[len(d) :])


@_per_pressure
def _enhancement_at(p: Any) -> Any:
    return _with_p(fit.ENHANCEMENT, fit.ENHANCEMENT_P, p)


@_per_pressure
def _inverse_enhancement_at(p: Any) -> Any:
    return _with_p(fit.INVERSE_ENHANCEMENT, fit.INVERSE_ENHANCEMENT_P, p)


@_per_pressure
def _caloric_at(p: Any) -> Any:
    return (
        _with_p(fit.AIR, fit.AIR_P, p),
        _with_p(fit.VAPOUR, fit.VAPOUR_P, p),
        tuple([c * p for c in fit.VAPOUR_2]),
        tuple([c * p for c in fit.VAPOUR_3]),
    )


# --- saturation -------------------------------------------------------------------------


def _log_pure(x: Any, step: Any) -> Any:
    """Logarithm of the saturation pressure without air; ``step`` moves the freezing point."""
    value = quartic(fit.WATER, x)
    u = x - _X0
    if everywhere(u >= 0.0):  # only to save the time of terms that are zero there
        return value
    ice = quartic(fit.ICE, u)
    ice *= u
    ice += step
    value += minimum(ice, 0.0)
    return value


def log_saturation(t: Any, p: Any) -> Any:
    """
    Logarithm of the saturated vapour pressure in air at ``p``.

    The stable phase is the one with the lower vapour pressure, hence the minimum: ice and
    water meet, without a step, at the freezing point in air (0.00 °C at 1 atm), not at the
    triple point.
    """
    if type(t) is float and type(p) is float:
        return plain.log_saturation(t, p)
    value = _log_pure(place(t), fit.FREEZING_STEP * p)
    value += quartic(_enhancement_at(p), t)
    return value


def log_saturation_slope(t: Any) -> Any:
    """Derivative of ``log_saturation`` to temperature, to about 0.05 %."""
    return _slope(fit.OFFSET / (t + fit.OFFSET))


def _slope(rest: Any) -> Any:
    """The same, of ``rest`` = 1 - x."""
    x = 1.0 - rest
    value = cubic(_SLOPE, x)
    u = x - _X0
    if not everywhere(u >= 0.0):
        value += where(u < 0.0, quartic(_ICE_SLOPE, u), 0.0)
    value *= rest
    value *= rest
    value *= 1.0 / fit.OFFSET
    return value


def saturation_and_slope(t: Any, p: Any) -> tuple[Any, Any]:
    """``log_saturation`` and its slope with one division."""
    rest = fit.OFFSET / (t + fit.OFFSET)
    if type(t) is float and type(p) is float:
        return plain.log_saturation(t, p), plain.saturation_slope(t)
    value = _log_pure(1.0 - rest, fit.FREEZING_STEP * p)
    value += quartic(_enhancement_at(p), t)
    return value, _slope(rest)


def saturation_pressure(t: Any) -> Any:
    return exp(_log_pure(place(t), 0.0))


def enhancement_factor(t: Any, p: Any) -> Any:
    return exp(log_saturation(t, p) - _log_pure(place(t), 0.0))


def over_ice(t: Any, rh: Any) -> Any:
    """Relative humidity over the stable phase from that over water."""
    x = place(t)
    return rh * exp(quartic(fit.WATER, x) - _log_pure(x, 0.0))


def saturated(t: Any, p: Any) -> Any:
    """Humidity ratio at saturation."""
    return humidity_of_vapour(exp(log_saturation(t, p)), p)


def saturation_temperature(wanted: Any, p: Any) -> Any:
    """
    Temperature at which ln(vapour pressure) is saturated in air at ``p``.

    Starts within 2 mK from the inverse polynomials, then takes one Newton step.
    """
    y = wanted - fit.LOG_TRIPLE
    y = y - cubic(_inverse_enhancement_at(p), y)
    x = quartic(fit.WATER_INVERSE, y)
    y -= fit.FREEZING_STEP * p
    x = maximum(x, quartic(fit.ICE_INVERSE, y))
    t = fit.OFFSET * x / (1.0 - x)
    value, slope = saturation_and_slope(t, p)
    return t - (value - wanted) / slope


# --- humidity ---------------------------------------------------------------------------


def humidity_ratio(t: Any, rh: Any, p: Any) -> Any:
    return humidity_of_vapour(rh * exp(log_saturation(t, p)), p)


def relative_humidity(t: Any, w: Any, p: Any) -> Any:
    return vapour_pressure(w, p) * exp(-log_saturation(t, p))


def dew_point(w: Any, p: Any) -> Any:
    return saturation_temperature(log(vapour_pressure(w, p)), p)


# --- heat and volume --------------------------------------------------------------------


def enthalpy(t: Any, w: Any, p: Any) -> Any:
    air, vapour, vapour_2, vapour_3 = _caloric_at(p)
    return _assemble(
        cubic(air, t), quadratic(vapour, t), quadratic(vapour_2, t), linear(vapour_3, t), w
    )


def _assemble(air: Any, vapour: Any, vapour_2: Any, vapour_3: Any, w: Any) -> Any:
    value = vapour_3 * w
    value += vapour_2
    value *= w
    value += vapour
    value *= w
    value += air
    return value


def heat_capacity(t: Any, w: Any, p: Any) -> Any:
    """d h / d t at constant humidity ratio, from the leading terms (to about 0.2 %)."""
    air, vapour, _, _ = _caloric_at(p)
    return _capacity(air, vapour, t, w)


def _capacity(air: Any, vapour: Any, t: Any, w: Any) -> Any:
    twice = 2.0 * t
    return air[1] + twice * air[2] + w * (vapour[1] + twice * vapour[2])


def temperature_from_enthalpy(h: Any, w: Any, p: Any) -> Any:
    t = (h - fit.AIR[0] - w * fit.VAPOUR[0]) / (fit.AIR[1] + w * fit.VAPOUR[1])
    for _ in range(4):
        t = t - (enthalpy(t, w, p) - h) / heat_capacity(t, w, p)
    return t


def volume(t: Any, w: Any, p: Any) -> Any:
    ideal = fit.GAS * (t + 273.15) * (1.0 + w / fit.MASS_RATIO) / p
    excess = linear(fit.VOLUME_2, t) * w
    excess += linear(fit.VOLUME_1, t)
    excess *= w
    excess += quadratic(fit.VOLUME, t)
    excess += ideal
    return excess


def water_heat(t: Any) -> Any:
    """Enthalpy of liquid water."""
    return cubic(fit.WATER_HEAT, t)


def ice_heat(t: Any) -> Any:
    """Enthalpy of ice."""
    return quadratic(fit.ICE_HEAT, t)


def condensed_heat(t: Any) -> Any:
    """Enthalpy of ice below 0.01 °C, of water from there on."""
    return _heat_of(t < FREEZING, t)


def _heat_of(iced: Any, t: Any) -> Any:
    if iced is False:
        return water_heat(t)
    return where(iced, ice_heat(t), water_heat(t))


# --- wet bulb ---------------------------------------------------------------------------


_WET_BULB = tuple(zip(fit.WET_BULB, fit.WET_BULB_P, fit.WET_BULB_P_P, strict=True))
_ICE_BULB = tuple(zip(fit.ICE_BULB, fit.ICE_BULB_P, fit.ICE_BULB_P_P, strict=True))


@_per_pressure
def _wet_bulb_at(p: Any) -> Any:
    """Start polynomials; humidity ratio of saturated air at 0.01 °C, and where ice begins."""
    water = tuple([a + p * (b + p * c) for a, b, c in _WET_BULB])
    ice = tuple([a + p * (b + p * c) for a, b, c in _ICE_BULB])
    air, vapour = _MELTING_AIR, _MELTING_VAPOUR
    melting = humidity_of_vapour(_MELTING_0 + _MELTING_1 * p, p)
    limit = air[0] + air[1] * p + melting * (vapour[0] + (vapour[1] + _MELTING_2 * melting) * p)
    return water, ice, melting, limit


def wet_bulb(t: Any, w: Any, p: Any) -> Any:
    return wet_bulb_of(enthalpy(t, w, p), w, p)


def wet_bulb_of(h: Any, w: Any, p: Any) -> Any:
    """
    Wet bulb of air of enthalpy ``h``: the root t of h_s(t) - (W_s(t) - W) h_cond(t) = h.

    The wick is iced where the balance over water has its root below 0.01 °C. Starts from a
    polynomial in the enthalpy, then takes one Halley step.
    """
    water, ice, melting, limit = _wet_bulb_at(p)
    eta = h - w * _MELTING_WATER
    eta -= limit
    iced = eta < 0.0
    eta += where(iced, (w - melting) * fit.ICE_SHIFT, 0.0)
    eta *= 1e-5
    drift = w * (_WATER_CAPACITY * 1e-5)
    guess = _wet_bulb_start(eta, water, ice)
    guess = _wet_bulb_start(eta - drift * guess, water, ice)
    return _halley(guess, iced, h, w, p)


def _wet_bulb_start(eta: Any, water: Any, ice: Any) -> Any:
    value = sextic(water, eta)
    if not (type(eta) is float and eta >= 0.0):
        below = minimum(eta, 0.0)
        value += below * cubic(ice, below)
    return value


def _halley(t: Any, iced: Any, h: Any, w: Any, p: Any) -> Any:
    value, slope = saturation_and_slope(t, p)
    ws = humidity_of_vapour(exp(value), p)
    air, vapour, vapour_2, vapour_3 = _caloric_at(p)
    carried = quadratic(vapour, t)
    condensed = _heat_of(iced, t)
    lack = ws - w
    f = _assemble(cubic(air, t), carried, quadratic(vapour_2, t), linear(vapour_3, t), ws)
    f -= lack * condensed
    f -= h
    share = ws * (1.0 / fit.MASS_RATIO)
    rise = ws * slope * (1.0 + share) * (carried - condensed)
    f1 = rise + _capacity(air, vapour, t, ws)
    f1 -= lack * where(iced, _ICE_CAPACITY, _WATER_CAPACITY)
    f2 = rise * (slope * (1.0 + 2.0 * share) - 2.0 / (t + fit.OFFSET))
    return t - f * f1 / (f1 * f1 - 0.5 * f * f2)


def saturated_balance(t: Any, w: Any, p: Any) -> Any:
    """Enthalpy of air of humidity ratio ``w`` whose wet bulb is ``t`` (ice below 0.01 °C)."""
    ws = saturated(t, p)
    return enthalpy(t, ws, p) - (ws - w) * condensed_heat(t)


def humidity_ratio_from_wet_bulb(t: Any, wet: Any, p: Any) -> Any:
    """The balance of the wet bulb, solved for W: linear but for the small W^2 terms."""
    w = saturated(wet, p)
    latent = fit.VAPOUR[0] + fit.VAPOUR[1] * t - condensed_heat(wet)
    for _ in range(4):
        w = w + (saturated_balance(wet, w, p) - enthalpy(t, w, p)) / latent
    return w


def of_humidity_ratio(t: Any, w: Any, p: Any) -> tuple[Any, ...]:
    """Relative humidity, dew point, wet bulb, enthalpy and volume in one go."""
    vapour = vapour_pressure(w, p)
    h = enthalpy(t, w, p)
    return (
        vapour * exp(-log_saturation(t, p)),
        saturation_temperature(log(vapour), p),
        wet_bulb_of(h, w, p),
        h,
        volume(t, w, p),
    )


def of_relative_humidity(t: Any, rh: Any, p: Any) -> tuple[Any, ...]:
    """Humidity ratio, dew point, wet bulb, enthalpy and volume in one go."""
    vapour = rh * exp(log_saturation(t, p))
    w = humidity_of_vapour(vapour, p)
    h = enthalpy(t, w, p)
    dew = saturation_temperature(log(vapour), p)
    return w, dew, wet_bulb_of(h, w, p), h, volume(t, w, p)
