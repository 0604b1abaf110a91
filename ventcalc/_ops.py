"""
The few operations that a formula needs, once for a single float and once for arrays.

A formula that must be quick for one state (an hourly decision) as well as for a million
is written once with the operations of an ``Ops``; ``ops_for`` picks the carrier. numpy would
cost about a microsecond an operation on a single number.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

__all__ = ["ARRAY", "SCALAR", "Ops", "ops_for"]


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


SCALAR = Ops(
    exp=_exp,
    log=_log,
    sqrt=_sqrt,
    isnan=lambda x: x != x,
    where=_where,
    minimum=_minimum,
    maximum=_maximum,
    negate=_not,
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
)
"""For numpy arrays, broadcasting."""


def ops_for(*values: Any) -> Ops:
    """``SCALAR`` if every value is a plain number, else ``ARRAY``."""
    for value in values:
        if type(value) is not float and not isinstance(value, _NUMBER):
            return ARRAY
    return SCALAR


_NUMBER = (float, int)
