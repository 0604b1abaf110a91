"""
What a controller tells, judged: identity and order, age, and whether each value can be believed.

Ages are counted on the bridge's own steady clock; the controller's clock is for people and plots.
"""

from __future__ import annotations

import math
from collections import Counter, deque
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace

from firmware_bridge.channels import ChannelHistory
from firmware_bridge.messages import Birth, Channel, Reading, State
from firmware_bridge.quantities import QUANTITIES, to_internal

__all__ = [
    "REQUIRED",
    "Sample",
    "Source",
    "contradiction",
    "disowned",
    "fault_of",
    "mean_of",
    "pulp_keys",
    "pulps_of",
]

REQUIRED = (
    "pulp_temperature",
    "plenum_temperature",
    "return_temperature",
    "return_relative_humidity",
)
"""Kinds without which there is no advice; every channel of them must be sound."""
DOUBT_AFTER = 300.0
"""So long outside air must contradict the plenum before it is not believed. [s]"""
HALF = 2**31
CREEP = 300e-6
"""By how much two clocks may drift apart: 300 ppm, a poor quartz; common practice, no source."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Sample:
    """One accepted reading in internal units."""

    boot: int
    seq: int
    received: float
    """Steady clock. [s]"""
    delay: float
    """How long it was on its way, as far as can be told. [s]"""
    kinds: Mapping[str, str]
    """Kind by key, in the order of the birth."""
    values: Mapping[str, float]
    """By key; NaN where missing."""
    faults: Mapping[str, str]
    """Why a value is not believed, by key; sound ones are absent."""
    heights: Mapping[str, float] = field(default_factory=dict)
    """Of probes above the floor, by key, where they were declared. [m]"""
    told: float = math.nan
    """The controller's own time of day, for people. [s]"""
    fresh: bool = True
    """False for a late one, which is stored and never acted upon."""
    sound: Mapping[str, Sequence[tuple[str, float]]] = field(init=False, repr=False, compare=False)
    """Keys and values that are believed, by kind, in the order of the birth."""

    def __post_init__(self) -> None:
        found: dict[str, list[tuple[str, float]]] = {}
        for key, value in self.values.items():
            if key not in self.faults:
                found.setdefault(self.kinds[key], []).append((key, value))
        object.__setattr__(self, "sound", found)

    def age(self, now: float) -> float:
        """Age at a moment of the steady clock. [s]"""
        return now - self.received + self.delay


def _ahead(new: int, old: int) -> int:
    """How far one sequence number lies after another; they wrap at 2^32 (RFC 1982)."""
    gap = (new - old) % 2**32
    return gap if gap < HALF else gap - 2**32


@dataclass(slots=True)
class Source:
    """What is known of one controller; one loop owns it."""

    ignore: frozenset[str] = frozenset()
    max_age: float = 180.0
    birth: Birth | None = None
    online: bool = False
    stranger: bool = False
    """Whether readings came of a boot whose birth was not heard."""
    units_wrong: tuple[str, ...] = ()
    newest: Sample | None = None
    counts: Counter[str] = field(default_factory=Counter)
    _kinds: dict[str, str] = field(default_factory=dict)
    _heights: dict[str, float] = field(default_factory=dict)
    _channels: dict[str, ChannelHistory] = field(default_factory=dict)
    outside_doubted: bool = False
    """Whether the plenum has said with the door open that outside air reads wrongly."""
    _doubt_since: float = math.inf
    _gone: deque[int] = field(default_factory=lambda: deque(maxlen=64))
    _least: float = math.nan
    """Smallest receipt time less uptime: the link at its fastest. [s]"""
    _least_at: float = 0.0

    def take_birth(self, birth: Birth, now: float) -> bool:
        """
        Take a controller's birth.

        Parameters
        ----------
        birth : Birth
            As it came.
        now : float
            Steady clock. [s]

        Returns
        -------
        bool
            False for a boot that has already been left behind.
        """
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
        self.units_wrong = tuple(
            channel.key
            for channel in birth.channels
            if channel.key not in self.ignore and to_internal(channel.kind, channel.unit) is None
        )
        self._kinds = {channel.key: channel.kind for channel in birth.channels}
        self._heights = {one.key: one.at for one in birth.channels if one.at is not None}
        self._channels = {
            channel.key: self._kept(channel, same.get(channel.key)) for channel in birth.channels
        }
        return True

    def _kept(self, channel: Channel, before: Channel | None) -> ChannelHistory:
        """A controller that starts anew does not change the air: its sensors are known."""
        known = self._channels.get(channel.key)
        if known and before and (channel.kind, channel.unit) == (before.kind, before.unit):
            return known
        return ChannelHistory(quantity=QUANTITIES[channel.kind])

    def take_state(self, state: State) -> bool:
        """
        Take word that the controller came or went.

        Parameters
        ----------
        state : State
            Its own word, or its last will.

        Returns
        -------
        bool
            False for the will of another boot, which says nothing.
        """
        if self.birth is None or state.boot != self.birth.boot:
            self.counts["state of another boot"] += 1
            return False
        self.online = state.on == 1
        return True

    def take(self, reading: Reading, now: float) -> Sample | None:
        """
        Take a reading.

        Parameters
        ----------
        reading : Reading
            As decoded.
        now : float
            Steady clock. [s]

        Returns
        -------
        Sample or None
            None where it is a copy, or from a boot that is not the current one.
        """
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
        )
        if fresh:
            sample = self._doubt_outside(sample, now)
        if step > 0:
            self.newest = sample
            self.online = True
        return sample

    def _doubt_outside(self, sample: Sample, now: float) -> Sample:
        """Doubt lasts until the plenum agrees with the door open, or the controller starts anew."""
        verdict = disowned(sample, self.ignore)
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

    def _values(self, reading: Reading) -> dict[str, float] | None:
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
            factor, offset = to_internal(channel.kind, channel.unit) or (math.nan, math.nan)
            result[channel.key] = math.nan if raw is None else factor * raw + offset
        return result

    def _delay(self, reading: Reading, now: float) -> float:
        """Later than the fastest reading of this boot: on its way, or held back by a broker."""
        if reading.up is None:
            return 0.0
        offset = now - reading.up
        least = self._least + CREEP * (now - self._least_at)
        if math.isnan(least) or offset < least:
            self._least, self._least_at = offset, now
            return 0.0
        return offset - least

    def _judge(self, reading: Reading, values: Mapping[str, float], now: float) -> dict[str, str]:
        faults = {}
        for key, value in values.items():
            fault = self._channels[key].judge(value, now)
            if key in self.units_wrong:
                fault = "units"
            elif key in reading.bad and fault == "":
                fault = "implausible"
            if fault:
                faults[key] = fault
        return faults


def _sound(sample: Sample, kind: str, ignore: Iterable[str]) -> list[float]:
    return [value for key, value in sample.sound.get(kind, ()) if key not in ignore]


def mean_of(sample: Sample, kind: str, ignore: Iterable[str] = ()) -> float:
    """
    Mean of the sound channels of a kind.

    Parameters
    ----------
    sample : Sample
        An accepted reading.
    kind : str
        One of ``messages.KINDS``.
    ignore : iterable of str
        Keys not to be used.

    Returns
    -------
    float
        NaN where there is none. [internal unit of the kind]
    """
    found = _sound(sample, kind, ignore)
    return math.fsum(found) / len(found) if found else math.nan


def pulp_keys(sample: Sample) -> list[str]:
    """Pulp probes, bottom to top: by their heights where all are declared, else as in the birth."""
    keys = [key for key, kind in sample.kinds.items() if kind == "pulp_temperature"]
    if all(key in sample.heights for key in keys):
        keys.sort(key=lambda key: sample.heights[key])
    return keys


def pulps_of(sample: Sample, ignore: Iterable[str] = ()) -> list[float]:
    """
    Sound pulp temperatures, bottom to top.

    Parameters
    ----------
    sample : Sample
        An accepted reading.
    ignore : iterable of str
        Keys not to be used.

    Returns
    -------
    list of float
        [°C]
    """
    return [
        sample.values[key]
        for key in pulp_keys(sample)
        if key not in sample.faults and key not in ignore
    ]


def fault_of(sample: Sample, ignore: Iterable[str] = ()) -> str:
    """
    Why a reading is no ground for advice.

    Parameters
    ----------
    sample : Sample
        An accepted reading.
    ignore : iterable of str
        Keys not to be used.

    Returns
    -------
    str
        One of ``messages.NONE_REASONS``; empty where nothing is wrong with what is needed.
    """
    seen = set()
    for key, kind in sample.kinds.items():
        if key in ignore or kind not in REQUIRED:
            continue
        if key in sample.faults:
            return sample.faults[key]
        seen.add(kind)
    if not seen.issuperset(REQUIRED):
        return "missing"
    return "contradictory" if contradiction(sample, ignore) else ""


def contradiction(sample: Sample, ignore: Iterable[str] = ()) -> str:
    """
    Readings that cannot all be true.

    Parameters
    ----------
    sample : Sample
        An accepted reading.
    ignore : iterable of str
        Keys not to be used.

    Returns
    -------
    str
        What contradicts what; empty where nothing does.

    Notes
    -----
    The differences (3 K between two sensors of one air, 15 K within the pile, 10 K between pile
    and the air above it, 3 K beyond the two airs that the plenum is mixed of) are common
    practice, no source.
    """
    for kind in ("plenum_temperature", "return_temperature", "outside_temperature"):
        found = _sound(sample, kind, ignore)
        if found and max(found) - min(found) > 3.0:
            return f"two {kind.replace('_', ' ')} sensors"
    pulps = pulps_of(sample, ignore)
    if pulps and max(pulps) - min(pulps) > 15.0:
        return "two pulp temperatures"
    above = mean_of(sample, "return_temperature", ignore)
    if pulps and abs(above - math.fsum(pulps) / len(pulps)) > 10.0:
        return "pulp and return temperature"
    runs = mean_of(sample, "fan_speed", ignore) > 0.3
    coil = mean_of(sample, "refrigeration", ignore) > 0.0
    plenum = mean_of(sample, "plenum_temperature", ignore)
    outside = mean_of(sample, "outside_temperature", ignore)
    outside = above if math.isnan(outside) else outside
    # A coil or a spray cools below both airs, a heater warms above; 6 K covers either.
    low = min(outside, above) - (9.0 if coil else 6.0)
    if runs and not low <= plenum <= max(outside, above) + 6.0:
        return "plenum and the airs it is mixed of"
    return ""


def disowned(sample: Sample, ignore: Iterable[str] = ()) -> bool | None:
    """
    Whether the plenum, with the door wide open, knows nothing of the outside air that is read.

    Parameters
    ----------
    sample : Sample
        An accepted reading.
    ignore : iterable of str
        Keys not to be used.

    Returns
    -------
    bool or None
        None where nothing can be told: door not half open, fans slow, or outside air too close
        to the return air.

    Notes
    -----
    A door half open lets in at least 15 % of fresh air at half fan speed, and sprays, coils and
    heaters shift the plenum as in ``contradiction``: common practice, no source.
    """
    fan, door = (mean_of(sample, kind, ignore) for kind in ("fan_speed", "door_opening"))
    above = mean_of(sample, "return_temperature", ignore)
    plenum = mean_of(sample, "plenum_temperature", ignore)
    outside = mean_of(sample, "outside_temperature", ignore)
    if not (fan >= 0.5 and door >= 0.5 and abs(outside - above) >= 10.0):
        return None
    least = above + 0.15 * (outside - above)
    if outside > above:
        coil = mean_of(sample, "refrigeration", ignore) != 0.0
        water = mean_of(sample, "humidifier", ignore) != 0.0
        return plenum < least - (9.0 if coil else 6.0 if water else 1.0)
    heats = mean_of(sample, "heater", ignore) != 0.0
    return plenum > least + (6.0 if heats else 1.0)
