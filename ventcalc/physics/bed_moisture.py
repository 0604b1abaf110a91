"""Water vapour on its way through a deep bed: through the skin, from a film, into a film."""

from __future__ import annotations

from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ventcalc.physics.air import MASS_RATIO, enhancement_factor, saturation_pressure

__all__ = ["vapour_march"]

Array = NDArray[np.float64]


@cache
def _log_pressure_fit() -> tuple[float, ...]:
    """Coefficients of a polynomial for ln of the saturation pressure over water, 0.01-45 °C."""
    t = 22.505 + 22.495 * np.cos(np.linspace(0.0, np.pi, 65))
    fit = np.polynomial.Polynomial.fit(t, np.log(saturation_pressure(t)), 6).convert()
    return tuple(float(c) for c in reversed(fit.coef))


def _vapour_pressure(temperature: Array, pressure: Any) -> Array:
    """
    Vapour pressure over water at the tubers' temperature, in moist air.

    The tubers' water is liquid down to their freezing point, so there is no ice branch; a fit
    (within 2e-7 of the full formula) spares the bed most of the cost.
    """
    first, *rest = _log_pressure_fit()
    value = first * temperature
    for c in rest[:-1]:
        value += c
        value *= temperature
    value += rest[-1]
    np.exp(value, out=value)
    value *= enhancement_factor(8.0, pressure)
    return value


def vapour_march(
    temperature: Array,
    film: Array | None,
    *,
    pressure: Any,
    skin_flow: Any,
    film_effectiveness: Any,
    mass_flow: Any,
    water_activity: float,
    inlet: Any,
    step: float,
) -> tuple[Array, Any, Array | None]:
    """
    Vapour taken up by the air from layer to layer.

    Parameters
    ----------
    temperature : array
        Mean tuber temperature of each layer in the step, layers first. [°C]
    film : array or None
        Free water on each layer, per floor area; None when all are dry. [kg/m²]
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
    evaporated : array
        Water into the air per floor area, negative where it condenses. [kg/(m² s)]
    outlet : float or array
        Air that leaves. [kg/kg dry air]
    from_film : array or None
        The part that came from (or went to) the film; None if the bed stayed dry. [kg/(m² s)]
    """
    surface = _vapour_pressure(temperature, pressure)
    damp = water_activity * surface
    skin = MASS_RATIO * damp / (pressure - damp)
    units = skin_flow * (pressure * MASS_RATIO / (MASS_RATIO + inlet) ** 2) / mass_flow
    share = units / (1.0 + units / 2.0)
    if film is None:
        entering, outlet = _skin_march(skin, share, inlet)
        evaporated = (share * mass_flow) * (skin - entering)
        limit = (MASS_RATIO * surface / (pressure - surface)) if _near(entering, skin) else None
        if limit is None or not (entering > limit).any():
            return evaporated, outlet, None
        film = np.zeros_like(temperature)
    wet = MASS_RATIO * surface / (pressure - surface)
    return _wet_march(
        skin, wet, film / step / mass_flow, share, film_effectiveness, mass_flow, inlet
    )


def _near(entering: Array, skin: Array) -> bool:
    """Whether any layer meets air moister than its skin: only then can water condense."""
    return bool((entering > skin).any())


def _skin_march(skin: Array, share: Any, inlet: Any) -> tuple[Array, Any]:
    if skin.ndim == 1:
        x, share = float(inlet), float(share)
        entering = []
        for equilibrium in skin.tolist():
            entering.append(x)
            x += share * (equilibrium - x)
        return np.array(entering), x
    enters = np.empty_like(skin)
    enters[0] = inlet
    keep = 1.0 - share
    given = share * skin
    for i in range(1, len(skin)):
        np.multiply(enters[i - 1], keep, out=enters[i])
        enters[i] += given[i - 1]
    return enters, keep * enters[-1] + given[-1]


def _wet_march(
    skin: Array, wet: Array, film: Array, share: Any, wet_share: Any, mass_flow: Any, inlet: Any
) -> tuple[Array, Any, Array]:
    """Layer by layer; ``film`` is what would have to dry, as a gain of the passing air."""
    one = skin.ndim == 1
    x = float(inlet) if one else np.broadcast_to(inlet, skin.shape[1:]).astype(float)
    rows = (
        zip(skin.tolist(), wet.tolist(), film.tolist(), strict=True)
        if one
        else zip(skin, wet, film, strict=True)
    )
    exchange = _exchange_one if one else _exchange_many
    total, from_film = [], []
    for dry_level, wet_level, water in rows:
        gain, part = exchange(x, dry_level, wet_level, water, share, wet_share)
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
    x: Array, dry_level: Array, wet_level: Array, water: Array, share: Any, wet_share: Any
) -> tuple[Array, Array]:
    """The same for a row of bays."""
    free = wet_share * (wet_level - x)
    dries = free > water
    left = 1.0 - water / np.where(dries, free, 1.0)
    part = np.where(dries, water, free)
    return part + np.where(dries, left * share * (dry_level - x), 0.0), part
