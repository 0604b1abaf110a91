"""How far door, coil and heater would go now to cool, warm and refresh, and whether they may."""

from __future__ import annotations

import math

from ventcalc.advice.setpoints import (
    dry_air_flow,
    fan_power,
    humidity_setpoint,
    lowest_supply,
    supply_setpoint,
)
from ventcalc.advice.situation import Situation
from ventcalc.air.plain import AIR_HEAT, dew_point, saturated
from ventcalc.bay.description import fresh_fraction_at
from ventcalc.bay.hourly import HourlyBay
from ventcalc.equipment.plenum import coil_heat_for, fresh_fraction_for

__all__ = [
    "bleed_share",
    "coil_heat",
    "fresh_share",
    "heater_heat",
    "warm_share",
]

PURGE_WETTING_MARGIN = 0.1
"""Coldest tuber above the dew point of air that is changed for CO2. [K]"""
WARMER_FOR_CO2 = 5.0
"""Warmer supply accepted for fresh air when CO2 nears twice its limit. [K]"""
GENTLE = 0.5
"""Part of the coldest supply allowed that a change of air takes; all of it as CO2 doubles. [1]"""
WIDEST_PURGE = 4.0
"""Times its limit of CO2 up to which the door of a fresh-air run opens wider. [1]"""
CO2_FAR_OVER = 2.0
"""Times its limit of CO2 at which warm supply is no objection any more. [1]"""
WARMEST_SUPPLY = 45.0
"""Warmer outside air than any: no limit. [°C]"""
LEAST_SPAN = 0.1
"""Outside air this near to the return can hardly move the supply. [K]"""
DRIER = 1e-6
"""Outside air must be drier than this to dry the return air. [kg/kg dry air]"""


def bleed_share(bay: HourlyBay, now: Situation, purge: bool, speed: float) -> float:
    """
    Fresh fraction beside the refrigeration while CO2 is too high, however warm it is outside.

    As much fresh air as a fresh-air run takes at the lowest speed; only what leaks where that
    would make the mixture too moist for the coldest tuber before it meets the coil. [0-1]
    """
    leak = bay.doors.leakage_fraction
    if not purge or not now.outside_known:
        return leak
    opening = fresh_fraction_at(bay.doors, bay.control.fresh_air_opening)
    share = max(opening * bay.fans.minimum_speed / speed, leak)
    mixed = now.run_humidity_ratio + share * (now.outside_humidity_ratio - now.run_humidity_ratio)
    return share if mixed <= _dry_enough(now) else leak


def _dry_enough(now: Situation) -> float:
    """Humidity ratio of changed air that leaves the coldest tuber dry. [kg/kg dry air]"""
    return saturated(now.readings.pulp_coldest - PURGE_WETTING_MARGIN, now.pressure)


def coil_heat(bay: HourlyBay, now: Situation, speed: float, bleed: float) -> float:
    """Duty of the refrigeration that would meet the supply wanted, bleed air included. [W]"""
    plant = bay.refrigeration
    if not plant.capacity > 0.0:
        return 0.0
    flow = dry_air_flow(bay, speed, now.pressure)
    rise = fan_power(bay, speed) / (flow * AIR_HEAT)
    entering, moist = now.run_temperature, now.run_humidity_ratio
    if now.outside_known:
        entering += bleed * (now.readings.outside_temperature - entering)
        moist += bleed * (now.outside_humidity_ratio - moist)
    duty = coil_heat_for(
        supply_setpoint(bay, now.target, now.readings.pulp_coldest) - rise,
        flow,
        entering,
        moist,
        plant.coil_temperature_difference,
        plant.bypass_factor,
        now.pressure,
    )
    return min(duty, plant.capacity)


def heater_heat(bay: HourlyBay, now: Situation) -> float:
    """Heat that brings the supply of a full run to the warmest allowed; 0 if that is none. [W]"""
    flow = dry_air_flow(bay, 1.0, now.pressure)
    warmest = now.readings.pulp_coldest + bay.limits.warm_supply_difference
    heat = flow * AIR_HEAT * (warmest - now.run_temperature)
    return 0.0 if math.isnan(heat) else min(max(heat, 0.0), bay.heater.capacity)


def warm_share(bay: HourlyBay, now: Situation) -> tuple[float, bool]:
    """Fresh fraction that warms the crop [0-1], and whether outside air is warm and dry enough."""
    seen = now.readings
    leak, wide = bay.doors.leakage_fraction, bay.doors.largest_fraction
    if not now.outside_known or not (
        seen.outside_temperature > seen.pulp_mean + bay.control.outside_offset
    ):
        return leak, False
    span = seen.outside_temperature - now.run_temperature
    if abs(span) < LEAST_SPAN:
        span = LEAST_SPAN
    warmest = seen.pulp_coldest + bay.limits.warm_supply_difference
    share = (warmest - now.run_temperature) / span
    share = leak if math.isnan(share) else min(max(share, leak), wide)
    vapour = now.run_humidity_ratio + share * (now.outside_humidity_ratio - now.run_humidity_ratio)
    sure = seen.pulp_coldest - bay.control.confidence * bay.sensors.temperature
    return share, dew_point(vapour, now.pressure) < sure


def fresh_share(bay: HourlyBay, now: Situation) -> tuple[float, bool]:
    """
    Fresh fraction for a change of air [0-1], and whether there is one that does no harm.

    At least the opening of a fresh-air run (wider the more CO2 there is), or as much as makes
    the mixture dry enough for the coldest tuber; at most what keeps the plenum above its floor,
    by half of the coldest supply allowed (all of it as CO2 nears twice its limit), and within
    the warmest supply allowed, which gives way likewise.
    """
    leak = bay.doors.leakage_fraction
    if not now.outside_known:
        return leak, False
    seen, limit = now.readings, bay.limits.co2
    times = 1.0 if math.isnan(seen.co2) else seen.co2 / limit
    wider = min(max(times, 1.0), WIDEST_PURGE)
    wide = fresh_fraction_at(bay.doors, min(wider * bay.control.fresh_air_opening, 1.0))
    drying = _drying_share(now)
    over = min(times, CO2_FAR_OVER) - 1.0
    if seen.outside_temperature < now.run_temperature:
        step = (GENTLE + (1.0 - GENTLE) * max(over, 0.0)) * bay.limits.supply_difference
        setpoint = max(seen.pulp_coldest - step, lowest_supply(bay))
        humidity = humidity_setpoint(bay)
    else:
        setpoint = WARMEST_SUPPLY
        if over < CO2_FAR_OVER - 1.0:
            warmest = seen.pulp_coldest + bay.limits.warm_supply_difference
            setpoint = warmest + WARMER_FOR_CO2 * max(over, 0.0)
        humidity = 0.0
    speed = bay.fans.minimum_speed
    most = fresh_fraction_for(
        setpoint,
        humidity,
        bay.humidifier.capacity,
        dry_air_flow(bay, speed, now.pressure),
        seen.outside_temperature,
        now.outside_humidity_ratio,
        now.run_temperature,
        now.run_humidity_ratio,
        now.pressure,
        fan_power(bay, speed),
    )
    most = leak if math.isnan(most) else min(most, bay.doors.largest_fraction)
    share = min(max(wide, drying), most)
    if share > leak and share >= drying:
        return share, True
    return leak, False


def _drying_share(now: Situation) -> float:
    """Fresh fraction from which on the mixture leaves the coldest tuber dry; 2 if none does. [1]"""
    excess = now.run_humidity_ratio - _dry_enough(now)
    if not excess > 0.0:
        return 0.0
    drier = now.run_humidity_ratio - now.outside_humidity_ratio
    return excess / drier if drier > DRIER else 2.0
