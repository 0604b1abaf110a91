"""One fan: the curve through its points, and the fan laws."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ventcalc.equipment._arrays import plain
from ventcalc.errors import BadInput, check_range

__all__ = ["FanCurve", "assumed_curve"]

Array = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class FanCurve:
    """
    One fan as tested: points joined by a curve that rises and falls only where they do.

    Parameters
    ----------
    airflow : sequence of float
        At the points, rising, first 0 if the pressure against shut doors is known. [m³/s]
    static_pressure : sequence of float
        At the points. [Pa]
    density : float
        Density of the air in the test. [kg/m³]
    shaft_power : sequence of float, optional
        At the points; else give ``efficiency`` or neither. [W]
    efficiency : sequence of float, optional
        Airflow times static pressure over shaft power, at the points; a 0 says nothing. [0-1]
    reference_speed : float
        Speed in the test, in the unit of the ``fan_speed`` that is asked for later. [any]
    accept_stall : bool
        Whether the pressure may rise with airflow somewhere (a dip, stall); results in that
        region are then marked.

    Raises
    ------
    BadInput
        With one line for each thing that is wrong.

    References
    ----------
    .. [1] F. N. Fritsch, R. E. Carlson, Monotone piecewise cubic interpolation, SIAM J. Numer.
       Anal. 17 (1980) 238-246; slopes by F. N. Fritsch, J. Butland, SIAM J. Sci. Stat. Comput.
       5 (1984) 300-304.
    """

    airflow: Sequence[float]
    static_pressure: Sequence[float]
    density: float = 1.2
    shaft_power: Sequence[float] | None = None
    efficiency: Sequence[float] | None = None
    reference_speed: float = 1.0
    accept_stall: bool = False

    def __post_init__(self) -> None:
        problems = _curve_problems(self)
        if problems:
            raise BadInput(problems)

    @cached_property
    def pressure_curve(self) -> _Monotone:
        """Airflow to static pressure, both as tested."""
        return _Monotone(self.airflow, self.static_pressure)

    @cached_property
    def power_curve(self) -> _Monotone | None:
        """Airflow to shaft power, both as tested; None if the points do not tell."""
        if self.shaft_power is not None:
            return _Monotone(self.airflow, self.shaft_power)
        if self.efficiency is None:
            return None
        q, p, e = (np.array(v) for v in (self.airflow, self.static_pressure, self.efficiency))
        known = e > 0.0
        return _Monotone(q[known], q[known] * p[known] / e[known])

    @property
    def stall_airflow(self) -> float:
        """Airflow of the last peak: left of it the fan stalls; 0 if the curve only falls. [m³/s]"""
        rises = np.flatnonzero(np.diff(self.static_pressure) > 0.0)
        return float(self.airflow[rises[-1] + 1]) if rises.size else 0.0

    def pressure_at(self, airflow: Any, *, fan_speed: Any = None, density: Any = None) -> Any:
        """Static pressure by the fan laws; NaN outside the points (never extrapolated). [Pa]"""
        speed, dense = ratios(self, fan_speed, density)
        with np.errstate(divide="ignore", invalid="ignore"):
            return plain(speed**2 * dense * self.pressure_curve(np.asarray(airflow, float) / speed))


SHUTOFF_RATIO = 1.4
"""Pressure against shut doors over that at the known point (common practice, no source). [1]"""


def assumed_curve(
    airflow: float,
    static_pressure: float,
    *,
    fan_efficiency: float,
    density: float = 1.2,
) -> FanCurve:
    """
    A curve assumed around the one point that is known; use the maker's points if there are any.

    Parameters
    ----------
    airflow : float
        Of one fan at the known point. [m³/s]
    static_pressure : float
        At the known point. [Pa]
    fan_efficiency : float
        Airflow times static pressure over shaft power there. [0-1]
    density : float
        Density of the air there. [kg/m³]

    Returns
    -------
    FanCurve
        A falling parabola and constant shaft power. Common practice, no source: good near the
        known point, a guess far from it.

    Raises
    ------
    OutOfRange
        If the efficiency is out of range.
    BadInput
        If the efficiency leaves too little power for the curve's best point.
    """
    check_range("fan_efficiency", fan_efficiency, 0.05, 0.95, "", "percent?")
    free = math.sqrt(SHUTOFF_RATIO / (SHUTOFF_RATIO - 1.0))
    x = np.concatenate([np.linspace(0.0, 1.0, 7), np.linspace(1.0, free, 7)[1:]])
    pressure = static_pressure * np.maximum(SHUTOFF_RATIO - (SHUTOFF_RATIO - 1.0) * x**2, 0.0)
    power = airflow * static_pressure / fan_efficiency
    # Air power peaks right of the known point; shaft power cannot be below it.
    peak = float(np.max(airflow * x * pressure))
    if peak >= power:
        raise BadInput(
            f"fan_efficiency = {fan_efficiency:g} is too high for the assumed curve: "
            f"give the maker's points, or a value below {airflow * static_pressure / peak:.2f}"
        )
    return FanCurve(
        airflow=tuple((airflow * x).tolist()),
        static_pressure=tuple(pressure.tolist()),
        density=density,
        shaft_power=(power,) * x.size,
    )


def ratios(curve: FanCurve, fan_speed: Any, density: Any) -> tuple[Array, Array]:
    """Speed and density over those of the test."""
    speed = np.asarray(1.0 if fan_speed is None else fan_speed, float)
    if fan_speed is not None:
        check_range("fan_speed", fan_speed, 0.0, 1.5 * curve.reference_speed, "", "percent?")
        speed = speed / curve.reference_speed
    if density is None:
        return speed, np.asarray(1.0)
    check_range("density", density, 0.5, 2.0, "kg/m3", "lb/ft3?")
    return speed, np.asarray(density, float) / curve.density


class _Monotone:
    """Piecewise cubic through points without over- or undershoot; NaN outside them."""

    def __init__(self, x: Any, y: Any) -> None:
        self.x, self.y = np.array(x, float), np.array(y, float)
        self.slope = _slopes(self.x, self.y)

    def __call__(self, at: Array) -> Array:
        x, y, d = self.x, self.y, self.slope
        i = np.clip(np.searchsorted(x, at, side="right") - 1, 0, x.size - 2)
        h = x[i + 1] - x[i]
        t = (at - x[i]) / h
        rise = (y[i + 1] - y[i]) / h
        square = (3.0 * rise - 2.0 * d[i] - d[i + 1]) * t
        cube = (d[i] + d[i + 1] - 2.0 * rise) * t * t
        value = y[i] + h * t * (d[i] + square + cube)
        return np.where((at >= x[0]) & (at <= x[-1]), value, np.nan)


def _slopes(x: Array, y: Array) -> Array:
    """Fritsch-Butland slopes: weighted harmonic mean, 0 at a peak or dip."""
    h = np.diff(x)
    rise = np.diff(y) / h
    if x.size == 2:
        return np.repeat(rise, 2)
    left, right = rise[:-1], rise[1:]
    w1, w2 = 2.0 * h[1:] + h[:-1], h[1:] + 2.0 * h[:-1]
    one_way = left * right > 0.0
    safe_left, safe_right = np.where(one_way, left, 1.0), np.where(one_way, right, 1.0)
    inner = np.where(one_way, (w1 + w2) / (w1 / safe_left + w2 / safe_right), 0.0)
    first = _end_slope(h[0], h[1], rise[0], rise[1])
    return np.concatenate([[first], inner, [_end_slope(h[-1], h[-2], rise[-1], rise[-2])]])


def _end_slope(h0: float, h1: float, rise0: float, rise1: float) -> float:
    """Three-point slope at an end, cut back where it would overshoot."""
    slope = ((2.0 * h0 + h1) * rise0 - h0 * rise1) / (h0 + h1)
    if slope * rise0 <= 0.0:
        return 0.0
    if rise0 * rise1 <= 0.0 and abs(slope) > 3.0 * abs(rise0):
        return 3.0 * rise0
    return slope


def _curve_problems(curve: FanCurve) -> list[str]:
    """One line for each thing that makes the points unusable."""
    columns = {
        name: getattr(curve, name)
        for name in ("airflow", "static_pressure", "shaft_power", "efficiency")
        if getattr(curve, name) is not None
    }
    length = len(curve.airflow)
    problems = [
        f"{name} has {len(values)} points but airflow has {length}: give one for each"
        for name, values in columns.items()
        if len(values) != length
    ]
    if length < 2:
        problems.append(f"a fan curve needs two points or more (got {length})")
    if problems:
        return problems
    for name, values in columns.items():
        bad = [i for i, v in enumerate(values) if not (math.isfinite(v) and v >= 0.0)]
        problems += [f"{name}[{i}] = {values[i]}: must be a number, 0 or above" for i in bad]
    if curve.shaft_power is not None and curve.efficiency is not None:
        problems.append("give shaft_power or efficiency, not both")
    for name in ("density", "reference_speed"):
        if not getattr(curve, name) > 0.0:
            problems.append(f"{name} = {getattr(curve, name)}: must be above 0")
    return problems or _shape_problems(curve)


def _shape_problems(curve: FanCurve) -> list[str]:
    """Points out of order, pressure that rises, power below the air's own."""
    q, p = np.array(curve.airflow, float), np.array(curve.static_pressure, float)
    problems = [
        f"airflow[{i + 1}] = {q[i + 1]:g} does not exceed the point before it: sort the points"
        for i in np.flatnonzero(np.diff(q) <= 0.0)
    ]
    rises = np.flatnonzero(np.diff(p) > 0.0)
    if rises.size and rises[-1] == p.size - 2:
        problems.append("static_pressure rises at the last point: columns swapped?")
    elif rises.size and not curve.accept_stall:
        problems.append(
            f"static_pressure rises after point {rises[0]} ({p[rises[0]]:g} Pa): if the fan has a "
            "stall or dip there, say accept_stall=True, else mend the point"
        )
    if curve.shaft_power is not None:
        power = np.array(curve.shaft_power, float)
        problems += [
            f"shaft_power[{i}] = {power[i]:g} W is below the air power "
            f"{q[i] * p[i]:g} W: kilowatt, or a wrong unit of airflow or pressure?"
            for i in np.flatnonzero(q * p > power)
        ]
    if curve.efficiency is not None:
        values = np.array(curve.efficiency, float)
        known = int(np.count_nonzero((values > 0.0) & (q > 0.0)))
        if (values > 1.0).any():
            problems.append(f"efficiency {values.max():g} is above 1: percent?")
        if known < 2:
            problems.append("efficiency needs two points or more above 0, at airflow above 0")
    return problems
