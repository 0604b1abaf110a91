"""
Advice to controllers that only know plain topics, and what a person there consents to.

Set points are written only where the controller may apply them now: what is only shown travels as
a line of text, so that no gateway can copy it to a machine.
"""

from __future__ import annotations

import json
import math
import secrets
from collections.abc import Sequence
from dataclasses import dataclass, field

from firmware_bridge.codes import TARGETS
from firmware_bridge.mapping import MappedAdvice, topics_written
from firmware_bridge.wire.messages import AdviceMessage
from firmware_bridge.wire.receiver import CONSENT, covers

__all__ = ["BLANK", "Consent", "is_void", "plain_output", "plain_probe", "plain_void"]

BLANK = b" "
"""Payload that nobody can take for anything."""

COUNTS = 65536
"""Beats and offers fit a register of 16 bits."""
LONGEST = 120
"""Letters of the line for people."""
_NAMES = {
    "fan": "fans",
    "door": "fresh-air door",
    "water": "humidifier",
    "cool": "refrigeration",
    "heat": "heater",
}


def _first() -> int:
    """What a controller's register still holds from before a restart fits no new offer."""
    return secrets.randbelow(COUNTS - 1)


@dataclass(slots=True)
class Consent:
    """What is offered to a person at a plain controller, by number, and whether they agreed."""

    number: int = field(default_factory=_first)
    _offered: AdviceMessage | None = None
    _confirmed_at: float = math.inf

    def take(self, advice: AdviceMessage, now: float) -> None:
        """Take what is advised now: under the same number as long as it is about the same."""
        if advice.none is not None:
            self._offered = None
            return
        over = now - self._confirmed_at > CONSENT
        if self._offered is None or over or not covers(self._offered, advice):
            self.number = self.number % (COUNTS - 1) + 1  # 0 stands for nothing
            self._offered, self._confirmed_at = advice, math.inf

    def confirm(self, number: float, now: float) -> bool:
        """A person confirms the offer of this number; False where that is not what is offered."""
        if self.offer == 0 or number != self.number:
            return False
        self._confirmed_at = now
        return True

    @property
    def offer(self) -> int:
        """Number of what waits to be confirmed; 0 for nothing."""
        return self.number if self._offered is not None and self._confirmed_at == math.inf else 0

    def stands(self, now: float) -> bool:
        """Whether what is advised now has been confirmed."""
        return self._offered is not None and 0.0 <= now - self._confirmed_at <= CONSENT


def plain_output(
    to: MappedAdvice, advice: AdviceMessage | None, why: str, stands: bool, count: int, offer: int
) -> list[tuple[str, bytes]]:
    """
    Topic and payload of all that a plain controller is told now, in the order of sending.

    Set points only where they may be applied, ``valid`` last; with ``object`` one message.
    ``count`` is another one each time, the beat; ``offer`` what a person may confirm, 0 for none.
    """
    values: dict[str, float | str] = {}
    named = [name for name in TARGETS if getattr(to, name)]
    positions = _positions(named, advice)
    if stands and advice is not None:
        digits = to.decimals or None
        values |= {name: round(to.full * one, digits) for name, one in positions.items()}
        if to.air and advice.air is not None:
            values["air"] = round(advice.air, 2)
    if to.text:
        values["text"] = _text(_positions(named or TARGETS, advice), why, stands, offer)
    if to.offer:
        values["offer"] = offer
    values |= {"beat": count % COUNTS, "valid": 1 if stands else 0}
    if to.object:
        whole = {getattr(to, name): value for name, value in values.items()}
        return [(to.object, json.dumps(whole).encode())]
    return [(getattr(to, name), _written(name, value, to)) for name, value in values.items()]


def plain_void(to: MappedAdvice) -> tuple[str, bytes]:
    """Topic and payload that say that no advice stands: the will of who says that it does."""
    if to.object:
        return to.object, json.dumps({to.beat: 0, to.valid: 0}).encode()
    return to.valid, b"0"


def is_void(to: MappedAdvice, topic: str, payload: bytes) -> bool:
    """Whether a payload can only end advice: a will, the word of `check`, a topic made empty."""
    return payload in (b"", BLANK) or (topic, payload) == plain_void(to)


def plain_probe(to: MappedAdvice) -> list[tuple[str, bytes]]:
    """
    What tries every topic of a plain controller and cannot be taken for advice.

    First that no advice stands, which is true of whoever tries.
    """
    void = plain_void(to)
    return [void, *((topic, BLANK) for topic in topics_written(to) if topic != void[0])]


def _positions(names: Sequence[str], advice: AdviceMessage | None) -> dict[str, float]:
    """Of these targets, those that the advice says something of."""
    if advice is None:
        return {}
    found = {name: advice.position(name) for name in names}
    return {name: one for name, one in found.items() if one is not None}


def _text(positions: dict[str, float], why: str, stands: bool, offer: int) -> str:
    """One line in ASCII: panels know few letters."""
    if not positions:
        line = f"no advice: {why}" if why else "no advice"
    else:
        head = "in force" if stands else f"confirm {offer}" if offer else "advice"
        parts = (f"{_NAMES[name]} {one:.0%}" for name, one in positions.items())
        line = f"{head}: {', '.join(parts)}"
    return line.replace("°", "").encode("ascii", "replace").decode()[:LONGEST]


def _written(name: str, value: float | str, to: MappedAdvice) -> bytes:
    if isinstance(value, str):
        return value.encode()
    decimals = to.decimals if name in TARGETS else 2 if name == "air" else 0
    return f"{value:.{decimals}f}".encode()
