"""May outside air cool the pile now, how much, through what opening, and what binds?"""

from __future__ import annotations

import math
from enum import IntEnum
from typing import NamedTuple

from ventcalc.advice.devices import door_for, drying_share, supply_of
from ventcalc.advice.setpoints import (
    coldest_doubt,
    coldest_supply,
    crop_mass,
    dew_point_uncertainty,
    dry_air_flow,
    fan_power,
)
from ventcalc.advice.situation import Situation
from ventcalc.air.plain import AIR_HEAT, dew_point, enthalpy, relative_humidity
from ventcalc.bay.hourly import HourlyBay
from ventcalc.equipment.plenum import Supply

__all__ = ["Binding", "OutsideAir", "Verdict", "judge"]

FOG_LIMIT = 1.5e-4
"""
Fog that may enter the ducts. Tubers warmer than the air dry it within the first layers, which
the wetting margin makes sure of by counting the fog as vapour; more would drip in the plenum.
Common practice, no source. [kg/kg dry air]
"""
HALVINGS = 7
"""Of the door opening, to find the widest without fog: to a hundredth of its stroke."""
DRIEST_PROBE = 0.05
"""Humidity below which the uncertainty of a dew point grows no further. [0-1]"""


class Verdict(IntEnum):
    """Whether outside air may cool the pile."""

    UNKNOWN = -1
    FORBIDDEN = 0
    ALLOWED = 1


class Binding(IntEnum):
    """What stops outside air, or what holds the door."""

    NONE = 0
    NOTHING_TO_COOL = 1
    RAMP_LIMIT = 2
    MISSING_READING = 3
    NOT_COLD_ENOUGH = 4
    FREEZING = 5
    WETS_CROP = 6
    CEILING_DRIP = 7
    MIXING_FOG = 8


# Plain integers: looking a member up in its class costs more than comparing it.
UNKNOWN, FORBIDDEN, ALLOWED = map(int, Verdict)
(
    NONE,
    NOTHING_TO_COOL,
    RAMP_LIMIT,
    MISSING_READING,
    NOT_COLD_ENOUGH,
    FREEZING,
    WETS_CROP,
    CEILING_DRIP,
    MIXING_FOG,
) = map(int, Binding)


class OutsideAir(NamedTuple):
    """The verdict with its numbers; margins are positive when safe."""

    verdict: int
    """Code of ``Verdict``."""
    binding: int
    """Code of ``Binding``: why not, or what keeps the door from opening further."""
    fresh_fraction: float
    """Part of the fans' air that would be fresh. [1]"""
    plenum_temperature: float
    """[°C]"""
    plenum_humidity_ratio: float
    """[kg/kg dry air]"""
    plenum_dew_point: float
    """[°C]"""
    cooling: float
    """Heat taken from the bay, sensible and latent, fan heat paid. [W]"""
    pile_rate: float
    """Cooling of the whole pile that this heat would give. [K/s]"""
    cold_margin: float
    """Pulp less offset less the coldest plenum that the outside air can give. [K]"""
    floor_margin: float
    """Plenum above the supply floor. [K]"""
    wetting_margin: float
    """Coldest exposed tuber above the dew point of the plenum's vapour and fog. [K]"""
    wetting_uncertainty: float
    """Standard uncertainty of it. [K]"""
    drip_margin: float
    """Ceiling above the plenum's dew point. [K]"""
    fog: float
    """Liquid carried into the ducts. [kg/kg dry air]"""
    water_added: float
    """Evaporated by the humidifier. [kg/s]"""


def judge(
    bay: HourlyBay,
    now: Situation,
    fan_speed: float,
    pulp: float,
    setpoint: float,
    humidity_wanted: float,
    wanted: bool,
    cools: bool,
) -> OutsideAir:
    """
    The outside-air verdict.

    Cooling is judged on temperature against the pulp; humidity only forbids what would wet the crop
    or drip from the ceiling, with the sensors' uncertainty carried through. Where a margin is
    smaller than that, the answer is "unknown". Fog that mixing makes beyond what the ducts can dry
    holds the door closer.
    """
    if not wanted:
        return _nothing_to_cool(bay, now)
    leak, widest = now.leak, now.widest
    fraction = 1.0
    # Outside air no colder than the return can only be judged with the door wide open.
    if now.outside_temperature < now.run_temperature:
        fraction = door_for(bay, now, setpoint, humidity_wanted, fan_speed)
    fraction = leak if math.isnan(fraction) else min(max(fraction, leak), widest)
    if cools and fraction < widest:
        fraction = _dried(bay, now, fan_speed, fraction)
    end = supply_of(bay, now, fan_speed, fraction, humidity_wanted)
    foggy = end.fog > FOG_LIMIT
    if foggy:
        fraction = _without_fog(bay, now, fan_speed, fraction)
        end = supply_of(bay, now, fan_speed, fraction, humidity_wanted)
    return _verdict(bay, now, fan_speed, pulp, fraction, end, foggy)


def _nothing_to_cool(bay: HourlyBay, now: Situation) -> OutsideAir:
    """No heat to take out now: no numbers, no cost."""
    lags = now.readings.pulp_mean > now.final + bay.limits.band
    binding = RAMP_LIMIT if now.ramping and lags else NOTHING_TO_COOL
    n = math.nan
    return OutsideAir(FORBIDDEN, binding, n, n, n, n, n, n, n, n, n, n, n, n, n)


def _dried(bay: HourlyBay, now: Situation, fan_speed: float, fraction: float) -> float:
    """An opening that is wide enough for a dry bottom, if its supply does not chill it. [0-1]"""
    wider = drying_share(now, now.run_humidity_ratio, now.vapour_limit)
    if not wider > fraction:
        return fraction
    coldest = coldest_supply(bay, now.readings.pulp_coldest)
    most = door_for(bay, now, coldest, 0.0, fan_speed)
    return wider if wider <= min(most, now.widest) else fraction


def _without_fog(bay: HourlyBay, now: Situation, fan_speed: float, widest: float) -> float:
    """The widest opening up to ``widest`` whose fog the ducts can dry. [0-1]"""
    low, high = now.leak, widest
    for _ in range(HALVINGS):
        middle = 0.5 * (low + high)
        if supply_of(bay, now, fan_speed, middle, 0.0).fog > FOG_LIMIT:
            high = middle
        else:
            low = middle
    return low


def _verdict(
    bay: HourlyBay,
    now: Situation,
    fan_speed: float,
    pulp: float,
    fraction: float,
    end: Supply,
    foggy: bool,
) -> OutsideAir:
    """Every margin, and the first that decides."""
    flow = dry_air_flow(bay, fan_speed, now.pressure)
    dew = dew_point(end.humidity_ratio + end.fog, now.pressure)
    # Where the door modulates, undiluted outside air with the fans' heat is the coldest to be had
    # (or, dried air cooled by the humidifier, the supply).
    undiluted = now.outside_temperature + fan_power(bay, fan_speed) / (flow * AIR_HEAT)
    cold = pulp - bay.control.outside_offset - min(end.temperature, undiluted)
    floor = end.temperature - bay.limits.plenum_floor
    wet = now.readings.pulp_coldest - dew
    drip = now.ceiling - dew
    sigma = _wetting_uncertainty(bay, now, end, dew)
    sure = bay.control.confidence * sigma
    dry = sure + coldest_doubt(now.readings.pulp_probes) + now.pulp_warm
    if math.isnan(cold + wet + floor):
        verdict, binding = UNKNOWN, MISSING_READING
    elif cold < 0.0:
        verdict, binding = FORBIDDEN, NOT_COLD_ENOUGH
    elif floor < 0.0:
        verdict, binding = FORBIDDEN, FREEZING
    elif wet < -dry:
        verdict, binding = FORBIDDEN, WETS_CROP
    elif wet < dry:
        verdict, binding = UNKNOWN, WETS_CROP
    elif drip < -sure:
        verdict, binding = FORBIDDEN, CEILING_DRIP
    elif drip < 0.0:
        verdict, binding = UNKNOWN, CEILING_DRIP
    else:
        verdict, binding = ALLOWED, MIXING_FOG if foggy else NONE
    cooling = flow * (
        enthalpy(now.run_temperature, now.run_humidity_ratio)
        - enthalpy(end.temperature, end.humidity_ratio)
    )
    return OutsideAir(
        verdict=verdict,
        binding=binding,
        fresh_fraction=fraction,
        plenum_temperature=end.temperature,
        plenum_humidity_ratio=end.humidity_ratio,
        plenum_dew_point=dew,
        cooling=cooling,
        pile_rate=cooling / (crop_mass(bay, now.readings.loaded) * bay.crop.specific_heat),
        cold_margin=cold,
        floor_margin=floor,
        wetting_margin=wet,
        wetting_uncertainty=sigma,
        drip_margin=drip,
        fog=end.fog,
        water_added=end.water_added,
    )


def _wetting_uncertainty(bay: HourlyBay, now: Situation, end: Supply, dew: float) -> float:
    """
    Standard uncertainty of tuber less dew point. [K]

    Air cannot be moister than saturated, so near saturation the humidity probe's error counts
    only as far as there is room for it, and the two temperatures are left.
    """
    relative = relative_humidity(end.temperature, end.humidity_ratio, now.pressure)
    thermometer = bay.sensors.temperature**2
    probe = dew_point_uncertainty(bay, end.temperature, max(relative, DRIEST_PROBE))
    room = max(end.temperature - dew, 0.0) / bay.control.confidence
    part = min(max(probe * probe - thermometer, 0.0), room * room)
    return math.sqrt(2.0 * thermometer + part)
