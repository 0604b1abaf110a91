"""Time as the bridge sees it: a steady clock for ages, a wall clock that is watched."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass, field

__all__ = ["Clock", "DayTime", "fast_clock"]

JUMP = 60.0
"""A step of the wall clock that is doubted. [s]"""
SETTLE = 300.0
"""So long a new time of day must stand before it is believed. [s]"""
EARLIEST = 1704067200.0
"""2024-01-01: an earlier wall clock was never set. [s]"""


@dataclass(frozen=True, kw_only=True, slots=True)
class Clock:
    """The two clocks of one machine, to be replaced in tests and fast runs."""

    steady: Callable[[], float] = time.monotonic
    """Never goes back, knows no time of day. [s]"""
    wall: Callable[[], float] = time.time
    """UTC, since 1970. [s]"""
    pace: float = 1.0
    """Seconds of both clocks per real second."""


def fast_clock(pace: float, start: float | None = None) -> Clock:
    """
    Clocks that run faster than real time.

    Parameters
    ----------
    pace : float
        Seconds per real second. [1]
    start : float, optional
        Wall clock at the start, UTC; that of the machine by default. [s]

    Returns
    -------
    Clock
    """
    zero = time.monotonic()
    begin = time.time() if start is None else start

    def steady() -> float:
        return (time.monotonic() - zero) * pace

    return Clock(steady=steady, wall=lambda: begin + steady(), pace=pace)


@dataclass(slots=True)
class DayTime:
    """Time of day that does not jump: the steady clock, set by the wall clock."""

    offset: float | None = None
    believed: bool = False
    _other: float = field(default=0.0)
    _since: float | None = field(default=None)

    def at(self, steady: float, wall: float) -> float:
        """
        Time of day, from both clocks.

        Parameters
        ----------
        steady, wall : float
            Both clocks, read together. [s]

        Returns
        -------
        float
            UTC; ``believed`` says whether the wall clock agrees. [s]
        """
        offset = wall - steady
        if self.offset is None:
            self.offset = offset
        if abs(offset - self.offset) <= JUMP:
            self.offset, self._since = offset, None
        elif self._since is None or abs(offset - self._other) > JUMP:
            self._other, self._since = offset, steady
        elif steady - self._since >= SETTLE:
            self.offset, self._since = offset, None
        now = steady + self.offset
        self.believed = self._since is None and now >= EARLIEST
        return now
