"""
The sums that moist air is made of, each written once: for a float, an array, compiled code.

There is neither a branch nor a loop in them, so that ``plain`` (the air of an hour, one state) and
``kernel`` (public moist air, millions of states) work with the same lines. Polynomials are
written in place: the time of an array goes into passes over memory. Coefficients are taken apart,
not indexed: every constant index would be compiled as a function of its own.
"""

from __future__ import annotations

from typing import Any

from ventcalc.air.fit import MASS_RATIO, OFFSET

__all__ = [
    "cubic",
    "humidity_of_vapour",
    "linear",
    "place",
    "quadratic",
    "quartic",
    "sextic",
    "vapour_pressure",
]


def place(t: Any) -> Any:
    """``t / (t + OFFSET)``, in which the logarithm of saturation is nearly a straight line."""
    return 1.0 - OFFSET / (t + OFFSET)


def linear(c: Any, x: Any) -> Any:
    """c0 + c1 x."""
    c0, c1 = c
    value = c1 * x
    value += c0
    return value


def quadratic(c: Any, x: Any) -> Any:
    """c0 + ... + c2 x²."""
    c0, c1, c2 = c
    value = c2 * x
    value += c1
    value *= x
    value += c0
    return value


def cubic(c: Any, x: Any) -> Any:
    """c0 + ... + c3 x³."""
    c0, c1, c2, c3 = c
    value = c3 * x
    value += c2
    value *= x
    value += c1
    value *= x
    value += c0
    return value


def quartic(c: Any, x: Any) -> Any:
    """c0 + ... + c4 x⁴."""
    c0, c1, c2, c3, c4 = c
    value = c4 * x
    value += c3
    value *= x
    value += c2
    value *= x
    value += c1
    value *= x
    value += c0
    return value


def sextic(c: Any, x: Any) -> Any:
    """c0 + ... + c6 x⁶."""
    c0, c1, c2, c3, c4, c5, c6 = c
    value = c6 * x
    value += c5
    value *= x
    value += c4
    value *= x
    value += c3
    value *= x
    value += c2
    value *= x
    value += c1
    value *= x
    value += c0
    return value


def humidity_of_vapour(vapour: Any, p: Any) -> Any:
    """Humidity ratio of a vapour pressure. [kg/kg dry air]"""
    return MASS_RATIO * vapour / (p - vapour)


def vapour_pressure(w: Any, p: Any) -> Any:
    """Vapour pressure of a humidity ratio. [Pa]"""
    return p * w / (MASS_RATIO + w)
