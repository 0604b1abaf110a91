"""Water vapour on its way through a deep bed: through the skin, from a film, into a film."""

from __future__ import annotations

import operator
from collections.abc import Callable
from functools import cache, lru_cache, reduce
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ventcalc._ops import ARRAY, SCALAR, Ops, ops_for
from ventcalc.air import MASS_RATIO, enhancement_factor, saturation_pressure
from ventcalc.pile.state import carrier

__all__ = ["Vapour", "recurrence", "vapour_march"]

Array = NDArray[np.float64]
Vapour = tuple[Array, Any, Array | None]
"""
Water into the air from each layer per floor area, negative where it condenses [kg/(m² s)]; humidity
ratio of the air that leaves [kg/kg dry air]; the part that came from (or went to) the film, None if
there is none [kg/(m² s)].
"""


@cache
def _pressure_fit() -> tuple[float, ...]:
    """
    Coefficients, highest first, of a polynomial for the saturation pressure over water.

    Fitted to the full formula over 0.01-45 °C for the least relative error, 6e-6. It spares
    the bed most of its cost. The tubers' water is liquid down to their freezing point, so there
    is no ice branch, and the polynomial runs on below zero.
    """
    t = 22.505 + 22.495 * np.cos(np.pi * (np.arange(200) + 0.5) / 200)
    pressure = saturation_pressure(t)
    columns = np.vander(t, 6)
    fit = np.linalg.lstsq(columns / pressure[:, None], np.ones(200), rcond=None)[0]
    return tuple(fit.tolist())


def _vapour_pressure(temperature: Array, pressure: Any) -> Any:
    """Vapour pressure over water at the tubers' temperature, in moist air. [Pa]"""
    fit = _fit_once if type(pressure) is float else _fit_in_air
    first, *middle, last = fit(pressure)
    value = first * temperature
    for c in middle:
        value += c
        value *= temperature
    value += last
    return value


def _fit_in_air(pressure: Any) -> list[Any]:
    enhancement = enhancement_factor(8.0, pressure)
    return [c * enhancement for c in _pressure_fit()]


_fit_once = lru_cache(maxsize=64)(_fit_in_air)


def _skin_share(skin_flow: Any, pressure: Any, inlet: Any, mass_flow: Any) -> Any:
    """Part of the way to the skin's equilibrium that air goes in one layer."""
    units = skin_flow * (pressure * MASS_RATIO / (MASS_RATIO + inlet) ** 2) / mass_flow
    # More than all of the way would make air and tubers trade water to and fro.
    return ops_for(units).minimum(units / (1.0 + units / 2.0), 1.0)


def vapour_march(
    temperature: Array,
    film: Array,
    *,
    wet: Any,
    layer_mass: Any,
    pressure: Any,
    skin_flow: Any,
    film_effectiveness: Any,
    mass_flow: Any,
    water_activity: float,
    inlet: Any,
    step: Any,
) -> tuple[Vapour | None, Callable[[], Any], Callable[[], Vapour]]:
    """
    Vapour taken up by the air from layer to layer.

    Parameters
    ----------
    temperature : array
        Mean tuber temperature of each layer in the step, layers first. [°C]
    film : array
        Free water on each layer. [kg/kg crop]
    wet : bool
        Whether there is any.
    layer_mass : float or array
        Crop in a layer per floor area. [kg/m²]
    pressure : float or array
        Air pressure. [Pa]
    skin_flow : float or array
        Transpiration of a layer per floor area and vapour pressure difference. [kg/(m² s Pa)]
    film_effectiveness : float or array
        Vapour exchange of a wet layer. [1]
    mass_flow : float or array
        Dry air per floor area. [kg/(m² s)]
    water_activity : float
        Of the tuber's skin. [1]
    inlet : float or array
        Air that enters. [kg/kg dry air]
    step : float
        Time step. [s]

    Returns
    -------
    dry : Vapour or None
        What the air takes up if no layer is or becomes wet; None where one is.
    wets : callable
        Tells whether one is or does.
    wetted : callable
        Gives what the air takes up then.
    """
    surface = _vapour_pressure(temperature, pressure)
    skin = _ratio(water_activity * surface, pressure)
    share = _skin_share(skin_flow, pressure, inlet, mass_flow)

    def wetted() -> Vapour:
        full, drying = _ratio(surface, pressure), film * (layer_mass / (step * mass_flow))
        return _wet_march(skin, full, drying, share, film_effectiveness, mass_flow, inlet)

    if wet is not False and temperature.dtype != object:
        return None, lambda: True, wetted
    entering, outlet, near = _skin_march(skin, share, inlet)

    def wets() -> Any:
        if not carrier(skin).any(near):  # no moister than the skin, so not saturated either
            return wet
        return wet | _any_above(entering * (pressure - surface), MASS_RATIO * surface)

    return ((skin - entering) * (share * mass_flow), outlet, None), wets, wetted


def _ratio(vapour: Array, pressure: Any) -> Any:
    """Humidity ratio of a vapour pressure. [kg/kg dry air]"""
    ratio = vapour / (pressure - vapour)
    ratio *= MASS_RATIO
    return ratio


def _skin_march(skin: Array, share: Any, inlet: Any) -> tuple[Array, Any, Any]:
    """Air entering every dry layer, leaving the top, and whether any met it moister than itself."""
    if carrier(skin) is SCALAR:
        x, share, near = float(inlet), float(share), False
        entering = []
        for equilibrium in skin.tolist():
            entering.append(x)
            lacking = equilibrium - x
            near = near or lacking < 0.0
            x += share * lacking
        return np.array(entering), x, near
    enters, leaves = recurrence(1.0 - share, share * skin, inlet)
    return enters, leaves, _any_above(enters, skin)


def _any_above(values: Array, limits: Array) -> Any:
    """Whether the first are greater in any layer of any bay; a traced bay tells for itself."""
    if values.dtype != object:
        return bool((values > limits).any())
    above: Any = reduce(operator.or_, (x > y for x, y in zip(values, limits, strict=True)))
    return above


def recurrence(keep: Any, gain: Array, inlet: Any) -> tuple[Array, Any]:
    """
    March up the layers: x[i+1] = keep x[i] + gain[i].

    Parameters
    ----------
    keep : float or array
        Per bay. [1]
    gain : array
        Layers first. [any]
    inlet : float or array
        x[0]. [any]

    Returns
    -------
    entering : array
        x of every layer. [any]
    leaving : array
        x above the last layer. [any]
    """
    ops = carrier(gain)
    if ops is not ARRAY:
        x, passed = float(inlet) if ops is SCALAR else inlet, []
        for add in gain.tolist():
            passed.append(x)
            x = keep * x + add
        return np.array(passed, dtype=gain.dtype), x
    entering = np.empty_like(gain)
    below = entering[0]
    below[:] = inlet
    # Row views made once: indexing inside the loop would cost more than the arithmetic.
    for above, add in zip(entering[1:], gain, strict=False):
        np.multiply(below, keep, out=above)
        np.add(above, add, out=above)
        below = above
    return entering, keep * below + gain[-1]


def _wet_march(
    skin: Array, wet: Array, film: Array, share: Any, wet_share: Any, mass_flow: Any, inlet: Any
) -> Vapour:
    """Layer by layer; ``film`` is what would have to dry, as a gain of the passing air."""
    ops = carrier(skin)
    one = ops is SCALAR
    x: Any = float(inlet) if one else inlet
    rows: Any = zip(*(a.tolist() if one else a for a in (skin, wet, film)), strict=True)
    total, from_film = [], []
    for dry_level, wet_level, water in rows:
        if one:
            gain, part = _exchange_one(x, dry_level, wet_level, water, share, wet_share)
        else:
            gain, part = _exchange_many(x, dry_level, wet_level, water, share, wet_share, ops)
        total.append(gain)
        from_film.append(part)
        x = x + gain
    return np.array(total) * mass_flow, x, np.array(from_film) * mass_flow


def _exchange_one(
    x: float, dry_level: float, wet_level: float, water: float, share: float, wet_share: float
) -> tuple[float, float]:
    """Gain of the air in one layer of one bay, and the part of it from the film."""
    free = wet_share * (wet_level - x)
    if free <= water:
        return free, free
    through_skin = (1.0 - water / free) * share * (dry_level - x)
    return water + through_skin, water


def _exchange_many(
    x: Any, dry_level: Any, wet_level: Any, water: Any, share: Any, wet_share: Any, ops: Ops
) -> tuple[Any, Any]:
    """The same for a row of bays."""
    free = wet_share * (wet_level - x)
    dries = free > water
    left = 1.0 - water / ops.where(dries, free, 1.0)
    part = ops.where(dries, water, free)
    return part + ops.where(dries, left * share * (dry_level - x), 0.0), part
