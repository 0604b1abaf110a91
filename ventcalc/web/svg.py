"""Shapes of a picture, with places in pixels; the template writes and escapes them."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from typing import Any, NamedTuple

__all__ = [
    "Picture",
    "Shape",
    "area",
    "box",
    "hatches",
    "key",
    "number",
    "path",
    "segment",
    "text_width",
    "words",
]


class Shape(NamedTuple):
    """One element of SVG."""

    tag: str
    look: Mapping[str, Any]
    text: str = ""
    inside: Sequence[Shape] = ()


class Picture(NamedTuple):
    """A static SVG, and the numbers for the script to make a live plot of it."""

    name: str
    """Begins every id in it, so that several may stand in one page."""
    title: str
    width: float
    height: float
    shapes: Sequence[Shape]
    spec: Mapping[str, Any] | None = None

    @property
    def frame(self) -> str:
        """View box."""
        return f"0 0 {number(self.width)} {number(self.height)}"


def number(value: float) -> str:
    """To a tenth of a pixel, no longer than need be."""
    return f"{value:.1f}".removesuffix(".0")


def _look(look: Mapping[str, Any]) -> dict[str, Any]:
    named = {name.rstrip("_").replace("_", "-"): value for name, value in look.items()}
    return {k: number(v) if isinstance(v, float) else v for k, v in named.items() if v is not None}


def words(x: float, y: float, text: str, **look: Any) -> Shape:
    """A line of text."""
    return Shape("text", _look({"x": float(x), "y": float(y), **look}), text)


def segment(x1: float, y1: float, x2: float, y2: float, **look: Any) -> Shape:
    """A straight line."""
    ends = {"x1": float(x1), "y1": float(y1), "x2": float(x2), "y2": float(y2)}
    return Shape("line", _look({**ends, "stroke": "var(--ink)", **look}))


def box(x: float, y: float, width: float, height: float, **look: Any) -> Shape:
    """A rectangle; its sides may be given in either direction."""
    sides = {
        "x": float(min(x, x + width)),
        "y": float(min(y, y + height)),
        "width": float(abs(width)),
        "height": float(abs(height)),
    }
    return Shape("rect", _look({**sides, **look}))


def path(points: Iterable[tuple[float, float]], *, closed: bool = False, **look: Any) -> Shape:
    """A line through points; it breaks where one is unknown."""
    told, pen = [], "M"
    for x, y in points:
        if math.isnan(x) or math.isnan(y):
            pen = "M"
            continue
        told.append(f"{pen}{number(x)} {number(y)}")
        pen = "L"
    d = "".join(told) + ("Z" if closed else "")
    return Shape("path", _look({"d": d, "fill": "none", "stroke-linejoin": "round", **look}))


def area(
    upper: Sequence[tuple[float, float]], lower: Sequence[tuple[float, float]], **look: Any
) -> Shape:
    """The band between two lines; what is unknown is left out."""
    known = [(a, b) for a, b in zip(upper, lower, strict=True) if a[1] == a[1] and b[1] == b[1]]
    return path([*(a for a, _ in known), *(b for _, b in reversed(known))], closed=True, **look)


def text_width(text: str, size: float = 13.0) -> float:
    """Room that words take, estimated on the wide side. [px]"""
    return 0.6 * size * len(text)


# --- telling apart without colour ----------------------------------------------------------

_HATCHES = {
    "rise": "M-1 9L9 -1M-1 1L1 -1M7 9L9 7",
    "fall": "M-1 -1L9 9M7 -1L9 1M-1 7L1 9",
    "dots": "M2 2h.01M6 6h.01",
    "cross": "M-1 9L9 -1M-1 -1L9 9",
    "upright": "M4 0V8",
    "level": "M0 4H8",
    "grid": "M4 0V8M0 4H8",
    "rings": "M2 4a2 2 0 1 0 4 0a2 2 0 1 0 -4 0",
}


def hatches(name: str, used: Iterable[str]) -> list[Shape]:
    """The definitions of the hatches that a picture uses; ``url(#name-rise)`` fills with one."""
    patterns = [
        Shape(
            "pattern",
            {"id": f"{name}-{which}", "width": 8, "height": 8, "patternUnits": "userSpaceOnUse"},
            inside=(
                Shape(
                    "path",
                    {
                        "d": _HATCHES[which],
                        "fill": "none",
                        "stroke": "var(--hatch)",
                        "stroke-linecap": "round",
                        "stroke-width": 1.8 if which == "dots" else 1,
                    },
                ),
            ),
        )
        for which in dict.fromkeys(used)
        if which
    ]
    return [Shape("defs", {}, inside=patterns)] if patterns else []


def key(entries: Iterable[tuple[Sequence[Shape], str]], width: float) -> tuple[list[Shape], float]:
    """A legend across the top. [px]"""
    shapes, x, y = [], 0.0, 0.0
    for sample, label in entries:
        wide = 32.0 + text_width(label) + 18.0
        if x > 0.0 and x + wide > width:
            x, y = 0.0, y + 20.0
        shapes.append(
            Shape(
                "g",
                {"class": "key", "transform": f"translate({number(x)} {number(y)})"},
                inside=(*sample, words(32, 12, label)),
            )
        )
        x += wide
    return ([Shape("g", {"class": "keys"}, inside=shapes)], y + 20.0) if shapes else ([], 0.0)
