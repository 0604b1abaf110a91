"""Lines and bands over dates or numbers: a picture without script, a live plot with it."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ventcalc.web import svg
from ventcalc.web.scale import Scale, date_ticks, round_range, ticks
from ventcalc.web.svg import Picture, Shape

__all__ = ["DASHES", "Level", "Line", "Mark", "chart"]

Numbers = Sequence[float] | NDArray[np.float64]
DASHES: tuple[tuple[int, ...], ...] = ((), (7, 4), (2, 3), (10, 3, 2, 3), (4, 4), (12, 4), (1, 3))
"""One for each line of a chart: told apart without colour too."""
_MOST_POINTS = 480
"""Of a line in the picture: more cannot be seen; the live plot has them all."""


@dataclass(frozen=True, kw_only=True)
class Line:
    """A line, or with ``base`` the band down to it."""

    label: str
    y: Numbers
    color: str = "--c0"
    """A colour token of ``page.css``."""
    dash: Sequence[int] = ()
    width: float = 2.0
    """0 for a band without an edge. [px]"""
    base: Numbers | None = None
    hatch: str = ""
    x: Numbers | None = None
    """Places of its own, in a chart that is not live."""
    marks: bool = False
    """A dot on every point."""


@dataclass(frozen=True, kw_only=True)
class Level:
    """A named value across the chart."""

    y: float
    """In the unit of the axis; [any]."""
    label: str
    color: str = "--ink"
    dash: Sequence[int] = (4, 4)


@dataclass(frozen=True, kw_only=True)
class Mark:
    """A point with words beside it; only words where ``dot`` is false."""

    x: float
    """In the unit of its axis; [any]."""
    y: float
    """In the unit of its axis; [any]."""
    label: str
    color: str = "--ink"
    dot: bool = True
    anchor: str = "start"
    below: bool = False


def chart(
    name: str,
    title: str,
    x: Numbers,
    lines: Sequence[Line],
    *,
    unit: str = "",
    y_label: str = "",
    x_label: str = "",
    time: bool = False,
    daily: bool = False,
    years: bool = True,
    digits: int = 1,
    y_range: tuple[float, float] | None = None,
    spans: Sequence[tuple[float, float, str]] = (),
    levels: Sequence[Level] = (),
    marks: Sequence[Mark] = (),
    size: tuple[float, float] = (960.0, 340.0),
    legend: bool = True,
    live: bool = True,
    sync: str = "",
) -> Picture:
    """A chart."""
    low, high = y_range or _range(lines, levels)
    (width, height) = size
    keys, above = _keys(name, lines, width) if legend else ([], 0.0)
    top = above + (28.0 if y_label else 10.0)
    bottom = height - (42.0 if time or x_label else 24.0)
    across = Scale(float(x[0]), float(x[-1]), 52.0, width - 12.0)
    up = Scale(low, high, bottom, top)
    small = width < 500.0
    shades, names = _spans(spans, across, top, bottom)
    shapes = [
        *svg.hatches(name, (line.hatch for line in lines)),
        *keys,
        *shades,
        *_y_axis(up, across, 4 if small else 7),
        *_x_axis(x, across, bottom, time=time, years=years, most=5 if small else 12),
        *([svg.words(0, top - 14, y_label, class_="quiet")] if y_label else []),
    ]
    if x_label and not time:
        end = {"text_anchor": "end", "class_": "quiet"}
        shapes.append(svg.words(width - 12, height - 4, x_label, **end))
    for line in lines:
        shapes += _line(name, line, x, across, up)
    shapes += names
    shapes += [shape for level in levels for shape in _level(level, across, up)]
    shapes += [shape for mark in marks for shape in _mark(mark, across, up)]
    told = {
        "time": time, "daily": daily, "years": years, "unit": unit, "digits": digits,
        "yLabel": y_label, "xLabel": x_label or ("Day" if daily else "Time" if time else ""),
        "range": [low, high], "spans": [list(span) for span in spans], "sync": sync,
    }  # fmt: skip
    spec = {**told, **_series(x, lines, digits), **_named(levels, marks)} if live else None
    return Picture(name, title, width, height, shapes, spec)


def _range(lines: Sequence[Line], levels: Sequence[Level]) -> tuple[float, float]:
    found = [
        float(v) for line in lines for part in (line.y, line.base) if part is not None for v in part
    ]
    known = [v for v in (*found, *(one.y for one in levels)) if math.isfinite(v)] or [0.0, 1.0]
    return round_range(min(known), max(known))


# --- the picture ---------------------------------------------------------------------------


def _keys(name: str, lines: Sequence[Line], width: float) -> tuple[list[Shape], float]:
    return svg.key([(_sample(name, line), line.label) for line in lines if line.label], width)


def _sample(name: str, line: Line) -> list[Shape]:
    if line.base is None:
        middle = [(0.0, 8.0), (26.0, 8.0)]
        dot = [_dot(13.0, 8.0, line.color)] if line.marks else []
        return [_stroke(middle, line), *dot]
    corners = [(0.0, 1.0), (26.0, 1.0), (26.0, 14.0), (0.0, 14.0)]
    return [svg.path(corners, closed=True, **look) for look in _fills(name, line)]


def _fills(name: str, line: Line) -> list[dict[str, Any]]:
    looks: list[dict[str, Any]] = [{"fill": f"var({line.color})", "fill_opacity": "0.2"}]
    if line.hatch:
        looks.append({"fill": f"url(#{name}-{line.hatch})"})
    return looks


def _stroke(points: Sequence[tuple[float, float]], line: Line) -> Shape:
    dash = " ".join(str(d) for d in line.dash) or None
    return svg.path(
        points, stroke=f"var({line.color})", stroke_width=line.width, stroke_dasharray=dash
    )


def _dot(x: float, y: float, color: str) -> Shape:
    return Shape(
        "circle", {"cx": svg.number(x), "cy": svg.number(y), "r": 4, "fill": f"var({color})"}
    )


def _line(name: str, line: Line, x: Numbers, across: Scale, up: Scale) -> list[Shape]:
    places = line.x if line.x is not None else x
    upper = _points(places, line.y, across, up)
    if line.base is None:
        seen = upper if line.marks else []
        dots = [_dot(*at, line.color) for at in seen if at[1] == at[1]]
        return [*([_stroke(upper, line)] if line.width else []), *dots]
    lower = _points(places, line.base, across, up)
    edge = [_stroke(upper, line)] if line.width else []
    return [*(svg.area(upper, lower, **look) for look in _fills(name, line)), *edge]


def _points(x: Numbers, y: Numbers, across: Scale, up: Scale) -> list[tuple[float, float]]:
    """Means over neighbours where there are more points than can be seen."""
    size = -(-len(y) // _MOST_POINTS)
    if size == 1:
        return [(across(a), _inside(up, b)) for a, b in zip(x, y, strict=True)]
    found = []
    for k in range(0, len(y) - size + 1, size):
        part = y[k : k + size]
        found.append((across(x[k]), _inside(up, sum(float(v) for v in part) / size)))
    return found


def _inside(up: Scale, value: float) -> float:
    """Pixels of a value; what lies beyond the axis is drawn on its edge."""
    return up(min(max(up.low, value), up.high)) if value == value else math.nan


def _spans(
    spans: Sequence[tuple[float, float, str]], across: Scale, top: float, bottom: float
) -> tuple[list[Shape], list[Shape]]:
    """Shades that go behind everything, of two tones in turn where named, and their names."""
    shades, names = [], []
    for k, (begin, end, label) in enumerate(spans):
        left, right = across(begin), across(end)
        tone = "--span-b" if k % 2 or not label else "--span-a"
        shades.append(svg.box(left, top, right - left, bottom - top, fill=f"var({tone})"))
        if svg.text_width(label) + 8.0 < right - left:
            names.append(svg.words(left + 5.0, top + 16.0, label, class_="quiet"))
    return shades, names


def _y_axis(up: Scale, across: Scale, most: int) -> list[Shape]:
    shapes = []
    for value, label in ticks(up.low, up.high, most):
        y = up(value)
        shapes.append(svg.segment(across(across.low), y, across(across.high), y,
                                  stroke="var(--grid)"))  # fmt: skip
        shapes.append(svg.words(across(across.low) - 8.0, y + 4.0, label, text_anchor="end",
                                class_="quiet"))  # fmt: skip
    return shapes


def _x_axis(
    x: Numbers, across: Scale, bottom: float, *, time: bool, years: bool, most: int
) -> list[Shape]:
    plain = ((at, label, "") for at, label in ticks(across.low, across.high, most))
    found = date_ticks(x, most) if time else list(plain)
    shapes = [svg.segment(across(across.low), bottom, across(across.high), bottom,
                          stroke="var(--line)")]  # fmt: skip
    for at, label, year in found:
        place = across(at)
        shapes.append(svg.segment(place, bottom, place, bottom + 4.0, stroke="var(--line)"))
        middle = {"text_anchor": "middle", "class_": "quiet"}
        shapes.append(svg.words(place, bottom + 18.0, label, **middle))
        if year and years:
            shapes.append(svg.words(place, bottom + 34.0, year, **middle))
    return shapes


def _level(level: Level, across: Scale, up: Scale) -> list[Shape]:
    y, left = up(level.y), across(across.low)
    dash = " ".join(str(d) for d in level.dash) or None
    line = svg.segment(left, y, across(across.high), y, stroke=f"var({level.color})",
                       stroke_dasharray=dash)  # fmt: skip
    right = across(across.high) - 5.0
    end = {"text_anchor": "end", "class_": "quiet rim"}
    return [line, svg.words(right, y - 5.0, level.label, **end)]


def _mark(mark: Mark, across: Scale, up: Scale) -> list[Shape]:
    x, y = across(mark.x), up(mark.y)
    away = {"start": 8.0, "end": -8.0, "middle": 0.0}[mark.anchor]
    label = svg.words(x + away, y + (20.0 if mark.below else -9.0), mark.label,
                      text_anchor=mark.anchor, class_="rim")  # fmt: skip
    return [*([_dot(x, y, mark.color)] if mark.dot else []), label]


# --- the live plot -------------------------------------------------------------------------


def _places(x: Numbers) -> Any:
    """Even steps as three numbers."""
    step = float(x[1]) - float(x[0]) if len(x) > 1 else 0.0
    if all(abs(float(b) - float(a) - step) < 1e-6 for a, b in pairwise(x)):
        return {"first": float(x[0]), "step": step, "count": len(x)}
    return [round(float(v), 6) for v in x]


def _told(y: Numbers, digits: int) -> list[float | None]:
    return [round(float(v), digits + 1) if math.isfinite(v) else None for v in y]


def _series(x: Numbers, lines: Sequence[Line], digits: int) -> Mapping[str, Any]:
    series: list[dict[str, Any]] = []
    bands: list[dict[str, Any]] = []
    for line in lines:
        series.append(
            {
                "label": line.label,
                "y": _told(line.y, digits),
                "color": line.color,
                "dash": list(line.dash),
                "width": line.width,
                "points": line.marks,
                "quiet": not line.label,
            }
        )
        if line.base is not None:
            bands.append({"high": len(series) - 1, "low": len(series), "color": line.color})
            base = {"label": "", "y": _told(line.base, digits), "width": 0, "quiet": True}
            series.append(base)
    return {"x": _places(x), "series": series, "bands": bands}


def _named(levels: Sequence[Level], marks: Sequence[Mark]) -> Mapping[str, Any]:
    return {
        "levels": [
            {"y": one.y, "label": one.label, "color": one.color, "dash": list(one.dash)}
            for one in levels
        ],
        "marks": [
            {"x": one.x, "y": one.y, "label": one.label, "color": one.color} for one in marks
        ],
    }
