"""The adviser behind the bridge, and its only door to ``ventcalc``."""

from __future__ import annotations

import json
import math
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from firmware_bridge.errors import BadConfig
from firmware_bridge.messages import ACTIONS
from firmware_bridge.readings import Sample, mean_of, pulps_of
from firmware_bridge.safety import Scene, Targets
from ventcalc.bay_file import read_bay
from ventcalc.decisions.advice import Action, Memory, advise
from ventcalc.decisions.readings_file import memory_from_json, memory_to_dict
from ventcalc.decisions.reasons import reasons
from ventcalc.decisions.situation import Readings
from ventcalc.errors import VentcalcError
from ventcalc.storage import Bay

__all__ = ["Counsel", "load_bay", "memory_of_text", "readings_of", "scene_of", "seek", "text_of"]

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
    words: tuple[str, ...]
    """Reasons for people, the most important first."""
    memory: Memory
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
        return read_bay(path)
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


def seek(bay: Bay, readings: Readings, memory: Memory | None) -> Counsel:
    """
    Ask the adviser.

    Parameters
    ----------
    bay : Bay
        The bay.
    readings : Readings
        Now.
    memory : Memory or None
        From the last time.

    Returns
    -------
    Counsel
        Positions in thousandths, as they travel.

    Raises
    ------
    VentcalcError
        If a reading is not physical.
    """
    advice, after = advise(bay, readings, memory)
    words = reasons(advice, bay)
    targets = None
    if advice.action != Action.HANDS_OFF:
        air = float(advice.plenum_temperature)
        targets = Targets(
            fan=_thousandths(advice.fan_speed),
            door=_thousandths(advice.door_opening),
            water=_thousandths(advice.humidifier),
            cool=_thousandths(advice.refrigeration),
            heat=_thousandths(advice.heater),
            air=round(air, 2) if -5.0 <= air <= 30.0 else math.nan,
            why=ACTIONS[int(advice.action)],
        )
    return Counsel(targets=targets, words=words, memory=after, valid_for=advice.valid_for)


def _thousandths(position: float) -> float:
    return round(float(position), 3)


def text_of(memory: Memory) -> str:
    """The adviser's memory as text, for the journal."""
    return json.dumps(memory_to_dict(memory))


def memory_of_text(text: str) -> Memory | None:
    """
    The adviser's memory from the journal.

    Parameters
    ----------
    text : str
        As ``text_of`` gives it.

    Returns
    -------
    Memory or None
        None where the text is no memory; the adviser starts afresh then.
    """
    try:
        return memory_from_json(text)
    except VentcalcError:
        return None
