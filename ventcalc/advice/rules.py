"""
The rules of an hour: what fans, door, humidifier, refrigeration and heater should do now.

They stand in ``_run``, ``_action`` and ``_wanted``, from the most urgent down: the first that
applies decides. ``advise`` calls them for people and programs, the season's loop hour by hour.
"""

from __future__ import annotations

import math
from enum import IntEnum
from typing import NamedTuple

from ventcalc.advice import devices
from ventcalc.advice.chooser import DEEP_COLD, Choice, choose
from ventcalc.advice.freeze_guard import (
    DOOR_SHUT,
    EXIT_ABOVE_FLOOR,
    FANS_OFF,
    PULP_RESERVE,
    Guard,
    guard,
)
from ventcalc.advice.outside_air import (
    ALLOWED,
    FREEZING,
    NONE,
    WETS_CROP,
    OutsideAir,
    judge,
)
from ventcalc.advice.readings import FANS_OUT, Memory, Readings
from ventcalc.advice.setpoints import (
    cooling_speed,
    dry_air_flow,
    fan_power,
    lowest_supply,
    supply_setpoint,
    vapour_limit,
)
from ventcalc.advice.situation import Situation, assess
from ventcalc.air.plain import dew_point, relative_humidity
from ventcalc.bay.calendar import FILLING, UNLOADING, WARM_UP
from ventcalc.bay.description import door_opening_at
from ventcalc.bay.hourly import HourlyBay
from ventcalc.equipment.plenum import Supply, supply

__all__ = ["Action", "Advice", "decide"]

PURGE_UNTIL = 0.7
"""Part of the CO2 limit down to which a change of air goes on. [1]"""
FRESH_ENOUGH = 0.5
"""Part of a fresh-air run's opening that counts as one. [1]"""
REFRESH_FROM = 0.6
"""Part of the CO2 limit from which on fresh air is taken where it does no harm. [1]"""
FILLING_REST = 3600.0
"""Longest rest of fresh, wet or rotting crop. [s]"""
PEOPLE_CO2 = 5000e-6
"""Limit of a working day (OSHA PEL, ACGIH TLV-TWA; NIOSH pocket guide). [1]"""
CO2_DANGEROUS = 40_000e-6
"""Immediately dangerous to life or health (NIOSH pocket guide, IDLH of carbon dioxide). [1]"""
PROTECT_WETS = 0.5
"""Dew point above the coldest pulp that freeze protection bears with. [K]"""
NEAR_FLOOR = 1.0
"""Supply this far above its floor needs no earlier look. [K]"""
SHORTEST = 300.0
"""Advice never ends sooner. [s]"""
ROUND_OFF = 1e-6
"""Supply below its floor that is round-off. [K]"""


class Action(IntEnum):
    """What the advice is about, from least to most urgent."""

    HANDS_OFF = 0
    REST = 1
    WAIT = 2
    FINISH_RUN = 3
    EVEN_OUT = 4
    DRY_CEILING = 5
    TAIL = 6
    FRESH_AIR = 7
    WARM_BY_HEATER = 8
    WARM_BY_OUTSIDE = 9
    COOL_BY_COIL = 10
    COOL_BY_OUTSIDE = 11
    PROTECT = 12
    PEOPLE_INSIDE = 13
    CHOSEN = 14


# Plain integers: looking a member up in its class costs more than comparing it.
(
    HANDS_OFF,
    REST,
    WAIT,
    FINISH_RUN,
    EVEN_OUT,
    DRY_CEILING,
    TAIL,
    FRESH_AIR,
    WARM_BY_HEATER,
    WARM_BY_OUTSIDE,
    COOL_BY_COIL,
    COOL_BY_OUTSIDE,
    PROTECT,
    PEOPLE_INSIDE,
    CHOSEN,
) = map(int, Action)


class Needs(NamedTuple):
    """What the bay asks for, before anything says whether it can be had."""

    cool: bool
    warm: bool
    purge: bool
    even: bool
    drip: bool
    tail: bool
    refresh: bool
    """Fresh air early, where it does no harm."""
    recirculation_wets: bool


class Run(NamedTuple):
    """Settings before the envelope has looked at them."""

    action: int
    """Code of ``Action``."""
    fan_speed: float
    """[0-1]"""
    fresh_fraction: float
    """[0-1]"""
    coil_heat: float
    """[W]"""
    heater_heat: float
    """[W]"""
    humidity_wanted: float
    """[0-1]"""


class Advice(NamedTuple):
    """Positions 0-1 for the next ``valid_for`` seconds; NaN positions mean hands off."""

    action: int
    """Code of ``Action``."""
    fan_speed: float
    """[0-1]"""
    door_opening: float
    """[0-1]"""
    humidifier: float
    """Share of its capacity. [0-1]"""
    refrigeration: float
    """Share of its capacity. [0-1]"""
    heater: float
    """Share of its capacity. [0-1]"""
    plenum_temperature: float
    """Expected supply air, the set point for the door's own loop. [°C]"""
    plenum_relative_humidity: float
    """Expected supply air. [0-1]"""
    plenum_dew_point: float
    """[°C]"""
    humidity_wanted: float
    """Set point of the humidifier; 0 for off. [0-1]"""
    stopped_by: int
    """Code of ``Binding``: a run that was wanted but would have frozen or wetted the crop."""
    freeze_stage: int
    """Code of the stage of freeze protection, 0 none to 3 latched."""
    pulp_cold: bool
    """Whether the pulp itself is near freezing injury."""
    fan_since: float
    """Since the fans last started or stopped, before this advice. [s]"""
    outside: OutsideAir
    """The outside-air verdict, for cooling or for equalizing the pile."""
    needs: Needs
    situation: Situation
    valid_for: float
    """[s]"""


def decide(bay: HourlyBay, readings: Readings, memory: Memory) -> tuple[Advice, Memory]:
    """Readings and memory in, advice and new memory out."""
    now = assess(bay, readings, memory)
    frost = guard(bay, readings, memory, now.elapsed, now.excess)
    needs = _needs(bay, now, memory)
    speed = cooling_speed(bay, now.excess, now.spread)
    outside = _outside(bay, now, needs, speed)
    run = _run(bay, now, needs, outside, speed, memory, frost)
    since = memory.fan_since + now.elapsed
    advice, share, mist = _within_envelope(bay, now, needs, outside, run, frost, since)
    return advice, _remember(bay, now, needs, advice, memory, frost, share, mist)


def _needs(bay: HourlyBay, now: Situation, memory: Memory) -> Needs:
    """What the bay asks for, each with its hysteresis."""
    rules, limits, pulp = bay.control, bay.limits, now.readings
    in_use = now.usable and now.in_use
    above = rules.stop_above if memory.cooling else rules.start_above
    below = rules.stop_above if memory.warming else rules.start_above
    late = now.stage == WARM_UP or now.stage == UNLOADING
    too_cold = pulp.pulp_mean < now.final - limits.band
    refresh = False
    if math.isnan(pulp.co2):
        purge = memory.fresh_left > 0.0 or memory.since_fresh + now.elapsed > rules.fresh_air_every
    else:
        purge = pulp.co2 > (PURGE_UNTIL * limits.co2 if memory.purging else limits.co2)
        refresh = pulp.co2 > REFRESH_FROM * limits.co2
    # Fresh or wet crop is never left without air for long.
    rest = rules.circulate_every
    if now.stage == FILLING or pulp.crop_wet or pulp.rot_share > devices.ROTS:
        rest = min(rest, FILLING_REST)
    idle = memory.since_run + now.elapsed >= rest
    uneven = now.spread > limits.spread
    tail = rules.tail if memory.cooled else memory.tail_left
    return Needs(
        cool=in_use and now.excess > above,
        warm=in_use and now.excess < -below and (late or too_cold),
        purge=in_use and purge,
        even=in_use and (idle or uneven or memory.run_left > 0.0),
        drip=in_use and now.return_dew_point > now.ceiling,
        tail=in_use and tail > 0.0,
        refresh=in_use and refresh,
        recirculation_wets=now.run_dew_point > pulp.pulp_coldest,
    )


def _outside(bay: HourlyBay, now: Situation, needs: Needs, speed: float) -> OutsideAir:
    """The verdict on outside air, for cooling or else for equalizing the pile."""
    pulp = now.readings
    if needs.cool:
        setpoint = supply_setpoint(bay, now.target, pulp.pulp_coldest)
        return judge(bay, now, speed, pulp.pulp_mean, setpoint, True)
    # The mean may not sink below the band only because the pile is equalized.
    room = now.excess > -bay.limits.band
    setpoint = max(pulp.pulp_coldest, lowest_supply(bay))
    return judge(bay, now, speed, pulp.pulp_top, setpoint, (needs.even or needs.drip) and room)


def _run(
    bay: HourlyBay,
    now: Situation,
    needs: Needs,
    outside: OutsideAir,
    speed: float,
    memory: Memory,
    frost: Guard,
) -> Run:
    """The most urgent thing that can be done, with its settings."""
    if now.readings.people_inside:
        return _with_people(bay, now, memory, frost)
    safe = (
        now.usable and now.in_use and frost.stage == 0 and not now.readings.out_of_order & FANS_OUT
    )
    by_consequence = now.outside_temperature < DEEP_COLD or devices.mist_lacks(bay, now)
    if safe and now.outside_known and by_consequence:
        found = choose(bay, now, memory.fan_on, memory.fan_since + now.elapsed)
        return _chosen(bay, now, needs, memory, found)
    leak = now.leak
    allowed = outside.verdict == ALLOWED and now.outside_known
    bleed = devices.bleed_share(bay, now, needs.purge, speed)
    coil = devices.coil_heat(bay, now, speed, bleed) if needs.cool else 0.0
    warm_share, warm_air = devices.warm_share(bay, now) if needs.warm else (leak, False)
    fresh_share, fresh_air = devices.fresh_share(bay, now, False) if needs.purge else (leak, False)
    gentle_share, gentle = devices.fresh_share(bay, now, True) if needs.refresh else (leak, False)
    heater = devices.heater_heat(bay, now)
    action = _action(
        bay, now, needs, memory, frost, allowed, coil, heater, warm_air, fresh_air, gentle
    )
    by_outside = action == COOL_BY_OUTSIDE
    if (action == EVEN_OUT or action == DRY_CEILING) and not needs.cool:
        by_outside = allowed
    share = leak
    if frost.stage >= DOOR_SHUT:
        share = leak
    elif by_outside:
        share = outside.fresh_fraction
    elif action == WARM_BY_OUTSIDE:
        share = warm_share
    elif action == FRESH_AIR:
        share = fresh_share if fresh_air else gentle_share
    elif action == COOL_BY_COIL:
        share = bleed
    elif gentle:  # a run that goes on anyway refreshes the air
        share = gentle_share
    return Run(
        action=action,
        fan_speed=_fan_speed(bay, action, speed, frost.stage),
        fresh_fraction=share,
        coil_heat=coil if action == COOL_BY_COIL else 0.0,
        heater_heat=heater if _heats(bay, now, action, by_outside, frost) else 0.0,
        humidity_wanted=_humidity(bay, now, needs, action),
    )


def _with_people(bay: HourlyBay, now: Situation, memory: Memory, frost: Guard) -> Run:
    """Nothing that stands still starts; the door stays, or opens for bad air while fans run."""
    share = now.leak + memory.door_opening * (now.widest - now.leak)
    bad = not now.readings.co2 < PEOPLE_CO2
    if bad and now.outside_known:
        setpoint = max(now.readings.pulp_coldest, lowest_supply(bay))
        floor = now.outside_temperature >= setpoint
        share = max(share, now.widest if floor else now.leak)
    on = memory.fan_on and frost.stage < FANS_OFF
    return Run(
        action=PEOPLE_INSIDE,
        fan_speed=memory.fan_speed if on else 0.0,
        fresh_fraction=share if frost.stage < DOOR_SHUT else now.leak,
        coil_heat=0.0,
        heater_heat=0.0,
        humidity_wanted=0.0,
    )


def _chosen(bay: HourlyBay, now: Situation, needs: Needs, memory: Memory, found: Choice) -> Run:
    """What the next hour recommends, after the shortest rest."""
    since = memory.fan_since + now.elapsed
    runs = found.fan_speed > 0.0
    if runs and not memory.fan_on and since < bay.control.minimum_off:
        runs = False
    action = CHOSEN if runs else REST
    return Run(
        action=action,
        fan_speed=found.fan_speed if runs else 0.0,
        fresh_fraction=found.fresh_fraction if runs else now.leak,
        coil_heat=0.0,
        heater_heat=found.heater_heat if runs else 0.0,
        humidity_wanted=found.humidity_wanted if runs else 0.0,
    )


def _action(
    bay: HourlyBay,
    now: Situation,
    needs: Needs,
    memory: Memory,
    frost: Guard,
    allowed: bool,
    coil: float,
    heater: float,
    warm_air: bool,
    fresh_air: bool,
    gentle: bool,
) -> int:
    """The rules of an hour, the most urgent first; then shortest run and shortest rest."""
    if frost.stage >= DOOR_SHUT:
        return PROTECT
    if not now.usable or now.readings.out_of_order & FANS_OUT:
        return HANDS_OFF
    dry = not needs.recirculation_wets
    action = _wanted(needs, allowed, coil, heater, warm_air, fresh_air, gentle, dry)
    since = memory.fan_since + now.elapsed
    if action == REST:
        # A run is not held on where it would wet the crop.
        if memory.fan_on and since < bay.control.minimum_on and dry:
            return FINISH_RUN
    elif not memory.fan_on and since < bay.control.minimum_off:
        return WAIT
    return action


def _wanted(
    needs: Needs,
    allowed: bool,
    coil: float,
    heater: float,
    warm_air: bool,
    fresh_air: bool,
    gentle: bool,
    dry: bool,
) -> int:
    """What to do were it not for frost, shortest runs and rests."""
    if needs.cool and allowed:
        return COOL_BY_OUTSIDE
    # Recirculated air that would wet the crop may stay so behind the coil; fresh air may not.
    fresh_first = needs.purge and fresh_air and not dry
    if needs.cool and coil > 0.0 and not fresh_first:
        return COOL_BY_COIL
    if needs.warm and warm_air:
        return WARM_BY_OUTSIDE
    if needs.warm and heater > 0.0 and dry:
        return WARM_BY_HEATER
    if needs.purge and fresh_air:
        return FRESH_AIR
    if needs.tail and not needs.cool and dry:
        return TAIL
    # Dried by outside air where that may, else by recirculation that does not wet the crop.
    if needs.drip and (dry or (allowed and not needs.cool)):
        return DRY_CEILING
    if needs.even and (dry or (allowed and not needs.cool)):
        return EVEN_OUT
    if needs.refresh and gentle:
        return FRESH_AIR
    return REST


def _fan_speed(bay: HourlyBay, action: int, speed: float, freeze_stage: int) -> float:
    if action == REST or action == WAIT or freeze_stage >= FANS_OFF:
        return 0.0
    if action == COOL_BY_OUTSIDE or action == COOL_BY_COIL or action == EVEN_OUT:
        return speed
    if action == WARM_BY_HEATER or action == WARM_BY_OUTSIDE:
        return 1.0
    return bay.fans.minimum_speed


def _heats(bay: HourlyBay, now: Situation, action: int, by_outside: bool, frost: Guard) -> bool:
    """Whether the heater helps: to warm, against frost, to dry the ceiling."""
    if action == WARM_BY_HEATER or (action == DRY_CEILING and not by_outside):
        return True
    warm = now.readings.plenum_temperature > bay.limits.plenum_floor + EXIT_ABOVE_FLOOR
    # For one odd probe the pile's own warmth must do: it may be a bad one.
    cold = now.readings.pulp_coldest < bay.crop.injury_temperature + PULP_RESERVE
    return frost.stage >= DOOR_SHUT and (cold or not (warm or frost.pulp_cold))


def _humidity(bay: HourlyBay, now: Situation, needs: Needs, action: int) -> float:
    """Set point of the humidifier: off at rest, while warming, under a dripping ceiling. [0-1]"""
    stands = action == REST or action == WAIT
    warming = action == WARM_BY_HEATER or action == WARM_BY_OUTSIDE
    if stands or warming or needs.drip or action == PROTECT:
        return 0.0
    return devices.mist_setpoint(bay, now)


def _within_envelope(
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
    dry_end = end.temperature
    if end.water_added > 0.0:
        dry_end = _expected_plenum(bay, now, run, 0.0).temperature
        if end.temperature < lowest:  # the mist would chill: less of it
            part = max((dry_end - lowest) / (dry_end - end.temperature), 0.0)
            end = _expected_plenum(bay, now, run, part * end.water_added)
    closes = now.outside_temperature < now.run_temperature and run.fresh_fraction > now.leak
    if dry_end < lowest - ROUND_OFF and closes and run.action != PEOPLE_INSIDE:
        run = _less_fresh(bay, now, run, lowest, dry_end)
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
    """People and freezing outrank wetting; what was chosen by its consequences was weighed."""
    if action == PEOPLE_INSIDE:
        return False
    if action == PROTECT:
        return not frost.pulp_cold and dew > now.readings.pulp_coldest + PROTECT_WETS
    return action != CHOSEN and dew > now.readings.pulp_coldest


def _valid_for(
    bay: HourlyBay, now: Situation, frost: Guard, supply_temperature: float, runs: bool
) -> float:
    """Shorter the nearer to a limit, down to five minutes. [s]"""
    room = 1.0
    if runs:
        room = min(room, (supply_temperature - bay.limits.plenum_floor) / NEAR_FLOOR)
    if not math.isnan(now.readings.co2):
        room = min(room, (2.0 * bay.limits.co2 - now.readings.co2) / bay.limits.co2)
    if frost.stage > 0 or now.readings.people_inside or not math.isnan(now.readings.pulp_odd):
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
        vapour_limit(bay, now.readings.pulp_coldest, now.pressure),
    )


def _remember(
    bay: HourlyBay,
    now: Situation,
    needs: Needs,
    advice: Advice,
    memory: Memory,
    frost: Guard,
    share: float,
    mist: float,
) -> Memory:
    """Memory for the next advice."""
    rules, step, found = bay.control, now.elapsed, now.findings
    fan_on = advice.fan_speed > 0.0
    action = advice.action
    cooled = action == COOL_BY_COIL or action == COOL_BY_OUTSIDE
    opened = advice.door_opening >= FRESH_ENOUGH * rules.fresh_air_opening
    fresh = (fan_on and opened) or action == FRESH_AIR
    tail = rules.tail
    if not cooled:
        tail = max((rules.tail if memory.cooled else memory.tail_left) - step, 0.0)
    fresh_left, run_left = memory.fresh_left, memory.run_left
    if needs.purge and fresh_left <= 0.0:
        fresh_left = rules.fresh_air_for
    if needs.even and run_left <= 0.0:
        run_left = rules.circulate_for
    fan_since, since_run = memory.fan_since + step, memory.since_run + step
    if fan_on != memory.fan_on:
        fan_since = 0.0
    if fan_on:
        run_left, since_run = max(run_left - step, 0.0), 0.0
    since_fresh = memory.since_fresh + step
    if fresh:
        fresh_left, since_fresh = max(fresh_left - step, 0.0), 0.0
    expected = advice.plenum_temperature if fan_on else math.nan
    fan_speed = advice.fan_speed if fan_on else 0.0
    door_opening = advice.door_opening if fan_on else 0.0
    drop = mist if mist > 0.0 else 0.0
    return Memory(
        time=now.readings.time,
        target=now.target,
        fan_on=fan_on,
        fan_since=fan_since,
        cooling=needs.cool,
        warming=needs.warm,
        purging=needs.purge,
        cooled=cooled,
        tail_left=tail,
        run_left=run_left,
        fresh_left=fresh_left,
        since_run=since_run,
        since_fresh=since_fresh,
        freeze_stage=frost.stage,
        stage_age=frost.stage_age,
        fan_speed=fan_speed,
        door_opening=door_opening,
        expected_plenum_temperature=expected,
        expected_share=share,
        expected_humidity=advice.plenum_relative_humidity,
        expected_return_temperature=now.run_temperature,
        expected_outside_temperature=now.outside_temperature,
        expected_humidifier_drop=drop,
        outside_correction=found.outside_correction,
        door_share=found.door_share,
        door_age=found.door_age,
        humidifier_lacking=found.humidifier_lacking,
        humidifier_age=found.humidifier_age,
        no_air=found.no_air,
        alarm_times=memory.alarm_times,
    )
