"""What the journal shows of every bay, looked through one after the other beside the loop."""

from __future__ import annotations

import functools
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from firmware_bridge.bay.diagnosis import DAYS, EVERY, Diagnosis, diagnosis_of, no_diagnosis
from firmware_bridge.bay.state import BayState
from firmware_bridge.bay.week import foretold
from firmware_bridge.journal.export import samples_of_journal
from firmware_bridge.journal.journal import Journal
from firmware_bridge.service.beside import Beside
from firmware_bridge.service.turn import Turn

__all__ = ["Diagnosing", "look_through"]

LOOK_EVERY = 3600.0
"""What the rules look at goes by the hour. [s]"""
BEGIN = 60.0
"""After a start; before the alarm book takes what stood for over. [s]"""


@dataclass(slots=True)
class Diagnosing:
    """Asks for it, and takes what was found; called once a second, and never waits."""

    bays: Mapping[str, BayState]
    journal: Path
    beside: Beside[Diagnosis] = field(default_factory=lambda: Beside(no_diagnosis))
    _due: dict[str, float] = field(default_factory=dict)
    _foretold: dict[str, dict[int, float]] = field(default_factory=dict)
    """Outside air by the forecasts that were there, hour by hour; a restart forgets them. [°C]"""

    def look(self, turn: Turn) -> None:
        """Take what was found, ask for the next."""
        for name, found in self.beside.found():
            self._take(self.bays[name], found, turn)
        for bay in self.bays.values():
            due = self._due.setdefault(bay.name, turn.now + BEGIN)
            if not self.beside.busy and turn.now >= due:
                self._due[bay.name] = turn.now + LOOK_EVERY
                sample = bay.source.newest
                heights = {} if sample is None else dict(sample.heights)
                work = functools.partial(self._work, bay, heights, turn.day)
                self.beside.ask(bay.name, turn.day, work)

    def _work(self, bay: BayState, heights: Mapping[str, float], day: float) -> Diagnosis:
        known = self._foretold.get(bay.name, {}) | foretold(bay.config, day)
        first = day / 3600.0 - 24.0 * DAYS
        self._foretold[bay.name] = known = {k: one for k, one in known.items() if k > first}
        return look_through(self.journal, bay, heights, day, known)

    def _take(self, bay: BayState, found: Diagnosis, turn: Turn) -> None:
        """What is new, and what is no more, is told once."""
        before = {} if bay.diagnosis is None else {one.id: one for one in bay.diagnosis.alarms}
        now = {one.id: one for one in found.alarms}
        bay.diagnosis = found
        for kind in now.keys() - before.keys():
            turn.tell(bay.name, "diagnosis", f"the journal shows: {now[kind].text}")
        if not found.trouble:
            for kind in before.keys() - now.keys():
                turn.tell(bay.name, "diagnosis", f"no longer shown: {before[kind].text}")


def look_through(
    path: Path,
    bay: BayState,
    heights: Mapping[str, float],
    day: float,
    known: Mapping[int, float],
) -> Diagnosis:
    """What the last weeks of a bay show; the loop writes the journal meanwhile."""
    journal = Journal(path, read_only=True)
    try:
        rows = list(samples_of_journal(journal, bay.name, day - DAYS * 86400.0, day, EVERY))
    finally:
        journal.close()
    return diagnosis_of(bay.description, rows, day, bay.config.ignore, heights, known)
