"""A bay as its season's loads say: lots with their mass and pulp, first and last load."""

from __future__ import annotations

import math
from collections import defaultdict
from dataclasses import replace
from datetime import datetime
from zoneinfo import ZoneInfo

from ventcalc.bay.checks import contradictions
from ventcalc.bay.description import Bay, Lot
from ventcalc.errors import BadInput
from ventcalc.logbook.folder import Logbook
from ventcalc.logbook.kinds import Load

__all__ = ["as_loaded"]

DAY = 86400.0
"""Also the shortest fill. [s]"""


def as_loaded(bay: Bay, book: Logbook) -> Bay:
    """
    The bay with what was weighed in, in place of what its file had planned.

    A load without a pulp temperature counts as the mean of its lot, a lot without any as the mean
    of all.
    """
    lines = sorted(book.lines("loads"), key=lambda line: float(line.time))
    by_lot: defaultdict[str, list[Load]] = defaultdict(list)
    for line in lines:
        by_lot[line.entry.lot].append(line.entry)
    everything = _pulp([load for loads in by_lot.values() for load in loads])
    if math.isnan(everything):
        raise BadInput(
            "the season folder holds no load with a pulp temperature; write loads with "
            "`ventcalc log`, or leave --loads out"
        )
    told = {lot.name: lot.maturity for lot in bay.lots}
    told |= {x.lot: x.maturity for x in book.entries("lots") if x.maturity is not None}
    lots = []
    for name, loads in by_lot.items():
        pulp = _pulp(loads)
        lots.append(
            Lot(
                name=name,
                mass=math.fsum(load.net for load in loads),
                loading_temperature=everything if math.isnan(pulp) else pulp,
                maturity=told.get(name, "mature"),
            )
        )
    first = datetime.fromtimestamp(lines[0].time, ZoneInfo(bay.site.time_zone))
    plan = replace(
        bay.schedule,
        fill_start=f"{first:%m-%d}",
        fill_days=max(lines[-1].time - lines[0].time, DAY),
    )
    found = replace(bay, lots=tuple(lots), schedule=plan)
    if problems := contradictions(found):
        raise BadInput(f"as loaded: {problem}" for problem in problems)
    return found


def _pulp(loads: list[Load]) -> float:
    """Mean of the loads whose pulp was measured, by mass; NaN for none. [°C]"""
    known = [(load.net, load.pulp) for load in loads if load.pulp is not None]
    total = math.fsum(net for net, _ in known)
    return math.fsum(net * pulp for net, pulp in known) / total if total > 0.0 else math.nan
