"""Advice row by row through a log, so that the last one remembers what went before."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import UTC, datetime
from typing import Any, NamedTuple

from ventcalc.advice.advise import Advice, Memory, advise
from ventcalc.advice.probe_history import ProbeHistory
from ventcalc.advice.probes import believed
from ventcalc.advice.readings_file import KEYS, PULPS, ReadingsFile, readings_from_dict
from ventcalc.bay.description import Bay
from ventcalc.diagnose.log import COLUMNS, FACTORS, Log
from ventcalc.season.installed import as_installed

__all__ = ["Advised", "advise_given", "advise_log", "advise_once", "as_logged", "row_of"]

RUNNING = 0.01
"""Fan speed from which on fans run. [0-1]"""
AGREES = 0.05
"""Position this near to the advised one is the advised one. [0-1]"""


class Advised(NamedTuple):
    """What was read, what was advised, and what is remembered of it."""

    given: ReadingsFile
    advice: Advice
    memory: Memory


def advise_given(bay: Bay, given: ReadingsFile, memory: Memory | None = None) -> Advised:
    """Advice on what a file of readings holds, less what cannot be believed while the fans run."""
    if memory is not None and memory.fan_on:
        seen, more = believed(given.readings, True)
        doubts = dict.fromkeys((*given.doubts, *more))
        given = replace(given, readings=seen, doubts=tuple(doubts))
    readings = given.readings._replace(loaded=min(given.loaded / bay.mass, 1.0))
    advice, after = advise(bay, readings, memory)
    return Advised(given, advice, after)


def row_of(log: Log, row: int) -> dict[str, Any]:
    """A row of a log as the mapping that a file of readings holds; None where nothing was read."""
    found: dict[str, Any] = {"time": datetime.fromtimestamp(float(log.time[row]), UTC).isoformat()}
    for key in KEYS:
        name = COLUMNS[key][0] if key in COLUMNS else ""
        if name in log.values:
            found[key] = _known(float(log.values[name][row]) / FACTORS.get(name, 1.0))
    if log.pulp.shape[1]:
        found[PULPS] = [_known(value) for value in log.pulp[row].tolist()]
    return found


def _known(value: float) -> float | None:
    return None if math.isnan(value) else value


def advise_log(
    bay: Bay, log: Log, rows: Sequence[int] | None = None, **told: Any
) -> Iterator[Advised]:
    """
    Advice for rows of a log, rising, the memory handed on; ``told`` is what people tell, keys of a
    file of readings, for every row.
    """
    chosen = range(len(log.time)) if rows is None else rows
    installed = as_installed(bay, pressure=row_of(log, chosen[0]).get("pressure_pa"))
    memory: Memory | None = None
    probes: dict[str, ProbeHistory] = {}
    for row in chosen:
        given = readings_from_dict({**row_of(log, row), **told}, probes)
        found = advise_given(installed, given, memory)
        memory = as_logged(memory, found.memory, log, row)
        yield found._replace(memory=memory)


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


def advise_once(bay: Bay, mapping: Mapping[str, Any]) -> Advised:
    """Advice on readings of one time, nothing remembered."""
    given = readings_from_dict(mapping)
    return advise_given(as_installed(bay, pressure=given.readings.pressure), given)
