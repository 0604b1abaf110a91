"""
Least squares by Gauss and Newton: the factors of a bay against what its probes read.

Every probe has an offset and a drift of its own beside the factors.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ventcalc.bay.description import Bay
from ventcalc.calibration.replay import Told, outside_less, replayed
from ventcalc.pile.crop import Crop, other_crop

__all__ = ["PRIORS", "SETTLES", "Drift", "Fit", "Problem", "Residual", "crop_with", "fitted",
           "with_factors"]  # fmt: skip

Array = NDArray[np.float64]

PRIORS = {
    "airflow": 0.15, "transpiration": 0.4, "respiration": 0.25, "envelope": 0.3, "fan_power": 0.2,
}  # fmt: skip
"""Standard uncertainty of each factor, of its logarithm, before any log; transpiration and
respiration span what is published, the others are common practice, no source. [1]"""
OUTSIDE = {"outside_temperature": 0.5, "outside_humidity": 0.04}
"""Constant error of the outside probe, which the model breathes by: fitted beside, not told. Left
out, transpiration is a third off by a humidity probe 7 % off, and says that it is sure.
[K, 0-1]"""
NOISE = {"temperature": 0.15, "humidity": 0.015, "energy": 0.05}
"""Of an hour, bay model and probe together; energy as part of the mean. [K, 0-1, 1]"""
OFFSET = {"temperature": 0.3, "humidity": 0.03, "energy": 0.02}
"""Constant error of a probe, fitted beside the factors. [K, 0-1, 1]"""
DRIFT = {"temperature": 0.2, "humidity": 0.02, "energy": 0.01}
"""Its change from the first hour fitted to the last; a cable that ages or a sensor that gets wet
goes much further than a sound probe, common practice, no source. [K, 0-1, 1]"""
DRIFTS, USUAL, LIKE = 3.0, 1.5, 0.5
"""Standard uncertainties, and times what is usual, beyond which a drift is told; correlation with a
factor from which on the factor may have taken some of it. [1]"""
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
USED = 2.0 / 3.0
"""Part of the hours that is fitted; the rest checks. [1]"""


@dataclass(frozen=True, kw_only=True, slots=True)
class Drift:
    """A probe whose error changed while the others' did not."""

    what: str
    """Channel."""
    change: float
    """From the first hour fitted to the last. [K, 0-1]"""
    doubt: float
    """Standard uncertainty of that. [K, 0-1]"""
    like: str
    """Factor that looks nearly the same in this log; empty for none."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Residual:
    """Root mean square of what was read less what the model gives, in hours not fitted."""

    what: str
    before: float
    """As described; [K, 0-1, J]."""
    after: float
    """As fitted; [K, 0-1, J]."""


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


@dataclass(frozen=True, eq=False)
class Fit:
    """Logarithms of the factors, their standard uncertainty, and what else the log told."""

    logs: dict[str, float]
    doubt: dict[str, float]
    tied: tuple[tuple[str, str], ...]
    drifts: tuple[Drift, ...]
    strengths: tuple[float, ...]
    """Of what the log tells beside what was known, by independent combinations. [1]"""


class Problem:
    """The log's channels against the model's, in units of their noise."""

    def __init__(self, bay: Bay, crop: Crop, told: Told, layers: int) -> None:
        self.bay, self.crop, self.told, self.layers = bay, crop, told, layers
        self.cut = int(USED * len(told.hours))
        self.channels = [
            name for name, x in told.seen.items() if np.isfinite(x[SETTLES : self.cut]).any()
        ]
        self.known: dict[tuple[float, ...], dict[str, Array]] = {}

    def model(self, logs: dict[str, float]) -> dict[str, Array]:
        """What each channel would read."""
        key = tuple(logs.get(name, 0.0) for name in (*PRIORS, *OUTSIDE))
        if key not in self.known:
            crop, outside = crop_with(self.crop, logs), [logs.get(name, 0.0) for name in OUTSIDE]
            told = outside_less(self.told, *outside) if any(outside) else self.told
            self.known[key] = replayed(with_factors(self.bay, logs), crop, told, self.layers)
        return self.known[key]

    def scale(self, name: str) -> float:
        """Noise of a channel. [K, 0-1, J]"""
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


def fitted(problem: Problem, names: Sequence[str]) -> Fit:
    """Gauss-Newton with priors; every probe has errors of its own beside."""
    at = dict.fromkeys((*PRIORS, *OUTSIDE), 0.0)
    factors, names = len(names), [*names, *OUTSIDE]
    prior = np.array([{**PRIORS, **OUTSIDE}[name] for name in names])
    own = np.array([
        usual[kind] / NOISE[kind]
        for usual in (OFFSET, DRIFT) for kind in map(_kind, problem.channels)
    ])  # fmt: skip
    moved, slopes = np.inf, np.empty((0, 0))
    for _ in range(ROUNDS):
        misses = problem.misses(at)
        known = [np.isfinite(miss) for miss in misses]
        rest = np.concatenate([miss[k] for miss, k in zip(misses, known, strict=True)])
        if moved > ANEW:
            slopes = _slopes(problem, names, at, misses, known)
        here = np.array([at[name] for name in names])
        weights = np.concatenate([1.0 / prior, 1.0 / own])
        target = np.concatenate([rest + slopes[:, : len(names)] @ here, np.zeros(len(weights))])
        best = np.linalg.lstsq(np.vstack([slopes, np.diag(weights)]), target, rcond=None)[0]
        step = np.clip(best[: len(names)] - here, -FARTHEST, FARTHEST)
        at = {**at, **dict(zip(names, (here + step).tolist(), strict=True))}
        moved = float(np.max(np.abs(step)))
        if moved < ENOUGH:
            break
    channels = len(problem.channels)
    both = best[len(names) :].reshape(2, channels)
    left = [
        (miss - offset - drift * _ramp(len(miss)))[k]
        for miss, offset, drift, k in zip(problem.misses(at), *both, known, strict=True)
    ]
    doubled = _repeated(left)
    cover = np.linalg.inv(slopes.T @ slopes / doubled + np.diag(weights**2))
    cover[:factors, :factors] += ALWAYS**2 * np.eye(factors)
    doubt = np.sqrt(np.diag(cover))
    related = cover / np.outer(doubt, doubt)
    constant = slopes[:, len(names) : len(names) + channels]
    free = slopes[:, :factors]
    free = free - constant @ np.linalg.lstsq(constant, free, rcond=None)[0]
    strengths = np.linalg.svd(free * prior[:factors] / np.sqrt(doubled), compute_uv=False)
    ramps, told = slice(len(names) + channels, None), names[:factors]
    return Fit(
        logs=at,
        doubt=dict(zip(told, doubt[:factors].tolist(), strict=True)),
        tied=tuple(
            (names[i], names[j])
            for i in range(factors)
            for j in range(i)
            if abs(float(related[i, j])) > TIED
        ),
        drifts=_drifts(problem, told, both[1], doubt[ramps], related[ramps, :factors]),
        strengths=tuple(strengths.tolist()),
    )


def _drifts(
    problem: Problem, names: Sequence[str], changes: Array, doubts: Array, related: Array
) -> tuple[Drift, ...]:
    """Those that stand out; how alike each is to the factors."""
    found = []
    for channel, change, doubt, like in zip(
        problem.channels, changes.tolist(), doubts.tolist(), np.abs(related), strict=True
    ):
        scale, kind = problem.scale(channel), _kind(channel)
        usual = DRIFT[kind] / NOISE[kind]
        if kind != "energy" and abs(change) > max(DRIFTS * doubt, USUAL * usual):
            found.append(
                Drift(
                    what=channel,
                    change=change * scale,
                    doubt=doubt * scale,
                    like=names[int(np.argmax(like))] if float(np.max(like)) > LIKE else "",
                )
            )
    return tuple(found)


def _ramp(count: int) -> Array:
    """Of a drift by one: from half below nothing to half above it. [1]"""
    return np.linspace(-0.5, 0.5, count)


def _slopes(
    problem: Problem,
    names: Sequence[str],
    at: dict[str, float],
    misses: list[Array],
    known: list[NDArray[np.bool_]],
) -> Array:
    """Of the model by each factor, by each channel's offset and drift. (readings, unknowns)"""
    columns = []
    for name in names:
        moved = problem.misses({**at, name: at[name] + STEP})
        parts = [(a - b)[k] / STEP for a, b, k in zip(misses, moved, known, strict=True)]
        columns.append(np.nan_to_num(np.concatenate(parts)))
    which = np.concatenate([np.full(k.sum(), i) for i, k in enumerate(known)])
    constant = (which[:, None] == np.arange(len(known))).astype(float)
    ramp = np.concatenate([_ramp(len(k))[k] for k in known])
    return np.column_stack([*columns, constant, constant * ramp[:, None]])


def _repeated(rest: list[Array]) -> float:
    """
    How many hours stand for one that is new: misses come back hour after hour.

    Their mean square over what was expected, times (1 + r) / (1 - r), r between neighbours. [1]
    """
    total = sum(float(np.sum(x * x)) for x in rest)
    along = sum(float(np.sum(x[1:] * x[:-1])) for x in rest)
    related = min(max(along / max(total, 1e-12), 0.0), 0.99)
    size = total / max(sum(len(x) for x in rest), 1)
    return max(size, 1.0) * (1.0 + related) / (1.0 - related)
