"""Numbers for JSON, which has no place for what is not known."""

from __future__ import annotations

import math

__all__ = ["known", "rounded"]


def known(value: float, digits: int | None = None) -> float | None:
    """The number, rounded to so many decimals; None for NaN and infinity."""
    if not math.isfinite(value):
        return None
    return value if digits is None else round(value, digits)


def rounded(value: float | None) -> float | None:
    """The number to eight digits; None for NaN and infinity."""
    return None if value is None or not math.isfinite(value) else float(f"{value:.8g}") + 0.0
