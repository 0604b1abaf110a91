"""Three stages of protection against freezing supply air, the last one latched."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

from ventcalc._ops import Ops
from ventcalc.advice.situation import Memory, Readings
from ventcalc.bay.description import Bay

__all__ = ["Guard", "guard", "release"]

PATIENCE = 300.0
"""How long a temperature must be too low before a stage begins. [s]"""
SECOND_STAGE = 3600.0
"""How long the door stays shut in stage 2. [s]"""
HARD = -0.5
"""Plenum temperature of stage 3; potatoes freeze at about -0.6 to -1.1 °C. [°C]"""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Guard:
    """Stage 0-3, and how long each condition has held. [s]"""

    stage: Any
    """Code of the stage."""
    below_floor: Any
    """Plenum below its floor. [s]"""
    below_zero: Any
    """Plenum below 0 °C. [s]"""
    below_hard: Any
    """Plenum below ``HARD``. [s]"""
    above_exit: Any
    """Plenum warm enough to leave stage 1. [s]"""
    stage_age: Any
    """The stage itself. [s]"""


def guard(bay: Bay, readings: Readings, memory: Memory, elapsed: float, ops: Ops) -> Guard:
    """
    Stage of freeze protection.

    Parameters
    ----------
    bay : Bay
        The bay.
    readings : Readings
        The plenum as measured; NaN leaves the stage where it was.
    memory : Memory
        Stage and durations so far.
    elapsed : float
        Since the last advice. [s]
    ops : Ops
        Carrier.

    Returns
    -------
    Guard
        0 none; 1 door to its stop, heat if there is any; 2 door shut, recirculation for an
        hour; 3 the same, latched until a person releases it.

    Notes
    -----
    The structure is that of ASHRAE Guideline 36 (freeze protection in three stages with
    timers and a manual reset); the temperatures are moved to those of a potato store.
    """
    where, plenum = ops.where, readings.plenum_temperature
    seen = ops.negate(ops.isnan(plenum))

    def held(condition: Any, before: Any) -> Any:
        return where(seen, where(condition, before + elapsed, 0.0), before)

    low = held(plenum < bay.limits.plenum_floor, memory.below_floor)
    zero = held(plenum < 0.0, memory.below_zero)
    hard = held(plenum < HARD, memory.below_hard)
    exit_ = held(plenum > bay.limits.plenum_floor + 1.0, memory.above_exit)
    before = memory.freeze_stage
    age = memory.stage_age + elapsed
    stage = where((before == 1) & (exit_ >= PATIENCE), 0, before)
    stage = where((before == 2) & (age >= SECOND_STAGE), 1, stage)
    stage = where((low >= PATIENCE) & (stage < 1), 1, stage)
    stage = where((zero >= PATIENCE) & (stage < 2), 2, stage)
    stage = where((hard >= PATIENCE) | (before == 3), 3, stage)
    return Guard(
        stage=stage,
        below_floor=low,
        below_zero=zero,
        below_hard=hard,
        above_exit=exit_,
        stage_age=where(stage != before, 0.0, age),
    )


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
    zero = dict.fromkeys(("below_floor", "below_zero", "below_hard", "stage_age"), 0.0)
    return replace(memory, freeze_stage=0, **zero)
