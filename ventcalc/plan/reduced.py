"""
The bay as one temperature: what each action makes of it in an hour, and what that costs.

The formulas of supply, water and power are those of the advice. A pile has a top and a bottom, its
air a roof above it: what the one temperature leaves out is seen when the plan is run through the
whole model.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from ventcalc.advice.chooser import TRANSFER_UNITS
from ventcalc.advice.setpoints import (
    dry_air_flow,
    fan_power,
    humidity_setpoint,
    supply_setpoint,
    vapour_limit,
)
from ventcalc.air.plain import AIR_HEAT, EVAPORATION, saturated
from ventcalc.bay.calendar import calendar_at, planned_target
from ventcalc.bay.hourly import HourlyBay
from ventcalc.compiled import entry, record_of, records_of
from ventcalc.equipment.plant import hourly_performance
from ventcalc.equipment.plenum import coil_heat_for, fresh_fraction_for, supply
from ventcalc.pile.crop import (
    CARBON_PER_DRY_MATTER,
    age_factor,
    dry_matter_rate,
    fresh_respiration,
    temperature_factor,
)
from ventcalc.plan.certified import Stages
from ventcalc.season.surroundings import Outside

__all__ = [
    "COIL",
    "OUTSIDE",
    "REST",
    "Action",
    "Hour",
    "Pile",
    "actions_of",
    "an_hour",
    "respiration_at",
    "stages_of",
]

Array = NDArray[np.float64]
REST, OUTSIDE, COIL = 0, 1, 2
"""Kinds of action: fans off, cooling by outside air, by refrigeration."""
SPEEDS = (0.0, 1.0 / 3.0, 2.0 / 3.0, 1.0)
"""Between the lowest and the full speed. [0-1]"""
POINTS, NODES = 3001, 13
"""Of the grid, and those at which the formulas are worked out; straight lines between. [1]"""
ROOM = 1.5
"""Grid below the coldest and above the warmest of target and start. [K]"""
OFF_GRID = 1.0
"""Price of a kelvin beyond the grid; so dear that no plan goes there. [money/(t K)]"""
BEHIND = 24
"""Hours that the end of the plan is held to its band. [1]"""
CHEAP = 0.25
"""Part of the hours, the cheapest, whose price the cold left at the end is worth. [0-1]"""


class Action(NamedTuple):
    """What an hour may do."""

    kind: int
    """Code."""
    fan_speed: float
    """[0-1]"""


class Pile(NamedTuple):
    """The crop as far as the plan needs it."""

    mass: float
    """There now. [kg]"""
    share: float
    """Of the floor under it. [0-1]"""
    respiration: float
    """Heat at the temperature of least respiration, at its age. [W/kg]"""
    pressure: float
    """Of the air. [Pa]"""
    off_target: float
    """Price of mean pulp outside its band. [money/(t K h)]"""


class Hour(NamedTuple):
    """One hour of one action from one temperature; money for the whole bay."""

    pulp_mean: float
    """Mean pulp at its end. [°C]"""
    cooling: float
    """Heat that air takes from the crop. [W]"""
    power: float
    """Electrical. [W]"""
    energy_cost: float
    """[money]"""
    shrink_cost: float
    """Water and carbon, at the price of the crop. [money]"""
    supply_temperature: float
    """NaN at rest. [°C]"""


class _Run(NamedTuple):
    """Air through the pile."""

    cooling: float
    power: float
    water: float
    supply_temperature: float


def actions_of(bay: HourlyBay) -> tuple[Action, ...]:
    """Rest, and each way of cooling at each speed."""
    slow = bay.fans.minimum_speed
    speeds = [slow + part * (1.0 - slow) for part in SPEEDS]
    kinds = (OUTSIDE, COIL) if bay.refrigeration.capacity > 0.0 else (OUTSIDE,)
    return (Action(REST, 0.0), *(Action(kind, speed) for kind in kinds for speed in speeds))


def respiration_at(bay: HourlyBay, time: float) -> float:
    """Of the crop at the temperature of its least respiration, at its age. [W/kg]"""
    age = max(calendar_at(bay, time).now, 0.0)
    fresh = fresh_respiration(bay.crop, bay.immature_share)
    return bay.crop.respiration_settled * age_factor(age, bay.crop, fresh)


def an_hour(
    bay: HourlyBay,
    pile: Pile,
    action: Action,
    outside: Outside,
    price: float,
    target: float,
    pulp: float,
    step: float,
) -> Hour:
    """One hour of one action from one mean pulp temperature, at a price of energy [money/J]."""
    heat = pile.respiration * temperature_factor(pulp, bay.crop) * pile.mass
    shell = bay.envelope
    loss = shell.wall_u * shell.wall_area + shell.ceiling_u * shell.ceiling_area
    gain = loss * pile.share * (outside.temperature - pulp)
    run = _Run(0.0, 0.0, 0.0, math.nan)
    if action.kind != REST:
        run = _blown(bay, pile, action, outside, pulp, target)
    warmed = (heat + gain - run.cooling) * step
    after = pulp + warmed / (pile.mass * bay.crop.specific_heat)
    carbon = CARBON_PER_DRY_MATTER * dry_matter_rate(heat, bay.crop)
    return Hour(
        pulp_mean=after,
        cooling=run.cooling,
        power=run.power,
        energy_cost=run.power * step * price,
        shrink_cost=(max(run.water, 0.0) + carbon) * step * bay.costs.crop,
        supply_temperature=run.supply_temperature,
    )


def _blown(
    bay: HourlyBay, pile: Pile, action: Action, outside: Outside, pulp: float, target: float
) -> _Run:
    """Cooling air through the pile, as the advice sets door, humidifier or coil."""
    speed, pressure = action.fan_speed, pile.pressure
    flow, fan = dry_air_flow(bay, speed, pressure), fan_power(bay, speed)
    level = bay.crop.water_activity * saturated(pulp, pressure)
    setpoint = supply_setpoint(bay, target, pulp, pulp - target)
    humidity, plant = humidity_setpoint(bay), bay.refrigeration
    share, coil = bay.doors.leakage_fraction, 0.0
    if action.kind == COIL:
        rise = fan / (flow * AIR_HEAT)
        coil = coil_heat_for(
            setpoint - rise, flow, pulp, level, plant.coil_temperature_difference,
            plant.bypass_factor, pressure,
        )  # fmt: skip
        coil = min(coil, plant.capacity)
    else:
        share = fresh_fraction_for(
            setpoint, humidity, bay.humidifier.capacity, flow, outside.temperature,
            outside.humidity_ratio, pulp, level, pressure, fan,
        )  # fmt: skip
        share = min(max(share, bay.doors.leakage_fraction), bay.doors.largest_fraction)
    end = supply(
        flow, share, outside.temperature, outside.humidity_ratio, pulp, level, pressure, fan,
        coil, plant.coil_temperature_difference, plant.bypass_factor, humidity,
        bay.humidifier.capacity, vapour_limit(bay, pulp, 0, pressure),
    )  # fmt: skip
    water = flow * (1.0 - math.exp(-TRANSFER_UNITS / speed))
    water *= level - end.humidity_ratio - end.fog
    power = fan
    if end.coil_heat > 0.0:
        load = min(end.coil_heat / plant.capacity, 1.0)
        power += end.defrost_power + end.coil_heat / hourly_performance(
            bay.plant, plant.performance, end.coil_temperature, outside.temperature, load
        )
    cooling = flow * AIR_HEAT * (pulp - end.temperature) + EVAPORATION * water
    part = pile.share
    return _Run(cooling * part, power * part, water * part, end.temperature)


def between_nodes(
    bay: HourlyBay,
    pile: Pile,
    action: Action,
    outside: Outside,
    price: float,
    target: float,
    pulp: float,
    step: float,
    grid: Array,
) -> Hour:
    """``an_hour`` as ``stages_of`` has it: on a straight line between two of its nodes."""
    apart = (grid[-1] - grid[0]) / (NODES - 1)
    k = min(int((pulp - grid[0]) / apart), NODES - 2)
    low = float(grid[0] + k * apart)
    one, other = (
        an_hour(bay, pile, action, outside, price, target, node, step)
        for node in (low, low + float(apart))
    )
    part = (pulp - low) / float(apart)
    return Hour(*(a + part * (b - a) for a, b in zip(one, other, strict=True)))


def stages_of(
    bay: HourlyBay,
    pile: Pile,
    actions: Sequence[Action],
    hours: Sequence[Outside],
    prices: Array,
    start: float,
    step: float,
    points: int = POINTS,
    nodes: int = NODES,
    fast: bool = False,
) -> Stages:
    """The hours as the cheapest way is looked for in them; ``fast`` by machine code."""
    targets = [planned_target(bay, calendar_at(bay, hour.time)) for hour in hours]
    grid = np.linspace(min(*targets, start) - ROOM, max(*targets, start) + ROOM, points)
    known = np.linspace(grid[0], grid[-1], nodes)
    shape = (len(hours), len(actions), nodes)
    after_known, cost_known = np.empty(shape), np.empty(shape)
    told = (prices, np.array(targets), known, step, after_known, cost_known)
    if fast:
        entry(at_nodes)(record_of(bay), pile, records_of(actions), records_of(hours), *told)
    else:
        at_nodes(bay, pile, actions, hours, *told)
    after, cost = (_between(grid, nodes, values) for values in (after_known, cost_known))
    tonnes = pile.mass / 1000.0
    dear = pile.off_target * tonnes
    wanted = np.array(targets)[:, None, None]
    cost += dear * step / 3600.0 * np.maximum(np.abs(after - wanted) - bay.limits.band, 0.0)
    within = np.clip(after, grid[0], grid[-1])
    cost += OFF_GRID * tonnes * np.abs(after - within)
    after = within
    worth = _worth(after, cost, int(np.searchsorted(grid, targets[-1])))
    beside = grid - targets[-1]
    off = np.maximum(np.abs(beside) - bay.limits.band, 0.0)
    stored = np.maximum(beside, -bay.limits.band)  # what is colder must be warmed again
    return Stages(grid, after, cost, worth * stored + BEHIND * dear * off)


def at_nodes(
    bay: HourlyBay,
    pile: Pile,
    actions: Sequence[Action],
    hours: Sequence[Outside],
    prices: Array,
    targets: Array,
    nodes: Array,
    step: float,
    after: Array,
    cost: Array,
) -> None:
    """``an_hour`` of every hour, action and node, into the last two: (hours, actions, nodes)."""
    for k in range(len(hours)):
        for a in range(len(actions)):
            for n in range(len(nodes)):
                one = an_hour(
                    bay, pile, actions[a], hours[k], float(prices[k]), float(targets[k]),
                    float(nodes[n]), step,
                )  # fmt: skip
                after[k, a, n] = one.pulp_mean
                cost[k, a, n] = one.energy_cost + one.shrink_cost


def _between(grid: Array, nodes: int, values: Array) -> Array:
    """Values at evenly spaced nodes, on straight lines between them. (..., points)"""
    at = np.linspace(0.0, nodes - 1.0, grid.size)
    weights = np.maximum(1.0 - np.abs(at - np.arange(nodes)[:, None]), 0.0)
    found: Array = values @ weights
    return found


def _worth(after: Array, cost: Array, at: int) -> float:
    """What a kelvin less costs in the cheaper hours: the worth of cold that is left. [money/K]"""
    colder = after[:, :1, at] - after[:, 1:, at]
    dearer = cost[:, 1:, at] - cost[:, :1, at]
    per_kelvin = np.where(colder > 0.0, dearer / np.where(colder > 0.0, colder, 1.0), np.inf)
    cheapest = per_kelvin.min(axis=1)
    cheapest = cheapest[np.isfinite(cheapest)]
    return float(max(np.quantile(cheapest, CHEAP), 0.0)) if cheapest.size else 0.0
