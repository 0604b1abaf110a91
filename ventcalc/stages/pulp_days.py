"""Pulp temperature day by day, from whatever was measured."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from ventcalc.logbook.folder import Logbook

__all__ = ["between", "pulp_days"]


def pulp_days(
    book: Logbook, zone: str, logged: Iterable[tuple[float, float]] = ()
) -> dict[date, float]:
    """
    Mean pulp of each day on which it was measured: of the log, else by hand, else of the loads.
    [°C]
    """
    place, found = ZoneInfo(zone), {}
    loads = [(x.time, x.entry.pulp) for x in book.lines("loads")]
    seen = [(x.time, x.entry.pulp) for x in book.lines("observations")]
    for rows in (loads, seen, logged):
        by_day: defaultdict[date, list[float]] = defaultdict(list)
        for time, pulp in rows:
            if pulp is not None and pulp == pulp:
                by_day[datetime.fromtimestamp(time, place).date()].append(pulp)
        found.update({day: sum(values) / len(values) for day, values in by_day.items()})
    return dict(sorted(found.items()))


def between(known: Mapping[date, float], first: date, last: date) -> list[float]:
    """Pulp of every day from the first to before the last, straight between known ones. [°C]"""
    days = sorted(known)
    values = []
    for k in range((last - first).days):
        day = first + timedelta(days=k)
        before = max((d for d in days if d <= day), default=days[0])
        after = min((d for d in days if d >= day), default=days[-1])
        share = (day - before).days / (after - before).days if after > before else 0.0
        values.append(known[before] + (known[after] - known[before]) * min(max(share, 0.0), 1.0))
    return values
