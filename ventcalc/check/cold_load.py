"""Heat that a cooling plant must take out of a bay on a warm day, without any outside air."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from ventcalc import air
from ventcalc.air.plain import AIR_HEAT
from ventcalc.bay.description import Bay
from ventcalc.building.envelope import conductance, heat_gain, leakage_mass_flow
from ventcalc.check.crop_state import CropState
from ventcalc.check.pile_carbon import free_air
from ventcalc.equipment.refrigeration import (
    HeatFlow,
    Load,
    air_load,
    evaporation_load,
    refrigeration_load,
)
from ventcalc.pile.crop import crop_for

__all__ = ["RUNNING_SHARE", "WarmDay", "cold_load", "crop_water", "speed_for_heat"]

RUNNING_SHARE = 20.0 / 24.0
"""Compressor 20 h a day: National Horticulture Board of India, technical standard 01:2010."""


@dataclass(frozen=True, kw_only=True, slots=True)
class WarmDay:
    """Means of a warm day outside."""

    temperature: float
    """Dry bulb. [°C]"""
    humidity_ratio: float
    """[kg/kg dry air]"""
    roof_temperature: float
    """Sol-air temperature of the roof in the sun. [°C]"""


def crop_water(bay: Bay, crop: CropState, mass: Any) -> Any:
    """Water that the crop loses at the plenum's humidity and the pulp's temperature. [kg/s]"""
    kind = crop_for(bay.use)
    gap = max(kind.water_activity - bay.limits.plenum_humidity, 0.0)
    pull = crop.transpiration_coefficient * gap
    return float(pull * air.saturation_pressure(crop.temperature)) * mass


def speed_for_heat(bay: Bay, *, heat: Any, airflow: Any, density: float) -> Any:
    """
    Fan speed that carries respiration heat [W] within the limit of spread; it may exceed 1.

    ``airflow`` is that of full speed [m³/s]; evaporation does not help.
    """
    return heat / (density * AIR_HEAT * airflow * bay.limits.spread)


def cold_load(
    bay: Bay,
    crop: CropState,
    day: WarmDay,
    *,
    mass: Any,
    airflow: Any,
    fan_power: Any,
    fan_speed: Any,
    water: Any,
    pressure: float,
    melting: Any = 0.0,
    reserve: float = 0.0,
) -> Load:
    """
    Load of a cooling plant on a warm day, part by part; the floor is not counted.

    ``fan_power`` [W] and ``airflow`` [m³/s] are of full speed, ``melting`` [W] is the mean heat
    that defrosting leaves in the store, ``reserve`` a part added on top.
    """
    inside, envelope = crop.temperature, bay.envelope
    ratio = air.humidity_ratio(inside, bay.limits.plenum_humidity, pressure)
    volume = air.specific_volume(inside, ratio, pressure)
    leak = leakage_mass_flow(free_air(bay, mass), envelope.leakage, volume)
    # Through shut doors, while the fans suck at them.
    leak += bay.doors.leakage_fraction * fan_speed * airflow / volume
    fresh = np.maximum(crop.fresh_airflow / volume - leak, 0.0)

    def by_air(mass_flow: Any) -> HeatFlow:
        return air_load(
            mass_flow=mass_flow,
            outside_temperature=day.temperature,
            outside_humidity_ratio=day.humidity_ratio,
            inside_temperature=inside,
            inside_humidity_ratio=ratio,
            pressure=pressure,
        )

    walls = conductance(envelope.wall_area, envelope.wall_u)
    roof = conductance(envelope.ceiling_area, envelope.ceiling_u)
    return refrigeration_load(
        field_heat=crop.field_heat,
        respiration=crop.heat,
        envelope=heat_gain(walls, day.temperature, inside)
        + heat_gain(roof, day.roof_temperature, inside),
        fans=fan_power * fan_speed**3,
        evaporation=evaporation_load(water, inside, pressure),
        leakage=by_air(leak),
        fresh_air=by_air(fresh),
        defrost=melting,
        running_share=RUNNING_SHARE,
        reserve=reserve,
    )
