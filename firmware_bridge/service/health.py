"""The bridge's own health: link, log, disk, clock, other bridges. Any doubt stops advice."""

from __future__ import annotations

import math
import secrets
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field

import msgspec

from firmware_bridge.bay.state import BayState
from firmware_bridge.errors import JournalError
from firmware_bridge.journal.audit import AuditLog, Entry
from firmware_bridge.service.turn import Turn
from firmware_bridge.wire.messages import Alarm, Beat

__all__ = ["BridgeHealth"]

DEAF_AFTER = 35.0
"""A bridge that has not heard its own beat for so long does not trust the link. [s]"""
OTHER_FOR = 60.0
"""So long after its last beat another bridge is believed to be there. [s]"""
FIRST_BEATS = 15.0
"""By then a bridge that served before has sent a beat, and is no forger. [s]"""
FLAPPING = (5, 60.0)
"""So many losses of the link within so many seconds."""
TOLD_FOR = 600.0
"""So long after the last forged message its alarm stands. [s]"""
RETRY_EVERY = 5.0
"""A log that failed is tried again. [s]"""
DISK_EVERY = 30.0
"""[s]"""


_FORGED = Alarm(
    id="forged",
    level=2,
    first="Give each client its own password and an access list, and the bridge a new password.",
)


@dataclass(slots=True)
class _Heard:
    """What was heard on the topics of one bay on which the bridge speaks; times [s]."""

    own: int = -1
    """Number of the last own beat."""
    other_at: float = -math.inf
    """When the beat of another bridge was heard last."""
    earlier_since: float = math.inf
    """Since when the beat of an earlier bridge is heard."""
    forged_until: float = -math.inf


@dataclass(slots=True)
class BridgeHealth:
    """Doubts about the bridge; one loop owns it."""

    boot: int
    low_disk_mb: float
    free_mb: Callable[[], float]
    began: float = -math.inf
    """When this bridge did. [s]"""
    id: int = field(default_factory=lambda: secrets.randbits(31))
    """Drawn at start, to tell two bridges of one boot number apart."""
    heard_at: float = -math.inf
    """Own beat, come back through the broker. [s]"""
    audit_failed_at: float | None = None
    disk_low: bool = False
    free: float = math.nan
    """Space left, as last seen. [MB]"""
    new_boot: bool = False
    """Whether a new boot number is needed: to come back after a later bridge, or to be later
    than another that drew the same one."""
    sent: int = 0
    """Number of the last beat that was sent."""
    _heard: dict[str, _Heard] = field(default_factory=dict)
    _disk_due: float = -math.inf

    def doubt(
        self, bay: BayState, now: float, ready: bool, drops: Sequence[float], day: bool
    ) -> str:
        """Why the bridge gives a bay no advice, of ``codes.NONE_REASONS``; empty for no doubt."""
        if self.audit_failed_at is not None:
            return "audit"
        if self.disk_low:
            return "disk"
        if now < max(bay.other_until, bay.foreign_until):
            return "other_bridge"
        if not ready or now - self.heard_at > DEAF_AFTER:
            return "link"
        most, within = FLAPPING
        # The link's own thread appends to it; one copy, then counting.
        if sum(now - time < within for time in tuple(drops)) >= most:
            return "flapping"
        return "" if day else "clock"

    def doubts(self, ready: bool, day: bool) -> tuple[str, ...]:
        """Why no bay at all gets advice, for machines that watch; see ``doubt``."""
        found = {
            "audit": self.audit_failed_at is not None,
            "disk": self.disk_low,
            "link": not ready,
            "clock": not day,
        }
        return tuple(code for code, stands in found.items() if stands)

    def hear(self, bay: BayState, beat: Beat, topic: str, turn: Turn) -> None:
        """Take a beat of this or another bridge; the later one serves, the earlier stands back."""
        heard = self._heard.setdefault(bay.name, _Heard())
        if beat.id == self.id:
            if heard.own < beat.seq <= self.sent:
                heard.own, self.heard_at = beat.seq, turn.now
            else:
                self._forged(bay, f"on the topic {topic}", turn)
            return
        heard.other_at = turn.now
        if (beat.boot, beat.id) > (self.boot, self.id):
            if turn.now >= bay.other_until:
                text = (
                    f"a later bridge (run {beat.boot}) serves this bay; this one stands back. "
                    "If there is no other, somebody forges its beat"
                )
                turn.tell(bay.name, "other_bridge", text)
            bay.other_until = turn.now + OTHER_FOR
            self.new_boot = True
            return
        bay.counts["older bridge"] += 1
        self.new_boot |= beat.boot == self.boot
        heard.earlier_since = min(heard.earlier_since, turn.now)
        if turn.now - heard.earlier_since > OTHER_FOR:  # a bridge would have stood back
            self._forged(bay, f"on the topic {topic}", turn)

    def overhear(self, bay: BayState, topic: str, kept: bool, turn: Turn) -> None:
        """
        Advice to a bay that is not ours; the broker does not send us our own.

        Plain numbers have no origin: nobody knows what the controller makes of them, and for a
        while there is no advice. Messages have one, and the controller judges it. What was left at
        the broker long ago ends nothing, or advice would end with every new connection.
        """
        heard = self._heard.setdefault(bay.name, _Heard())
        if turn.now - heard.other_at <= OTHER_FOR:  # another bridge, whose beat was heard
            return
        if bay.plain is not None and not kept:
            turn.touched[bay.name] = bay
            if turn.now - self.began < FIRST_BEATS:  # or will be
                bay.foreign_until = max(bay.foreign_until, turn.now + FIRST_BEATS)
                return
            bay.foreign_until = turn.now + TOLD_FOR
        left = "and left it at the broker, " if kept else ""
        self._forged(bay, f"{left}on the topic {topic}", turn)

    def _forged(self, bay: BayState, where: str, turn: Turn) -> None:
        bay.counts["forged"] += 1
        self._heard[bay.name].forged_until = turn.now + TOLD_FOR
        text = f"somebody else speaks in this bridge's name, {where}"
        if not bay.intruder:  # told once, however many topics somebody tries
            turn.tell(bay.name, "forged", text)
            bay.intruder = (msgspec.structs.replace(_FORGED, text=text[:120]),)

    def forget(self, bay: BayState, now: float) -> None:
        """Let go what is over."""
        heard = self._heard.get(bay.name)
        if heard is None:
            return
        if now - heard.other_at > OTHER_FOR:
            heard.earlier_since = math.inf
        if now > heard.forged_until:
            bay.intruder = ()

    def check_disk(self, turn: Turn) -> None:
        """See now and then how much space is left; none that can be told is none."""
        if turn.now < self._disk_due:
            return
        try:
            self.free = self.free_mb()
            low = self.free < self.low_disk_mb
        except OSError:
            low = True
        if low != self.disk_low:
            turn.tell("", "disk", "disk nearly full" if low else "disk has space again")
        self.disk_low = low
        self._disk_due = turn.now + (DISK_EVERY / 6.0 if low else DISK_EVERY)

    def audit_lost(self, text: str, turn: Turn) -> None:
        """The audit log could not be written."""
        if self.audit_failed_at is None:
            turn.tell("", "audit", text)
        self.audit_failed_at = turn.now

    def retry_audit(self, audit: AuditLog, turn: Turn) -> None:
        """Try again to write to a log that failed."""
        if self.audit_failed_at is None or turn.now - self.audit_failed_at < RETRY_EVERY:
            return
        try:
            audit.write([Entry(t=turn.day, bay="", kind="resume", body=b"log writable again")])
        except JournalError:
            self.audit_failed_at = turn.now
            return
        self.audit_failed_at = None
        turn.tell("", "audit", "audit log writable again")

    def come_back(self, bays: Iterable[BayState], audit: AuditLog, turn: Turn) -> None:
        """No later bridge is there (any more): under a new boot number, or nobody would listen."""
        if not self.new_boot or any(turn.now < bay.other_until for bay in bays):
            return
        try:
            self.boot = audit.next_boot(turn.day)
        except JournalError as error:
            self.audit_lost(str(error), turn)
            return
        self.new_boot = False
        turn.tell("", "resume", f"bridge serves again (run {self.boot})")
