"""What the adviser is told, what it remembers, and what it makes of both."""

from __future__ import annotations

import math
from typing import NamedTuple

from ventcalc.advice.setpoints import ceiling_temperature
from ventcalc.air.plain import dew_point, humidity_ratio, saturated, standard_pressure
from ventcalc.bay.calendar import ARRIVED, calendar_at, final_target, stage_of, target_of
from ventcalc.bay.hourly import HourlyBay

__all__ = ["START", "Memory", "Readings", "Situation", "assess"]

NAN = math.nan
EXIT_HUMIDITY = 0.98
"""Air cannot leave a pile much moister than this, the water activity of tubers. [0-1]"""
LONGEST_GAP = 6 * 3600.0
"""A longer silence, or a clock that goes backward, counts as no time at all. [s]"""


class Readings(NamedTuple):
    """Readings of one time; NaN is a missing one."""

    time: float
    """UTC, since 1970-01-01. [s]"""
    outside_temperature: float = NAN
    """[°C]"""
    outside_relative_humidity: float = NAN
    """[0-1]"""
    return_temperature: float = NAN
    """Air above the pile. [°C]"""
    return_relative_humidity: float = NAN
    """[0-1]"""
    plenum_temperature: float = NAN
    """Supply air as measured. [°C]"""
    pulp_bottom: float = NAN
    """[°C]"""
    pulp_top: float = NAN
    """[°C]"""
    pulp_mean: float = NAN
    """[°C]"""
    pulp_coldest: float = NAN
    """Coldest exposed tuber. [°C]"""
    ceiling_temperature: float = NAN
    """Inside surface; estimated when missing. [°C]"""
    co2: float = NAN
    """Volume fraction. [1]"""
    pressure: float = NAN
    """Air pressure; taken from the altitude when missing. [Pa]"""


class Memory(NamedTuple):
    """What one piece of advice leaves for the next. Times are durations. [s]"""

    time: float = NAN
    """Of the last advice, UTC since 1970-01-01. [s]"""
    target: float = NAN
    """Pulp temperature wanted. [°C]"""
    fan_on: bool = False
    """Whether the fans were to run."""
    fan_since: float = 1e9
    """Since the fans last started or stopped. [s]"""
    cooling: bool = False
    """Whether heat was wanted out (hysteresis)."""
    warming: bool = False
    """Whether heat was wanted in (hysteresis)."""
    purging: bool = False
    """Whether CO2 was too high (hysteresis)."""
    cooled: bool = False
    """Whether the last advice did cool."""
    tail_left: float = 0.0
    """Of the run on after cooling. [s]"""
    run_left: float = 0.0
    """Of the circulation run. [s]"""
    fresh_left: float = 0.0
    """Of the fresh-air run. [s]"""
    since_run: float = 0.0
    """Since the fans last ran. [s]"""
    since_fresh: float = 0.0
    """Since the last fresh-air run. [s]"""
    freeze_stage: int = 0
    """Code of the stage of freeze protection, 0 to 3."""
    below_floor: float = 0.0
    """How long the plenum has been below its floor. [s]"""
    below_zero: float = 0.0
    """How long it has been below 0 °C. [s]"""
    below_hard: float = 0.0
    """How long it has been below the temperature of stage 3. [s]"""
    above_exit: float = 0.0
    """How long it has been warm enough to leave stage 1. [s]"""
    stage_age: float = 0.0
    """How long the stage has lasted. [s]"""


START = Memory()
"""Nothing remembered."""


class Situation(NamedTuple):
    """Readings made into the quantities that the rules compare."""

    readings: Readings
    elapsed: float
    """Since the last advice; 0 at a start or after a jump. [s]"""
    fresh_start: bool
    """Whether nothing is known of the time before."""
    pressure: float
    """[Pa]"""
    outside_humidity_ratio: float
    """[kg/kg dry air]"""
    return_humidity_ratio: float
    """[kg/kg dry air]"""
    return_dew_point: float
    """[°C]"""
    run_temperature: float
    """Return air of a run: as read while the fans run, else the pile's top. [°C]"""
    run_humidity_ratio: float
    """[kg/kg dry air]"""
    run_dew_point: float
    """[°C]"""
    ceiling: float
    """Inside surface. [°C]"""
    stage: int
    """Code of the stage, its place in ``STAGES``."""
    target: float
    """Pulp temperature wanted now. [°C]"""
    final: float
    """Where the target is heading. [°C]"""
    ramping: bool
    """Whether the target is still on its way there."""
    excess: float
    """Mean pulp above the target. [K]"""
    spread: float
    """Top less bottom. [K]"""
    usable: bool
    """Whether pulp and return air are known."""
    outside_known: bool
    """Whether outside air and its humidity are known."""


def assess(bay: HourlyBay, readings: Readings, memory: Memory) -> Situation:
    """Make readings and memory into a situation."""
    passed = readings.time - memory.time
    fresh_start = not 0.0 <= passed <= LONGEST_GAP
    elapsed = 0.0 if fresh_start else passed
    pressure = readings.pressure
    if math.isnan(pressure):
        pressure = standard_pressure(bay.site.altitude)
    outside = humidity_ratio(
        readings.outside_temperature, readings.outside_relative_humidity, pressure
    )
    inside = humidity_ratio(
        readings.return_temperature, readings.return_relative_humidity, pressure
    )
    ceiling = readings.ceiling_temperature
    if math.isnan(ceiling):
        ceiling = ceiling_temperature(
            bay, readings.return_temperature, readings.outside_temperature
        )
    run, moist = _run_air(readings, memory, inside, pressure)
    return_dew_point = dew_point(inside, pressure)
    run_dew_point = return_dew_point if moist == inside else dew_point(moist, pressure)
    when = calendar_at(bay, readings.time)
    target = target_of(bay, when, memory.target, readings.pulp_mean, elapsed)
    final = final_target(bay, when)
    pulp = readings.pulp_mean + readings.pulp_coldest + readings.pulp_top + readings.pulp_bottom
    return Situation(
        readings=readings,
        elapsed=elapsed,
        fresh_start=fresh_start,
        pressure=pressure,
        outside_humidity_ratio=outside,
        return_humidity_ratio=inside,
        return_dew_point=return_dew_point,
        run_temperature=run,
        run_humidity_ratio=moist,
        run_dew_point=run_dew_point,
        ceiling=ceiling,
        stage=stage_of(bay, when, target),
        target=target,
        final=final,
        ramping=target > final + ARRIVED,
        excess=readings.pulp_mean - target,
        spread=readings.pulp_top - readings.pulp_bottom,
        usable=not math.isnan(pulp + inside),
        outside_known=not math.isnan(outside),
    )


def _run_air(
    readings: Readings, memory: Memory, inside: float, pressure: float
) -> tuple[float, float]:
    """
    Temperature [°C] and humidity ratio that the return air will have once the fans run.

    With the fans off the probe stands in headspace air that roof and leaks have cooled, warmed
    and dried; within minutes of a start it meets the air that leaves the pile, moister and at
    the temperature of the top. Advice that trusted the first would wet the bottom.
    """
    if memory.fan_on or math.isnan(readings.pulp_top):
        return readings.return_temperature, inside
    leaving = EXIT_HUMIDITY * saturated(readings.pulp_top, pressure)
    return readings.pulp_top, leaving if leaving > inside else inside
