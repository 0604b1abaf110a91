"""
The way of the air from the doors to the ducts: mixing, coil, fan and heater, humidifier.

The order is that in which the air meets them. Mass flows are of dry air; enthalpies are those
of ``plain_air``, as in the pile and the headspace.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from ventcalc._ops import Ops, ops_for
from ventcalc.air import kernel as kernel
from ventcalc.air import plain as plain_air
from ventcalc.air.plain import AIR_HEAT, EVAPORATION, VAPOUR_HEAT, WATER_HEAT
from ventcalc.equipment.coil import on_straight_line
from ventcalc.equipment.defrost import Defrost, defrost
from ventcalc.errors import check_range

__all__ = ["Supply", "coil_heat_for", "fresh_fraction_for", "supply"]

WATER_TEMPERATURE = 10.0
"""Of the humidifier's water. [°C]"""


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
    """After the doors, before coil and fan, fog left aside. [°C]"""
    water_added: Any
    """Evaporated by the humidifier. [kg/s]"""
    coil_heat: Any
    """Taken out by the coil, sensible and latent, at most what its surface allows. [W]"""
    coil_water: Any
    """Condensed or frozen on the coil. [kg/s]"""
    coil_temperature: Any
    """Of the coil while it cools; the mixed air where there is no duty. [°C]"""
    defrost_power: Any
    """Electrical, to melt what froze; a part of it warms the supply. [W]"""


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
    bypass_factor: Any = 0.0,
    humidity_wanted: Any = 0.0,
    water_capacity: Any = 0.0,
    vapour_limit: Any = 1.0,
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
        Entering air less coil surface while it cools. [K]
    bypass_factor : array-like
        Share of the air that misses the coil's surface. [0-1]
    humidity_wanted : array-like
        Relative humidity up to which the humidifier works; 0 for off. [0-1]
    water_capacity : array-like
        Most water the humidifier can evaporate now. [kg/s]
    vapour_limit : array-like
        Humidity ratio that the humidifier must not exceed. [kg/kg dry air]

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
    h_return = plain_air.enthalpy(return_temperature, return_humidity_ratio)
    h_outside = plain_air.enthalpy(outside_temperature, outside_humidity_ratio)
    enthalpy = h_return + fresh_fraction * (h_outside - h_return)
    water = return_humidity_ratio + fresh_fraction * (
        outside_humidity_ratio - return_humidity_ratio
    )
    mixed = plain_air.temperature(enthalpy, water)
    untouched = _Coiled(enthalpy=enthalpy, water=water, mixed=mixed, surface=mixed)
    coiled = ops.branch(
        coil_heat != 0.0,
        lambda: _over_coil(
            untouched,
            coil_heat / mass_flow,
            coil_temperature_difference,
            bypass_factor,
            pressure,
            ops,
        ),
        untouched,
    )
    enthalpy = coiled.enthalpy + heat / mass_flow
    warm, vapour, fog = plain_air.split(enthalpy, coiled.water, pressure, ops)
    added = 0.0
    if not (isinstance(humidity_wanted, float | int) and humidity_wanted == 0.0):
        most = ops.minimum(water_capacity / mass_flow, vapour_limit - vapour)
        # What is unknown must not look like "no need": NaN goes through the humidifier.
        idle = (humidity_wanted <= 0.0) | (fog > 0.0) | ((most <= 0.0) & (warm == warm))
        works = ops.negate(idle)

        def humidified() -> tuple[Any, Any]:
            wet = plain_air.humidified(
                warm, vapour, pressure, ops.maximum(humidity_wanted, 0.1), WATER_TEMPERATURE, ops
            )
            added = ops.maximum(ops.minimum(wet - vapour, most), 0.0)
            moist = enthalpy + added * WATER_HEAT * WATER_TEMPERATURE
            return added, plain_air.temperature(moist, vapour + added)

        added, warm = ops.branch(works, humidified, (ops.where(works, 0.0, 0.0), warm))
        vapour = vapour + added
    return Supply(
        temperature=warm,
        humidity_ratio=vapour,
        fog=fog,
        mixed_temperature=coiled.mixed,
        water_added=added * mass_flow,
        coil_heat=coiled.taken * mass_flow,
        coil_water=coiled.condensed * mass_flow,
        coil_temperature=coiled.surface,
        defrost_power=coiled.melting * mass_flow,
    )


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class _Coiled:
    """Air after the coil, per kg of dry air."""

    enthalpy: Any
    water: Any
    mixed: Any
    surface: Any
    taken: Any = 0.0
    condensed: Any = 0.0
    melting: Any = 0.0


def _over_coil(
    before: _Coiled,
    wanted: Any,
    coil_temperature_difference: Any,
    bypass_factor: Any,
    pressure: Any,
    ops: Ops,
) -> _Coiled:
    mixed, vapour, _ = plain_air.split(before.enthalpy, before.water, pressure, ops)
    surface = mixed - coil_temperature_difference
    taken, condensed = on_straight_line(
        enthalpy=plain_air.enthalpy(mixed, vapour),
        humidity_ratio=vapour,
        surface_temperature=surface,
        wanted_enthalpy=wanted,
        bypass_factor=bypass_factor,
        pressure=pressure,
        ops=ops,
    )
    melted = _melted(condensed, surface, ops)
    left = before.enthalpy - taken - condensed * plain_air.fog_heat(surface, ops)
    return _Coiled(
        enthalpy=left + melted.heat_to_store,
        water=before.water - condensed,
        mixed=mixed,
        surface=surface,
        taken=taken,
        condensed=condensed,
        melting=melted.energy,
    )


def _melted(condensed: Any, surface: Any, ops: Ops) -> Defrost:
    """Defrosting of what a coil took out, where its surface is below 0 °C. [J/kg dry air]"""
    ice = ops.where(surface < 0.0, condensed, 0.0)
    return defrost(ice, surface_temperature=ops.minimum(surface, 0.0))


def coil_heat_for(
    *,
    wanted_temperature: Any,
    mass_flow: Any,
    entering_temperature: Any,
    entering_humidity_ratio: Any,
    coil_temperature_difference: Any,
    pressure: Any,
    bypass_factor: Any = 0.0,
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
    bypass_factor : array-like
        Share of the air that misses the coil's surface. [0-1]

    Returns
    -------
    array
        Sensible and latent heat; 0 when the air is cold enough already, at most what the
        surface can give. [W]
    """
    ops = ops_for(wanted_temperature, mass_flow, entering_temperature, entering_humidity_ratio)
    entering = plain_air.enthalpy(entering_temperature, entering_humidity_ratio)
    surface = entering_temperature - coil_temperature_difference
    whole, water = on_straight_line(
        enthalpy=entering,
        humidity_ratio=entering_humidity_ratio,
        surface_temperature=surface,
        wanted_enthalpy=float("inf"),
        bypass_factor=0.0,
        pressure=pressure,
        ops=ops,
    )
    # Melting what freezes warms the air again.
    thaw = _melted(water, surface, ops).heat_to_store / AIR_HEAT
    share = (entering_temperature - wanted_temperature) / (coil_temperature_difference - thaw)
    return mass_flow * whole * ops.minimum(ops.maximum(share, 0.0), 1.0 - bypass_factor)


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
    h_out = plain_air.enthalpy(outside_temperature, outside_humidity_ratio)
    h_ret = plain_air.enthalpy(return_temperature, return_humidity_ratio)
    dry = AIR_HEAT * wanted_temperature
    full = kernel.saturated(ops, wanted_temperature, pressure)
    per_water = EVAPORATION + VAPOUR_HEAT * wanted_temperature
    liquid = WATER_HEAT * WATER_TEMPERATURE
    aim = plain_air.at_humidity(full, wanted_humidity)
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
    foggy = fraction(full, True, plain_air.fog_heat(wanted_temperature, ops))
    own = return_humidity_ratio + none * dw
    lacking = aim - (return_humidity_ratio + aimed * dw)
    humid = ops.where(lacking > capacity, short, aimed)
    plain = ops.where(own > full, foggy, none)
    works = (wanted_humidity > 0.0) & (capacity > 0.0)
    return ops.where(works & (aim > own), humid, plain)


def _apart(difference: Any, ops: Ops) -> Any:
    """A divisor kept off zero: outside air just like return air can do nothing either way."""
    return ops.where(abs(difference) < 1e-6, 1e-6, difference)
