"""Elementary functions for one float as well as for an array: numpy is slow on a single number."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

__all__ = ["everywhere", "exp", "log", "maximum", "minimum", "where"]


def exp(x: Any) -> Any:
    """Exponential."""
    return math.exp(x) if type(x) is float else np.exp(x)


def log(x: Any) -> Any:
    """Natural logarithm; of nothing it is minus infinity."""
    if type(x) is not float:
        return np.log(x)
    return math.log(x) if x > 0.0 else -math.inf if x == 0.0 else math.nan


def minimum(a: Any, b: Any) -> Any:
    """The lesser; NaN where either is."""
    if type(a) is float and type(b) is float:
        return a if a < b or a != a else b
    return np.minimum(a, b)


def maximum(a: Any, b: Any) -> Any:
    """The greater; NaN where either is."""
    if type(a) is float and type(b) is float:
        return a if a > b or a != a else b
    return np.maximum(a, b)


def where(condition: Any, a: Any, b: Any) -> Any:
    """The first where the condition holds, else the second."""
    return (a if condition else b) if type(condition) is bool else np.where(condition, a, b)


def everywhere(condition: Any) -> bool:
    """Whether it holds in every element."""
    return condition if type(condition) is bool else bool(np.all(condition))
