"""One accepted reading, what it says of each kind, and what in it cannot all be true."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

__all__ = [
    "REQUIRED",
    "Sample",
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
        One of ``quantities.KINDS``.
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
    found = [one for one in sample.sound.get("pulp_temperature", ()) if one[0] not in ignore]
    if sample.heights and all(key in sample.heights for key, _ in found):
        found.sort(key=lambda one: sample.heights[one[0]])
    return [value for _, value in found]


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
        One of ``codes.NONE_REASONS``; empty where nothing is wrong with what is needed.
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
    if not (fan >= 0.5 and door >= 0.5):
        return None
    above = mean_of(sample, "return_temperature", ignore)
    plenum = mean_of(sample, "plenum_temperature", ignore)
    outside = mean_of(sample, "outside_temperature", ignore)
    if not abs(outside - above) >= 10.0:
        return None
    least = above + 0.15 * (outside - above)
    if outside > above:
        coil = mean_of(sample, "refrigeration", ignore) != 0.0
        water = mean_of(sample, "humidifier", ignore) != 0.0
        return plenum < least - (9.0 if coil else 6.0 if water else 1.0)
    heats = mean_of(sample, "heater", ignore) != 0.0
    return plenum > least + (6.0 if heats else 1.0)
