"""The steps of a season one after the other: read, decide, move on, keep."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any, NamedTuple

from ventcalc.advice.action import HANDS_OFF
from ventcalc.advice.policies import Positions
from ventcalc.advice.readings import Memory
from ventcalc.bay.calendar import calendar_at, planned_target, stage_of
from ventcalc.bay.hourly import HourlyBay
from ventcalc.pile.layers import Bed, Layer, layer_mean, least
from ventcalc.season.bay_model import readings_of, step_bay
from ventcalc.season.bay_state import BayState, SensorErrors, StepRecord
from ventcalc.season.faults import NO_FAULT
from ventcalc.season.surroundings import Ground, Outside

__all__ = ["PlantFaults", "SensorErrors", "end_step", "run_steps"]


class PlantFaults(NamedTuple):
    """Parts that do not do what they are told for a time, UTC since 1970-01-01 [s]."""

    door_opening: float = 0.0
    """At which the door is stuck. [0-1]"""
    door_from: float = math.inf
    """[s]"""
    door_until: float = math.inf
    """[s]"""
    fans_from: float = math.inf
    """Fans do not turn. [s]"""
    fans_until: float = math.inf
    """[s]"""
    humidifier_from: float = math.inf
    """No mist comes. [s]"""
    humidifier_until: float = math.inf
    """[s]"""
    heater_from: float = math.inf
    """Heater and refrigeration stand. [s]"""
    heater_until: float = math.inf
    """[s]"""


def obeyed(given: Positions, faults: PlantFaults, time: float) -> Positions:
    """What the parts make of what they are told."""
    fan, door, mist = given.fan_speed, given.door_opening, given.humidity_wanted
    coil, heater = given.refrigeration, given.heater
    if faults.fans_from <= time < faults.fans_until:
        fan = 0.0
    if faults.door_from <= time < faults.door_until:
        door = faults.door_opening
    if faults.humidifier_from <= time < faults.humidifier_until:
        mist = 0.0
    if faults.heater_from <= time < faults.heater_until:
        coil = heater = 0.0
    return Positions(
        fan_speed=fan,
        door_opening=door,
        humidity_wanted=mist,
        refrigeration=coil,
        heater=heater,
        action=given.action,
    )


def end_step(
    bay: HourlyBay,
    bed: Bed,
    ground: Ground,
    layers: Sequence[Layer],
    state: BayState,
    given: Positions,
    memory: Memory,
    outside: Outside,
    step: float,
    faults: PlantFaults,
    record: StepRecord,
    pulp: Any,
) -> tuple[BayState, int, float]:
    """
    Move on under what the policy gave, and keep what came of it.

    A policy whose memory has no target is measured on the plan. Hands
    off means fans off: no other program runs here. Gives the state, and what went wrong as
    ``step_bay`` does.
    """
    when = calendar_at(bay, outside.time)
    planned = planned_target(bay, when)
    target = planned if math.isnan(memory.target) else memory.target
    positions = given
    if given.action == HANDS_OFF:
        positions = Positions(
            fan_speed=0.0,
            door_opening=0.0,
            humidity_wanted=0.0,
            refrigeration=0.0,
            heater=0.0,
            action=given.action,
        )
    positions = obeyed(positions, faults, outside.time)
    record.now = when.now
    record.target = target
    record.planned = planned
    record.frost_stage = float(memory.freeze_stage)
    record.stage = float(stage_of(bay, when, target))
    record.pulp_mean = layer_mean(layers)
    record.pulp_coldest = least(layers)
    record.action = float(positions.action)
    record.fan_speed = positions.fan_speed
    record.door_opening = positions.door_opening
    record.humidity_wanted = positions.humidity_wanted
    record.refrigeration = positions.refrigeration
    record.heater = positions.heater
    state, fault, value = step_bay(
        bay, bed, ground, layers, state, positions, outside, step, record
    )
    for k in range(len(layers)):
        pulp[k] = layers[k].temperature
    return state, fault, value


def run_steps(
    bay: HourlyBay,
    believed: HourlyBay,
    bed: Bed,
    ground: Ground,
    layers: Sequence[Layer],
    hours: Sequence[Outside],
    step: float,
    errors: SensorErrors,
    faults: PlantFaults,
    policy: Any,
    first: int,
    last: int,
    state: BayState,
    memory: Memory,
    records: Sequence[StepRecord],
    pulp: Any,
) -> tuple[BayState, Memory, int, int, float]:
    """The steps ``first`` to ``last``; gives state, memory, steps done, and what went wrong."""
    for i in range(first, last):
        readings = readings_of(state, layers, hours[i], bed.pressure, errors)
        positions, memory = policy(believed, readings, memory)
        state, fault, value = end_step(
            bay, bed, ground, layers, state, positions, memory, hours[i], step, faults,
            records[i], pulp[i],
        )  # fmt: skip
        if fault != NO_FAULT:
            return state, memory, i, fault, value
    return state, memory, last, NO_FAULT, 0.0
