"""
Deep cold: what to do is chosen by what the next hour would bring.

In frost every mixture looks imperfect: it nearly fogs, nearly wets, or is colder than one would
like. Resting because of that is worse, for a pile that rests grows warm and wet. So a few settings
are tried on a small model of the pile; those that could harm it are left out, and the cheapest is
taken. Prices are per tonne of crop, in the currency of the bay file.
"""

from __future__ import annotations

import math
from typing import NamedTuple

from ventcalc.advice.devices import door_for, heater_capacity, mist_setpoint
from ventcalc.advice.setpoints import (
    coldest_doubt,
    crop_mass,
    dew_point_uncertainty,
    dry_air_flow,
    fan_power,
    lowest_supply,
)
from ventcalc.advice.situation import Situation
from ventcalc.air.plain import AIR_HEAT, EVAPORATION, dew_point, saturated
from ventcalc.bay.hourly import HourlyBay
from ventcalc.equipment.plenum import Supply, supply
from ventcalc.pile.crop import CO2_DENSITY, CO2_OUTSIDE, co2_rate, temperature_factor

__all__ = ["DEEP_COLD", "Choice", "choose"]

DEEP_COLD = -5.0
"""Outside air from which on the next hour is predicted. [°C]"""
SPEEDS = (0.0, 1.0)
"""Between the lowest and the full speed. [0-1]"""
BELOW_BOTTOM = (0.3, 0.9, 1.5)
"""Supply set below the bottom pulp by the door. [K]"""
HEATED_SHARES = (0.03, 0.07, 0.12)
"""Fresh fractions that a heater brings to just above the bottom pulp. [0-1]"""
HEATED_ABOVE = 0.3
"""[K]"""
FRESH_SHARES = (0.02, 0.05, 0.15)
"""Fresh fractions for CO2. [0-1]"""
WARMEST_STEP = 3.4
"""Supply above the coldest pulp that is not tried any more. [K]"""
WETTING_ROOM = 0.2
"""Dew point above the coldest pulp, less half of what the probes leave open, that is tried. [K]"""
FRESH_DOUBT, FRESH_COUNTS = 0.5, 0.1
"""Part of a dew point's uncertainty that fresh air brings in, from this fresh fraction on. [1]"""
TARGET_PRICE, BELOW_TARGET = 0.8, 0.05
"""Per K² of the mean pulp off what is aimed at, a little below the target. [1/(t K²), K]"""
BOTTOM_PRICE, BOTTOM_BAND = 0.05, 0.9
"""Per K² of the bottom below the target. [1/(t K²), K]"""
WATER_WEIGHT = 1.5
"""Times the price of the crop for water that it loses. [1]"""
CO2_PRICE = 0.04
"""Per share over the limit. [1/t]"""
UNMEASURED = 2.0
"""Times its limit of CO2 that is taken where no probe tells and fresh air is due, our own. [1]"""
FILM_PRICE, FILM_UNIT, FILM_MOST = 0.04, 5e-6, 4.0
"""Per 5 g/t of water that lies down, at most four times that. [1/t, kg/kg, 1]"""
WARM_PRICE, WARM_FROM = 0.008, 1.5
"""Per K² of supply above the coldest pulp. [1/(t K²), K]"""
SWEATS_IN_HOUR = 0.2
"""Film on the top at rest, in units of the film's price, per kelvin that a roof sweats. [1/K]"""
START_PRICE, STOP_PRICE, SOON = 0.006, 0.05, 7200.0
"""Per start; to stop so soon after one. [1/t, 1/t, s]"""
UNREAD = 0.4
"""
Supply above its floor that is asked of a start: the return air of the run is then reckoned from
pulp probes, which may read a kelvin high; our own. [K]
"""
TRANSFER_UNITS = 0.6
"""Of vapour in a pile at full flow; more the slower the air. [1]"""
BOTTOM_SHARE = 0.15
"""Of the pile that feels the supply first. [0-1]"""
PORES, AIR_DENSITY = 0.35, 1.25
"""Air in a pile, of its volume; at some 5 °C and 1 000 hPa (from memory). [0-1, kg/m³]"""
ROUND_OFF = 0.01
"""Supply that a set point just reaches. [K]"""
BOTTOM_EXCHANGE = 0.6
"""Part of the way to the bottom tubers' temperature that air goes there. [1]"""


class Choice(NamedTuple):
    """Settings, their supply, and what the next hour would cost with them."""

    fan_speed: float
    """0 for rest. [0-1]"""
    fresh_fraction: float
    """[0-1]"""
    humidity_wanted: float
    """[0-1]"""
    heater_heat: float
    """[W]"""
    cost: float
    """Per tonne of crop. [1/t]"""


class _Hour(NamedTuple):
    """What is the same for every setting."""

    mass: float
    """Crop in the bay. [kg]"""
    bottom: float
    """Coldest of the bottom. [°C]"""
    floor: float
    """Supply below which none is tried. [°C]"""
    fresh_doubt: float
    """Half of what the probes leave open in fresh air. [K]"""
    probes_doubt: float
    """What too few pulp probes leave open. [K]"""
    level: float
    """Air in balance with the tubers. [kg/kg dry air]"""
    full: float
    """Saturated at the coldest tuber. [kg/kg dry air]"""
    warming: float
    """Heat of respiration of the settled crop. [W]"""
    co2: float
    """In the bay. [1]"""


class _Blown(NamedTuple):
    """What is the same for every setting at one fan speed."""

    fan_speed: float
    """[0-1]"""
    mass_flow: float
    """Dry air. [kg/s]"""
    power: float
    """Of the fans. [W]"""
    exchange: float
    """Part of the way to the tubers' vapour pressure that air goes in the pile. [1]"""
    reach: float
    """Part of the way to the supply's temperature that the bottom goes in an hour. [1]"""


def _hour(bay: HourlyBay, now: Situation, stale: bool, fan_on: bool) -> _Hour:
    seen, coldest = now.readings, now.readings.pulp_coldest
    factor = temperature_factor(seen.pulp_mean, bay.crop)
    lowest = lowest_supply(bay) + (0.0 if fan_on else UNREAD)
    mass = crop_mass(bay, seen.loaded)
    return _Hour(
        mass=mass,
        bottom=min(seen.pulp_bottom, coldest),
        floor=min(lowest, now.run_temperature),
        fresh_doubt=FRESH_DOUBT * dew_point_uncertainty(bay, coldest, bay.limits.plenum_humidity),
        probes_doubt=coldest_doubt(seen.pulp_probes) + now.pulp_warm,
        level=bay.crop.water_activity * saturated(seen.pulp_mean, now.pressure),
        full=saturated(coldest, now.pressure),
        warming=bay.crop.respiration_settled * factor * mass,
        co2=UNMEASURED * bay.limits.co2 if stale and math.isnan(seen.co2) else seen.co2,
    )


def _blown(bay: HourlyBay, now: Situation, mass: float, fan_speed: float) -> _Blown:
    flow = dry_air_flow(bay, fan_speed, now.pressure)
    holds, hour = mass * bay.crop.specific_heat, bay.control.validity
    return _Blown(
        fan_speed=fan_speed,
        mass_flow=flow,
        power=fan_power(bay, fan_speed),
        exchange=1.0 - math.exp(-TRANSFER_UNITS / fan_speed),
        reach=1.0 - math.exp(-BOTTOM_EXCHANGE * flow * AIR_HEAT * hour / (BOTTOM_SHARE * holds)),
    )


def choose(bay: HourlyBay, now: Situation, stale: bool, fan_on: bool, fan_since: float) -> Choice:
    """
    The cheapest setting that cannot harm the crop; rest is always one of them.

    ``stale``: fresh air is due.
    """
    hour = _hour(bay, now, stale, fan_on)
    best = Choice(0.0, now.leak, 0.0, 0.0, _cost_of_rest(bay, now, hour, fan_on, fan_since))
    mist = mist_setpoint(bay, now)
    for part in SPEEDS:
        speed = bay.fans.minimum_speed + part * (1.0 - bay.fans.minimum_speed)
        air = _blown(bay, now, hour.mass, speed)
        best = _better(bay, now, hour, air, best, now.leak, 0.0, 0.0, fan_on)
        for below in BELOW_BOTTOM:
            setpoint = max(hour.bottom - below, hour.floor)
            for humidity in (mist, 0.0):
                share = door_for(bay, now, setpoint, humidity, speed)
                if humidity > 0.0 or not share <= now.leak:  # else it has been tried
                    best = _better(bay, now, hour, air, best, share, humidity, 0.0, fan_on)
        for fresh in FRESH_SHARES:
            best = _better(bay, now, hour, air, best, fresh, 0.0, 0.0, fan_on)
    capacity = heater_capacity(bay, now)
    if capacity > 0.0:
        air = _blown(bay, now, hour.mass, bay.fans.minimum_speed)
        for fresh in HEATED_SHARES:
            mixed = now.run_temperature + fresh * (now.outside_temperature - now.run_temperature)
            warm = hour.bottom + HEATED_ABOVE
            lacking = air.mass_flow * AIR_HEAT * (warm - mixed) - air.power
            heat = min(max(lacking, 0.0), capacity)
            best = _better(bay, now, hour, air, best, fresh, 0.0, heat, fan_on)
    return best


def _better(
    bay: HourlyBay,
    now: Situation,
    hour: _Hour,
    air: _Blown,
    best: Choice,
    fresh: float,
    humidity: float,
    heat: float,
    fan_on: bool,
) -> Choice:
    """These settings, if they are harmless and cheaper than the best so far."""
    share = min(max(fresh, now.leak), now.widest)
    shut = share <= now.leak
    end = supply(
        air.mass_flow,
        share,
        now.outside_temperature,
        now.outside_humidity_ratio,
        now.run_temperature,
        now.recirculated_humidity_ratio if shut else now.run_humidity_ratio,
        now.pressure,
        air.power + heat,
        0.0,
        0.0,
        0.0,
        humidity,
        bay.humidifier.capacity,
        now.vapour_limit,
    )
    if _harms(bay, now, hour, share, end):
        return best
    cost = _cost_of_run(bay, now, hour, air, share, end, heat, fan_on)
    return Choice(air.fan_speed, share, humidity, heat, cost) if cost < best.cost else best


def _harms(bay: HourlyBay, now: Situation, hour: _Hour, share: float, end: Supply) -> bool:
    """Supply that is too cold, too far below the bottom, too warm or too moist."""
    coldest = now.readings.pulp_coldest
    if end.temperature < hour.floor - ROUND_OFF:
        return True
    if end.temperature < hour.bottom - bay.limits.supply_difference - ROUND_OFF:
        return True
    if end.temperature > coldest + WARMEST_STEP:
        return True
    dew = dew_point(end.humidity_ratio + end.fog, now.pressure)
    # Recirculated air passes the same probes as the pile; fresh air brings their errors in.
    doubt = hour.fresh_doubt * min(share / FRESH_COUNTS, 1.0) + hour.probes_doubt
    return dew > coldest + WETTING_ROOM - doubt


def _cost_of_rest(
    bay: HourlyBay, now: Situation, hour: _Hour, fan_on: bool, fan_since: float
) -> float:
    """An hour without air: the pile warms, its top sweats under a cold roof, CO2 rises. [1/t]"""
    seen = now.readings
    rise = hour.warming * bay.control.validity / (hour.mass * bay.crop.specific_heat)
    sweating = max(now.return_dew_point - now.ceiling, 0.0)
    film = FILM_UNIT * min(SWEATS_IN_HOUR * sweating, FILM_MOST)
    cost = _thermal_cost(now, seen.pulp_mean + rise, seen.pulp_bottom + rise)
    cost += _co2_cost(bay, hour, 0.0) + FILM_PRICE * min(film / FILM_UNIT, FILM_MOST)
    return cost + STOP_PRICE if fan_on and fan_since < SOON else cost


def _cost_of_run(
    bay: HourlyBay,
    now: Situation,
    hour: _Hour,
    air: _Blown,
    share: float,
    end: Supply,
    heat: float,
    fan_on: bool,
) -> float:
    """An hour of air: what the pile gains and loses by it, what it costs. [1/t]"""
    seen, span, flow = now.readings, bay.control.validity, air.mass_flow
    water = flow * air.exchange * (hour.level - end.humidity_ratio - end.fog)
    drawn = flow * AIR_HEAT * (seen.pulp_top - end.temperature) + EVAPORATION * water
    mean = seen.pulp_mean + (hour.warming - drawn) * span / (hour.mass * bay.crop.specific_heat)
    bottom = seen.pulp_bottom + air.reach * (end.temperature - seen.pulp_bottom)
    film = max(end.humidity_ratio + end.fog - hour.full, 0.0) * flow * span / hour.mass
    cost = _thermal_cost(now, mean, bottom)
    cost += WATER_WEIGHT * bay.costs.crop * 1000.0 * max(water, 0.0) * span / hour.mass
    cost += bay.costs.electricity * ((air.power + heat) * span) / (hour.mass / 1000.0)
    cost += _co2_cost(bay, hour, share * flow)
    cost += FILM_PRICE * min(film / FILM_UNIT, FILM_MOST)
    warm = max(end.temperature - seen.pulp_coldest - WARM_FROM, 0.0)
    cost += WARM_PRICE * warm * warm
    return cost if fan_on else cost + START_PRICE


def _thermal_cost(now: Situation, mean: float, bottom: float) -> float:
    """Pile off its target, bottom below it. [1/t]"""
    off = mean - now.target + BELOW_TARGET
    under = max(now.target - bottom - BOTTOM_BAND, 0.0)
    return TARGET_PRICE * off * off + BOTTOM_PRICE * under * under


def _co2_cost(bay: HourlyBay, hour: _Hour, fresh_air: float) -> float:
    """CO2 at the end of the hour against its limit; nothing where it is not known. [1/t]"""
    before = hour.co2
    if math.isnan(before):
        return 0.0
    volume = PORES * bay.pile.volume + bay.envelope.headspace_volume
    change = fresh_air / AIR_DENSITY + bay.envelope.leakage * volume
    made: float = co2_rate(hour.warming, bay.crop) / CO2_DENSITY
    settled: float = CO2_OUTSIDE + made / max(change, 1e-9)
    after = settled + (before - settled) * math.exp(-change * bay.control.validity / volume)
    over = max(after / bay.limits.co2 - 1.0, 0.0)
    return CO2_PRICE * over * (1.0 + over)
