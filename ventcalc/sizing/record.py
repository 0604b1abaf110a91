"""One number of a sizing, with all that a reader needs to check it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from ventcalc.units.words import table_words

__all__ = ["Given", "Size", "row"]


@dataclass(frozen=True, kw_only=True, slots=True)
class Given:
    """A number that went into another one."""

    name: str
    value: float
    """[unit]"""
    unit: str
    """A row of ``ventcalc.units``."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Size:
    """A size, how it was found, from what, and how much it has to spare."""

    subject: str
    """What it belongs to, such as ``fans``."""
    key: str
    """Its name for programs, unique in a sizing."""
    name: str
    """Its name for people."""
    value: float
    """[unit]"""
    unit: str
    """A row of ``ventcalc.units``."""
    formula: str
    """In words."""
    given: tuple[Given, ...]
    source: str
    """Of the formula and the rules in it."""
    margin: float | None = None
    """What the value has over its limit or bare need, positive is safe; None without one. [unit]"""
    present: float | None = None
    """What the bay file says now; None where it says nothing. [unit]"""


def row(
    key: str,
    value: float,
    /,
    *inputs: tuple[str, float, str],
    margin: float | None = None,
    present: float | None = None,
    **told: Any,
) -> Size:
    """One size, of inputs by name, value and unit; ``told`` fills the braces of ``sizes.csv``."""
    given = (Given(name=name, value=float(number), unit=unit) for name, number, unit in inputs)
    return Size(
        **table_words("sizes", key, **told),
        value=float(value),
        given=tuple(given),
        margin=None if margin is None else float(margin),
        present=None if present is None else float(present),
    )
