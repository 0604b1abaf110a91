"""What every page carries: choices, time, and whether the bridge is heard."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

from firmware_bridge.page.history import DAYS
from firmware_bridge.page.words import Units

__all__ = ["Frame"]

FEW = 12
"""Up to so many bays have their link on every page; more are found from the overview."""
STALLED = 10.0
"""A loop that has said nothing for so long stands still. [s]"""


@dataclass(frozen=True, kw_only=True, slots=True)
class Frame:
    """What every page carries."""

    units: Units
    days: int
    day: float
    """Time of day of what is shown, UTC. [s]"""
    shift: int
    """Local time less UTC. [s]"""
    pace: float
    silence: float
    """How long the bridge's loop has said nothing. [s]"""
    problem: str
    notice: str
    names: tuple[str, ...]
    shape: str
    """Changes when the page must be loaded anew."""

    def query(self, **other: object) -> str:
        """The choices of this page, some of them replaced."""
        chosen = {"units": self.units, "days": self.days, **other}
        return "?" + "&".join(f"{name}={value}" for name, value in chosen.items())

    def stamp(self, t: float, form: str = "%Y-%m-%d %H:%M") -> str:
        """Local time, 24 hours."""
        return datetime.fromtimestamp(t + self.shift, UTC).strftime(form)

    def starts(self, times: Sequence[float]) -> list[tuple[str, str]]:
        """Of rows, newest first: local time counted as if it were UTC [s], and in words."""
        return [(f"{t + self.shift:.0f}", self.stamp(t)) for t in reversed(times)]

    @property
    def now(self) -> str:
        """Local time of what is shown."""
        return self.stamp(self.day, "%Y-%m-%d %H:%M:%S")

    @property
    def zone(self) -> str:
        """Local time against UTC."""
        sign = "−" if self.shift < 0 else "+"
        return f"UTC{sign}{abs(self.shift) // 3600:02d}:{abs(self.shift) // 60 % 60:02d}"

    @property
    def stalled(self) -> bool:
        """Whether the bridge's loop stands still."""
        return self.silence > STALLED

    @property
    def few(self) -> tuple[str, ...]:
        """Bays that have their link on every page."""
        return self.names if len(self.names) <= FEW else ()

    @property
    def choices(self) -> tuple[int, ...]:
        """Days that can be looked at."""
        return tuple(DAYS)

    @property
    def step(self) -> str:
        """Time from row to row of the tables."""
        return {600: "10 minutes", 3600: "1 hour", 21600: "6 hours"}[DAYS[self.days]]

    @property
    def refresh(self) -> float:
        """How often the tables come anew. [s]"""
        return min(max(60.0 / self.pace, 5.0), 60.0)
