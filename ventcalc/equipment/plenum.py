"""
The way of the air from the doors to the ducts: mixing, coil, fan and heater, humidifier.

The order is that in which the air meets them. Mass flows are of dry air.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from ventcalc._ops import Ops, ops_for
from ventcalc.errors import check_range
from ventcalc.physics import air, air_process

__all__ = ["Supply", "coil_heat_for", "fresh_fraction_for", "supply"]

LIQUID_HEAT = 4186.0
"""Specific heat of water. [J/(kg K)]"""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Supply:
    """Air in the plenum, and what was done to it; per kg of dry air or as flows."""

    temperature: Any
    """[°C]"""
    humidity_ratio: Any
    """Vapour only. [kg/kg dry air]"""
    fog: Any
    """Liquid or ice carried along. [kg/kg dry air]"""
    mixed_temperature: Any
    """After the doors, before coil and fan. [°C]"""
    water_added: Any
    """Evaporated by the humidifier. [kg/s]"""
    coil_heat: Any
    """Taken out by the coil, sensible and latent. [W]"""
    coil_water: Any
    """Condensed on the coil. [kg/s]"""


def supply(
    *,
    mass_flow: Any,
    fresh_fraction: Any,
    outside_temperature: Any,
    outside_humidity_ratio: Any,
    return_temperature: Any,
    return_humidity_ratio: Any,
    pressure: Any,
    heat: Any = 0.0,
    coil_heat: Any = 0.0,
    coil_temperature_difference: Any = 4.0,
    humidity_wanted: Any = 0.0,
    water_capacity: Any = 0.0,
) -> Supply:
    """
    Plenum air from outside and return air.

    Parameters
    ----------
    mass_flow : array-like
        Dry air through the fans, above zero. [kg/s]
    fresh_fraction : array-like
        Part of it that comes from outside, 0-1. [1]
    outside_temperature, return_temperature : array-like
        Dry bulb. [°C]
    outside_humidity_ratio, return_humidity_ratio : array-like
        Humidity ratio. [kg/kg dry air]
    pressure : array-like
        Air pressure. [Pa]
    heat : array-like
        Heat of fans and heater into the air. [W]
    coil_heat : array-like
        Cooling taken from the mixed air, total. [W]
    coil_temperature_difference : array-like
        Entering air less coil surface. [K]
    humidity_wanted : array-like
        Relative humidity up to which the humidifier works; 0 for off. [0-1]
    water_capacity : array-like
        Most water the humidifier can evaporate now. [kg/s]

    Returns
    -------
    Supply
        The plenum's air. Fog that the fan's heat does not dry is carried along.

    Raises
    ------
    OutOfRange
        If a fraction lies outside 0-1.
    """
    check_range("fresh_fraction", fresh_fraction, 0.0, 1.0, "", "percent?")
    check_range("humidity_wanted", humidity_wanted, 0.0, 1.0, "", "percent?")
    ops = ops_for(
        mass_flow, fresh_fraction, outside_temperature, return_temperature, pressure, heat,
        coil_heat, outside_humidity_ratio, return_humidity_ratio, water_capacity,
    )  # fmt: skip
    mixed = air_process.mix(
        fresh_fraction, outside_temperature, outside_humidity_ratio,
        1.0 - fresh_fraction, return_temperature, return_humidity_ratio, pressure,
    )  # fmt: skip
    enthalpy, water = mixed.enthalpy, mixed.humidity_ratio + mixed.liquid
    taken = coil_heat / mass_flow
    condensed = _coil_condensate(
        mixed, taken, mixed.temperature - coil_temperature_difference, pressure, ops
    )
    surface_water = LIQUID_HEAT * (mixed.temperature - coil_temperature_difference)
    enthalpy = enthalpy - taken - condensed * surface_water + heat / mass_flow
    water = water - condensed
    now = air_process.saturated_split(enthalpy, water, pressure)
    needed = air_process.humidify_to(
        now.temperature, now.humidity_ratio, pressure, relative_humidity=humidity_wanted
    )
    added = ops.minimum(needed, water_capacity / mass_flow)
    enthalpy = enthalpy + added * LIQUID_HEAT * ops.maximum(now.temperature, 0.0)
    final = air_process.saturated_split(enthalpy, water + added, pressure)
    return Supply(
        temperature=final.temperature,
        humidity_ratio=final.humidity_ratio,
        fog=final.liquid,
        mixed_temperature=mixed.temperature,
        water_added=added * mass_flow,
        coil_heat=coil_heat,
        coil_water=condensed * mass_flow,
    )


def _coil_condensate(mixed: Any, taken: Any, surface: Any, pressure: Any, ops: Ops) -> Any:
    """Water left on a coil at ``surface``, by the straight line to its saturated air. [kg/kg]"""
    if isinstance(taken, float | int) and taken == 0.0:
        return 0.0
    saturated = air.saturation_humidity_ratio(surface, pressure)
    floor = air.enthalpy(surface, saturated, pressure)
    span = ops.maximum(mixed.enthalpy - floor, 1.0)
    share = ops.minimum(taken / span, 1.0)
    return share * ops.maximum(mixed.humidity_ratio - saturated, 0.0)


def coil_heat_for(
    *,
    wanted_temperature: Any,
    mass_flow: Any,
    entering_temperature: Any,
    entering_humidity_ratio: Any,
    coil_temperature_difference: Any,
    pressure: Any,
) -> Any:
    """
    Coil duty that brings air down to a temperature, on the straight line to the coil surface.

    Parameters
    ----------
    wanted_temperature : array-like
        Leaving dry bulb. [°C]
    mass_flow : array-like
        Dry air. [kg/s]
    entering_temperature, entering_humidity_ratio : array-like
        Air before the coil. [°C, kg/kg dry air]
    coil_temperature_difference : array-like
        Entering air less coil surface. [K]
    pressure : array-like
        Air pressure. [Pa]

    Returns
    -------
    array
        Sensible and latent heat; 0 when the air is cold enough already, at most what brings
        all the air to the surface. [W]
    """
    ops = ops_for(wanted_temperature, mass_flow, entering_temperature, entering_humidity_ratio)
    surface = entering_temperature - coil_temperature_difference
    saturated = air.saturation_humidity_ratio(surface, pressure)
    level = ops.minimum(saturated, entering_humidity_ratio)
    span = air.enthalpy(entering_temperature, entering_humidity_ratio, pressure) - air.enthalpy(
        surface, level, pressure
    )
    share = (entering_temperature - wanted_temperature) / coil_temperature_difference
    return mass_flow * span * ops.minimum(ops.maximum(share, 0.0), 1.0)


def fresh_fraction_for(
    *,
    wanted_temperature: Any,
    wanted_humidity: Any,
    water_capacity: Any,
    mass_flow: Any,
    outside_temperature: Any,
    outside_humidity_ratio: Any,
    return_temperature: Any,
    return_humidity_ratio: Any,
    pressure: Any,
    heat: Any = 0.0,
) -> Any:
    """
    Part of fresh air that brings the plenum to a wanted state, solved on enthalpy.

    Parameters
    ----------
    wanted_temperature : array-like
        Plenum dry bulb, after fan and humidifier. [°C]
    wanted_humidity : array-like
        Relative humidity that the humidifier aims at; 0 for off. [0-1]
    water_capacity : array-like
        Most water the humidifier can evaporate. [kg/s]
    mass_flow : array-like
        Dry air through the fans. [kg/s]
    outside_temperature, return_temperature : array-like
        Dry bulb. [°C]
    outside_humidity_ratio, return_humidity_ratio : array-like
        Humidity ratio. [kg/kg dry air]
    pressure : array-like
        Air pressure. [Pa]
    heat : array-like
        Heat of fans and heater into the air. [W]

    Returns
    -------
    array
        Fresh fraction, not limited to 0-1: below 0 no outside air can do it, above 1 all of
        it is not enough. [1]

    Notes
    -----
    At the wanted temperature the enthalpy is linear in the water content, and both mix
    linearly, so each case (humidifier short of capacity, humidifier reaching its aim, no
    water needed, fog) has a closed solution; the case that applies is the one whose own
    assumption holds. A law on dry bulb alone opens too far in frost, where mixing makes fog.
    """
    ops = ops_for(
        wanted_temperature, mass_flow, outside_temperature, return_temperature, pressure, heat,
        outside_humidity_ratio, return_humidity_ratio, water_capacity, wanted_humidity,
    )  # fmt: skip
    h_out = air.enthalpy(outside_temperature, outside_humidity_ratio, pressure)
    h_ret = air.enthalpy(return_temperature, return_humidity_ratio, pressure)
    dry = air.enthalpy(wanted_temperature, wanted_temperature * 0.0, pressure)
    full = air.saturation_humidity_ratio(wanted_temperature, pressure)
    per_water = (air.enthalpy(wanted_temperature, full, pressure) - dry) / full
    liquid = LIQUID_HEAT * ops.maximum(wanted_temperature, 0.0)
    aim = ops.where(wanted_humidity > 0.0, wanted_humidity, 0.0) * full
    capacity = water_capacity / mass_flow
    start = h_ret + heat / mass_flow
    dh, dw = h_out - h_ret, outside_humidity_ratio - return_humidity_ratio

    def fraction(level: Any, fixed: bool, carried: Any) -> Any:
        # fixed: the plenum ends at the humidity ratio `level`, the rest added as liquid or
        # carried as fog; else it ends at its own water plus `level` from the humidifier.
        if fixed:
            top = dry + level * per_water - start - (level - return_humidity_ratio) * carried
            return top / _apart(dh - dw * carried, ops)
        top = dry + (return_humidity_ratio + level) * per_water - start - level * liquid
        return top / _apart(dh - dw * per_water, ops)

    none = fraction(0.0 * capacity, False, 0.0)
    aimed = fraction(aim, True, liquid)
    short = fraction(capacity, False, 0.0)
    foggy = fraction(full, True, _carried_heat(wanted_temperature, ops))
    own = return_humidity_ratio + none * dw
    lacking = aim - (return_humidity_ratio + aimed * dw)
    humid = ops.where(lacking > capacity, short, aimed)
    plain = ops.where(own > full, foggy, none)
    return ops.where((aim > own) & (capacity > 0.0), humid, plain)


def _carried_heat(temperature: Any, ops: Ops) -> Any:
    """Enthalpy of fog, water above 0 °C and ice below. [J/kg]"""
    return ops.where(
        temperature >= 0.0, LIQUID_HEAT * temperature, -333_500.0 + 2100.0 * temperature
    )


def _apart(difference: Any, ops: Ops) -> Any:
    """A divisor kept off zero: outside air just like return air can do nothing either way."""
    return ops.where(abs(difference) < 1e-6, 1e-6, difference)
