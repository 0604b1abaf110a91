"""
The way of the air from the doors to the ducts: mixing, coil, fan and heater, humidifier.

The order is that in which the air meets them. Mass flows are of dry air; humidity ratios and
enthalpies are per kg of it, those of ``air.plain``, as in the pile and the headspace. Plain
numbers throughout; where a state of the air or a flow is NaN, so is the supply.
"""

from __future__ import annotations

import math
from typing import NamedTuple

from ventcalc.air.plain import (
    AIR_HEAT,
    EVAPORATION,
    VAPOUR_HEAT,
    WATER_HEAT,
    at_humidity,
    dry_bulb,
    enthalpy,
    fog_heat,
    humidified,
    saturated,
    split,
)
from ventcalc.equipment.defrost import melting_heat, melting_heat_to_store

__all__ = ["Supply", "coil_heat_for", "fresh_fraction_for", "on_straight_line", "supply"]

WATER_TEMPERATURE = 10.0
"""Of the humidifier's water. [°C]"""
LEAST_HUMIDITY = 0.1
"""A humidifier is never set lower. [0-1]"""
LEAST_SPAN = 1.0
"""Enthalpy between air and coil that still counts as one. [J/kg]"""
APART = 1e-6
"""Difference below which outside air is just like return air. [J/kg]"""


class Supply(NamedTuple):
    """Air in the plenum, and what was done to it; per kg of dry air or as flows."""

    temperature: float
    """[°C]"""
    humidity_ratio: float
    """Vapour only. [kg/kg dry air]"""
    dry_temperature: float
    """Before the humidifier. [°C]"""
    fog: float
    """Liquid or ice carried along. [kg/kg dry air]"""
    water_added: float
    """Evaporated by the humidifier. [kg/s]"""
    coil_heat: float
    """Taken out by the coil, sensible and latent, at most what its surface allows. [W]"""
    coil_water: float
    """Condensed or frozen on the coil. [kg/s]"""
    coil_temperature: float
    """Of the coil while it cools; the mixed air where there is no duty. [°C]"""
    defrost_power: float
    """Electrical, to melt what froze; a part of it warms the supply. [W]"""


def supply(
    mass_flow: float,
    fresh_fraction: float,
    outside_temperature: float,
    outside_humidity_ratio: float,
    return_temperature: float,
    return_humidity_ratio: float,
    pressure: float,
    heat: float = 0.0,
    coil_heat: float = 0.0,
    coil_temperature_difference: float = 4.0,
    bypass_factor: float = 0.0,
    humidity_wanted: float = 0.0,
    water_capacity: float = 0.0,
    vapour_limit: float = 1.0,
) -> Supply:
    """
    Plenum air from outside and return air; fog that the fan's heat does not dry is carried along.

    Parameters
    ----------
    mass_flow : float
        Dry air through the fans, above zero. [kg/s]
    fresh_fraction : float
        Part of it that comes from outside. [0-1]
    outside_temperature, return_temperature : float
        Dry bulb. [°C]
    outside_humidity_ratio, return_humidity_ratio : float
        Humidity ratio. [kg/kg dry air]
    pressure : float
        Air pressure. [Pa]
    heat : float
        Heat of fans and heater into the air. [W]
    coil_heat : float
        Cooling taken from the mixed air, total; 0 for none. [W]
    coil_temperature_difference : float
        Entering air less coil surface while it cools. [K]
    bypass_factor : float
        Share of the air that misses the coil's surface. [0-1]
    humidity_wanted : float
        Relative humidity up to which the humidifier works; 0 for off. [0-1]
    water_capacity : float
        Most water the humidifier can evaporate now. [kg/s]
    vapour_limit : float
        Humidity ratio that the humidifier must not exceed; 1 for none. [kg/kg dry air]

    Returns
    -------
    Supply
        The plenum's air.
    """
    h_return = enthalpy(return_temperature, return_humidity_ratio)
    h = h_return + fresh_fraction * (
        enthalpy(outside_temperature, outside_humidity_ratio) - h_return
    )
    water = return_humidity_ratio + fresh_fraction * (
        outside_humidity_ratio - return_humidity_ratio
    )
    surface = dry_bulb(h, water)
    taken = condensed = melting = 0.0
    if coil_heat != 0.0:
        mixed, vapour, _ = split(h, water, pressure)
        surface = mixed - coil_temperature_difference
        taken, condensed = on_straight_line(
            enthalpy(mixed, vapour), vapour, surface, coil_heat / mass_flow, bypass_factor, pressure
        )
        frost = condensed if surface < 0.0 else 0.0
        melting = melting_heat(frost, surface)
        h += melting_heat_to_store(frost, surface) - taken - condensed * fog_heat(surface)
        water -= condensed
    h += heat / mass_flow
    dry, vapour, fog = split(h, water, pressure)
    warm, added = dry, 0.0
    if humidity_wanted > 0.0 and not fog > 0.0:
        # What is unknown must not look like "no need": NaN goes through the humidifier.
        most = min(vapour_limit - vapour, water_capacity / mass_flow)
        if not most <= 0.0:
            wanted = max(humidity_wanted, LEAST_HUMIDITY)
            moist = humidified(dry, vapour, pressure, wanted, WATER_TEMPERATURE)
            added = max(min(most, moist - vapour), 0.0)
            vapour += added
            warm = dry_bulb(h + added * WATER_HEAT * WATER_TEMPERATURE, vapour)
    return Supply(
        temperature=warm,
        humidity_ratio=vapour,
        dry_temperature=dry,
        fog=fog,
        water_added=added * mass_flow,
        coil_heat=taken * mass_flow,
        coil_water=condensed * mass_flow,
        coil_temperature=surface,
        defrost_power=melting * mass_flow,
    )


def on_straight_line(
    entering_enthalpy: float,
    humidity_ratio: float,
    surface_temperature: float,
    wanted_enthalpy: float,
    bypass_factor: float,
    pressure: float,
) -> tuple[float, float]:
    """
    Heat and water that a coil takes from air it meets for part of the time.

    Parameters
    ----------
    entering_enthalpy : float
        Of the air that comes. [J/kg dry air]
    humidity_ratio : float
        Of the air that comes. [kg/kg dry air]
    surface_temperature : float
        Of the coil. [°C]
    wanted_enthalpy : float
        Heat wanted from each kilogram; infinite for all that the surface can give. [J/kg dry air]
    bypass_factor : float
        Share of the air that misses the surface. [0-1]
    pressure : float
        Air pressure. [Pa]

    Returns
    -------
    heat : float
        Sensible, latent and, below 0 °C, for freezing: what is wanted, at most what the surface
        can give. [J/kg dry air]
    water : float
        Condensed or frozen. [kg/kg dry air]

    Notes
    -----
    The state of the air moves on the straight line to saturated air at the surface, as in
    ``coil``; this form keeps the balances of an hour and costs one saturation.
    """
    level = min(saturated(surface_temperature, pressure), humidity_ratio)
    water = humidity_ratio - level
    span = entering_enthalpy - enthalpy(surface_temperature, level)
    span = max(span - water * fog_heat(surface_temperature), LEAST_SPAN)
    share = min(wanted_enthalpy / span, 1.0 - bypass_factor)
    return share * span, share * water


def coil_heat_for(
    wanted_temperature: float,
    mass_flow: float,
    entering_temperature: float,
    entering_humidity_ratio: float,
    coil_temperature_difference: float,
    bypass_factor: float,
    pressure: float,
) -> float:
    """
    Coil duty that brings air down to a temperature, on the straight line to the surface.

    Parameters
    ----------
    wanted_temperature : float
        Dry bulb of the air that leaves. [°C]
    mass_flow : float
        Of dry air. [kg/s]
    entering_temperature : float
        Of the air that comes. [°C]
    entering_humidity_ratio : float
        Of the air that comes. [kg/kg dry air]
    coil_temperature_difference : float
        Entering air less surface. [K]
    bypass_factor : float
        Share of the air that misses the surface. [0-1]
    pressure : float
        Air pressure. [Pa]

    Returns
    -------
    float
        Sensible and latent; 0 where the air is cold enough already, at most what the surface can
        give. [W]
    """
    surface = entering_temperature - coil_temperature_difference
    whole, water = on_straight_line(
        enthalpy(entering_temperature, entering_humidity_ratio),
        entering_humidity_ratio,
        surface,
        math.inf,
        0.0,
        pressure,
    )
    # Melting what freezes warms the air again.
    thaw = melting_heat_to_store(water, surface) / AIR_HEAT if surface < 0.0 else 0.0
    share = (entering_temperature - wanted_temperature) / (coil_temperature_difference - thaw)
    return mass_flow * whole * min(max(share, 0.0), 1.0 - bypass_factor)


def fresh_fraction_for(
    wanted_temperature: float,
    wanted_humidity: float,
    water_capacity: float,
    mass_flow: float,
    outside_temperature: float,
    outside_humidity_ratio: float,
    return_temperature: float,
    return_humidity_ratio: float,
    pressure: float,
    heat: float = 0.0,
) -> float:
    """
    Part of fresh air that brings the plenum to a wanted state, solved on enthalpy.

    Parameters
    ----------
    wanted_temperature : float
        Plenum dry bulb, after fan and humidifier. [°C]
    wanted_humidity : float
        Relative humidity that the humidifier works up to; 0 for off. [0-1]
    water_capacity : float
        Most water the humidifier can evaporate. [kg/s]
    mass_flow : float
        Dry air through the fans. [kg/s]
    outside_temperature, return_temperature : float
        Dry bulb. [°C]
    outside_humidity_ratio, return_humidity_ratio : float
        Humidity ratio. [kg/kg dry air]
    pressure : float
        Air pressure. [Pa]
    heat : float
        Heat of fans and heater into the air. [W]

    Returns
    -------
    float
        Fresh fraction, not limited to 0-1: below 0 no outside air can do it, above 1 all of
        it is not enough. [1]

    Notes
    -----
    At the wanted temperature the enthalpy is linear in the water content, and both mix
    linearly, so each case (humidifier short of capacity, humidifier reaching its humidity, no
    water needed, fog) has a closed solution; the case that applies is the one whose own
    assumption holds. A law on dry bulb alone opens too far in frost, where mixing makes fog.
    """
    h_return = enthalpy(return_temperature, return_humidity_ratio)
    dh = enthalpy(outside_temperature, outside_humidity_ratio) - h_return
    dw = outside_humidity_ratio - return_humidity_ratio
    start = h_return + heat / mass_flow
    dry = AIR_HEAT * wanted_temperature
    per_water = EVAPORATION + VAPOUR_HEAT * wanted_temperature
    full = saturated(wanted_temperature, pressure)
    none = (dry + return_humidity_ratio * per_water - start) / _apart(dh - dw * per_water)
    own = return_humidity_ratio + none * dw
    level = at_humidity(full, wanted_humidity)
    capacity = water_capacity / mass_flow
    if wanted_humidity > 0.0 and capacity > 0.0 and level > own:
        liquid = WATER_HEAT * WATER_TEMPERATURE
        lacking = level - return_humidity_ratio
        reached = (dry + level * per_water - start - lacking * liquid) / _apart(dh - dw * liquid)
        if lacking - reached * dw > capacity:
            water = return_humidity_ratio + capacity
            top = dry + water * per_water - start - capacity * liquid
            return top / _apart(dh - dw * per_water)
        return reached
    if not own <= full:
        carried = fog_heat(wanted_temperature)
        top = dry + full * per_water - start - (full - return_humidity_ratio) * carried
        return top / _apart(dh - dw * carried)
    return none


def _apart(difference: float) -> float:
    """A divisor kept off zero: outside air just like return air can do nothing either way."""
    return APART if abs(difference) < APART else difference
