"""What controllers say that only know plain topics: numbers made into readings."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, field, replace
from datetime import datetime

import msgspec

from firmware_bridge.errors import BadMessage, NothingThere
from firmware_bridge.mapping import MappedReading, PlainTopics
from firmware_bridge.wire.messages import Birth, Channel, ReadingMessage

__all__ = ["PlainInbox", "delay_of", "number_in", "time_in"]

_NUMBER = re.compile(rb"\s{0,4}[+-]?\d{1,15}(\.\d{0,15})?([eE][+-]?\d{1,3})?\s{0,4}")
LARGEST = 4096
QUIET = 3600.0
"""So long a gateway without a heartbeat, which publishes on change, may say nothing at all. [s]"""
ROUND = 3.0
"""The values of a first round come one after another: so long the first reading waits. [s]"""
AHEAD = 60.0
"""By so much a gateway's clock may run ahead of the bridge's. [s]"""


def number_in(payload: bytes, path: str) -> float:
    """The number in a payload; ``path``: names and places in JSON with dots between."""
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
            raise NothingThere(f"nothing at {path!r}")
    return node


def time_in(payload: bytes, path: str) -> float:
    """The time of day in a payload, UTC; a number above 1e11 counts milliseconds. [s]"""
    found = _walk(payload, path) if len(payload) <= LARGEST else None
    if isinstance(found, str):
        try:
            moment = datetime.fromisoformat(found)
        except ValueError:
            raise BadMessage(f"{found[:32]!r} at {path!r} is no time") from None
        if moment.tzinfo is None:
            raise BadMessage(f"{found[:32]!r} at {path!r} has no time zone")
        return moment.timestamp()
    number = number_in(payload, path)
    return number / 1000.0 if number > 1e11 else number


@dataclass(frozen=True, kw_only=True, slots=True)
class _Value:
    number: float
    at: float
    """When it was measured, as far as can be told, by the steady clock. [s]"""
    heard: float
    """When it came. [s]"""


@dataclass(slots=True)
class PlainInbox:
    """Newest value of each mapped topic, made into readings at regular times."""

    mapping: PlainTopics
    boot: int
    max_age: float
    seq: int = 0
    due: float = -math.inf
    _values: dict[str, _Value] = field(default_factory=dict)
    _by_topic: dict[str, list[MappedReading]] = field(default_factory=dict)
    _alive_at: float = -math.inf
    """When the gateway said last that it lives; after ``_gone_at`` where it still does. [s]"""
    _gone_at: float = -math.inf
    _heard_at: float = -math.inf
    """When a value was heard last, whichever. [s]"""

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

    def take(
        self, topic: str, payload: bytes, now: float, wall: float = math.nan, kept: bool = False
    ) -> None:
        """Take one payload; ``kept``: the broker had it from earlier."""
        problem = None
        for one in self._by_topic.get(topic, ()):
            if kept and not one.retained:  # nobody knows its age
                continue
            try:
                number = one.scale * number_in(payload, one.path) + one.offset
                if abs(number) > 1e9:
                    raise BadMessage(f"{number:g} is no reading")
                at = now - delay_of(payload, one, wall)
            except BadMessage as error:  # the others of this payload are taken all the same
                problem = problem or error
                if not isinstance(error, NothingThere):
                    self._doubt(one.key)
                continue
            known = self._values.get(one.key)
            if known is None or at >= known.at or not one.time:  # a late one tells nothing new
                self._values[one.key] = _Value(number=number, at=at, heard=now)
                self._heard_at = now
                if self.seq == 0 and self.due == -math.inf:
                    self.due = now + ROUND
        if problem is not None:
            raise problem

    def _doubt(self, key: str) -> None:
        """No number may mean that the probe is dead: no value outlives it for long."""
        known = self._values.get(key)
        if known is not None:
            self._values[key] = replace(known, heard=-math.inf)

    def take_alive(self, payload: bytes, now: float, kept: bool = False) -> bool | None:
        """
        Take the gateway's word that it lives, or its last will that it does not.

        None where nothing was said: of a heartbeat that was kept.
        """
        word = payload[:200].decode("ascii", "replace").strip().lower()
        if word in ("", *(one.lower() for one in self.mapping.gone)):
            self._gone_at, self._alive_at = now, -math.inf
            return False
        within = self.mapping.alive_within_s
        if kept and within is not None:
            return None
        if within is not None and self._alive_at + within < now:
            self._gone_at = max(self._gone_at, self._alive_at + within)
        self._alive_at = now
        return True

    def _lives(self, now: float, link_lost: float) -> bool:
        within = self.mapping.alive_within_s
        if within is not None:
            return now - self._alive_at <= within
        return self._alive_at > link_lost  # what was said before the link was lost may be over

    def reading(self, now: float, link_lost: float = -math.inf) -> ReadingMessage | None:
        """A reading of what is not too old, when one is due and the gateway lives."""
        if now < self.due:
            return None
        if self.mapping.alive:
            if not self._lives(now, link_lost):
                return None
        elif self._heard_at <= self.due - (ROUND if self.seq == 0 else 0.0) - 1e-9:
            return None
        self.due, self.seq = now + self.mapping.every_s, self.seq + 1
        values = {one.key: self._fresh(one, now, link_lost) for one in self.mapping.readings}
        return ReadingMessage(boot=self.boot, seq=self.seq, v=values)

    def _fresh(self, one: MappedReading, now: float, link_lost: float) -> float | None:
        """
        A value, if it is young enough.

        What is published on change is believed for long only while a change would have been
        heard: since the gateway was gone or the link lost last. A gateway that ended in good order
        leaves no will; without a heartbeat long silence alone tells.
        """
        known = self._values.get(one.key)
        if known is None:
            return None
        age = now - known.at
        if age > (self.max_age if one.max_age_s is None else one.max_age_s):
            return None
        unbroken = known.heard > max(self._gone_at, link_lost)
        if self.mapping.alive_within_s is None:
            unbroken &= now - self._heard_at <= QUIET
        return known.number if unbroken or age <= self.max_age else None


def delay_of(payload: bytes, one: MappedReading, wall: float) -> float:
    """How long a value was on its way, by the time that stands beside it. [s]"""
    if not one.time:
        return 0.0
    delay = wall - time_in(payload, one.time)
    if not delay >= -AHEAD:
        raise BadMessage(f"its time lies {-delay:.0f} s ahead of the bridge's clock")
    return max(delay, 0.0)
