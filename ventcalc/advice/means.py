"""Means of cooling, warming and changing the air: how far each would go now, and whether it may."""

from __future__ import annotations

from typing import Any

from ventcalc._ops import Ops
from ventcalc.advice import aims
from ventcalc.advice.situation import Situation
from ventcalc.air import plain as plain_air
from ventcalc.air.plain import AIR_HEAT
from ventcalc.bay.description import Bay, capacity_of, coil_of, fresh_fraction_at
from ventcalc.equipment import plenum

__all__ = ["bleed_share", "coil_heat", "fresh_share", "heater_heat", "warm_share"]

WARMER_FOR_CO2 = 5.0
"""Warmer supply accepted for fresh air when CO2 nears twice its limit. [K]"""


def bleed_share(bay: Bay, now: Situation, purge: Any, speed: Any, ops: Ops) -> Any:
    """
    Fresh fraction beside the refrigeration while CO2 is too high, however warm it is outside.

    Parameters
    ----------
    bay : Bay
        The bay.
    now : Situation
        Now.
    purge : array-like of bool
        Whether fresh air is wanted; where nobody wants it nothing is worked out.
    speed : array-like
        Fan speed. [0-1]
    ops : Ops
        Carrier.

    Returns
    -------
    array
        As much fresh air as a fresh-air run takes at the lowest speed; only what leaks where
        that would make the mixture too moist for the coldest tuber before it meets the coil,
        or where outside air is unknown. [0-1]
    """
    leak = bay.doors.leakage_fraction
    return ops.branch(purge, lambda: _bled(bay, now, purge, speed, ops), leak)


def _bled(bay: Bay, now: Situation, purge: Any, speed: Any, ops: Ops) -> Any:
    leak = bay.doors.leakage_fraction
    opening = fresh_fraction_at(bay.doors, bay.control.fresh_air_opening)
    share = ops.maximum(opening * bay.fans.minimum_speed / speed, leak)
    mixed = now.run_humidity_ratio + share * (now.outside_humidity_ratio - now.run_humidity_ratio)
    dry = plain_air.saturated(now.readings.pulp_coldest - 0.1, now.pressure, ops)
    return ops.where(purge & now.outside_known & (mixed <= dry), share, leak)


def coil_heat(bay: Bay, now: Situation, cool: Any, speed: Any, bleed: Any, ops: Ops) -> Any:
    """
    Duty of the refrigeration that would meet the supply wanted.

    Parameters
    ----------
    bay : Bay
        The bay.
    now : Situation
        Now.
    cool : array-like of bool
        Whether heat is wanted out; where nobody wants it nothing is worked out.
    speed : array-like
        Fan speed. [0-1]
    bleed : array-like
        Fresh fraction that the coil must cool too. [0-1]
    ops : Ops
        Carrier.

    Returns
    -------
    array
        0 without refrigeration. [W]
    """
    if bay.refrigeration is None:
        return 0.0
    has = bay.refrigeration.capacity > 0.0
    return ops.branch(cool & has, lambda: _coil_heat(bay, now, speed, bleed, ops), 0.0)


def _coil_heat(bay: Bay, now: Situation, speed: Any, bleed: Any, ops: Ops) -> Any:
    flow = aims.dry_air_flow(bay, speed, now.pressure)
    aim = aims.supply_aim(bay, now.target, now.readings.pulp_coldest, ops)
    rise = aims.fan_power(bay, speed) / (flow * AIR_HEAT)
    known, seen = now.outside_known, now.readings
    warmer = ops.where(known, seen.outside_temperature - now.run_temperature, 0.0)
    moister = ops.where(known, now.outside_humidity_ratio - now.run_humidity_ratio, 0.0)
    duty = plenum.coil_heat_for(
        wanted_temperature=aim - rise,
        mass_flow=flow,
        entering_temperature=now.run_temperature + bleed * warmer,
        entering_humidity_ratio=now.run_humidity_ratio + bleed * moister,
        **coil_of(bay.refrigeration),
        pressure=now.pressure,
    )
    return ops.minimum(duty, capacity_of(bay.refrigeration))


def heater_heat(bay: Bay, now: Situation, ops: Ops) -> tuple[Any, Any]:
    """
    Heat that brings the supply to the warmest allowed.

    Parameters
    ----------
    bay : Bay
        The bay.
    now : Situation
        Now.
    ops : Ops
        Carrier.

    Returns
    -------
    heat : array
        Of the heater. [W]
    good : array of bool
        Whether it warms anything.
    """
    if bay.heater is None:
        return 0.0, False
    flow = aims.dry_air_flow(bay, 1.0, now.pressure)
    aim = now.readings.pulp_coldest + bay.limits.warm_supply_difference
    heat = flow * AIR_HEAT * (aim - now.run_temperature)
    heat = ops.where(ops.isnan(heat), 0.0, heat)
    heat = ops.minimum(ops.maximum(heat, 0.0), bay.heater.capacity)
    return heat, heat > 0.0


def warm_share(bay: Bay, now: Situation, warm: Any, ops: Ops) -> tuple[Any, Any]:
    """
    Fresh fraction that warms the crop, and whether outside air is warm and dry enough.

    Parameters
    ----------
    bay : Bay
        The bay.
    now : Situation
        Now.
    warm : array-like of bool
        Whether warmth is wanted; where nobody wants it nothing is worked out.
    ops : Ops
        Carrier.

    Returns
    -------
    share : array
        Fresh fraction. [0-1]
    good : array of bool
        Whether it may be used.
    """
    nothing = bay.doors.leakage_fraction, False
    found: tuple[Any, Any] = ops.branch(warm, lambda: _warm_share(bay, now, ops), nothing)
    return found


def _warm_share(bay: Bay, now: Situation, ops: Ops) -> tuple[Any, Any]:
    seen = now.readings
    warmer = seen.outside_temperature > seen.pulp_mean + bay.control.outside_offset
    span = ops.where(warmer, seen.outside_temperature - now.run_temperature, 1.0)
    aim = seen.pulp_coldest + bay.limits.warm_supply_difference
    share = (aim - now.run_temperature) / ops.where(abs(span) < 0.1, 0.1, span)
    leak, wide = bay.doors.leakage_fraction, bay.doors.largest_fraction
    share = ops.minimum(ops.maximum(share, leak), wide)
    vapour = now.run_humidity_ratio + share * (now.outside_humidity_ratio - now.run_humidity_ratio)
    vapour = ops.where(ops.isnan(vapour), now.run_humidity_ratio, vapour)
    safe = plain_air.dew_point(vapour, now.pressure, ops) < (
        seen.pulp_coldest - bay.control.confidence * bay.sensors.temperature
    )
    return ops.where(ops.isnan(share), leak, share), warmer & safe & now.outside_known


def fresh_share(bay: Bay, now: Situation, purge: Any, ops: Ops) -> tuple[Any, Any]:
    """
    Fresh fraction for a change of air, and whether there is one that does no harm.

    Parameters
    ----------
    bay : Bay
        The bay.
    now : Situation
        Now.
    purge : array-like of bool
        Whether fresh air is wanted; where nobody wants it nothing is worked out.
    ops : Ops
        Carrier.

    Returns
    -------
    share : array
        Fresh fraction. [0-1]
    good : array of bool
        Whether it may be used.

    Notes
    -----
    At least the opening of a fresh-air run (wider the more CO2 there is), or as much as makes
    the mixture dry enough for the coldest tuber; at most what keeps the plenum above its floor,
    by half of the coldest supply allowed (all of it as CO2 nears twice its limit), and within
    the warmest supply allowed, which gives way likewise.
    """
    nothing = bay.doors.leakage_fraction, False
    found: tuple[Any, Any] = ops.branch(purge, lambda: _fresh_share(bay, now, ops), nothing)
    return found


def _fresh_share(bay: Bay, now: Situation, ops: Ops) -> tuple[Any, Any]:
    seen, where = now.readings, ops.where
    leak, largest = bay.doors.leakage_fraction, bay.doors.largest_fraction
    known = where(ops.isnan(seen.co2), bay.limits.co2, seen.co2)
    more = ops.minimum(ops.maximum(known / bay.limits.co2, 1.0), 4.0)
    wide = fresh_fraction_at(bay.doors, ops.minimum(more * bay.control.fresh_air_opening, 1.0))
    dry = plain_air.saturated(seen.pulp_coldest - 0.1, now.pressure, ops)
    excess = now.run_humidity_ratio - dry
    drier = now.run_humidity_ratio - now.outside_humidity_ratio
    drying = where(drier > 1e-6, excess / where(drier > 1e-6, drier, 1.0), 2.0)
    drying = where(excess > 0.0, drying, 0.0)
    colder = seen.outside_temperature < now.run_temperature
    over = ops.minimum(known / bay.limits.co2, 2.0) - 1.0
    half = 0.5 + 0.5 * ops.maximum(over, 0.0)
    gentle = seen.pulp_coldest - half * bay.limits.supply_difference
    coldest = ops.maximum(gentle, aims.lowest_supply(bay))
    warmest = seen.pulp_coldest + bay.limits.warm_supply_difference
    warmest = where(over >= 1.0, 45.0, warmest + WARMER_FOR_CO2 * ops.maximum(over, 0.0))
    speed = bay.fans.minimum_speed
    humid = aims.humidity_aim(bay, ops)
    most = plenum.fresh_fraction_for(
        wanted_temperature=where(colder, coldest, warmest),
        wanted_humidity=where(colder, humid, 0.0),
        water_capacity=capacity_of(bay.humidifier),
        mass_flow=aims.dry_air_flow(bay, speed, now.pressure),
        outside_temperature=seen.outside_temperature,
        outside_humidity_ratio=now.outside_humidity_ratio,
        return_temperature=now.run_temperature,
        return_humidity_ratio=now.run_humidity_ratio,
        pressure=now.pressure,
        heat=aims.fan_power(bay, speed),
    )
    most = where(ops.isnan(most), leak, ops.minimum(most, largest))
    share = ops.minimum(ops.maximum(wide, drying), most)
    good = (share > leak) & (share >= drying) & now.outside_known
    return where(good, share, leak), good
