"""The errors that ventcalc raises, and the range checks that raise them."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from numpy.typing import ArrayLike

__all__ = ["BadInput", "OutOfRange", "VentcalcError", "check_range"]


class VentcalcError(ValueError):
    """Anything that ventcalc refuses; its text is one clear line (or one line per problem)."""


class OutOfRange(VentcalcError):
    """A number outside the range in which the called function is valid."""

    def __init__(
        self, name: str, low: float, high: float, value: float, where: str, unit: str, hint: str
    ) -> None:
        self.name, self.low, self.high, self.value = name, low, high, value
        limits = f"{low:g} to {high:g}{' ' + unit if unit else ''}"
        text = f"{name} must lie in {limits} (got {value:g}{where})"
        super().__init__(text + (f"; {hint}" if hint else ""))
        self._given = (name, low, high, value, where, unit, hint)

    def __reduce__(self) -> tuple[type[OutOfRange], tuple[str | float, ...]]:
        """From one process to another."""
        return type(self), self._given


class BadInput(VentcalcError):
    """A file or a set of values that cannot be used; holds every problem found, one line each."""

    def __init__(self, problems: str | Iterable[str]) -> None:
        self.problems = (problems,) if isinstance(problems, str) else tuple(problems)
        super().__init__("\n".join(self.problems))


def check_range(
    name: str, value: ArrayLike, low: float, high: float, unit: str = "", hint: str = ""
) -> None:
    """
    Raise unless every element of ``value`` lies in ``low`` to ``high``; NaN passes.

    Parameters
    ----------
    name : str
        Name of the quantity as the caller knows it.
    value : array-like
        What was given. [unit]
    low, high : float
        The limits, both allowed. [unit]
    unit : str
        Unit for the message.
    hint : str
        The likely slip, for the message.

    Raises
    ------
    OutOfRange
        Names the quantity, the limits, the first offending value and its place.
    """
    if type(value) is float or isinstance(value, float | int):
        if low <= value <= high or value != value:
            return
        raise OutOfRange(name, low, high, float(value), "", unit, hint)
    array = np.asarray(value, dtype=float)
    good = (array >= low) & (array <= high)
    if good.all():
        return
    bad = ~(good | np.isnan(array))
    if bad.any():
        place = tuple(int(i) for i in np.argwhere(bad)[0])
        where = f" at [{', '.join(map(str, place))}]" if place else ""
        raise OutOfRange(name, low, high, float(array[place]), where, unit, hint)
