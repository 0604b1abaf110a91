"""What vectorised equipment shares: plain numbers for a single case, zeros of many functions."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

__all__ = ["plain", "rising_root"]

STEPS = 100
BISECT_EVERY = 4


def plain(value: Any) -> Any:
    """A Python number for a single value, else the array."""
    array = np.asarray(value)
    return array.item() if array.ndim == 0 else array


def rising_root(excess: Callable[[Any], Any], low: Any, high: Any, tolerance: Any) -> Any:
    """
    Zero of a rising function between two bounds, for every case at once; NaN stays.

    False position (Illinois: M. Dowell, P. Jarratt, BIT 11 (1971) 168-174), for an evaluation is
    dear; every fourth step bisects, so that no shape of function stalls it.
    """
    at_low, at_high = excess(low), excess(high)
    x, before = high, None
    for step in range(1, STEPS + 1):
        width = at_high - at_low
        guess = high - at_high * (high - low) / np.where(width == 0.0, 1.0, width)
        inside = (guess >= low) & (guess <= high) & (step % BISECT_EVERY != 0)
        x = np.where(inside, guess, 0.5 * (low + high))
        value = excess(x)
        if not np.any((abs(value) > tolerance) & (high - low > 1e-15 * abs(high))):
            break
        over = value > 0.0
        # Where the same bound moves twice running, the weight of the other is halved.
        half = np.where(over == before, 0.5, 1.0)
        high, low = np.where(over, x, high), np.where(over, low, x)
        at_high = np.where(over, value, half * at_high)
        at_low, before = np.where(over, half * at_low, value), over
    return x
