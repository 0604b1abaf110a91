"""One accepted reading, what it says of each kind, and what in it cannot all be true."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from functools import cached_property
from statistics import fmean, median

from msgspec import Struct

from ventcalc.advice.probes import (
    agreeing,
    airs_differ,
    outside_disowned,
    plenum_believed,
    return_believed,
)

__all__ = [
    "POSITIONS",
    "REQUIRED",
    "ActualPositions",
    "Sample",
    "actual_positions",
    "airs_out",
    "contradiction",
    "disowned",
    "mean_of",
    "outvoted",
    "pulp_keys",
    "pulps_of",
]

REQUIRED = (
    "pulp_temperature",
    "plenum_temperature",
    "return_temperature",
    "return_relative_humidity",
)
"""Kinds without which there is no advice; of pulp probes half must be sound."""
RUNS = 0.3
"""Fan speed from which on the plenum is what the fans blow. [0-1]"""
POSITIONS = {
    "fan": "fan_speed",
    "door": "door_opening",
    "water": "humidifier",
    "cool": "refrigeration",
    "heat": "heater",
}
"""Kind of channel that tells the actual position of each of ``codes.TARGETS``."""


class Sample(Struct, frozen=True, kw_only=True, dict=True):
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
    heights: Mapping[str, float] = {}
    """Of probes above the floor, by key, where they were declared. [m]"""
    told: float = math.nan
    """The controller's own time of day, for people. [s]"""
    fresh: bool = True
    """False for a late one, which is stored and never acted upon."""
    ignore: frozenset[str] = frozenset()
    """Keys not to be used."""

    @cached_property
    def sound(self) -> Mapping[str, Sequence[tuple[str, float]]]:
        """Keys and values that are believed, by kind, in the order of the birth."""
        found: dict[str, list[tuple[str, float]]] = {}
        for key, value in self.values.items():
            if key not in self.faults and key not in self.ignore:
                found.setdefault(self.kinds[key], []).append((key, value))
        return found

    @cached_property
    def fault(self) -> str:
        """Why it is no ground for advice, one of ``codes.NONE_REASONS``; empty where it is."""
        return _fault_of(self)

    @cached_property
    def actual(self) -> ActualPositions:
        """What it says of the machines."""
        return ActualPositions(**{name: mean_of(self, kind) for name, kind in POSITIONS.items()})

    def age(self, now: float) -> float:
        """Age by the steady clock. [s]"""
        return now - self.received + self.delay


class ActualPositions(Struct, frozen=True, kw_only=True):
    """What the machines do, as the controller reports it; NaN where it does not. [0-1]"""

    fan: float = math.nan
    door: float = math.nan
    water: float = math.nan
    cool: float = math.nan
    heat: float = math.nan


def actual_positions(sample: Sample | None) -> ActualPositions:
    """What a sample says of the machines; nothing where there is none."""
    return ActualPositions() if sample is None else sample.actual


def _sound(sample: Sample, kind: str) -> list[float]:
    return [value for _, value in sample.sound.get(kind, ())]


def mean_of(sample: Sample, kind: str) -> float:
    """Mean of the sound channels of a kind. [internal unit of the kind]"""
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
    """Sound pulp temperatures, bottom to top. [°C]"""
    found = list(sample.sound.get("pulp_temperature", ()))
    if sample.heights and all(key in sample.heights for key, _ in found):
        found.sort(key=lambda one: sample.heights[one[0]])
    return [value for _, value in found]


def _fault_of(sample: Sample) -> str:
    """The first of what is needed that is not sound, else a contradiction."""
    for kind in REQUIRED:
        if kind not in sample.sound:
            keys = (key for key, one in sample.kinds.items() if one == kind)
            faults = (sample.faults.get(key, "") for key in keys if key not in sample.ignore)
            return next((fault for fault in faults if fault), "missing")
    return "contradictory" if contradiction(sample) else ""


def outvoted(sample: Sample) -> dict[str, str]:
    """
    Pulp probes that most others contradict, ``odd`` by key: bad probes, or real spots.

    Another fault for all of them where no majority is left.
    """
    keys = [key for key in pulp_keys(sample) if key not in sample.ignore]
    heard = [math.nan if key in sample.faults else sample.values[key] for key in keys]
    kept = agreeing(heard)
    sound = {place: key for place, key in enumerate(keys, 1) if key not in sample.faults}
    if kept:
        return {key: "odd" for place, key in sound.items() if place not in kept}
    worst = next(iter(sample.faults[key] for key in keys if key in sample.faults), "contradictory")
    return dict.fromkeys(sound.values(), worst)


def airs_out(sample: Sample) -> dict[str, str]:
    """
    Probes of one air that cannot all be right: ``contradictory`` by key.

    Of three or more those off the middle; of two the one that the pile or the other airs disown;
    of outside air both, because the adviser does without.
    """
    found: list[str] = []
    for air in ("outside", "return", "plenum"):
        probes = sample.sound.get(f"{air}_temperature", ())
        if not airs_differ([value for _, value in probes]):
            continue
        middle = median(value for _, value in probes)
        off = [key for key, value in probes if airs_differ((value, middle))]
        if len(probes) == 2:
            off = [key for key, value in probes if air == "outside" or _foreign(sample, air, value)]
        if air == "outside" or len(off) < len(probes):
            found += off
    return dict.fromkeys(found, "contradictory")


def _foreign(sample: Sample, air: str, value: float) -> bool:
    """Whether pile and airs disown a temperature of return or plenum air. [°C]"""
    runs, pulps = mean_of(sample, "fan_speed") > RUNS, pulps_of(sample)
    outside = mean_of(sample, "outside_temperature")
    if air == "return":
        return bool(pulps) and not return_believed(value, fmean(pulps), runs, outside)
    above, coil = mean_of(sample, "return_temperature"), mean_of(sample, "refrigeration") > 0.0
    return runs and not plenum_believed(value, above, outside, coil)


def contradiction(sample: Sample) -> str:
    """Which readings cannot all be true, by the library's rules; empty for none."""
    for kind in ("plenum_temperature", "return_temperature"):
        if airs_differ(_sound(sample, kind)):
            return f"two {kind.replace('_', ' ')} sensors"
    if _foreign(sample, "return", mean_of(sample, "return_temperature")):
        return "pulp and return temperature"
    if _foreign(sample, "plenum", mean_of(sample, "plenum_temperature")):
        return "plenum and the airs it is mixed of"
    return ""


def disowned(sample: Sample) -> bool | None:
    """
    Whether the plenum, with the door wide open, knows nothing of the outside air that is read.
    """
    fan, door = (mean_of(sample, kind) for kind in ("fan_speed", "door_opening"))
    if not (fan >= 0.5 and door >= 0.5):
        return None
    plenum, above, outside = (
        mean_of(sample, f"{air}_temperature") for air in ("plenum", "return", "outside")
    )
    coil, mist, heater = (
        mean_of(sample, kind) == 0.0 for kind in ("refrigeration", "humidifier", "heater")
    )
    return outside_disowned(plenum, above, outside, coil, mist, heater)
