"""The last days of a bay from the journal, as columns for tables; charts are drawn from these."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from firmware_bridge.journal import packing
from firmware_bridge.journal.journal import Event, Journal
from firmware_bridge.page.view import dew_point_of
from firmware_bridge.page.words import KIND_NAMES, Units, pile_names, shown, unit_of

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


@dataclass(slots=True)
class _Bins:
    """Means of sound values by row of time and channel."""

    step: int
    kinds: dict[str, str] = field(default_factory=dict)
    heights: Mapping[str, float] = field(default_factory=dict)
    sums: dict[int, dict[str, tuple[float, int]]] = field(default_factory=dict)

    def add(self, t: float, key: str, kind: str, value: float) -> None:
        """Take one sound value."""
        self.kinds[key] = kind
        row = self.sums.setdefault(int(t // self.step), {})
        total, n = row.get(key, (0.0, 0))
        row[key] = (total + value, n + 1)

    def numbers(self) -> range:
        """Every row from the first to the last, empty ones too, so that a gap shows."""
        return range(min(self.sums), max(self.sums) + 1) if self.sums else range(0)

    def column(self, key: str) -> tuple[float, ...]:
        """Means of one channel."""
        found = []
        for number in self.numbers():
            total, n = self.sums.get(number, {}).get(key, (math.nan, 1))
            found.append(total / n)
        return tuple(found)

    def keys(self, kind: str) -> list[str]:
        """Channels of a kind, in the order of the birth."""
        return [key for key, one in self.kinds.items() if one == kind]

    def mean(self, kind: str) -> tuple[float, ...]:
        """Mean of the channels of a kind."""
        columns = [self.column(key) for key in self.keys(kind)]
        return tuple(_mean(row) for row in zip(*columns, strict=True))


def _mean(values: tuple[float, ...]) -> float:
    sound = [value for value in values if not math.isnan(value)]
    return math.fsum(sound) / len(sound) if sound else math.nan


def series_of(
    journal: Journal,
    bay: str,
    now: float,
    days: int,
    units: Units,
    heights: Mapping[str, float] | None = None,
) -> tuple[Series, ...]:
    """
    What the journal holds of the last days.

    Parameters
    ----------
    journal : Journal
        Open, perhaps for reading only.
    bay : str
        Name of the bay.
    now : float
        Time of day, UTC. [s]
    days : int
        One of ``DAYS``.
    units : {"metric", "us"}
        Units of the numbers.
    heights : mapping, optional
        Of pulp probes above the floor, by key. [m]

    Returns
    -------
    tuple of Series
        Only those with something in them. Dew points are those of the mean temperature and
        humidity of each row.

    Raises
    ------
    JournalError
        If the journal cannot be read.
    """
    bins = _gather(journal, bay, now, days)
    bins.heights = heights or {}
    if not bins.sums:
        return ()
    times = tuple(float(number * bins.step) for number in bins.numbers())
    found = (make(bins, times, units) for make in _CHARTS)
    return tuple(series for series in found if series.columns)


def _gather(journal: Journal, bay: str, now: float, days: int) -> _Bins:
    """Hourly means where they are fine enough, and single rows where they are not yet packed."""
    step = DAYS[days]
    bins = _Bins(step=step)
    start = (now - days * 86400.0) // step * step
    if step >= HOUR:
        for roll in journal.rolls(bay, start, now + 1.0):
            bins.add(roll.hour, roll.key, roll.kind, roll.mean)
            start = max(start, roll.hour + HOUR)
    for layout, row in journal.rows(bay, start, now + 1.0):
        values = packing.values_of(layout.kinds, row.counts)
        for place, value in enumerate(values):
            if not row.faults[place] and not math.isnan(value):
                bins.add(row.t, layout.keys[place], layout.kinds[place], value)
    return bins


# --- the charts --------------------------------------------------------------------------------

Columns = list[tuple[str, tuple[float, ...]]]


def _series(
    name: str,
    title: str,
    quantity: str,
    digits: int,
    columns: Columns,
    times: tuple[float, ...],
    units: Units,
) -> Series:
    used = [(label, col) for label, col in columns if not all(map(math.isnan, col))]
    return Series(
        id=name,
        title=title,
        unit=unit_of(quantity, units),
        digits=digits,
        labels=tuple(label for label, _ in used),
        times=times,
        columns=tuple(tuple(shown(v, quantity, units) for v in col) for _, col in used),
    )


def _pile(bins: _Bins, times: tuple[float, ...], units: Units) -> Series:
    keys = bins.keys("pulp_temperature")
    if all(key in bins.heights for key in keys):
        keys.sort(key=lambda key: bins.heights[key])
    names = pile_names(keys, bins.heights, units)
    columns = [(name, bins.column(key)) for key, name in names.items()]
    for kind in ("plenum_temperature", "return_temperature"):
        columns.append((KIND_NAMES[kind], bins.mean(kind)))
    return _series("pile", "Pile, plenum and return", "temperature", 2, columns, times, units)


def _dew(bins: _Bins, place: str) -> tuple[float, ...]:
    pairs = (bins.mean(f"{place}_temperature"), bins.mean(f"{place}_relative_humidity"))
    return tuple(dew_point_of(t, rh) for t, rh in zip(*pairs, strict=False))


def _outside(bins: _Bins, times: tuple[float, ...], units: Units) -> Series:
    columns = [
        (KIND_NAMES["outside_temperature"], bins.mean("outside_temperature")),
        ("Outside dew point", _dew(bins, "outside")),
    ]
    return _series("outside", "Outside air", "temperature", 2, columns, times, units)


def _margins(bins: _Bins, times: tuple[float, ...], units: Units) -> Series:
    pulps = [bins.column(key) for key in bins.keys("pulp_temperature")]
    coldest = [
        min((v for v in row if not math.isnan(v)), default=math.nan)
        for row in zip(*pulps, strict=True)
    ]
    columns = [
        (
            f"In {place} air",
            tuple(pulp - dew for pulp, dew in zip(coldest, _dew(bins, place), strict=False)),
        )
        for place in _AIRS
    ]
    title = "Dew-point margin of the coldest pulp: below 0 it turns wet"
    return _series("margin", title, "difference", 2, columns, times, units)


def _positions(bins: _Bins, times: tuple[float, ...], units: Units) -> Series:
    columns = [(KIND_NAMES[kind], bins.mean(kind)) for kind in _POSITIONS]
    title = "Actual positions, as the controller reports them"
    return _series("positions", title, "share", 0, columns, times, units)


def _humidity(bins: _Bins, times: tuple[float, ...], units: Units) -> Series:
    kinds = [f"{place}_relative_humidity" for place in _AIRS]
    columns = [(KIND_NAMES[kind], bins.mean(kind)) for kind in kinds]
    return _series("humidity", "Relative humidity", "share", 0, columns, times, units)


def _co2(bins: _Bins, times: tuple[float, ...], units: Units) -> Series:
    columns = [(KIND_NAMES["co2"], bins.mean("co2"))]
    return _series("co2", "CO2", "co2", 0, columns, times, units)


_CHARTS: tuple[Callable[[_Bins, tuple[float, ...], Units], Series], ...] = (
    _pile,
    _margins,
    _outside,
    _positions,
    _humidity,
    _co2,
)


def recent_events(journal: Journal, bay: str, now: float, most: int = 30) -> list[Event]:
    """
    What happened lately, newest first.

    Parameters
    ----------
    journal : Journal
        Open.
    bay : str
        Name of the bay; what concerns the whole bridge is told too.
    now : float
        Time of day, UTC. [s]
    most : int
        At most so many.

    Returns
    -------
    list of Event

    Raises
    ------
    JournalError
        If the journal cannot be read.
    """
    found = journal.events(now - 2 * 86400.0)
    return [event for event in reversed(found) if event.bay in ("", bay)][:most]
