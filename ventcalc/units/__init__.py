"""The border for units: numbers with their unit in, numbers with their unit out."""

from ventcalc.units.prose import both, reworded
from ventcalc.units.shown import UnitSystem, convert, show, shown_unit
from ventcalc.units.text import parse, parse_any

__all__ = [
    "UnitSystem",
    "both",
    "convert",
    "parse",
    "parse_any",
    "reworded",
    "show",
    "shown_unit",
]
