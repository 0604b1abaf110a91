"""Lying bars, each the sum of its parts: easy to read, wide or narrow."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

from ventcalc.web import svg
from ventcalc.web.scale import Scale, round_range, ticks
from ventcalc.web.svg import Picture, Shape

__all__ = ["bars"]

_WIDTH = 960.0
_LOOKS = (
    ("--c0", ""),
    ("--c4", "rise"),
    ("--c7", "dots"),
    ("--c1", "cross"),
    ("--c2", "fall"),
    ("--c5", "grid"),
    ("--c3", "level"),
    ("--c6", "rings"),
    ("--quiet", "upright"),
)
"""Colour and hatch of each part: told apart without colour too."""


def bars(
    name: str,
    title: str,
    rows: Sequence[str],
    parts: Mapping[str, Sequence[float]],
    *,
    label: Callable[[float], str] | None = None,
    x_label: str = "",
    level: tuple[float, str] | None = None,
) -> Picture:
    """A bar for each row."""
    keys: list[Shape] = []
    above = 0.0
    looks = dict(zip(parts, _LOOKS, strict=False))
    if len(parts) > 1:
        entries = [(_bar(name, looks[part], 0.0, 26.0, 1.0, 13.0), part) for part in parts]
        keys, above = svg.key(entries, _WIDTH)
    up = [sum(max(values[k], 0.0) for values in parts.values()) for k in range(len(rows))]
    down = [sum(min(values[k], 0.0) for values in parts.values()) for k in range(len(rows))]
    most = max([*up, level[0] if level else 0.0])
    low, high = round_range(min(0.0, *down), most or 1.0)
    left = 14.0 + max(svg.text_width(row, 12.0) for row in rows)
    across = Scale(low, high, left, _WIDTH - (110.0 if label else 16.0))
    top, tall = above + (26.0 if level else 10.0), 34.0
    bottom = top + tall * len(rows)
    shapes = [*svg.hatches(name, (look[1] for look in looks.values())), *keys]
    for value, words in ticks(low, high, 6):
        x = across(value)
        shapes.append(svg.segment(x, top, x, bottom, stroke="var(--grid)"))
        shapes.append(svg.words(x, bottom + 18, words, text_anchor="middle", class_="quiet"))
    shapes.append(svg.words(_WIDTH, bottom + 36, x_label, text_anchor="end", class_="quiet"))
    for k, row in enumerate(rows):
        y = top + tall * k
        shapes.append(svg.words(left - 10, y + 22, row, text_anchor="end"))
        right, start = 0.0, 0.0
        for part, values in parts.items():
            begin = right if values[k] >= 0.0 else start
            end = begin + values[k]
            shapes += _bar(name, looks[part], across(begin), across(end), y + 6, tall - 12)
            right, start = (end, start) if values[k] >= 0.0 else (right, end)
        if label:
            at = across(max(right, 0.0)) + 8
            shapes.append(svg.words(at, y + 22, label(right + start), class_="strong"))
    shapes.append(svg.segment(across(0.0), top, across(0.0), bottom, stroke="var(--quiet)"))
    if level:
        x = across(level[0])
        shapes.append(svg.segment(x, top - 6, x, bottom, stroke="var(--accent)",
                                  stroke_width=2.0, stroke_dasharray="5 3"))  # fmt: skip
        anchor = "end" if x > 0.6 * _WIDTH else "start"
        shapes.append(svg.words(x, top - 10, level[1], text_anchor=anchor))
    return Picture(name, title, _WIDTH, bottom + 42.0, shapes)


def _bar(
    name: str, look: tuple[str, str], begin: float, end: float, y: float, height: float
) -> list[Shape]:
    color, hatch = look
    fill = {"fill": f"var({color})", "fill_opacity": "0.55"}
    drawn = [svg.box(begin, y, end - begin, height, stroke=f"var({color})", **fill)]
    if hatch:
        drawn.append(svg.box(begin, y, end - begin, height, fill=f"url(#{name}-{hatch})"))
    return drawn
