"""Three stages of protection against freezing supply air, the last one latched."""

from __future__ import annotations

import math
from typing import NamedTuple

from ventcalc.advice.situation import Memory, Readings
from ventcalc.bay.hourly import HourlyBay

__all__ = ["EXIT_ABOVE_FLOOR", "Guard", "guard", "release"]

PATIENCE = 300.0
"""How long a temperature must be too low before a stage begins. [s]"""
SECOND_STAGE = 3600.0
"""How long the door stays shut in stage 2. [s]"""
ABOVE_FREEZING = 0.1
"""Plenum temperature of stage 3, above that at which potatoes freeze. [K]"""
EXIT_ABOVE_FLOOR = 1.0
"""Plenum above its floor that ends stage 1, and the heater's help. [K]"""


class Guard(NamedTuple):
    """Stage 0-3, and how long each condition has held. [s]"""

    stage: int
    """Code of the stage."""
    below_floor: float
    """Plenum below its floor. [s]"""
    below_zero: float
    """Plenum below 0 °C. [s]"""
    below_hard: float
    """Plenum just above the freezing temperature of tubers, or below. [s]"""
    above_exit: float
    """Plenum warm enough to leave stage 1. [s]"""
    stage_age: float
    """The stage itself. [s]"""


def guard(bay: HourlyBay, readings: Readings, memory: Memory, elapsed: float) -> Guard:
    """
    Stage of freeze protection, some time after the last advice [s].

    0 none; 1 door to its stop, heat if there is any; 2 door shut, recirculation for an hour; 3 the
    same, latched until a person releases it. A plenum that is not measured leaves the stage.

    The structure is that of ASHRAE Guideline 36 (freeze protection in three stages with
    timers and a manual reset); the temperatures are moved to those of a potato store.
    """
    plenum, floor = readings.plenum_temperature, bay.limits.plenum_floor
    low = _held(plenum, plenum < floor, memory.below_floor, elapsed)
    zero = _held(plenum, plenum < 0.0, memory.below_zero, elapsed)
    freezing = bay.crop.freezing_temperature + ABOVE_FREEZING
    hard = _held(plenum, plenum < freezing, memory.below_hard, elapsed)
    warm = _held(plenum, plenum > floor + EXIT_ABOVE_FLOOR, memory.above_exit, elapsed)
    before, age = memory.freeze_stage, memory.stage_age + elapsed
    stage = _next_stage(before, age, low, zero, hard, warm)
    return Guard(
        stage=stage,
        below_floor=low,
        below_zero=zero,
        below_hard=hard,
        above_exit=warm,
        stage_age=age if stage == before else 0.0,
    )


def _held(plenum: float, condition: bool, before: float, elapsed: float) -> float:
    """How long a condition has held; a plenum that is not measured neither adds nor ends. [s]"""
    if math.isnan(plenum):
        return before
    return before + elapsed if condition else 0.0


def _next_stage(before: int, age: float, low: float, zero: float, hard: float, warm: float) -> int:
    if before == 3 or hard >= PATIENCE:
        return 3
    stage = before
    if before == 1 and warm >= PATIENCE:
        stage = 0
    elif before == 2 and age >= SECOND_STAGE:
        stage = 1
    if zero >= PATIENCE:
        return 2
    return max(stage, 1) if low >= PATIENCE else stage


def release(memory: Memory) -> Memory:
    """
    Release the latch after a person has looked at the plenum.

    Parameters
    ----------
    memory : Memory
        With the latch set, or not.

    Returns
    -------
    Memory
        At stage 0, with the freeze timers at zero.
    """
    return memory._replace(
        freeze_stage=0, below_floor=0.0, below_zero=0.0, below_hard=0.0, stage_age=0.0
    )
