"""One check of a bay: a value against a limit, and what may be said about it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import partial
from typing import Any

import numpy as np

from ventcalc.units.words import table_words

__all__ = [
    "CANNOT_SAY",
    "HEAT_DOUBT",
    "MARGINAL",
    "NO",
    "OK",
    "Aside",
    "Asides",
    "Check",
    "air_text",
    "check_above",
    "check_below",
    "words",
]

Asides = Iterable[tuple[str, str, Any, str]]

OK = "ok"
MARGINAL = "marginal"
NO = "no"
CANNOT_SAY = "cannot say"
words = partial(table_words, "checks")
"""Key, unit, name, formula and source of a check by its key."""
HEAT_DOUBT = 0.25
"""30-50 Btu/(long ton h) about their middle, J. Agric. Sci. (Cambridge). [1]"""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Aside:
    """A figure that belongs to a check without being judged."""

    key: str
    """Its name for programs, unique in a check."""
    name: str
    value: Any
    """[unit]"""
    unit: str
    """A row of ``ventcalc.units``."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Check:
    """A value against its limit, for one height or many."""

    key: str
    """Its name for programs."""
    name: str
    value: Any
    """NaN where it is not known. [unit]"""
    limit: Any
    """NaN where there is none. [unit]"""
    margin: Any
    """Distance to the limit, positive is safe. [unit]"""
    uncertainty: Any
    """Margins smaller than this are marginal. [unit]"""
    verdict: Any
    """``ok``, ``marginal``, ``no`` or ``cannot say``; an array of them for many heights."""
    unit: str
    """A row of ``ventcalc.units``."""
    formula: str
    """In words."""
    source: str
    """Of the formula, the limit and the uncertainty."""
    asides: tuple[Aside, ...] = ()
    note: str = ""
    one_sided: bool = False
    """Whether the limit may lie nearer than told, but not further."""
    by_height: bool = True
    """Whether a lower pile can mend it, so that it counts for the highest pile that passes."""


def _verdict(margin: Any, uncertainty: Any) -> Any:
    known = ~np.isnan(np.asarray(margin, float) + uncertainty)
    safe = np.nan_to_num(np.asarray(margin, float), nan=0.0)
    doubt = np.nan_to_num(np.asarray(uncertainty, float), nan=0.0)
    verdict = np.where(safe >= doubt, OK, np.where(safe > -doubt, MARGINAL, NO))
    verdict = np.where(known, verdict, CANNOT_SAY)
    return str(verdict) if verdict.ndim == 0 else verdict


def _check(
    margin: Any, value: Any, limit: Any, uncertainty: Any, asides: Asides, words: dict[str, Any]
) -> Check:
    shape = np.shape(margin)

    def spread(number: Any) -> Any:
        return np.broadcast_to(np.asarray(number, float), shape)[()]

    return Check(
        value=spread(value),
        limit=spread(limit),
        margin=spread(margin),
        uncertainty=spread(uncertainty),
        verdict=_verdict(margin, spread(uncertainty)),
        asides=tuple(Aside(key=k, name=name, value=v, unit=unit) for k, name, v, unit in asides),
        **words,
    )


def check_below(
    value: Any, limit: Any, uncertainty: Any = 0.0, *, asides: Asides = (), **words: Any
) -> Check:
    """
    Check a value against the most it may be; NaN is no limit.

    ``ok`` from a margin of the uncertainty on, ``no`` from as much beyond. ``asides`` by key, name,
    value and unit; ``words`` are the other fields of ``Check``.
    """
    return _check(limit - value, value, limit, uncertainty, asides, words)


def check_above(
    value: Any, limit: Any, uncertainty: Any = 0.0, *, asides: Asides = (), **words: Any
) -> Check:
    """Check a value against the least it must be, as ``check_below``."""
    return _check(value - limit, value, limit, uncertainty, asides, words)


def air_text(temperature: float, relative_humidity: float) -> str:
    """A state of air for readers of either system of units, such as ``10 °C (50 °F), 40 %``."""
    fahrenheit = 32.0 + 1.8 * temperature
    return f"{temperature:.3g} °C ({fahrenheit:.0f} °F), {100.0 * relative_humidity:.0f} %"
