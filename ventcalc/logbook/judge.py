"""
May this load go in? Each limit with its source: pulp, frost, rot, soil, wet skin, the pile below.

Advice to wait is advice: what was loaded all the same stays in the season's record.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass
from enum import IntEnum
from typing import Any

from ventcalc.bay.description import Bay
from ventcalc.logbook.folder import Logbook
from ventcalc.logbook.kinds import Line, Load
from ventcalc.pile.pile import SOIL_FACTOR_AGRIA, soil_factor

__all__ = ["Judgement", "Reason", "Take", "judge_load", "judge_loads", "pile_under"]

FAHRENHEIT = 5.0 / 9.0
WARMEST = (65.0 - 32.0) * FAHRENHEIT
"""Pulp above which decay in storage threatens, Thornton, Univ. of Idaho, 2019. [°C]"""
WARM = (60.0 - 32.0) * FAHRENHEIT
"""Top of the best pulp for harvest and handling, Thornton 2019. [°C]"""
COOL = (50.0 - 32.0) * FAHRENHEIT
"""Bottom of the best pulp for harvest and handling, Thornton 2019. [°C]"""
COLDEST = (45.0 - 32.0) * FAHRENHEIT
"""Pulp below which handling injures more, Yanta and Tong, Univ. of Minnesota DG6239. [°C]"""
FREEZES = (30.0 - 32.0) * FAHRENHEIT
"""Tubers freeze at about 30 °F, Bethke and Fishler 2019. [°C]"""
ROUNDED = 0.05
"""What a thermometer of tenths may hide: 15.6 °C is not above 60 °F, which is 15.6 °C. [K]"""
DIFFERENCE = 2.0
"""Air "a couple of degrees" from tubers condenses, AHDB Storage Bulletin, Sep 2013. [K]"""
LARGE_DIFFERENCE = 5.0
"""A colder load that would stay wet for long (common practice, no source). [K]"""
ROT = (0.01, 0.05)
"""Rotten tubers: to be kept in mind, and too many (common practice, no source). [0-1]"""
FROST = (0.0, 0.05)
"""Frosted tubers, the same (common practice, no source). [0-1]"""
FALL = 0.1524
"""Tubers fall no further than 6 inch, Nolte, Univ. of Idaho, 2012. [m]"""
MEMORY = 86400.0
"""The pile under a load: what came in the day before it. [s]"""

THORNTON = "M. Thornton, Univ. of Idaho, 2019: 50-60 °F best, above 65 °F risk of decay"
BETHKE = "P. Bethke, USDA-ARS: ideal 10-16 °C, suspend harvest above 18 °C"
YANTA = "J. Yanta and C. Tong, Univ. of Minnesota DG6239: below 45 °F more injury"
FROZEN = "P. Bethke and T. Fishler, 2019: tubers freeze at about 30 °F; frozen tissue does not heal"
NOLTE = "P. Nolte, Univ. of Idaho, 2012: drops of at most 6 inch"
AHDB = "AHDB Storage Bulletin, Sep 2013: no more than a couple of degrees apart"
SOIL = "Hamadan: each 2 % of soil raises the resistance to air 1.36 times (Agria)"
PRACTICE = "common practice, no source"


class Take(IntEnum):
    """What is advised for a load."""

    YES = 0
    WARNING = 1
    WAIT = 2


@dataclass(frozen=True, kw_only=True, slots=True)
class Reason:
    """Why a load is not simply taken."""

    key: str
    """Its name for programs."""
    take: Take
    value: float
    """What was found; NaN where there is no number. [unit]"""
    limit: float
    """[unit]"""
    unit: str
    """A row of ``ventcalc.units``."""
    source: str
    """Of the limit."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Judgement:
    """One load against every limit."""

    take: Take
    reasons: tuple[Reason, ...]
    """The gravest first."""


def judge_load(bay: Bay, load: Load, pile_temperature: float = math.nan) -> Judgement:
    """Judge a load before it is emptied, onto crop of a pulp that may be unknown (NaN). [°C]"""
    reasons = [*_pulp(load.pulp), *_fall(load.pulp, pile_temperature), *_health(load)]
    excess = min(max((load.soil_share or 0.0) - bay.pile.soil, 0.0), 0.1)
    factor = float(soil_factor(excess))
    if factor >= SOIL_FACTOR_AGRIA - 1e-9:
        reasons.append(_reason("soil", Take.WARNING, factor, SOIL_FACTOR_AGRIA, "1", SOIL))
    if load.wet == "yes":
        reasons.append(_reason("wet", Take.WARNING, math.nan, math.nan, "1", PRACTICE))
    reasons.sort(key=lambda reason: -reason.take)
    take = reasons[0].take if reasons else Take.YES
    return Judgement(take=take, reasons=tuple(reasons))


def _reason(key: str, take: Take, value: float, limit: float, unit: str, source: str) -> Reason:
    return Reason(key=key, take=take, value=value, limit=limit, unit=unit, source=source)


def _pulp(pulp: float | None) -> list[Reason]:
    if pulp is None:
        return [_reason("not_measured", Take.WARNING, math.nan, math.nan, "degC", PRACTICE)]
    for key, off, take, limit, source in (
        ("frozen", pulp <= FREEZES, Take.WAIT, FREEZES, FROZEN),
        ("too_cold", pulp < COLDEST - ROUNDED, Take.WAIT, COLDEST, YANTA),
        ("too_warm", pulp > WARMEST + ROUNDED, Take.WAIT, WARMEST, f"{THORNTON}; {BETHKE}"),
        ("cool", pulp < COOL - ROUNDED, Take.WARNING, COOL, THORNTON),
        ("warm", pulp > WARM + ROUNDED, Take.WARNING, WARM, f"{THORNTON}; {BETHKE}"),
    ):
        if off:
            return [_reason(key, take, pulp, limit, "degC", source)]
    return []


def _fall(pulp: float | None, below: float) -> list[Reason]:
    """Against the pile: moist air that rises from a warmer pile wets a colder load."""
    if pulp is None or math.isnan(below):
        return []
    colder = below - pulp
    if colder > LARGE_DIFFERENCE + ROUNDED:
        wait = f"{AHDB}; {LARGE_DIFFERENCE:g} K: {PRACTICE}"
        return [_reason("sweats", Take.WAIT, colder, LARGE_DIFFERENCE, "delta_degC", wait)]
    if colder > DIFFERENCE + ROUNDED:
        return [_reason("sweats", Take.WARNING, colder, DIFFERENCE, "delta_degC", AHDB)]
    if -colder > DIFFERENCE + ROUNDED:
        return [_reason("uneven", Take.WARNING, -colder, DIFFERENCE, "delta_degC", AHDB)]
    return []


def _health(load: Load) -> list[Reason]:
    found = []
    for key, share, (mind, most) in (
        ("rot", load.rot_share, ROT),
        ("frost", load.frost_share, FROST),
    ):
        if share is not None and share > mind:
            take, limit = (Take.WAIT, most) if share > most else (Take.WARNING, mind)
            source = f"{FROZEN}; share: {PRACTICE}" if key == "frost" else PRACTICE
            found.append(_reason(key, take, share, limit, "1 percent", source))
    if load.fall is not None and load.fall > FALL:
        found.append(_reason("fall", Take.WARNING, load.fall, FALL, "m small", NOLTE))
    return found


# --- a season's loads --------------------------------------------------------------------


def judge_loads(bay: Bay, book: Logbook) -> list[tuple[Line[Any], Judgement]]:
    """Judge every load of a season against the pile as it was then."""
    lines = sorted(book.lines("loads"), key=lambda line: line.time)
    below = _piles_under(lines, book.lines("observations"), [line.time for line in lines])
    return [
        (line, judge_load(bay, line.entry, pile)) for line, pile in zip(lines, below, strict=True)
    ]


def pile_under(book: Logbook, time: float) -> float:
    """
    Pulp of the crop that a load falls on: of the day before, last measured in the pile or the mean
    by mass of the loads since; NaN without any. [°C]
    """
    lines = sorted(book.lines("loads"), key=lambda line: line.time)
    return _piles_under(lines, book.lines("observations"), [time])[0]


def _piles_under(
    loads: Sequence[Line[Any]], observations: Sequence[Line[Any]], times: Sequence[float]
) -> list[float]:
    """At each of the times, which rise. [°C]"""
    seen = sorted(
        (line.time, line.entry.pulp) for line in observations if line.entry.pulp is not None
    )
    came = [(x.time, x.entry.net, x.entry.pulp) for x in loads if x.entry.pulp is not None]
    window: deque[tuple[float, float, float]] = deque()
    mass = heat = 0.0
    at = looked = 0
    found = []
    for time in times:
        while at < len(came) and came[at][0] < time:
            window.append(came[at])
            mass, heat = mass + came[at][1], heat + came[at][1] * came[at][2]
            at += 1
        while window and window[0][0] < time - MEMORY:
            _, net, pulp = window.popleft()
            mass, heat = mass - net, heat - net * pulp
        while looked < len(seen) and seen[looked][0] <= time:
            looked += 1
        last = seen[looked - 1] if looked else (-math.inf, math.nan)
        newer = [load for load in window if load[0] > last[0]] if last[0] > time - MEMORY else []
        if newer:
            found.append(sum(x[1] * x[2] for x in newer) / sum(x[1] for x in newer))
        elif last[0] > time - MEMORY:
            found.append(last[1])
        else:
            found.append(heat / mass if window else math.nan)
    return found
