"""Drawings of the page as shapes in a box; the template makes SVG, the style gives colours."""

from __future__ import annotations

from typing import NamedTuple

from ventcalc.bay.description import Bay
from ventcalc.check.check import TALLEST_HEIGHT, PileCheck
from ventcalc.units import UnitSystem, show

__all__ = ["Box", "Line", "Round", "Sketch", "Words", "bay_sketch", "reach_sketch"]

WIDE = 420.0
"""Of every drawing; a phone shows it at four fifths."""
_EDGE = 58.0
_MOST_LATERALS = 60
"""More are not told apart, and are drawn thinned out."""


class Box(NamedTuple):
    """A rectangle."""

    x: float
    y: float
    width: float
    height: float
    look: str


class Line(NamedTuple):
    """A line through points, as SVG writes them."""

    points: str
    look: str


class Round(NamedTuple):
    """A circle."""

    x: float
    y: float
    radius: float
    look: str


class Words(NamedTuple):
    """A few words."""

    x: float
    y: float
    text: str
    anchor: str
    look: str


class Sketch(NamedTuple):
    """A drawing."""

    width: float
    height: float
    title: str
    """For whoever cannot see it."""
    shapes: tuple[tuple[str, Box | Line | Round | Words], ...]


def _sketch(height: float, title: str, shapes: list[Box | Line | Round | Words]) -> Sketch:
    named = tuple((type(shape).__name__.lower(), shape) for shape in shapes)
    return Sketch(WIDE, round(height, 1), title, named)


def _line(look: str, *points: tuple[float, float]) -> Line:
    return Line(" ".join(f"{x:.1f},{y:.1f}" for x, y in points), look)


def _wall(bay: Bay) -> float:
    """Height of the wall, or what the headspace makes of it. [m]"""
    shell = bay.envelope
    return shell.wall_height or bay.pile.height + shell.headspace_volume / shell.ceiling_area


def _across(x0: float, x1: float, y: float, words: str) -> list[Box | Line | Round | Words]:
    """A dimension along the sheet."""
    return [
        _line("dim", (x0, y), (x1, y)),
        _line("dim", (x0, y - 4), (x0, y + 4)),
        _line("dim", (x1, y - 4), (x1, y + 4)),
        Words((x0 + x1) / 2, y + 15, words, "middle", "small"),
    ]


def _up(x: float, y0: float, y1: float, words: str, side: int) -> list[Box | Line | Round | Words]:
    """A dimension up the sheet, its words to the right (1) or the left (-1)."""
    return [
        _line("dim", (x, y0), (x, y1)),
        _line("dim", (x - 4, y0), (x + 4, y0)),
        _line("dim", (x - 4, y1), (x + 4, y1)),
        Words(x + 6 * side, (y0 + y1) / 2 + 4, words, "start" if side > 0 else "end", "small"),
    ]


def bay_sketch(result: PileCheck, units: UnitSystem) -> Sketch:
    """Section across the laterals' way and plan, each to its scale, with dimensions."""
    bay, ducts = result.bay, result.bay.ducts
    pile, height = bay.pile, float(result.height)
    along, across = pile.length, pile.width
    if ducts is not None and ducts.plenum_along == "width":
        along, across = across, along
    lane = ducts.plenum_width if ducts is not None else 0.0
    wall = max(_wall(bay), height)
    room = WIDE - 2 * _EDGE - 14
    scale = min(room / (lane + across), 200.0 / wall)
    left = _EDGE + 8
    right = left + scale * (lane + across)
    floor = 26 + scale * wall
    inner = left + scale * lane
    shapes: list[Box | Line | Round | Words] = [
        Words(left, 14, "Section", "start", "head"),
        Box(left, floor - scale * wall, right - left, scale * wall, "room"),
        Box(inner, floor - scale * height, right - inner, scale * height, "crop"),
    ]
    if ducts is not None:
        size = max(scale * ducts.lateral_diameter, 2.0)
        tall = scale * ducts.plenum_height
        shapes += [
            Box(left, floor - tall, inner - left, tall, "duct"),
            Box(inner, floor - size, scale * ducts.lateral_length, size, "duct"),
        ]
    shapes.append(_line("ground", (left - 8, floor), (right + 8, floor)))
    if 0.0 < result.highest < wall:
        y = floor - scale * result.highest
        shapes.append(_line("highest", (inner, y), (right + 8, y)))
    shapes += _up(right + 10, floor, floor - scale * height, show(height, "m", units), 1)
    shapes += _up(left - 12, floor, floor - scale * wall, show(wall, "m", units), -1)
    shapes += _across(inner, right, floor + 12, show(across, "m", units))
    if ducts is not None:
        words = show(lane, "m", units)
        shapes.append(Words((left + inner) / 2, floor + 27, words, "middle", "small"))
    bottom = floor + 48
    shapes += _plan(bay, (along, across, lane), bottom, units)
    plan = min(room / along, 190.0 / (across + lane))
    title = (
        f"Section and plan of the bay: pile {show(pile.length, 'm', units)} by "
        f"{show(pile.width, 'm', units)}, {show(height, 'm', units)} high under a wall of "
        f"{show(wall, 'm', units)}; {bay.fans.count} fans"
        + (f"; {ducts.laterals} laterals" if ducts is not None else "; ducts not described")
    )
    return _sketch(bottom + 14 + plan * (across + lane) + 34, title, shapes)


def _plan(
    bay: Bay, sides: tuple[float, float, float], top: float, units: UnitSystem
) -> list[Box | Line | Round | Words]:
    along, across, lane = sides
    ducts = bay.ducts
    scale = min((WIDE - 2 * _EDGE - 14) / along, 190.0 / (across + lane))
    left, y = _EDGE + 8, top + 10
    wide, deep, strip = scale * along, scale * across, scale * lane
    shapes: list[Box | Line | Round | Words] = [
        Words(left, top, "Plan", "start", "head"),
        Box(left, y, wide, deep, "crop"),
    ]
    if ducts is not None:
        shown = min(ducts.laterals, _MOST_LATERALS)
        size = max(scale * ducts.lateral_diameter, 1.5)
        for k in range(shown):
            x = left + wide * (k + 0.5) / shown - size / 2
            reach = scale * ducts.lateral_length
            shapes.append(Box(x, y + deep - reach, size, reach, "duct"))
        shapes.append(Box(left, y + deep, wide, strip, "duct"))
        shapes += _fans(bay.fans.count, left, y + deep + strip, wide, strip)
    shapes += _across(left, left + wide, y + deep + strip + 10, show(along, "m", units))
    shapes += _up(left + wide + 10, y, y + deep, show(across, "m", units), 1)
    return shapes


def _fans(
    count: int, left: float, floor: float, wide: float, strip: float
) -> list[Box | Line | Round | Words]:
    """Fans as a row of circles in the plenum; where they stand the bay file does not say."""
    shown = min(count, 20)
    radius = min(strip / 3.2, wide / (2.6 * shown), 9.0)
    return [
        Round(left + wide * (k + 0.5) / shown, floor - strip / 2, radius, "fan")
        for k in range(shown)
    ]


_ROW = 38.0
_LEAST, _ROOM = 6.0, 62.0
"""Where bars begin, and what their numbers need behind them."""


def reach_sketch(result: PileCheck, units: UnitSystem) -> Sketch | None:
    """How high the pile may be by each check that a lower pile can mend; None where none limits."""
    if not result.reaches:
        return None
    height = float(result.height)
    scale = (WIDE - _LEAST - _ROOM) / TALLEST_HEIGHT
    here, bottom = _LEAST + scale * height, 6 + _ROW * len(result.reaches)
    shapes: list[Box | Line | Round | Words] = []
    for k, reach in enumerate(result.reaches):
        y = 2 + _ROW * k
        look = "past" if reach.height < height - 1e-9 else "reach"
        shapes += [
            Words(_LEAST, y + 13, _short(reach.name), "start", "small"),
            Box(_LEAST, y + 18, scale * TALLEST_HEIGHT, 12, "rail"),
            Box(_LEAST, y + 18, max(scale * reach.height, 1.0), 12, look),
            _line("here", (here, y + 16), (here, y + 32)),
            Words(WIDE - 2, y + 28, show(reach.height, "m", units), "end", "small"),
        ]
    words = f"this pile, {show(height, 'm', units)}"
    shapes.append(Words(min(max(here, 60.0), WIDE - 60.0), bottom + 17, words, "middle", "small"))
    told = "; ".join(f"{one.name} {show(one.height, 'm', units)}" for one in result.reaches)
    return _sketch(bottom + 24, f"Highest pile by each check: {told}", shapes)


def _short(name: str) -> str:
    """Names that fit the drawing; the table beside has them whole."""
    return name if len(name) <= 58 else name[:56].rstrip(" ,(") + " …"
