"""
Moist air as a plain mixture with constant heats, for the inside of hourly loops.

``air`` is the truth about moist air. Plenum, pile and headspace exchange air every hour, and
there it matters more that enthalpy is linear and the same everywhere, so that balances close
and solutions are closed forms. Temperatures after mixing, heating and humidifying differ from
those of ``air`` by less than 0.03 K between -30 and 30 °C (one found from an enthalpy of ``air``
by up to 0.1 K). Saturation is that of ``air``.

Nothing here checks its input: callers do, once.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from ventcalc._ops import ARRAY, Ops
from ventcalc.air import kernel as kernel
from ventcalc.air.fit import MASS_RATIO

__all__ = [
    "AIR_HEAT",
    "EVAPORATION",
    "FUSION_HEAT",
    "GAS_CONSTANT",
    "ICE_HEAT",
    "VAPOUR_HEAT",
    "WATER_HEAT",
    "air_density",
    "at_humidity",
    "dew_point",
    "enthalpy",
    "fog_heat",
    "humidified",
    "relative_humidity",
    "saturated",
    "split",
    "temperature",
]

AIR_HEAT = 1006.0
"""Specific heat of dry air. [J/(kg K)]"""
VAPOUR_HEAT = 1860.0
"""Specific heat of water vapour. [J/(kg K)]"""
EVAPORATION = 2.5009e6
"""Heat of evaporation at 0 °C. [J/kg]"""
WATER_HEAT = 4186.0
"""Specific heat of water. [J/(kg K)]"""
GAS_CONSTANT = 287.05
"""Of dry air. [J/(kg K)]"""
ICE_HEAT = 2100.0
"""Specific heat of ice. [J/(kg K)]"""
FUSION_HEAT = 333_550.0
"""Heat of melting ice at 0 °C. [J/kg]"""


def air_density(pressure: Any) -> Any:
    """
    Density of dry air at 5 °C, by which volume flows of a store become mass flows.

    Parameters
    ----------
    pressure : array-like
        Air pressure. [Pa]

    Returns
    -------
    array
        [kg/m³]
    """
    return pressure / (GAS_CONSTANT * 278.15)


def enthalpy(temperature: Any, humidity_ratio: Any) -> Any:
    """
    Enthalpy of air and vapour.

    Parameters
    ----------
    temperature : array-like
        Dry bulb. [°C]
    humidity_ratio : array-like
        Vapour. [kg/kg dry air]

    Returns
    -------
    array
        From dry air and liquid water at 0 °C. [J/kg dry air]
    """
    return AIR_HEAT * temperature + humidity_ratio * (EVAPORATION + VAPOUR_HEAT * temperature)


def temperature(enthalpy: Any, humidity_ratio: Any) -> Any:
    """
    Dry bulb from enthalpy.

    Parameters
    ----------
    enthalpy : array-like
        Of air and vapour. [J/kg dry air]
    humidity_ratio : array-like
        Vapour. [kg/kg dry air]

    Returns
    -------
    array
        Dry bulb. [°C]
    """
    return (enthalpy - EVAPORATION * humidity_ratio) / (AIR_HEAT + VAPOUR_HEAT * humidity_ratio)


def saturated(temperature: Any, pressure: Any, ops: Ops) -> Any:
    """
    Humidity ratio at saturation, as ``air.saturation_humidity_ratio``.

    Parameters
    ----------
    temperature : array-like
        Dry bulb. [°C]
    pressure : array-like
        Air pressure. [Pa]
    ops : Ops
        Carrier.

    Returns
    -------
    array
        [kg/kg dry air]
    """
    return kernel.saturated(ops, temperature, pressure)


def dew_point(humidity_ratio: Any, pressure: Any, ops: Ops) -> Any:
    """
    Dew or frost point, as ``air.dew_point``.

    Parameters
    ----------
    humidity_ratio : array-like
        Vapour; below 1e-6 counts as 1e-6. [kg/kg dry air]
    pressure : array-like
        Air pressure. [Pa]
    ops : Ops
        Carrier.

    Returns
    -------
    array
        [°C]
    """
    return kernel.dew_point(ops, ops.maximum(humidity_ratio, 1e-6), pressure)


def relative_humidity(temperature: Any, humidity_ratio: Any, pressure: Any, ops: Ops) -> Any:
    """
    Relative humidity, as ``air.relative_humidity``.

    Parameters
    ----------
    temperature : array-like
        Dry bulb. [°C]
    humidity_ratio : array-like
        Vapour. [kg/kg dry air]
    pressure : array-like
        Air pressure. [Pa]
    ops : Ops
        Carrier.

    Returns
    -------
    array
        [0-1]
    """
    return kernel.relative_humidity(ops, temperature, humidity_ratio, pressure)


def fog_heat(temperature: Any, ops: Ops) -> Any:
    """
    Enthalpy of fog: water above 0 °C, ice below.

    Parameters
    ----------
    temperature : array-like
        Of the fog. [°C]
    ops : Ops
        Carrier.

    Returns
    -------
    array
        Per mass of fog. [J/kg]
    """
    return ops.where(
        temperature >= 0.0, WATER_HEAT * temperature, ICE_HEAT * temperature - FUSION_HEAT
    )


def split(enthalpy: Any, water: Any, pressure: Any, ops: Ops) -> tuple[Any, Any, Any]:
    """
    Share water between vapour and fog at a given enthalpy.

    Parameters
    ----------
    enthalpy : array-like
        Of air, vapour and fog. [J/kg dry air]
    water : array-like
        Vapour and fog. [kg/kg dry air]
    pressure : array-like
        Air pressure. [Pa]
    ops : Ops
        Carrier.

    Returns
    -------
    temperature : array
        Dry bulb. [°C]
    humidity_ratio : array
        Vapour. [kg/kg dry air]
    fog : array
        Liquid or ice carried along. [kg/kg dry air]
    """
    dry = temperature(enthalpy, water)
    foggy = water > kernel.saturated(ops, dry, pressure)
    if ops is not ARRAY:
        clear = dry, water, 0.0 * water
        found: tuple[Any, Any, Any] = ops.branch(
            foggy, lambda: _fog(enthalpy, water, pressure, dry, ops), clear
        )
        return found
    if not foggy.any():
        return dry, water + 0.0 * dry, 0.0 * dry
    shape = np.broadcast_shapes(np.shape(foggy), np.shape(pressure))
    parts = [np.array(np.broadcast_to(x, shape)) for x in (dry, water, 0.0 * water)]
    wet = np.broadcast_to(foggy, shape)
    h, w, start = (np.broadcast_to(x, shape)[wet] for x in (enthalpy, water, dry))
    p = pressure if np.ndim(pressure) == 0 else np.broadcast_to(pressure, shape)[wet]
    for part, value in zip(parts, _fog(h, w, p, start, ops), strict=True):
        part[wet] = value
    return parts[0], parts[1], parts[2]


def _fog(h: Any, water: Any, pressure: Any, start: Any, ops: Ops) -> tuple[Any, Any, Any]:
    """Fog of water, of ice, or, where neither fits, freezing at 0 °C."""
    wet = _saturated_temperature(h, water, pressure, start, WATER_HEAT, 0.0, ops)
    icy = _saturated_temperature(h, water, pressure, start, ICE_HEAT, FUSION_HEAT, ops)
    t = ops.maximum(wet, 0.0) + ops.minimum(icy, 0.0)
    full = kernel.saturated(ops, t, pressure)
    return t, full, water - full


def _saturated_temperature(
    h: Any, water: Any, pressure: Any, start: Any, heat: float, melting: float, ops: Ops
) -> Any:
    """Newton from the unsaturated temperature, which is too low; the curve is convex."""

    def closer(t: Any) -> Any:
        logarithm, rise = kernel.saturation_and_slope(ops, t, pressure)
        full = kernel.ratio_from_pressure(ops.exp(logarithm), pressure)
        fog, carried = water - full, heat * t - melting
        rise = full * rise
        slope = AIR_HEAT + VAPOUR_HEAT * full + rise * (EVAPORATION - carried) + heat * fog
        return t - (enthalpy(t, full) + fog * carried - h) / slope

    return ops.repeat(6, closer, start)


def at_humidity(saturated_humidity_ratio: Any, relative_humidity: Any) -> Any:
    """
    Humidity ratio at a relative humidity.

    Parameters
    ----------
    saturated_humidity_ratio : array-like
        Humidity ratio at saturation. [kg/kg dry air]
    relative_humidity : array-like
        [0-1]

    Returns
    -------
    array
        A little below the product of the two, since it is the pressures that are in this
        ratio. [kg/kg dry air]
    """
    lacking = 1.0 - relative_humidity
    return (
        relative_humidity
        * saturated_humidity_ratio
        / (1.0 + lacking * saturated_humidity_ratio / MASS_RATIO)
    )


def humidified(
    temperature_in: Any,
    humidity_ratio: Any,
    pressure: Any,
    relative_humidity: Any,
    water_temperature: float,
    ops: Ops,
) -> Any:
    """
    Humidity ratio at which evaporating water brings air to a relative humidity.

    Parameters
    ----------
    temperature_in : array-like
        Dry bulb before. [°C]
    humidity_ratio : array-like
        Vapour before. [kg/kg dry air]
    pressure : array-like
        Air pressure. [Pa]
    relative_humidity : array-like
        Wanted, above zero. [0-1]
    water_temperature : float
        Of the water. [°C]
    ops : Ops
        Carrier.

    Returns
    -------
    array
        Below the entering one where the air is more humid than wanted. [kg/kg dry air]
    """
    h = enthalpy(temperature_in, humidity_ratio)
    added = WATER_HEAT * water_temperature
    out = humidity_ratio
    for _ in range(3):  # within 2e-7 from 70 % RH on, 3e-6 from bone-dry air
        t = temperature(h + (out - humidity_ratio) * added, out)
        logarithm, slope = kernel.saturation_and_slope(ops, t, pressure)
        full = kernel.ratio_from_pressure(ops.exp(logarithm), pressure)
        goal = at_humidity(full, relative_humidity)
        fall = (EVAPORATION + VAPOUR_HEAT * t - added) / (AIR_HEAT + VAPOUR_HEAT * out)
        rise = goal * slope
        out = out - (out - goal) / (1.0 + rise * fall)
    return out
