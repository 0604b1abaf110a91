"""What is kept of each turn: readings, events, memories; and what is old is packed or pruned."""

from __future__ import annotations

import math
from collections import Counter
from contextlib import suppress

from firmware_bridge.bay.memory import AdvisorMemory, memory_to_text
from firmware_bridge.bay.state import BayState
from firmware_bridge.bay.told import Told
from firmware_bridge.config import OwnConfig
from firmware_bridge.errors import JournalError
from firmware_bridge.journal.audit import AuditLog
from firmware_bridge.journal.journal import Event, Journal
from firmware_bridge.sensors.sample import Sample
from firmware_bridge.service.turn import Turn
from firmware_bridge.wire.messages import Alarm

__all__ = ["Store"]

PACK_EVERY = 300.0
"""Finished hours are packed. [s]"""
DAY = 86400.0
PACKS = 4
"""Most packs of the audit log a second: thousands of entries, more than 200 bays make."""
HOURS = 8
"""Most hours of a bay that are packed at once: some ten milliseconds of work."""
MEMORIES = 20
"""Bays whose memory is stored at once; the others follow second by second."""


class Store:
    """The journal may fail for a while; samples and events wait, the oldest go first."""

    def __init__(self, journal: Journal, audit: AuditLog, own: OwnConfig, counts: Counter[str]):
        self._journal, self._audit, self._own, self._counts = journal, audit, own, counts
        self.samples: list[tuple[float, str, Sample]] = []
        self.events: list[Event] = []
        self.changed: dict[str, BayState] = {}
        """Bays whose memory is to be stored."""
        self._due = self._pack_due = -math.inf
        self._trouble = ""
        """Why nothing was stored when it was tried last."""

    def keep(self, turn: Turn) -> None:
        """Take what a turn has brought, and store it when it is time."""
        self.samples = [*self.samples, *turn.samples][-5000:]
        self.events = [*self.events, *turn.events][-500:]
        self.changed |= turn.touched
        if turn.events or len(self.samples) >= 100 or turn.now >= self._due:
            self._due = turn.now + 1.0
            self._write(MEMORIES, turn)

    @property
    def alarms(self) -> list[Alarm]:
        """That the journal is not written."""
        if not self._trouble:
            return []
        return [Alarm(id="journal", level=2, text=self._trouble[:120])]

    def end(self, turn: Turn, bays: dict[str, BayState]) -> None:
        """Store all that is left, and every bay's memory."""
        self.events, self.changed = [*self.events, *turn.events], dict(bays)
        self._write(len(bays), turn)

    def _write(self, most: int, turn: Turn) -> None:
        # Of many bays a few at once: a power cut may cost the others seconds of slow means, never
        # a latch or what was told.
        named = {event.bay for event in self.events}
        now = {
            name: bay
            for place, (name, bay) in enumerate(self.changed.items())
            if place < most or name in named or bay.protects
        }
        memories = [
            (name, turn.day, _memory_text(bay))
            for name, bay in now.items()
            if bay.memory is not None or bay.told != Told()
        ]
        try:
            self._journal.store(self.samples, self.events, memories, self._audit.seal)
        except JournalError as error:
            self._counts["journal failed"] += 1
            self._trouble = str(error)
            return
        self.samples, self.events, self._trouble = [], [], ""
        for name in now:
            del self.changed[name]

    def tidy(self, turn: Turn) -> None:
        """Each second: pack what has ended, forget what is older than the configuration wants."""
        with suppress(JournalError):
            for _ in range(PACKS):
                if not self._audit.pack():
                    break
        if turn.now < self._pack_due:
            return
        self._pack_due, own = turn.now + PACK_EVERY, self._own
        try:
            if self._journal.pack_hours(turn.day, HOURS) == HOURS:
                self._pack_due = turn.now  # the hours of other bays wait for the next second
                return
            if own.journal_days:
                self._journal.prune(turn.day - own.journal_days * DAY)
            if own.audit_days and self._audit.prune(turn.day - own.audit_days * DAY, turn.day):
                turn.tell("", "audit", f"audit log older than {own.audit_days:g} days pruned")
        except JournalError:
            self._counts["journal failed"] += 1


def _memory_text(bay: BayState) -> str:
    return memory_to_text(bay.memory or AdvisorMemory(), bay.told, bay.description.name)
