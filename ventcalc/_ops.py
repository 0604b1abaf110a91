"""
The few operations that a formula needs, once for a single float and once for arrays.

A formula that must be quick for one state (an hourly decision) as well as for a million
is written once with the operations of an ``Ops``; ``ops_for`` picks the carrier. numpy would
cost about a microsecond an operation on a single number.
"""

from __future__ import annotations

import math
import operator
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from ventcalc._leaves import mapped

__all__ = ["ARRAY", "SCALAR", "Ops", "at_moment", "ops_for"]


@dataclass(frozen=True, kw_only=True, slots=True)
class Ops:
    """Elementary operations for one carrier; all of them hand NaN on."""

    exp: Callable[[Any], Any]
    log: Callable[[Any], Any]
    sqrt: Callable[[Any], Any]
    isnan: Callable[[Any], Any]
    where: Callable[[Any, Any, Any], Any]
    minimum: Callable[[Any, Any], Any]
    maximum: Callable[[Any, Any], Any]
    negate: Callable[[Any], Any]
    """Logical not."""
    less: Callable[[Any, Any], Any]
    any: Callable[[Any], bool]
    """Whether a condition may hold anywhere: where it cannot, what rests on it is left out."""
    all: Callable[[Any], bool]
    """Whether a condition is sure to hold everywhere."""
    branch: Callable[[Any, Callable[[], Any], Any], Any]
    """
    ``branch(condition, then, otherwise)``: ``then()`` where the condition holds, else
    ``otherwise``; numbers, or records of the same kind. ``then`` is only called where needed.
    """
    repeat: Callable[[Any, Callable[[Any], Any], Any], Any]
    """``repeat(times, body, start)``: ``body`` applied to ``start`` that many times."""


def _exp(x: float) -> float:
    return math.exp(x) if x < 709.0 else math.inf if x == x else x


def _log(x: float) -> float:
    return math.log(x) if x > 0.0 else -math.inf if x == 0.0 else math.nan


def _sqrt(x: float) -> float:
    return math.sqrt(x) if x >= 0.0 else math.nan


def _where(condition: bool, a: Any, b: Any) -> Any:
    return a if condition else b


def _minimum(a: float, b: float) -> float:
    return a if a < b or a != a else b


def _maximum(a: float, b: float) -> float:
    return a if a > b or a != a else b


def _not(a: bool) -> bool:
    return not a


def _branch(condition: bool, then: Callable[[], Any], otherwise: Any) -> Any:
    return then() if condition else otherwise


def _branch_many(condition: Any, then: Callable[[], Any], otherwise: Any) -> Any:
    if not np.any(condition):
        return otherwise
    value = then()
    if np.all(condition):
        return value
    return mapped(lambda a, b: a if a is b else np.where(condition, a, b), value, otherwise)


def _repeat(times: int, body: Callable[[Any], Any], start: Any) -> Any:
    value = start
    for _ in range(times):
        value = body(value)
    return value


SCALAR = Ops(
    exp=_exp,
    log=_log,
    sqrt=_sqrt,
    isnan=lambda x: x != x,
    where=_where,
    minimum=_minimum,
    maximum=_maximum,
    negate=_not,
    less=operator.lt,
    any=bool,
    all=bool,
    branch=_branch,
    repeat=_repeat,
)
"""For Python floats."""

ARRAY = Ops(
    exp=np.exp,
    log=np.log,
    sqrt=np.sqrt,
    isnan=np.isnan,
    where=np.where,
    minimum=np.minimum,
    maximum=np.maximum,
    negate=np.logical_not,
    less=np.less,
    any=lambda condition: bool(np.asarray(condition).any()),
    all=lambda condition: bool(np.asarray(condition).all()),
    branch=_branch_many,
    repeat=_repeat,
)
"""For numpy arrays, broadcasting."""


def ops_for(*values: Any) -> Ops:
    """``SCALAR`` if every value is a plain number, else ``ARRAY``, or that of a traced value."""
    found = SCALAR
    for value in values:
        if type(value) is float or isinstance(value, _NUMBER):
            continue
        if not isinstance(value, np.ndarray):
            return getattr(value, "ops", ARRAY)
        found = ARRAY
        if value.dtype == object and value.size:
            found = getattr(value.flat[0], "ops", ARRAY)
            if found is not ARRAY:
                return found
    return found


_NUMBER = (float, int)


def at_moment(find: Callable[..., Any], time: Any, *words: Any) -> Any:
    """
    ``find(time, *words)``, which only plain Python can tell of a moment (a date, say).

    A traced moment leaves it to be worked out for every step beforehand.
    """
    known = getattr(time, "known_by", None)
    return find(time, *words) if known is None else known(find, *words)
