"""What one key of the bay file is: its unit, its limits, its sentence and an example."""

from __future__ import annotations

from dataclasses import MISSING, field
from typing import Any

__all__ = ["quantity", "text"]


def quantity(
    unit: str,
    low: float,
    high: float,
    about: str,
    default: Any = MISSING,
    like: str = "",
    shown: str = "",
    also: str = "",
    many: bool = False,
) -> Any:
    """Describe a number."""
    meta = {
        "unit": unit,
        "low": low,
        "high": high,
        "about": about,
        "like": like,
        "shown": shown or unit,
        "also": also,
        "many": many,
    }
    return field(metadata=meta) if default is MISSING else field(default=default, metadata=meta)


def text(
    about: str,
    default: Any = MISSING,
    like: str = "",
    choices: tuple[str, ...] = (),
    kind: str = "text",
) -> Any:
    """Describe a word."""
    meta = {"unit": kind, "about": about, "like": like, "choices": choices}
    return field(metadata=meta) if default is MISSING else field(default=default, metadata=meta)
