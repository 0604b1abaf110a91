"""What the next advice must know of this one."""

from __future__ import annotations

import math

from ventcalc.advice.action import (
    COOL_BY_COIL,
    COOL_BY_OUTSIDE,
    FRESH_AIR,
    Advice,
    Needs,
)
from ventcalc.advice.freeze_guard import Guard
from ventcalc.advice.readings import Memory
from ventcalc.advice.situation import Situation
from ventcalc.bay.hourly import HourlyBay

__all__ = ["remember"]

FRESH_ENOUGH = 0.5
"""Part of a fresh-air run's opening that counts as one. [1]"""


def remember(
    bay: HourlyBay,
    now: Situation,
    needs: Needs,
    advice: Advice,
    memory: Memory,
    frost: Guard,
    share: float,
    humidifier_drop: float,
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
    drop = humidifier_drop if humidifier_drop > 0.0 else 0.0
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
        pulp_warm=now.pulp_warm,
        alarm_times=memory.alarm_times,
    )
