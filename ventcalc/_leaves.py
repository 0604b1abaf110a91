"""The numbers inside nested records: taken out in a fixed order, and put back."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import fields, is_dataclass
from functools import cache
from typing import Any

import numpy as np

__all__ = ["leaves", "mapped", "rebuilt", "stacked"]


def leaves(thing: Any) -> list[Any]:
    """
    Every number, flag or array in nested data classes and tuples, in their order.

    Texts and missing parts (None) are not counted; ``rebuilt`` puts them back.
    """
    names = _names(thing.__class__)
    if names is not None:
        return [leaf for name in names for leaf in leaves(getattr(thing, name))]
    if isinstance(thing, tuple):
        return [leaf for part in thing for leaf in leaves(part)]
    return [] if thing is None or isinstance(thing, str) else [thing]


@cache
def _names(kind: type) -> tuple[str, ...] | None:
    """Names of the parts of a data class."""
    return tuple(f.name for f in fields(kind)) if is_dataclass(kind) else None


def rebuilt(thing: Any, values: Sequence[Any]) -> Any:
    """The same structure with other leaves."""
    remaining = iter(values)
    return _rebuilt(thing, lambda _: next(remaining))


def mapped(change: Callable[..., Any], first: Any, *others: Any) -> Any:
    """The structure of ``first`` with ``change`` of its leaves and those of others like it."""
    rest = iter(zip(*(leaves(other) for other in others), strict=True))
    return _rebuilt(first, lambda leaf: change(leaf, *(next(rest) if others else ())))


def stacked(records: Sequence[Any], shape: tuple[int, ...]) -> Any:
    """
    Records one after the other as one whose leaves are arrays, the records as their first axis.

    A number that stands for all of ``shape``, the last axes, gets an element for each.
    """
    columns = zip(*(leaves(record) for record in records), strict=True)
    return rebuilt(records[0], [_stack(column, shape) for column in columns])


def _stack(column: Sequence[Any], shape: tuple[int, ...]) -> Any:
    if shape:
        column = [np.broadcast_to(x, np.broadcast_shapes(np.shape(x), shape)) for x in column]
    return np.array(column, dtype=float)


def _rebuilt(thing: Any, change: Callable[[Any], Any]) -> Any:
    names = _names(thing.__class__)
    if names is not None:
        # Past the constructor, which may check or convert what was checked before.
        new = object.__new__(type(thing))
        for name in names:
            object.__setattr__(new, name, _rebuilt(getattr(thing, name), change))
        return new
    if isinstance(thing, tuple):
        return tuple(_rebuilt(part, change) for part in thing)
    return thing if thing is None or isinstance(thing, str) else change(thing)
