"""One number of a sizing, with all that a reader needs to check it."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["PRACTICE", "Given", "Size", "given", "size"]

PRACTICE = "common practice, no source"


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


def given(*values: tuple[str, float, str]) -> tuple[Given, ...]:
    """Inputs of a size: name, value and unit of each."""
    return tuple(Given(name=name, value=float(value), unit=unit) for name, value, unit in values)


def size(
    subject: str,
    key: str,
    name: str,
    value: float,
    unit: str,
    formula: str,
    inputs: tuple[Given, ...],
    source: str,
    *,
    margin: float | None = None,
    present: float | None = None,
) -> Size:
    """One size, its fields in the order in which one reads them."""
    return Size(
        subject=subject,
        key=key,
        name=name,
        value=float(value),
        unit=unit,
        formula=formula,
        given=inputs,
        source=source,
        margin=None if margin is None else float(margin),
        present=None if present is None else float(present),
    )
