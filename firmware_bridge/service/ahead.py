"""The days ahead of every bay, worked out one after the other in a thread beside the loop."""

from __future__ import annotations

import functools
from collections.abc import Mapping
from dataclasses import dataclass, field

from firmware_bridge.bay.state import BayState
from firmware_bridge.bay.week import Week, no_week, standing, week_of
from firmware_bridge.service.beside import Beside
from firmware_bridge.service.turn import Turn

__all__ = ["Ahead"]

LOOK_EVERY = 900.0
"""A forecast is looked at, and may be worked out anew. [s]"""
RENEW_EVERY = 3600.0
"""The pile has moved on by then: it is worked out anew by the same forecast. [s]"""


@dataclass(slots=True)
class _Asked:
    """When a bay's days ahead were looked at and asked for [s], and the forecast's last change."""

    looked: float
    asked: float
    changed: int


@dataclass(slots=True)
class Ahead:
    """Asks for them, and takes what was found; called once a second, and never waits."""

    bays: Mapping[str, BayState]
    beside: Beside[Week] = field(default_factory=lambda: Beside(no_week))
    _asked: dict[str, _Asked] = field(default_factory=dict)
    _said: dict[str, tuple[bool, bool]] = field(default_factory=dict)

    def look(self, turn: Turn) -> None:
        """Take what was found, drop what is too old, ask for the next."""
        for name, week in self.beside.found():
            self.bays[name].week = week
            self._tell(self.bays[name], turn)
        for bay in self.bays.values():
            if bay.config.forecast is None:
                continue
            bay.week = standing(bay.week, turn.day)
            if bay.name in self._said:
                self._tell(bay, turn)
            if not self.beside.busy and self._due(bay, turn.now):
                self._ask(bay, turn)

    def _ask(self, bay: BayState, turn: Turn) -> None:
        question = bay.question(turn.now, turn.day)
        if question is None:
            return
        self._asked[bay.name] = _Asked(turn.now, turn.now, _changed(bay))
        self.beside.ask(bay.name, turn.day, functools.partial(week_of, question))

    def _due(self, bay: BayState, now: float) -> bool:
        last = self._asked.get(bay.name)
        if last is None:
            return True
        if now - last.looked < LOOK_EVERY:
            return False
        last.looked = now
        return now - last.asked >= RENEW_EVERY or last.changed != _changed(bay)

    def _tell(self, bay: BayState, turn: Turn) -> None:
        """Once when it begins, and once when it is over."""
        assert bay.week is not None
        trouble, doubt = bay.week.trouble, bay.plan_doubt
        state = (bool(trouble), bool(doubt))
        before = self._said.get(bay.name, (False, False))
        self._said[bay.name] = state
        if state[0] != before[0]:
            turn.tell(
                bay.name, "outlook", f"no outlook: {trouble}" if trouble else "an outlook again"
            )
        if state[1] != before[1]:
            words = (
                f"the plan is not followed: {doubt}" if doubt else "advice follows the plan again"
            )
            turn.tell(bay.name, "plan", words)


def _changed(bay: BayState) -> int:
    """Last change of the forecast; 0 where it cannot be seen. [ns]"""
    assert bay.config.forecast is not None
    try:
        return bay.config.forecast.stat().st_mtime_ns
    except OSError:
        return 0
