"""Performance of a cooling plant over a season: the cycle fitted once, no property call after."""

from __future__ import annotations

import csv
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

import numpy as np

from ventcalc.air.broadcast import elementwise
from ventcalc.equipment.refrigerant_cycle import cycle
from ventcalc.errors import BadInput, check_range

__all__ = [
    "PerformanceMap",
    "chebyshev_sum",
    "fit_performance",
    "performance",
    "shipped_map",
    "usual_performance",
]

SPAN = ((-20.0, 15.0), (20.0, 60.0))
"""Evaporating and condensing temperatures of the maps that ship. [°C]"""
NODES = (6, 9)
"""Of those maps, along the two sides."""
WIDER = "fit the map over a wider range"


@dataclass(frozen=True, kw_only=True, slots=True)
class PerformanceMap:
    """
    Power per cooling (1/COP) over a rectangle of temperatures, as a Chebyshev sum.

    Cheap for a season of hours: no property call after the fit.
    """

    refrigerant: str
    evaporating_range: tuple[float, float]
    """[°C]"""
    condensing_range: tuple[float, float]
    """[°C]"""
    coefficients: tuple[tuple[float, ...], ...]
    """By degree in evaporating, then condensing temperature. [1]"""


def fit_performance(
    refrigerant: str,
    *,
    evaporating_range: tuple[float, float] = (-10.0, 8.0),
    condensing_range: tuple[float, float] = (18.0, 50.0),
    superheat: float = 5.0,
    subcooling: float = 3.0,
    isentropic_efficiency: float = 0.7,
    nodes: tuple[int, int] = (5, 8),
) -> PerformanceMap:
    """Fit a performance map once, by the cycle at Chebyshev nodes."""
    evaporating, first = _nodes(evaporating_range, nodes[0])
    condensing, second = _nodes(condensing_range, nodes[1])
    result = cycle(
        refrigerant,
        evaporating_temperature=evaporating[:, None],
        condensing_temperature=condensing[None, :],
        superheat=superheat,
        subcooling=subcooling,
        isentropic_efficiency=isentropic_efficiency,
    )
    values = first @ (1.0 / result.performance) @ second.T
    return PerformanceMap(
        refrigerant=refrigerant,
        evaporating_range=evaporating_range,
        condensing_range=condensing_range,
        coefficients=tuple(tuple(float(v) for v in row) for row in values),
    )


@cache
def _shipped() -> dict[str, tuple[tuple[float, ...], ...]]:
    text = files("ventcalc").joinpath("data/refrigerant_maps.csv").read_text(encoding="utf-8")
    lines = [line for line in text.splitlines() if not line.startswith("#")]
    found: dict[str, tuple[tuple[float, ...], ...]] = {}
    for name, _, *numbers in list(csv.reader(lines))[1:]:
        found[name] = (*found.get(name, ()), tuple(map(float, numbers)))
    return found


def shipped_map(refrigerant: str) -> PerformanceMap:
    """
    The map of a refrigerant that ships with the library, so that nothing is fitted or called.

    Source: CoolProp's Helmholtz equations of state, by ``tests/published/
    fit_refrigerant_maps.py``; within 5e-6 of the cycle.
    """
    known = _shipped()
    if refrigerant not in known:
        raise BadInput(
            f"refrigerant = {refrigerant!r}: no performance map; write one of {', '.join(known)}"
        )
    evaporating, condensing = SPAN
    return PerformanceMap(
        refrigerant=refrigerant,
        evaporating_range=evaporating,
        condensing_range=condensing,
        coefficients=known[refrigerant],
    )


def _nodes(span: tuple[float, float], count: int) -> tuple[Any, Any]:
    """Chebyshev nodes in a span, and the matrix from values there to coefficients."""
    angle = np.pi * (np.arange(count) + 0.5) / count
    matrix = np.cos(np.outer(np.arange(count), angle)) * (2.0 / count)
    matrix[0] /= 2.0
    low, high = span
    return (low + high) / 2.0 + (high - low) / 2.0 * np.cos(angle), matrix


def performance(
    fitted: PerformanceMap, evaporating_temperature: Any, condensing_temperature: Any
) -> Any:
    """Cooling per compressor input (COP) from a map. [1]"""
    low, high = fitted.evaporating_range
    check_range("evaporating_temperature", evaporating_temperature, low, high, "°C", WIDER)
    coldest, hottest = fitted.condensing_range
    check_range("condensing_temperature", condensing_temperature, coldest, hottest, "°C", WIDER)

    def at(evaporating: float, condensing: float) -> float:
        x = (2.0 * evaporating - low - high) / (high - low)
        y = (2.0 * condensing - coldest - hottest) / (hottest - coldest)
        return 1.0 / chebyshev_sum(fitted.coefficients, x, y)

    return elementwise(at, evaporating_temperature, condensing_temperature)


def chebyshev_sum(coefficients: Sequence[Sequence[float]], x: float, y: float) -> float:
    """Sum of c[i][j] T_i(x) T_j(y), x and y from -1 to 1."""
    total = 0.0
    term, following = 1.0, x
    for row in coefficients:
        inner = 0.0
        one, other = 1.0, y
        for c in row:
            inner += c * one
            one, other = other, 2.0 * y * other - one
        total += term * inner
        term, following = following, 2.0 * x * following - term
    return total


def usual_performance(
    refrigerant: str, evaporating_temperature: float, condensing_temperature: float
) -> float:
    """Cooling per compressor input (COP) with usual superheat, subcooling and efficiency. [1]"""
    (coldest, warmest), (low, high) = SPAN
    within = coldest <= evaporating_temperature <= warmest and low <= condensing_temperature <= high
    if within and refrigerant in _shipped():
        made = shipped_map(refrigerant)
        return float(performance(made, evaporating_temperature, condensing_temperature))
    found = cycle(
        refrigerant,
        evaporating_temperature=evaporating_temperature,
        condensing_temperature=condensing_temperature,
    )
    return float(found.performance)
