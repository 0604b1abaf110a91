"""How far door, coil and heater would go now to cool, warm and refresh, and whether they may."""

from __future__ import annotations

import math

from ventcalc.advice.readings import HEATER_OUT, HUMIDIFIER_OUT, REFRIGERATION_OUT
from ventcalc.advice.setpoints import (
    coldest_supply,
    dry_air_flow,
    fan_power,
    humidity_setpoint,
    supply_setpoint,
)
from ventcalc.advice.situation import Situation
from ventcalc.air.plain import AIR_HEAT, dew_point
from ventcalc.bay.description import fresh_fraction_at
from ventcalc.bay.hourly import HourlyBay
from ventcalc.equipment.plenum import Supply, coil_heat_for, fresh_fraction_for, supply

__all__ = [
    "LEAST_SPAN",
    "bleed_share",
    "coil_heat",
    "door_for",
    "drying_share",
    "evened",
    "heated_share",
    "heater_capacity",
    "heater_heat",
    "mist_lacks",
    "mist_setpoint",
    "supply_of",
    "warm_share",
]

LEAST_SPAN = 0.1
"""Outside air this near to the return can hardly move the supply. [K]"""
DRIER = 1e-6
"""Outside air must be drier than this to dry the return air. [kg/kg dry air]"""
MIST_GIVEN_UP = 3 * 3600.0
"""Time after which a humidifier that shows no cooling is not reckoned with. [s]"""
ROTS = 0.02
"""Part of a crop that rots from which on it is kept dry; common practice, no source. [0-1]"""


def mist_lacks(bay: HourlyBay, now: Situation) -> bool:
    """Whether a humidifier that is there gives nothing."""
    told = (now.readings.out_of_order & HUMIDIFIER_OUT) > 0
    found = now.findings.humidifier_lacking > MIST_GIVEN_UP
    return bay.humidifier.capacity > 0.0 and (told or found)


def mist_setpoint(bay: HourlyBay, now: Situation) -> float:
    """Humidity to work up to; 0 for a wet or rotting crop, and where no mist comes. [0-1]"""
    told = now.readings
    if told.crop_wet or told.rot_share > ROTS or mist_lacks(bay, now):
        return 0.0
    return humidity_setpoint(bay)


def heater_capacity(bay: HourlyBay, now: Situation) -> float:
    """Of a heater that works. [W]"""
    return 0.0 if now.readings.out_of_order & HEATER_OUT else bay.heater.capacity


def bleed_share(bay: HourlyBay, now: Situation, wanted: bool, speed: float) -> float:
    """
    Fresh fraction beside the refrigeration where CO2 asks for it, however warm it is outside.

    As much fresh air as a fresh-air run takes at the lowest speed; only what leaks where the
    mixture would be moister than the return air is, and too moist for the coldest tuber, also
    behind the coil. [0-1]
    """
    if not wanted or not now.outside_known:
        return now.leak
    opening: float = fresh_fraction_at(bay.doors, bay.control.fresh_air_opening)
    share = min(max(opening * bay.fans.minimum_speed / speed, now.leak), now.widest)
    mixed = now.run_humidity_ratio + share * (now.outside_humidity_ratio - now.run_humidity_ratio)
    enough = max(now.vapour_limit, now.run_humidity_ratio)
    if mixed <= enough or _coil_dries(bay, now, speed, share):
        return share
    return now.leak


def _coil_dries(bay: HourlyBay, now: Situation, speed: float, share: float) -> bool:
    """Whether the mixture still cools behind the refrigeration, and is dry enough there."""
    duty = coil_heat(bay, now, speed, share)
    if not duty > 0.0:
        return False
    end = supply_of(bay, now, speed, share, 0.0, duty)
    cools = end.temperature < now.readings.pulp_coldest
    return cools and end.humidity_ratio + end.fog <= now.vapour_limit


def drying_share(now: Situation, inside: float, dry: float) -> float:
    """
    Fresh fraction from which on a mixture with air of the bay is dry enough, both [kg/kg dry air];
    2 if none is. [1]
    """
    excess = inside - dry
    if not excess > 0.0:
        return 0.0
    drier = inside - now.outside_humidity_ratio
    return excess / drier if drier > DRIER else 2.0


def coil_heat(bay: HourlyBay, now: Situation, speed: float, bleed: float) -> float:
    """Duty of the refrigeration that would meet the supply wanted, bleed air included. [W]"""
    plant = bay.refrigeration
    if not plant.capacity > 0.0 or now.readings.out_of_order & REFRIGERATION_OUT:
        return 0.0
    flow = dry_air_flow(bay, speed, now.pressure)
    rise = fan_power(bay, speed) / (flow * AIR_HEAT)
    entering, moist = now.run_temperature, now.run_humidity_ratio
    if now.outside_known:
        entering += bleed * (now.outside_temperature - entering)
        moist += bleed * (now.outside_humidity_ratio - moist)
    duty = coil_heat_for(
        supply_setpoint(bay, now.target, now.readings.pulp_coldest, now.excess) - rise,
        flow,
        entering,
        moist,
        plant.coil_temperature_difference,
        plant.bypass_factor,
        now.pressure,
    )
    return min(duty, plant.capacity)


def heated_share(bay: HourlyBay, now: Situation) -> tuple[float, bool]:
    """
    Fresh fraction that keeps heated air from wetting the crop [0-1], and whether the heater can.

    None but what leaks where recirculated air is dry enough; else as much as dries the mixture,
    if that comes out warmer than the pile.
    """
    if not now.recirculated_dew_point > now.readings.pulp_coldest:
        return now.leak, True
    if not now.outside_known:
        return now.leak, False
    share = max(drying_share(now, now.recirculated_humidity_ratio, now.vapour_limit), now.leak)
    if share > now.widest:
        return now.leak, False
    mixed = now.run_temperature + share * (now.outside_temperature - now.run_temperature)
    rise = heater_capacity(bay, now) / (dry_air_flow(bay, 1.0, now.pressure) * AIR_HEAT)
    return share, mixed + rise > now.readings.pulp_mean


def evened(bay: HourlyBay, now: Situation) -> tuple[float, float, bool]:
    """
    Fresh fraction [0-1] and heat [W] of a slow run that dries the coldest tubers, and whether it
    leaves them no colder and the others no warmer.
    """
    if not now.outside_known:
        return now.leak, 0.0, False
    seen, speed = now.readings, bay.fans.minimum_speed
    share = max(drying_share(now, now.recirculated_humidity_ratio, now.vapour_limit), now.leak)
    warmest = min(seen.pulp_mean, seen.pulp_coldest + bay.limits.warm_supply_difference)
    capacity = dry_air_flow(bay, speed, now.pressure) * AIR_HEAT
    mixed = now.run_temperature + share * (now.outside_temperature - now.run_temperature)
    mixed += fan_power(bay, speed) / capacity
    heat = min(max(capacity * (warmest - mixed), 0.0), heater_capacity(bay, now))
    end = mixed + heat / capacity
    kind = seen.pulp_coldest <= end <= seen.pulp_coldest + bay.limits.warm_supply_difference
    # Truck doors may have cooled what a run draws at its start.
    first = end + (1.0 - share) * min(seen.return_temperature - now.run_temperature, 0.0)
    coldest = coldest_supply(bay, seen.pulp_coldest)
    return share, heat, share <= now.widest and kind and first >= coldest


def heater_heat(bay: HourlyBay, now: Situation, share: float) -> float:
    """Heat that brings a full run with so much fresh air to the warmest supply allowed. [W]"""
    flow = dry_air_flow(bay, 1.0, now.pressure)
    warmest = now.readings.pulp_coldest + bay.limits.warm_supply_difference
    mixed = now.run_temperature
    if now.outside_known and share > now.leak:
        mixed += share * (now.outside_temperature - mixed)
    heat = flow * AIR_HEAT * (warmest - mixed)
    return 0.0 if math.isnan(heat) else min(max(heat, 0.0), heater_capacity(bay, now))


def warm_share(bay: HourlyBay, now: Situation) -> tuple[float, bool]:
    """Fresh fraction that warms the crop [0-1], and whether outside air is warm and dry enough."""
    seen = now.readings
    warmer = now.outside_temperature > seen.pulp_mean + bay.control.outside_offset
    if not now.outside_known or not warmer:
        return now.leak, False
    span = now.outside_temperature - now.run_temperature
    if abs(span) < LEAST_SPAN:
        span = LEAST_SPAN
    warmest = seen.pulp_coldest + bay.limits.warm_supply_difference
    share = (warmest - now.run_temperature) / span
    share = now.leak if math.isnan(share) else min(max(share, now.leak), now.widest)
    vapour = now.run_humidity_ratio + share * (now.outside_humidity_ratio - now.run_humidity_ratio)
    return share, dew_point(vapour, now.pressure) < seen.pulp_coldest - now.wetting_margin


def door_for(
    bay: HourlyBay, now: Situation, setpoint: float, humidity_wanted: float, speed: float
) -> float:
    """Fresh fraction that brings the supply to a set point. [0-1]"""
    return fresh_fraction_for(
        setpoint,
        humidity_wanted,
        bay.humidifier.capacity,
        dry_air_flow(bay, speed, now.pressure),
        now.outside_temperature,
        now.outside_humidity_ratio,
        now.run_temperature,
        now.run_humidity_ratio,
        now.pressure,
        fan_power(bay, speed),
    )


def supply_of(
    bay: HourlyBay,
    now: Situation,
    fan_speed: float,
    fraction: float,
    humidity_wanted: float,
    duty: float = 0.0,
) -> Supply:
    """The plenum that a door opening would give, with so much heat taken by the coil, no heater."""
    return supply(
        dry_air_flow(bay, fan_speed, now.pressure),
        fraction,
        now.outside_temperature,
        now.outside_humidity_ratio,
        now.run_temperature,
        now.run_humidity_ratio,
        now.pressure,
        fan_power(bay, fan_speed),
        duty,
        bay.refrigeration.coil_temperature_difference,
        bay.refrigeration.bypass_factor,
        humidity_wanted,
        bay.humidifier.capacity,
        now.vapour_limit,
    )
