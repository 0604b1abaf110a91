"""One accepted reading, what it says of each kind, and what in it cannot all be true."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

__all__ = [
    "POSITIONS",
    "REQUIRED",
    "ActualPositions",
    "Sample",
    "actual_positions",
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
POSITIONS = {
    "fan": "fan_speed",
    "door": "door_opening",
    "water": "humidifier",
    "cool": "refrigeration",
    "heat": "heater",
}
"""Kind of channel that tells the actual position of each of ``codes.TARGETS``."""


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
    ignore: frozenset[str] = frozenset()
    """Keys not to be used."""
    sound: Mapping[str, Sequence[tuple[str, float]]] = field(init=False, repr=False, compare=False)
    """Keys and values that are believed, by kind, in the order of the birth."""

    def __post_init__(self) -> None:
        found: dict[str, list[tuple[str, float]]] = {}
        for key, value in self.values.items():
            if key not in self.faults and key not in self.ignore:
                found.setdefault(self.kinds[key], []).append((key, value))
        object.__setattr__(self, "sound", found)

    def age(self, now: float) -> float:
        """Age by the steady clock. [s]"""
        return now - self.received + self.delay


@dataclass(frozen=True, kw_only=True, slots=True)
class ActualPositions:
    """What the machines do, as the controller reports it; NaN where it does not. [0-1]"""

    fan: float = math.nan
    door: float = math.nan
    water: float = math.nan
    cool: float = math.nan
    heat: float = math.nan


def actual_positions(sample: Sample | None) -> ActualPositions:
    """What a sample says of the machines; nothing where there is none."""
    if sample is None:
        return ActualPositions()
    return ActualPositions(**{name: mean_of(sample, kind) for name, kind in POSITIONS.items()})


def _sound(sample: Sample, kind: str) -> list[float]:
    return [value for _, value in sample.sound.get(kind, ())]


def mean_of(sample: Sample, kind: str) -> float:
    """
    Mean of the sound channels of a kind.

    Parameters
    ----------
    sample : Sample
        An accepted reading.
    kind : str
        One of ``quantities.KINDS``.

    Returns
    -------
    float
        NaN where there is none. [internal unit of the kind]
    """
    found = sample.sound.get(kind, ())
    if len(found) == 1:
        return found[0][1]
    return math.fsum(value for _, value in found) / len(found) if found else math.nan


def pulp_keys(sample: Sample) -> list[str]:
    """Pulp probes, bottom to top: by their heights where all are declared, else as in the birth."""
    keys = [key for key, kind in sample.kinds.items() if kind == "pulp_temperature"]
    if all(key in sample.heights for key in keys):
        keys.sort(key=lambda key: sample.heights[key])
    return keys


def pulps_of(sample: Sample) -> list[float]:
    """
    Sound pulp temperatures, bottom to top.

    Parameters
    ----------
    sample : Sample
        An accepted reading.

    Returns
    -------
    list of float
        [°C]
    """
    found = list(sample.sound.get("pulp_temperature", ()))
    if sample.heights and all(key in sample.heights for key, _ in found):
        found.sort(key=lambda one: sample.heights[one[0]])
    return [value for _, value in found]


def fault_of(sample: Sample) -> str:
    """
    Why a reading is no ground for advice.

    Parameters
    ----------
    sample : Sample
        An accepted reading.

    Returns
    -------
    str
        One of ``codes.NONE_REASONS``; empty where nothing is wrong with what is needed.
    """
    seen = set()
    for key, kind in sample.kinds.items():
        if key in sample.ignore or kind not in REQUIRED:
            continue
        if key in sample.faults:
            return sample.faults[key]
        seen.add(kind)
    if not seen.issuperset(REQUIRED):
        return "missing"
    return "contradictory" if contradiction(sample) else ""


def contradiction(sample: Sample) -> str:
    """
    Readings that cannot all be true.

    Parameters
    ----------
    sample : Sample
        An accepted reading.

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
        found = _sound(sample, kind)
        if found and max(found) - min(found) > 3.0:
            return f"two {kind.replace('_', ' ')} sensors"
    pulps = pulps_of(sample)
    if pulps and max(pulps) - min(pulps) > 15.0:
        return "two pulp temperatures"
    above = mean_of(sample, "return_temperature")
    if pulps and abs(above - math.fsum(pulps) / len(pulps)) > 10.0:
        return "pulp and return temperature"
    runs = mean_of(sample, "fan_speed") > 0.3
    coil = mean_of(sample, "refrigeration") > 0.0
    plenum = mean_of(sample, "plenum_temperature")
    outside = mean_of(sample, "outside_temperature")
    outside = above if math.isnan(outside) else outside
    # A coil or a spray cools below both airs, a heater warms above; 6 K covers either.
    low = min(outside, above) - (9.0 if coil else 6.0)
    if runs and not low <= plenum <= max(outside, above) + 6.0:
        return "plenum and the airs it is mixed of"
    return ""


def disowned(sample: Sample) -> bool | None:
    """
    Whether the plenum, with the door wide open, knows nothing of the outside air that is read.

    Parameters
    ----------
    sample : Sample
        An accepted reading.

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
    fan, door = (mean_of(sample, kind) for kind in ("fan_speed", "door_opening"))
    if not (fan >= 0.5 and door >= 0.5):
        return None
    above = mean_of(sample, "return_temperature")
    plenum = mean_of(sample, "plenum_temperature")
    outside = mean_of(sample, "outside_temperature")
    if not abs(outside - above) >= 10.0:
        return None
    least = above + 0.15 * (outside - above)
    if outside > above:
        coil = mean_of(sample, "refrigeration") != 0.0
        water = mean_of(sample, "humidifier") != 0.0
        return plenum < least - (9.0 if coil else 6.0 if water else 1.0)
    heats = mean_of(sample, "heater") != 0.0
    return plenum > least + (6.0 if heats else 1.0)
