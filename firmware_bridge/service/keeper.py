"""Keeps in the journal what must outlive this process, a few bays a second."""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping
from contextlib import suppress

from firmware_bridge.bay.kept import kept_text, recall
from firmware_bridge.bay.state import BayState
from firmware_bridge.errors import JournalError
from firmware_bridge.journal.journal import Journal
from firmware_bridge.service.turn import Turn

__all__ = ["Keeper"]

EVERY = 60
"""Each bay is kept so often. [s]"""


class Keeper:
    """Of all bays; called once a second."""

    def __init__(self, bays: Mapping[str, BayState], journal: Journal, begun: Turn) -> None:
        self._journal, self._count = journal, len(bays)
        self._bays, self._next = bays, itertools.cycle(bays.values())
        self._doubted: set[str] = set()
        for bay in bays.values():
            recall(bay, journal.note(f"kept {bay.name}"), begun.now, begun.day)

    def note(self, turn: Turn, *, all_bays: bool = False) -> None:
        """
        Keep of the next bays what stands; what cannot be written waits for its next turn.

        That somebody else speaks to a bay is kept at once.
        """
        count = self._count if all_bays else math.ceil(self._count / EVERY)
        doubted = {bay.name for bay in self._bays.values() if bay.foreign_until > turn.now}
        new, self._doubted = doubted - self._doubted, doubted
        texts = {
            f"kept {bay.name}": kept_text(bay, turn.now, turn.day)
            for bay in (*itertools.islice(self._next, count), *(self._bays[one] for one in new))
        }
        with suppress(JournalError):
            self._journal.set_notes({name: text for name, text in texts.items() if text})
