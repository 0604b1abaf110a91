"""A bay drawn to scale with its dimensions: plan, and section across the plenum."""

from __future__ import annotations

import math
from typing import Any

from ventcalc.bay.description import Bay, Ducts
from ventcalc.units import UnitSystem, show
from ventcalc.web import svg
from ventcalc.web.svg import Picture, Shape

__all__ = ["bay_picture"]

WIDTH = 960.0
LEFT, RIGHT = 96.0, 96.0
"""Room beside a drawing for its dimensions. [px]"""
FAN_HOUSE = 3.0
"""Drawn length of the fan house where none is told. [m]"""
_PILE: dict[str, Any] = {"fill": "var(--c4)", "fill_opacity": "0.14", "stroke": "var(--quiet)"}
_AIR: dict[str, Any] = {"fill": "var(--c0)", "fill_opacity": "0.14", "stroke": "var(--c0)"}
_WALL: dict[str, Any] = {"fill": "none", "stroke": "var(--ink)", "stroke_width": 3.0}


def bay_picture(
    bay: Bay,
    height: float | None = None,
    units: UnitSystem = "metric",
    *,
    highest: float = 0.0,
    name: str = "bay",
) -> Picture:
    """Draw a bay to scale."""
    height = bay.pile.height if height is None else height
    plan, bottom = _plan(bay, units)
    section, end = _section(bay, height, highest, units, bottom + 66.0)
    shapes = [*svg.hatches(name, ("rings",)), *plan, *section]
    shapes = [_named(one, name) for one in shapes]
    return Picture(name, "Plan and section of the bay, to scale", WIDTH, end, shapes)


def _named(shape: Shape, name: str) -> Shape:
    """The hatch of this picture."""
    if shape.look.get("fill") != "url(#rings)":
        return shape
    return shape._replace(look={**shape.look, "fill": f"url(#{name}-rings)"})


def _sides(bay: Bay) -> tuple[float, float]:
    """Floor along the plenum and across it. [m]"""
    pile, ducts = bay.pile, bay.ducts
    if ducts is not None and ducts.plenum_along == "width":
        return pile.width, pile.length
    return pile.length, pile.width


def _wall(bay: Bay) -> float:
    """Height of the wall, or what the headspace makes of it. [m]"""
    shell, pile = bay.envelope, bay.pile
    return shell.wall_height or pile.height + shell.headspace_volume / shell.ceiling_area


# --- dimension lines -----------------------------------------------------------------------


def _tick(x: float, y: float) -> Shape:
    return svg.segment(x - 4.0, y + 4.0, x + 4.0, y - 4.0)


def _across(x1: float, x2: float, y: float, text: str) -> list[Shape]:
    """A dimension from left to right, its words above the line."""
    line = svg.segment(x1, y, x2, y, stroke="var(--quiet)")
    words = svg.words((x1 + x2) / 2, y - 5.0, text, text_anchor="middle", class_="rim")
    return [line, _tick(x1, y), _tick(x2, y), words]


def _up(x: float, y1: float, y2: float, text: str, anchor: str = "end") -> list[Shape]:
    """A dimension from bottom to top, its words beside the line."""
    line = svg.segment(x, y1, x, y2, stroke="var(--quiet)")
    away = -8.0 if anchor == "end" else 8.0
    words = svg.words(x + away, (y1 + y2) / 2 + 4.0, text, text_anchor=anchor, class_="rim")
    return [line, _tick(x, y1), _tick(x, y2), words]


def _label(x: float, y: float, text: str) -> Shape:
    return svg.words(x, y, text, text_anchor="middle", class_="rim")


# --- plan ----------------------------------------------------------------------------------


def _plan(bay: Bay, units: UnitSystem) -> tuple[list[Shape], float]:
    """From above: pile, plenum, laterals, fans and doors; and where it ends. [px]"""
    ducts = bay.ducts
    along, across = _sides(bay)
    lane = ducts.plenum_width if ducts else 0.0
    house = max(FAN_HOUSE, lane) if ducts else 0.0
    scale = min((WIDTH - LEFT - RIGHT) / (along + house), 330.0 / (across + lane))
    left, top = LEFT + house * scale, 74.0
    right, middle, bottom = left + along * scale, top + across * scale, 0.0
    bottom = middle + lane * scale
    shapes = [
        svg.words(0, 18, "Plan", class_="strong"),
        svg.box(left, top, along * scale, across * scale, **_PILE),
    ]
    if ducts is None:
        shapes.append(_label((left + right) / 2, (top + middle) / 2,
                             "The bay file has no [ducts] to draw"))  # fmt: skip
    else:
        shapes += _laterals(ducts, along, left, middle, scale, units)
        shapes += _plenum(bay, ducts, (LEFT, left, right), (middle, bottom), units)
    shapes += _across(left, right, top - 14.0, show(along, "m", units))
    shapes += _up(right + 16.0, middle, top, show(across, "m", units), "start")
    return shapes, bottom + 10.0


def _laterals(
    ducts: Ducts, along: float, left: float, foot: float, scale: float, units: UnitSystem
) -> list[Shape]:
    spacing, size = along / ducts.laterals, ducts.lateral_diameter
    length = ducts.lateral_length * scale
    shapes = [
        svg.box(
            left + ((k + 0.5) * spacing - size / 2) * scale, foot, size * scale, -length, **_AIR
        )
        for k in range(ducts.laterals)
    ]
    first = left + 0.5 * spacing * scale
    shapes += _up(left - 16.0, foot, foot - length, show(ducts.lateral_length, "m", units))
    if ducts.laterals > 1:
        middle = foot - length / 2
        shapes += _across(first, first + spacing * scale, middle, "")[:3]
        words = f"{ducts.laterals} laterals, {show(spacing, 'm', units)} apart"
        shapes.append(svg.words(first + spacing * scale + 10.0, middle + 4.0, words, class_="rim"))
    return shapes


def _plenum(
    bay: Bay,
    ducts: Ducts,
    places: tuple[float, float, float],
    sides: tuple[float, float],
    units: UnitSystem,
) -> list[Shape]:
    """The plenum, and at its head the fan house with fans and fresh-air door."""
    start, left, right = places
    top, bottom = sides
    shapes = [
        svg.box(left, top, right - left, bottom - top, **_AIR),
        svg.box(start, top, left - start, bottom - top, fill="var(--soft)", stroke="var(--quiet)"),
        _label((left + right) / 2, (top + bottom) / 2 + 4.0, "plenum"),
        *_up(right + 16.0, bottom, top, show(ducts.plenum_width, "m", units), "start"),
    ]
    count = bay.fans.count
    radius = min((bottom - top) / 2.6, (left - start) / 4.0, 13.0)
    shapes.append(_fan(left - radius - 5.0, (top + bottom) / 2, radius))
    shapes.append(svg.segment(start, top + 3.0, start, bottom - 3.0, stroke="var(--accent)",
                              stroke_width=6.0))  # fmt: skip
    words = f"{count} fan{'s' if count > 1 else ''}; fresh-air door"
    shapes.append(svg.words(start - 4.0, bottom + 20.0, words))
    return shapes


def _fan(x: float, y: float, radius: float) -> Shape:
    """The usual sign of a fan: a circle and its blades."""
    blade = 0.7 * radius
    blades = [(x - blade, y - blade), (x + blade, y + blade), (math.nan, math.nan),
              (x - blade, y + blade), (x + blade, y - blade)]  # fmt: skip
    ring = Shape(
        "circle",
        {
            "cx": svg.number(x),
            "cy": svg.number(y),
            "r": svg.number(radius),
            "fill": "var(--card)",
            "stroke": "var(--ink)",
        },
    )
    return Shape("g", {}, inside=(ring, svg.path(blades, stroke="var(--ink)")))


# --- section -------------------------------------------------------------------------------


def _section(
    bay: Bay, height: float, highest: float, units: UnitSystem, top: float
) -> tuple[list[Shape], float]:
    """Across the plenum: pile, headspace, walls, plenum and lateral; and where it ends. [px]"""
    ducts = bay.ducts
    _, across = _sides(bay)
    lane, tall = (ducts.plenum_width if ducts else 0.0), _wall(bay)
    highest_drawn = max(tall, height, highest)
    scale = min((WIDTH - LEFT - RIGHT - 110.0) / (across + lane), 200.0 / highest_drawn)
    left = LEFT + lane * scale
    right = left + across * scale
    floor = top + 26.0 + highest_drawn * scale
    pile = (left, floor, across * scale, -height * scale)
    shapes = [
        svg.words(0, top, "Section across the plenum", class_="strong"),
        svg.box(*pile, class_="pile", **_PILE),
        svg.box(*pile, fill="url(#rings)", opacity="0.5"),
    ]
    if ducts is not None:
        shapes += _ducts_cut(ducts, left, floor, scale, units)
    walls = [(left, floor), (left, floor - tall * scale), (right, floor - tall * scale)]
    shapes.append(svg.path([*walls, (right, floor)], **_WALL))
    shapes.append(svg.segment(LEFT - 12.0, floor, right + 12.0, floor, stroke_width=3.0))
    if highest > 0.0:
        y = floor - highest * scale
        shapes.append(svg.segment(left, y, right, y, stroke="var(--accent)", stroke_width=2.0,
                                  stroke_dasharray="6 4"))  # fmt: skip
        below = 17.0 if highest > height + 0.6 else -6.0
        words = f"highest that passes, {show(highest, 'm', units)}"
        shapes.append(svg.words(right - 8.0, y + below, words, text_anchor="end", class_="rim"))
    shapes.append(_label((left + right) / 2, floor - 0.5 * height * scale + 4.0,
                         f"pile, {show(height, 'm', units)} deep"))  # fmt: skip
    shapes += _up(right + 20.0, floor, floor - height * scale, show(height, "m", units), "start")
    wall = f"wall {show(tall, 'm', units)}"
    shapes += _up(right + 96.0, floor, floor - tall * scale, wall, "start")
    shapes += _across(left, right, floor + 26.0, show(across, "m", units))
    return shapes, floor + 44.0


def _ducts_cut(
    ducts: Ducts, left: float, floor: float, scale: float, units: UnitSystem
) -> list[Shape]:
    lane, roof = ducts.plenum_width * scale, ducts.plenum_height * scale
    size = ducts.lateral_diameter * (1.0 if ducts.lateral_shape == "round" else 0.5)
    shape = ducts.lateral_shape.replace("_", " ")
    words = f"lateral, {shape}, {show(ducts.lateral_diameter, 'm small', units)}"
    length = ducts.lateral_length * scale
    return [
        svg.box(left, floor, -lane, -roof, **_AIR),
        svg.box(left, floor, length, -size * scale, **_AIR),
        svg.words(left + 24.0, floor - size * scale - 6.0, words, class_="rim"),
        _label(left - lane / 2, floor - roof / 2 + 4.0, "plenum"),
        *_up(left - lane - 14.0, floor, floor - roof, show(ducts.plenum_height, "m", units)),
        *_across(left - lane, left, floor + 26.0, show(ducts.plenum_width, "m", units)),
    ]
