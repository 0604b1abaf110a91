"""
How much cooling a store needs, split sensible and latent, and what a unit of it costs.

Sensible heat lowers temperatures; latent heat is water that the coil takes from the air, and
so in the end from the crop. The plant itself is in ``refrigerant_cycle`` and ``coil``: mind
the cautions there, refrigerants can kill.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np

from ventcalc import air
from ventcalc.air.plain import WATER_HEAT
from ventcalc.errors import check_range

__all__ = [
    "CoolingCost",
    "HeatFlow",
    "Load",
    "air_load",
    "cooling_cost",
    "evaporation_load",
    "field_heat",
    "refrigeration_load",
]


class HeatFlow(NamedTuple):
    """Heat into the store."""

    sensible: Any
    """[W]"""
    latent: Any
    """[W]"""


NO_HEAT = HeatFlow(0.0, 0.0)


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Load:
    """What the coil must take out, part by part."""

    parts: Mapping[str, HeatFlow]
    """By cause. [W]"""
    sensible: Any
    """[W]"""
    latent: Any
    """[W]"""
    total: Any
    """Mean over the time considered. [W]"""
    capacity: Any
    """
    To be installed: total, but not below the sensible load where dry air takes the latent heat;
    more for the share of time it runs, and the reserve. [W]
    """


def field_heat(*, mass: Any, specific_heat: Any, temperature_drop: Any, time: Any) -> Any:
    """
    Mean heat flow of a crop that is cooled.

    Parameters
    ----------
    mass : array-like
        Crop. [kg]
    specific_heat : array-like
        Of the crop. [J/(kg K)]
    temperature_drop : array-like
        Kelvin to go; negative while warming. [K]
    time : array-like
        Time it may take, above zero. [s]

    Returns
    -------
    array
        Heat flow. [W]

    Raises
    ------
    OutOfRange
        If a value is out of range.
    """
    check_range("mass", mass, 0.0, 1e9, "kg", "tonnes?")
    check_range("specific_heat", specific_heat, 1000.0, 5000.0, "J/(kg K)", "kJ/(kg K)?")
    check_range("temperature_drop", temperature_drop, -40.0, 40.0, "K")
    check_range("time", time, 60.0, 1e9, "s", "hours or days?")
    return mass * specific_heat * temperature_drop / time


def air_load(
    *,
    mass_flow: Any,
    outside_temperature: Any,
    outside_humidity_ratio: Any,
    inside_temperature: Any,
    inside_humidity_ratio: Any,
    pressure: Any,
) -> HeatFlow:
    """
    Heat that outside air brings, by leaks or as fresh air.

    Parameters
    ----------
    mass_flow : array-like
        Dry air exchanged. [kg/s]
    outside_temperature, inside_temperature : array-like
        Dry bulb. [°C]
    outside_humidity_ratio, inside_humidity_ratio : array-like
        Humidity ratio. [kg/kg dry air]
    pressure : array-like
        Air pressure. [Pa]

    Returns
    -------
    HeatFlow
        Both together are the flow times the difference in enthalpy; negative where outside
        air is the colder or drier. [W]

    Raises
    ------
    OutOfRange
        If the flow is negative or air is out of range.
    """
    check_range("mass_flow", mass_flow, 0.0, 1e4, "kg/s")
    outside = air.enthalpy(outside_temperature, outside_humidity_ratio, pressure)
    cooled = air.enthalpy(inside_temperature, outside_humidity_ratio, pressure)
    inside = air.enthalpy(inside_temperature, inside_humidity_ratio, pressure)
    return HeatFlow(mass_flow * (outside - cooled), mass_flow * (cooled - inside))


def evaporation_load(water: Any, temperature: Any, pressure: Any) -> HeatFlow:
    """
    Water evaporating from the crop: sensible heat turned latent, no heat in sum.

    Parameters
    ----------
    water : array-like
        Water evaporated. [kg/s]
    temperature : array-like
        Pulp temperature, 0-40. [°C]
    pressure : array-like
        Air pressure. [Pa]

    Returns
    -------
    HeatFlow
        Of opposite signs. [W]

    Raises
    ------
    OutOfRange
        If air is out of range.
    """
    step = 0.01  # any will do: enthalpy is linear in the humidity ratio
    dry = air.enthalpy(temperature, 0.0 * temperature, pressure)
    vapour = (air.enthalpy(temperature, step + 0.0 * temperature, pressure) - dry) / step
    heat = water * (vapour - WATER_HEAT * temperature)
    return HeatFlow(-heat, heat)


def refrigeration_load(
    *,
    field_heat: Any = 0.0,
    respiration: Any = 0.0,
    envelope: Any = 0.0,
    fans: Any = 0.0,
    evaporation: HeatFlow = NO_HEAT,
    leakage: HeatFlow = NO_HEAT,
    fresh_air: HeatFlow = NO_HEAT,
    defrost: Any = 0.0,
    lights: Any = 0.0,
    people: Any = 0.0,
    running_share: Any = 1.0,
    reserve: Any = 0.0,
) -> Load:
    """
    Refrigeration load, for a design hour or a pull-down.

    Parameters
    ----------
    field_heat : array-like
        From `field_heat`, over a day of the ramp or the whole pull-down. [W]
    respiration : array-like
        Heat of respiration of the crop, by its temperature and age. [W]
    envelope : array-like
        Through walls, roof and floor, with sun. [W]
    fans : array-like
        All electrical power of fans in the airstream. [W]
    evaporation : HeatFlow
        From `evaporation_load`. [W]
    leakage, fresh_air : HeatFlow
        From `air_load`. [W]
    defrost : array-like
        Mean heat that defrosting leaves in the store. [W]
    lights, people : array-like
        Mean. [W]
    running_share : array-like
        Share of the day that the compressor may run, for example 20/24. [0-1]
    reserve : array-like
        Added on top, 0.1 for a tenth. [1]

    Returns
    -------
    Load
        Parts and sums; what is zero is listed too, so that a forgotten part is seen.

    Raises
    ------
    OutOfRange
        If the share or the reserve is out of range.
    """
    check_range("running_share", running_share, 0.05, 1.0, "", "hours instead of a share?")
    check_range("reserve", reserve, 0.0, 1.0, "", "percent?")
    parts = {
        "field_heat": HeatFlow(field_heat, 0.0),
        "respiration": HeatFlow(respiration, 0.0),
        "evaporation": evaporation,
        "envelope": HeatFlow(envelope, 0.0),
        "leakage": leakage,
        "fresh_air": fresh_air,
        "fans": HeatFlow(fans, 0.0),
        "defrost": HeatFlow(defrost, 0.0),
        "lights": HeatFlow(lights, 0.0),
        "people": HeatFlow(people, 0.0),
    }
    sensible: Any = sum(part.sensible for part in parts.values())
    latent: Any = sum(part.latent for part in parts.values())
    total = sensible + latent
    return Load(
        parts=parts,
        sensible=sensible,
        latent=latent,
        total=total,
        capacity=(sensible + np.maximum(latent, 0.0)) * (1.0 + reserve) / running_share,
    )


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class CoolingCost:
    """Cost of taking heat from the crop; money in the currency of the prices."""

    cooling: Any
    """Heat taken from the crop. [W]"""
    water: Any
    """Water taken from the crop; negative where it is wetted. [kg/s]"""
    energy_cost: Any
    """[money/J of cooling]"""
    water_cost: Any
    """[money/J of cooling]"""
    total_cost: Any
    """Infinite where the air does not cool; times 3.6e6 per kWh of cooling. [money/J]"""


def cooling_cost(
    *,
    mass_flow: Any,
    supply_temperature: Any,
    supply_humidity_ratio: Any,
    return_temperature: Any,
    return_humidity_ratio: Any,
    pressure: Any,
    power: Any,
    electricity_price: Any,
    crop_price: Any,
) -> CoolingCost:
    """
    Cost of cooling a pile with the air given; the same question for outside air and for a coil.

    Parameters
    ----------
    mass_flow : array-like
        Dry air through the pile. [kg/s]
    supply_temperature, return_temperature : array-like
        Dry bulb entering and leaving the pile. [°C]
    supply_humidity_ratio, return_humidity_ratio : array-like
        Humidity ratio entering and leaving the pile. [kg/kg dry air]
    pressure : array-like
        Air pressure. [Pa]
    power : array-like
        All electrical power that it takes: fans and humidifier; with refrigeration also
        ``coil heat / performance``, condenser fans and defrost. [W]
    electricity_price : array-like
        Price of electrical energy. [money/J]
    crop_price : array-like
        Price of the crop, at which water lost is sold no more. [money/kg]

    Returns
    -------
    CoolingCost
        Per joule of heat taken from the crop.

    Raises
    ------
    OutOfRange
        If a price or flow is negative or air is out of range.

    Notes
    -----
    Heat taken from the crop is the rise of the air's enthalpy less the enthalpy that the
    evaporated water had as liquid; the fan's heat, being in the supply temperature, counts
    against it by itself. Compressor wear and the plant's capital are not in it.
    """
    check_range("electricity_price", electricity_price, 0.0, 1e-5, "money/J", "per kWh?")
    check_range("crop_price", crop_price, 0.0, 100.0, "money/kg", "per tonne?")
    check_range("mass_flow", mass_flow, 0.0, 1e5, "kg/s")
    check_range("power", power, 0.0, 1e8, "W")
    gain = air.enthalpy(return_temperature, return_humidity_ratio, pressure) - air.enthalpy(
        supply_temperature, supply_humidity_ratio, pressure
    )
    water = mass_flow * (return_humidity_ratio - supply_humidity_ratio)
    cooling = mass_flow * gain - water * WATER_HEAT * return_temperature
    warms = cooling <= 0.0  # false too for NaN, which the division hands on
    divisor = np.where(warms, 1.0, cooling)
    energy_cost = np.where(warms, np.inf, power * electricity_price / divisor)[()]
    water_cost = np.where(warms, 0.0, water * crop_price / divisor)[()]
    return CoolingCost(
        cooling=cooling,
        water=water,
        energy_cost=energy_cost,
        water_cost=water_cost,
        total_cost=energy_cost + water_cost,
    )
