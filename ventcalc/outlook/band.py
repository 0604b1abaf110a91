"""How sure an outlook is: runs that differ from what is told, and the band that they make."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from ventcalc.bay.description import Bay
from ventcalc.outlook.state import PileState
from ventcalc.season.steps import SensorErrors
from ventcalc.weather.forecast_errors import error_of_running_mean, forecast_errors

__all__ = ["Other", "around_first", "chosen_runs", "percentiles", "random_runs"]

Array = NDArray[np.float64]
BREATH, SKIN, AIRFLOW = 0.25, 0.35, 0.12
"""Standard deviations of the logarithms of respiration, transpiration (published values lie a
factor of two apart) and airflow, about what is told; assumptions of this project. [1]"""
TAIL = 1.2816
"""Standard deviations of a normal distribution from its mean to its 10th and 90th percentile."""

WIDER = 1.2
"""In simulated weeks of six climates, the truth none of the runs, what they held as 10 to 90 % was
three in four (``tests/benchmarks/band.py``); so much wider it is eight in ten. [1]"""
LOWEST_WIDER = 1.3
"""The same of the lowest layer in the band of chosen runs, which held it in two of three; nothing
at half the height. [1]"""


class Other(NamedTuple):
    """How a run differs from what is told."""

    temperature_difference: Array
    """Outside air by the hour. [K]"""
    dew_point_difference: Array
    """Its dew point by the hour. [K]"""
    read: SensorErrors = SensorErrors()
    """The advice goes on by what the probes read: the pile stays as wrong as it is."""
    respiration_factor: float = 1.0
    """Respiration. [1]"""
    transpiration_factor: float = 1.0
    """Transpiration. [1]"""
    airflow_factor: float = 1.0
    """[1]"""


def chosen_runs(hours: int, level: str, lead: int) -> list[Other]:
    """All that warms the pile, and all that cools it, each as far as one time in ten."""
    apart = TAIL * error_of_running_mean(hours, level=level, lead=lead)
    return [
        Other(sign * apart, sign * apart, respiration_factor=math.exp(sign * TAIL * BREATH))
        for sign in (1.0, -1.0)
    ]


def random_runs(
    bay: Bay, state: PileState, hours: int, level: str, lead: int, count: int, seed: int
) -> list[Other]:
    """Each second one with the errors of the one before turned round."""
    told = forecast_errors(lead + hours, level=level, seed=seed, runs=count, bias=False)
    pairs = np.random.default_rng([seed, 1 << 20]).normal(size=(-(-count // 2), 9))
    drawn = np.stack([pairs, -pairs], axis=1).reshape(-1, 9)[:count]
    warm, moist = bay.sensors.temperature, bay.sensors.humidity
    probes = drawn[:, :6] * [warm, moist, warm, moist, warm, state.standard_uncertainty]
    factors = np.exp(drawn[:, 6:] * [BREATH, SKIN, AIRFLOW])
    return [
        Other(told[0][k, lead:], told[1][k, lead:], SensorErrors(*probes[k].tolist()),
               *factors[k].tolist())
        for k in range(count)
    ]  # fmt: skip


def percentiles(values: Array) -> tuple[Array, Array]:
    """
    10th and 90th, and beyond the median so much more as no run knows of.

    Of few runs the outermost stand for more than their share: by rank in one more than all.
    """
    low, middle, high = np.percentile(values, [10.0, 50.0, 90.0], axis=0, method="weibull")
    return middle - WIDER * (middle - low), middle + WIDER * (high - middle)


def around_first(pulp: Array, bay: Bay, sure: float) -> tuple[Array, Array]:
    """
    Both sides of the first run, each as far as a chosen run goes, and in quadrature how well the
    pile is known and what chance adds: an hour sooner or later, cooling starts and stops anywhere
    within its hysteresis. Of layers (last axis of three) the low ones follow the supply hour by
    hour, for which they are made wider.
    """
    wider = np.ones(1)
    if pulp.ndim == 3:
        heights = (np.arange(pulp.shape[2]) + 0.5) / pulp.shape[2]
        wider = np.interp(heights, [0.0, 0.5], [LOWEST_WIDER, 1.0])
    chance = 0.4 * (bay.control.start_above - bay.control.stop_above)
    more = math.hypot(chance, TAIL * sure)
    first, down, up = pulp[0], pulp[0] - pulp.min(axis=0), pulp.max(axis=0) - pulp[0]
    return first - wider * np.hypot(down, more), first + wider * np.hypot(up, more)
