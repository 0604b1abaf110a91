"""
The adviser behind the bridge, and its only door to ``ventcalc``.

What fans and machines really did replaces what the adviser believes of them, where the controller
reports it; and the cooling source is not changed faster than the bay's shortest runs and rests.
"""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from firmware_bridge.errors import BadConfig
from firmware_bridge.messages import ACTIONS
from firmware_bridge.readings import Sample, mean_of, pulps_of
from firmware_bridge.safety import RUNNING, Past, Scene, Targets
from ventcalc.bay_file import read_bay
from ventcalc.decisions.advice import Action, Advice, Memory, advise
from ventcalc.decisions.readings_file import memory_from_dict, memory_to_dict
from ventcalc.decisions.reasons import reasons
from ventcalc.decisions.situation import LONGEST_GAP, Readings
from ventcalc.errors import VentcalcError
from ventcalc.storage import Bay
from ventcalc.studies.installed import as_installed
from ventcalc.units import UnitSystem

__all__ = [
    "Counsel",
    "Deeds",
    "Recall",
    "Words",
    "deeds_of",
    "load_bay",
    "memory_of_text",
    "readings_of",
    "scene_of",
    "seek",
    "text_of",
]

Words = Callable[[UnitSystem], tuple[str, ...]]
"""Reasons for people, the most important first, in the units asked for."""

_KINDS = {
    "outside_temperature": "outside_temperature",
    "outside_relative_humidity": "outside_relative_humidity",
    "return_temperature": "return_temperature",
    "return_relative_humidity": "return_relative_humidity",
    "plenum_temperature": "plenum_temperature",
    "ceiling_temperature": "ceiling_temperature",
    "co2": "co2",
    "pressure": "pressure",
}


_SOURCES = {int(Action.COOL_BY_OUTSIDE): "outside air", int(Action.COOL_BY_COIL): "refrigeration"}


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


@dataclass(frozen=True, kw_only=True, slots=True)
class Counsel:
    """What the adviser says; ``targets`` is None where it keeps its hands off."""

    targets: Targets | None
    words: Words
    memory: Recall
    valid_for: float
    """How long the adviser would let it stand. [s]"""


def load_bay(path: Path) -> Bay:
    """
    Read the description of a bay.

    Parameters
    ----------
    path : Path
        Bay file.

    Returns
    -------
    Bay

    Raises
    ------
    BadConfig
        Every problem found, one line each.
    """
    try:
        return as_installed(read_bay(path))
    except VentcalcError as error:
        raise BadConfig(str(error).splitlines()) from None


def readings_of(sample: Sample, wall: float, ignore: Iterable[str] = ()) -> Readings:
    """
    A sample as the adviser wants it.

    Parameters
    ----------
    sample : Sample
        An accepted reading without a fault in what is needed.
    wall : float
        Time of day, UTC. [s]
    ignore : iterable of str
        Keys not to be used.

    Returns
    -------
    Readings
        NaN where there is no sound channel.
    """
    pulps = pulps_of(sample, ignore) or [math.nan]
    air = {name: mean_of(sample, kind, ignore) for name, kind in _KINDS.items()}
    return Readings(
        time=wall,
        pulp_bottom=pulps[0],
        pulp_top=pulps[-1],
        pulp_mean=math.fsum(pulps) / len(pulps),
        pulp_coldest=min(pulps),
        **air,
    )


def scene_of(readings: Readings) -> Scene:
    """
    What the safety gate looks at.

    Parameters
    ----------
    readings : Readings
        As the adviser has them.

    Returns
    -------
    Scene
    """
    return Scene(
        pulp_coldest=readings.pulp_coldest,
        plenum_temperature=readings.plenum_temperature,
        return_temperature=readings.return_temperature,
        return_relative_humidity=readings.return_relative_humidity,
        outside_temperature=readings.outside_temperature,
        outside_relative_humidity=readings.outside_relative_humidity,
        pressure=readings.pressure,
    )


def deeds_of(sample: Sample, past: Past, now: float, ignore: Iterable[str] = ()) -> Deeds:
    """
    What the machines do.

    Parameters
    ----------
    sample : Sample
        An accepted reading.
    past : Past
        Of the safety gate, which knows since when the fans run or stand.
    now : float
        Steady clock. [s]
    ignore : iterable of str
        Keys not to be used.

    Returns
    -------
    Deeds
    """
    return Deeds(
        fan=mean_of(sample, "fan_speed", ignore),
        door=mean_of(sample, "door_opening", ignore),
        cool=mean_of(sample, "refrigeration", ignore),
        fan_for=now - past.fan.since,
    )


def seek(
    bay: Bay, readings: Readings, memory: Recall | None, deeds: Deeds | None = None
) -> Counsel:
    """
    Ask the adviser.

    Parameters
    ----------
    bay : Bay
        The bay.
    readings : Readings
        Now.
    memory : Recall or None
        From the last time.
    deeds : Deeds, optional
        What the machines do; without it the advice is taken to be carried out.

    Returns
    -------
    Counsel
        Positions in thousandths, as they travel.

    Raises
    ------
    VentcalcError
        If a reading is not physical.
    """
    deeds = deeds or Deeds()
    recall = _as_seen(memory or Recall(), deeds)
    readings, pulps = _without_noise(recall, readings)
    advice, after = advise(bay, readings, recall.memory)
    wanted = _SOURCES.get(int(advice.action), "")
    step = _elapsed(recall.memory, after)
    line = _held(bay, recall, wanted, step, deeds)
    if line:
        kept = _without(bay, readings, wanted)
        advice, after = advise(*kept, recall.memory)
    after = _as_done(bay, recall.memory, after, deeds)
    return Counsel(
        targets=_targets(advice),
        words=_words(bay, advice, line),
        memory=replace(
            _recall(recall, after, _SOURCES.get(int(advice.action), ""), step, deeds), pulps=pulps
        ),
        valid_for=advice.valid_for,
    )


def _targets(advice: Advice) -> Targets | None:
    if advice.action == Action.HANDS_OFF:
        return None
    air = float(advice.plenum_temperature)
    return Targets(
        fan=_thousandths(advice.fan_speed),
        door=_thousandths(advice.door_opening),
        water=_thousandths(advice.humidifier),
        cool=_thousandths(advice.refrigeration),
        heat=_thousandths(advice.heater),
        air=round(air, 2) if -5.0 <= air <= 30.0 else math.nan,
        why=ACTIONS[int(advice.action)],
    )


_PULPS = ("pulp_bottom", "pulp_top", "pulp_mean", "pulp_coldest")
MEAN_OVER = 600.0
"""Time constant of the means of pulp, which changes by tenths of a kelvin in an hour. [s]"""
CLOSE = 0.5
"""A mean that is further off begins anew: another probe, or a new crop. [K]"""


def _without_noise(recall: Recall, readings: Readings) -> tuple[Readings, tuple[float, ...]]:
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


def _elapsed(before: Memory, after: Memory) -> float:
    step = after.time - before.time
    return step if 0.0 <= step <= LONGEST_GAP else 0.0


def _as_seen(recall: Recall, deeds: Deeds) -> Recall:
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


def _as_done(bay: Bay, before: Memory, after: Memory, deeds: Deeds) -> Memory:
    """Runs of air count by what the fans did since the last time, not by what is advised now."""
    if math.isnan(deeds.fan):
        return after
    step, on = _elapsed(before, after), deeds.fan > RUNNING
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


def _held(bay: Bay, recall: Recall, wanted: str, step: float, deeds: Deeds) -> str:
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


def _without(bay: Bay, readings: Readings, source: str) -> tuple[Bay, Readings]:
    """The same question as if one source of cooling were not there."""
    if source == "refrigeration":
        return replace(bay, refrigeration=None), readings
    hidden = replace(readings, outside_temperature=math.nan, outside_relative_humidity=math.nan)
    return bay, hidden


def _recall(before: Recall, memory: Memory, source: str, step: float, deeds: Deeds) -> Recall:
    coil = source == "refrigeration" or deeds.cool > RUNNING
    same = source in ("", before.source)
    return Recall(
        memory=memory,
        source=source or before.source,
        source_for=before.source_for + step if same else 0.0,
        idle_for=0.0 if source else before.idle_for + step,
        coil_off_for=0.0 if coil else before.coil_off_for + step,
    )


_OUTSIDE_WORDS = "Outside air does not cool the pile now"


def _words(bay: Bay, advice: Advice, line: str) -> Words:
    """Found only when somebody looks; the line of a source that waits stands second."""

    def words(units: UnitSystem) -> tuple[str, ...]:
        first, *rest = reasons(advice, bay, units)
        if line:
            rest = [line, *(one for one in rest if not one.startswith(_OUTSIDE_WORDS))]
        return (first, *rest)

    return words


def _thousandths(position: float) -> float:
    return round(float(position), 3)


def text_of(recall: Recall) -> str:
    """The adviser's memory as text, for the journal."""
    own: dict[str, Any] = {name: getattr(recall, name) for name in _TIMES}
    own |= {"source": recall.source, "pulps": [v for v in recall.pulps if math.isfinite(v)]}
    return json.dumps({**memory_to_dict(recall.memory), "bridge": own})


def memory_of_text(text: str) -> Recall | None:
    """
    The adviser's memory from the journal.

    Parameters
    ----------
    text : str
        As ``text_of`` gives it.

    Returns
    -------
    Recall or None
        None where the text is no memory; the adviser starts afresh then.
    """
    try:
        given = json.loads(text)
        own = given.pop("bridge", {})
        source = str(own.get("source", ""))
        times = {name: max(float(own.get(name, 1e9)), 0.0) for name in _TIMES}
        return Recall(
            memory=memory_from_dict(given),
            source=source if source in _SOURCES.values() else "",
            pulps=tuple(float(value) for value in own.get("pulps", ())),
            **times,
        )
    except (VentcalcError, ValueError, TypeError, AttributeError, RecursionError):
        return None


_TIMES = ("source_for", "idle_for", "coil_off_for")
