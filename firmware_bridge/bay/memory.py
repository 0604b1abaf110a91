"""
What the adviser remembers, set right by what really happened, and how long it keeps a source.

Fans as the controller reports them replace fans as they were advised; pulp is taken as a slow
mean; and the source of cooling does not change faster than the bay's shortest runs and rests.
"""

from __future__ import annotations

import dataclasses
import json
import math
from typing import Any

from msgspec import Struct
from msgspec.structs import replace

from firmware_bridge.bay.safety import RUNNING
from firmware_bridge.bay.told import Told, told_from_plain, told_to_plain
from firmware_bridge.codes import TARGETS
from firmware_bridge.sensors.sample import ActualPositions
from ventcalc.advice.advise import Action, Memory
from ventcalc.advice.freeze_guard import LATCHED, release
from ventcalc.advice.memory_file import memory_from_dict, memory_to_dict
from ventcalc.advice.readings import Readings
from ventcalc.advice.situation import LONGEST_GAP
from ventcalc.bay.description import Bay
from ventcalc.errors import VentcalcError

__all__ = [
    "SOURCES",
    "AdvisorMemory",
    "as_done",
    "as_seen",
    "elapsed",
    "held",
    "memory_from_text",
    "memory_to_text",
    "released",
    "remembered",
    "told_from_text",
    "without",
    "without_noise",
]

SOURCES = {int(Action.COOL_BY_OUTSIDE): "outside air", int(Action.COOL_BY_COIL): "refrigeration"}


class AdvisorMemory(Struct, frozen=True, kw_only=True):
    """What the adviser remembers, and which source of cooling it has advised for how long. [s]"""

    hourly: Memory = Memory()
    """The library's own."""
    source: str = ""
    """The last source of cooling: outside air or refrigeration."""
    source_for: float = 1e9
    """Since it became the source."""
    idle_for: float = 1e9
    """Since cooling was last advised."""
    coil_off_for: float = 1e9
    """Since refrigeration was last advised or seen running."""
    pulps: tuple[float, ...] = ()
    """Slow means of the pulp temperatures, in the order of ``_PULPS``. [°C]"""
    advised: tuple[float, ...] = ()
    """Positions advised last, in the order of ``codes.TARGETS``; empty for none. [0-1]"""


_PULPS = ("pulp_bottom", "pulp_top", "pulp_mean", "pulp_coldest")
AGREES = 0.05
"""A position this near to the advised one is the advised one. [0-1]"""
MEAN_OVER = 600.0
"""Time constant of the means of pulp, which changes by tenths of a kelvin in an hour. [s]"""
CLOSE = 0.5
"""A mean that is further off begins anew: another probe, or a new crop. [K]"""


def without_noise(memory: AdvisorMemory, readings: Readings) -> tuple[Readings, tuple[float, ...]]:
    """Slow means instead of single pulp readings: advice must not follow a sensor's noise."""
    seen = tuple(float(getattr(readings, name)) for name in _PULPS)
    step = readings.time - memory.hourly.time
    weight = -math.expm1(-step / MEAN_OVER) if 0.0 <= step <= LONGEST_GAP else 1.0
    before = memory.pulps if len(memory.pulps) == len(seen) else seen
    means = tuple(
        old + weight * (new - old) if abs(new - old) <= CLOSE else new
        for old, new in zip(before, seen, strict=True)
    )
    bottom, top, mean, coldest = means
    smooth = readings._replace(
        pulp_bottom=bottom, pulp_top=top, pulp_mean=mean, pulp_coldest=coldest
    )
    return smooth, means


def released(memory: AdvisorMemory | None) -> AdvisorMemory | None:
    """The memory without the latch of freeze protection; None where none stands."""
    if memory is None or memory.hourly.freeze_stage != LATCHED:
        return None
    return replace(memory, hourly=release(memory.hourly))


# --- what was really done ----------------------------------------------------------------------


def elapsed(before: Memory, after: Memory) -> float:
    """Time from one advice to the next; none after a long gap or a step back. [s]"""
    step = after.time - before.time
    return step if 0.0 <= step <= LONGEST_GAP else 0.0


def as_seen(memory: AdvisorMemory, actual: ActualPositions, fan_for: float) -> AdvisorMemory:
    """
    The fans as they are: shortest runs and rests count from there, not from the advice.

    From a plenum that another setting made nothing can be learnt of probes and machines.
    """
    seen: dict[str, Any] = {}
    if _not_done(memory.advised, actual):
        seen |= {"expected_plenum_temperature": math.nan, "expected_humidity": math.nan}
    if not math.isnan(actual.fan):
        on = actual.fan > RUNNING
        seen |= {"fan_on": on, "fan_since": min(fan_for, 1e9), "fan_speed": actual.fan}
        seen["cooled"] = memory.hourly.cooled and on
        if not math.isnan(actual.door):  # what stays as it is while people are inside
            seen["door_opening"] = actual.door
    return replace(memory, hourly=memory.hourly._replace(**seen)) if seen else memory


def _not_done(advised: tuple[float, ...], actual: ActualPositions) -> bool:
    """Whether a position is known to be another than advised."""
    pairs = zip(TARGETS, advised, strict=False)
    return any(abs(getattr(actual, name) - said) > AGREES for name, said in pairs)


def as_done(bay: Bay, before: Memory, after: Memory, actual: ActualPositions) -> Memory:
    """Runs of air count by what the fans did since the last time, not by what is advised now."""
    if math.isnan(actual.fan):
        return after
    step, on = elapsed(before, after), actual.fan > RUNNING
    run, run_left = 0.0, after.run_left
    if not on:
        left = min(run_left + step, bay.control.circulate_for) if after.fan_on else 0.0
        run, run_left = before.since_run + step, max(run_left, left)
    fresh, fresh_left = after.since_fresh, after.fresh_left
    if on and actual.door >= 0.5 * bay.control.fresh_air_opening:
        fresh = 0.0
    elif not math.isnan(actual.door):
        fresh = before.since_fresh + step
        if before.fresh_left > 0.0:
            fresh_left = max(fresh_left, before.fresh_left)  # advised, not done
    return after._replace(
        since_run=run, run_left=run_left, since_fresh=fresh, fresh_left=fresh_left
    )


# --- the source of cooling -----------------------------------------------------------------------


def held(bay: Bay, memory: AdvisorMemory, wanted: str, step: float, actual: ActualPositions) -> str:
    """Why the wanted source must wait; empty where it need not."""
    if not wanted:
        return ""
    run, rest = bay.control.minimum_on, bay.control.minimum_off
    since, idle = memory.source_for + step, memory.idle_for + step
    changes = memory.source not in ("", wanted)
    if changes and since < run and idle < rest:
        return (
            f"{wanted[0].upper()}{wanted[1:]} could cool now; the source of cooling changed "
            f"{since / 60:.0f} min ago and stays for {run / 60:.0f} min."
        )
    off = memory.coil_off_for + step
    begins = wanted == "refrigeration" and memory.coil_off_for > 0.0
    if begins and not actual.cool > RUNNING and off < rest:
        return (
            f"Refrigeration could cool now; it ran {off / 60:.0f} min ago and rests for "
            f"{rest / 60:.0f} min."
        )
    return ""


def without(bay: Bay, readings: Readings, source: str) -> tuple[Bay, Readings]:
    """The same question as if one source of cooling were not there."""
    if source == "refrigeration":
        return dataclasses.replace(bay, refrigeration=None), readings
    hidden = readings._replace(outside_temperature=math.nan, outside_relative_humidity=math.nan)
    return bay, hidden


def remembered(
    before: AdvisorMemory, hourly: Memory, source: str, step: float, actual: ActualPositions
) -> AdvisorMemory:
    """What is remembered once this source, or none, has been advised."""
    coil = source == "refrigeration" or actual.cool > RUNNING
    same = source in ("", before.source)
    return AdvisorMemory(
        hourly=hourly,
        source=source or before.source,
        source_for=before.source_for + step if same else 0.0,
        idle_for=0.0 if source else before.idle_for + step,
        coil_off_for=0.0 if coil else before.coil_off_for + step,
    )


# --- in the journal ----------------------------------------------------------------------------

_TIMES = ("source_for", "idle_for", "coil_off_for")


def memory_to_text(memory: AdvisorMemory, told: Told | None = None, bay: str = "") -> str:
    """The adviser's memory of a bay, and what it was told, as text for the journal."""
    own = {
        **{name: getattr(memory, name) for name in _TIMES},
        "source": memory.source,
        "pulps": [pulp for pulp in memory.pulps if math.isfinite(pulp)],
        "advised": memory.advised,
        "told": told_to_plain(told or Told()),
    }
    return json.dumps({**memory_to_dict(memory.hourly), "bay": bay, "bridge": own})


def memory_from_text(text: str, bay: str = "") -> AdvisorMemory | None:
    """The adviser's memory from the journal; None where the text is none, or of another bay."""
    try:
        given = json.loads(text)
        own = given.pop("bridge", {})
        if given.get("bay", "") not in ("", bay):
            return None
        source = str(own.get("source", ""))
        times = {name: max(float(own.get(name, 1e9)), 0.0) for name in _TIMES}
        return AdvisorMemory(
            hourly=memory_from_dict(given),
            source=source if source in SOURCES.values() else "",
            pulps=tuple(float(value) for value in own.get("pulps", ())),
            advised=tuple(float(value) for value in own.get("advised", ())),
            **times,
        )
    except (VentcalcError, ValueError, TypeError, AttributeError, RecursionError):
        return None


def told_from_text(text: str) -> Told:
    """What was told, from the same text; even where the rest of it is no memory any more."""
    try:
        given = json.loads(text)
        return told_from_plain(given.get("bridge", {}).get("told"))
    except (ValueError, AttributeError, RecursionError):
        return Told()
