"""What one turn of the loop gathers before anything is written or sent."""

from __future__ import annotations

from dataclasses import dataclass, field

from firmware_bridge.bay.state import BayState
from firmware_bridge.journal.audit import Entry
from firmware_bridge.journal.journal import Event
from firmware_bridge.logs import escaped
from firmware_bridge.sensors.sample import Sample

__all__ = ["Turn"]


@dataclass(slots=True)
class Turn:
    """One turn of the loop."""

    now: float
    """Steady clock. [s]"""
    day: float
    """Time of day, UTC. [s]"""
    entries: list[Entry] = field(default_factory=list)
    events: list[Event] = field(default_factory=list)
    samples: list[tuple[float, str, Sample]] = field(default_factory=list)
    touched: dict[str, BayState] = field(default_factory=dict)
    """Bays about which something may have to be said."""
    connected: set[str] = field(default_factory=set)
    """Bays whose controller has said its birth, or a person's yes: they hear a beat at once."""
    plain: list[BayState] = field(default_factory=list)
    """Plain bays that hear a beat, with what stands once all is decided."""

    def tell(self, bay: str, code: str, text: str) -> None:
        """Note something that people should know."""
        self.events.append(Event(t=self.day, bay=bay, code=code, text=escaped(text)))

    def log(self, bay: str, kind: str, body: bytes) -> None:
        """Note something for the audit log."""
        self.entries.append(Entry(t=self.day, bay=bay, kind=kind, body=body))
