"""
What fans, door, humidifier, refrigeration and heater should do now.

``advise`` is a pure function: bay, readings and memory in, advice and new memory out. Every
rule is written once for one bay (floats) and for many (arrays).
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum
from typing import Any

from ventcalc._ops import Ops, ops_for
from ventcalc.advice import aims, calendar, freeze_guard, means, outside_air
from ventcalc.advice.outside_air import Binding, OutsideAir, Verdict
from ventcalc.advice.situation import Memory, Readings, Situation, look
from ventcalc.air import plain as plain_air
from ventcalc.bay.description import Bay, capacity_of, coil_of, door_opening_at
from ventcalc.equipment import plenum

__all__ = ["Action", "Advice", "Memory", "Readings", "advise"]


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
ALLOWED = int(Verdict.ALLOWED)


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Advice:
    """Positions 0-1 for the next ``valid_for`` seconds; NaN positions mean hands off."""

    action: Any
    """Code of ``Action``."""
    fan_speed: Any
    """[0-1]"""
    door_opening: Any
    """[0-1]"""
    humidifier: Any
    """Share of its capacity. [0-1]"""
    refrigeration: Any
    """Share of its capacity. [0-1]"""
    heater: Any
    """Share of its capacity. [0-1]"""
    plenum_temperature: Any
    """Expected supply air, the set point for the door's own loop. [°C]"""
    plenum_relative_humidity: Any
    """Expected supply air. [0-1]"""
    plenum_dew_point: Any
    """[°C]"""
    humidity_wanted: Any
    """Set point of the humidifier; 0 for off. [0-1]"""
    stopped_by: Any
    """Code of ``Binding``: a run that was wanted but would have frozen or wetted the crop."""
    freeze_stage: Any
    """Code of the stage of freeze protection, 0 none to 3 latched."""
    fan_since: Any
    """Since the fans last started or stopped, before this advice. [s]"""
    outside: OutsideAir
    """The outside-air verdict, for cooling or for evening out."""
    needs: Needs
    situation: Situation
    valid_for: float
    """[s]"""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Needs:
    """What the bay asks for, before anything says whether it can be had."""

    cool: Any
    warm: Any
    purge: Any
    even: Any
    drip: Any
    tail: Any
    recirculation_wets: Any


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class _Run:
    """Settings before the envelope has looked at them."""

    action: Any
    fan_speed: Any
    fresh_fraction: Any
    coil_heat: Any
    heater_heat: Any
    humidity_wanted: Any


def advise(bay: Bay, readings: Readings, memory: Memory | None = None) -> tuple[Advice, Memory]:
    """
    Advice for one moment.

    Parameters
    ----------
    bay : Bay
        The bay (or a stack of bays, with readings and memory as arrays).
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
    ops = ops_for(bay.fans.airflow, readings.pulp_mean, readings.return_temperature)
    memory = memory or Memory()
    now = look(bay, readings, memory, ops)
    guard = freeze_guard.guard(bay, readings, memory, now.elapsed, ops)
    needs = _needs(bay, now, memory, ops)
    speed = _cooling_speed(bay, now, ops)
    outside = _outside(bay, now, needs, speed, ops)
    run = _choose(bay, now, needs, outside, speed, memory, guard.stage, ops)
    since = memory.fan_since + now.elapsed
    advice = _within_envelope(bay, now, needs, outside, run, guard.stage, since, ops)
    return advice, _remember(bay, now, needs, advice, memory, guard, ops)


def _needs(bay: Bay, now: Situation, memory: Memory, ops: Ops) -> Needs:
    where, rules = ops.where, bay.control
    pulp = now.readings
    in_use = now.usable & (now.stage != calendar.EMPTY)
    above = where(memory.cooling, rules.stop_above, rules.start_above)
    below = where(memory.warming, rules.stop_above, rules.start_above)
    late = (now.stage == calendar.WARM_UP) | (now.stage == calendar.UNLOADING)
    too_cold = pulp.pulp_mean < now.final - bay.limits.band
    co2 = where(memory.purging, 0.7 * bay.limits.co2, bay.limits.co2)
    unmeasured = ops.isnan(pulp.co2)
    due = (memory.fresh_left > 0.0) | (memory.since_fresh + now.elapsed > rules.fresh_air_every)
    idle = memory.since_run + now.elapsed > rules.circulate_every
    uneven = now.spread > bay.limits.spread
    return Needs(
        cool=in_use & (now.excess > above),
        warm=in_use & (now.excess < -below) & (late | too_cold),
        purge=in_use & where(unmeasured, due, pulp.co2 > co2),
        even=in_use & (idle | uneven | (memory.run_left > 0.0)),
        drip=in_use & (now.return_dew_point > now.ceiling),
        tail=in_use & (where(memory.cooled, rules.tail, memory.tail_left) > 0.0),
        recirculation_wets=now.run_dew_point > pulp.pulp_coldest,
    )


def _cooling_speed(bay: Bay, now: Situation, ops: Ops) -> Any:
    """Slow when little is to be done (power goes with the cube), full for an uneven pile."""
    least = bay.fans.minimum_speed
    uneven = 5.0 * now.spread / bay.limits.spread - 4.0
    share = ops.minimum(ops.maximum(ops.maximum(now.excess, uneven), 0.0), 1.0)
    return least + (1.0 - least) * share


def _outside(bay: Bay, now: Situation, needs: Needs, speed: Any, ops: Ops) -> OutsideAir:
    pulp = now.readings
    evening = ops.maximum(pulp.pulp_coldest, aims.lowest_supply(bay))
    # The mean may not sink below the band only because the pile is evened out.
    room = now.excess > -bay.limits.band
    wanted = needs.cool | ((needs.even | needs.drip) & room)
    return outside_air.judge(
        bay=bay,
        pressure=now.pressure,
        fan_speed=speed,
        outside_temperature=pulp.outside_temperature,
        outside_humidity_ratio=now.outside_humidity_ratio,
        return_temperature=now.run_temperature,
        return_humidity_ratio=now.run_humidity_ratio,
        pulp=ops.where(needs.cool, pulp.pulp_mean, pulp.pulp_top),
        pulp_coldest=pulp.pulp_coldest,
        ceiling=now.ceiling,
        aim=ops.where(
            needs.cool,
            aims.supply_aim(bay, now.target, pulp.pulp_coldest, ops),
            evening,
        ),
        wanted=wanted,
        ramping=(now.target > now.final + 0.05) & (pulp.pulp_mean > now.final + bay.limits.band),
    )


def _choose(
    bay: Bay,
    now: Situation,
    needs: Needs,
    outside: OutsideAir,
    speed: Any,
    memory: Memory,
    freeze_stage: Any,
    ops: Ops,
) -> _Run:
    """The most urgent thing that can be done, with its settings."""
    where = ops.where
    leak = bay.doors.leakage_fraction
    slow = bay.fans.minimum_speed
    allowed = (outside.verdict == ALLOWED) & now.outside_known
    dry = ops.negate(needs.recirculation_wets)
    bleed = means.bleed_share(bay, now, needs.purge, speed, ops)
    coil = means.coil_heat(bay, now, needs.cool, speed, bleed, ops)
    heater, warm_ok = means.heater_heat(bay, now, ops)
    warm_share, warm_air = means.warm_share(bay, now, needs.warm, ops)
    fresh_share, fresh_ok = means.fresh_share(bay, now, needs.purge, ops)
    evens = (needs.even | needs.drip) & ops.negate(needs.cool)
    action = where(needs.even & dry, EVEN_OUT, REST)
    action = where(needs.drip & dry, DRY_CEILING, action)
    action = where(evens & allowed, where(needs.drip, DRY_CEILING, EVEN_OUT), action)
    action = where(needs.tail & ops.negate(needs.cool) & dry, TAIL, action)
    action = where(needs.purge & fresh_ok, FRESH_AIR, action)
    action = where(needs.warm & warm_ok & dry, WARM_BY_HEATER, action)
    action = where(needs.warm & warm_air, WARM_BY_OUTSIDE, action)
    # Recirculated air that would wet the crop may stay so behind the coil; fresh air may not.
    fresh_first = needs.purge & fresh_ok & needs.recirculation_wets
    by_coil = needs.cool & (coil > 0.0) & (freeze_stage < 1) & ops.negate(fresh_first)
    action = where(by_coil, COOL_BY_COIL, action)
    action = where(needs.cool & allowed & (freeze_stage < 1), COOL_BY_OUTSIDE, action)
    action = _hold_times(bay, now, memory, action, dry, ops)
    action = where(now.usable, action, HANDS_OFF)
    action = where(freeze_stage >= 2, PROTECT, action)

    by_outside = (action == COOL_BY_OUTSIDE) | (
        evens & allowed & ((action == EVEN_OUT) | (action == DRY_CEILING))
    )
    share = where(by_outside, outside.fresh_fraction, leak)
    share = where(action == WARM_BY_OUTSIDE, warm_share, share)
    share = where(action == FRESH_AIR, fresh_share, share)
    share = where(action == COOL_BY_COIL, bleed, share)
    share = where(freeze_stage >= 1, leak, share)
    cooling = (action == COOL_BY_OUTSIDE) | (action == COOL_BY_COIL)
    cooling = cooling | (action == EVEN_OUT)
    warming = (action == WARM_BY_HEATER) | (action == WARM_BY_OUTSIDE)
    stands = (action == REST) | (action == WAIT)
    humid = aims.humidity_aim(bay, ops)
    mist = ops.negate(stands | warming | needs.drip | (action == PROTECT))
    cold = ops.negate(now.readings.plenum_temperature > bay.limits.plenum_floor + 1.0)
    heats = (action == WARM_BY_HEATER) | ((freeze_stage >= 1) & cold)
    heats = heats | ((action == DRY_CEILING) & ops.negate(by_outside))
    return _Run(
        action=action,
        fan_speed=where(stands, 0.0, where(cooling, speed, where(warming, 1.0, slow))),
        fresh_fraction=share,
        coil_heat=where(action == COOL_BY_COIL, coil, 0.0),
        heater_heat=where(heats, heater, 0.0),
        humidity_wanted=where(mist, humid, 0.0),
    )


def _hold_times(bay: Bay, now: Situation, memory: Memory, action: Any, dry: Any, ops: Ops) -> Any:
    """Shortest run and shortest rest; a run is not held on where it would wet the crop."""
    since = memory.fan_since + now.elapsed
    stop = (action == REST) & memory.fan_on & (since < bay.control.minimum_on) & dry
    start = (action != REST) & ops.negate(memory.fan_on) & (since < bay.control.minimum_off)
    return ops.where(stop, FINISH_RUN, ops.where(start, WAIT, action))


def _within_envelope(
    bay: Bay,
    now: Situation,
    needs: Needs,
    outside: OutsideAir,
    run: _Run,
    freeze_stage: Any,
    fan_since: Any,
    ops: Ops,
) -> Advice:
    """Look at the supply that the settings would give, and stop what would harm the crop."""
    where, seen = ops.where, now.readings
    runs = run.fan_speed > 0.0
    speed = where(runs, run.fan_speed, 1.0)
    flow = aims.dry_air_flow(bay, speed, now.pressure)
    capacity = capacity_of(bay.humidifier)
    end = _expected_plenum(bay, now, run, speed, flow, ops)
    dew = plain_air.dew_point(end.humidity_ratio + end.fog, now.pressure, ops)
    relative = plain_air.relative_humidity(end.temperature, end.humidity_ratio, now.pressure, ops)
    guarded = run.action == PROTECT
    floor = ops.minimum(bay.limits.plenum_floor, now.run_temperature)
    freezes = runs & (end.temperature < floor - 1e-6) & ops.negate(guarded)
    wets = runs & (dew > seen.pulp_coldest) & ops.negate(guarded)
    stopped = (freezes | wets) & now.usable
    runs = runs & ops.negate(stopped)
    usable = now.usable | guarded
    off = where(usable, 0.0, float("nan"))
    opening = door_opening_at(bay.doors, run.fresh_fraction)
    coil, heater = capacity_of(bay.refrigeration), capacity_of(bay.heater)
    return Advice(
        action=where(stopped, REST, run.action),
        fan_speed=where(usable & runs, run.fan_speed, off),
        door_opening=where(usable & runs, opening, off),
        humidifier=where(
            usable & runs, end.water_added / where(capacity > 0.0, capacity, 1.0), off
        ),
        refrigeration=where(usable & runs, run.coil_heat / where(coil > 0.0, coil, 1.0), off),
        heater=where(usable & runs, run.heater_heat / where(heater > 0.0, heater, 1.0), off),
        plenum_temperature=end.temperature,
        plenum_relative_humidity=relative,
        plenum_dew_point=dew,
        humidity_wanted=where(runs & (end.water_added > 0.0), relative, 0.0),
        stopped_by=where(freezes, Binding.FREEZING, where(wets, Binding.WETS_CROP, Binding.NONE)),
        freeze_stage=freeze_stage,
        fan_since=fan_since,
        outside=outside,
        needs=needs,
        situation=now,
        valid_for=bay.control.validity,
    )


def _expected_plenum(
    bay: Bay, now: Situation, run: _Run, speed: Any, flow: Any, ops: Ops
) -> plenum.Supply:
    """The supply that the settings would give if the fans ran."""
    seen, where, known = now.readings, ops.where, now.outside_known
    return plenum.supply(
        mass_flow=flow,
        fresh_fraction=where(known & now.usable, run.fresh_fraction, 0.0),
        outside_temperature=where(known, seen.outside_temperature, now.run_temperature),
        outside_humidity_ratio=where(known, now.outside_humidity_ratio, now.run_humidity_ratio),
        return_temperature=now.run_temperature,
        return_humidity_ratio=now.run_humidity_ratio,
        pressure=now.pressure,
        heat=aims.fan_power(bay, speed) + run.heater_heat,
        coil_heat=run.coil_heat,
        **coil_of(bay.refrigeration),
        humidity_wanted=run.humidity_wanted,
        water_capacity=capacity_of(bay.humidifier),
        vapour_limit=aims.vapour_limit(bay, seen.pulp_coldest, now.pressure, ops),
    )


def _remember(
    bay: Bay,
    now: Situation,
    needs: Needs,
    advice: Advice,
    memory: Memory,
    guard: freeze_guard.Guard,
    ops: Ops,
) -> Memory:
    where, rules, step = ops.where, bay.control, now.elapsed
    fan_on = advice.fan_speed > 0.0
    changed = fan_on != memory.fan_on
    action = advice.action
    cooled = (action == COOL_BY_COIL) | (action == COOL_BY_OUTSIDE)
    fresh = fan_on & (advice.door_opening >= 0.5 * rules.fresh_air_opening)
    fresh = fresh | (action == FRESH_AIR)
    tail = where(memory.cooled, rules.tail, memory.tail_left)
    fresh_left = where(
        needs.purge & (memory.fresh_left <= 0.0), rules.fresh_air_for, memory.fresh_left
    )
    run_left = where(needs.even & (memory.run_left <= 0.0), rules.circulate_for, memory.run_left)
    return Memory(
        time=now.readings.time,
        target=now.target,
        fan_on=fan_on,
        fan_since=where(changed, 0.0, memory.fan_since + step),
        cooling=needs.cool,
        warming=needs.warm,
        purging=needs.purge,
        cooled=cooled,
        tail_left=where(cooled, rules.tail, ops.maximum(tail - step, 0.0)),
        run_left=where(fan_on, ops.maximum(run_left - step, 0.0), run_left),
        fresh_left=where(fresh, ops.maximum(fresh_left - step, 0.0), fresh_left),
        since_run=where(fan_on, 0.0, memory.since_run + step),
        since_fresh=where(fresh, 0.0, memory.since_fresh + step),
        freeze_stage=guard.stage,
        below_floor=guard.below_floor,
        below_zero=guard.below_zero,
        below_hard=guard.below_hard,
        above_exit=guard.above_exit,
        stage_age=guard.stage_age,
    )
