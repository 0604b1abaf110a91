"""What controllers say that only know plain topics: numbers made into readings."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, field

import msgspec

from firmware_bridge.errors import BadMessage
from firmware_bridge.mapping import MappedReading, PlainTopics
from firmware_bridge.wire.messages import Birth, Channel, ReadingMessage

__all__ = ["PlainInbox", "number_in"]

_NUMBER = re.compile(rb"\s{0,4}[+-]?\d{1,15}(\.\d{0,15})?([eE][+-]?\d{1,3})?\s{0,4}")
LARGEST = 4096


def number_in(payload: bytes, path: str) -> float:
    """
    The number in a payload.

    Parameters
    ----------
    payload : bytes
        A plain number, or JSON.
    path : str
        Names and places in the JSON with dots between; empty for a plain number.

    Returns
    -------
    float
        Finite.

    Raises
    ------
    BadMessage
        If there is none.
    """
    if len(payload) > LARGEST:
        raise BadMessage(f"{len(payload)} bytes; at most {LARGEST} are looked at")
    if not path:
        if not _NUMBER.fullmatch(payload):
            raise BadMessage(f"{payload[:24]!r} is not a plain number")
        found: object = float(payload)
    else:
        found = _walk(payload, path)
    if isinstance(found, bool) or not isinstance(found, int | float) or not math.isfinite(found):
        raise BadMessage(f"no number at {path!r}" if path else "not a finite number")
    return float(found)


def _walk(payload: bytes, path: str) -> object:
    try:
        node: object = msgspec.json.decode(payload)
    except (msgspec.DecodeError, RecursionError, ValueError) as error:
        raise BadMessage(" ".join(str(error).split())[:120]) from None
    for part in path.split("."):
        if isinstance(node, dict) and part in node:
            node = node[part]
        elif isinstance(node, list) and part.isdigit() and int(part) < len(node):
            node = node[int(part)]
        else:
            raise BadMessage(f"nothing at {path!r}")
    return node


@dataclass(slots=True)
class PlainInbox:
    """Newest value of each mapped topic, made into readings at regular times."""

    mapping: PlainTopics
    boot: int
    max_age: float
    seq: int = 0
    due: float = -math.inf
    _values: dict[str, tuple[float, float]] = field(default_factory=dict)
    _by_topic: dict[str, list[MappedReading]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        for one in self.mapping.readings:
            self._by_topic.setdefault(one.topic, []).append(one)

    def birth(self) -> Birth:
        """What the controller would have said of itself."""
        channels = tuple(
            Channel(key=one.key, kind=one.kind, unit=one.unit, at=one.at_m)
            for one in self.mapping.readings
        )
        return Birth(boot=self.boot, channels=channels)

    def take(self, topic: str, payload: bytes, now: float) -> None:
        """
        Take one payload.

        Parameters
        ----------
        topic : str
            As it came.
        payload : bytes
            As it came.
        now : float
            Steady clock. [s]

        Raises
        ------
        BadMessage
            If there is no number where one should be.
        """
        problem = None
        for one in self._by_topic.get(topic, ()):
            try:
                number = one.scale * number_in(payload, one.path) + one.offset
                if abs(number) > 1e9:
                    raise BadMessage(f"{number:g} is no reading")
            except BadMessage as error:  # the others of this payload are taken all the same
                problem = problem or error
            else:
                self._values[one.key] = (number, now)
        if problem is not None:
            raise problem

    def reading(self, now: float) -> ReadingMessage | None:
        """
        A reading of what is not too old, when one is due.

        Parameters
        ----------
        now : float
            Steady clock. [s]

        Returns
        -------
        ReadingMessage or None
            None when none is due, or nothing new has come.
        """
        if now < self.due or not any(at > self.due - 1e-9 for _, at in self._values.values()):
            return None
        self.due, self.seq = now + self.mapping.every_s, self.seq + 1
        values = {
            one.key: self._values[one.key][0]
            if one.key in self._values and now - self._values[one.key][1] <= self.max_age
            else None
            for one in self.mapping.readings
        }
        return ReadingMessage(boot=self.boot, seq=self.seq, v=values)
