"""What the adviser is told, and what it remembers."""

from __future__ import annotations

import math
from typing import NamedTuple

__all__ = ["DOUBTED", "OUT_OF_ORDER", "START", "Memory", "Readings"]

NAN = math.nan


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
    plenum_relative_humidity: float = NAN
    """Supply air as measured. [0-1]"""
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
    pulp_odd: float = NAN
    """A probe far from all others, left out of the means: bad probe or real spot. [°C]"""
    pulp_odd_place: int = 0
    """Its place from the bottom, 1 for the lowest."""
    pulp_probes: int = 0
    """How many pulp probes agree; 0 where nobody says."""
    loaded: float = NAN
    """Part of the crop that is in the bay, as told. [0-1]"""
    stage_told: int = -1
    """Code of the stage as told; -1 leaves it to the calendar."""
    rot_share: float = 0.0
    """Part of the crop that rots, as told. [0-1]"""
    crop_wet: bool = False
    """Whether the crop came in wet, or stands wet."""
    people_inside: bool = False
    """Whether somebody is in the bay."""
    co2_at_least: bool = False
    """Whether CO2 stands at the top of its probe's range, so may be more."""
    out_of_order: int = 0
    """Sum of the codes in ``OUT_OF_ORDER`` of what does not work."""
    doubted: int = 0
    """Sum of the codes in ``DOUBTED`` of probes that are not believed."""


OUT_OF_ORDER = {"fans": 1, "door": 2, "humidifier": 4, "refrigeration": 8, "heater": 16}
"""What may be told to be out of order, and its code."""
DOUBTED = {
    "pulp": 1, "plenum temperature": 2, "return temperature": 4, "outside temperature": 8,
    "ceiling temperature": 16, "plenum humidity": 32, "return humidity": 64,
    "outside humidity": 128, "CO2": 256, "air pressure": 512,
}  # fmt: skip
"""Probes that may not be believed, in the order of ``PROBES``, and their codes."""
FANS_OUT, DOOR_OUT, HUMIDIFIER_OUT, REFRIGERATION_OUT, HEATER_OUT = OUT_OF_ORDER.values()


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
    stage_age: float = 0.0
    """How long the stage has lasted. [s]"""
    fan_speed: float = 0.0
    """Advised last. [0-1]"""
    door_opening: float = 0.0
    """Advised last. [0-1]"""
    expected_plenum_temperature: float = NAN
    """Supply that the last advice expected; NaN without a run. [°C]"""
    expected_share: float = 0.0
    """Fresh fraction of that run. [0-1]"""
    expected_humidity: float = NAN
    """Relative humidity of that supply. [0-1]"""
    expected_return_temperature: float = NAN
    """Return air of that run. [°C]"""
    expected_outside_temperature: float = NAN
    """Outside air that was believed. [°C]"""
    expected_humidifier_drop: float = 0.0
    """Cooling of that supply by the humidifier. [K]"""
    outside_correction: float = 0.0
    """Believed outside temperature less the probe's. [K]"""
    door_share: float = NAN
    """Fresh fraction at which the door was found stuck. [0-1]"""
    door_age: float = 0.0
    """Since it was found so last. [s]"""
    humidifier_lacking: float = 0.0
    """How long runs have missed the humidifier's cooling. [s]"""
    humidifier_age: float = 0.0
    """Since they did last. [s]"""
    no_air: float = 0.0
    """How long the plenum has not felt the fans. [s]"""
    pulp_warm: float = 0.0
    """Pulp probes above the tubers, as the return air tells. [K]"""
    alarm_times: tuple[float, ...] = (NAN,) * 13
    """When each alarm that stands began, UTC since 1970-01-01; NaN for none. [s]"""


START = Memory()
"""Nothing remembered."""
