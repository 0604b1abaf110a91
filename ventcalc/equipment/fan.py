"""Where fans and the system of doors, ducts and pile agree, and what that takes."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ventcalc.equipment._arrays import plain, rising_root
from ventcalc.equipment.fan_curve import FanCurve, assumed_curve, ratios
from ventcalc.errors import check_range

__all__ = [
    "FanCurve",
    "Motor",
    "OperatingPoint",
    "SystemCurve",
    "assumed_curve",
    "operating_point",
    "remarks",
    "system_through",
]

Array = NDArray[np.float64]

SUBDIVISIONS = 16
"""Pieces in which each stretch between two points of a curve is searched for intersections."""
RELATIVE_TOLERANCE = 1e-11
"""Pressure left between fan and system, over the greatest surplus on the grid."""
DEADHEAD_SHARE = 0.05
"""Airflow over the greatest of the curve below which the fan works against shut doors."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Motor:
    """What drives one fan."""

    rating: float
    """Greatest shaft power for steady running. [W]"""
    efficiency: float
    """Shaft power over electrical power, drive and belt included. [0-1]"""
    in_airstream: bool = True
    """Whether its losses heat the air too."""

    def __post_init__(self) -> None:
        check_range("rating", self.rating, 1.0, 1e6, "W", "kW or horsepower?")
        check_range("efficiency", self.efficiency, 0.1, 1.0, "", "percent?")


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class SystemCurve:
    """Pressure that ducts, doors, pile and humidifier take: fixed + coefficient * airflow^n."""

    coefficient: Any
    """Infinite for shut doors. [Pa/(m³/s)^n]"""
    exponent: Any = 2.0
    """2 for turbulent flow. [1]"""
    fixed: Any = 0.0
    """Pressure without airflow, such as wind on an opening; may be negative. [Pa]"""

    def __call__(self, airflow: Any) -> Any:
        """Static pressure needed for the airflow of all fans together. [Pa]"""
        flow = np.asarray(airflow, float)
        moving = np.where(flow == 0.0, 1.0, flow) ** self.exponent
        return self.fixed + np.where(flow == 0.0, 0.0, moving * self.coefficient)


def system_through(airflow: Any, static_pressure: Any) -> SystemCurve:
    """
    System curve through one known point, as the square of the airflow.

    Parameters
    ----------
    airflow : array-like
        Of all fans together. [m³/s]
    static_pressure : array-like
        At that airflow. [Pa]

    Returns
    -------
    SystemCurve
        The curve.

    Raises
    ------
    OutOfRange
        If the airflow is out of range.
    """
    check_range("airflow", airflow, 1e-6, 1e4, "m3/s")
    return SystemCurve(coefficient=static_pressure / airflow**2.0)


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class OperatingPoint:
    """Where fans and system agree; powers and heat are of all fans together."""

    airflow: Any
    """All fans; 0 against a pressure they cannot overcome, NaN off the curve. [m³/s]"""
    airflow_per_fan: Any
    """[m³/s]"""
    static_pressure: Any
    """[Pa]"""
    shaft_power: Any
    """NaN where the curve does not tell. [W]"""
    electrical_power: Any
    """NaN without a motor. [W]"""
    fan_efficiency: Any
    """Airflow times static pressure over shaft power. [1]"""
    heat: Any
    """Into the air, on its way or by friction in the ducts; NaN if shaft power is. [W]"""
    intersections: Any
    """Every airflow at which the curves cross, first axis low to high, NaN-filled. [m³/s]"""
    ambiguous: Any
    """Whether more than one steady state exists; ``airflow`` is then the greatest of them."""
    deadhead: Any
    """Whether the fan runs against shut doors, or nearly."""
    stalled: Any
    """Whether the airflow lies below the last peak of the curve."""
    overloaded: Any
    """Whether shaft power exceeds the rating of the motor."""
    beyond_curve: Any
    """Whether the state lies right of the last point (little resistance); no number is given."""
    below_curve: Any
    """Whether it lies left of the first point, which is not at 0; no number is given."""


def operating_point(
    curve: FanCurve,
    system: Callable[[Any], Any],
    *,
    fan_speed: Any = None,
    density: Any = None,
    count: Any = 1,
    motor: Motor | None = None,
) -> OperatingPoint:
    """
    Where equal fans side by side and a system agree.

    Parameters
    ----------
    curve : FanCurve
        One fan.
    system : SystemCurve or callable
        Airflow of all fans to static pressure; it must broadcast.
    fan_speed : array-like, optional
        In the unit of ``reference_speed``; that speed if not given, 0 for off. [as given]
    density : array-like, optional
        Of the air; that of the test if not given. [kg/m³]
    count : array-like
        Fans running, each with a shutter that closes when it stands. [1]
    motor : Motor, optional
        What drives each fan.

    Returns
    -------
    OperatingPoint
        Floats for one case, arrays for many (all solved together).

    Raises
    ------
    OutOfRange
        If speed, density or count is out of range.

    Notes
    -----
    All sign changes of fan less system pressure on a fine grid are found and then closed in
    on. A state is steady where the system rises faster than the fan.
    """
    check_range("count", count, 1, 1000, "", "number of fans running; speed 0 for none")
    speed, dense = ratios(curve, fan_speed, density)
    number = np.asarray(count, float)
    shape = np.broadcast_shapes(speed.shape, dense.shape, number.shape)
    shape = np.broadcast_shapes(shape, np.shape(system(np.zeros(shape))))
    speed, dense, number = (np.broadcast_to(v, shape) for v in (speed, dense, number))

    def surplus(x: Array) -> Array:
        needed = np.asarray(system(number * speed * x), float)
        return np.asarray(speed**2 * dense * curve.pressure_curve(x) - needed)

    grid = _search_grid(curve.airflow).reshape((-1,) + (1,) * len(shape))
    above = surplus(grid + np.zeros(shape))
    known = ~np.isnan(above).any(axis=0)
    roots, steady = _crossings(surplus, grid, above)
    running = known & (speed > 0.0)
    beyond = running & (above[-1] > 0.0)
    blocked = running & (above[0] <= 0.0)
    best = np.max(np.where(steady, roots, -1.0), axis=0)
    starts_at_zero = curve.airflow[0] == 0.0
    none = blocked & (best < 0.0)
    x = np.where(best >= 0.0, best, 0.0 if starts_at_zero else np.nan)
    below = none & (not starts_at_zero)
    x = np.where(known & ~beyond, np.where(speed > 0.0, x, 0.0), np.nan)
    states = steady.sum(axis=0) + blocked + beyond
    flags = {
        "ambiguous": running & (states > 1),
        "deadhead": running & (x < DEADHEAD_SHARE * curve.airflow[-1]),
        "stalled": running & (x < curve.stall_airflow),
        "beyond_curve": beyond,
        "below_curve": below,
    }
    return _assembled(curve, motor, x, roots, (speed, dense, number), flags)


def _assembled(
    curve: FanCurve,
    motor: Motor | None,
    x: Array,
    roots: Array,
    scales: tuple[Array, Array, Array],
    flags: dict[str, Any],
) -> OperatingPoint:
    """Powers and flags at the reference airflow ``x`` of one fan."""
    speed, dense, number = scales
    flow, each = number * speed * x, speed**3 * dense
    pressure = np.where(speed == 0.0, 0.0, speed**2 * dense * curve.pressure_curve(x))
    own = each * (curve.power_curve(x) if curve.power_curve else np.nan)
    own = np.where(speed == 0.0, 0.0, own)
    shaft = number * own
    electrical = shaft / motor.efficiency if motor else shaft * np.nan
    inside = motor is not None and motor.in_airstream
    with np.errstate(divide="ignore", invalid="ignore"):
        efficiency = flow * pressure / shaft
    return OperatingPoint(
        airflow=plain(flow),
        airflow_per_fan=plain(speed * x),
        static_pressure=plain(pressure),
        shaft_power=plain(shaft),
        electrical_power=plain(electrical),
        fan_efficiency=plain(efficiency),
        heat=plain(electrical if inside else shaft),
        intersections=number * speed * roots,
        overloaded=plain(own > motor.rating if motor else np.zeros(flow.shape, bool)),
        **{name: plain(flag) for name, flag in flags.items()},
    )


def remarks(point: OperatingPoint) -> tuple[str, ...]:
    """
    What is wrong at an operating point, one plain line each; empty if nothing is.

    Parameters
    ----------
    point : OperatingPoint
        One case or many.

    Returns
    -------
    tuple of str
        For many cases each line says in how many of them.
    """
    lines = {
        "deadhead": "fan runs against shut doors or blocked ducts: open them or stop the fan",
        "stalled": "fan works in its stalled region (noise, unsteady flow): lower the resistance",
        "overloaded": "motor is overloaded: lower the speed or raise the resistance",
        "ambiguous": "fan and system agree at more than one airflow: the real one may be lower",
        "beyond_curve": "resistance is below the fan curve's last point: extend the curve",
        "below_curve": "resistance is above the fan curve's first point: extend the curve",
    }
    found = []
    for name, line in lines.items():
        flag = np.asarray(getattr(point, name))
        if flag.any():
            found.append(f"{line} ({flag.sum()} of {flag.size} cases)" if flag.ndim else line)
    return tuple(found)


def _search_grid(airflow: Sequence[float]) -> Array:
    """The curve's points and SUBDIVISIONS - 1 places between each two."""
    points = np.array(airflow, float)
    share = np.arange(SUBDIVISIONS) / SUBDIVISIONS
    inner = points[:-1, None] + np.diff(points)[:, None] * share
    return np.append(inner.ravel(), points[-1])


def _crossings(
    surplus: Callable[[Array], Array], grid: Array, above: Array
) -> tuple[Array, NDArray[np.bool_]]:
    """Every zero of ``surplus`` (first axis, low to high, NaN-filled) and whether it is steady."""
    positive = above > 0.0
    change = (positive[:-1] != positive[1:]) & ~np.isnan(above).any(axis=0)
    rank = np.cumsum(change, axis=0)
    most = max(1, int(rank[-1].max(initial=0)))
    here = change & (rank == np.arange(1, most + 1).reshape((-1,) + (1,) * rank.ndim))
    index, found = here.argmax(axis=1), here.any(axis=1)
    x = grid.ravel()
    falling = np.take_along_axis(positive, index, axis=0)
    low, high = x[index], x[index + 1]
    # Turned so that all rise, and 0 where there is no crossing left to find.
    turn = np.where(found, np.where(falling, -1.0, 1.0), 0.0)

    def rising(at: Array) -> Array:
        return np.where(found, turn * surplus(at), 0.0)

    scale = np.max(np.where(above > 0.0, above, 0.0), axis=0)
    with np.errstate(invalid="ignore"):
        zero = rising_root(rising, low, high, RELATIVE_TOLERANCE * scale)
    return np.where(found, zero, np.nan), found & falling
