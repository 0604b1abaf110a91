"""
What a controller tells, judged: identity and order, age, and whether each value can be believed.

Ages are counted on the bridge's own steady clock; the controller's clock is for people and plots.
"""

from __future__ import annotations

import math
from collections import Counter, deque
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from typing import Any

from msgspec.structs import replace

from firmware_bridge.quantities import QUANTITIES, to_internal
from firmware_bridge.sensors.kept import plain_of, set_to
from firmware_bridge.sensors.sample import RUNS, Sample, airs_out, disowned, outvoted
from firmware_bridge.wire.messages import Birth, Channel, ReadingMessage, State
from ventcalc.advice.probe_history import PROBES, ProbeHistory, ProbeLimits, held, probe_of

__all__ = ["Source", "history_of"]

DOUBT_AFTER = 300.0
"""So long outside air must contradict the plenum before it is not believed. [s]"""
HALF = 2**31
CREEP = 300e-6
"""By how much two clocks may drift apart: 300 ppm, a poor quartz; common practice, no source."""


def _ahead(new: int, old: int) -> int:
    """How far one sequence number lies after another; they wrap at 2^32 (RFC 1982)."""
    gap = (new - old) % 2**32
    return gap if gap < HALF else gap - 2**32


def history_of(kind: str) -> ProbeHistory:
    """How a channel is judged: a probe by the library's rules, all else by its range alone."""
    if kind in PROBES:
        return probe_of(kind)
    known = QUANTITIES[kind]
    return ProbeHistory(
        limits=ProbeLimits(known.low, known.high, 2.0 * known.high, known.high, 0.0)
    )


@dataclass(slots=True)
class Source:
    """What is known of one controller; one loop owns it."""

    ignore: frozenset[str] = frozenset()
    max_age: float = 180.0
    co2_top: float = math.inf
    """Top of the CO2 probes' range; a reading there means "at least". [1]"""
    birth: Birth | None = None
    online: bool = False
    stranger: bool = False
    """Whether readings came of a boot whose birth was not heard."""
    units_wrong: tuple[str, ...] = ()
    newest: Sample | None = None
    counts: Counter[str] = field(default_factory=Counter)
    _kinds: dict[str, str] = field(default_factory=dict)
    _heights: dict[str, float] = field(default_factory=dict)
    _factors: list[tuple[float, float]] = field(default_factory=list)
    """Of each channel's unit, in the order of the birth."""
    _channels: dict[str, ProbeHistory] = field(default_factory=dict)
    outside_doubted: bool = False
    """Whether the plenum has said with the door open that outside air reads wrongly."""
    _doubt_since: float = math.inf
    _gone: deque[int] = field(default_factory=lambda: deque(maxlen=64))
    _least: float = math.nan
    """Smallest receipt time less uptime: the link at its fastest. [s]"""
    _least_at: float = 0.0
    _kept_before: tuple[Mapping[str, Any], float] | None = None
    """Of the process before, until the controller says what it measures; ages from then. [s]"""

    def take_birth(self, birth: Birth, now: float) -> bool:
        """Take a controller's birth; False for a boot that has been left behind."""
        if birth.boot in self._gone:
            self.counts["old birth"] += 1
            return False
        if self.birth is None or birth.boot != self.birth.boot:
            if self.birth is not None:
                self._gone.append(self.birth.boot)
            self.newest, self._least = None, math.nan
            self.outside_doubted, self._doubt_since = False, math.inf
        same = {} if self.birth is None else {one.key: one for one in self.birth.channels}
        self.birth, self.online, self.stranger = birth, True, False
        known = [to_internal(channel.kind, channel.unit) for channel in birth.channels]
        self._factors = [one or (math.nan, math.nan) for one in known]
        self.units_wrong = tuple(
            channel.key
            for channel, factors in zip(birth.channels, known, strict=True)
            if channel.key not in self.ignore and factors is None
        )
        self._kinds = {channel.key: channel.kind for channel in birth.channels}
        self._heights = {one.key: one.at for one in birth.channels if one.at is not None}
        self._channels = {
            channel.key: self._kept(channel, same.get(channel.key)) for channel in birth.channels
        }
        self._resume(birth)
        return True

    def kept(self, now: float) -> dict[str, Any] | None:
        """What a bridge that starts again should know of the sensors; None before a birth."""
        if self.birth is None:
            return None
        probes = {
            one.key: [one.kind, one.unit, plain_of(self._channels[one.key], now)]
            for one in self.birth.channels
        }
        return {"boot": self.birth.boot, "outside": self.outside_doubted, "probes": probes}

    def take_up(self, kept: Mapping[str, Any], then: float) -> None:
        """Know it again, its ages counted from a time. [s]"""
        self._kept_before = kept, then
        if self.birth is not None:
            self._resume(self.birth)

    def _resume(self, birth: Birth) -> None:
        if self._kept_before is None:
            return
        (kept, then), self._kept_before = self._kept_before, None
        with suppress(ValueError, TypeError, KeyError, AttributeError):  # of another version
            self.outside_doubted = bool(kept["outside"]) and kept["boot"] == birth.boot
            for one in birth.channels:
                kind, unit, plain = kept["probes"].get(one.key, ("", "", {}))
                if (kind, unit) == (one.kind, one.unit):
                    set_to(self._channels[one.key], plain, then)

    def _kept(self, channel: Channel, before: Channel | None) -> ProbeHistory:
        """A controller that starts anew does not change the air: its sensors are known."""
        known = self._channels.get(channel.key)
        if known and before and (channel.kind, channel.unit) == (before.kind, before.unit):
            return known
        history = history_of(channel.kind)
        if channel.kind == "co2":
            history.top = self.co2_top
        return history

    def take_state(self, state: State) -> bool:
        """Take word that the controller came or went; False for the will of another boot."""
        if self.birth is None or state.boot != self.birth.boot:
            self.counts["state of another boot"] += 1
            return False
        self.online = state.on == 1
        return True

    def take(self, reading: ReadingMessage, now: float) -> Sample | None:
        """Take a reading; None for a copy, or one of a boot that is not the current one."""
        if self.birth is None or reading.boot != self.birth.boot:
            self.counts["unknown boot"] += 1
            self.stranger = reading.boot not in self._gone
            return None
        step = 1 if self.newest is None else _ahead(reading.seq, self.newest.seq)
        if step == 0:
            self.counts["repeat"] += 1
            return None
        values = self._values(reading)
        if values is None:
            self.counts["wrong length"] += 1
            return None
        self.counts["gap"] += max(step - 1, 0)
        delay = self._delay(reading, now)
        fresh = step > 0 and delay <= self.max_age
        self.counts["taken" if fresh else "late"] += 1
        faults = self._judge(reading, values, now) if fresh else {}
        sample = Sample(
            boot=reading.boot,
            seq=reading.seq,
            received=now,
            delay=delay,
            kinds=self._kinds,
            values=values,
            faults=faults,
            heights=self._heights,
            told=math.nan if reading.t is None else reading.t,
            fresh=fresh,
            ignore=self.ignore,
        )
        if fresh:
            for find in (outvoted, airs_out):
                more = find(sample)
                if more:
                    sample = replace(sample, faults={**sample.faults, **more})
            sample = self._doubt_outside(sample, now)
        if step > 0:
            self.newest = sample
            self.online = True
        return sample

    def _doubt_outside(self, sample: Sample, now: float) -> Sample:
        """Doubt lasts until the plenum agrees with the door open, or the controller starts anew."""
        verdict = disowned(sample)
        if verdict is None:
            self._doubt_since = math.inf
        elif verdict:
            self._doubt_since = min(self._doubt_since, now)
            self.outside_doubted |= now - self._doubt_since >= DOUBT_AFTER
        else:
            self.outside_doubted, self._doubt_since = False, math.inf
        if not self.outside_doubted:
            return sample
        wrong = [key for key, kind in sample.kinds.items() if kind == "outside_temperature"]
        return replace(sample, faults={**dict.fromkeys(wrong, "contradictory"), **sample.faults})

    def _values(self, reading: ReadingMessage) -> dict[str, float] | None:
        assert self.birth is not None  # take() has looked
        result = {}
        if reading.i is not None and len(reading.i) != len(self.birth.channels):
            return None
        for place, channel in enumerate(self.birth.channels):
            if reading.i is not None:
                count = reading.i[place]
                raw = None if count is None else count * channel.scale
            else:
                raw = reading.v.get(channel.key) if reading.v else None
            factor, offset = self._factors[place]
            result[channel.key] = math.nan if raw is None else factor * raw + offset
        return result

    def _delay(self, reading: ReadingMessage, now: float) -> float:
        """Later than the fastest reading of this boot: on its way, or held back by a broker."""
        if reading.up is None:
            return 0.0
        offset = now - reading.up
        least = self._least + CREEP * (now - self._least_at)
        if math.isnan(least) or offset < least:
            self._least, self._least_at = offset, now
            return 0.0
        return offset - least

    def _judge(
        self, reading: ReadingMessage, values: Mapping[str, float], now: float
    ) -> dict[str, str]:
        faults = {}
        fans = [value for key, value in values.items() if self._kinds[key] == "fan_speed"]
        run = any(fan > RUNS for fan in fans) if fans else None
        for key, value in values.items():
            fault = self._channels[key].judge(value, now, run)
            if key in self.units_wrong:
                fault = "units"
            elif key in reading.bad and fault == "":
                fault = "implausible"
            if fault:
                faults[key] = fault
        if "stuck" in faults.values():
            pulps = {key for key, kind in self._kinds.items() if kind == "pulp_temperature"}
            pulps -= self.ignore
            if held([self._channels[key] for key in pulps], now):
                faults = {k: f for k, f in faults.items() if f != "stuck" or k not in pulps}
        return faults
