"""
What the adviser remembers, set right by what really happened, and how long it keeps a source.

Fans as the controller reports them replace fans as they were advised; pulp is taken as a slow
mean; and the source of cooling does not change faster than the bay's shortest runs and rests.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

from firmware_bridge.bay.safety import RUNNING
from ventcalc.advice.advise import Action, Memory
from ventcalc.advice.situation import LONGEST_GAP, Readings
from ventcalc.bay.description import Bay

__all__ = [
    "SOURCES",
    "Deeds",
    "Recall",
    "as_done",
    "as_seen",
    "elapsed",
    "held",
    "recalled",
    "without",
    "without_noise",
]

SOURCES = {int(Action.COOL_BY_OUTSIDE): "outside air", int(Action.COOL_BY_COIL): "refrigeration"}


@dataclass(frozen=True, kw_only=True, slots=True)
class Deeds:
    """What the machines do, as the controller reports it; NaN where it does not. [0-1]"""

    fan: float = math.nan
    door: float = math.nan
    cool: float = math.nan
    fan_for: float = math.inf
    """How long the fans have been running or standing. [s]"""


@dataclass(frozen=True, kw_only=True, slots=True)
class Recall:
    """The adviser's memory, and which source of cooling has been advised for how long. [s]"""

    memory: Memory = field(default_factory=Memory)
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


_PULPS = ("pulp_bottom", "pulp_top", "pulp_mean", "pulp_coldest")
MEAN_OVER = 600.0
"""Time constant of the means of pulp, which changes by tenths of a kelvin in an hour. [s]"""
CLOSE = 0.5
"""A mean that is further off begins anew: another probe, or a new crop. [K]"""


def without_noise(recall: Recall, readings: Readings) -> tuple[Readings, tuple[float, ...]]:
    """Slow means instead of single pulp readings: advice must not follow a sensor's noise."""
    seen = tuple(float(getattr(readings, name)) for name in _PULPS)
    step = readings.time - recall.memory.time
    weight = -math.expm1(-step / MEAN_OVER) if 0.0 <= step <= LONGEST_GAP else 1.0
    before = recall.pulps if len(recall.pulps) == len(seen) else seen
    means = tuple(
        old + weight * (new - old) if abs(new - old) <= CLOSE else new
        for old, new in zip(before, seen, strict=True)
    )
    return replace(readings, **dict(zip(_PULPS, means, strict=True))), means


# --- what was really done ----------------------------------------------------------------------


def elapsed(before: Memory, after: Memory) -> float:
    """Time from one advice to the next; none after a long gap or a step back. [s]"""
    step = after.time - before.time
    return step if 0.0 <= step <= LONGEST_GAP else 0.0


def as_seen(recall: Recall, deeds: Deeds) -> Recall:
    """The fans as they are: shortest runs and rests count from there, not from the advice."""
    if math.isnan(deeds.fan):
        return recall
    on = deeds.fan > RUNNING
    memory = replace(
        recall.memory,
        fan_on=on,
        fan_since=min(deeds.fan_for, 1e9),
        cooled=recall.memory.cooled and on,
    )
    return replace(recall, memory=memory)


def as_done(bay: Bay, before: Memory, after: Memory, deeds: Deeds) -> Memory:
    """Runs of air count by what the fans did since the last time, not by what is advised now."""
    if math.isnan(deeds.fan):
        return after
    step, on = elapsed(before, after), deeds.fan > RUNNING
    if on:
        after = replace(after, since_run=0.0)
    else:
        left = min(after.run_left + step, bay.control.circulate_for) if after.fan_on else 0.0
        left = max(after.run_left, left)
        after = replace(after, since_run=before.since_run + step, run_left=left)
    if math.isnan(deeds.door):
        return after
    if on and deeds.door >= 0.5 * bay.control.fresh_air_opening:
        return replace(after, since_fresh=0.0)
    left = after.fresh_left
    if before.fresh_left > 0.0 and left < before.fresh_left:
        left = before.fresh_left  # advised, not done
    return replace(after, since_fresh=before.since_fresh + step, fresh_left=left)


# --- the source of cooling -----------------------------------------------------------------------


def held(bay: Bay, recall: Recall, wanted: str, step: float, deeds: Deeds) -> str:
    """Why the wanted source must wait; empty where it need not."""
    if not wanted:
        return ""
    run, rest = bay.control.minimum_on, bay.control.minimum_off
    since, idle = recall.source_for + step, recall.idle_for + step
    changes = recall.source not in ("", wanted)
    if changes and since < run and idle < rest:
        return (
            f"{wanted[0].upper()}{wanted[1:]} could cool now; the source of cooling changed "
            f"{since / 60:.0f} min ago and stays for {run / 60:.0f} min."
        )
    off = recall.coil_off_for + step
    begins = wanted == "refrigeration" and recall.coil_off_for > 0.0
    if begins and not deeds.cool > RUNNING and off < rest:
        return (
            f"Refrigeration could cool now; it ran {off / 60:.0f} min ago and rests for "
            f"{rest / 60:.0f} min."
        )
    return ""


def without(bay: Bay, readings: Readings, source: str) -> tuple[Bay, Readings]:
    """The same question as if one source of cooling were not there."""
    if source == "refrigeration":
        return replace(bay, refrigeration=None), readings
    hidden = replace(readings, outside_temperature=math.nan, outside_relative_humidity=math.nan)
    return bay, hidden


def recalled(before: Recall, memory: Memory, source: str, step: float, deeds: Deeds) -> Recall:
    """What is remembered once this source, or none, has been advised."""
    coil = source == "refrigeration" or deeds.cool > RUNNING
    same = source in ("", before.source)
    return Recall(
        memory=memory,
        source=source or before.source,
        source_for=before.source_for + step if same else 0.0,
        idle_for=0.0 if source else before.idle_for + step,
        coil_off_for=0.0 if coil else before.coil_off_for + step,
    )
