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
    Mean pulp of each day on which it was measured: of the log, else by hand, else what lay there
    and the day's loads, by mass. [°C]
    """
    place = ZoneInfo(zone)
    seen = [(x.time, x.entry.pulp) for x in book.lines("observations")]
    measured: dict[date, float] = {}
    for rows in (seen, logged):
        by_day: defaultdict[date, list[float]] = defaultdict(list)
        for time, pulp in rows:
            if pulp is not None and pulp == pulp:
                by_day[datetime.fromtimestamp(time, place).date()].append(pulp)
        measured.update({day: sum(values) / len(values) for day, values in by_day.items()})
    came: defaultdict[date, list[tuple[float, float]]] = defaultdict(list)
    for line in book.lines("loads"):
        if line.entry.pulp is not None:
            day = datetime.fromtimestamp(line.time, place).date()
            came[day].append((line.entry.net, line.entry.pulp))
    return _mixed(measured, came)


def _mixed(
    measured: Mapping[date, float], came: Mapping[date, list[tuple[float, float]]]
) -> dict[date, float]:
    """Measured pulp, and on other days with loads the mix of the pile so far with them."""
    found: dict[date, float] = {}
    mass = pulp = 0.0
    for day in sorted({*measured, *came}):
        loads = came.get(day, [])
        more = sum(net for net, _ in loads)
        if mass + more > 0.0:
            pulp = (mass * pulp + sum(net * warm for net, warm in loads)) / (mass + more)
        mass += more
        pulp = measured.get(day, pulp)
        found[day] = pulp
    return found


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
