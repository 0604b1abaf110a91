"""How much fresh air a bay full of CO2 takes now, and what it may do to the crop."""

from __future__ import annotations

import math

from ventcalc.advice.devices import (
    LEAST_SPAN,
    bleed_share,
    coil_heat,
    door_for,
    drying_share,
    mist_setpoint,
    supply_of,
)
from ventcalc.advice.setpoints import coldest_supply, dry_air_flow, fan_power
from ventcalc.advice.situation import Situation
from ventcalc.air.plain import AIR_HEAT, VAPOUR_HEAT, dew_point, saturated
from ventcalc.bay.description import fresh_fraction_at
from ventcalc.bay.hourly import HourlyBay

__all__ = [
    "CO2_DANGEROUS",
    "PEOPLE_CO2",
    "SWEATS",
    "URGENT",
    "fresh_behind_coil",
    "fresh_share",
    "sweat_borne",
]

PEOPLE_CO2 = 5000e-6
"""Limit of a working day (OSHA 29 CFR 1910.1000 table Z-1; ACGIH TLV-TWA). [1]"""
CO2_DANGEROUS = 40_000e-6
"""Immediately dangerous to life or health (NIOSH pocket guide, IDLH of carbon dioxide). [1]"""
SUFFOCATING = 0.25 * CO2_DANGEROUS
"""From which on a change of air may wet the coldest tubers a little, our own. [1]"""
SWEATS = 1.5
"""
Dew point above the coldest tuber that is borne at twice as much CO2, more with more: a change of
air takes some 15 minutes and leaves some 5 g/t of water for each kelvin, while a bay at rest grows
both wetter and warmer; our own. [K]
"""
WIDEST_PURGE = 4.0
"""Times its limit of CO2 up to which the door of a fresh-air run opens wider. [1]"""
URGENT = 2.0
"""Times its limit of CO2 from which on fresh air outranks a warm supply and people are told. [1]"""
URGENT_STEP = 2.0
"""Supply above recirculated air that is then borne, for each time its limit over the first. [K]"""


def sweat_borne(now: Situation) -> float:
    """Dew point above the coldest tuber that does less harm than no air; 0 without a probe. [K]"""
    over = now.readings.co2 / SUFFOCATING - 1.0
    return SWEATS * over if over > 0.0 else 0.0


def fresh_share(
    bay: HourlyBay, now: Situation, humidity_wanted: float, gently: bool
) -> tuple[float, bool]:
    """
    Fresh fraction for a change of air with so much humidity wanted [0-1], and whether there is one
    that does no harm.

    At least the opening of a fresh-air run (wider the more CO2 there is, unless ``gently``), or as
    much as makes the mixture dry enough for the coldest tuber; at most what keeps the plenum above
    its floor and within the coldest and the warmest supply allowed. The more CO2, the warmer a
    supply is borne, and a doubt about its dew point no longer counts, but for pulp that seems to
    read warm.
    """
    if not now.outside_known:
        return now.leak, False
    seen = now.readings
    times = 1.0 if gently or math.isnan(seen.co2) else seen.co2 / bay.limits.co2
    wider = min(max(times, 1.0), WIDEST_PURGE)
    wide = fresh_fraction_at(bay.doors, min(wider * bay.control.fresh_air_opening, 1.0))
    wettest = seen.pulp_coldest - (now.pulp_warm if times > URGENT else now.wetting_margin)
    drying = drying_share(now, now.run_humidity_ratio, saturated(wettest, now.pressure))
    coldest = coldest_supply(bay, seen.pulp_coldest)
    warmest = seen.pulp_coldest + bay.limits.warm_supply_difference
    if times > URGENT:
        warmest = max(warmest, now.run_temperature + URGENT_STEP * (times - 1.0))
    hot = now.outside_temperature >= now.run_temperature
    if hot:
        most = _warmed_share(bay, now, warmest)
    else:
        most = door_for(bay, now, coldest, mist_setpoint(bay, now), bay.fans.minimum_speed)
    most = now.leak if math.isnan(most) else min(most, now.widest)
    share = min(max(wide, drying), most)
    if share > now.leak and share >= drying:
        return share, True
    if gently:
        return now.leak, False
    # Through the whole door, air that is dry but hot leaves room for mist that cools it.
    if hot and _undiluted(bay, now, humidity_wanted, coldest, warmest, wettest):
        return now.widest, True
    borne = sweat_borne(now)
    sweats = seen.pulp_coldest - now.pulp_warm + borne
    if borne > 0.0 and _undiluted(bay, now, 0.0, coldest, warmest, sweats):
        return now.widest, True
    return now.leak, False


def fresh_behind_coil(bay: HourlyBay, now: Situation) -> tuple[float, float]:
    """
    Fresh fraction [0-1] and duty of the refrigeration [W] of a slow change of air, however warm it
    is outside; 0 W where it would warm or wet the crop, or cool a pile that is cool enough.
    """
    speed = bay.fans.minimum_speed
    share = bleed_share(bay, now, True, speed)
    if not share > now.leak or now.excess < -bay.limits.band:
        return now.leak, 0.0
    duty = coil_heat(bay, now, speed, share)
    if not duty > 0.0:
        return now.leak, 0.0
    end = supply_of(bay, now, speed, share, 0.0, duty)
    warm = end.temperature > now.readings.pulp_coldest + bay.limits.warm_supply_difference
    if warm or end.humidity_ratio + end.fog > now.vapour_limit:
        return now.leak, 0.0
    return share, duty


def _undiluted(
    bay: HourlyBay, now: Situation, humidity: float, coldest: float, warmest: float, wettest: float
) -> bool:
    """Whether all the fresh air there is makes a supply within these limits. [°C]"""
    end = supply_of(bay, now, bay.fans.minimum_speed, now.widest, humidity)
    dew = dew_point(end.humidity_ratio + end.fog, now.pressure)
    return coldest <= end.temperature <= warmest and dew <= wettest


def _warmed_share(bay: HourlyBay, now: Situation, warmest: float) -> float:
    """Fresh fraction of a slow run that warms its air that far, fans' heat paid. [1]"""
    flow = dry_air_flow(bay, bay.fans.minimum_speed, now.pressure)
    rise = fan_power(bay, bay.fans.minimum_speed) / (flow * AIR_HEAT)
    warm = warmest - rise
    if not warm > now.run_temperature:
        return 0.0
    if now.outside_temperature - warm < LEAST_SPAN:
        return 1.0
    moist, wet = now.run_humidity_ratio, now.outside_humidity_ratio
    gained = (AIR_HEAT + VAPOUR_HEAT * moist) * (warm - now.run_temperature)
    given = (AIR_HEAT + VAPOUR_HEAT * wet) * (now.outside_temperature - warm)
    return gained / (gained + given)
