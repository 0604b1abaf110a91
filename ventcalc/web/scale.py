"""Where ticks stand, and what they say."""

from __future__ import annotations

import math
from datetime import UTC, datetime, timedelta
from typing import Any

__all__ = ["Scale", "date_ticks", "round_range", "ticks"]

DAY = 86400.0
_MINUS = str.maketrans("-", "−")


class Scale:
    """From numbers to pixels, along one axis."""

    def __init__(self, low: float, high: float, start: float, end: float) -> None:
        self.low, self.high = low, high
        self._start, self._per = start, (end - start) / ((high - low) or 1.0)

    def __call__(self, value: float) -> float:
        """Pixels; NaN stays NaN."""
        return self._start + (float(value) - self.low) * self._per


def _step(span: float, most: int) -> float:
    """The least round step that gives no more steps than wanted."""
    least = span / max(most, 1)
    power = 10.0 ** math.floor(math.log10(least))
    return next(power * n for n in (1.0, 2.0, 5.0, 10.0) if power * n >= least * (1.0 - 1e-9))


def round_range(low: float, high: float, most: int = 5) -> tuple[float, float]:
    """A range that begins and ends on ticks and holds both."""
    if not high > low:
        low, high = low - 0.5, high + 0.5
    step = _step(high - low, most)
    return math.floor(low / step + 1e-9) * step, math.ceil(high / step - 1e-9) * step


def ticks(low: float, high: float, most: int = 5) -> list[tuple[float, str]]:
    """Round numbers in a range, and their words."""
    step = _step(high - low, most)
    digits = max(0, -math.floor(math.log10(step) + 1e-9))
    first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
    return [
        (k * step, f"{k * step + 0.0:,.{digits}f}".translate(_MINUS))
        for k in range(first, last + 1)
    ]


def date_ticks(x: Any, most: int = 12) -> list[tuple[float, str, str]]:
    """Months, or days where there are few: place, words, and the year where it begins."""
    first, last = (datetime.fromtimestamp(float(t), UTC) for t in (x[0], x[-1]))
    months = (last.year - first.year) * 12 + last.month - first.month + 1
    if months < 3:
        return _days(first, last, most)
    every = -(-months // most)
    found: list[tuple[float, str, str]] = []
    told = 0
    for k in range(0, months + 1, every):
        place = first.month - 1 + k
        at = datetime(first.year + place // 12, place % 12 + 1, 1, tzinfo=UTC)
        if first <= at <= last:
            found.append((at.timestamp(), f"{at:%b}", "" if at.year == told else f"{at.year}"))
            told = at.year
    return found


def _days(first: datetime, last: datetime, most: int) -> list[tuple[float, str, str]]:
    every = max(1, math.ceil((last - first).days / most))
    found: list[tuple[float, str, str]] = []
    at = datetime(first.year, first.month, first.day, tzinfo=UTC)
    while at <= last:
        if at >= first:
            found.append((at.timestamp(), f"{at.day} {at:%b}", "" if found else f"{at:%Y}"))
        at += timedelta(days=every)
    return found
