"""A formula for plain numbers, carried over arrays element by element."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

__all__ = ["elementwise"]


def elementwise(formula: Callable[..., Any], *values: Any) -> Any:
    """A float formula of arrays: for what is asked now and then, not a million times."""
    if all(np.ndim(value) == 0 for value in values):
        return formula(*map(float, values))
    given = np.broadcast_arrays(*(np.asarray(value, dtype=float) for value in values))
    shape = given[0].shape
    found = [formula(*row) for row in zip(*(x.ravel().tolist() for x in given), strict=True)]
    if found and isinstance(found[0], tuple):
        return tuple(
            np.array(part, dtype=float).reshape(shape) for part in zip(*found, strict=True)
        )
    return np.array(found, dtype=float).reshape(shape)
