"""Advice row by row through a log, so that the last one remembers what went before."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Any, NamedTuple

from ventcalc.advice.advise import Advice, Memory, advise
from ventcalc.advice.json_values import moment_of
from ventcalc.advice.probe_history import ProbeHistory
from ventcalc.advice.probes import believed
from ventcalc.advice.readings_file import (
    KEYS,
    PULPS,
    ReadingsFile,
    readings_from_dict,
    readings_of,
    told_of,
)
from ventcalc.bay.description import Bay
from ventcalc.diagnose.log import COLUMNS, Log
from ventcalc.logbook.checked_sensors import CheckedSensors, checked_sensors
from ventcalc.logbook.kinds import Line, SensorCheck
from ventcalc.season.installed import as_installed

__all__ = [
    "Advised",
    "advise_given",
    "advise_log",
    "advise_once",
    "as_logged",
    "readings_checked",
]

RUNNING = 0.01
"""Fan speed from which on fans run. [0-1]"""
AGREES = 0.05
"""Position this near to the advised one is the advised one. [0-1]"""


class Advised(NamedTuple):
    """What was read, what was advised, and what is remembered of it."""

    given: ReadingsFile
    advice: Advice
    memory: Memory
    checks: CheckedSensors | None = None
    """What checks of the probes are worth; None where nobody asked."""


def readings_checked(
    bay: Bay,
    mapping: Mapping[str, Any],
    checks: Sequence[Line[SensorCheck]],
    probes: dict[str, ProbeHistory] | None = None,
    zone: str = "",
) -> tuple[ReadingsFile, CheckedSensors]:
    """Readings of one time, corrected by what checks of the probes showed."""
    pulp = next((mapping[key] for key in (PULPS, f"{PULPS[:-2]}_f") if mapping.get(key)), ())
    time = moment_of(mapping.get("time"), [], zone)
    trust = checked_sensors(bay, checks, time, len(pulp) if isinstance(pulp, list) else 0)
    return readings_from_dict(mapping, probes, zone, trust.offsets), trust


def advise_given(bay: Bay, given: ReadingsFile, memory: Memory | None = None) -> Advised:
    """Advice on what a file of readings holds, less what cannot be believed while the fans run."""
    if memory is not None and memory.fan_on:
        seen, more = believed(given.readings, True)
        doubts = dict.fromkeys((*given.doubts, *more))
        given = replace(given, readings=seen, doubts=tuple(doubts))
    readings = given.readings._replace(loaded=min(given.loaded / bay.mass, 1.0))
    advice, after = advise(bay, readings, memory)
    return Advised(given, advice, after)


def _heard(
    log: Log, rows: Sequence[int]
) -> Iterator[tuple[int, float, dict[str, float], list[float]]]:
    """Row, time [s], numbers by key of a file of readings and pulp [°C] of rows of a log."""
    keys = [key for key in KEYS if key in COLUMNS and COLUMNS[key][0] in log.values]
    columns = [log.values[COLUMNS[key][0]][rows].tolist() for key in keys]
    pulps = log.pulp[rows].tolist() if log.pulp.shape[1] else [[math.nan]] * len(rows)
    for k, time in enumerate(log.time[rows].tolist()):
        yield (
            rows[k],
            time,
            {key: column[k] for key, column in zip(keys, columns, strict=True)},
            pulps[k],
        )


def advise_log(
    bay: Bay,
    log: Log,
    rows: Sequence[int] | None = None,
    checks: Sequence[Line[SensorCheck]] = (),
    **told: Any,
) -> Iterator[Advised]:
    """
    Advice for rows of a log, rising, the memory handed on.

    ``checks`` are of the probes, each counts from its time on; ``told`` is what people tell, keys
    of a file of readings beside the probes, for every row.
    """
    chosen = list(range(len(log.time)) if rows is None else rows)
    pressure = float(log.values["pressure"][chosen[0]]) if "pressure" in log.values else None
    installed, people = as_installed(bay, pressure=pressure), told_of(told)
    memory: Memory | None = None
    probes: dict[str, ProbeHistory] = {}
    for row, time, numbers, pulps in _heard(log, chosen):
        trust = checked_sensors(bay, checks, time, log.pulp.shape[1])
        given = readings_of(time, numbers, pulps, people, probes, trust.offsets)
        if trust.sensors != installed.sensors:
            installed = replace(installed, sensors=trust.sensors)
        found = advise_given(installed, given, memory)
        memory = as_logged(memory, found.memory, log, row)
        yield found._replace(memory=memory, checks=trust)


def as_logged(before: Memory | None, after: Memory, log: Log, row: int) -> Memory:
    """
    What is remembered, by what the log says was done.

    From a plenum that another setting made nothing can be learnt.
    """
    speed, door = (
        float(log.values[name][row]) if name in log.values else math.nan
        for name in ("fan_speed", "door_opening")
    )
    if math.isnan(speed):
        return after
    on = speed > RUNNING
    apart = abs(speed - after.fan_speed) > AGREES or abs(door - after.door_opening) > AGREES
    if on == after.fan_on and not (on and apart):
        return after
    goes_on = before is not None and before.fan_on == on
    return after._replace(
        fan_on=on,
        fan_since=before.fan_since + after.time - before.time if before and goes_on else 0.0,
        fan_speed=speed if on else 0.0,
        door_opening=0.0 if math.isnan(door) or not on else door,
        expected_plenum_temperature=math.nan,
        expected_humidity=math.nan,
    )


def advise_once(
    bay: Bay, mapping: Mapping[str, Any], checks: Sequence[Line[SensorCheck]] = ()
) -> Advised:
    """Advice on readings of one time, nothing remembered."""
    given, trust = readings_checked(bay, mapping, checks)
    installed = as_installed(bay, pressure=given.readings.pressure)
    return advise_given(replace(installed, sensors=trust.sensors), given)._replace(checks=trust)
