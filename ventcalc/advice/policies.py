"""Ways to run a bay through a season: the advice, and four plain ones to compare it with."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any, NamedTuple

from ventcalc.advice.readings import START, Memory, Readings
from ventcalc.advice.rules import decide
from ventcalc.advice.setpoints import (
    dry_air_flow,
    fan_power,
    humidity_setpoint,
    supply_setpoint,
    vapour_limit,
)
from ventcalc.air.plain import AIR_HEAT, humidity_ratio, standard_pressure
from ventcalc.bay.calendar import calendar_at, local_hour, target_of
from ventcalc.bay.description import door_opening_at
from ventcalc.bay.hourly import HourlyBay
from ventcalc.errors import BadInput

__all__ = ["POLICIES", "Policy", "Positions", "policy_named", "positions_of"]

Policy = Callable[[Any, Readings, Any], tuple[Any, Any]]
"""Bay, readings and memory in; positions and new memory out."""

START_ABOVE = 0.3
"""Pulp above target at which the thermostat starts; it stops at the target. [K]"""
COLDER = 1.5
"""Outside air below the pulp that the thermostat asks for. [K]"""
COLD_PRICE = 0.3
"""Of cold in the pile, against electricity: what a refrigeration plant (COP 3) asks. [1]"""
LEAST_SPAN = 0.1
"""Return above outside air below which mixing does nothing. [K]"""
NIGHT_BEGINS, NIGHT_ENDS = 22.0, 6.0
"""Of the clock, local time. [h]"""


class Positions(NamedTuple):
    """What a policy must give; ``Advice`` gives it too. All 0-1."""

    fan_speed: float = 0.0
    """[0-1]"""
    door_opening: float = 0.0
    """[0-1]"""
    humidity_wanted: float = 0.0
    """Set point of the humidifier; 0 for off. [0-1]"""
    refrigeration: float = 0.0
    """[0-1]"""
    heater: float = 0.0
    """[0-1]"""
    action: int = 1
    """Code of ``Action``."""


def positions_of(advice: Any) -> Positions:
    """The positions that an advice, or what else a policy gave, asks for."""
    return Positions(
        fan_speed=advice.fan_speed,
        door_opening=advice.door_opening,
        humidity_wanted=advice.humidity_wanted,
        refrigeration=advice.refrigeration,
        heater=advice.heater,
        action=advice.action,
    )


def advice(bay: HourlyBay, readings: Readings, memory: Memory) -> tuple[Positions, Memory]:
    """The advice, followed to the letter."""
    given, after = decide(bay, readings, memory)
    return positions_of(given), after


def differential_thermostat(
    bay: HourlyBay, readings: Readings, memory: Memory
) -> tuple[Positions, Memory]:
    """
    Fans at full speed while pulp is above target and outside air is 1.5 K colder than pulp.

    Blind to humidity; the door mixes to the supply set point by dry bulb.
    """
    target = _target(bay, readings, memory)
    cool = readings.pulp_mean - target > (0.0 if memory.cooling else START_ABOVE)
    after = _remembered(readings, target, cool)
    if not cool or not readings.outside_temperature < readings.pulp_mean - COLDER:
        return _off(), after
    return _mixed(bay, readings, target, 1.0), after


def clock_schedule(bay: HourlyBay, readings: Readings, memory: Memory) -> tuple[Positions, Memory]:
    """
    Fans at full speed from 22 to 6 o'clock local time, whatever the weather.

    The door mixes to the supply set point when outside air is colder.
    """
    target = _target(bay, readings, memory)
    after = _remembered(readings, target, False)
    hour = local_hour(bay, readings.time)
    if NIGHT_ENDS <= hour < NIGHT_BEGINS:
        return _off(), after
    return _mixed(bay, readings, target, 1.0), after


def shadow_price(bay: HourlyBay, readings: Readings, memory: Memory) -> tuple[Positions, Memory]:
    """
    Fans as fast as pays at one constant price of cold stored: the simplest of all optimisers.

    Cold is worth ``COLD_PRICE`` of electricity while pulp is above target, nothing below. Cold
    grows with the speed and power with its cube, so what pays best is a square root. Never with
    outside air whose dew point would wet the coldest pulp.
    """
    target = _target(bay, readings, memory)
    after = _remembered(readings, target, False)
    pressure, coldest = readings.pressure, readings.pulp_coldest
    if pressure != pressure:
        pressure = standard_pressure(bay.site.altitude)
    outside = readings.outside_temperature
    water = humidity_ratio(outside, readings.outside_relative_humidity, pressure)
    if not water < vapour_limit(bay, coldest, readings.pulp_probes, pressure):
        return _off(), after
    supply = max(outside, supply_setpoint(bay, target, coldest, 0.0))
    colder_by = readings.pulp_mean - supply
    if not readings.pulp_mean > target or not colder_by > LEAST_SPAN:
        return _off(), after
    cooling = dry_air_flow(bay, 1.0, pressure) * AIR_HEAT * colder_by
    pays = math.sqrt(COLD_PRICE * cooling / (3.0 * fan_power(bay, 1.0)))
    speed = min(max(pays, bay.fans.minimum_speed), 1.0)
    return _mixed(bay, readings, target, speed), after


def do_nothing(bay: HourlyBay, readings: Readings, memory: Memory) -> tuple[Positions, Memory]:
    """Fans off, doors shut."""
    return _off(), memory


def _target(bay: HourlyBay, readings: Readings, memory: Memory) -> float:
    """The calendar's target, which waits for the pile as that of the advice does. [°C]"""
    elapsed = readings.time - memory.time
    if elapsed != elapsed:
        elapsed = bay.control.validity
    when = calendar_at(bay, readings.time)
    return target_of(bay, when, memory.target, readings.pulp_mean, elapsed)


def _remembered(readings: Readings, target: float, cooling: bool) -> Memory:
    """All that the plain policies keep."""
    return Memory(
        time=readings.time,
        target=target,
        fan_on=False,
        fan_since=0.0,
        cooling=cooling,
        warming=False,
        purging=False,
        cooled=False,
        tail_left=0.0,
        run_left=0.0,
        fresh_left=0.0,
        since_run=0.0,
        since_fresh=0.0,
        freeze_stage=0,
        stage_age=0.0,
        fan_speed=0.0,
        door_opening=0.0,
        expected_plenum_temperature=math.nan,
        expected_share=0.0,
        expected_humidity=math.nan,
        expected_return_temperature=math.nan,
        expected_outside_temperature=math.nan,
        expected_humidifier_drop=0.0,
        outside_correction=0.0,
        pulp_warm=0.0,
        door_share=math.nan,
        door_age=0.0,
        humidifier_lacking=0.0,
        humidifier_age=0.0,
        no_air=0.0,
        alarm_times=START.alarm_times,
    )


def _off() -> Positions:
    return Positions(
        fan_speed=0.0,
        door_opening=0.0,
        humidity_wanted=0.0,
        refrigeration=0.0,
        heater=0.0,
        action=1,
    )


def _mixed(bay: HourlyBay, readings: Readings, target: float, fan_speed: float) -> Positions:
    """Fans on; the door by the dry-bulb mixing law, as a plain thermostat motor would settle."""
    below = readings.return_temperature - readings.outside_temperature
    share = 0.0
    if below > LEAST_SPAN:
        setpoint = supply_setpoint(bay, target, readings.pulp_coldest, 0.0)
        share = (readings.return_temperature - setpoint) / below
    return Positions(
        fan_speed=fan_speed,
        door_opening=min(max(door_opening_at(bay.doors, share), 0.0), 1.0),
        humidity_wanted=humidity_setpoint(bay),
        refrigeration=0.0,
        heater=0.0,
        action=1,
    )


POLICIES: dict[str, Policy] = {
    "advice": advice,
    "thermostat": differential_thermostat,
    "clock": clock_schedule,
    "nothing": do_nothing,
    "shadow_price": shadow_price,
}
"""Policies by name."""


def policy_named(name: str) -> Policy:
    """A shipped policy."""
    if name not in POLICIES:
        raise BadInput(f"policy {name!r}: unknown; write one of {', '.join(POLICIES)}")
    return POLICIES[name]
