"""
Equipment that several bays share, as told in ``farm.toml``, against what is advised to draw on it.

A table a machine: ``[shared.plant]`` with ``what``, ``capacity`` and ``bays``, names of bay files.
"""

from __future__ import annotations

import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from ventcalc.bay.description import Bay, capacity_of
from ventcalc.errors import BadInput
from ventcalc.farm.folder import SHARED
from ventcalc.farm.today import BayToday
from ventcalc.units import parse

__all__ = ["SharedMachine", "SharedUse", "read_shared", "use_of"]

_UNITS = {"refrigeration": "W", "humidifier": "kg/s", "heater": "W"}


@dataclass(frozen=True, kw_only=True)
class SharedMachine:
    """One machine for several bays."""

    name: str
    what: str
    """``refrigeration``, ``humidifier`` or ``heater``."""
    capacity: float
    """Heat [W] or water [kg/s], by ``what``."""
    bays: tuple[str, ...]
    """Names of bay files without their ending."""


@dataclass(frozen=True, kw_only=True)
class SharedUse:
    """What the advice of this hour asks of a shared machine."""

    machine: SharedMachine
    asked: float
    """By all of its bays together. [W, kg/s]"""
    by_bay: tuple[tuple[str, float], ...]
    """The warmest over its target first. [W, kg/s]"""
    unknown: tuple[str, ...]
    """Bays without advice that stands."""

    @property
    def enough(self) -> bool:
        """Whether it can serve what is known to be asked."""
        return self.asked <= self.machine.capacity


def read_shared(folder: Path, names: Sequence[str]) -> tuple[SharedMachine, ...]:
    """Read what the bays of a folder share, from its ``farm.toml`` if there is one."""
    try:
        told = tomllib.loads((folder / SHARED).read_text(encoding="utf-8"))
    except FileNotFoundError:
        return ()
    except (OSError, ValueError) as error:
        raise BadInput(f"{SHARED}: {' '.join(str(error).split())}; mend it as TOML") from None
    problems = [
        f"{SHARED}: {key}: not known; write a table [shared.NAME] for each machine"
        for key in told
        if key != "shared"
    ]
    tables = told.get("shared", {})
    machines = []
    for name, table in tables.items() if isinstance(tables, dict) else ():
        try:
            machines.append(_machine(str(name), table, names))
        except BadInput as error:
            problems += [f"{SHARED} [shared.{name}]: {problem}" for problem in error.problems]
    if problems:
        raise BadInput(problems)
    return tuple(machines)


def _machine(name: str, table: Any, names: Sequence[str]) -> SharedMachine:
    keys = {"what", "capacity", "bays"}
    if not isinstance(table, dict) or table.keys() != keys:
        raise BadInput("write what, capacity and bays, and nothing else")
    what, bays = table["what"], table["bays"]
    if what not in _UNITS:
        raise BadInput(f"what is {what!r}; write one of {', '.join(_UNITS)}")
    if not isinstance(bays, list) or not bays or len(set(map(str, bays))) < len(bays):
        raise BadInput(f'bays is {bays!r}; write a list, each once: ["north", "south"]')
    wrong = [str(bay) for bay in bays if bay not in names]
    if wrong:
        raise BadInput(f"no bay {wrong[0]} in this folder; there are {', '.join(names)}")
    try:
        capacity = parse(table["capacity"], _UNITS[what])
    except BadInput as error:
        raise BadInput(f"capacity {problem}" for problem in error.problems) from None
    if not capacity > 0.0:
        raise BadInput("capacity must be more than nothing")
    return SharedMachine(name=name, what=what, capacity=capacity, bays=tuple(bays))


def use_of(machine: SharedMachine, today: Sequence[BayToday]) -> SharedUse:
    """What the advice asks of a machine; the bay that is furthest above its target comes first."""
    asked: list[tuple[float, str, float]] = []
    unknown = []
    for one in today:
        if one.place.name not in machine.bays:
            continue
        part = float(getattr(one.advised.advice, machine.what)) if one.advised else float("nan")
        if one.lapsed or part != part:
            unknown.append(one.place.name)
            continue
        excess = one.advised.advice.situation.excess if one.advised else 0.0
        asked.append((-excess, one.place.name, part * _installed(one.place.bay, machine.what)))
    asked.sort()
    return SharedUse(
        machine=machine,
        asked=sum(amount for _, _, amount in asked),
        by_bay=tuple((name, amount) for _, name, amount in asked),
        unknown=tuple(unknown),
    )


def _installed(bay: Bay, what: str) -> float:
    return float(capacity_of(getattr(bay, what)))
