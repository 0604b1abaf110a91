"""
What people tell of a bay, by the local command or by channels of the controller, and when it ends.

Both are kept apart: who went in by the switch at the door comes out by it, and nobody's word is
undone by another's silence. People stay inside until told otherwise.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from typing import Any, Literal
from zoneinfo import ZoneInfo

from firmware_bridge.errors import BadMessage
from firmware_bridge.sensors.sample import Sample
from firmware_bridge.wire.messages import Alarm
from ventcalc.advice.readings import OUT_OF_ORDER
from ventcalc.advice.readings_file import TOLD, told_from_dict
from ventcalc.bay.calendar import STAGES
from ventcalc.errors import VentcalcError

__all__ = [
    "Told",
    "Word",
    "fields_of",
    "forgotten",
    "hear",
    "said_as",
    "standing",
    "tell",
    "told_alarms",
    "told_from_plain",
    "told_to_plain",
]

CONTROLLER = "controller"
"""Who tells by a channel."""
WET_FOR = 3 * 86400.0
"""A crop that came in wet is dry by then; common practice, no source. [s]"""
OVERDUE = 8 * 3600.0
"""A shift: whoever is inside for longer must be looked for. [s]"""

_CHANNELS: dict[str, Callable[[float], Any]] = {
    "people_inside": lambda value: value >= 0.5,
    "crop_wet": lambda value: value >= 0.5,
    "rot_share": lambda value: value,
    "loaded_t": lambda value: value,
    "stage": lambda value: STAGES[round(value)],
    "out_of_order": lambda value: [
        name for name, code in OUT_OF_ORDER.items() if round(value) & code
    ],
}
"""Kinds of channel by which a controller tells, and what their numbers mean."""


def _ends(key: str, value: Any) -> bool:
    """Whether a value says that nothing is to be told; a bay without a load is a word, too."""
    return value is None or (key != "loaded_t" and value in (False, [], 0))


@dataclass(frozen=True, kw_only=True, slots=True)
class Word:
    """One thing told."""

    value: Any
    """As in a file of readings."""
    at: float
    """UTC; of a channel, when it began to say so. [s]"""
    by: str


@dataclass(frozen=True, kw_only=True, slots=True)
class Told:
    """Everything told of a bay, by its key in a file of readings."""

    said: Mapping[str, Word] = field(default_factory=dict)
    """By the local command."""
    heard: Mapping[str, Word] = field(default_factory=dict)
    """By channels of the controller; a silent one has not taken its word back."""


def tell(told: Told, given: Mapping[str, Any], by: str, now: float, sample: Sample | None) -> Told:
    """
    Take what a person tells, by key as in a file of readings; None takes a word back.

    ``BadMessage`` if a value is none, or a channel that speaks says otherwise.
    """
    try:
        told_from_dict(given)
    except VentcalcError as error:
        raise BadMessage(str(error)) from None
    speaks = set() if sample is None else _spoken(sample).keys()
    said, heard = dict(told.said), dict(told.heard)
    for key, value in given.items():
        if _ends(key, value):
            if key in speaks and key in heard and not _ends(key, heard[key].value):
                raise BadMessage(f"{key}: a channel of the controller tells it now; end it there")
            said.pop(key, None)
            heard.pop(key, None)
        else:
            said[key] = Word(value=value, at=now, by=by)
    return Told(said=said, heard=heard)


def hear(told: Told, sample: Sample, now: float) -> Told:
    """What the channels of a reading tell; what they leave out stands as it was."""
    heard = dict(told.heard)
    for key, value in _spoken(sample).items():
        if key not in heard or heard[key].value != value:
            heard[key] = Word(value=value, at=now, by=CONTROLLER)
    return told if heard == told.heard else replace(told, heard=heard)


def _spoken(sample: Sample) -> dict[str, Any]:
    return {
        key: _worse(key, [meaning(value) for _, value in sample.sound[key]])
        for key, meaning in _CHANNELS.items()
        if key in sample.sound
    }


def _worse(key: str, values: list[Any]) -> Any:
    """What stands of several: the worse; of stages and loads the last."""
    if key in ("people_inside", "crop_wet", "rot_share"):
        return max(values)
    if key == "out_of_order":
        return [name for name in OUT_OF_ORDER if any(name in value for value in values)]
    return values[-1]


def standing(told: Told) -> dict[str, Any]:
    """What stands of all that was told, by key, as in a file of readings."""
    result = {}
    for key in TOLD:
        words = [one[key] for one in (told.said, told.heard) if key in one]
        words.sort(key=lambda word: word.at)
        value = _worse(key, [word.value for word in words]) if words else None
        if not _ends(key, value):
            result[key] = value
    return result


def said_as(value: Any) -> str:
    """A value as people say it."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    return ", ".join(value) if isinstance(value, list) else f"{value}"


def fields_of(told: Told, mass: float) -> dict[str, Any]:
    """What stands as fields of the adviser's readings; a full bay holds a mass [kg]."""
    if not told.said and not told.heard:
        return {}
    return told_from_dict(standing(told), mass)


def forgotten(told: Told, now: float) -> Told:
    """Without what has ended by itself: only a wet crop, which dries, and no clock that jumps."""
    wet = told.said.get("crop_wet")
    if wet is None or not now - wet.at > WET_FOR:
        return told
    return replace(told, said={key: word for key, word in told.said.items() if key != "crop_wet"})


# --- for people --------------------------------------------------------------------------------


def told_alarms(told: Told, sample: Sample | None, now: float, zone: str) -> tuple[Alarm, ...]:
    """What stands as told, for people; what is out of order is an alarm of the adviser's."""
    found = []
    inside = [one["people_inside"] for one in (told.said, told.heard) if "people_inside" in one]
    inside = [word for word in inside if word.value]
    if inside:
        first = min(inside, key=lambda word: word.at)
        text = f"People inside since {_stamp(first.at, zone)}, told by {first.by}"
        switch = told.heard.get("people_inside")
        if switch in inside and (sample is None or "people_inside" not in sample.sound):
            text += "; its switch is silent now"
        late = now - first.at > OVERDUE
        text += ": look for them!" if late else "; until told otherwise"
        level: Literal[1, 3] = 1 if late else 3
        since = datetime.fromtimestamp(first.at, UTC).isoformat()
        todo = "Look for them" if late else "Count everybody out"
        todo += "; then the switch at the door, or firmware-bridge tell --people-inside no."
        found.append(
            Alarm(id="people_inside", level=level, text=text[:90], since=since, first=todo)
        )
    others = {
        key: value
        for key, value in standing(told).items()
        if key not in ("people_inside", "out_of_order")
    }
    if others:
        text = f"Told: {', '.join(_words(key, value) for key, value in others.items())}"
        todo = "Where it holds no longer, say so: firmware-bridge tell."
        found.append(Alarm(id="told", level=3, text=text[:90], first=todo))
    return tuple(found)


def _words(key: str, value: Any) -> str:
    if key == "crop_wet":
        return "the crop is wet"
    if key == "rot_share":
        return f"{value:.0%} of the crop rots"
    if key == "loaded_t":
        return f"{value:g} t are in"
    return f"the stage is {str(value).replace('_', ' ')}"


def _stamp(at: float, zone: str) -> str:
    return f"{datetime.fromtimestamp(at, UTC).astimezone(ZoneInfo(zone)):%d %b %H:%M %Z}"


# --- in the journal ----------------------------------------------------------------------------


def told_to_plain(told: Told) -> dict[str, Any]:
    """For JSON."""
    return {
        name: {key: [word.value, word.at, word.by] for key, word in words.items()}
        for name, words in (("said", told.said), ("heard", told.heard))
    }


def told_from_plain(given: Any) -> Told:
    """What was stored; a word that cannot be read is left out, but people never are."""
    return Told(**{name: _stored(given, name) for name in ("said", "heard")})


def _stored(given: Any, name: str) -> dict[str, Word]:
    words = given.get(name) if isinstance(given, dict) else None
    result = {}
    for key, found in words.items() if isinstance(words, dict) else ():
        try:
            value, at, by = found
            told_from_dict({key: value})
            result[str(key)] = Word(value=value, at=float(at), by=str(by))
        except (VentcalcError, TypeError, ValueError):
            if key == "people_inside":
                result[key] = Word(value=True, at=0.0, by="a damaged journal")
    return result
