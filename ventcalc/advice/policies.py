"""Ways to run a bay through a season: the advice, and three plain ones to compare it with."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any
from zoneinfo import ZoneInfo

from ventcalc._ops import Ops, at_moment, ops_for
from ventcalc.advice import advise as advice_module
from ventcalc.advice import aims, calendar
from ventcalc.advice.situation import Readings
from ventcalc.bay.description import Bay, door_opening_at
from ventcalc.errors import BadInput

__all__ = ["POLICIES", "Policy", "Positions", "policy_named"]

Policy = Callable[[Bay, Readings, Any], tuple[Any, Any]]
"""Bay, readings and memory in; positions and new memory out."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Positions:
    """What a policy must give; ``Advice`` gives it too. All 0-1."""

    fan_speed: Any = 0.0
    """[0-1]"""
    door_opening: Any = 0.0
    """[0-1]"""
    humidity_wanted: Any = 0.0
    """Set point of the humidifier; 0 for off. [0-1]"""
    refrigeration: Any = 0.0
    """[0-1]"""
    heater: Any = 0.0
    """[0-1]"""
    action: Any = 1
    """Code of ``Action``."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class _Held:
    time: float
    target: Any
    cooling: Any = False


def _target(bay: Bay, readings: Readings, memory: _Held | None, ops: Ops) -> Any:
    when = calendar.calendar_at(bay, readings.time)
    last = float("nan") if memory is None else memory.target
    elapsed = bay.control.validity if memory is None else readings.time - memory.time
    return calendar.target_of(bay, when, last, readings.pulp_mean, elapsed, ops)


def _mixing_door(bay: Bay, readings: Readings, aim: Any, ops: Ops) -> Any:
    """Door opening by the dry-bulb mixing law, as a plain thermostat motor would settle."""
    below = readings.return_temperature - readings.outside_temperature
    share = (readings.return_temperature - aim) / ops.where(below > 0.1, below, 0.1)
    share = ops.where(below > 0.1, share, 0.0)
    return ops.minimum(ops.maximum(door_opening_at(bay.doors, share), 0.0), 1.0)


def differential_thermostat(
    bay: Bay, readings: Readings, memory: _Held | None
) -> tuple[Positions, _Held]:
    """
    Fans at full speed while pulp is above target and outside air is 1.5 K colder than pulp.

    Parameters
    ----------
    bay : Bay
        The bay.
    readings : Readings
        Now.
    memory : object
        From the last call.

    Returns
    -------
    tuple
        Positions and memory. Blind to humidity; the door mixes to the supply aim.
    """
    ops = ops_for(bay.fans.airflow, readings.pulp_mean)
    target = _target(bay, readings, memory, ops)
    excess = readings.pulp_mean - target
    was = False if memory is None else memory.cooling
    cool = excess > ops.where(was, 0.0, 0.3)
    colder = readings.outside_temperature < readings.pulp_mean - 1.5
    aim = aims.supply_aim(bay, target, readings.pulp_coldest, ops)
    runs = cool & colder
    humid = aims.humidity_aim(bay, ops)
    return Positions(
        fan_speed=ops.where(runs, 1.0, 0.0),
        door_opening=ops.where(runs, _mixing_door(bay, readings, aim, ops), 0.0),
        humidity_wanted=ops.where(runs, humid, 0.0),
    ), _Held(time=readings.time, target=target, cooling=cool)


def _local_hour(time: float, zone: str) -> float:
    return float(datetime.fromtimestamp(time, UTC).astimezone(ZoneInfo(zone)).hour)


def clock_schedule(bay: Bay, readings: Readings, memory: _Held | None) -> tuple[Positions, _Held]:
    """
    Fans at full speed from 22 to 6 o'clock local time, whatever the weather.

    Parameters
    ----------
    bay : Bay
        The bay.
    readings : Readings
        Now.
    memory : object
        From the last call.

    Returns
    -------
    tuple
        Positions and memory. The door mixes to the supply aim when outside air is colder.
    """
    ops = ops_for(bay.fans.airflow, readings.pulp_mean)
    target = _target(bay, readings, memory, ops)
    hour = at_moment(_local_hour, readings.time, bay.site.time_zone)
    on = ops.where((hour >= 22.0) | (hour < 6.0), 1.0, 0.0)
    aim = aims.supply_aim(bay, target, readings.pulp_coldest, ops)
    humid = aims.humidity_aim(bay, ops)
    return Positions(
        fan_speed=on + 0.0 * target,
        door_opening=on * _mixing_door(bay, readings, aim, ops),
        humidity_wanted=on * humid,
    ), _Held(time=readings.time, target=target)


def do_nothing(bay: Bay, readings: Readings, memory: Any) -> tuple[Positions, Any]:
    """
    Fans off, doors shut.

    Parameters
    ----------
    bay : Bay
        The bay.
    readings : Readings
        Now.
    memory : object
        Handed back.

    Returns
    -------
    tuple
        Positions and memory.
    """
    zero = 0.0 * readings.pulp_mean
    return Positions(fan_speed=zero, door_opening=zero), memory


POLICIES: dict[str, Policy] = {
    "advice": advice_module.advise,
    "thermostat": differential_thermostat,
    "clock": clock_schedule,
    "nothing": do_nothing,
}
"""Policies by name."""


def policy_named(name: str) -> Policy:
    """
    A shipped policy.

    Parameters
    ----------
    name : str
        One of ``POLICIES``.

    Returns
    -------
    callable
        The policy.

    Raises
    ------
    BadInput
        If there is none of that name.
    """
    if name not in POLICIES:
        raise BadInput(f"policy {name!r}: unknown; write one of {', '.join(POLICIES)}")
    return POLICIES[name]
