"""A plan made anew each day from the pile as the probes have it, as a way to run a season."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import NamedTuple
from zlib import crc32

import numpy as np

from ventcalc.advice.policies import Policy, Positions
from ventcalc.advice.readings import START, Memory, Readings
from ventcalc.air.plain import DRIEST
from ventcalc.bay.calendar import calendar_at
from ventcalc.bay.hourly import HourlyBay
from ventcalc.outage.start import LEAST_SHARE
from ventcalc.plan.certified import nearly_cheapest
from ventcalc.plan.reduced import Action, Pile, actions_of, respiration_at, stages_of
from ventcalc.plan.steer import steered
from ventcalc.plan.tariff import flat
from ventcalc.plan.week import OFF_TARGET
from ventcalc.season.surroundings import Outside
from ventcalc.weather.forecast_errors import erred, forecast_errors

__all__ = ["noisy", "perfect", "rolling"]

HOUR = 3600.0
ANEW = 24
"""From one plan to the next. [h]"""
AHEAD = 72
"""How far each looks. [h]"""
FEWEST = 6
"""Below it the season is over, and the advice goes on alone. [h]"""
POINTS, NODES = 201, 7
"""As of ``reduced``, coarser: what is carried out is a day of it, and no gap is told. [1]"""

Foresight = Callable[[float], Sequence[Outside]]
"""Gives the hours ahead of a time, as they are forecast then."""


class _Rolled(NamedTuple):
    """What is remembered from hour to hour."""

    advice: Memory
    actions: tuple[Action, ...]
    since: float
    """Time of the plan in force. [s]"""

    @property
    def target(self) -> float:
        """For the record. [°C]"""
        return self.advice.target


def perfect(hours: Sequence[Outside], step: float) -> Foresight:
    """The weather as it will be, by the hour."""
    every = max(round(HOUR / step), 1)

    def ahead(time: float) -> Sequence[Outside]:
        first = max(int((time - hours[0].time + 1.0) // step), 0)
        return hours[first : first + AHEAD * every : every]

    return ahead


def noisy(hours: Sequence[Outside], step: float, pressure: float, words: str) -> Foresight:
    """The same with the errors of a forecast issued at that time; ``words`` seed them."""
    true = perfect(hours, step)

    def ahead(time: float) -> Sequence[Outside]:
        cut = true(time)
        if not cut:
            return cut
        seed = crc32(f"{words} {time:.0f}".encode())
        warm, moist = forecast_errors(len(cut), seed=seed)
        temperature, ratio = erred(
            np.array([hour.temperature for hour in cut]),
            np.maximum([hour.humidity_ratio for hour in cut], DRIEST), pressure, warm[0], moist[0],
        )  # fmt: skip
        pairs = zip(cut, temperature.tolist(), ratio.tolist(), strict=True)
        return [hour._replace(temperature=t, humidity_ratio=w) for hour, t, w in pairs]

    return ahead


def rolling(foresight: Foresight, pressure: float, fast: bool) -> Policy:
    """
    A policy that plans each day anew and carries the plan out as ``steered`` does.

    It knows the forecast, the calendar and what the advice is told; where the pile's temperature is
    not known, or hardly any pile is there, the advice goes on alone.
    """

    def policy(
        bay: HourlyBay, readings: Readings, memory: _Rolled | None
    ) -> tuple[Positions, _Rolled]:
        if memory is None:
            memory = _Rolled(START, (), -math.inf)
        if readings.time >= memory.since + ANEW * HOUR - 1.0:
            ahead = foresight(readings.time)
            actions = _planned(bay, readings.pulp_mean, readings.time, ahead, pressure, fast)
            memory = _Rolled(memory.advice, actions, readings.time)
        run = steered(memory.actions, memory.since, HOUR)
        positions, after = run(bay, readings, memory.advice)
        return positions, memory._replace(advice=after)

    return policy


def _planned(
    bay: HourlyBay,
    pulp: float,
    time: float,
    ahead: Sequence[Outside],
    pressure: float,
    fast: bool,
) -> tuple[Action, ...]:
    """Actions of the hours ahead; none where nothing can be planned."""
    share = _share(bay, time)
    if len(ahead) < FEWEST or share < LEAST_SHARE or math.isnan(pulp):
        return ()
    pile = Pile(
        mass=bay.mass * share,
        share=share,
        respiration=respiration_at(bay, time),
        pressure=pressure,
        off_target=OFF_TARGET,
    )
    tariff, actions = flat(bay.costs.electricity), actions_of(bay)
    prices = np.array([tariff.at(bay, hour.time) for hour in ahead])
    stages = stages_of(bay, pile, actions, ahead, prices, pulp, HOUR, POINTS, NODES, fast)
    found, _ = nearly_cheapest(stages, pulp)
    return tuple(actions[one] for one in found[:ANEW])


def _share(bay: HourlyBay, time: float) -> float:
    """Of the floor that crop stands on by the calendar. [0-1]"""
    when = calendar_at(bay, time)
    left = (when.emptied - when.now) / (when.emptied - when.unloading)
    return min(max(when.now / when.filled, 0.0), 1.0) * min(max(left, 0.0), 1.0)
