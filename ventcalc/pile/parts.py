"""
Cutting a step of the bed into parts where one would be too long for its lagged terms.

Evaporation and the first guess of a step rest on the last one. That is accurate and stable for
the hours of a season, but not for a bed that is being wetted fast, for steps of many hours after
a change of airflow, or beyond the reach of the time scheme. Every bay is cut by its own need, so
that its numbers do not depend on the bays beside it.
"""

from __future__ import annotations

import operator
from collections.abc import Callable
from dataclasses import fields, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ventcalc._leaves import mapped
from ventcalc._ops import ARRAY, Ops, ops_for
from ventcalc.air import plain as plain_air
from ventcalc.air.plain import AIR_HEAT, EVAPORATION, air_density
from ventcalc.errors import check_range
from ventcalc.pile.passage import passage
from ventcalc.pile.state import (
    Bed,
    BedState,
    BedStep,
    Inflow,
    Passage,
    carrier,
    layer_greatest,
    layer_least,
    layer_total,
)

__all__ = ["in_parts"]

March = Callable[[Bed, BedState, Passage, Inflow], tuple[BedState, BedStep]]

LONG = 7200.0
"""Steps up to this need no look at anything but water. [s]"""
FARTHEST = 3.0
"""Exchange of a layer in a step up to which the scheme does not overshoot. [1]"""
WETTEST = 0.55
"""Exchange of a wet layer in a step up to which lagged evaporation is accurate. [1]"""
LARGEST_LATENT = 0.4
"""Heating of a layer by water condensing in a part that still leaves the lag harmless. [K]"""
MOST_DOUBLINGS = 16
"""Of the number of parts: a step that would need more is refused."""
LARGEST_GUESS = 1.0
"""Change by the last step's heat source that may still be guessed. [K]"""


def in_parts(
    bed: Bed, state: BedState, flow: Passage, given: Inflow, once: March
) -> tuple[BedState, BedStep]:
    """
    One step, in as many parts as each bay needs.

    Parameters
    ----------
    bed : Bed
        The pile.
    state : BedState
        Where it stands.
    flow : Passage
        The air's passage over the whole step.
    given : Inflow
        What comes from outside.
    once : callable
        Marches one uncut step.

    Returns
    -------
    state : BedState
        After the step.
    step : BedStep
        Means over the parts.

    Raises
    ------
    OutOfRange
        If a bay would need more than 65 536 parts.
    """
    needed = _needed(bed, state, flow, given)
    if isinstance(needed, int) and needed > 1:
        return _cut(bed, state, flow, given, once, needed)
    # Every bay goes uncut first, as nearly all may; those that may not are then overwritten.
    whole = once(bed, state, flow, given)
    if isinstance(needed, int):
        return whole
    if not isinstance(needed, np.ndarray):  # traced
        found: tuple[BedState, BedStep] = carrier(state.temperature).branch(
            needed > 1, lambda: _cut(bed, state, flow, given, once, needed), whole
        )
        return found
    others = [(int(parts), needed == parts) for parts in np.unique(needed) if parts > 1]
    if not others:
        return whole
    after, means = (_own(thing, state, len(needed)) for thing in whole)
    for parts, mine in others:
        few = np.flatnonzero(mine)
        pile, start, way, inflow = (_take(x, few, len(needed)) for x in (bed, state, flow, given))
        cut = _cut(pile, start, way, inflow, once, parts)
        for all_bays, some_bays in zip((after, means), cut, strict=True):
            for name, values in all_bays.items():
                values[..., few] = getattr(some_bays, name)
    return BedState(**after, wet=bool(after["film"].any())), BedStep(**means)


def _needed(bed: Bed, state: BedState, flow: Passage, given: Inflow) -> Any:
    """Parts that each bay needs: an int, or an array over bays."""
    ops = carrier(state.temperature)
    driving = _driving(bed, state, given, ops)
    if flow.step <= LONG and not ops.any(driving > 0.0):
        return 1
    per_step = flow.air_capacity * flow.step / bed.heat_capacity
    reach = per_step * flow.film_effectiveness
    latent = EVAPORATION / AIR_HEAT / LARGEST_LATENT * driving
    need = ops.where(driving > 0.0, reach * ops.maximum(latent, 1.0 / WETTEST), 0.0)
    if flow.step > LONG:
        heat = state.source
        source = layer_greatest(ops_for(heat).maximum(heat, -heat))
        guess = flow.gain * flow.inverse * source / LARGEST_GUESS
        longest = ops.maximum(per_step * flow.effectiveness / FARTHEST, guess)
        need = ops.maximum(need, longest)
    check_range("parts", need, 0.0, 2.0**MOST_DOUBLINGS, "", "a long step, or very moist air?")
    # Powers of two, so that a batch falls into few groups.
    parts: Any = 1
    for doubled in range(MOST_DOUBLINGS):
        more = need > 2.0**doubled
        if not ops.any(more):
            break
        parts = ops.where(more, 2 ** (doubled + 1), parts)
    return np.broadcast_to(parts, state.temperature.shape[1:]) if ops is ARRAY else parts


def _driving(bed: Bed, state: BedState, given: Inflow, ops: Ops) -> Any:
    """
    Humidity ratio by which the air is too moist for the coldest layer, or a film for the air.

    Drying pulls no harder than the warmest layer; a bed without a film is not driven by it.
    """
    low = layer_least(state.temperature)
    wetting = ops.maximum(given.humidity_ratio - plain_air.saturated(low, bed.pressure, ops), 0.0)
    if state.wet is False:
        return wetting
    filmed = state.film.any(axis=0) if ops is ARRAY else state.wet

    def drying() -> Any:
        high = layer_greatest(state.temperature)
        full = plain_air.saturated(high, bed.pressure, ops)
        return ops.maximum(full - given.humidity_ratio, wetting)

    return ops.branch(filmed, drying, wetting)


def _cut(
    bed: Bed, state: BedState, flow: Passage, given: Inflow, once: March, parts: Any
) -> tuple[BedState, BedStep]:
    ops = carrier(state.temperature)
    velocity = flow.mass_flow / air_density(bed.pressure)
    short = passage(bed, velocity, flow.step / parts)

    def part(before: tuple[BedState, BedStep, Any]) -> tuple[BedState, BedStep, Any]:
        state, total, latent = before
        state, step = once(bed, state, short, given)
        latent = latent + step.latent_heat * layer_total(step.evaporated)
        return state, mapped(operator.add, total, step), latent

    none: dict[str, Any] = dict.fromkeys((f.name for f in fields(BedStep)), 0.0)
    by_layer = dict.fromkeys(("evaporated", "respiration"), np.zeros_like(state.temperature))
    start = BedStep(**(none | by_layer))
    state, total, latent = ops.repeat(parts, part, (state, start, 0.0))
    water = layer_total(total.evaporated)
    still = water == 0.0
    heat = ops.where(still, total.latent_heat / parts, latent / ops.where(still, 1.0, water))
    return state, replace(mapped(lambda x: x / parts, total), latent_heat=heat)


def _own(thing: Any, state: BedState, bays: int) -> dict[str, Any]:
    """Results as arrays over bays that may be written into."""
    values: dict[str, Any] = {}
    for f in fields(thing):
        value = getattr(thing, f.name)
        if f.name != "wet":
            mine = np.ndim(value) > 0 and value is not getattr(state, f.name, None)
            values[f.name] = value if mine else np.zeros(bays) + value
    return values


def _take(thing: Any, few: NDArray[np.intp], bays: int) -> Any:
    """Some bays out of every array whose last axis is that of the bays."""
    values: dict[str, Any] = {}
    for f in fields(thing):
        value = getattr(thing, f.name)
        if isinstance(value, np.ndarray) and value.ndim and value.shape[-1] == bays:
            values[f.name] = value[..., few]
    if isinstance(thing, BedState):
        values["wet"] = bool(values["film"].any())
    return replace(thing, **values)
