"""
Formulas of moist air, unchecked: one body for a float and for a block of an array.

Most functions take the carrier ``ops`` first. ``x`` is ``t / (t + OFFSET)``, in which the
logarithm of the saturation pressure is nearly a straight line. Sums are written in place, as
the time of an array goes into passes over memory: only into arrays made here.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache
from math import exp
from typing import Any

from ventcalc._ops import Ops
from ventcalc.air import fit as fit

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

FREEZING = 0.01
_X0 = FREEZING / (FREEZING + fit.OFFSET)
_WATER_CAPACITY = 4186.0
_ICE_CAPACITY = 2100.0
_SLOPE = tuple(k * c for k, c in enumerate(fit.WATER))[1:]
_ICE_SLOPE = tuple(k * c for k, c in enumerate(fit.ICE, start=1))


def _poly(c: tuple[Any, ...], x: Any) -> Any:
    """Horner's rule; spelt out for a float, where a loop would take twice the time."""
    if type(x) is float:
        match c:
            case (c0, c1, c2, c3, c4):
                return c0 + x * (c1 + x * (c2 + x * (c3 + x * c4)))
            case (c0, c1, c2, c3):
                return c0 + x * (c1 + x * (c2 + x * c3))
            case (c0, c1, c2):
                return c0 + x * (c1 + x * c2)
            case (c0, c1):
                return c0 + x * c1
            case (c0, c1, c2, c3, c4, c5, c6):
                return c0 + x * (c1 + x * (c2 + x * (c3 + x * (c4 + x * (c5 + x * c6)))))
    value = c[-1] * x
    value += c[-2]
    for k in c[-3::-1]:
        value *= x
        value += k
    return value


# Saturated air at 0.01 °C: vapour pressure, and enthalpy over that of liquid water.
_MELTING_0 = exp(_poly(fit.WATER, _X0) + _poly(fit.ENHANCEMENT, FREEZING))
_MELTING_1 = _MELTING_0 * _poly(fit.ENHANCEMENT_P, FREEZING)
_MELTING_AIR = _poly(fit.AIR, FREEZING), _poly(fit.AIR_P, FREEZING)
_MELTING_WATER = _poly(fit.WATER_HEAT, FREEZING)
_MELTING_VAPOUR = (
    _poly(fit.VAPOUR, FREEZING) - _MELTING_WATER,
    _poly(fit.VAPOUR_P, FREEZING),
)
_MELTING_2 = _poly(fit.VAPOUR_2, FREEZING)


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


def _warm(ops: Ops, u: Any) -> Any:
    """Whether nothing is below freezing: only to save the time of terms that are zero there."""
    return u >= 0.0 if type(u) is float else ops.all(u >= 0.0)


def _log_pure(ops: Ops, x: Any, step: Any) -> Any:
    """Logarithm of the saturation pressure without air; ``step`` moves the freezing point."""
    value = _poly(fit.WATER, x)
    u = x - _X0
    if _warm(ops, u):
        return value
    ice = _poly(fit.ICE, u)
    ice *= u
    ice += step
    value += ops.minimum(ice, 0.0)
    return value


def log_saturation(ops: Ops, t: Any, p: Any) -> Any:
    """
    Logarithm of the saturated vapour pressure in air at ``p``.

    The stable phase is the one with the lower vapour pressure, hence the minimum: ice and
    water meet, without a step, at the freezing point in air (0.00 °C at 1 atm), not at the
    triple point.
    """
    if type(t) is float and type(p) is float:
        return _log_saturation_at(p)(t)
    value = _log_pure(ops, 1.0 - fit.OFFSET / (t + fit.OFFSET), fit.FREEZING_STEP * p)
    value += _poly(_enhancement_at(p), t)
    return value


@lru_cache(maxsize=64)
def _log_saturation_at(p: float) -> Callable[[float], float]:
    """``log_saturation`` of a float at one pressure, spelt out: calls would take half the time."""
    w0, w1, w2, w3, w4 = fit.WATER
    i0, i1, i2, i3, i4 = fit.ICE
    e0, e1, e2, e3, e4 = _enhancement_at(p)
    step = fit.FREEZING_STEP * p

    def at(t: float) -> float:
        x = 1.0 - fit.OFFSET / (t + fit.OFFSET)
        value = w0 + x * (w1 + x * (w2 + x * (w3 + x * w4)))
        u = x - _X0
        if u < 0.0:
            value += min(u * (i0 + u * (i1 + u * (i2 + u * (i3 + u * i4)))) + step, 0.0)
        value += e0 + t * (e1 + t * (e2 + t * (e3 + t * e4)))
        return value  # type: ignore[no-any-return]

    return at


def log_saturation_slope(ops: Ops, t: Any) -> Any:
    """Derivative of ``log_saturation`` to temperature, to about 0.05 %."""
    return _slope(ops, fit.OFFSET / (t + fit.OFFSET))


def _slope(ops: Ops, rest: Any) -> Any:
    """The same, of ``rest`` = 1 - x."""
    x = 1.0 - rest
    value = _poly(_SLOPE, x)
    u = x - _X0
    if not _warm(ops, u):
        value += ops.where(u < 0.0, _poly(_ICE_SLOPE, u), 0.0)
    value *= rest
    value *= rest
    value *= 1.0 / fit.OFFSET
    return value


def saturation_and_slope(ops: Ops, t: Any, p: Any) -> tuple[Any, Any]:
    """``log_saturation`` and its slope with one division."""
    rest = fit.OFFSET / (t + fit.OFFSET)
    if type(t) is float and type(p) is float:
        return _log_saturation_at(p)(t), _slope(ops, rest)
    value = _log_pure(ops, 1.0 - rest, fit.FREEZING_STEP * p)
    value += _poly(_enhancement_at(p), t)
    return value, _slope(ops, rest)


def saturation_pressure(ops: Ops, t: Any) -> Any:
    return ops.exp(_log_pure(ops, t / (t + fit.OFFSET), 0.0))


def enhancement_factor(ops: Ops, t: Any, p: Any) -> Any:
    return ops.exp(log_saturation(ops, t, p) - _log_pure(ops, t / (t + fit.OFFSET), 0.0))


def over_ice(ops: Ops, t: Any, rh: Any) -> Any:
    """Relative humidity over the stable phase from that over water."""
    x = t / (t + fit.OFFSET)
    return rh * ops.exp(_poly(fit.WATER, x) - _log_pure(ops, x, 0.0))


def saturated(ops: Ops, t: Any, p: Any) -> Any:
    """Humidity ratio at saturation."""
    return ratio_from_pressure(ops.exp(log_saturation(ops, t, p)), p)


def saturation_temperature(ops: Ops, wanted: Any, p: Any) -> Any:
    """
    Temperature at which ln(vapour pressure) is saturated in air at ``p``.

    Starts within 2 mK from the inverse polynomials, then takes one Newton step.
    """
    y = wanted - fit.LOG_TRIPLE
    y = y - _poly(_inverse_enhancement_at(p), y)
    x = _poly(fit.WATER_INVERSE, y)
    y -= fit.FREEZING_STEP * p
    x = ops.maximum(x, _poly(fit.ICE_INVERSE, y))
    t = fit.OFFSET * x / (1.0 - x)
    value, slope = saturation_and_slope(ops, t, p)
    return t - (value - wanted) / slope


# --- humidity ---------------------------------------------------------------------------


def ratio_from_pressure(vapour: Any, p: Any) -> Any:
    return fit.MASS_RATIO * vapour / (p - vapour)


def vapour_pressure(w: Any, p: Any) -> Any:
    return p * w / (fit.MASS_RATIO + w)


def humidity_ratio(ops: Ops, t: Any, rh: Any, p: Any) -> Any:
    return ratio_from_pressure(rh * ops.exp(log_saturation(ops, t, p)), p)


def relative_humidity(ops: Ops, t: Any, w: Any, p: Any) -> Any:
    return vapour_pressure(w, p) * ops.exp(-log_saturation(ops, t, p))


def dew_point(ops: Ops, w: Any, p: Any) -> Any:
    return saturation_temperature(ops, ops.log(vapour_pressure(w, p)), p)


# --- heat and volume --------------------------------------------------------------------


def enthalpy(t: Any, w: Any, p: Any) -> Any:
    air, vapour, vapour_2, vapour_3 = _caloric_at(p)
    return _assemble(_poly(air, t), _poly(vapour, t), _poly(vapour_2, t), _poly(vapour_3, t), w)


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
    excess = _poly(fit.VOLUME_2, t) * w
    excess += _poly(fit.VOLUME_1, t)
    excess *= w
    excess += _poly(fit.VOLUME, t)
    excess += ideal
    return excess


def water_heat(t: Any) -> Any:
    """Enthalpy of liquid water."""
    return _poly(fit.WATER_HEAT, t)


def ice_heat(t: Any) -> Any:
    """Enthalpy of ice."""
    return _poly(fit.ICE_HEAT, t)


def condensed_heat(ops: Ops, t: Any) -> Any:
    """Enthalpy of ice below 0.01 °C, of water from there on."""
    return _heat_of(ops, t < FREEZING, t)


def _heat_of(ops: Ops, iced: Any, t: Any) -> Any:
    if iced is False:
        return water_heat(t)
    return ops.where(iced, ice_heat(t), water_heat(t))


# --- wet bulb ---------------------------------------------------------------------------


_WET_BULB = tuple(zip(fit.WET_BULB, fit.WET_BULB_P, fit.WET_BULB_P_P, strict=True))
_ICE_BULB = tuple(zip(fit.ICE_BULB, fit.ICE_BULB_P, fit.ICE_BULB_P_P, strict=True))


@_per_pressure
def _wet_bulb_at(p: Any) -> Any:
    """Start polynomials; humidity ratio of saturated air at 0.01 °C, and where ice begins."""
    water = tuple([a + p * (b + p * c) for a, b, c in _WET_BULB])
    ice = tuple([a + p * (b + p * c) for a, b, c in _ICE_BULB])
    air, vapour = _MELTING_AIR, _MELTING_VAPOUR
    melting = ratio_from_pressure(_MELTING_0 + _MELTING_1 * p, p)
    limit = air[0] + air[1] * p + melting * (vapour[0] + (vapour[1] + _MELTING_2 * melting) * p)
    return water, ice, melting, limit


def wet_bulb(ops: Ops, t: Any, w: Any, p: Any) -> Any:
    return wet_bulb_of(ops, enthalpy(t, w, p), w, p)


def wet_bulb_of(ops: Ops, h: Any, w: Any, p: Any) -> Any:
    """
    Wet bulb of air of enthalpy ``h``: the root t of h_s(t) - (W_s(t) - W) h_cond(t) = h.

    The wick is iced where the balance over water has its root below 0.01 °C. Starts from a
    polynomial in the enthalpy, then takes one Halley step.
    """
    water, ice, melting, limit = _wet_bulb_at(p)
    eta = h - w * _MELTING_WATER
    eta -= limit
    iced = eta < 0.0
    eta += ops.where(iced, (w - melting) * fit.ICE_SHIFT, 0.0)
    eta *= 1e-5
    drift = w * (_WATER_CAPACITY * 1e-5)
    guess = _wet_bulb_start(ops, eta, water, ice)
    guess = _wet_bulb_start(ops, eta - drift * guess, water, ice)
    return _halley(ops, guess, iced, h, w, p)


def _wet_bulb_start(ops: Ops, eta: Any, water: Any, ice: Any) -> Any:
    value = _poly(water, eta)
    if not (type(eta) is float and eta >= 0.0):
        below = ops.minimum(eta, 0.0)
        value += below * _poly(ice, below)
    return value


def _halley(ops: Ops, t: Any, iced: Any, h: Any, w: Any, p: Any) -> Any:
    value, slope = saturation_and_slope(ops, t, p)
    ws = ratio_from_pressure(ops.exp(value), p)
    air, vapour, vapour_2, vapour_3 = _caloric_at(p)
    carried = _poly(vapour, t)
    condensed = _heat_of(ops, iced, t)
    lack = ws - w
    f = _assemble(_poly(air, t), carried, _poly(vapour_2, t), _poly(vapour_3, t), ws)
    f -= lack * condensed
    f -= h
    share = ws * (1.0 / fit.MASS_RATIO)
    rise = ws * slope * (1.0 + share) * (carried - condensed)
    f1 = rise + _capacity(air, vapour, t, ws)
    f1 -= lack * ops.where(iced, _ICE_CAPACITY, _WATER_CAPACITY)
    f2 = rise * (slope * (1.0 + 2.0 * share) - 2.0 / (t + fit.OFFSET))
    return t - f * f1 / (f1 * f1 - 0.5 * f * f2)


def saturated_balance(ops: Ops, t: Any, w: Any, p: Any) -> Any:
    """Enthalpy of air of humidity ratio ``w`` whose wet bulb is ``t`` (ice below 0.01 °C)."""
    ws = saturated(ops, t, p)
    return enthalpy(t, ws, p) - (ws - w) * condensed_heat(ops, t)


def humidity_ratio_from_wet_bulb(ops: Ops, t: Any, wet: Any, p: Any) -> Any:
    """The balance of the wet bulb, solved for W: linear but for the small W^2 terms."""
    w = saturated(ops, wet, p)
    latent = fit.VAPOUR[0] + fit.VAPOUR[1] * t - condensed_heat(ops, wet)
    for _ in range(4):
        w = w + (saturated_balance(ops, wet, w, p) - enthalpy(t, w, p)) / latent
    return w


def of_humidity_ratio(ops: Ops, t: Any, w: Any, p: Any) -> tuple[Any, ...]:
    """Relative humidity, dew point, wet bulb, enthalpy and volume in one go."""
    vapour = vapour_pressure(w, p)
    h = enthalpy(t, w, p)
    return (
        vapour * ops.exp(-log_saturation(ops, t, p)),
        saturation_temperature(ops, ops.log(vapour), p),
        wet_bulb_of(ops, h, w, p),
        h,
        volume(t, w, p),
    )


def of_relative_humidity(ops: Ops, t: Any, rh: Any, p: Any) -> tuple[Any, ...]:
    """Humidity ratio, dew point, wet bulb, enthalpy and volume in one go."""
    vapour = rh * ops.exp(log_saturation(ops, t, p))
    w = ratio_from_pressure(vapour, p)
    h = enthalpy(t, w, p)
    dew = saturation_temperature(ops, ops.log(vapour), p)
    return w, dew, wet_bulb_of(ops, h, w, p), h, volume(t, w, p)
