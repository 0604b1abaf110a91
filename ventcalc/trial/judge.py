"""Which method did best: regret against the best of each case, and what disqualifies."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ventcalc.trial.seasons import Table

__all__ = ["FIGURES", "Judgement", "Standing", "judge"]

Array = NDArray[np.float64]
FIGURES: dict[str, Callable[[Array], Any]] = {
    "off_plan_kelvin_hours": np.mean,
    "cost": np.mean,
    "mass_loss": np.mean,
    "energy": np.mean,
    "ramp_hours": np.mean,
    "spread_hours": np.mean,
    "wet_crop_hours": np.mean,
    "condensed_on_crop": np.mean,
    "co2_excess": np.mean,
    "coldest_tuber": np.min,
    "hottest_tuber": np.max,
    "frozen_minutes": np.max,
}
"""What is told of each method, as of ``Kpi``, and how seasons are put together."""
FREEZING = 0.0
"""
A layer of the pile colder than that: its coldest tuber is colder than its mean, and potatoes freeze
at -0.6 to -1 °C. [°C]
"""
MOST_CONDENSED = 1.0
"""Water condensed on the crop in a season that counts as wetting; our own, no source. [kg/t]"""
HOTTEST = 30.0
"""A crop above it is lost, as ``Kpi`` has it. [°C]"""
RESAMPLED = 2000
FEWEST_PLACES = 3
"""Bays and climates from which on the bootstrap draws those, and not single cases."""
BELIEVED = (2.5, 97.5)
"""[%]"""


@dataclass(frozen=True, kw_only=True, eq=False)
class Standing:
    """A method over all its cases; regret is of those without harm, figures of all that ran."""

    method: str
    seasons: int
    """[1]"""
    out: int
    """Seasons that disqualify it. [1]"""
    regret: float
    """Mean. [money/t]"""
    low: float
    """Of its 95 % interval. [money/t]"""
    high: float
    """[money/t]"""
    worst: float
    """Greatest regret of a case. [money/t]"""
    figures: dict[str, float]
    """Mean, lowest or highest over the seasons, as ``FIGURES`` says; [any]."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Judgement:
    """All methods, and each season."""

    standings: tuple[Standing, ...]
    """Those that nothing disqualifies first, then by mean regret."""
    regret: Array
    """
    Cost with what is off plan, less that of the best method of the same case; NaN where it did
    harm. [money/t]
    """
    out: NDArray[Any]
    """What disqualifies a method in a season: freezing, wetting, heat, stopped; else empty."""
    worst_first: NDArray[np.int64]
    """Places of the seasons: what did harm by its cost, then by regret. [1]"""
    cases: int
    """[1]"""
    hopeless: int
    """Cases in which every method did harm. [1]"""
    places: int
    """Bays times climates; the bootstrap draws them where there are three or more. [1]"""


def judge(seasons: Table, methods: Sequence[str], seed: int, off_plan_price: float) -> Judgement:
    """
    Judge the seasons of a trial; ``seed`` is that of the bootstrap. [money/t per 1000 K h off plan]
    """
    out = _why_out(seasons)
    score = seasons["cost"] + off_plan_price * seasons["off_plan_kelvin_hours"] / 1000.0
    case = _numbered(seasons, ("bay", "climate", "fault", "draw"))
    place = _numbered(seasons, ("bay", "climate"))
    sound = out == ""
    best = _best(score, case, sound)
    regret = np.where(sound, score - best[case], np.nan)
    grave = np.where(sound, regret, np.nan_to_num(score, nan=np.inf))
    rng = np.random.default_rng(seed)
    standings = [
        _standing(name, seasons, regret, out, place, rng)
        for name in methods
        if (seasons["method"] == name).any()
    ]
    return Judgement(
        standings=tuple(
            sorted(standings, key=lambda one: (one.out, np.nan_to_num(one.regret, nan=np.inf)))
        ),
        regret=regret,
        out=out,
        worst_first=np.lexsort((-grave, sound)),
        cases=len(best),
        hopeless=int(np.isnan(best).sum()),
        places=int(place.max()) + 1,
    )


def _why_out(seasons: Table) -> NDArray[Any]:
    """The gravest harm of each season."""
    harms = (
        ("heat", seasons["hottest_tuber"] > HOTTEST),
        ("wetting", seasons["condensed_on_crop"] > MOST_CONDENSED),
        ("freezing", seasons["coldest_tuber"] < FREEZING),
        ("stopped", seasons["stopped"] != ""),
    )
    out = np.full(len(seasons["method"]), "", dtype=object)
    for name, where in harms:
        out[where] = name
    return out


def _numbered(seasons: Table, names: Sequence[str]) -> NDArray[np.int64]:
    """The same number for rows that have the same in all these columns."""
    known: dict[Any, int] = {}
    rows = zip(*(seasons[name].tolist() for name in names), strict=True)
    return np.array([known.setdefault(row, len(known)) for row in rows])


def _best(score: Array, case: NDArray[np.int64], sound: NDArray[np.bool_]) -> Array:
    """Least score of each case, of the methods that did no harm there; NaN where all did."""
    best = np.full(case.max() + 1, np.inf)
    np.minimum.at(best, case[sound], score[sound])
    return np.where(np.isinf(best), np.nan, best)


def _standing(
    name: str,
    seasons: Table,
    regret: Array,
    out: NDArray[Any],
    place: NDArray[np.int64],
    rng: np.random.Generator,
) -> Standing:
    mine = seasons["method"] == name
    ran, sound = mine & (seasons["stopped"] == ""), mine & np.isfinite(regret)
    low, high = _interval(regret[sound], place[sound], rng)
    unknown = float("nan")
    return Standing(
        method=name,
        seasons=int(mine.sum()),
        out=int((out[mine] != "").sum()),
        regret=float(regret[sound].mean()) if sound.any() else unknown,
        low=low,
        high=high,
        worst=float(regret[sound].max()) if sound.any() else unknown,
        figures={
            figure: float(together(seasons[figure][ran])) if ran.any() else unknown
            for figure, together in FIGURES.items()
        },
    )


def _interval(
    values: Array, place: NDArray[np.int64], rng: np.random.Generator
) -> tuple[float, float]:
    """
    Bootstrap interval of the mean (percentiles; Efron and Tibshirani 1993, chapter 13).

    Cases of one place are alike: where there are some places, those are drawn, all their cases
    with them.
    """
    if values.size < 2:
        return float("nan"), float("nan")
    kinds, number = np.unique(place, return_inverse=True)
    if kinds.size < FEWEST_PLACES:
        number = np.arange(values.size)
    total, count = np.bincount(number, values), np.bincount(number)
    drawn = rng.integers(0, total.size, (RESAMPLED, total.size))
    means = total[drawn].sum(axis=1) / count[drawn].sum(axis=1)
    low, high = np.percentile(means, BELIEVED).tolist()
    return low, high
