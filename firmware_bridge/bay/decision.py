"""What is said to a bay, and the bay as people see it: plain values."""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from typing import Literal, cast

from msgspec import Struct
from msgspec.structs import replace

from firmware_bridge.bay.advisor import Season, Words
from firmware_bridge.bay.diagnosis import Diagnosis
from firmware_bridge.bay.safety import Targets
from firmware_bridge.bay.week import Week
from firmware_bridge.codes import MODES, TARGETS
from firmware_bridge.config import BayConfig
from firmware_bridge.sensors.sample import ActualPositions, Sample
from firmware_bridge.wire.messages import Ack, AdviceMessage, Alarm

__all__ = ["NONE_TEXTS", "WAITING", "BayView", "BridgeView", "Decision", "message_of", "no_words"]


def no_words(_units: str) -> tuple[str, ...]:
    """Before anything was advised."""
    return ()


class Decision(Struct, frozen=True, kw_only=True):
    """What to say now; ``targets`` is None for ``none``."""

    code: str
    """``ok``, or one of ``codes.NONE_REASONS``."""
    text: str
    targets: Targets | None
    rests_on: tuple[int, int]
    """Boot and seq of the reading."""

    @property
    def about(self) -> str:
        """The same word as long as the same is said."""
        return self.code if self.targets is None else self.targets.why

    def repeats(self, before: Decision) -> bool:
        """Whether it says nothing but what was said before, of a newer reading."""
        return (self.code, self.targets) == (before.code, before.targets)


def message_of(
    decision: Decision, config: BayConfig, takes: Collection[str], identity: tuple[int, int]
) -> AdviceMessage:
    """As it travels: only positions that the controller says to take, all where it says nothing."""
    targets = decision.targets
    message = AdviceMessage(
        id=identity,
        rests_on=decision.rests_on,
        ttl=config.ttl_s,
        mode=cast("Literal[1, 2, 3]", max(MODES.index(config.mode), 1)),
        none=None if targets else decision.code,
    )
    if targets is None:
        return message
    taken = {name: getattr(targets, name) for name in TARGETS if name in (takes or TARGETS)}
    air = None if math.isnan(targets.air) else targets.air
    return replace(message, why=targets.why, air=air, **{**taken, "fan": targets.fan})


NONE_TEXTS = {
    "start": "waiting for the controller to connect and send a reading",
    "link": "the bridge does not hear its own beat through the broker",
    "audit": "the audit log cannot be written",
    "disk": "the disk is nearly full",
    "other_bridge": "another bridge speaks to this bay, or somebody who forges its words",
    "flapping": "the link was lost too often just now",
    "clock": "the bridge's time of day jumped, was never set, or does not fit what is stored",
    "shutdown": "the bridge ends",
    "units": "numbers do not fit their declared unit (°C and °F mixed up?)",
    "stale": "the newest reading is too old",
    "lost": "the controller is silent or has disconnected",
    "missing": "a reading that is needed is missing",
    "implausible": "a reading that is needed cannot be believed",
    "stuck": "a sensor that is needed has not moved for too long",
}
"""Why there is no advice, in words, by code."""

WAITING = Decision(
    code="start",
    text=NONE_TEXTS["start"],
    targets=None,
    rests_on=(0, 0),
)
"""Before the first reading."""


@dataclass(frozen=True, kw_only=True, slots=True)
class BayView:
    """A bay for people to see, at one time; nothing in it changes any more."""

    name: str
    zone: str
    """IANA name of the store's time zone."""
    mode: str
    decision: Decision
    words: Words
    advised_age: float
    """[s]"""
    accepted: Ack | None
    accepted_age: float
    """[s]"""
    actual: ActualPositions
    sample: Sample | None
    reading_age: float
    """[s]"""
    alarms: tuple[Alarm, ...]
    """As the controller tells them."""
    complaints: tuple[Alarm, ...] = ()
    """What adviser and bridge found wrong with the bay and its controller."""
    since: float = math.inf
    """How long the same has been said. [s]"""
    offer: int = 0
    """Number of what waits to be confirmed at a plain controller; 0 for nothing."""
    answers: bool = True
    """Whether the controller can answer; one of plain topics cannot."""
    season: Season = field(default_factory=Season)
    week: Week | None = None
    """The days ahead; None without a forecast."""
    plans: bool = False
    """Whether advice shall follow the plan."""
    plan_doubt: str = ""
    """Why advice goes by the present alone."""
    diagnosis: Diagnosis | None = None
    """What the journal shows; None before it was looked through."""


@dataclass(frozen=True, kw_only=True, slots=True)
class BridgeView:
    """The bridge itself at one time, for machines that watch it."""

    boot: int
    link: bool
    """Connected, and every subscription granted."""
    doubts: tuple[str, ...]
    """Why no bay gets advice; of ``codes.NONE_REASONS``."""
    free_mb: float
    audit_entries: int
    certificates: Mapping[str, float] = field(default_factory=dict)
    """Until when they are good, by what they are; UTC. [s]"""
    counts: Mapping[str, int] = field(default_factory=dict)
    bay_counts: Mapping[str, Mapping[str, int]] = field(default_factory=dict)
