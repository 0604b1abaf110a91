"""
What fans, door, humidifier, refrigeration and heater should do now.

``advise`` is a pure function: bay, readings and memory in, advice and new memory out. The rules
stand in ``_action``, from the most urgent down: the first that applies decides.
"""

from __future__ import annotations

import math
from enum import IntEnum
from typing import NamedTuple

from ventcalc.advice import devices
from ventcalc.advice.freeze_guard import EXIT_ABOVE_FLOOR, Guard, guard
from ventcalc.advice.outside_air import (
    ALLOWED,
    FREEZING,
    NONE,
    WETS_CROP,
    OutsideAir,
    judge,
)
from ventcalc.advice.setpoints import (
    cooling_speed,
    dry_air_flow,
    fan_power,
    humidity_setpoint,
    lowest_supply,
    supply_setpoint,
    vapour_limit,
)
from ventcalc.advice.situation import START, Memory, Readings, Situation, assess
from ventcalc.air.plain import dew_point, relative_humidity
from ventcalc.bay.calendar import EMPTY, UNLOADING, WARM_UP
from ventcalc.bay.description import Bay, door_opening_at
from ventcalc.bay.hourly import HourlyBay, hourly
from ventcalc.equipment.plenum import Supply, supply
from ventcalc.errors import check_range

__all__ = ["Action", "Advice", "Memory", "Readings", "advise", "decide"]

PURGE_UNTIL = 0.7
"""Part of the CO2 limit down to which a change of air goes on. [1]"""
FRESH_ENOUGH = 0.5
"""Part of a fresh-air run's opening that counts as one. [1]"""
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
) = map(int, Action)


class Needs(NamedTuple):
    """What the bay asks for, before anything says whether it can be had."""

    cool: bool
    warm: bool
    purge: bool
    even: bool
    drip: bool
    tail: bool
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
    fan_since: float
    """Since the fans last started or stopped, before this advice. [s]"""
    outside: OutsideAir
    """The outside-air verdict, for cooling or for equalizing the pile."""
    needs: Needs
    situation: Situation
    valid_for: float
    """[s]"""


def advise(
    bay: Bay | HourlyBay, readings: Readings, memory: Memory | None = None
) -> tuple[Advice, Memory]:
    """
    Advice for one time.

    Parameters
    ----------
    bay : Bay
        The bay.
    readings : Readings
        Readings now; NaN for missing ones.
    memory : Memory, optional
        Memory that the last advice returned.

    Returns
    -------
    advice : Advice
        Positions, expected plenum, and the numbers behind them.
    memory : Memory
        To be handed back next time.

    Raises
    ------
    OutOfRange
        If a reading is not physical (80 for a humidity, kelvin for °C).

    Notes
    -----
    We advise; the controller's own interlocks stay in charge. Without pulp and return
    readings the advice is hands off. No advice supplies air below the plenum floor (unless
    the bay itself is that cold), nor air whose dew point is known to lie above the coldest
    exposed tuber.
    """
    for name, low, high, unit, slip in _LIMITS:
        check_range(name, getattr(readings, name), low, high, unit, slip)
    return decide(hourly(bay, readings.time), readings, START if memory is None else memory)


_KELVIN = "in kelvin or Fahrenheit, perhaps?"
_PERCENT = "a percentage, perhaps? give a fraction"
_LIMITS = (
    ("outside_temperature", -50.0, 60.0, "°C", _KELVIN),
    ("outside_relative_humidity", 0.0, 1.0, "", _PERCENT),
    ("return_temperature", -50.0, 60.0, "°C", _KELVIN),
    ("return_relative_humidity", 0.0, 1.0, "", _PERCENT),
    ("plenum_temperature", -50.0, 60.0, "°C", _KELVIN),
    ("pulp_bottom", -50.0, 60.0, "°C", _KELVIN),
    ("pulp_top", -50.0, 60.0, "°C", _KELVIN),
    ("pulp_mean", -50.0, 60.0, "°C", _KELVIN),
    ("pulp_coldest", -50.0, 60.0, "°C", _KELVIN),
    ("ceiling_temperature", -50.0, 60.0, "°C", _KELVIN),
    ("co2", 0.0, 1.0, "", "ppm, perhaps? give a volume fraction"),
    ("pressure", 60e3, 110e3, "Pa", "in kPa or hPa, perhaps? give Pa"),
)


def decide(bay: HourlyBay, readings: Readings, memory: Memory) -> tuple[Advice, Memory]:
    """``advise`` without its checks: the rules of an hour."""
    now = assess(bay, readings, memory)
    frost = guard(bay, readings, memory, now.elapsed)
    needs = _needs(bay, now, memory)
    speed = cooling_speed(bay, now.excess, now.spread)
    outside = _outside(bay, now, needs, speed)
    run = _run(bay, now, needs, outside, speed, memory, frost.stage)
    since = memory.fan_since + now.elapsed
    advice = _within_envelope(bay, now, needs, outside, run, frost.stage, since)
    return advice, _remember(bay, now, needs, advice, memory, frost)


def _needs(bay: HourlyBay, now: Situation, memory: Memory) -> Needs:
    """What the bay asks for, each with its hysteresis."""
    rules, limits, pulp = bay.control, bay.limits, now.readings
    in_use = now.usable and now.stage != EMPTY
    above = rules.stop_above if memory.cooling else rules.start_above
    below = rules.stop_above if memory.warming else rules.start_above
    late = now.stage == WARM_UP or now.stage == UNLOADING
    too_cold = pulp.pulp_mean < now.final - limits.band
    if math.isnan(pulp.co2):
        purge = memory.fresh_left > 0.0 or memory.since_fresh + now.elapsed > rules.fresh_air_every
    else:
        purge = pulp.co2 > (PURGE_UNTIL * limits.co2 if memory.purging else limits.co2)
    idle = memory.since_run + now.elapsed > rules.circulate_every
    uneven = now.spread > limits.spread
    tail = rules.tail if memory.cooled else memory.tail_left
    return Needs(
        cool=in_use and now.excess > above,
        warm=in_use and now.excess < -below and (late or too_cold),
        purge=in_use and purge,
        even=in_use and (idle or uneven or memory.run_left > 0.0),
        drip=in_use and now.return_dew_point > now.ceiling,
        tail=in_use and tail > 0.0,
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
    freeze_stage: int,
) -> Run:
    """The most urgent thing that can be done, with its settings."""
    leak = bay.doors.leakage_fraction
    allowed = outside.verdict == ALLOWED and now.outside_known
    bleed = devices.bleed_share(bay, now, needs.purge, speed)
    coil = devices.coil_heat(bay, now, speed, bleed) if needs.cool else 0.0
    warm_share, warm_air = devices.warm_share(bay, now) if needs.warm else (leak, False)
    fresh_share, fresh_air = devices.fresh_share(bay, now) if needs.purge else (leak, False)
    heater = devices.heater_heat(bay, now)
    action = _action(
        bay, now, needs, memory, freeze_stage, allowed, coil, heater, warm_air, fresh_air
    )
    by_outside = action == COOL_BY_OUTSIDE
    if (action == EVEN_OUT or action == DRY_CEILING) and not needs.cool:
        by_outside = allowed
    share = leak
    if freeze_stage >= 1:
        share = leak
    elif by_outside:
        share = outside.fresh_fraction
    elif action == WARM_BY_OUTSIDE:
        share = warm_share
    elif action == FRESH_AIR:
        share = fresh_share
    elif action == COOL_BY_COIL:
        share = bleed
    return Run(
        action=action,
        fan_speed=_fan_speed(bay, action, speed),
        fresh_fraction=share,
        coil_heat=coil if action == COOL_BY_COIL else 0.0,
        heater_heat=heater if _heats(bay, now, action, by_outside, freeze_stage) else 0.0,
        humidity_wanted=_humidity(bay, needs, action),
    )


def _action(
    bay: HourlyBay,
    now: Situation,
    needs: Needs,
    memory: Memory,
    freeze_stage: int,
    allowed: bool,
    coil: float,
    heater: float,
    warm_air: bool,
    fresh_air: bool,
) -> int:
    """The rules of an hour, the most urgent first; then shortest run and shortest rest."""
    if freeze_stage >= 2:
        return PROTECT
    if not now.usable:
        return HANDS_OFF
    dry = not needs.recirculation_wets
    action = _wanted(needs, freeze_stage, allowed, coil, heater, warm_air, fresh_air, dry)
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
    freeze_stage: int,
    allowed: bool,
    coil: float,
    heater: float,
    warm_air: bool,
    fresh_air: bool,
    dry: bool,
) -> int:
    """What to do were it not for shortest runs and rests."""
    frost = freeze_stage >= 1
    if needs.cool and allowed and not frost:
        return COOL_BY_OUTSIDE
    # Recirculated air that would wet the crop may stay so behind the coil; fresh air may not.
    fresh_first = needs.purge and fresh_air and not dry
    if needs.cool and coil > 0.0 and not frost and not fresh_first:
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
    return REST


def _fan_speed(bay: HourlyBay, action: int, speed: float) -> float:
    if action == REST or action == WAIT:
        return 0.0
    if action == COOL_BY_OUTSIDE or action == COOL_BY_COIL or action == EVEN_OUT:
        return speed
    if action == WARM_BY_HEATER or action == WARM_BY_OUTSIDE:
        return 1.0
    return bay.fans.minimum_speed


def _heats(
    bay: HourlyBay, now: Situation, action: int, by_outside: bool, freeze_stage: int
) -> bool:
    """Whether the heater helps: to warm, against frost, to dry the ceiling."""
    if action == WARM_BY_HEATER or (action == DRY_CEILING and not by_outside):
        return True
    warm = now.readings.plenum_temperature > bay.limits.plenum_floor + EXIT_ABOVE_FLOOR
    return freeze_stage >= 1 and not warm


def _humidity(bay: HourlyBay, needs: Needs, action: int) -> float:
    """Set point of the humidifier: off at rest, while warming, under a dripping ceiling. [0-1]"""
    stands = action == REST or action == WAIT
    warming = action == WARM_BY_HEATER or action == WARM_BY_OUTSIDE
    if stands or warming or needs.drip or action == PROTECT:
        return 0.0
    return humidity_setpoint(bay)


def _within_envelope(
    bay: HourlyBay,
    now: Situation,
    needs: Needs,
    outside: OutsideAir,
    run: Run,
    freeze_stage: int,
    fan_since: float,
) -> Advice:
    """Look at the supply that the settings would give, and stop what would harm the crop."""
    seen = now.readings
    end = _expected_plenum(bay, now, run)
    dew = dew_point(end.humidity_ratio + end.fog, now.pressure)
    relative = relative_humidity(end.temperature, end.humidity_ratio, now.pressure)
    guarded = run.action == PROTECT
    floor = min(bay.limits.plenum_floor, now.run_temperature)
    stopped_by = NONE
    if run.fan_speed > 0.0 and not guarded:
        if end.temperature < floor - ROUND_OFF:
            stopped_by = FREEZING
        elif dew > seen.pulp_coldest:
            stopped_by = WETS_CROP
    stopped = stopped_by != NONE and now.usable
    runs = run.fan_speed > 0.0 and not stopped
    usable = now.usable or guarded
    fan = door = mist = coil = heat = 0.0 if usable else math.nan
    if runs and usable:
        fan = run.fan_speed
        door = door_opening_at(bay.doors, run.fresh_fraction)
        mist = _share(end.water_added, bay.humidifier.capacity)
        coil = _share(run.coil_heat, bay.refrigeration.capacity)
        heat = _share(run.heater_heat, bay.heater.capacity)
    action = REST if stopped else run.action
    humidity = relative if runs and end.water_added > 0.0 else 0.0
    return Advice(
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
        freeze_stage=freeze_stage,
        fan_since=fan_since,
        outside=outside,
        needs=needs,
        situation=now,
        valid_for=bay.control.validity,
    )


def _share(wanted: float, capacity: float) -> float:
    """Part of a capacity, all of it but for round-off; 0 where there is none. [0-1]"""
    return min(wanted / capacity, 1.0) if capacity > 0.0 else 0.0


def _expected_plenum(bay: HourlyBay, now: Situation, run: Run) -> Supply:
    """The supply that the settings would give if the fans ran."""
    speed = run.fan_speed if run.fan_speed > 0.0 else 1.0
    known = now.outside_known
    return supply(
        dry_air_flow(bay, speed, now.pressure),
        run.fresh_fraction if known and now.usable else 0.0,
        now.readings.outside_temperature if known else now.run_temperature,
        now.outside_humidity_ratio if known else now.run_humidity_ratio,
        now.run_temperature,
        now.run_humidity_ratio,
        now.pressure,
        fan_power(bay, speed) + run.heater_heat,
        run.coil_heat,
        bay.refrigeration.coil_temperature_difference,
        bay.refrigeration.bypass_factor,
        run.humidity_wanted,
        bay.humidifier.capacity,
        vapour_limit(bay, now.readings.pulp_coldest, now.pressure),
    )


def _remember(
    bay: HourlyBay, now: Situation, needs: Needs, advice: Advice, memory: Memory, frost: Guard
) -> Memory:
    """Memory for the next advice."""
    rules, step = bay.control, now.elapsed
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
        below_floor=frost.below_floor,
        below_zero=frost.below_zero,
        below_hard=frost.below_hard,
        above_exit=frost.above_exit,
        stage_age=frost.stage_age,
    )
