"""What the adviser is told, what it remembers, and what it makes of both."""

from __future__ import annotations

import math
from typing import NamedTuple

from ventcalc.advice.learning import Findings, learn, learn_pulp
from ventcalc.advice.probes import return_believed
from ventcalc.advice.readings import DOOR_OUT, Memory, Readings
from ventcalc.advice.setpoints import ceiling_temperature, wetting_margin
from ventcalc.air.plain import dew_point, humidity_ratio, saturated, standard_pressure
from ventcalc.bay.calendar import (
    ARRIVED,
    EMPTY,
    FILLING,
    UNLOADING,
    Calendar,
    calendar_at,
    final_target,
    planned_target,
    stage_of,
    target_of,
    told_calendar,
)
from ventcalc.bay.hourly import HourlyBay

__all__ = ["Situation", "assess"]

MOISTEST_RETURN = 0.985
"""No return probe is believed above it: they drift upward when wet; common practice. [0-1]"""
BREATHES = 700e-6
"""CO2 that only a crop gives off, well above that outside. [1]"""
NEAR = 14 * 86400.0
"""Around the ends of the calendar, in which crop may be there earlier or longer. [s]"""
YEAR = 365 * 86400.0
EXIT_HUMIDITY = 0.98
"""Air cannot leave a pile much moister than this, the water activity of tubers. [0-1]"""
DRIER = 1.0
"""
Outside air is taken for no drier than air colder by this than its probe says: a plenum probe that
reads cold teaches the same as an outside probe that reads warm, and is no word of vapour. [K]
"""
LONGEST_GAP = 6 * 3600.0
"""A longer silence, or a clock that goes backward, counts as no time at all. [s]"""


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
    recirculated_humidity_ratio: float
    """Return air of a run behind a shut door, as it settles. [kg/kg dry air]"""
    recirculated_dew_point: float
    """[°C]"""
    ceiling: float
    """Inside surface. [°C]"""
    wetting_margin: float
    """Coldest tuber above the dew point of any supply, so that the sensors leave no doubt. [K]"""
    vapour_limit: float
    """Saturated at the coldest tuber less that margin. [kg/kg dry air]"""
    stage: int
    """Code of the stage, its place in ``STAGES``."""
    target: float
    """Pulp temperature wanted now. [°C]"""
    final: float
    """Where the target is heading. [°C]"""
    trucks: bool
    """Whether crop moves in or out, through doors that stand open."""
    ramping: bool
    """Whether the target is still on its way there."""
    excess: float
    """Mean pulp above the target. [K]"""
    lag: float
    """Mean pulp above what the calendar alone asks for. [K]"""
    spread: float
    """Top less bottom. [K]"""
    usable: bool
    """Whether pulp and return air are known."""
    outside_known: bool
    """Whether outside air and its humidity are known, and the door obeys."""
    outside_temperature: float
    """As believed: the probe's, corrected by what the plenum taught. [°C]"""
    in_use: bool
    """Whether there is crop in the bay, by what is told or measured; else by the calendar."""
    findings: Findings
    """What is believed of probes and parts."""
    pulp_warm: float
    """Pulp probes above the tubers, as the return air tells; against wetting and frost. [K]"""
    humidity_missed: float
    """Relative humidity of the plenum below what the last advice expected. [0-1]"""
    leak: float
    """Fresh fraction with the door shut, or where it is stuck. [0-1]"""
    widest: float
    """Fresh fraction with the door wide open, or where it is stuck. [0-1]"""

    @property
    def run_dew_point(self) -> float:
        """Of the return air of a run, for people. [°C]"""
        return dew_point(self.run_humidity_ratio, self.pressure)


def assess(bay: HourlyBay, readings: Readings, memory: Memory) -> Situation:
    """Make readings and memory into a situation."""
    passed = readings.time - memory.time
    fresh_start = not 0.0 <= passed <= LONGEST_GAP
    elapsed = 0.0 if fresh_start else passed
    pressure = readings.pressure
    if math.isnan(pressure):
        pressure = standard_pressure(bay.site.altitude)
    findings = learn(bay, readings, memory, elapsed)
    believed, outside = _outside_air(readings, findings.outside_correction, pressure)
    above = readings.return_temperature
    settled = memory.fan_on and memory.fan_since > 0.0
    if not return_believed(above, readings.pulp_mean, settled, believed):
        above = math.nan
    moistest = min(readings.return_relative_humidity, MOISTEST_RETURN)
    inside = humidity_ratio(above, moistest, pressure)
    ceiling = readings.ceiling_temperature
    if math.isnan(ceiling):
        ceiling = ceiling_temperature(bay, above, believed)
    when, told, in_use = _told(bay, readings)
    target = target_of(bay, when, memory.target, readings.pulp_mean, elapsed)
    final = final_target(bay, when)
    stage = stage_of(bay, when, target)
    if told >= 0:
        stage = told
    if in_use and stage == EMPTY:
        stage = UNLOADING
    trucks = stage == FILLING or stage == UNLOADING
    warm = learn_pulp(readings, memory, elapsed, above, trucks)
    run, moist = _run_air(readings, memory, above, inside, warm, pressure)
    # Fresh air keeps it drier while a run lasts; within minutes of shutting the door it settles.
    leaving = EXIT_HUMIDITY * saturated(readings.pulp_mean - warm, pressure)
    leaving = leaving if leaving > moist else moist
    margin = wetting_margin(bay, readings.pulp_coldest, readings.pulp_probes) + warm
    leak, widest = _door(bay, readings, findings)
    missed = 0.0
    if memory.fan_on and memory.fan_since > 0.0 and elapsed > 0.0:
        missed = memory.expected_humidity - readings.plenum_relative_humidity
    pulp = readings.pulp_mean + readings.pulp_coldest + readings.pulp_top + readings.pulp_bottom
    return Situation(
        readings=readings,
        elapsed=elapsed,
        fresh_start=fresh_start,
        pressure=pressure,
        outside_humidity_ratio=outside,
        return_humidity_ratio=inside,
        return_dew_point=dew_point(inside, pressure),
        run_temperature=run,
        run_humidity_ratio=moist,
        recirculated_humidity_ratio=leaving,
        recirculated_dew_point=dew_point(leaving, pressure),
        ceiling=ceiling,
        wetting_margin=margin,
        vapour_limit=saturated(readings.pulp_coldest - margin, pressure),
        stage=stage,
        target=target,
        final=final,
        trucks=trucks,
        ramping=target > final + ARRIVED,
        excess=readings.pulp_mean - target,
        lag=readings.pulp_mean - planned_target(bay, when),
        spread=readings.pulp_top - readings.pulp_bottom,
        usable=not math.isnan(pulp + inside),
        outside_known=not math.isnan(outside),
        outside_temperature=believed,
        in_use=in_use,
        findings=findings,
        pulp_warm=warm,
        humidity_missed=missed,
        leak=leak,
        widest=widest,
    )


def _outside_air(readings: Readings, correction: float, pressure: float) -> tuple[float, float]:
    """Temperature [°C] and humidity ratio [kg/kg dry air] of outside air, as believed."""
    believed = readings.outside_temperature + correction
    vapour_at = max(believed, readings.outside_temperature - DRIER)
    outside = humidity_ratio(vapour_at, readings.outside_relative_humidity, pressure)
    return believed, min(outside, saturated(believed, pressure))


def _door(bay: HourlyBay, readings: Readings, findings: Findings) -> tuple[float, float]:
    """Fresh fractions of the door shut and wide open; alike where it does not move. [0-1]"""
    if not math.isnan(findings.door_share):
        stuck = min(max(findings.door_share, 0.0), 1.0)
        return stuck, stuck
    leak = bay.doors.leakage_fraction
    return leak, leak if readings.out_of_order & DOOR_OUT else bay.doors.largest_fraction


def _told(bay: HourlyBay, readings: Readings) -> tuple[Calendar, int, bool]:
    """Calendar, stage as told (-1: not), and whether there is crop; what is there outranks both."""
    plan, told = calendar_at(bay, readings.time), readings.stage_told
    when = told_calendar(plan, told)
    in_use = _in_use(readings, when)
    if in_use and told == EMPTY:
        when, told = plan, -1
    if in_use and when.now - when.emptied > YEAR - when.now:  # filled before the calendar says so
        when = told_calendar(when, FILLING)
    return when, told, in_use


def _in_use(readings: Readings, when: Calendar) -> bool:
    """What is in the bay decides, not the calendar: as told, by CO2, near the calendar's ends."""
    if not math.isnan(readings.loaded):
        return readings.loaded > 0.0
    if when.now < when.emptied:
        return True
    if not math.isnan(readings.co2):
        return readings.co2 > BREATHES
    if readings.stage_told == EMPTY:
        return False
    return when.now < when.emptied + NEAR or when.now > YEAR - NEAR


def _run_air(
    readings: Readings,
    memory: Memory,
    above: float,
    inside: float,
    warm: float,
    pressure: float,
) -> tuple[float, float]:
    """
    Temperature [°C] and humidity ratio that the return air will have once the fans run.

    With the fans off the probe stands in headspace air that roof and leaks have cooled, warmed
    and dried; within minutes of a start it meets the air that leaves the pile, moister and at
    the temperature of the top. Advice that trusted the first would wet the bottom.
    """
    if memory.fan_on or math.isnan(readings.pulp_top):
        return above, inside
    leaving = EXIT_HUMIDITY * saturated(readings.pulp_top - warm, pressure)
    return readings.pulp_top, leaving if leaving > inside else inside
