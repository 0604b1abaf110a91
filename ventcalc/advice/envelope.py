"""The last look at an advice: what supply would it give, and would that harm the crop?"""

from __future__ import annotations

import math

from ventcalc.advice.action import (
    CHOSEN,
    FRESH_AIR,
    HANDS_OFF,
    PEOPLE_INSIDE,
    PROTECT,
    REST,
    Advice,
    Needs,
    Run,
)
from ventcalc.advice.freeze_guard import Guard
from ventcalc.advice.fresh_air import URGENT, sweat_borne
from ventcalc.advice.outside_air import FREEZING, NONE, WETS_CROP, OutsideAir
from ventcalc.advice.readings import FANS_OUT
from ventcalc.advice.setpoints import dry_air_flow, fan_power, lowest_supply
from ventcalc.advice.situation import Situation
from ventcalc.air.plain import dew_point, relative_humidity
from ventcalc.bay.description import door_opening_at
from ventcalc.bay.hourly import HourlyBay
from ventcalc.equipment.plenum import Supply, supply

__all__ = ["PROTECT_WETS", "SHORTEST", "within_envelope"]

PROTECT_WETS = 0.5
"""Dew point above the coldest pulp that freeze protection bears with. [K]"""
NEAR_FLOOR = 1.0
"""Supply this far above its floor needs no earlier look. [K]"""
SHORTEST = 300.0
"""Advice never ends sooner. [s]"""
ROUND_OFF = 1e-6
"""Supply below its floor that is round-off. [K]"""


def within_envelope(
    bay: HourlyBay,
    now: Situation,
    needs: Needs,
    outside: OutsideAir,
    run: Run,
    frost: Guard,
    fan_since: float,
) -> tuple[Advice, float, float]:
    """
    Look at the supply that the settings would give, and stop what would harm the crop.

    Gives also the fresh fraction and the humidifier's cooling that are expected.
    """
    seen = now.readings
    lowest = seen.pulp_coldest - bay.limits.supply_difference
    end = _expected_plenum(bay, now, run, bay.humidifier.capacity)
    dry_end = end.dry_temperature
    if end.water_added > 0.0 and end.temperature < lowest:  # the mist would chill: less of it
        part = max((dry_end - lowest) / (dry_end - end.temperature), 0.0)
        end = _expected_plenum(bay, now, run, part * end.water_added)
    closes = now.outside_temperature < now.run_temperature and run.fresh_fraction > now.leak
    # With people inside only frost closes it: rather less fresh air than none that moves.
    least = lowest_supply(bay) if run.action == PEOPLE_INSIDE else lowest
    if dry_end < least - ROUND_OFF and closes and now.usable:
        run = _less_fresh(bay, now, run, least, dry_end)
        end = _expected_plenum(bay, now, run, 0.0)
        dry_end = end.temperature
    dew = dew_point(end.humidity_ratio + end.fog, now.pressure)
    relative = relative_humidity(end.temperature, end.humidity_ratio, now.pressure)
    stopped_by = NONE
    if run.fan_speed > 0.0:
        floor = min(bay.limits.plenum_floor, now.run_temperature)
        if end.temperature < floor - ROUND_OFF:
            stopped_by = FREEZING
        elif _wets(bay, now, run.action, frost, dew):
            stopped_by = WETS_CROP
    hands_off = run.action == HANDS_OFF
    stopped = stopped_by != NONE and not hands_off
    dead = now.readings.out_of_order & FANS_OUT
    runs = run.fan_speed > 0.0 and not stopped and not hands_off and not dead
    fan = door = mist = coil = heat = math.nan if hands_off else 0.0
    if runs:
        fan = run.fan_speed
        # One that is stuck is told to shut: so it shows when it moves again.
        if math.isnan(now.findings.door_share):
            door = min(max(door_opening_at(bay.doors, run.fresh_fraction), 0.0), 1.0)
        mist = _share(end.water_added, bay.humidifier.capacity)
        coil = _share(run.coil_heat, bay.refrigeration.capacity)
        heat = _share(run.heater_heat, bay.heater.capacity)
    urgent = run.action == PROTECT or run.action == PEOPLE_INSIDE
    action = REST if stopped and not urgent else run.action
    humidity = relative if runs and end.water_added > 0.0 else 0.0
    advice = Advice(
        action=action,
        fan_speed=fan,
        door_opening=door,
        humidifier=mist,
        refrigeration=coil,
        heater=heat,
        plenum_temperature=end.temperature,
        plenum_relative_humidity=relative,
        plenum_dew_point=dew,
        humidity_wanted=humidity,
        stopped_by=stopped_by,
        freeze_stage=frost.stage,
        pulp_cold=frost.pulp_cold,
        fan_since=fan_since,
        outside=outside,
        needs=needs,
        situation=now,
        valid_for=_valid_for(bay, now, frost, end.temperature, runs),
    )
    return advice, run.fresh_fraction, dry_end - end.temperature


def _less_fresh(bay: HourlyBay, now: Situation, run: Run, lowest: float, cold: float) -> Run:
    """The same with the door closer, so that a supply without mist is not too cold."""
    shut = _with_share(run, now.leak)
    warm = _expected_plenum(bay, now, shut, 0.0).temperature
    if not warm > cold:  # all but shut
        return shut
    part = min(max((warm - lowest) / (warm - cold), 0.0), 1.0)
    return _with_share(run, now.leak + part * (run.fresh_fraction - now.leak))


def _with_share(run: Run, share: float) -> Run:
    return Run(
        action=run.action,
        fan_speed=run.fan_speed,
        fresh_fraction=share,
        coil_heat=run.coil_heat,
        heater_heat=run.heater_heat,
        humidity_wanted=run.humidity_wanted,
    )


def _wets(bay: HourlyBay, now: Situation, action: int, frost: Guard, dew: float) -> bool:
    """People, frost and suffocation outrank wetting; a choice by its consequences was weighed."""
    above = dew - (now.readings.pulp_coldest - now.pulp_warm)
    if action == PEOPLE_INSIDE:
        return False
    if action == PROTECT:
        return not frost.pulp_cold and above > PROTECT_WETS
    if action == FRESH_AIR:
        return above > sweat_borne(now)
    return action != CHOSEN and above > 0.0


def _valid_for(
    bay: HourlyBay, now: Situation, frost: Guard, supply_temperature: float, runs: bool
) -> float:
    """Shorter the nearer to a limit, down to five minutes. [s]"""
    room = 1.0
    if runs:
        room = min(room, (supply_temperature - bay.limits.plenum_floor) / NEAR_FLOOR)
    if not math.isnan(now.readings.co2):
        room = min(room, URGENT - now.readings.co2 / bay.limits.co2)
    watched = frost.stage > 0 or frost.over or now.readings.people_inside
    if watched or not now.usable or not math.isnan(now.readings.pulp_odd):
        room = 0.0
    shortest = min(SHORTEST, bay.control.validity)
    return shortest + min(max(room, 0.0), 1.0) * (bay.control.validity - shortest)


def _share(wanted: float, capacity: float) -> float:
    """Part of a capacity; 0 where there is none. [0-1]"""
    return min(wanted / capacity, 1.0) if capacity > 0.0 else 0.0


def _expected_plenum(bay: HourlyBay, now: Situation, run: Run, water: float) -> Supply:
    """The supply that the settings would give if the fans ran, with so much mist [kg/s]."""
    speed = run.fan_speed if run.fan_speed > 0.0 else 1.0
    known = now.outside_known
    return supply(
        dry_air_flow(bay, speed, now.pressure),
        run.fresh_fraction if known and now.usable else 0.0,
        now.outside_temperature if known else now.run_temperature,
        now.outside_humidity_ratio if known else now.run_humidity_ratio,
        now.run_temperature,
        now.run_humidity_ratio,
        now.pressure,
        fan_power(bay, speed) + run.heater_heat,
        run.coil_heat,
        bay.refrigeration.coil_temperature_difference,
        bay.refrigeration.bypass_factor,
        run.humidity_wanted,
        water,
        now.vapour_limit,
    )
