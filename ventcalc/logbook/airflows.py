"""Air as it was measured lateral by lateral, against the whole that the bay file promises."""

from __future__ import annotations

import statistics
from dataclasses import dataclass

from ventcalc.bay.description import Bay
from ventcalc.bay.equipment import lateral_section
from ventcalc.logbook.folder import Logbook

__all__ = ["EVEN", "MeasuredAir", "measured_air"]

EVEN = 0.85
"""Evenness from lateral to lateral: R. Brook, Michigan State Univ., 2001. [1]"""


@dataclass(frozen=True, kw_only=True, slots=True)
class MeasuredAir:
    """The last measurement of each lateral, added up."""

    measured: int
    """Laterals."""
    laterals: int
    """That the bay has."""
    airflow: float
    """Of those measured, were the air alike over their heads. [m³/s]"""
    airflow_per_mass: float
    """Of all, those not measured like the mean, per crop of a full pile. [m³/(s kg)]"""
    rated_airflow: float
    """Of all fans by the bay file. [m³/s]"""
    scatter: float
    """Standard deviation over mean of the velocities; 0 for one. [1]"""
    evenness: float
    """1 less mean deviation over mean (Christiansen). [1]"""
    weakest: str
    """Lateral that gets least."""
    least: float
    """Its velocity over the mean. [1]"""

    @property
    def whole(self) -> float:
        """Air of all laterals, those not measured like the mean. [m³/s]"""
        return self.airflow * self.laterals / self.measured


def measured_air(bay: Bay, book: Logbook) -> MeasuredAir | None:
    """Sum up what was measured in the laterals; None where nothing was, or without ducts."""
    lines = sorted(book.lines("airflows"), key=lambda line: float(line.time))
    found = {line.entry.lateral: float(line.entry.velocity) for line in lines}
    if not found or bay.ducts is None:
        return None
    speeds = list(found.values())
    mean = statistics.fmean(speeds)
    airflow = sum(speeds) * float(lateral_section(bay.ducts).area)
    weakest = min(found, key=lambda name: found[name])
    return MeasuredAir(
        measured=len(found),
        laterals=max(bay.ducts.laterals, len(found)),
        airflow=airflow,
        airflow_per_mass=airflow * bay.ducts.laterals / len(found) / bay.pile.capacity,
        rated_airflow=bay.fans.airflow,
        scatter=statistics.stdev(speeds) / mean if len(speeds) > 1 else 0.0,
        evenness=1.0 - statistics.fmean(abs(x - mean) for x in speeds) / mean,
        weakest=weakest,
        least=found[weakest] / mean,
    )
