"""The pile through a season as a drawing of the page."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import date
from typing import Any

import numpy as np

from ventcalc.page.sketch import Box, Line, Round, Sketch, Words
from ventcalc.report.season_days import Days
from ventcalc.units import UnitSystem, convert, shown_unit

__all__ = ["pile_chart", "pile_months"]

_WIDE, _HIGH = 720.0, 250.0
_LEFT, _RIGHT, _TOP, _BOTTOM = 34.0, 72.0, 28.0, 26.0
_LINES = (
    ("target", "target", "target"),
    ("pulp_bottom", "bottom", "c0"),
    ("pulp_middle", "middle", "c2"),
    ("pulp_top", "top", "c4"),
)
"""Traces, their words and looks; each look has dashes of its own."""
_STEPS = (1.0, 2.0, 5.0, 10.0, 20.0)


def pile_chart(days: Days, units: UnitSystem) -> Sketch:
    """Daily means of the pile's temperatures and their target."""
    lines = {name: convert(days.daily(name, np.mean), "degC", units)[0] for name, _, _ in _LINES}
    known = np.concatenate(list(lines.values()))
    step = next((s for s in _STEPS if (np.nanmax(known) - np.nanmin(known)) / s <= 7.0), _STEPS[-1])
    low = math.floor(float(np.nanmin(known)) / step) * step
    high = math.ceil(float(np.nanmax(known)) / step) * step + 1e-9

    def at(day: float, value: float) -> tuple[float, float]:
        x = _LEFT + (_WIDE - _LEFT - _RIGHT) * day / max(len(days.dates) - 1, 1)
        return x, _HIGH - _BOTTOM - (_HIGH - _TOP - _BOTTOM) * (value - low) / (high - low)

    shapes: list[Box | Line | Round | Words] = [
        Words(2, 13, f"Pulp, {shown_unit('degC', units)}", "start", "small")
    ]
    for value in np.arange(low, high, step):
        x, y = at(0, float(value))
        shapes.append(_line("grid", [(x, y), (_WIDE - _RIGHT, y)]))
        shapes.append(Words(_LEFT - 6, y + 4, f"{value:g}".replace("-", "−"), "end", "small"))
    for place, name in _months(days.dates):
        x, y = at(place, low)
        shapes.append(_line("grid", [(x, y), (x, _TOP)]))
        shapes.append(Words(x + 3, y + 16, name, "start", "small"))
    for name, _, look in _LINES:
        shapes += _curve(look, lines[name], at)
    shapes += _names(lines, at)
    title = (
        "Pile temperature by day: target, bottom, middle and top; the table by month holds the "
        "numbers"
    )
    named = tuple((type(shape).__name__.lower(), shape) for shape in shapes)
    return Sketch(_WIDE, _HIGH, title, named)


def _line(look: str, points: Sequence[tuple[float, float]]) -> Line:
    return Line(" ".join(f"{x:.1f},{y:.1f}" for x, y in points), look)


def _months(dates: Sequence[date]) -> list[tuple[int, str]]:
    return [(k, f"{day:%b}") for k, day in enumerate(dates) if day.day == 1]


def _curve(look: str, values: Any, at: Any) -> list[Line]:
    """A line for each stretch without a gap."""
    lines: list[Line] = []
    points: list[tuple[float, float]] = []
    for day, value in enumerate([*values, math.nan]):
        if math.isnan(value):
            if len(points) > 1:
                lines.append(_line(look, points))
            points = []
        else:
            points.append(at(day, float(value)))
    return lines


def _names(lines: dict[str, Any], at: Any) -> list[Words | Line]:
    """Names at the right end, moved apart so that they can be read."""
    ends = []
    for name, words, look in _LINES:
        last = int(np.flatnonzero(~np.isnan(lines[name]))[-1])
        ends.append((at(last, float(lines[name][last]))[1], words, look))
    shapes: list[Words | Line] = []
    below = -math.inf
    for y, words, look in sorted(ends):
        below = max(y, below + 14.0)
        shapes.append(_line(look, [(_WIDE - _RIGHT + 3, below), (_WIDE - _RIGHT + 19, below)]))
        shapes.append(Words(_WIDE - _RIGHT + 22, below + 4, words, "start", "small"))
    return shapes


def pile_months(days: Days, units: UnitSystem) -> list[list[str]]:
    """Means of the pile by month, shrink so far and electricity of the month."""
    unit = shown_unit("degC", units)
    columns: dict[str, list[str]] = {}
    for name, words, _ in _LINES:
        values = convert(days.monthly(name, np.mean), "degC", units)[0]
        columns[f"{words}, {unit}"] = _column(values, 1)
    lost = sum(
        100.0 * days.monthly(name, lambda some: float(some[-1]))
        for name in ("water_loss", "dry_matter_loss")
    )
    columns["shrink so far, %"] = _column(lost, 2)
    powers = ("fan_power", "coil_power", "heater_power", "humidifier_power")
    energy = sum(np.nan_to_num(days.monthly_total(name)) / 1000.0 for name in powers)
    columns["electricity, kWh"] = _column(energy, 0)
    rows = zip(days.months, *columns.values(), strict=True)
    return [["Month", *columns], *(list(row) for row in rows)]


def _column(values: Any, digits: int) -> list[str]:
    return ["–" if x != x else f"{x:,.{digits}f}" for x in values]
