"""The steps of a season one after the other, plainly or compiled."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

from ventcalc._leaves import stacked
from ventcalc._loop import available, traced_loop
from ventcalc._ops import ARRAY, SCALAR, Ops, ops_for
from ventcalc.advice import calendar
from ventcalc.advice.policies import POLICIES, Policy
from ventcalc.bay.description import Bay
from ventcalc.pile.bed import Bed
from ventcalc.pile.passage import conduction_parts
from ventcalc.pile.state import flagged_once
from ventcalc.season.bay_model import BayState, bed_of, first_state, readings_of, step_bay
from ventcalc.season.record import Kept, kept_of
from ventcalc.season.surroundings import Ground, Outside

__all__ = ["Course", "blocks_of"]

BLOCK = 250_000
"""Numbers kept of the steps that are handed on together: what fits into fast memory."""
LONGEST_BLOCK = 256
"""Steps that are handed on together at most."""
WORTH_COMPILING = 500
"""Shorter seasons are over before they would be compiled. [steps]"""


@dataclass(frozen=True, kw_only=True, eq=False)
class Course:
    """What stays the same from the first step of a season to the last."""

    bay: Bay
    ground: Ground
    pressure: float
    """[Pa]"""
    policy: Policy
    step: float
    """[s]"""
    layers: int
    bays: int | None
    """Number of bays in a stack; None for one bay."""

    @property
    def shape(self) -> tuple[int, ...]:
        """Of a number of each bay."""
        return () if self.bays is None else (self.bays,)


Fixed = tuple[Bay, Ground, Any, Bed]
"""The bay, its ground, its air pressure [Pa], its pile."""
SHIPPED = tuple(POLICIES.values())
"""Policies that may be traced: it is known what they do."""
Carried = tuple[BayState, Any]
"""State of the bay, memory of the policy."""
Blocks = Sequence[Sequence[Outside]]


def blocks_of(course: Course, hours: Sequence[Outside]) -> Iterator[Kept]:
    """
    What is kept of the steps of a season, from the first to the last.

    Parameters
    ----------
    course : Course
        Bay and policy.
    hours : sequence of Outside
        What stands around the bay in every step.

    Yields
    ------
    Kept
        Some steps, the next block beginning where the last ended.

    Notes
    -----
    Where llvmlite is installed the steps of a shipped policy are compiled: the same formulas,
    traced once, give the same numbers to round-off. A policy from outside is called as it is. Where
    a number leaves its range the steps are gone through again plainly, which says so.
    """
    ops = SCALAR if course.bays is None else ARRAY
    model = bed_of(course.bay, course.pressure, course.layers)
    fixed = course.bay, course.ground, course.pressure, model
    start: Carried = first_state(course.bay, model, course.bays), None
    carried, kept = _step(course, fixed, start, hours[0], ops)
    yield stacked([kept], course.shape)
    length = max(1, min(LONGEST_BLOCK, BLOCK // ((course.layers + 30) * (course.bays or 1))))
    shipped = any(course.policy is policy for policy in SHIPPED)
    worth_it = shipped and len(hours) >= WORTH_COMPILING and available()
    worth_it = worth_it and conduction_parts(model, course.step) == 1
    if not worth_it:
        length = min(length, max(1, round(86400.0 / course.step)))  # whoever waits hears daily
    blocks = [hours[first : first + length] for first in range(1, len(hours), length)]
    way = _compiled_blocks if worth_it else _plain_blocks
    yield from way(course, fixed, carried, blocks, ops)


def _plain_blocks(
    course: Course, fixed: Fixed, carried: Carried, blocks: Blocks, ops: Ops
) -> Iterator[Kept]:
    for block in blocks:
        carried, kept = _plainly(course, fixed, carried, block, ops)
        yield kept


def _compiled_blocks(
    course: Course, fixed: Fixed, carried: Carried, blocks: Blocks, ops: Ops
) -> Iterator[Kept]:
    """Bay and policy compiled together, whole blocks in one call."""

    def step(fixed: Any, carried: Carried, outside: Outside, _: None) -> tuple[Carried, Kept]:
        bay, _, pressure = fixed
        model = bed_of(bay, pressure, course.layers).worked_out()
        return _step(course, (*fixed, model), carried, outside, ops_for(pressure))

    loop = traced_loop(step, fixed[:3], carried, blocks[0][0], bays=course.bays)
    rows = loop.pack(carried)
    for block in blocks:
        found = loop.steps(rows, loop.given_rows(block))
        if found is None:
            state, memory = loop.unpack(rows)
            carried = replace(state, bed=flagged_once(state.bed)), memory
            carried, kept = _plainly(course, fixed, carried, block, ops)
            rows = loop.pack(carried)
        else:
            rows, kept = found
        yield kept


def _plainly(
    course: Course, fixed: Fixed, carried: Carried, block: Sequence[Outside], ops: Ops
) -> tuple[Carried, Kept]:
    steps = []
    for outside in block:
        carried, kept = _step(course, fixed, carried, outside, ops)
        steps.append(kept)
    return carried, stacked(steps, course.shape)


def _step(
    course: Course, fixed: Fixed, carried: Carried, outside: Outside, ops: Ops
) -> tuple[Carried, Kept]:
    bay, ground, pressure, model = fixed
    state, memory = carried
    when = calendar.calendar_at(bay, outside.time)
    readings = readings_of(bay, state, outside, pressure)
    positions, memory = course.policy(bay, readings, memory)
    target, stage = _wanted(bay, when, memory, readings, ops)
    state, hour = step_bay(bay, model, state, positions, outside, when, course.step, ops, ground)
    return (state, memory), kept_of(when.now, readings, positions, state, hour, target, stage)


def _wanted(bay: Bay, when: Any, memory: Any, readings: Any, ops: Ops) -> tuple[Any, Any]:
    """The target that the policy worked to; a policy without one is measured on the plan."""
    target = getattr(memory, "target", None)
    if target is None:
        target = calendar.planned_target(bay, when, ops)
    return target, calendar.stage_of(when, target, bay.schedule.holding_temperature, ops)
