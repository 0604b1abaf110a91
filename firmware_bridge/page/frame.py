"""What every page carries: choices, time, and whether the bridge is heard."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from firmware_bridge.page.history import DAYS
from firmware_bridge.page.words import Units

__all__ = ["Frame", "shared_zone"]

FEW = 12
"""Up to so many bays have their link on every page; more are found from the overview."""
STALLED = 10.0
"""A loop that has said nothing for so long stands still. [s]"""


def shared_zone(zones: Collection[str], day: float) -> str:
    """The zone by whose time several stores can be shown; empty where their clocks differ."""
    offsets = {datetime.fromtimestamp(day, ZoneInfo(zone)).utcoffset() for zone in zones}
    return min(zones) if len(offsets) == 1 else ""


@dataclass(frozen=True, kw_only=True, slots=True)
class Frame:
    """What every page carries."""

    units: Units
    days: int
    day: float
    """Time of day of what is shown, UTC. [s]"""
    zone: str
    """IANA name of the store's time zone; empty for the zone of this machine."""
    pace: float
    silence: float
    """How long the bridge's loop has said nothing. [s]"""
    problem: str
    notice: str
    names: tuple[str, ...]
    shape: str
    """Changes when the page must be loaded anew."""
    token: str = ""
    """Stands in every form; empty for no forms."""

    def query(self, **other: object) -> str:
        """The choices of this page, some of them replaced."""
        chosen = {"units": self.units, "days": self.days, **other}
        return "?" + "&".join(f"{name}={value}" for name, value in chosen.items())

    def _local(self) -> datetime:
        zone = ZoneInfo(self.zone) if self.zone else None
        return datetime.fromtimestamp(self.day, UTC).astimezone(zone)

    def stamps(self, times: Sequence[float]) -> list[tuple[int, str]]:
        """Local times counted as if they were UTC [s], and in words, 24 hours."""
        shift = (self._local().utcoffset() or timedelta()).total_seconds()  # one for all rows
        local = [round(t + shift) for t in times]
        return [(t, f"{datetime.fromtimestamp(t, UTC):%Y-%m-%d %H:%M}") for t in local]

    @property
    def now(self) -> str:
        """Local time of what is shown."""
        return f"{self._local():%Y-%m-%d %H:%M:%S}"

    @property
    def zone_name(self) -> str:
        """Short name of the zone, where it has one, else against UTC."""
        local = self._local()
        name = local.tzname() or ""
        return name if name.isalpha() else f"UTC{local.isoformat()[-6:]}".replace("-", "−")

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
