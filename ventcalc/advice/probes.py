"""Probes before they are believed: several pulp probes, and air that contradicts the pile."""

from __future__ import annotations

import math
from collections.abc import Sequence
from statistics import median
from typing import NamedTuple

from ventcalc.advice.readings import DOUBTED, Readings

__all__ = [
    "Pulp",
    "agreeing",
    "airs_differ",
    "believed",
    "outside_disowned",
    "plenum_believed",
    "pulp_of",
    "return_believed",
]

NAN = math.nan
ODD = 4.0
"""
Pulp probe this far from the middle of the others disagrees with them. Piles with air stand within
about 3 K; common practice, no source. [K]
"""
FEW = 3
"""Pulp probes below which none can be outvoted."""
# The differences below are common practice, no source.
RETURN_OFF, RETURN_OFF_RUNNING = 15.0, 10.0
"""
Return air this far from the mean pulp is no return air: at rest, under a hot or cold roof, also
this far beyond outside air; while the fans draw it through the pile. [K]
"""
ONE_AIR = 3.0
"""Two probes in one air differ by less. [K]"""
MIXED, COILED = 6.0, 9.0
"""Supply beyond both airs that it is mixed of, by spray or heater; by a coil. [K]"""
TELLING = 10.0
"""Outside less return air from which on a plenum shows whether the door is open. [K]"""
LEAST_FRESH = 0.15
"""Fresh fraction of a door half open at half fan speed, at the least. [1]"""


class Pulp(NamedTuple):
    """What the pulp probes say together."""

    pulp_bottom: float
    """[°C]"""
    pulp_top: float
    """[°C]"""
    pulp_mean: float
    """[°C]"""
    pulp_coldest: float
    """[°C]"""
    pulp_odd: float
    """The probe that disagrees most, left out of the means; NaN for none. [°C]"""
    pulp_odd_place: int
    """Its place from the bottom, 1 for the lowest; 0 for none."""
    pulp_probes: int
    """
    On how many to count: all that agree; where others are out two at most, which widens margins:
    nobody knows how cold it is there.
    """


def agreeing(temperatures: Sequence[float]) -> dict[int, float]:
    """The pulp probes that agree, by their place from the bottom."""
    kept = {k: t for k, t in enumerate(temperatures, start=1) if not math.isnan(t)}
    while len(kept) >= FEW and max(kept.values()) - min(kept.values()) > ODD:
        off = {k: abs(t - median([u for j, u in kept.items() if j != k])) for k, t in kept.items()}
        far = max(off, key=lambda k: off[k])
        if off[far] <= ODD:
            break
        del kept[far]
    heard = sum(not math.isnan(t) for t in temperatures)
    split = len(kept) == FEW - 1 and max(kept.values()) - min(kept.values()) > ODD
    outvoted = len(kept) < heard and 2 * len(kept) <= heard
    return {} if split or outvoted or 2 * len(kept) < len(temperatures) else kept


def pulp_of(temperatures: Sequence[float]) -> Pulp:
    """The pile's temperatures from its probes."""
    kept = agreeing(temperatures)
    if not kept:
        return Pulp(NAN, NAN, NAN, NAN, NAN, 0, 0)
    values = list(kept.values())
    mean, middle = math.fsum(values) / len(values), median(values)
    out = {k: t for k, t in enumerate(temperatures, start=1) if k not in kept and t == t}
    place = max(out, key=lambda k: abs(out[k] - middle), default=0)
    agree = len(values)
    count = agree if agree == len(temperatures) else min(agree, FEW - 1)
    odd = out.get(place, NAN)
    return Pulp(values[0], values[-1], mean, min(values), odd, place, count)


def airs_differ(temperatures: Sequence[float]) -> bool:
    """Whether probes in one air [°C] cannot both be right."""
    return len(temperatures) > 1 and max(temperatures) - min(temperatures) > ONE_AIR


def return_believed(
    return_temperature: float, pulp_mean: float, fans_run: bool, outside: float
) -> bool:
    """
    Whether return air [°C] can come from a pile of that mean temperature [°C].

    At rest it is the air under the roof, which follows outside air [°C] and sun; doors that stand
    open for trucks let warm air in while the fans run.
    """
    off = RETURN_OFF_RUNNING if fans_run else RETURN_OFF
    low = pulp_mean if fans_run else min(pulp_mean, outside)
    high = max(pulp_mean, outside)
    return not (return_temperature < low - off or return_temperature > high + off)


def plenum_believed(
    plenum_temperature: float,
    return_temperature: float,
    outside_temperature: float,
    coil_runs: bool,
) -> bool:
    """Whether the plenum can be mixed of return and outside air while the fans run. [°C]"""
    outside = return_temperature if math.isnan(outside_temperature) else outside_temperature
    low = min(outside, return_temperature) - (COILED if coil_runs else MIXED)
    return low <= plenum_temperature <= max(outside, return_temperature) + MIXED


def outside_disowned(
    plenum_temperature: float,
    return_temperature: float,
    outside_temperature: float,
    coil_off: bool,
    humidifier_off: bool,
    heater_off: bool,
) -> bool | None:
    """
    Whether the plenum, with door and fans at least half open, knows nothing of the outside air.
    """
    if not abs(outside_temperature - return_temperature) >= TELLING:
        return None
    least = return_temperature + LEAST_FRESH * (outside_temperature - return_temperature)
    if outside_temperature > return_temperature:
        return plenum_temperature < least - (
            1.0 if coil_off and humidifier_off else MIXED if coil_off else COILED
        )
    return plenum_temperature > least + (1.0 if heater_off else MIXED)


def believed(readings: Readings, fans_run: bool = False) -> tuple[Readings, tuple[str, ...]]:
    """Readings without what cannot be, and what that was."""
    doubts = []
    if not return_believed(
        readings.return_temperature, readings.pulp_mean, fans_run, readings.outside_temperature
    ):
        off = abs(readings.return_temperature - readings.pulp_mean)
        doubts.append(
            f"return air at {readings.return_temperature:.1f} °C is {off:.0f} K off the pulp and "
            "is not believed; look at the probe"
        )
        code = readings.doubted | DOUBTED["return temperature"]
        readings = readings._replace(return_temperature=NAN, doubted=code)
    plenum, above = readings.plenum_temperature, readings.return_temperature
    outside = readings.outside_temperature
    # Whether the coil runs nobody says here.
    known = fans_run and not math.isnan(plenum + above)
    if known and not plenum_believed(plenum, above, outside, coil_runs=True):
        doubts.append(
            f"plenum at {plenum:.1f} °C cannot be mixed of the airs that are read and is not "
            "believed; look at the probe"
        )
        warm = plenum > above  # a cold one still stops the fans
        code = readings.doubted | DOUBTED["plenum temperature"]
        readings = readings._replace(plenum_temperature=NAN if warm else plenum, doubted=code)
    return readings, tuple(doubts)
