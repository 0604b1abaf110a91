"""What the adviser is told, what it remembers, and what it makes of both."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from ventcalc import air
from ventcalc._ops import Ops
from ventcalc.advice import aims, calendar
from ventcalc.air import plain as plain_air
from ventcalc.bay.description import Bay

__all__ = ["Memory", "Readings", "Situation", "look"]

NAN = math.nan
EXIT_HUMIDITY = 0.98
"""Air cannot leave a pile much moister than this, the water activity of tubers. [0-1]"""
LONGEST_GAP = 6 * 3600.0
"""A longer silence, or a clock that goes backward, counts as no time at all. [s]"""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Readings:
    """Readings of one moment; NaN is a missing one. Floats, or arrays over bays."""

    time: float
    """UTC, since 1970-01-01. [s]"""
    outside_temperature: Any = NAN
    """[°C]"""
    outside_relative_humidity: Any = NAN
    """[0-1]"""
    return_temperature: Any = NAN
    """Air above the pile. [°C]"""
    return_relative_humidity: Any = NAN
    """[0-1]"""
    plenum_temperature: Any = NAN
    """Supply air as measured. [°C]"""
    pulp_bottom: Any = NAN
    """[°C]"""
    pulp_top: Any = NAN
    """[°C]"""
    pulp_mean: Any = NAN
    """[°C]"""
    pulp_coldest: Any = NAN
    """Coldest exposed tuber. [°C]"""
    ceiling_temperature: Any = NAN
    """Inside surface; estimated when missing. [°C]"""
    co2: Any = NAN
    """Volume fraction. [1]"""
    pressure: Any = NAN
    """Air pressure; taken from the altitude when missing. [Pa]"""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Memory:
    """What one piece of advice leaves for the next. Times are durations. [s]"""

    time: float = NAN
    """Of the last advice, UTC since 1970-01-01. [s]"""
    target: Any = NAN
    """Pulp temperature wanted. [°C]"""
    fan_on: Any = False
    """Whether the fans were to run."""
    fan_since: Any = 1e9
    """Since the fans last started or stopped. [s]"""
    cooling: Any = False
    """Whether heat was wanted out (hysteresis)."""
    warming: Any = False
    """Whether heat was wanted in (hysteresis)."""
    purging: Any = False
    """Whether CO2 was too high (hysteresis)."""
    cooled: Any = False
    """Whether the last advice did cool."""
    tail_left: Any = 0.0
    """Of the run on after cooling. [s]"""
    run_left: Any = 0.0
    """Of the circulation run. [s]"""
    fresh_left: Any = 0.0
    """Of the fresh-air run. [s]"""
    since_run: Any = 0.0
    """Since the fans last ran. [s]"""
    since_fresh: Any = 0.0
    """Since the last fresh-air run. [s]"""
    freeze_stage: Any = 0
    """Code of the stage of freeze protection, 0 to 3."""
    below_floor: Any = 0.0
    """How long the plenum has been below its floor. [s]"""
    below_zero: Any = 0.0
    """How long it has been below 0 °C. [s]"""
    below_hard: Any = 0.0
    """How long it has been below the temperature of stage 3. [s]"""
    above_exit: Any = 0.0
    """How long it has been warm enough to leave stage 1. [s]"""
    stage_age: Any = 0.0
    """How long the stage has lasted. [s]"""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Situation:
    """Readings made into the quantities that the rules compare."""

    readings: Readings
    elapsed: Any
    """Since the last advice. [s]"""
    fresh_start: Any
    """Whether nothing is known of the time before."""
    pressure: Any
    """[Pa]"""
    outside_humidity_ratio: Any
    """[kg/kg dry air]"""
    return_humidity_ratio: Any
    """[kg/kg dry air]"""
    return_dew_point: Any
    """[°C]"""
    run_temperature: Any
    """Return air of a run: as read while the fans run, else the pile's top. [°C]"""
    run_humidity_ratio: Any
    """[kg/kg dry air]"""
    run_dew_point: Any
    """[°C]"""
    ceiling: Any
    """Inside surface. [°C]"""
    stage: Any
    """Code of the stage, its place in ``STAGES``."""
    target: Any
    """Pulp temperature wanted now. [°C]"""
    final: Any
    """Where the target is heading. [°C]"""
    excess: Any
    """Mean pulp above the target. [K]"""
    spread: Any
    """Top less bottom. [K]"""
    usable: Any
    """Whether pulp and return air are known."""
    outside_known: Any
    """Whether outside air and its humidity are known."""


def look(bay: Bay, readings: Readings, memory: Memory, ops: Ops) -> Situation:
    """
    Make readings and memory into a situation.

    Parameters
    ----------
    bay : Bay
        The bay.
    readings : Readings
        Now.
    memory : Memory
        From the last advice.
    ops : Ops
        Carrier.

    Returns
    -------
    Situation
        What the rules compare.

    Raises
    ------
    OutOfRange
        If a reading is not physical.
    """
    elapsed, fresh_start = _elapsed(readings.time - memory.time, ops)
    pressure = _pressure(bay, readings.pressure, ops)
    outside = air.humidity_ratio(
        readings.outside_temperature, readings.outside_relative_humidity, pressure
    )
    inside = air.humidity_ratio(
        readings.return_temperature, readings.return_relative_humidity, pressure
    )
    ceiling = ops.where(
        ops.isnan(readings.ceiling_temperature),
        aims.ceiling_temperature(bay, readings.return_temperature, readings.outside_temperature),
        readings.ceiling_temperature,
    )
    run, moist = _run_air(readings, memory, inside, pressure, ops)
    when = calendar.calendar_at(bay, readings.time)
    target = calendar.target_of(bay, when, memory.target, readings.pulp_mean, elapsed, ops)
    plan = bay.schedule
    final = ops.where(
        when.now < when.healed,
        plan.healing_temperature,
        ops.where(when.now < when.warm_up, plan.holding_temperature, plan.warm_up_temperature),
    )
    pulp = readings.pulp_mean + readings.pulp_coldest + readings.pulp_top
    known = pulp + readings.pulp_bottom + inside
    return Situation(
        readings=readings,
        elapsed=elapsed,
        fresh_start=fresh_start,
        pressure=pressure,
        outside_humidity_ratio=outside,
        return_humidity_ratio=inside,
        return_dew_point=plain_air.dew_point(inside, pressure, ops),
        run_temperature=run,
        run_humidity_ratio=moist,
        run_dew_point=plain_air.dew_point(moist, pressure, ops),
        ceiling=ceiling,
        stage=calendar.stage_of(when, target, plan.holding_temperature, ops),
        target=target,
        final=final,
        excess=readings.pulp_mean - target,
        spread=readings.pulp_top - readings.pulp_bottom,
        usable=ops.negate(ops.isnan(known)),
        outside_known=ops.negate(ops.isnan(outside)),
    )


def _elapsed(passed: Any, ops: Ops) -> tuple[Any, Any]:
    """Time since the last advice, and whether that is none: at a start, or after a jump."""
    known = (passed >= 0.0) & (passed <= LONGEST_GAP)
    if isinstance(known, bool | np.bool_):  # one moment for all bays
        return (passed, False) if known else (0.0, True)
    return ops.where(known, passed, 0.0), ops.negate(known)


def _pressure(bay: Bay, measured: Any, ops: Ops) -> Any:
    """Measured, else that of the altitude; one for all stays one number, which is far cheaper."""
    if isinstance(measured, float) and measured == measured:
        return measured
    standard = air.standard_pressure(bay.site.altitude)
    return ops.where(ops.isnan(measured), standard, measured)


def _run_air(
    readings: Readings, memory: Memory, inside: Any, pressure: Any, ops: Ops
) -> tuple[Any, Any]:
    """
    What the return air will be once the fans run.

    With the fans off the probe stands in headspace air that roof and leaks have cooled, warmed
    and dried; within minutes of a start it meets the air that leaves the pile, moister and at
    the temperature of the top. Advice that trusted the first would wet the bottom.
    """
    leaving = EXIT_HUMIDITY * plain_air.saturated(readings.pulp_top, pressure, ops)
    where, on = ops.where, memory.fan_on
    known = ops.negate(ops.isnan(leaving))
    return (
        where(on | ops.negate(known), readings.return_temperature, readings.pulp_top),
        where(on | ops.negate(known), inside, ops.maximum(inside, leaving)),
    )
