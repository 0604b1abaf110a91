"""
Protection against freezing supply air and freezing tubers: what is measured now decides.

Freezing outranks wetting. The door shuts at once when the plenum or the coldest pulp is too cold;
if it is colder still, the fans rest, for then shutting the door has not helped or cannot be waited
for. Nothing is latched, unless the site wants it so: stages end by measured warmth.
"""

from __future__ import annotations

import math
from typing import NamedTuple

from ventcalc.advice.readings import Memory, Readings
from ventcalc.bay.hourly import HourlyBay

__all__ = [
    "BLOWS_FROST",
    "DOOR_SHUT",
    "EXIT_ABOVE_FLOOR",
    "FANS_OFF",
    "LATCHED",
    "PULP_RESERVE",
    "Guard",
    "coldest_heard",
    "guard",
    "release",
]

DOOR_SHUT, FANS_OFF, LATCHED = 1, 2, 3
"""Stages: door shut; fans off too; the same until a person releases it, where a site wants that."""
PULP_RESERVE = 1.0
"""Coldest pulp above freezing injury that shuts the door. [K]"""
BLOWS_FROST = 0.0
"""Plenum below which the fans rest. [°C]"""
EXIT_ABOVE_FLOOR = 1.0
"""Plenum above its floor that ends a stage, and the heater's help. [K]"""
LONGEST_REST = 2 * 3600.0
"""
After which a pile that warms up is recirculated behind a shut door, and a plenum at rest tells only
of the bottom of the pile. [s]
"""
WARMS_UP = 1.0
"""Pulp above its target that counts as warming up. [K]"""
OVERHEATS = 5.0
"""Pulp above its target that overrules even a latch. [K]"""
UNSEEN = 6 * 3600.0
"""Time after which a stage ends whose plenum is not measured any more. [s]"""


class Guard(NamedTuple):
    """Stage of freeze protection."""

    stage: int
    """Code of the stage."""
    stage_age: float
    """How long it has lasted. [s]"""
    pulp_cold: bool
    """Whether the pulp itself is near freezing injury."""
    over: bool
    """Whether a stage has ended just now: its cause may still be there."""


def guard(
    bay: HourlyBay, readings: Readings, memory: Memory, elapsed: float, excess: float
) -> Guard:
    """
    Stage of freeze protection, some time [s] after the last advice, at an excess of pulp [K].

    The idea of stages is that of ASHRAE Guideline 36 (freeze protection with timers and a manual
    reset); here the present reading counts, since one hour of frost kills tubers at the ducts.
    """
    before, age = memory.freeze_stage, memory.stage_age + elapsed
    coldest = coldest_heard(readings) - memory.pulp_warm
    pulp_cold = coldest < bay.crop.injury_temperature + PULP_RESERVE
    rested = not memory.fan_on and memory.fan_since + elapsed >= LONGEST_REST
    stage = _plenum_stage(bay, readings.plenum_temperature, before, age, excess, rested)
    latches = bay.control.freeze_latch > 0.0 and not excess > OVERHEATS
    if latches and (before == LATCHED or stage == FANS_OFF):
        stage = LATCHED
    if pulp_cold and stage < DOOR_SHUT:
        stage = DOOR_SHUT
    return Guard(
        stage=stage,
        stage_age=age if stage == before else 0.0,
        pulp_cold=pulp_cold,
        over=stage == 0 and before > 0,
    )


def coldest_heard(readings: Readings) -> float:
    """The coldest pulp, be it that of a probe which disagrees with the others. [°C]"""
    odd = readings.pulp_odd < readings.pulp_coldest
    return readings.pulp_odd if odd else readings.pulp_coldest


def _plenum_stage(
    bay: HourlyBay, plenum: float, before: int, age: float, excess: float, rested: bool
) -> int:
    """Stage by the plenum; a long rest gives way to a pile that warms up."""
    floor = bay.limits.plenum_floor
    if math.isnan(plenum):
        return min(before, FANS_OFF) if age < UNSEEN else 0
    if plenum < BLOWS_FROST:
        waited = before >= FANS_OFF and age >= LONGEST_REST and excess > WARMS_UP
        return DOOR_SHUT if waited else FANS_OFF
    if plenum < floor:
        return DOOR_SHUT
    # In a long rest the plenum is as cold as the bottom of the pile, and tells nothing of the door.
    if before >= DOOR_SHUT and plenum < floor + EXIT_ABOVE_FLOOR and not rested:
        return DOOR_SHUT
    return 0


def release(memory: Memory) -> Memory:
    """Release the latch after a person has looked at the plenum."""
    return memory._replace(freeze_stage=0, stage_age=0.0)
