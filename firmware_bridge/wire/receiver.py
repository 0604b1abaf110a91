"""
The receiving rules: what a controller must do with advice, as a reference in plain Python.

The controller decides by its own clock, its own boot number and its own limits. When beats or
advice stop it runs its own program; it neither holds the last positions nor switches all off.
"""

from __future__ import annotations

import math
from collections import OrderedDict
from dataclasses import dataclass, field
from typing import Any

import msgspec

from firmware_bridge.codes import TARGETS
from firmware_bridge.errors import BadMessage
from firmware_bridge.wire.messages import Ack, AdviceMessage, AdviceRow, Beat, advice_of_row, decode

__all__ = ["CONSENT", "LocalLimits", "Receiver", "covers"]

RING = 16
"""So many of its last readings a controller remembers."""
LARGEST = 200
CONSENT = 3600.0
"""
So long one confirmation covers what comes after it. [s]

Our judgement, to be adapted to the store: long enough to be of use, short enough that a person
looks again while outside air and pile are still about as they were.
"""
NEAR = 100
"""So far from what was confirmed a position may go without being confirmed again. [thousandths]"""


@dataclass(frozen=True, kw_only=True, slots=True)
class LocalLimits:
    """The controller's own limits; nothing that comes over the air can change them."""

    door_most: float = 1.0
    """[0-1]"""
    fan_least: float = 0.0
    """Lowest speed of a running fan. [0-1]"""
    ttl_most: float = 600.0
    """Longest life of advice, whatever it says. [s]"""
    beat_timeout: float = 60.0
    """Dead-man: silence of the bridge that ends all advice. [s]"""
    accept_every: float = 10.0
    """Least time between two pieces of advice that move anything. [s]"""


@dataclass(slots=True)
class Receiver:
    """State of the receiving rules; all times by the controller's own steady clock. [s]"""

    boot: int
    limits: LocalLimits = field(default_factory=LocalLimits)
    remote: bool = True
    """The local switch: may advice move anything?"""
    interlock: bool = False
    """Some hardware protection has tripped."""
    asked_birth: bool = False
    _ring: OrderedDict[int, float] = field(default_factory=OrderedDict)
    _last: tuple[int, int] = (-1, -1)
    _beat: tuple[int, int] = (-1, -1)
    _beat_at: float = -math.inf
    _accepted_at: float = -math.inf
    _shown: AdviceMessage | None = None
    _advice: AdviceMessage | None = None
    _consent: AdviceMessage | None = None
    """As it was confirmed, before the controller's own limits; never without ``_advice``."""
    _consent_at: float = -math.inf
    _ends: float = -math.inf

    def note_reading(self, seq: int, now: float) -> None:
        """Remember when a reading was taken, before it is published."""
        self._ring[seq] = now
        while len(self._ring) > RING:
            self._ring.popitem(last=False)

    def take_beat(self, payload: bytes, retained: bool, now: float) -> bool:
        """Take a beat of the bridge; an older one than the last says nothing."""
        self.standing(now)  # a beat after a long silence must not revive what has ended
        try:
            beat = decode(payload, Beat, LARGEST)
        except BadMessage:
            return False
        if retained or (beat.boot, beat.seq) <= self._beat:
            return False
        self._beat, self._beat_at = (beat.boot, beat.seq), now
        self.asked_birth |= beat.birth == 1
        return True

    def take(self, payload: bytes, retained: bool, now: float) -> Ack:
        """
        Judge one piece of advice.

        Parameters
        ----------
        payload : bytes
            As it came, in either form.
        retained : bool
            The broker's mark for something kept from earlier.
        now : float
            The controller's own clock. [s]

        Returns
        -------
        Ack
            What became of it, with the positions taken.
        """
        self.standing(now)
        try:
            advice = _read(payload)
        except BadMessage:
            return Ack(boot=self.boot, ref=(0, 0), code="schema")
        code = self._judge(advice, retained, now)
        if code == "accepted":
            if advice.mode != 2:
                self._consent = None
            return self._follow(advice, now)
        if code in ("none", "shown", "local", "interlock", "beat"):
            self._advice = self._consent = None
        return Ack(boot=self.boot, ref=advice.id, code=code)

    def confirm(self, now: float) -> Ack | None:
        """
        A person at the controller accepts the advice that is shown.

        For ``CONSENT`` seconds this covers later advice of mode 2 too, see ``_is_covered``.

        Parameters
        ----------
        now : float
            The controller's own clock. [s]

        Returns
        -------
        Ack or None
            A second answer to that advice, to be published; None if it has ended.
        """
        self.standing(now)
        shown = self._shown
        if shown is None or shown.mode != 2 or now > self._end(shown):
            return None
        if not (self.remote and self._alive(now)) or self.interlock:
            return None
        self._shown = None
        self._consent, self._consent_at = shown, now
        return self._follow(shown, now)

    def standing(self, now: float) -> AdviceMessage | None:
        """Advice to follow now; None: the controller's own program runs."""
        over = not (self.remote and self._alive(now) and now <= self._ends) or self.interlock
        if over or (self._consent is not None and now - self._consent_at > CONSENT):
            self._advice = self._consent = None  # what has ended does not come back
        return self._advice

    def _follow(self, advice: AdviceMessage, now: float) -> Ack:
        taken = self._within(advice)
        self._advice, self._accepted_at, self._ends = taken, now, self._end(advice)
        positions: dict[str, Any] = {name: taken.position(name) for name in TARGETS}
        code = "accepted" if taken == advice else "clamped"
        return Ack(boot=self.boot, ref=advice.id, code=code, **positions)

    def _alive(self, now: float) -> bool:
        return now - self._beat_at <= self.limits.beat_timeout

    def _judge(self, advice: AdviceMessage, retained: bool, now: float) -> str:
        if retained:
            return "retained"
        if advice.rests_on[0] != self.boot:
            return "boot"
        if advice.id <= self._last:
            return "replay"
        if now > self._end(advice):
            return "stale"
        self._last = advice.id
        self._shown = None
        if advice.none is not None:
            return "none"
        if self.interlock:
            return "interlock"
        if not self.remote:
            return "local"
        if advice.mode < 3 and not self._is_covered(advice):
            self._shown = advice
            return "shown"
        if not self._alive(now):
            return "beat"  # the dead-man: it would move nothing, so it is not called accepted
        if now - self._accepted_at < self.limits.accept_every:
            return "rate"
        return "accepted"

    def _is_covered(self, advice: AdviceMessage) -> bool:
        consent = self._consent
        return consent is not None and covers(consent, advice)

    def _end(self, advice: AdviceMessage) -> float:
        taken = self._ring.get(advice.rests_on[1])
        if taken is None:
            return -math.inf
        return taken + min(advice.ttl, self.limits.ttl_most)

    def _within(self, advice: AdviceMessage) -> AdviceMessage:
        """The controller's own limits always win."""
        fan, door = advice.fan or 0.0, advice.door
        if fan > 0.0:
            fan = max(fan, self.limits.fan_least)
        if door is not None:
            door = min(door, self.limits.door_most)
        return msgspec.structs.replace(advice, fan=fan, door=door)


def covers(confirmed: AdviceMessage, advice: AdviceMessage) -> bool:
    """
    Whether a person who has confirmed one piece of advice has consented to another already.

    It must be about the same, leave alone the same positions, and stay near what was confirmed,
    not near what came last: a slow drift ends the consent. What was confirmed as off or shut
    stays so: no machine starts unconfirmed.

    Parameters
    ----------
    confirmed, advice : AdviceMessage
        As it was confirmed; as it came later.

    Returns
    -------
    bool
    """
    if advice.mode != 2 or advice.why != confirmed.why:
        return False
    return all(_is_near(advice.position(name), confirmed.position(name)) for name in TARGETS)


def _is_near(wanted: float | None, confirmed: float | None) -> bool:
    if wanted is None or confirmed is None:
        return wanted is confirmed
    new, old = round(1000 * wanted), round(1000 * confirmed)
    return abs(new - old) <= NEAR and (old > 0 or new == 0)


def _read(payload: bytes) -> AdviceMessage:
    if payload[:1] == b"[":
        return advice_of_row(decode(payload, AdviceRow, LARGEST))
    return decode(payload, AdviceMessage, LARGEST)
