"""The last days of a bay from the journal, as columns for tables; charts are drawn from these."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from firmware_bridge.journal import packing
from firmware_bridge.journal.journal import Event, Journal
from firmware_bridge.page.view import dew_point_of
from firmware_bridge.page.words import KIND_NAMES, Units, number, pile_names, shown, unit_of

__all__ = ["DAYS", "Series", "recent_events", "series_of"]

DAYS = {1: 600, 3: 3600, 7: 3600, 30: 21600}
"""Days that can be looked at, and the time from row to row. [s]"""
HOUR = 3600.0
_POSITIONS = ("fan_speed", "door_opening", "humidifier", "refrigeration", "heater")
_AIRS = ("plenum", "return", "outside")


@dataclass(frozen=True, kw_only=True, slots=True)
class Series:
    """One chart and its table."""

    id: str
    title: str
    unit: str
    digits: int
    labels: tuple[str, ...]
    times: tuple[float, ...]
    """Start of each row, UTC. [s]"""
    columns: tuple[tuple[float, ...], ...]
    """By label; NaN where nothing sound was read."""

    def rows(self) -> list[tuple[str, ...]]:
        """The numbers of each row as texts, newest first."""
        columns = [[number(value, self.digits) for value in reversed(col)] for col in self.columns]
        return list(zip(*columns, strict=True))


@dataclass(frozen=True, kw_only=True, slots=True)
class _Means:
    """Means of sound values, row by row; NaN where there is none, so that a gap shows."""

    times: tuple[float, ...]
    """Start of each row, UTC. [s]"""
    kinds: Mapping[str, str]
    """Kind by key, in the order of the birth."""
    heights: Mapping[str, float]
    columns: Mapping[str, tuple[float, ...]]
    """By key."""

    def keys(self, kind: str) -> list[str]:
        """Channels of a kind."""
        return [key for key, one in self.kinds.items() if one == kind]

    def mean(self, kind: str) -> tuple[float, ...]:
        """Mean of the channels of a kind."""
        columns = [self.columns[key] for key in self.keys(kind)]
        if len(columns) == 1:
            return columns[0]
        rows = ([v for v in row if not math.isnan(v)] for row in zip(*columns, strict=True))
        return tuple(map(_mean, rows))


def _mean(values: Sequence[float]) -> float:
    return math.fsum(values) / len(values) if values else math.nan


def series_of(
    journal: Journal,
    bay: str,
    now: float,
    days: int,
    units: Units,
    heights: Mapping[str, float] | None = None,
) -> tuple[Series, ...]:
    """What the journal holds of the last days."""
    means = _gather(journal, bay, now, days, heights or {})
    found = (make(means, units) for make in _CHARTS)
    return tuple(series for series in found if series.columns)


def _gather(
    journal: Journal, bay: str, now: float, days: int, heights: Mapping[str, float]
) -> _Means:
    """Hourly means where they are fine enough, and single rows where they are not yet packed."""
    step = DAYS[days]
    kinds: dict[str, str] = {}
    cells: dict[int, dict[str, list[float]]] = {}
    start = (now - days * 86400.0) // step * step
    if step >= HOUR:
        for roll in journal.rolls(bay, start, now + 1.0):
            kinds[roll.key] = roll.kind
            cells.setdefault(int(roll.hour // step), defaultdict(list))[roll.key].append(roll.mean)
            start = max(start, roll.hour + HOUR)
    known = None
    for layout, row in journal.rows(bay, start, now + 1.0):
        if layout is not known:
            kinds.update(zip(layout.keys, layout.kinds, strict=True))
            known = layout
        cell = cells.setdefault(int(row.t // step), defaultdict(list))
        values = packing.values_of(layout.kinds, row.counts)
        for key, value, fault in zip(layout.keys, values, row.faults, strict=True):
            if not fault and not math.isnan(value):
                cell[key].append(value)
    numbers = range(min(cells), max(cells) + 1) if cells else range(0)
    rows = [cells.get(n, {}) for n in numbers]
    return _Means(
        times=tuple(float(n * step) for n in numbers),
        kinds=kinds,
        heights=heights,
        columns={key: tuple(_mean(row.get(key, ())) for row in rows) for key in kinds},
    )


# --- the charts --------------------------------------------------------------------------------

Columns = list[tuple[str, tuple[float, ...]]]


def _series(
    name: str,
    title: str,
    quantity: str,
    digits: int,
    columns: Columns,
    means: _Means,
    units: Units,
) -> Series:
    used = [(label, col) for label, col in columns if not all(map(math.isnan, col))]
    return Series(
        id=name,
        title=title,
        unit=unit_of(quantity, units),
        digits=digits,
        labels=tuple(label for label, _ in used),
        times=means.times,
        columns=tuple(tuple(shown(v, quantity, units) for v in col) for _, col in used),
    )


def _pile(means: _Means, units: Units) -> Series:
    keys = means.keys("pulp_temperature")
    if all(key in means.heights for key in keys):
        keys.sort(key=lambda key: means.heights[key])
    names = pile_names(keys, means.heights, units)
    columns = [(name, means.columns[key]) for key, name in names.items()]
    for kind in ("plenum_temperature", "return_temperature"):
        columns.append((KIND_NAMES[kind], means.mean(kind)))
    return _series("pile", "Pile, plenum and return", "temperature", 2, columns, means, units)


def _dew(means: _Means, place: str) -> tuple[float, ...]:
    pairs = (means.mean(f"{place}_temperature"), means.mean(f"{place}_relative_humidity"))
    return tuple(dew_point_of(t, rh) for t, rh in zip(*pairs, strict=False))


def _outside(means: _Means, units: Units) -> Series:
    columns = [
        (KIND_NAMES["outside_temperature"], means.mean("outside_temperature")),
        ("Outside dew point", _dew(means, "outside")),
    ]
    return _series("outside", "Outside air", "temperature", 2, columns, means, units)


def _margins(means: _Means, units: Units) -> Series:
    pulps = [means.columns[key] for key in means.keys("pulp_temperature")]
    coldest = [
        min((v for v in row if not math.isnan(v)), default=math.nan)
        for row in zip(*pulps, strict=True)
    ]
    columns = [
        (
            f"In {place} air",
            tuple(pulp - dew for pulp, dew in zip(coldest, _dew(means, place), strict=False)),
        )
        for place in _AIRS
    ]
    title = "Dew-point margin of the coldest pulp: below 0 it turns wet"
    return _series("margin", title, "difference", 2, columns, means, units)


def _positions(means: _Means, units: Units) -> Series:
    columns = [(KIND_NAMES[kind], means.mean(kind)) for kind in _POSITIONS]
    title = "Actual positions, as the controller reports them"
    return _series("positions", title, "share", 0, columns, means, units)


def _humidity(means: _Means, units: Units) -> Series:
    kinds = [f"{place}_relative_humidity" for place in _AIRS]
    columns = [(KIND_NAMES[kind], means.mean(kind)) for kind in kinds]
    return _series("humidity", "Relative humidity", "share", 0, columns, means, units)


def _co2(means: _Means, units: Units) -> Series:
    columns = [(KIND_NAMES["co2"], means.mean("co2"))]
    return _series("co2", "CO2", "co2", 0, columns, means, units)


_CHARTS: tuple[Callable[[_Means, Units], Series], ...] = (
    _pile,
    _margins,
    _outside,
    _positions,
    _humidity,
    _co2,
)


def recent_events(journal: Journal, bay: str, now: float, most: int = 30) -> list[Event]:
    """What happened lately, newest first."""
    found = journal.events(now - 2 * 86400.0)
    return [event for event in reversed(found) if event.bay in ("", bay)][:most]
