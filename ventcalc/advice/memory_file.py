"""The adviser's memory as JSON: keys carry their unit, ``null`` is unknown."""

from __future__ import annotations

import math
from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any

from ventcalc.advice.json_values import (
    finite_number,
    json_object,
    moment_of,
    shortened,
    unknown_key,
)
from ventcalc.advice.readings import Memory
from ventcalc.errors import BadInput

__all__ = ["KEPT", "memory_from_dict", "memory_from_json", "memory_to_dict"]

_TEMPERATURES = (
    "expected_plenum_temperature",
    "expected_return_temperature",
    "expected_outside_temperature",
)
_SHARES = ("fan_speed", "door_opening", "expected_share", "expected_humidity", "door_share")
_DIFFERENCES = ("expected_humidifier_drop", "outside_correction", "pulp_warm")


def _memory_key(name: str, default: Any) -> str:
    if name == "target":
        return "target_c"
    if name in _TEMPERATURES:
        return f"{name}_c"
    plain = name in ("time", *_SHARES, *_DIFFERENCES) or not isinstance(default, float)
    return f"{name}_k" if name in _DIFFERENCES else name if plain else f"{name}_s"


_MEMORY = {
    _memory_key(name, default): (name, default) for name, default in Memory._field_defaults.items()
}
"""Keys of the file: the field of ``Memory`` and its first value."""
KEPT = ("bay", "probes")
"""Keys beside them that are not the adviser's."""


def memory_to_dict(memory: Memory) -> dict[str, Any]:
    """Write the adviser's memory."""
    result: dict[str, Any] = {}
    for key, (name, default) in _MEMORY.items():
        value = getattr(memory, name)
        kind = type(default)
        if kind is tuple:
            result[key] = [None if math.isnan(one) else one for one in value]
        elif kind is float:
            result[key] = None if math.isnan(value) else float(value)
        else:
            result[key] = kind(value)
    if result["time"] is not None:
        result["time"] = datetime.fromtimestamp(memory.time, UTC).isoformat()
    return result


def memory_from_json(text: str, name: str = "memory") -> Memory:
    """Read the adviser's memory."""
    try:
        return memory_from_dict(json_object(text))
    except BadInput as error:
        hint = "; delete the file to start anew"
        raise BadInput(f"{name}: {problem}{hint}" for problem in error.problems) from None


def memory_from_dict(given: Mapping[str, Any]) -> Memory:
    """Read the adviser's memory from a mapping."""
    known = (*_MEMORY, *KEPT)
    problems = [unknown_key(key, known) for key in given if key not in known]
    values: dict[str, Any] = {}
    for key, (name, default) in _MEMORY.items():
        if given.get(key) is None:
            continue
        if key == "time":
            values["time"] = moment_of(given["time"], problems)
        else:
            values[name] = _remembered(key, given[key], default, problems)
    if problems:
        raise BadInput(problems)
    return Memory(**values)


def _remembered(key: str, value: Any, default: Any, problems: list[str]) -> Any:
    kind = type(default)
    if kind is bool:
        if not isinstance(value, bool):
            problems.append(f"{key} is {shortened(value)}; write true or false")
        return value
    if kind is tuple:
        numbers = value if isinstance(value, list) else []
        found = tuple(math.nan if one is None else finite_number(one) for one in numbers)
        if not isinstance(value, list) or len(found) > len(default) or None in found:
            problems.append(f"{key} is {shortened(value)}; a list of {len(default)} times or null")
            return default
        return found + default[len(found) :]  # an older version knew fewer
    number = finite_number(value)
    low, high = _limits_of(key, kind)
    if number is None or not low <= number <= high or number != kind(number):
        problems.append(f"{key} is {shortened(value)}; it must be a number, {low:g} to {high:g}")
        return math.nan
    return kind(number)


def _limits_of(key: str, kind: type) -> tuple[float, float]:
    """What a remembered number may be. [as the key]"""
    if kind is int:
        return 0, 3
    if key.endswith("_c"):
        return -60, 60
    if key.endswith("_k"):
        return -20, 20
    return (-1, 2) if key in _SHARES else (0, 1e12)
