"""
One probe over time, for everybody who hears one: range, jump, stuck, °C and °F mixed up.

Limits, speeds and stuck times are common practice, no source. A pulp probe of 0.1 K resolution in
a bay that is held may well stand still for a day; outside air does not.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import NamedTuple

__all__ = ["PROBES", "ProbeHistory", "ProbeLimits", "judged", "probe_of"]

AGREE = 3
"""So many readings in a row that agree with each other are believed after a jump ..."""
SETTLE = 300.0
"""... and for so long. [s]"""
FORGET = 6 * 3600.0
"""After so long without a sound reading any believable value may come. [s]"""
FIT = 0.5
"""A value in the other unit fits the last one so well, beside ``per_minute``. [K]"""
STILL_READINGS = 30
"""So many readings without a change, at the least, make a stuck probe: people write few."""
_HOUR = 3600.0


class ProbeLimits(NamedTuple):
    """What one kind of probe may read; numbers in °C, 0-1, volume fraction or Pa."""

    low: float
    """[of its kind]"""
    high: float
    """A reading outside is not believed. [of its kind]"""
    jump: float
    """Largest believable step between two readings, beside ``per_minute``. [of its kind]"""
    per_minute: float
    """Fastest believable change. [of its kind per minute]"""
    stuck_after: float
    """A reading that has not moved at all for so long is not believed; 0: never judged. [s]"""


PROBES: dict[str, ProbeLimits] = {
    "pulp_temperature": ProbeLimits(-10.0, 30.0, 1.0, 0.1, 48 * _HOUR),
    "plenum_temperature": ProbeLimits(-20.0, 35.0, 5.0, 5.0, 24 * _HOUR),
    "return_temperature": ProbeLimits(-10.0, 35.0, 3.0, 2.0, 48 * _HOUR),
    "outside_temperature": ProbeLimits(-50.0, 50.0, 3.0, 2.0, 6 * _HOUR),
    "ceiling_temperature": ProbeLimits(-30.0, 45.0, 3.0, 2.0, 24 * _HOUR),
    "plenum_relative_humidity": ProbeLimits(0.02, 1.0, 0.1, 0.1, 48 * _HOUR),
    "return_relative_humidity": ProbeLimits(0.02, 1.0, 0.1, 0.1, 48 * _HOUR),
    "outside_relative_humidity": ProbeLimits(0.02, 1.0, 0.1, 0.1, 24 * _HOUR),
    "co2": ProbeLimits(200e-6, 0.06, 0.005, 0.005, 24 * _HOUR),
    "pressure": ProbeLimits(60e3, 110e3, 500.0, 200.0, 0.0),
}
"""By kind of probe."""

_OTHER_UNIT: dict[str, Callable[[float], float]] = {
    "fahrenheit": lambda value: (value - 32.0) / 1.8,  # the number is in °F and was taken for °C
    "celsius": lambda value: 1.8 * value + 32.0,  # it is in °C and was taken for °F
}


@dataclass(slots=True)
class ProbeHistory:
    """Last sound value, how long it has stood still, and doubtful values since."""

    limits: ProbeLimits
    """Of its kind."""
    turns_unit: bool = False
    """Whether it is a temperature, which may come in °C or °F."""
    good: float = math.nan
    """Last sound value. [as the limits]"""
    good_at: float = -math.inf
    """When. [s]"""
    still: float = math.nan
    """Value at which it stands. [as the limits]"""
    still_since: float = 0.0
    """Since when. [s]"""
    still_readings: int = 0
    """For how many readings. [1]"""
    doubtful: float = math.nan
    """Last value that jumped. [as the limits]"""
    doubtful_at: float = -math.inf
    """When. [s]"""
    doubts: int = 0
    """How many in a row agree with it. [1]"""
    doubts_since: float = -math.inf
    """Since when they do. [s]"""
    unit: str = ""
    """The unit that it turned to; empty while its own is believed."""
    fits: int = 0
    """How many in a row have fitted without it. [1]"""

    def judge(self, value: float, now: float) -> str:
        """Judge the next value, and remember it."""
        limits = self.limits
        if math.isnan(value):
            return "missing"
        if self.turns_unit and self._in_the_other_unit(value, now):
            return "units"
        if not limits.low - 1e-9 <= value <= limits.high + 1e-9:
            self.doubts = 0
            return "implausible"
        self.still_readings += 1
        if value != self.still:
            self.still, self.still_since, self.still_readings = value, now, 1
        if self._jumps(value, now):
            return "implausible"
        self.good, self.good_at = value, now
        self.doubts = 0
        long = limits.stuck_after and now - self.still_since >= limits.stuck_after
        return "stuck" if long and self.still_readings >= STILL_READINGS else ""

    def _room(self, since: float, now: float, jump: float) -> float:
        """How far the quantity can have come meanwhile."""
        return jump + self.limits.per_minute * (now - since) / 60.0

    def _in_the_other_unit(self, value: float, now: float) -> bool:
        """
        Whether °C has turned to °F or back; it stays so until values fit without mending.

        Near -40, where both scales meet, and in the first reading of all nothing can be told.
        """
        room = self._room(self.good_at, now, self.limits.jump)
        if self.unit:
            mended = _OTHER_UNIT[self.unit](value)
            plain, other = abs(value - self.good), abs(mended - self.good)
            self.fits = self.fits + 1 if plain <= room and plain < other else 0
            if not self.fits and other <= room:
                self.good, self.good_at = mended, now
            self.unit = "" if self.fits >= AGREE else self.unit
            return self.unit != ""
        if math.isnan(self.good) or now - self.good_at > FORGET or abs(value - self.good) <= room:
            return False
        fits = self._room(self.good_at, now, FIT)
        for unit, mend in _OTHER_UNIT.items():
            if abs(mend(value) - self.good) <= fits:
                self.unit, self.good, self.good_at, self.fits = unit, mend(value), now, 0
                break
        return self.unit != ""

    def _jumps(self, value: float, now: float) -> bool:
        """Faster than the quantity can change; believed when the following ones agree."""
        waited = now - self.good_at
        room = self._room(self.good_at, now, self.limits.jump)
        if math.isnan(self.good) or waited > FORGET or abs(value - self.good) <= room:
            return False
        near = self._room(self.doubtful_at, now, self.limits.jump)
        agrees = self.doubts > 0 and abs(value - self.doubtful) <= near
        if not agrees:
            self.doubts, self.doubts_since = 0, now
        self.doubtful, self.doubtful_at, self.doubts = value, now, self.doubts + 1
        return self.doubts < AGREE or now - self.doubts_since < SETTLE


def probe_of(kind: str) -> ProbeHistory:
    """A probe of which nothing is known yet, by its kind in ``PROBES``."""
    return ProbeHistory(limits=PROBES[kind], turns_unit=kind.endswith("temperature"))


def judged(
    values: Mapping[str, tuple[str, float]], time: float, probes: dict[str, ProbeHistory]
) -> tuple[dict[str, float], dict[str, str]]:
    """Readings of one time as far as they are believed."""
    sound: dict[str, float] = {}
    doubts: dict[str, str] = {}
    for name, (kind, value) in values.items():
        history = probes.setdefault(name, probe_of(kind))
        good, since = history.good, history.still_since
        fault = history.judge(value, time)
        sound[name] = math.nan if fault else value
        if fault and fault != "missing":
            why = {
                "stuck": f"has not moved for {(time - since) / 3600.0:.0f} h",
                "units": "looks like °C for °F, or °F for °C",
                "implausible": f"jumps from {good:g}"
                if history.limits.low <= value <= history.limits.high
                else f"lies outside {history.limits.low:g} to {history.limits.high:g}",
            }[fault]
            doubts[name] = f"{name} at {value:g} {why} and is not believed; look at the probe"
    return sound, doubts
