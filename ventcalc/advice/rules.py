"""
The rules of an hour: what fans, door, humidifier, refrigeration and heater should do now.

They stand in ``_action`` and ``_wanted``, from the most urgent down: the first that
applies decides. ``advise`` calls them for people and programs, the season's loop hour by hour.
"""

from __future__ import annotations

import math

from ventcalc.advice import devices
from ventcalc.advice.action import (
    CHOSEN,
    COOL_BY_COIL,
    COOL_BY_OUTSIDE,
    DRY_CEILING,
    EVEN_OUT,
    FINISH_RUN,
    FRESH_AIR,
    HANDS_OFF,
    PEOPLE_INSIDE,
    PROTECT,
    REST,
    TAIL,
    WAIT,
    WARM_BY_HEATER,
    WARM_BY_OUTSIDE,
    Advice,
    Needs,
    Run,
    Way,
    Ways,
)
from ventcalc.advice.chooser import DEEP_COLD, Choice, choose
from ventcalc.advice.envelope import within_envelope
from ventcalc.advice.freeze_guard import (
    DOOR_SHUT,
    EXIT_ABOVE_FLOOR,
    FANS_OFF,
    PULP_RESERVE,
    Guard,
    guard,
)
from ventcalc.advice.fresh_air import PEOPLE_CO2, fresh_behind_coil, fresh_share
from ventcalc.advice.outside_air import (
    ALLOWED,
    OutsideAir,
    judge,
)
from ventcalc.advice.readings import FANS_OUT, Memory, Readings
from ventcalc.advice.remember import remember
from ventcalc.advice.setpoints import (
    cooling_speed,
    dry_air_flow,
    fan_power,
    lowest_supply,
    supply_setpoint,
)
from ventcalc.advice.situation import Situation, assess
from ventcalc.air.plain import AIR_HEAT
from ventcalc.bay.calendar import COOL_DOWN, FILLING, HOLDING, UNLOADING, WARM_UP
from ventcalc.bay.hourly import HourlyBay

__all__ = ["decide"]

PURGE_UNTIL = 0.7
"""Part of the CO2 limit down to which a change of air goes on. [1]"""
REFRESH_FROM = 0.6
"""Part of the CO2 limit from which on fresh air is taken where it does no harm. [1]"""
SINKING = 1.5
"""
Air above a pile at rest this far below its top sinks through the cold bottom and makes the top
sweat on its way up, as with truck doors open in the cold; our own. [K]
"""
LAG_COUNTS = 1.0
"""Pile behind the calendar by more makes the supply no colder, our own. [K]"""
FILLING_REST = 3600.0
"""Longest rest of fresh, wet or rotting crop. [s]"""


def decide(bay: HourlyBay, readings: Readings, memory: Memory) -> tuple[Advice, Memory]:
    """Readings and memory in, advice and new memory out."""
    now = assess(bay, readings, memory)
    frost = guard(bay, readings, memory, now.elapsed, now.excess)
    needs = _needs(bay, now, memory)
    speed = cooling_speed(bay, now.excess, now.spread)
    outside = _outside(bay, now, needs, speed)
    run = _run(bay, now, needs, outside, speed, memory, frost)
    since = memory.fan_since + now.elapsed
    advice, share, mist = within_envelope(bay, now, needs, outside, run, frost, since)
    return advice, remember(bay, now, needs, advice, memory, frost, share, mist)


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
    sinks = not memory.fan_on and pulp.return_temperature < pulp.pulp_top - SINKING
    tail = rules.tail if memory.cooled else memory.tail_left
    return Needs(
        cool=in_use and now.excess > above,
        warm=in_use and now.excess < -below and (late or too_cold),
        purge=in_use and purge,
        even=in_use and (idle or uneven or sinks or memory.run_left > 0.0),
        drip=in_use and now.return_dew_point > now.ceiling,
        tail=in_use and tail > 0.0,
        refresh=in_use and refresh,
        recirculation_wets=now.recirculated_dew_point > pulp.pulp_coldest - now.pulp_warm,
    )


def _outside(bay: HourlyBay, now: Situation, needs: Needs, speed: float) -> OutsideAir:
    """The verdict on outside air, for cooling or else for equalizing the pile."""
    pulp, mist = now.readings, _humidity(bay, now, needs, COOL_BY_OUTSIDE)
    if needs.cool:
        excess = max(now.excess, min(now.lag, LAG_COUNTS))
        setpoint = supply_setpoint(bay, now.target, pulp.pulp_coldest, excess)
        return judge(bay, now, speed, pulp.pulp_mean, setpoint, mist, True, True)
    # The mean may not sink below the band only because the pile is equalized.
    room = now.excess > -bay.limits.band
    setpoint = max(pulp.pulp_coldest, lowest_supply(bay))
    wanted = (needs.even or needs.drip) and room
    return judge(bay, now, speed, pulp.pulp_top, setpoint, mist, wanted, False)


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
    # The chooser knows nothing of the cold that comes in with the trucks.
    deep = now.outside_temperature < DEEP_COLD and not now.trucks
    by_consequence = deep or devices.mist_lacks(bay, now)
    if safe and now.outside_known and by_consequence:
        found = choose(bay, now, needs.purge, memory.fan_on, memory.fan_since + now.elapsed)
        return _chosen(bay, now, needs, memory, found)
    ways = _ways(bay, now, needs, outside, speed)
    action = _action(bay, now, needs, memory, frost, ways)
    way = _way(now, action, ways)
    dries = action == EVEN_OUT and ways.even.open
    heats = _heats(bay, now, action, ways.outside.open, frost)
    heat = ways.heater.heater_heat if heats else way.heater_heat
    fan_speed = _fan_speed(bay, action, bay.fans.minimum_speed if dries else speed, frost.stage)
    if heats and _thaws(bay, now, memory, frost, heat):
        fan_speed = bay.fans.minimum_speed
    return Run(
        action=action,
        fan_speed=fan_speed,
        fresh_fraction=way.fresh_fraction if frost.stage < DOOR_SHUT else now.leak,
        coil_heat=way.coil_heat,
        heater_heat=heat,
        humidity_wanted=0.0 if dries else _humidity(bay, now, needs, action),
    )


def _ways(bay: HourlyBay, now: Situation, needs: Needs, outside: OutsideAir, speed: float) -> Ways:
    """What each way to run would do now, as far as it is asked for."""
    shut = Way(False, now.leak, 0.0, 0.0)
    allowed = outside.verdict == ALLOWED and now.outside_known
    dry = not needs.recirculation_wets
    coil = warm_air = fresh = gentle = even = shut
    if needs.cool:
        share = devices.bleed_share(bay, now, needs.purge or needs.refresh, speed)
        duty = devices.coil_heat(bay, now, speed, share)
        coil = Way(duty > 0.0, share, duty, 0.0)
    if needs.warm:
        share, warms = devices.warm_share(bay, now)
        warm_air = Way(warms, share, 0.0, 0.0)
    humidity = _humidity(bay, now, needs, FRESH_AIR)
    if needs.purge:
        share, harmless = fresh_share(bay, now, humidity, False)
        fresh = Way(harmless, share, 0.0, 0.0)
        if not harmless and not needs.cool:
            share, duty = fresh_behind_coil(bay, now)
            fresh = Way(duty > 0.0, share, duty, 0.0)
    if needs.refresh:
        share, harmless = fresh_share(bay, now, humidity, True)
        gentle = Way(harmless, share, 0.0, 0.0)
    heated, dried = now.leak, dry
    if needs.warm and (now.stage == WARM_UP or now.stage == UNLOADING):
        heated, dried = devices.heated_share(bay, now)
    heat = devices.heater_heat(bay, now, heated)
    # In between a pile needs no heat: it waits for air that is cold and dry enough; fresh crop does
    # not wait.
    between = now.stage == COOL_DOWN or now.stage == HOLDING
    hot = needs.cool and now.stage != FILLING
    if needs.even and not (dry or allowed or hot or between):
        share, warmth, evens = devices.evened(bay, now)
        even = Way(evens, share, 0.0, warmth)
    return Ways(
        outside=Way(allowed, outside.fresh_fraction, 0.0, 0.0),
        coil=coil,
        warm_air=warm_air,
        heater=Way(needs.warm and heat > 0.0 and dried, heated, 0.0, heat),
        fresh=fresh,
        gentle=gentle,
        even=even,
    )


def _way(now: Situation, action: int, ways: Ways) -> Way:
    """How the action runs; one that leaves the door alone refreshes the air where that may be."""
    moves = action == EVEN_OUT or action == DRY_CEILING
    if action == COOL_BY_OUTSIDE or (moves and ways.outside.open):
        return ways.outside
    if action == WARM_BY_OUTSIDE:
        return ways.warm_air
    if action == FRESH_AIR and ways.fresh.open:
        return ways.fresh
    if action == WARM_BY_HEATER and ways.heater.fresh_fraction > now.leak:
        return ways.heater
    if action == EVEN_OUT and ways.even.open:
        return ways.even
    if action == COOL_BY_COIL:
        return ways.coil
    if ways.gentle.open:
        return ways.gentle
    return Way(False, now.leak, 0.0, 0.0)


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
    bay: HourlyBay, now: Situation, needs: Needs, memory: Memory, frost: Guard, ways: Ways
) -> int:
    """The rules of an hour, the most urgent first; then shortest run and shortest rest."""
    if frost.stage >= DOOR_SHUT:
        return PROTECT
    if not now.usable or now.readings.out_of_order & FANS_OUT:
        return HANDS_OFF
    action = _wanted(needs, ways)
    since = memory.fan_since + now.elapsed
    if action == REST:
        # A run is not held on where it would wet the crop.
        dry = not needs.recirculation_wets
        if memory.fan_on and since < bay.control.minimum_on and dry:
            return FINISH_RUN
    elif not memory.fan_on and since < bay.control.minimum_off:
        return WAIT
    return action


def _wanted(needs: Needs, ways: Ways) -> int:
    """What to do were it not for frost, shortest runs and rests."""
    dry = not needs.recirculation_wets
    if needs.cool and ways.outside.open:
        return COOL_BY_OUTSIDE
    # Recirculated air that would wet the crop may stay so behind the coil; fresh air may not.
    fresh_first = ways.fresh.open and not dry
    if ways.coil.open and not fresh_first:
        return COOL_BY_COIL
    if ways.warm_air.open:
        return WARM_BY_OUTSIDE
    if ways.heater.open:
        return WARM_BY_HEATER
    if ways.fresh.open:
        return FRESH_AIR
    if needs.tail and not needs.cool and dry:
        return TAIL
    # Dried by outside air where that may, else by recirculation that does not wet the crop.
    if needs.drip and (dry or ways.outside.open):
        return DRY_CEILING
    if needs.even and (dry or ways.even.open or ways.outside.open):
        return EVEN_OUT
    if ways.gentle.open:
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


def _thaws(bay: HourlyBay, now: Situation, memory: Memory, frost: Guard, heat: float) -> bool:
    """
    Whether slow heated air warms a bottom on which the cold from truck doors has sunk.

    The fans blow no frost then, they rest in it: the heater must lift the air above the pile, as
    it is measured, to what may be blown. A run that blows frost after all ends at the next look.
    """
    stuck = not math.isnan(now.findings.door_share)
    if frost.stage != FANS_OFF or memory.fan_on or stuck or not now.trucks:
        return False
    speed = bay.fans.minimum_speed
    flow = dry_air_flow(bay, speed, now.pressure) * AIR_HEAT
    lifted = (fan_power(bay, speed) + heat) / flow
    return now.readings.return_temperature + lifted >= lowest_supply(bay)


def _humidity(bay: HourlyBay, now: Situation, needs: Needs, action: int) -> float:
    """Set point of the humidifier: off at rest, while warming, under a dripping ceiling. [0-1]"""
    stands = action == REST or action == WAIT
    warming = action == WARM_BY_HEATER or action == WARM_BY_OUTSIDE
    if stands or warming or needs.drip or action == PROTECT:
        return 0.0
    return devices.mist_setpoint(bay, now)
