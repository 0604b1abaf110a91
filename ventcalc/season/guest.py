"""A policy of somebody's own: asked in plain Python, its answers checked."""

from __future__ import annotations

import math
import traceback
from pathlib import Path
from typing import Any

import numpy as np

from ventcalc.advice.action import Action
from ventcalc.advice.policies import Positions
from ventcalc.advice.readings import START, Memory, Readings
from ventcalc.bay.hourly import HourlyBay
from ventcalc.errors import BadInput, VentcalcError

__all__ = ["Guest", "is_numba", "name_of", "when"]


class Guest:
    """A policy of somebody's own: its answers checked, its memory kept beside ours."""

    def __init__(self, policy: Any, memory: Any) -> None:
        self.policy, self.memory, self.name = policy, memory, name_of(policy)
        if is_numba(policy):  # its source as it stands, told what its machine code is told
            self.policy = policy.py_func
            self.memory = START if memory is None else memory

    def __call__(
        self, bay: HourlyBay, readings: Readings, memory: Memory
    ) -> tuple[Positions, Memory]:
        try:
            answer = self.policy(bay, readings, self.memory)
        except VentcalcError:
            raise
        except Exception as error:
            place = traceback.extract_tb(error.__traceback__)[-1]
            raise BadInput(
                f"policy {self.name}: at {when(readings.time)} it failed, "
                f"{type(error).__name__}: {' '.join(str(error).split())} "
                f"({Path(place.filename).name}, line {place.lineno})"
            ) from error
        if not isinstance(answer, tuple) or len(answer) != 2:
            raise BadInput(
                f"policy {self.name}: at {when(readings.time)} it gave "
                f"{type(answer).__name__}; it must return (advice, memory)"
            )
        given, self.memory = answer
        target = getattr(self.memory, "target", math.nan)
        target = float(target) if isinstance(target, float | int) else math.nan
        return self._positions(given, readings.time), START._replace(target=target)

    def _positions(self, given: Any, time: float) -> Positions:
        values: dict[str, Any] = {}
        for name, usual in Positions._field_defaults.items():
            value: Any = getattr(given, name, usual)
            try:
                number = int(Action(value)) if name == "action" else float(_no_text(value))
                values[name] = number
            except (TypeError, ValueError, OverflowError):
                must = (
                    f"a code of Action, 0 to {max(Action):d}"
                    if name == "action"
                    else "a number from 0 to 1"
                )
                raise BadInput(
                    f"policy {self.name}: at {when(time)} it gave {name} = {value!r:.40}; "
                    f"it must be {must}"
                ) from None
        if not hasattr(given, "fan_speed"):
            raise BadInput(
                f"policy {self.name}: at {when(time)} it gave {type(given).__name__} as advice; "
                "return an object with fan_speed and door_opening, vc.Positions for one"
            )
        return Positions(**values)


def _no_text(value: Any) -> Any:
    if isinstance(value, str | bytes):
        raise TypeError
    return value


def name_of(policy: Any) -> str:
    """What a policy is called."""
    return getattr(policy, "__name__", type(policy).__name__)


def when(time: float) -> str:
    """A moment, in words of a message."""
    return f"{np.datetime64(int(time), 's')} UTC"


def is_numba(policy: Any) -> bool:
    """Whether a policy is a numba function, which is compiled with the rest."""
    return hasattr(policy, "py_func")
