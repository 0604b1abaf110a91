"""The border for units: numbers with their unit in, numbers with their unit out."""

from ventcalc.units.prose import both, reworded
from ventcalc.units.text import (
    UnitSystem,
    convert,
    parse,
    parse_any,
    show,
    shown_unit,
)

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
