"""The adviser behind the bridge; with ``recall`` its only door to ``ventcalc``."""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from firmware_bridge.bay.memory import (
    SOURCES,
    Deeds,
    Recall,
    as_done,
    as_seen,
    elapsed,
    held,
    recalled,
    without,
    without_noise,
)
from firmware_bridge.bay.safety import Past, Scene, Targets
from firmware_bridge.codes import ACTIONS
from firmware_bridge.errors import BadConfig
from firmware_bridge.sensors.sample import Sample, mean_of, pulps_of
from ventcalc.advice.advise import Action, Advice, advise
from ventcalc.advice.readings_file import memory_from_dict, memory_to_dict
from ventcalc.advice.reasons import reasons
from ventcalc.advice.situation import Readings
from ventcalc.bay.description import Bay
from ventcalc.bay.file import read_bay
from ventcalc.errors import VentcalcError
from ventcalc.season.installed import as_installed
from ventcalc.units import UnitSystem

__all__ = [
    "Counsel",
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
    recall = as_seen(memory or Recall(), deeds)
    readings, pulps = without_noise(recall, readings)
    advice, after = advise(bay, readings, recall.memory)
    wanted = SOURCES.get(int(advice.action), "")
    step = elapsed(recall.memory, after)
    line = held(bay, recall, wanted, step, deeds)
    if line:
        kept = without(bay, readings, wanted)
        advice, after = advise(*kept, recall.memory)
    after = as_done(bay, recall.memory, after, deeds)
    return Counsel(
        targets=_targets(advice),
        words=_words(bay, advice, line),
        memory=replace(
            recalled(recall, after, SOURCES.get(int(advice.action), ""), step, deeds), pulps=pulps
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
            source=source if source in SOURCES.values() else "",
            pulps=tuple(float(value) for value in own.get("pulps", ())),
            **times,
        )
    except (VentcalcError, ValueError, TypeError, AttributeError, RecursionError):
        return None


_TIMES = ("source_for", "idle_for", "coil_off_for")
