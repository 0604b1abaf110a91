"""
Five parameters of a bay, fitted to its log, and checked on its last third.

Each is a factor on what the bay file or the crop data say, with a prior: what they are known to
before any log. What the log does not tell better than that keeps its prior.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ventcalc.bay.description import Bay
from ventcalc.calibration.least_squares import (
    PRIORS,
    SETTLES,
    Drift,
    Fit,
    Problem,
    Residual,
    crop_with,
    fitted,
    with_factors,
)
from ventcalc.calibration.replay import pressure_in, told_by
from ventcalc.diagnose.log import Log
from ventcalc.errors import BadInput, OutOfRange
from ventcalc.pile.crop import Crop, crop_for
from ventcalc.season.installed import as_installed
from ventcalc.weather import Weather

__all__ = ["FittedBay", "FittedFactor", "fit_bay"]

IDENTIFIED = 0.5
"""A factor is told where its uncertainty is below this part of its prior. [1]"""
NO_SUN = (
    "without sunlight (--weather) nobody can tell the sun on the roof from heat through it: the "
    "envelope stays as described"
)


@dataclass(frozen=True, kw_only=True, slots=True)
class FittedFactor:
    """One factor on what the bay file or the crop data say."""

    name: str
    factor: float
    """1 where the log does not tell it. [1]"""
    low: float
    """Factor less and more than twice its standard uncertainty. [1]"""
    high: float
    """[1]"""
    doubt: float
    """Standard uncertainty of the logarithm, by log and prior together. [1]"""
    identified: bool
    """Whether the log tells it; else it keeps its prior."""


@dataclass(frozen=True, kw_only=True, eq=False)
class FittedBay:
    """A bay as its log shows it."""

    factors: tuple[FittedFactor, ...]
    tied: tuple[tuple[str, str], ...]
    """Pairs that the log can hardly tell apart."""
    drifts: tuple[Drift, ...]
    """Of probes, taken off beside the factors."""
    strengths: tuple[float, ...]
    """Singular values of the slopes over the priors, strongest first: below 1 the log says less of
    that combination than was known. [1]"""
    residuals: tuple[Residual, ...]
    """Of the last third, each probe's mean error in the fitted part taken off."""
    better: bool
    """Whether most of what was read in the last third is met more closely as fitted."""
    differs: bool
    """Whether any factor is told and its likely range leaves 1 out."""
    bay: Bay
    """The description with airflow, envelope and fan power as fitted."""
    crop: Crop
    """With transpiration and respiration as fitted; no key of a bay file holds them."""
    fitted_hours: int
    checked_hours: int
    notes: tuple[str, ...]


def fit_bay(bay: Bay, log: Log, weather: Weather | None = None, *, layers: int = 20) -> FittedBay:
    """
    Fit airflow, transpiration, respiration, envelope and fan power of a bay to its log.

    Parameters
    ----------
    bay : Bay
        As described.
    log : Log
        Readings and positions, ten days of a full bay or more; of a longer one the last 60 days.
    weather : Weather, optional
        Sun, sky and wind of the same hours; without it the roof feels no sun.
    layers : int
        Layers of the pile.

    Returns
    -------
    FittedBay
        Factors with their uncertainty, and what they are worth on the last third of the log.

    Raises
    ------
    BadInput
        If the log lacks what the bay model needs, or leads it out of its range.
    """
    installed, crop = as_installed(bay, pressure=pressure_in(log)), crop_for(bay.use)
    told = told_by(installed, log, weather)
    problem = Problem(installed, crop, told, layers)
    try:
        tried = [name for name in PRIORS if told.sunlit or name != "envelope"]
        found = fitted(problem, tried)
        names = [name for name in tried if found.doubt[name] < IDENTIFIED * PRIORS[name]]
        last = found if names == tried or not names else fitted(problem, names)
        if not names:
            last = Fit(dict.fromkeys(PRIORS, 0.0), found.doubt, found.tied, found.drifts,
                        found.strengths)  # fmt: skip
        residuals = problem.residuals(last.logs)
    except OutOfRange as error:
        raise BadInput(
            f"the bay model leaves its range under the log's positions: {error}; are fan speed, "
            "door and coil logged from 0 to 1?"
        ) from None
    doubt = {**PRIORS, **found.doubt, **{name: last.doubt[name] for name in names}}
    factors = [
        FittedFactor(
            name=name,
            factor=float(np.exp(last.logs.get(name, 0.0))),
            low=float(np.exp(last.logs.get(name, 0.0) - 2.0 * doubt[name])),
            high=float(np.exp(last.logs.get(name, 0.0) + 2.0 * doubt[name])),
            doubt=doubt[name],
            identified=name in names,
        )
        for name in PRIORS
    ]
    return FittedBay(
        factors=tuple(factors),
        tied=found.tied,
        drifts=last.drifts,
        strengths=found.strengths,
        residuals=tuple(residuals),
        better=2 * sum(one.after < one.before for one in residuals) > len(residuals),
        differs=any(one.identified and not one.low < 1.0 < one.high for one in factors),
        bay=with_factors(bay, last.logs),
        crop=crop_with(crop, last.logs),
        fitted_hours=problem.cut - SETTLES,
        checked_hours=len(told.hours) - problem.cut,
        notes=told.notes if told.sunlit else (NO_SUN, *told.notes),
    )
