"""When sprouts may show: a span between published short and long dormancy, never one day."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

__all__ = ["SOURCES", "Outlook", "dormancy_outlook", "dormancy_rates"]

DAY = 86400.0
WARM, MILD, HELD = 15.0, (45.0 - 32.0) / 1.8, 4.0
"""Temperatures of the published figures below. [°C]"""
SHORT = {WARM: 40.0, MILD: 100.0}
"""Shortest dormancy after harvest. [days]"""
LONG = {WARM: 140.0, MILD: 150.0}
"""Longest. [days]"""
YEARS = 0.2
"""A known variety differs so much from season to season (common practice, no source). [1]"""
SOURCES = (
    "AHDB, natural dormancy trial: varieties 40 to 140 days from harvest at 15 °C, half of the "
    "tubers with sprouts of 3 mm",
    "public descriptions of Ranger Russet (about 100 days at 45 °F) and Russet Burbank (five "
    "months at 45 °F without an inhibitor)",
    "Government of New Brunswick: dormant all season below 4 °C",
    "N. Olsen, Univ. of Idaho, 2013: buds peep two to four weeks before 80 % have sprouts of 5 mm",
)


@dataclass(frozen=True, kw_only=True, slots=True)
class Outlook:
    """When sprouts may show; None where not before the end of the days told."""

    used_least: float
    """Of the dormancy so far, by the long one. [0-1]"""
    used_most: float
    """By the short one; above 1 it may be over. [1]"""
    earliest: date | None
    """First day on which sprouts may show."""
    latest: date | None
    """Day by which they should."""
    degree_days: float
    """Above 4 °C until today: O'Brien and others 1983 grade the age of seed by it, from the first
    sprout on. [K days]"""


def dormancy_rates(temperature: float, dormancy: float | None = None) -> tuple[float, float]:
    """
    Part of dormancy that passes in a day, by the short and by the long one. [1/day]

    Straight between the published figures; constant above 15 °C. The short one goes on straight
    down to nothing at about 2 °C; the long one stands still at 4 °C.
    """
    at = min(temperature, WARM)
    steep = (1.0 / SHORT[WARM] - 1.0 / SHORT[MILD]) / (WARM - MILD)
    fast = max(1.0 / SHORT[MILD] + steep * (at - MILD), 0.0)
    if at < MILD:
        slow = max(at - HELD, 0.0) / (MILD - HELD) / LONG[MILD]
    else:
        share = (at - MILD) / (WARM - MILD)
        slow = (1.0 - share) / LONG[MILD] + share / LONG[WARM]
    if dormancy is None:
        return fast, slow
    return (
        fast * SHORT[MILD] / ((1.0 - YEARS) * dormancy),
        slow * LONG[MILD] / ((1.0 + YEARS) * dormancy),
    )


def dormancy_outlook(
    harvest: date,
    temperatures: Sequence[float],
    *,
    days_past: int,
    dormancy: float | None = None,
) -> Outlook:
    """
    Span of dates of sprouting by the pulp of every day since harvest, ``days_past`` measured, the
    rest planned [°C]; no sprout inhibitor is counted.
    """
    used = [0.0, 0.0]
    so_far = [0.0, 0.0]
    ends: list[date | None] = [None, None]
    for k, pulp in enumerate(temperatures):
        for n, rate in enumerate(dormancy_rates(pulp, dormancy)):
            used[n] += rate
            if used[n] >= 1.0 - 1e-9 and ends[n] is None:
                ends[n] = harvest + timedelta(days=k + 1)
        if k < days_past:
            so_far = list(used)
    return Outlook(
        used_least=so_far[1],
        used_most=so_far[0],
        earliest=ends[0],
        latest=ends[1],
        degree_days=math.fsum(max(pulp - HELD, 0.0) for pulp in temperatures[:days_past]),
    )
