"""
Five parameters of a bay, fitted to its log by Gauss and Newton, and checked on its last third.

Each is a factor on what the bay file or the crop data say, with a prior: what they are known to
before any log. What the log does not tell better than that keeps its prior.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ventcalc.bay.description import Bay
from ventcalc.calibration.replay import Told, pressure_in, replayed, told_by
from ventcalc.diagnose.log import Log
from ventcalc.errors import BadInput, OutOfRange
from ventcalc.pile.crop import Crop, crop_for, other_crop
from ventcalc.season.installed import as_installed
from ventcalc.weather import Weather

__all__ = ["PRIORS", "FittedBay", "FittedFactor", "Residual", "fit_bay"]

Array = NDArray[np.float64]

PRIORS = {
    "airflow": 0.15, "transpiration": 0.4, "respiration": 0.25, "envelope": 0.3, "fan_power": 0.2,
}  # fmt: skip
"""Standard uncertainty of each factor, of its logarithm, before any log; transpiration and
respiration span what is published, the others are common practice, no source. [1]"""
NOISE = {"temperature": 0.15, "humidity": 0.015, "energy": 0.05}
"""Of an hour, bay model and probe together; energy as part of the mean. [K, 0-1, 1]"""
OFFSET = {"temperature": 0.3, "humidity": 0.03, "energy": 0.02}
"""Constant error of a probe, fitted beside the factors. [K, 0-1, 1]"""
IDENTIFIED = 0.5
"""A factor is told where its uncertainty is below this part of its prior. [1]"""
TIED = 0.9
"""Correlation of two factors from which on only both together are told. [1]"""
STEP, ENOUGH, ROUNDS = 0.05, 0.01, 5
"""Of a difference; change that ends the search; most rounds. [1]"""
ANEW = 0.1
"""Change beyond which the slopes are found anew. [1]"""
FARTHEST = 0.7
"""No factor moves further in a round, of its logarithm. [1]"""
SETTLES = 48
"""Hours at the start in which the pile still shows what lay between its probes. [h]"""
ALWAYS = 0.03
"""Of every factor, beside what the misses show: pile and plenum are not quite as modelled, and an
hour holds means of positions; common practice, no source. [1]"""
NO_SUN = (
    "without sunlight (--weather) nobody can tell the sun on the roof from heat through it: the "
    "envelope stays as described"
)
USED = 2.0 / 3.0
"""Part of the hours that is fitted; the rest checks. [1]"""


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


@dataclass(frozen=True, kw_only=True, slots=True)
class Residual:
    """Root mean square of what was read less what the model gives, in hours not fitted."""

    what: str
    before: float
    """As described; [K, 0-1, J]."""
    after: float
    """As fitted; [K, 0-1, J]."""


@dataclass(frozen=True, kw_only=True, eq=False)
class FittedBay:
    """A bay as its log shows it."""

    factors: tuple[FittedFactor, ...]
    tied: tuple[tuple[str, str], ...]
    """Pairs that the log can hardly tell apart."""
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
    problem = _Problem(installed, crop, told, layers)
    try:
        tried = [name for name in PRIORS if told.sunlit or name != "envelope"]
        found = _fitted(problem, tried)
        names = [name for name in tried if found.doubt[name] < IDENTIFIED * PRIORS[name]]
        last = found if names == tried or not names else _fitted(problem, names)
        if not names:
            last = _Fit(dict.fromkeys(PRIORS, 0.0), found.doubt, found.tied, found.strengths)
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


def with_factors(bay: Bay, logs: dict[str, float]) -> Bay:
    """A bay with other airflow, envelope and fan power, by the logarithms of their factors."""
    air, shell, power = (
        float(np.exp(logs.get(name, 0.0))) for name in ("airflow", "envelope", "fan_power")
    )
    fans = bay.fans
    curve = fans.curve_airflow
    fans = replace(
        fans,
        airflow=fans.airflow * air,
        efficiency=fans.efficiency * air / power,
        curve_airflow=None if curve is None else tuple(flow * air for flow in curve),
    )
    envelope = replace(
        bay.envelope, wall_u=bay.envelope.wall_u * shell, ceiling_u=bay.envelope.ceiling_u * shell
    )
    return replace(bay, fans=fans, envelope=envelope)


def crop_with(crop: Crop, logs: dict[str, float]) -> Crop:
    """A crop by the logarithms of its factors."""
    factors = (float(np.exp(logs.get(name, 0.0))) for name in ("transpiration", "respiration"))
    return other_crop(crop, *factors)


# --- least squares -----------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class _Fit:
    logs: dict[str, float]
    doubt: dict[str, float]
    tied: tuple[tuple[str, str], ...]
    strengths: tuple[float, ...]


class _Problem:
    """The log's channels against the model's, in units of their noise."""

    def __init__(self, bay: Bay, crop: Crop, told: Told, layers: int) -> None:
        self.bay, self.crop, self.told, self.layers = bay, crop, told, layers
        self.cut = int(USED * len(told.hours))
        self.channels = [
            name for name, x in told.seen.items() if np.isfinite(x[SETTLES : self.cut]).any()
        ]
        self.known: dict[tuple[float, ...], dict[str, Array]] = {}

    def model(self, logs: dict[str, float]) -> dict[str, Array]:
        key = tuple(logs.get(name, 0.0) for name in PRIORS)
        if key not in self.known:
            crop = crop_with(self.crop, logs)
            self.known[key] = replayed(with_factors(self.bay, logs), crop, self.told, self.layers)
        return self.known[key]

    def scale(self, name: str) -> float:
        mean = float(np.nanmean(self.told.seen[name])) if name == "energy" else 1.0
        return NOISE[_kind(name)] * max(mean, 1e-9)

    def misses(self, logs: dict[str, float]) -> list[Array]:
        """Read less modelled of the fitted hours, by channel; NaN where nothing was read. [1]"""
        model = self.model(logs)
        return [
            (self.told.seen[name] - model[name])[SETTLES : self.cut] / self.scale(name)
            for name in self.channels
        ]

    def residuals(self, logs: dict[str, float]) -> list[Residual]:
        """Of the hours that were not fitted, before and after."""
        sums: dict[str, list[tuple[Array, Array]]] = {}
        for name in self.channels:
            both = []
            for given in ({}, logs):
                miss = self.told.seen[name] - self.model(given)[name]
                both.append(miss[self.cut :] - np.nanmean(miss[SETTLES : self.cut]))
            what = name.partition(" ")[0] if name.startswith("pulp") else name
            if np.isfinite(both[0]).any():
                sums.setdefault(what, []).append((both[0], both[1]))
        return [
            Residual(
                what=what,
                before=float(np.sqrt(np.nanmean(np.concatenate([a for a, _ in pairs]) ** 2))),
                after=float(np.sqrt(np.nanmean(np.concatenate([b for _, b in pairs]) ** 2))),
            )
            for what, pairs in sums.items()
        ]


def _kind(channel: str) -> str:
    return channel if channel == "energy" else (
        "humidity" if channel.endswith("humidity") else "temperature")  # fmt: skip


def _fitted(problem: _Problem, names: Sequence[str]) -> _Fit:
    """Gauss-Newton with priors; every channel has a constant offset of its own beside."""
    at = dict.fromkeys(PRIORS, 0.0)
    prior = np.array([PRIORS[name] for name in names])
    offsets = np.array([OFFSET[_kind(x)] / NOISE[_kind(x)] for x in problem.channels])
    moved, slopes = np.inf, np.empty((0, 0))
    for _ in range(ROUNDS):
        misses = problem.misses(at)
        known = [np.isfinite(miss) for miss in misses]
        rest = np.concatenate([miss[k] for miss, k in zip(misses, known, strict=True)])
        if moved > ANEW:
            slopes = _slopes(problem, names, at, misses, known)
        here = np.array([at[name] for name in names])
        weights = np.concatenate([1.0 / prior, 1.0 / offsets])
        target = np.concatenate([rest + slopes[:, : len(names)] @ here, np.zeros(len(weights))])
        best = np.linalg.lstsq(np.vstack([slopes, np.diag(weights)]), target, rcond=None)[0]
        step = np.clip(best[: len(names)] - here, -FARTHEST, FARTHEST)
        at = {**at, **dict(zip(names, (here + step).tolist(), strict=True))}
        moved = float(np.max(np.abs(step)))
        if moved < ENOUGH:
            break
    left = [miss[k] for miss, k in zip(problem.misses(at), known, strict=True)]
    doubled = _repeated(left, best[len(names) :])
    cover = np.linalg.inv(slopes.T @ slopes / doubled + np.diag(weights**2))[: len(names)]
    cover = cover[:, : len(names)]
    cover = cover + ALWAYS**2 * np.eye(len(names))
    doubt = np.sqrt(np.diag(cover))
    related = cover / np.outer(doubt, doubt)
    free = slopes - slopes[:, len(names) :] @ np.linalg.lstsq(
        slopes[:, len(names) :], slopes, rcond=None)[0]  # fmt: skip
    strengths = np.linalg.svd(free[:, : len(names)] * prior / np.sqrt(doubled), compute_uv=False)
    return _Fit(
        logs=at,
        doubt=dict(zip(names, doubt.tolist(), strict=True)),
        tied=tuple(
            (names[i], names[j])
            for i in range(len(names))
            for j in range(i)
            if abs(related[i, j]) > TIED
        ),
        strengths=tuple(strengths.tolist()),
    )


def _slopes(
    problem: _Problem,
    names: Sequence[str],
    at: dict[str, float],
    misses: list[Array],
    known: list[NDArray[np.bool_]],
) -> Array:
    """Of the model by each factor, and by each channel's offset. (readings, unknowns)"""
    columns = []
    for name in names:
        moved = problem.misses({**at, name: at[name] + STEP})
        parts = [(a - b)[k] / STEP for a, b, k in zip(misses, moved, known, strict=True)]
        columns.append(np.nan_to_num(np.concatenate(parts)))
    which = np.concatenate([np.full(k.sum(), i) for i, k in enumerate(known)])
    constant = (which[:, None] == np.arange(len(known))).astype(float)
    return np.column_stack([*columns, constant])


def _repeated(misses: list[Array], offsets: Array) -> float:
    """
    How many hours stand for one that is new: misses come back hour after hour.

    Their mean square over what was expected, times (1 + r) / (1 - r), r between neighbours. [1]
    """
    rest = [miss - offset for miss, offset in zip(misses, offsets, strict=True)]
    total = sum(float(np.sum(x * x)) for x in rest)
    along = sum(float(np.sum(x[1:] * x[:-1])) for x in rest)
    related = min(max(along / max(total, 1e-12), 0.0), 0.99)
    size = total / max(sum(len(x) for x in rest), 1)
    return max(size, 1.0) * (1.0 + related) / (1.0 - related)
