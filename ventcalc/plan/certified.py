"""
The cheapest way through the hours of one temperature, and a proof of how far from it one is.

Dynamic programming on a grid rounds, and what it rounds adds up. So each hour carries a lower and
an upper bound of the cost still to come at every grid point, and the range in which its slope lies
between them: bounds at any temperature follow from both ends of its interval, exactly. The gap
between the cost of the plan found and the lower bound at its start is a proof for this model; no
solver is needed.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from ventcalc.errors import BadInput

__all__ = ["Certified", "Stages", "bounds_at", "cheapest", "constant_price", "nearly_cheapest"]

Array = NDArray[np.float64]
NEAR = 20
"""Intervals to either side over which the worth of cold is taken. [1]"""


class Stages(NamedTuple):
    """Hours of a model that is linear between the points of its grid."""

    temperatures: Array
    """Temperatures, evenly apart, shape (points,). [°C]"""
    next_temperature: Array
    """Temperature after an hour, shape (hours, actions, points); rises with the one before. [°C]"""
    cost: Array
    """Of an hour, same shape. [money]"""
    ends: Array
    """Cost of ending at each point, shape (points,). [money]"""


class Certified(NamedTuple):
    """A plan, what it costs in the model, and below which no plan can cost."""

    actions: NDArray[np.int64]
    """One an hour, shape (hours,)."""
    temperatures: Array
    """Before each hour and at the end, shape (hours + 1,). [°C]"""
    costs: Array
    """Of each hour, and that of the end, shape (hours + 1,). [money]"""
    worth: Array
    """Of a kelvin less at the end of each hour, shape (hours,). [money/K]"""
    bound: float
    """No plan costs less. [money]"""

    @property
    def cost(self) -> float:
        """Of the plan. [money]"""
        return float(self.costs.sum())


class _Bounds(NamedTuple):
    """Of the cost still to come: at the points, and of its slope in the intervals between."""

    low: Array
    high: Array
    least_slope: Array
    most_slope: Array


def cheapest(stages: Stages, start: float) -> Certified:
    """The cheapest actions from a temperature, and the bound."""
    grid = stages.temperatures
    if not grid[0] <= start <= grid[-1]:
        raise BadInput(f"start is {start:.2f} degC; the grid goes from {grid[0]} to {grid[-1]}")
    slope = np.diff(stages.ends) / _apart(grid)
    to_come = [_Bounds(stages.ends, stages.ends, slope, slope)]
    for after, cost in zip(stages.next_temperature[::-1], stages.cost[::-1], strict=True):
        to_come.append(_an_hour_before(grid, after, cost, to_come[-1]))
    to_come.reverse()
    return _followed(stages, start, to_come)


def nearly_cheapest(stages: Stages, start: float) -> tuple[list[int], float]:
    """
    Actions and cost of a plan that rounds and proves nothing, for a tenth of the time.

    The cost still to come is read on straight lines between the points.
    """
    grid = stages.temperatures
    k = _interval(grid, stages.next_temperature)
    part = (stages.next_temperature - grid[k]) / _apart(grid)
    to_come = [stages.ends]
    for at, within, cost in zip(k[::-1], part[::-1], stages.cost[::-1], strict=True):
        low = to_come[-1][at]
        to_come.append((cost + low + within * (to_come[-1][at + 1] - low)).min(axis=0))
    actions, temperature, total = [], start, 0.0
    for after, cost, later in zip(
        stages.next_temperature, stages.cost, to_come[-2::-1], strict=True
    ):
        place, within = _place(grid, temperature)
        ends, spent = (
            one[:, place] + within * (one[:, place + 1] - one[:, place]) for one in (after, cost)
        )
        actions.append(int(np.argmin(spent + np.interp(ends, grid, later))))
        temperature = float(ends[actions[-1]])
        total += float(spent[actions[-1]])
    return actions, total + float(np.interp(temperature, grid, stages.ends))


def _apart(grid: Array) -> float:
    return float(grid[1] - grid[0])


def _an_hour_before(grid: Array, after: Array, cost: Array, later: _Bounds) -> _Bounds:
    """Bounds before an hour, from those after it."""
    apart = _apart(grid)
    if not (after.min() >= grid[0] and after.max() <= grid[-1]):
        raise BadInput("an hour leads off the grid; hold its temperatures at the ends of the grid")
    k = _interval(grid, after)
    low, high = (cost + bound for bound in bounds_at(grid, after, later, k))
    least, most = _slopes(grid, after, cost, later, k)
    # Where another action is better in the whole interval, this one's slope is nobody's.
    best = np.argmin(high, axis=0)
    columns = np.arange(grid.size)
    better, most_better = high[best, columns], most[best[:-1], columns[:-1]]
    worse = low[:, :-1] + np.minimum(least - most_better, 0.0) * apart > better[:-1]
    worse[best[:-1], columns[:-1]] = False  # never the best itself, by round-off
    return _Bounds(
        low.min(axis=0),
        better,
        np.where(worse, np.inf, least).min(axis=0),
        np.where(worse, -np.inf, most).max(axis=0),
    )


def _slopes(grid: Array, after: Array, cost: Array, later: _Bounds, k: Any) -> tuple[Array, Array]:
    """Range of the slope of each action's cost to the end, in every interval."""
    apart = _apart(grid)
    own = np.diff(cost, axis=1) / apart
    stretch = np.diff(after, axis=1) / apart
    first, last = k[:, :-1], k[:, 1:]
    least = np.minimum(later.least_slope[first], later.least_slope[last])
    most = np.maximum(later.most_slope[first], later.most_slope[last])
    return own + stretch * least, own + stretch * most


def _interval(grid: Array, at: Array) -> Any:
    return np.clip(((at - grid[0]) / _apart(grid)).astype(np.int64), 0, grid.size - 2)


def bounds_at(grid: Array, at: Array, bounds: _Bounds, k: Any = None) -> tuple[Array, Array]:
    """Lower and upper bound at any temperature, from both ends of its interval ``k``."""
    k = _interval(grid, at) if k is None else k
    left, right = at - grid[k], grid[k + 1] - at
    least, most = bounds.least_slope[k], bounds.most_slope[k]
    low = np.maximum(bounds.low[k] + least * left, bounds.low[k + 1] - most * right)
    high = np.minimum(bounds.high[k] + most * left, bounds.high[k + 1] - least * right)
    return low, high


def _followed(stages: Stages, start: float, to_come: list[_Bounds]) -> Certified:
    """The plan from the start: in every hour what is cheapest with the rest behind it."""
    grid, temperature = stages.temperatures, start
    actions, temperatures, costs, worth = [], [start], [], []
    for after, cost, later in zip(stages.next_temperature, stages.cost, to_come[1:], strict=True):
        k, part = _place(grid, temperature)
        ends, spent = (one[:, k] + part * (one[:, k + 1] - one[:, k]) for one in (after, cost))
        action = int(np.argmin(spent + bounds_at(grid, ends, later)[1]))
        temperature = float(ends[action])
        actions.append(action)
        temperatures.append(temperature)
        costs.append(float(spent[action]))
        worth.append(_worth(grid, temperature, later))
    costs.append(float(np.interp(temperature, grid, stages.ends)))
    bound, _ = bounds_at(grid, np.array([start]), to_come[0])
    return Certified(
        actions=np.array(actions, dtype=np.int64),
        temperatures=np.array(temperatures),
        costs=np.array(costs),
        worth=np.array(worth),
        bound=float(bound[0]),
    )


def _worth(grid: Array, temperature: float, later: _Bounds) -> float:
    """Cost to come of a kelvin, over some intervals: the bounds of one say less. [money/K]"""
    k = int(_interval(grid, np.array(temperature)))
    low, high = max(k - NEAR, 0), min(k + NEAR, grid.size - 1)
    return float((later.high[high] - later.high[low]) / (grid[high] - grid[low]))


def constant_price(stages: Stages, start: float, prices: Array) -> float:
    """
    The least that a constant price of a kelvin [money/K] costs, of all prices given. [money]

    The plain rule to beat: every hour does what is cheapest where stored cold has that price.
    """
    grid, each = stages.temperatures, np.arange(len(prices))
    at, total = np.full(len(prices), start), np.zeros(len(prices))
    for after, cost in zip(stages.next_temperature, stages.cost, strict=True):
        k = _interval(grid, at)
        part = (at - grid[k]) / _apart(grid)
        ends, spent = (one[:, k] + part * (one[:, k + 1] - one[:, k]) for one in (after, cost))
        action = np.argmin(spent + prices * ends, axis=0)
        at = ends[action, each]
        total += spent[action, each]
    return float((total + np.interp(at, grid, stages.ends)).min())


def _place(grid: Array, temperature: float) -> tuple[int, float]:
    """Interval of a temperature, and how far into it. [1]"""
    k = min(max(int((temperature - float(grid[0])) / _apart(grid)), 0), grid.size - 2)
    return k, (temperature - float(grid[k])) / _apart(grid)
