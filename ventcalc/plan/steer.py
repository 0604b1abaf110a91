"""A plan as a way to run the bay: the advice, told hour by hour whether to cool and how hard."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TypeVar

from ventcalc.advice.policies import Policy, Positions, positions_of
from ventcalc.advice.readings import START, Memory, Readings
from ventcalc.advice.rules import decide
from ventcalc.bay.description import Bay
from ventcalc.bay.hourly import HourlyBay
from ventcalc.plan.reduced import OUTSIDE, REST, Action

__all__ = ["steered", "steered_bay"]

AnyBay = TypeVar("AnyBay", Bay, HourlyBay)


def steered(actions: Sequence[Action], start: float, step: float) -> Policy:
    """
    The advice as a plan steers it, from ``start`` (UTC since 1970-01-01 [s]) on.

    Every rule and limit of the advice holds in every hour; the plan moves only the temperatures at
    which cooling starts and stops, the least fan speed, and whether the refrigeration may help.
    """

    def policy(
        bay: HourlyBay, readings: Readings, memory: Memory | None
    ) -> tuple[Positions, Memory]:
        k = int((readings.time - start + 1.0) // step)
        if 0 <= k < len(actions):
            bay = steered_bay(bay, actions[k])
        given, after = decide(bay, readings, START if memory is None else memory)
        return positions_of(given), after

    return policy


def steered_bay(bay: AnyBay, action: Action) -> AnyBay:
    """The bay as the advice is to take it in an hour with this action."""
    band = bay.limits.band
    if action.kind == REST:
        # Only a pile that leaves its band, against the plan, is cooled.
        return replace(bay, control=replace(bay.control, start_above=band, stop_above=band))
    plant = bay.refrigeration
    if plant is not None and action.kind == OUTSIDE:
        plant = replace(plant, capacity=0.0)
    return replace(
        bay,
        control=replace(bay.control, start_above=-band, stop_above=-band),
        fans=replace(bay.fans, minimum_speed=action.fan_speed),
        refrigeration=plant,
    )
