"""The steps of a season one after the other: read, decide, move on, keep."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from ventcalc import compiled
from ventcalc.advice.action import HANDS_OFF
from ventcalc.advice.policies import POLICIES, Positions
from ventcalc.advice.readings import START, Memory, Readings
from ventcalc.bay.calendar import calendar_at, planned_target, stage_of
from ventcalc.bay.hourly import HourlyBay
from ventcalc.errors import BadInput, OutOfRange
from ventcalc.pile.layers import Bed, Layer, layer_mean, least
from ventcalc.season.bay_model import FAULTS, HEATING, NO_FAULT, readings_of, step_bay
from ventcalc.season.bay_state import BayState, StepRecord
from ventcalc.season.surroundings import Ground, Outside

__all__ = ["Course", "PlantFaults", "Ran", "SensorErrors", "is_numba", "run_course"]

PLAIN_BLOCK, COMPILED_BLOCK = 24, 2000
"""Steps between two words to whoever waits."""


class SensorErrors(NamedTuple):
    """What probes read less what is true; the policy sees it, the bay does not feel it."""

    outside_temperature: float = 0.0
    """[K]"""
    outside_relative_humidity: float = 0.0
    """[0-1]"""
    return_temperature: float = 0.0
    """[K]"""
    return_relative_humidity: float = 0.0
    """[0-1]"""
    plenum_temperature: float = 0.0
    """[K]"""
    pulp: float = 0.0
    """Of every pulp probe. [K]"""
    co2: float = 0.0
    """Volume fraction. [1]"""


class PlantFaults(NamedTuple):
    """Parts that do not do what they are told for a time, UTC since 1970-01-01 [s]."""

    door_opening: float = 0.0
    """At which the door is stuck. [0-1]"""
    door_from: float = math.inf
    """[s]"""
    door_until: float = math.inf
    """[s]"""
    fans_from: float = math.inf
    """Fans do not turn. [s]"""
    fans_until: float = math.inf
    """[s]"""
    humidifier_from: float = math.inf
    """No mist comes. [s]"""
    humidifier_until: float = math.inf
    """[s]"""
    heater_from: float = math.inf
    """Heater and refrigeration stand. [s]"""
    heater_until: float = math.inf
    """[s]"""


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


def believed_readings(seen: Readings, errors: SensorErrors) -> Readings:
    """What the probes read; humidity stays within 0 to 1 and CO2 above nothing."""
    return Readings(
        time=seen.time,
        outside_temperature=seen.outside_temperature + errors.outside_temperature,
        outside_relative_humidity=_fraction(
            seen.outside_relative_humidity + errors.outside_relative_humidity
        ),
        return_temperature=seen.return_temperature + errors.return_temperature,
        return_relative_humidity=_fraction(
            seen.return_relative_humidity + errors.return_relative_humidity
        ),
        plenum_temperature=seen.plenum_temperature + errors.plenum_temperature,
        plenum_relative_humidity=seen.plenum_relative_humidity,
        pulp_bottom=seen.pulp_bottom + errors.pulp,
        pulp_top=seen.pulp_top + errors.pulp,
        pulp_mean=seen.pulp_mean + errors.pulp,
        pulp_coldest=seen.pulp_coldest + errors.pulp,
        ceiling_temperature=seen.ceiling_temperature,
        co2=max(seen.co2 + errors.co2, 0.0),
        pressure=seen.pressure,
        pulp_odd=seen.pulp_odd,
        pulp_odd_place=seen.pulp_odd_place,
        pulp_probes=seen.pulp_probes,
        loaded=seen.loaded,
        stage_told=seen.stage_told,
        rot_share=seen.rot_share,
        crop_wet=seen.crop_wet,
        people_inside=seen.people_inside,
        co2_at_least=seen.co2_at_least,
        out_of_order=seen.out_of_order,
        doubted=seen.doubted,
    )


def _fraction(value: float) -> float:
    return min(max(value, 0.0), 1.0)


def obeyed(given: Positions, faults: PlantFaults, time: float) -> Positions:
    """What the parts make of what they are told."""
    fan, door, mist = given.fan_speed, given.door_opening, given.humidity_wanted
    coil, heater = given.refrigeration, given.heater
    if faults.fans_from <= time < faults.fans_until:
        fan = 0.0
    if faults.door_from <= time < faults.door_until:
        door = faults.door_opening
    if faults.humidifier_from <= time < faults.humidifier_until:
        mist = 0.0
    if faults.heater_from <= time < faults.heater_until:
        coil = heater = 0.0
    return Positions(
        fan_speed=fan,
        door_opening=door,
        humidity_wanted=mist,
        refrigeration=coil,
        heater=heater,
        action=given.action,
    )


def begin_step(
    bed: Bed, layers: Sequence[Layer], state: BayState, outside: Outside, errors: SensorErrors
) -> Readings:
    """What the policy is told at the start of a step."""
    return believed_readings(readings_of(state, layers, outside, bed.pressure), errors)


def end_step(
    bay: HourlyBay,
    bed: Bed,
    ground: Ground,
    layers: Sequence[Layer],
    state: BayState,
    given: Positions,
    memory: Memory,
    outside: Outside,
    step: float,
    faults: PlantFaults,
    record: StepRecord,
    pulp: Any,
) -> tuple[BayState, int, float]:
    """
    Move on under what the policy gave, and keep what came of it.

    A policy whose memory has no target is measured on the plan. Hands
    off means fans off: no other program runs here. Gives the state, and what went wrong as
    ``step_bay`` does.
    """
    when = calendar_at(bay, outside.time)
    planned = planned_target(bay, when)
    target = planned if math.isnan(memory.target) else memory.target
    positions = given
    if given.action == HANDS_OFF:
        positions = Positions(
            fan_speed=0.0,
            door_opening=0.0,
            humidity_wanted=0.0,
            refrigeration=0.0,
            heater=0.0,
            action=given.action,
        )
    positions = obeyed(positions, faults, outside.time)
    record.now = when.now
    record.target = target
    record.planned = planned
    record.frost_stage = float(memory.freeze_stage)
    record.stage = float(stage_of(bay, when, target))
    record.pulp_mean = layer_mean(layers)
    record.pulp_coldest = least(layers)
    record.action = float(positions.action)
    record.fan_speed = positions.fan_speed
    record.door_opening = positions.door_opening
    record.humidity_wanted = positions.humidity_wanted
    record.refrigeration = positions.refrigeration
    record.heater = positions.heater
    state, fault, value = step_bay(
        bay, bed, ground, layers, state, positions, outside, step, record
    )
    for k in range(len(layers)):
        pulp[k] = layers[k].temperature
    return state, fault, value


def run_steps(
    bay: HourlyBay,
    believed: HourlyBay,
    bed: Bed,
    ground: Ground,
    layers: Sequence[Layer],
    hours: Sequence[Outside],
    step: float,
    errors: SensorErrors,
    faults: PlantFaults,
    policy: Any,
    first: int,
    last: int,
    state: BayState,
    memory: Memory,
    records: Sequence[StepRecord],
    pulp: Any,
) -> tuple[BayState, Memory, int, int, float]:
    """The steps ``first`` to ``last``; gives state, memory, steps done, and what went wrong."""
    for i in range(first, last):
        readings = begin_step(bed, layers, state, hours[i], errors)
        positions, memory = policy(believed, readings, memory)
        state, fault, value = end_step(
            bay, bed, ground, layers, state, positions, memory, hours[i], step, faults,
            records[i], pulp[i],
        )  # fmt: skip
        if fault != NO_FAULT:
            return state, memory, i, fault, value
    return state, memory, last, NO_FAULT, 0.0


# --- policies from outside ---------------------------------------------------------------


class _Guest:
    """A policy of somebody's own: its answers checked, its memory kept beside ours."""

    def __init__(self, policy: Any, memory: Any) -> None:
        self.policy, self.memory, self.name = policy, memory, _name_of(policy)
        if is_numba(policy):  # its source as it stands, told what its machine code is told
            self.policy = policy.py_func
            self.memory = START if memory is None else memory

    def __call__(
        self, bay: HourlyBay, readings: Readings, memory: Memory
    ) -> tuple[Positions, Memory]:
        answer = self.policy(bay, readings, self.memory)
        if not isinstance(answer, tuple) or len(answer) != 2:
            raise BadInput(
                f"policy {self.name}: at {_when(readings.time)} it gave "
                f"{type(answer).__name__}; it must return (advice, memory)"
            )
        given, self.memory = answer
        target = getattr(self.memory, "target", math.nan)
        target = float(target) if isinstance(target, float | int) else math.nan
        return self._positions(given, readings.time), START._replace(target=target)

    def _positions(self, given: Any, time: float) -> Positions:
        values: dict[str, Any] = {}
        for name, usual in Positions._field_defaults.items():
            value = getattr(given, name, usual)
            try:
                values[name] = type(usual)(value)
            except (TypeError, ValueError, OverflowError):
                raise BadInput(
                    f"policy {self.name}: at {_when(time)} it gave {name} = {value!r}; "
                    "it must be a number from 0 to 1"
                ) from None
        if not hasattr(given, "fan_speed"):
            raise BadInput(
                f"policy {self.name}: at {_when(time)} it gave {type(given).__name__} as advice; "
                "return an object with fan_speed and door_opening, vc.Positions for one"
            )
        return Positions(**values)


def _name_of(policy: Any) -> str:
    return getattr(policy, "__name__", type(policy).__name__)


def _when(time: float) -> str:
    return f"{np.datetime64(int(time), 's')} UTC"


def is_numba(policy: Any) -> bool:
    """Whether a policy is a numba function, which is compiled with the rest."""
    return hasattr(policy, "py_func")


# --- the course of a season --------------------------------------------------------------


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
    """
    Every step of a course.

    Parameters
    ----------
    course : Course
        Bay, pile, ground, weather.
    policy : callable
        A shipped one, one of somebody's own, or a numba function.
    state : BayState
        To start from.
    layers : list of Layer
        To start from.
    memory : object
        Of the policy; None for none.
    fast : bool
        Whether to use machine code, compiling it if need be.
    progress : callable, optional
        Called with (steps done, steps in all).

    Returns
    -------
    Ran
        State, memory and records.

    Raises
    ------
    OutOfRange
        If something leaves the range of the model; says what, and when.
    BadInput
        If a policy gives what is no advice.
    """
    shipped = any(policy is known for known in POLICIES.values())
    guest = None
    if not shipped and not (fast and is_numba(policy)):
        guest = _Guest(policy, memory)
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
            name = f"{name} of policy {_name_of(policy)}"
        when = f" at {_when(course.hours[done].time)}"
        raise OutOfRange(name, low, high, value, when, unit, slip)
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
        self.believed = compiled.record_of(course.believed)
        self.layers = compiled.records_of(layers)
        self.hours = _records_of_hours(course.hours)
        count = len(course.hours)
        self.records = np.zeros(count, dtype=compiled.kind_of(StepRecord))
        self.pulp = np.empty((count, len(layers)))
        self.kind = _policy_kind(self.believed)

    def run(self, policy: Any, first: int, last: int, state: BayState, memory: Any) -> Any:
        if isinstance(policy, _Guest):
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
                f"policy {_name_of(policy)}: numba cannot compile it (every field of vc.Positions "
                f"and vc.Memory must be given, numbers as 0.0, not 0): {why[:160]}"
            ) from error

    def _ask(self, guest: _Guest, first: int, last: int, state: BayState, memory: Any) -> Any:
        begin, end = compiled.entry(begin_step), compiled.entry(end_step)
        one = self.course
        for i in range(first, last):
            told = begin(self.bed, self.layers, state, self.hours[i], one.errors)
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


def _records_of_hours(hours: Sequence[Outside]) -> NDArray[Any]:
    return hours if isinstance(hours, np.ndarray) else compiled.records_of(hours)


def _policy_kind(bay: Any) -> tuple[tuple[Any, ...], Any]:
    """Numba types of a policy's arguments, and of what it gives."""
    return compiled.policy_kind(bay, Readings(time=0.0), START, Positions())
