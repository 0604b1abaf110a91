"""Where the service's loop leaves what people may see, and the page's thread picks it up."""

from __future__ import annotations

import math
import threading
import time
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass

from firmware_bridge.bay.decision import BayView, BridgeView

__all__ = ["Asked", "Board", "Snapshot"]


@dataclass(frozen=True, kw_only=True, slots=True)
class Snapshot:
    """All bays at one time."""

    views: tuple[BayView, ...]
    day: float
    """Time of day, UTC. [s]"""
    taken: float
    """The machine's own steady clock. [s]"""
    problem: str
    """What is wrong with the link; empty for nothing."""
    bridge: BridgeView | None = None


@dataclass(frozen=True, kw_only=True, slots=True)
class Asked:
    """An alarm that somebody at the page has seen."""

    bay: str
    alarm: str
    by: str
    answer: Callable[[bool, str], None]
    """Takes whether it was done, and what to say."""


class Board:
    """One snapshot, replaced as a whole: nobody waits for anybody."""

    def __init__(
        self,
        *,
        every: float = 0.5,
        pace: float = 1.0,
        real: Callable[[], float] = time.monotonic,
    ) -> None:
        self.every, self.pace, self.real = every, pace, real
        self.closed = threading.Event()
        """Set when the bridge ends; streams end too."""
        self._snapshot: Snapshot | None = None
        self._posted = -math.inf
        self._asked: deque[Asked] = deque(maxlen=100)

    def post(
        self,
        views: Callable[[], tuple[BayView, ...]],
        day: float,
        problem: str = "",
        bridge: Callable[[], BridgeView] | None = None,
    ) -> None:
        """Leave a new snapshot, if it is time for one; called by the loop at every turn."""
        now = self.real()
        if now - self._posted < self.every:
            return
        self._posted = now
        own = None if bridge is None else bridge()
        self._snapshot = Snapshot(views=views(), day=day, taken=now, problem=problem, bridge=own)

    def ask(self, asked: Asked) -> None:
        """Leave to the loop what somebody at the page asks."""
        self._asked.append(asked)

    def hand_over(self, take: Callable[[str, str, str, Callable[[bool, str], None]], None]) -> None:
        """Give the loop what was asked since the last time: bay, alarm, by whom, the answer."""
        while self._asked:
            one = self._asked.popleft()
            take(one.bay, one.alarm, one.by, one.answer)

    def read(self) -> Snapshot | None:
        """The last snapshot; None before the first."""
        return self._snapshot

    def silence(self) -> float:
        """How long the loop has posted nothing, by the machine's own clock. [s]"""
        return math.inf if self._snapshot is None else self.real() - self._snapshot.taken
