"""Probes before they are believed: several pulp probes, and air that contradicts the pile."""

from __future__ import annotations

import math
from collections.abc import Sequence
from statistics import median
from typing import NamedTuple

from ventcalc.advice.readings import Readings

__all__ = ["Pulp", "believed", "pulp_of"]

NAN = math.nan
ODD = 4.0
"""
Pulp probe this far from the middle of the others disagrees with them. Piles with air stand within
about 3 K; common practice, no source. [K]
"""
RETURN_OFF = 15.0
"""Return air this far from the mean pulp is no return air. [K]"""
FEW = 3
"""Pulp probes below which none can be outvoted."""


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
    """How many agree."""


def pulp_of(temperatures: Sequence[float]) -> Pulp:
    """
    The pile's temperatures from its probes.

    Parameters
    ----------
    temperatures : sequence of float
        Bottom to top; NaN where a probe is dead. [°C]

    Returns
    -------
    Pulp
        Probes that disagree with most others are left out, the farthest first; where no majority
        is left nothing is believed.
    """
    kept = {k: t for k, t in enumerate(temperatures, start=1) if not math.isnan(t)}
    heard = len(kept)
    odd, place = NAN, 0
    while len(kept) >= FEW:
        off = {k: abs(t - median([u for j, u in kept.items() if j != k])) for k, t in kept.items()}
        far = max(off, key=lambda k: off[k])
        if off[far] <= ODD:
            break
        if not place:
            odd, place = kept[far], far
        del kept[far]
    split = len(kept) == FEW - 1 and max(kept.values()) - min(kept.values()) > ODD
    if not kept or split or len(kept) * 2 <= heard:
        return Pulp(NAN, NAN, NAN, NAN, odd, place, 0)
    values = list(kept.values())
    mean = math.fsum(values) / len(values)
    return Pulp(values[0], values[-1], mean, min(values), odd, place, len(values))


def believed(readings: Readings) -> tuple[Readings, tuple[str, ...]]:
    """
    Readings without what cannot be, and what that was.

    Parameters
    ----------
    readings : Readings
        As the probes say.

    Returns
    -------
    readings : Readings
        What contradicts the pile is taken for missing.
    doubts : tuple of str
        One line each.
    """
    doubts = []
    off = abs(readings.return_temperature - readings.pulp_mean)
    if off > RETURN_OFF:
        doubts.append(
            f"return air at {readings.return_temperature:.1f} °C is {off:.0f} K off the pulp and "
            "is not believed; look at the probe"
        )
        readings = readings._replace(return_temperature=NAN)
    if readings.people_inside and math.isnan(readings.co2):
        doubts.append("people are inside and CO2 is not measured")
    return readings, tuple(doubts)
