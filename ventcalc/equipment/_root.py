"""Zeros of many rising functions at once, when one evaluation is dear."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from ventcalc._ops import Ops

__all__ = ["rising_root"]

STEPS = 100
BISECT_EVERY = 4


def rising_root(
    excess: Callable[[Any], Any],
    low: Any,
    high: Any,
    at_low: Any,
    at_high: Any,
    tolerance: Any,
    ops: Ops,
) -> Any:
    """
    Zero of a rising function between two bounds, for every case at once.

    Parameters
    ----------
    excess : callable
        Rising; NaN in an element leaves that element alone.
    low, high : float or array
        Bounds of the zero.
    at_low, at_high : float or array
        ``excess`` there; sizes only guide the first step, signs must be right.
    tolerance : float or array
        Size of ``excess`` that counts as zero.
    ops : Ops
        Operations for floats or arrays.

    Returns
    -------
    float or array
        The zero, or the middle of a bracket that cannot be narrowed further.

    Notes
    -----
    Illinois variant of false position, with a bisection every fourth step so that no shape of
    function stalls it, and whenever false position fails (infinite values).

    References
    ----------
    .. [1] M. Dowell, P. Jarratt, A modified regula falsi method, BIT 11 (1971) 168-174.
    """
    x, before = high, None
    for step in range(1, STEPS + 1):
        width = at_high - at_low
        guess = high - at_high * (high - low) / ops.where(width == 0.0, 1.0, width)
        middle = 0.5 * (low + high)
        inside = (guess >= low) & (guess <= high)
        x = middle if step % BISECT_EVERY == 0 else ops.where(inside, guess, middle)
        value = excess(x)
        narrow = (high - low) <= 1e-15 * abs(high)
        if not np.any((abs(value) > tolerance) & ops.negate(narrow)):
            break
        over = value > 0.0
        # Where the same bound moves twice running, the weight of the other is halved.
        half = 1.0 if before is None else ops.where(over == before, 0.5, 1.0)
        high, low = ops.where(over, x, high), ops.where(over, low, x)
        at_high = ops.where(over, value, half * at_high)
        at_low, before = ops.where(over, half * at_low, value), over
    return x
