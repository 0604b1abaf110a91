"""Time of day that can be believed: held against the steady clock, and against what was stored."""

from __future__ import annotations

import json
import math
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import NamedTuple

from firmware_bridge.errors import JournalError
from firmware_bridge.journal.journal import Journal
from firmware_bridge.service.clock import Clock
from firmware_bridge.service.turn import Turn
from firmware_bridge.wire.messages import encode_plain

__all__ = ["DayKeeper", "DayTime", "Mark"]

JUMP = 60.0
"""A step of the wall clock that is doubted. [s]"""
SETTLE = 300.0
"""So long a new time of day must stand before it is believed. [s]"""
EARLIEST = 1704067200.0
"""2024-01-01: an earlier wall clock was never set. [s]"""
BEHIND = 86400.0
"""A machine without a clock of its own begins where it was stopped, or last noted it. [s]"""
IDLE = 400 * 86400.0
"""Longest time from one run of a bridge to the next that is believed: a season left out. [s]"""
MARK_EVERY = 60.0
"""The time of day is noted for the next start. [s]"""


class Mark(NamedTuple):
    """A time of day that was believed, stored to hold the clock against after a restart."""

    epoch: str
    steady: float
    """[s]"""
    day: float
    """UTC. [s]"""


def mark_of(text: str | None) -> Mark | None:
    """A stored mark; None where there is none that can be read."""
    try:
        epoch, steady, day = json.loads(text or "")
        return Mark(str(epoch), float(steady), float(day))
    except (ValueError, TypeError):
        return None


@dataclass(slots=True)
class DayTime:
    """Time of day that does not jump: the steady clock, set by the wall clock."""

    epoch: str = ""
    mark: Mark | None = None
    """The last that was stored before this start."""
    offset: float | None = None
    believed: bool = False
    _other: float = field(default=0.0)
    _since: float | None = field(default=None)

    def at(self, steady: float, wall: float) -> float:
        """Time of day, from both clocks. [s]"""
        offset = wall - steady
        if self.offset is None:
            self.offset = self._first(offset, steady)
        if abs(offset - self.offset) <= JUMP:
            self.offset, self._since = offset, None
        elif self._since is None or abs(offset - self._other) > JUMP:
            self._other, self._since = offset, steady
        elif steady - self._since >= SETTLE:
            self.offset, self._since = offset, None
        now = steady + self.offset
        self.believed = self._since is None and now >= EARLIEST and self.fits(now)
        return now

    def _first(self, offset: float, steady: float) -> float:
        """
        The offset to begin with.

        Where the steady clock has gone on since the mark, only the process began anew, and a wall
        clock that differs has jumped; the clock of a machine that began anew may be some hours
        behind until it is set, and is waited for like after a jump.
        """
        mark = self.mark
        if mark is None:
            return offset
        if self.epoch and mark.epoch == self.epoch:
            self.mark = None
            return mark.day - mark.steady
        if 0.0 < mark.day - (steady + offset) <= BEHIND:
            self.mark = None
            return mark.day - steady
        return offset

    def fits(self, now: float) -> bool:
        """Whether a time of day can follow the mark; doubt ends when the clock is set."""
        return self.mark is None or -JUMP <= now - self.mark.day <= IDLE


class DayKeeper:
    """Reads both clocks, and notes the time of day for the next start."""

    def __init__(self, clock: Clock, journal: Journal) -> None:
        self._clock, self._journal = clock, journal
        self._time = DayTime(epoch=clock.epoch, mark=mark_of(journal.note("clock")))
        self._due, self._said = -math.inf, False

    @property
    def believed(self) -> bool:
        """Whether the time of day is, as last read."""
        return self._time.believed

    def turn(self) -> Turn:
        """A turn of the loop that begins now."""
        now = self._clock.steady()
        return Turn(now=now, day=self._time.at(now, self._clock.wall()))

    def note(self, turn: Turn) -> None:
        """Note the time where it is believed; say where it is not, for what was noted before."""
        mark = self._time.mark
        if mark is not None and not self._time.fits(turn.day):
            if not self._said:
                turn.tell("", "clock", _words(turn.day, mark))
            self._said = True
        elif self.believed and turn.now >= self._due:
            self._due = turn.now + MARK_EVERY
            try:
                note = Mark(self._clock.epoch, turn.now, turn.day)
                self._journal.set_note("clock", json.dumps(note))
            except JournalError:
                self._due = turn.now + 1.0  # the bridge's health tells of a full disk

    def trust(self, by: str, turn: Turn) -> tuple[bool, str]:
        """A person says that the clock is right; whether it was doubted for the mark, and words."""
        mark = self._time.mark
        if mark is None or self._time.fits(turn.day):
            return False, "the time of day is not doubted for what was stored before"
        self._time.mark = None
        words = f"the time of day is right: {_stamp(turn.day)}"
        turn.log("", "trust-clock", encode_plain([by, words]))
        turn.tell("", "trust-clock", f"{words} (by {by})")
        return True, words


def _stamp(day: float) -> str:
    try:
        return f"{datetime.fromtimestamp(day, UTC):%Y-%m-%d %H:%M} UTC"
    except (ValueError, OverflowError, OSError):
        return "beyond any calendar"


def _words(day: float, mark: Mark) -> str:
    return (
        f"it is said to be {_stamp(day)}, but {_stamp(mark.day)} was stored before: set the clock, "
        "or say `firmware-bridge trust-clock CONFIG --by NAME` where it is right"
    )
