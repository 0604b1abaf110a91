"""
Records of plain numbers, in the place of the data classes that the formulas of an hour read; and
named tuples with a few fields changed.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import fields, is_dataclass
from functools import cache
from operator import attrgetter
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ventcalc.errors import BadInput

__all__ = ["kind_of", "record_of", "records_of", "updated"]


def record_of(thing: Any) -> Any:
    """
    The numbers of a data class, and of those inside it, as one record that compiled code reads.

    Parameters
    ----------
    thing : data class
        Numbers, flags, tuples of numbers and further data classes, with its numeric properties;
        texts and what may be missing are left out.

    Returns
    -------
    numpy.void
        ``record.limits.band`` means in compiled code what ``thing.limits.band`` means here.
    """
    kind, values = _record(thing)
    return np.array(values, dtype=kind)[()]


def _record(thing: Any) -> tuple[np.dtype[Any], tuple[Any, ...]]:
    parts: list[Any] = []
    values: list[Any] = []
    kind_of_thing: Any = type(thing)
    for name in _numbers_of(kind_of_thing):
        value = getattr(thing, name)
        if is_dataclass(value):
            kind, value = _record(value)
            parts.append((name, kind))
        elif isinstance(value, tuple):
            parts.append((name, np.float64, np.shape(value)))
        else:
            parts.append((name, np.bool_ if isinstance(value, bool) else np.float64))
        values.append(value)
    return np.dtype(parts, align=True), tuple(values)


@cache
def _numbers_of(kind: Any) -> tuple[str, ...]:
    """Names of the fields and properties of a data class that are always numbers, or of numbers."""
    hints: dict[str, Any] = {field.name: field.type for field in fields(kind)}
    for name, value in vars(kind).items():
        getter = getattr(value, "fget", None) or getattr(value, "func", None)
        if getter is not None:
            hints[name] = getter.__annotations__.get("return", "")
    return tuple(name for name, hint in hints.items() if _is_number(str(hint)))


def _is_number(hint: str) -> bool:
    never = ("None", "str", "Sequence", "dict", "Any", "tuple[Lot")
    return bool(hint) and not any(word in hint for word in never)


def records_of(things: Sequence[Any]) -> NDArray[Any]:
    """
    Objects of floats (with slots, or named tuples) as an array that compiled code changes in place.

    Parameters
    ----------
    things : sequence
        All of one kind.

    Returns
    -------
    array
        ``array[i].film`` means in compiled code what ``things[i].film`` means here.
    """
    kind = kind_of(type(things[0]))
    row_of = attrgetter(*(kind.names or ()))
    return np.array([row_of(thing) for thing in things], dtype=kind)


def kind_of(kind: Any) -> np.dtype[Any]:
    """
    The record type that stands for a class of ``records_of``.

    Parameters
    ----------
    kind : type
        With slots, or a named tuple; floats.

    Returns
    -------
    numpy.dtype
        With the same names.
    """
    names = getattr(kind, "_fields", ()) or kind.__slots__
    return np.dtype([(name, np.float64) for name in names])


def updated(kind: Any, *names: str) -> Callable[..., Any]:
    """
    Make a function that changes some fields of a named tuple, for a policy that is compiled.

    In plain Python ``memory._replace(target=5.0)`` does it; numba knows no such thing.

    Parameters
    ----------
    kind : type
        The named tuple: ``vc.Memory``, ``vc.Positions``.
    *names : str
        Of the fields to change.

    Returns
    -------
    callable
        Takes the tuple and a value for each name, in that order; gives a new tuple. It is plain
        Python; a numba function that ``run_season`` gets may call it, if it stands in the same
        file at the top (``keep = vc.updated(vc.Memory, "target", "fan_on")``).

    Raises
    ------
    BadInput
        If there is no such field.
    """
    for name in names:
        if name not in kind._fields:
            known = ", ".join(kind._fields)
            raise BadInput(f"updated: {kind.__name__} has no {name!r}; it has {known}")
    values = ", ".join(name if name in names else f"old.{name}" for name in kind._fields)
    space = {"kind": kind, "__name__": __name__}
    exec(f"def updated({', '.join(('old', *names))}):\n    return kind({values})", space)
    made: Callable[..., Any] = space["updated"]
    return made
