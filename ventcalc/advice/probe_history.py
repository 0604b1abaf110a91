"""
One probe over time, for everybody who hears one: range, jump, stuck, °C and °F mixed up.

Limits, speeds and stuck times are common practice, no source. What stands in moving air must
follow it: while the fans are known to run, a probe is stuck after the time in which its quantity
passes two of its steps at the slowest. A coarse probe is given the longer for it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

__all__ = ["PROBES", "ProbeHistory", "ProbeLimits", "held", "judged", "probe_of"]

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
TOGETHER = 3.0
"""So many times longer most pulp probes of a bay may stand still at once: a pile may be held."""
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
    """
    A reading that has not moved at all for so long is not believed; 0: never judged. Where the
    fans are known, it counts while they stand. [s]
    """
    step: float = math.inf
    """Usual resolution. [of its kind]"""
    stuck_running: float = math.inf
    """The same while the fans run, at that resolution. [s]"""


PROBES: dict[str, ProbeLimits] = {
    # 0.2 K: pulp at 0.01 K/h (10 W/t of a crop of 3.6 kJ/kg K), return air at 0.02 K/h, and the
    # plenum, which door, mist and weather move, at 0.1 K/h.
    "pulp_temperature": ProbeLimits(-10.0, 30.0, 1.0, 0.1, 48 * _HOUR, 0.1, 20 * _HOUR),
    "plenum_temperature": ProbeLimits(-20.0, 35.0, 5.0, 5.0, 24 * _HOUR, 0.1, 2 * _HOUR),
    "return_temperature": ProbeLimits(-10.0, 35.0, 3.0, 2.0, 48 * _HOUR, 0.1, 10 * _HOUR),
    "outside_temperature": ProbeLimits(-50.0, 50.0, 3.0, 2.0, 6 * _HOUR),
    "ceiling_temperature": ProbeLimits(-30.0, 45.0, 3.0, 2.0, 24 * _HOUR),
    "plenum_relative_humidity": ProbeLimits(0.02, 1.0, 0.1, 0.1, 48 * _HOUR, 0.01, 24 * _HOUR),
    "return_relative_humidity": ProbeLimits(0.02, 1.0, 0.1, 0.1, 48 * _HOUR, 0.01, 24 * _HOUR),
    "outside_relative_humidity": ProbeLimits(0.02, 1.0, 0.1, 0.1, 24 * _HOUR),
    "co2": ProbeLimits(200e-6, 0.06, 0.005, 0.005, 24 * _HOUR, 20e-6, 12 * _HOUR),
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
    still_running: float = 0.0
    """For how long of that the fans are known to have run. [s]"""
    step: float = math.nan
    """Smallest step that it ever made. [as the limits]"""
    top: float = math.inf
    """Top of its range: a reading there is "at least", and may stand. [as the limits]"""
    heard_at: float = -math.inf
    """Last judged. [s]"""
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

    def judge(self, value: float, now: float, fans_run: bool | None = None) -> str:
        """Judge the next value, and remember it; fans_run: since the last one, None unknown."""
        limits, since, self.heard_at = self.limits, self.heard_at, now
        if math.isnan(value):
            return "missing"
        near = abs(value - self.good) <= self._room(self.good_at, now, limits.jump)
        if self.turns_unit and (self.unit or not near) and self._in_the_other_unit(value, now):
            return "units"
        if not limits.low - 1e-9 <= value <= limits.high + 1e-9:
            self.doubts = 0
            return "implausible"
        self.still_readings += 1
        if value != self.still:
            moved = abs(value - self.still)
            if not moved >= self.step and moved > 0.0:
                self.step = moved
            self.still, self.still_since, self.still_readings = value, now, 1
            self.still_running = 0.0
        elif fans_run:
            self.still_running += min(now - since, _HOUR)
        if not near and self._jumps(value, now):
            return "implausible"
        self.good, self.good_at = value, now
        self.doubts = 0
        if self.still_readings < STILL_READINGS or value >= self.top - 1e-9:
            return ""
        return "stuck" if sum(self.stood(now)) >= 1.0 else ""

    def stood(self, now: float) -> tuple[float, float]:
        """How long it has stood still at rest and in a run, as parts of the longest believed."""
        limits = self.limits
        if not limits.stuck_after or self.still_readings < STILL_READINGS:
            return 0.0, 0.0
        coarse = max(self.step / limits.step, 1.0) if self.step > 0.0 else 1.0
        rest = (now - self.still_since - self.still_running) / limits.stuck_after
        return rest / coarse, self.still_running / limits.stuck_running / coarse

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


def held(probes: Sequence[ProbeHistory], now: float) -> bool:
    """
    Whether the pulp probes of a bay may stand still together, as in a pile that is held.

    Only while the fans run: a pile at rest warms by itself.
    """
    parts = [probe.stood(now) for probe in probes]
    still = sum(rest + run >= 1.0 for rest, run in parts)
    return 2 * still > len(parts) > 1 and all(r < 1.0 and run < TOGETHER for r, run in parts)


def judged(
    values: Mapping[str, tuple[str, float]],
    time: float,
    probes: dict[str, ProbeHistory],
    tops: Mapping[str, float] | None = None,
) -> tuple[dict[str, float], dict[str, str]]:
    """Readings of one time as far as they are believed; at the top of its range one may stand."""
    sound: dict[str, float] = {}
    doubts: dict[str, str] = {}
    tops = tops or {}
    for name, (kind, value) in values.items():
        history = probes.get(name)
        if history is None:
            history = probes[name] = probe_of(kind)
        history.top = tops.get(name, math.inf)
        good, since = history.good, history.still_since
        fault = history.judge(value, time)
        sound[name] = math.nan if fault else value
        if fault and fault != "missing":
            why = {
                "stuck": f"has not moved for {(time - since) / 3600.0:.0f} h",
                "units": "looks like °C for °F, or °F for °C",
                "implausible": f"jumps from {_words(kind, good)}"
                if history.limits.low <= value <= history.limits.high
                else f"lies outside {_words(kind, history.limits.low)} to "
                f"{_words(kind, history.limits.high)}",
            }[fault]
            number = f"{value:g}" if fault == "units" else _words(kind, value)
            doubts[name] = f"{name} at {number} {why} and is not believed; look at the probe"
    return sound, doubts


def _words(kind: str, value: float) -> str:
    """A reading with its unit."""
    if kind.endswith("temperature"):
        return f"{value:.1f} °C"
    if kind.endswith("humidity"):
        return f"{value:.0%}"
    return f"{value * 1e6:,.0f} ppm" if kind == "co2" else f"{value:,.0f} Pa"
