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
    """
    Describe a number.

    Parameters
    ----------
    unit : str
        Unit of the value inside ventcalc.
    low, high : float
        Limits, both allowed. [unit]
    about : str
        What it is, in one phrase.
    default : Any
        Value when the key is absent. [unit]
    like : str
        How one writes it in a bay file.
    shown : str
        Row of ``ventcalc.units`` for writing it, where that is not ``unit``.
    also : str
        Unit per mass of crop that is taken too, and multiplied by the mass of a full pile.
    many : bool
        Whether it is a list of such numbers, two or more.

    Returns
    -------
    Any
        A dataclass field.
    """
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
    """
    Describe a word.

    Parameters
    ----------
    about : str
        What it is, in one phrase.
    default : Any
        Value when the key is absent.
    like : str
        How one writes it in a bay file.
    choices : tuple of str
        The words allowed; empty for any.
    kind : {"text", "date", "zone"}
        A plain word, a ``month-day``, or the IANA name of a time zone.

    Returns
    -------
    Any
        A dataclass field.
    """
    meta = {"unit": kind, "about": about, "like": like, "choices": choices}
    return field(metadata=meta) if default is MISSING else field(default=default, metadata=meta)
