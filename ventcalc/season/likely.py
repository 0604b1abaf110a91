"""How sure a season's results are: the same season over what is published of the crop."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ventcalc.advice.policies import Policy, policy_named
from ventcalc.bay.description import Bay
from ventcalc.pile.crop import crop_for
from ventcalc.season.batch import figures_of
from ventcalc.season.course import use_machine_code
from ventcalc.season.kpi import Kpi
from ventcalc.season.plan import plan_of
from ventcalc.weather import Weather

__all__ = ["FIGURES", "RANGES", "Likely", "crop_points", "likely_range"]

Array = NDArray[np.float64]
RANGES = {
    "transpiration_cured": (2.5e-11, 6.0e-11),
    "respiration_settled": (8.65e-3, 14.4e-3),
    "water_activity": (0.975, 0.994),
}
"""
What is published, taken as equally likely from end to end. Transpiration of healed skin: Manona 25,
Kennebec 60 ng/(kg s Pa) (ASHRAE Refrigeration, from memory). Respiration once settled: J. Agric.
Sci. (Cambridge). Water activity: 0.98 as printed by Chau et al. 1987 (from memory), to that of
tubers that freeze at -0.6 °C.
"""
FIGURES = {"mass_loss": "shrink", "energy": "electricity", "mean_spread": "spread"}
"""Key figures that get a range, and what people call them."""
SEASONS = 16
"""Percentiles of four times as many differ by a few per cent of the range."""
STEPS = (0.8191725134, 0.6710436067, 0.5497004779)
"""
Of a Kronecker sequence, powers of the inverse of 1.2207, the root of x⁴ = x + 1; its ranks make a
Latin hypercube, every part of every range once.
"""


@dataclass(frozen=True, kw_only=True)
class Likely:
    """One key figure over the ranges of the crop."""

    low: float
    """10 % of the seasons are below. [as the figure]"""
    high: float
    """10 % of the seasons are above. [as the figure]"""
    matters_most: str
    """Name of the parameter with the greatest rank correlation."""
    rank_correlation: float
    """Of that parameter with the figure, after Spearman. [1]"""


def likely_range(
    bay: Bay, weather: Weather, policy: Policy | str = "advice", *, layers: int = 40
) -> dict[str, Likely]:
    """Range of shrink, energy and spread over published values of the crop."""
    chosen = policy_named(policy) if isinstance(policy, str) else policy
    fast, given = use_machine_code(None, chosen, SEASONS), crop_points(SEASONS)
    shared: dict[Any, Any] = {}
    found: list[Kpi] = []
    for row in given:
        crop = replace(crop_for(bay.use), **dict(zip(RANGES, row.tolist(), strict=True)))
        plan = plan_of(bay, weather, layers, None, None, None, None, None, shared, crop)
        found.append(figures_of(plan, chosen, fast))
    return {
        name: _likely(given, np.array([getattr(kpi, name) for kpi in found])) for name in FIGURES
    }


def crop_points(count: int, shift: Sequence[float] = (0.0, 0.0, 0.0)) -> Array:
    """Values of the parameters of every season: (seasons, parameters); a shift draws others."""
    place = (np.arange(count)[:, None] * np.array(STEPS) + np.array(shift)) % 1.0
    share = (place.argsort(axis=0).argsort(axis=0) + 0.5) / count
    low, high = np.array(list(RANGES.values())).T
    points: Array = low + share * (high - low)
    return points


def _likely(given: Array, figure: Array) -> Likely:
    matters = [_rank_correlation(column, figure) for column in given.T]
    most = int(np.argmax(np.abs(matters)))
    low, high = np.percentile(figure, [10.0, 90.0]).tolist()
    return Likely(
        low=low, high=high, matters_most=list(RANGES)[most], rank_correlation=matters[most]
    )


def _rank_correlation(one: Any, other: Any) -> float:
    """Spearman's, without ties. [1]"""
    first, second = (np.argsort(np.argsort(values)) for values in (one, other))
    return float(np.corrcoef(first, second)[0, 1])
