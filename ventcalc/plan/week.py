"""The plan of the days ahead, its proof, and what the whole model makes of it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from ventcalc.advice.policies import Policy, policy_named
from ventcalc.bay.calendar import calendar_at, planned_target
from ventcalc.bay.description import Bay
from ventcalc.errors import check_range
from ventcalc.outlook.ahead import hours_of_bay, plan_ahead
from ventcalc.outlook.state import PileState
from ventcalc.pile.bed import layers_of
from ventcalc.plan.certified import Certified, Stages, cheapest, constant_price
from ventcalc.plan.reduced import (
    Action,
    Hour,
    Pile,
    actions_of,
    between_nodes,
    respiration_at,
    stages_of,
)
from ventcalc.plan.steer import steered
from ventcalc.plan.tariff import Tariff, flat
from ventcalc.season.kpi import POWERS, WET_FILM
from ventcalc.season.plan import Plan
from ventcalc.season.run import run_plan
from ventcalc.weather.forecast import Forecast

__all__ = ["OFF_TARGET", "Money", "PlannedHour", "WeekPlan", "WholeModel", "plan_week"]

Array = NDArray[np.float64]
OFF_TARGET = 0.002
"""
Price of mean pulp outside its band. A bay of 1 800 t then bears half a kelvin for a day rather than
pay 43 for the energy. Common practice, no source. [money/(t K h)]
"""
PRICES = 41
"""Constant prices of cold that the plain rule is tried with. [1]"""


class Money(NamedTuple):
    """What some days cost the whole bay."""

    energy: float
    """[money]"""
    shrink: float
    """Water and carbon, at the price of the crop. [money]"""
    off_target: float
    """Mean pulp outside its band. [money]"""
    end: float
    """Less where cold is left over at the end, more where it is lacking. [money]"""

    @property
    def total(self) -> float:
        """All of it. [money]"""
        return self.energy + self.shrink + self.off_target + self.end


class PlannedHour(NamedTuple):
    """One hour of a plan."""

    time: float
    """Beginning, UTC since 1970-01-01. [s]"""
    action: Action
    target: float
    """Mean pulp that the calendar plans. [°C]"""
    outside_temperature: float
    """Outside air. [°C]"""
    price: float
    """Of energy. [money/J]"""
    does: Hour
    """What it does and costs."""
    cold_cost: float
    """Of cooling in this hour at its best; infinite where none is to be had. [money/J]"""
    cold_worth: float
    """Of cold stored at the end of the hour. [money/J]"""


class WholeModel(NamedTuple):
    """Some days in the model of layers, air and walls, under one way of running the bay."""

    money: Money
    pulp_mean: Array
    """After each hour. [°C]"""
    coldest_supply_temperature: float
    """NaN where the fans never ran. [°C]"""
    wet_hours: float
    """With more than a trace of free water on any layer. [h]"""
    fan_hours: float
    """[h]"""
    peak_power: float
    """Greatest of an hour. [W]"""


@dataclass(frozen=True, kw_only=True, eq=False)
class WeekPlan:
    """Hourly actions for the days ahead."""

    bay: Bay
    """As installed."""
    hours: tuple[PlannedHour, ...]
    step: float
    """[s]"""
    start_pulp_mean: float
    """Mean pulp at the beginning. [°C]"""
    money: Money
    """By the reduced model, in which the plan was made."""
    bound: float
    """No plan costs less in the reduced model. [money]"""
    constant_price: float
    """Cost of the best constant price of cold in the reduced model. [money]"""
    planned: WholeModel
    """The plan, through every rule of the advice, in the whole model."""
    present: WholeModel
    """The advice as it stands, in the whole model."""
    tariff: Tariff
    notes: tuple[str, ...]

    @property
    def gap(self) -> float:
        """What a better plan might save at most, of the cost, in the reduced model. [1]"""
        return (self.money.total - self.bound) / max(abs(self.money.total), 1e-12)

    @property
    def policy(self) -> Policy:
        """The plan as a way to run a season, for ``run_season``."""
        return steered([hour.action for hour in self.hours], self.hours[0].time, self.step)


def plan_week(
    bay: Bay,
    state: PileState,
    forecast: Forecast,
    *,
    hours: int = 168,
    tariff: Tariff | None = None,
    off_target: float = OFF_TARGET,
) -> WeekPlan:
    """
    Plan which hours cool, and how hard.

    Parameters
    ----------
    bay : Bay
        The bay.
    state : PileState
        Where it stands, of ``vc.read_state`` or ``vc.state_of_readings``.
    forecast : Forecast
        Outside air, of ``vc.read_forecast``.
    hours : int
        How far to plan, 24 to 240; less where the forecast ends before.
    tariff : Tariff, optional
        Prices of energy; the bay's one price if not given.
    off_target : float
        Price of mean pulp outside its band, 0 to 1. [money/(t K h)]

    Returns
    -------
    WeekPlan

    Raises
    ------
    BadInput
        If the forecast may not be used at the state's time, or the bay is empty.
    OutOfRange
        If something leaves the range of the model, or an argument its own.

    Notes
    -----
    The reduced model knows one pulp temperature. Its plan is found by dynamic programming that
    carries bounds, so that the gap to the cheapest plan of that model is proven. What the plan is
    worth is for the whole model to say, in which the advice carries it out; both costs are told.
    """
    check_range("off_target", off_target, 0.0, 1.0, "money/(t K h)")
    ahead, share = hours_of_bay(bay, state, forecast, hours), state.season.bay.share
    plan = plan_ahead(bay, state, ahead.weather)
    course = plan.course
    tariff = flat(bay.costs.electricity) if tariff is None else tariff
    prices = np.array([tariff.at(course.bay, hour.time) for hour in course.hours])
    pile = Pile(
        mass=course.bay.mass * share,
        share=share,
        respiration=respiration_at(course.bay, course.hours[0].time),
        pressure=course.bed.pressure,
        off_target=off_target,
    )
    start = float(np.mean(state.season.bed.temperature))
    actions = actions_of(course.bay)
    stages = stages_of(course.bay, pile, actions, course.hours, prices, start, course.step)
    found = cheapest(stages, start)
    told = _told(plan, pile, actions, prices, stages, found)
    ends = _price_of_end(stages)
    tried = np.linspace(0.0, 2.0, PRICES) * max(ends, float(found.worth.mean()))
    judged = {
        name: _whole(plan, state, policy, pile, prices, stages)
        for name, policy in (
            ("planned", steered([hour.action for hour in told], told[0].time, course.step)),
            ("present", policy_named("advice")),
        )
    }
    return WeekPlan(
        bay=plan.installed,
        hours=told,
        step=course.step,
        start_pulp_mean=start,
        money=_money(told, found),
        bound=found.bound,
        constant_price=constant_price(stages, start, tried),
        tariff=tariff,
        notes=tuple(dict.fromkeys((*state.notes, *ahead.notes, *plan.notes))),
        **judged,
    )


def _price_of_end(stages: Stages) -> float:
    """Steepest price of a kelvin at the end. [money/K]"""
    return float(
        np.abs(np.diff(stages.ends)).max() / (stages.temperatures[1] - stages.temperatures[0])
    )


def _told(
    plan: Plan,
    pile: Pile,
    actions: tuple[Action, ...],
    prices: Array,
    stages: Stages,
    found: Certified,
) -> tuple[PlannedHour, ...]:
    """Every hour with what it does, and what cooling in it would have cost."""
    course, told = plan.course, []
    holds = pile.mass * course.bay.crop.specific_heat
    for k, (hour, price) in enumerate(zip(course.hours, prices.tolist(), strict=True)):
        pulp = float(found.temperatures[k])
        target = planned_target(course.bay, calendar_at(course.bay, hour.time))
        ways = [
            between_nodes(
                course.bay,
                pile,
                action,
                hour,
                price,
                target,
                pulp,
                course.step,
                stages.temperatures,
            )
            for action in actions
        ]
        told.append(
            PlannedHour(
                time=hour.time,
                action=actions[found.actions[k]],
                target=target,
                outside_temperature=hour.temperature,
                price=price,
                does=ways[found.actions[k]],
                cold_cost=min(_cold_cost(way, ways[0], holds) for way in ways[1:]),
                cold_worth=max(float(found.worth[k]), 0.0) / holds,
            )
        )
    return tuple(told)


def _cold_cost(way: Hour, rest: Hour, holds: float) -> float:
    """Energy and shrink per heat that an hour takes out beyond resting. [money/J]"""
    colder = (rest.pulp_mean - way.pulp_mean) * holds
    dearer = way.energy_cost + way.shrink_cost - rest.energy_cost - rest.shrink_cost
    return dearer / colder if colder > 0.0 else float("inf")


def _money(told: tuple[PlannedHour, ...], found: Certified) -> Money:
    """The cost of the plan in its parts; they add up to that of the reduced model."""
    energy = sum(hour.does.energy_cost for hour in told)
    shrink = sum(hour.does.shrink_cost for hour in told)
    end = float(found.costs[-1])
    return Money(energy, shrink, found.cost - energy - shrink - end, end)


def _whole(
    plan: Plan, state: PileState, policy: Any, pile: Pile, prices: Array, stages: Stages
) -> WholeModel:
    """Run in the whole model, and priced like the plan."""
    course, bed = plan.course, state.season.bed
    ran = run_plan(replace(plan, layers=layers_of(bed)), policy, False, None)
    records, mean = ran.records, ran.pulp.mean(axis=1)
    power = np.sum([records[name] for name in POWERS], axis=0)
    lost = records["water_loss"] + records["dry_matter_loss"]
    begun = float(np.mean(bed.water_loss + bed.dry_matter_loss))
    targets = np.array(
        [planned_target(course.bay, calendar_at(course.bay, hour.time)) for hour in course.hours]
    )
    off = np.maximum(np.abs(mean - targets) - course.bay.limits.band, 0.0).sum()
    hours = course.step / 3600.0
    runs = records["runs"] > 0.0
    supply = records["plenum_temperature"][runs]
    return WholeModel(
        money=Money(
            energy=float((power * prices).sum() * course.step),
            shrink=float(lost[-1] - begun) * pile.mass * course.bay.costs.crop,
            off_target=float(off) * hours * pile.off_target * pile.mass / 1000.0,
            end=float(np.interp(mean[-1], stages.temperatures, stages.ends)),
        ),
        pulp_mean=mean,
        coldest_supply_temperature=float(supply.min()) if supply.size else float("nan"),
        wet_hours=float((records["wettest"] > WET_FILM).sum() * hours),
        fan_hours=float(runs.sum() * hours),
        peak_power=float(power.max()),
    )
