"""The course of a season: its steps in plain Python, or the same as machine code."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ventcalc import compiled
from ventcalc.advice.policies import POLICIES, Positions
from ventcalc.advice.readings import START, Readings
from ventcalc.bay.hourly import HourlyBay
from ventcalc.errors import BadInput, OutOfRange
from ventcalc.pile.layers import Bed, Layer
from ventcalc.season.bay_model import readings_of
from ventcalc.season.bay_state import BayState, StepRecord
from ventcalc.season.faults import FAULTS, HEATING, NO_FAULT, WrongPosition
from ventcalc.season.guest import Guest, is_numba, name_of, when
from ventcalc.season.steps import PlantFaults, SensorErrors, end_step, run_steps
from ventcalc.season.surroundings import Ground, Outside

__all__ = ["Course", "Ran", "job", "run_course", "use_machine_code"]

PLAIN_BLOCK, COMPILED_BLOCK = 24, 2000
"""Steps between two words to whoever waits."""
WORTH_COMPILING = 5
"""Fewer seasons are over in plain Python before they would be compiled."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Course:
    """What stays the same from the first step of a season to the last."""

    bay: HourlyBay
    believed: HourlyBay
    """What the policy takes the bay for."""
    bed: Bed
    ground: Ground
    hours: Sequence[Outside]
    step: float
    """[s]"""
    errors: SensorErrors
    faults: PlantFaults
    hour_records: NDArray[Any] | None = None
    """The hours for machine code, where other seasons share them; else made from the hours."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Ran:
    """What a course of steps left behind."""

    state: BayState
    layers: Sequence[Layer] | NDArray[Any]
    """Of the pile, from the bottom up."""
    memory: object
    """What the policy wants to be given next; its own type."""
    records: NDArray[Any]
    """One ``StepRecord`` a step."""
    pulp: NDArray[np.float64]
    """Every layer after each step: (steps, layers). [°C]"""


def job(policy: Any) -> str:
    """Name of the machine code that a policy needs."""
    for name, known in POLICIES.items():
        if policy is known:
            return f"season-{name}"
    return "season-own" if is_numba(policy) else "season-asked"


def use_machine_code(wish: bool | None, policy: Any, seasons: int) -> bool:
    """Compiling takes some seconds once; it is never in the way of a single season."""
    if wish is False:
        return False
    worth = is_numba(policy) or seasons >= WORTH_COMPILING
    if (wish or worth or compiled.ready(job(policy))) and compiled.works():
        return True
    if wish:
        raise BadInput('compiled=True needs numba: python -m pip install "ventcalc[fast]"')
    return False


def run_course(
    course: Course,
    policy: Callable[..., Any],
    state: BayState,
    layers: list[Layer],
    memory: Any,
    *,
    fast: bool,
    progress: Callable[[int, int], None] | None = None,
) -> Ran:
    """Every step of a course."""
    shipped = any(policy is known for known in POLICIES.values())
    guest = None
    if not shipped and not (fast and is_numba(policy)):
        guest = Guest(policy, memory)
    memory = START if guest is not None or memory is None else memory
    way = _Compiled(course, layers) if fast else _Plain(course, layers)
    block = COMPILED_BLOCK if fast else PLAIN_BLOCK
    total, done, fault, value = len(course.hours), 0, NO_FAULT, 0.0
    while done < total and fault == NO_FAULT:
        last = min(done + block, total)
        state, memory, done, fault, value = way.run(guest or policy, done, last, state, memory)
        if progress is not None and fault == NO_FAULT:
            progress(done, total)
    if fault != NO_FAULT:
        name, low, high, unit, slip = FAULTS[fault]
        if fault <= HEATING:
            name = f"{name} of policy {name_of(policy)}"
        hour = f" at {when(course.hours[done].time)}"
        wrong = WrongPosition if fault <= HEATING else OutOfRange
        raise wrong(name, low, high, value, hour, unit, slip)
    records, pulp = way.kept()
    kept_memory = guest.memory if guest is not None else memory
    return Ran(state=state, layers=way.layers, memory=kept_memory, records=records, pulp=pulp)


class _Plain:
    """The formulas as they stand."""

    def __init__(self, course: Course, layers: list[Layer]) -> None:
        self.course, self.layers = course, layers
        count = len(course.hours)
        self.records = [StepRecord() for _ in range(count)]
        self.pulp = [[0.0] * len(layers) for _ in range(count)]

    def run(self, policy: Any, first: int, last: int, state: BayState, memory: Any) -> Any:
        one = self.course
        return run_steps(
            one.bay, one.believed, one.bed, one.ground, self.layers, one.hours, one.step,
            one.errors, one.faults, policy, first, last, state, memory, self.records, self.pulp,
        )  # fmt: skip

    def kept(self) -> tuple[NDArray[Any], NDArray[np.float64]]:
        return compiled.records_of(self.records), np.array(self.pulp)


class _Compiled:
    """The same formulas as machine code; a policy in plain Python is asked in between."""

    def __init__(self, course: Course, layers: list[Layer]) -> None:
        self.course = course
        self.bay, self.bed = compiled.record_of(course.bay), compiled.record_of(course.bed)
        self.believed = self.bay
        if course.believed is not course.bay:
            self.believed = compiled.record_of(course.believed)
        self.layers = compiled.records_of(layers)
        given = course.hour_records
        self.hours = compiled.records_of(course.hours) if given is None else given
        count = len(course.hours)
        self.records = np.zeros(count, dtype=compiled.kind_of(StepRecord))
        self.pulp = np.empty((count, len(layers)))
        self.kind = _policy_kind(self.believed.dtype)

    def run(self, policy: Any, first: int, last: int, state: BayState, memory: Any) -> Any:
        if isinstance(policy, Guest):
            return self._ask(policy, first, last, state, memory)
        one = self.course
        return compiled.entry(run_steps)(
            self.bay, self.believed, self.bed, one.ground, self.layers, self.hours, one.step,
            one.errors, one.faults, self._code(policy), first, last, state, memory, self.records,
            self.pulp,
        )  # fmt: skip

    def _code(self, policy: Any) -> Any:
        try:
            return compiled.pointer(policy, *self.kind)
        except Exception as error:
            if not is_numba(policy):
                raise
            why = " ".join((str(error).partition("\n")[2] or repr(error)).split())
            raise BadInput(
                f"policy {name_of(policy)}: numba cannot compile it (every field of vc.Positions "
                f"and vc.Memory must be given, numbers as 0.0, not 0): {why[:160]}"
            ) from error

    def _ask(self, guest: Guest, first: int, last: int, state: BayState, memory: Any) -> Any:
        begin, end = compiled.entry(readings_of), compiled.entry(end_step)
        one = self.course
        for i in range(first, last):
            told = begin(state, self.layers, self.hours[i], one.bed.pressure, one.errors)
            positions, memory = guest(one.believed, told, memory)
            state, fault, value = end(
                self.bay, self.bed, one.ground, self.layers, state, positions, memory,
                self.hours[i], one.step, one.faults, self.records[i], self.pulp[i],
            )  # fmt: skip
            if fault != NO_FAULT:
                return state, memory, i, fault, value
        return state, memory, last, NO_FAULT, 0.0

    def kept(self) -> tuple[NDArray[Any], NDArray[np.float64]]:
        return self.records, self.pulp


@cache
def _policy_kind(bay: np.dtype[Any]) -> tuple[tuple[Any, ...], Any]:
    """Numba types of a policy's arguments, and of what it gives."""
    return compiled.policy_kind(np.zeros(1, bay)[0], Readings(time=0.0), START, Positions())
