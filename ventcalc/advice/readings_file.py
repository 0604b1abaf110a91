"""Readings and the adviser's memory as JSON: keys carry their unit, ``null`` is missing."""

from __future__ import annotations

import difflib
import json
import math
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any, NoReturn

from ventcalc.advice.situation import Memory, Readings
from ventcalc.errors import BadInput

__all__ = [
    "KEYS",
    "ReadingsFile",
    "memory_from_dict",
    "memory_from_json",
    "memory_to_dict",
    "readings_from_dict",
    "readings_from_json",
]

PULPS = "pulp_temps_c"
_EPOCH_END = 4102444800.0  # 2100-01-01: the time zones' rules are known no further


@dataclass(frozen=True, kw_only=True, slots=True)
class _Key:
    """What one key may hold; the unit is that of the key."""

    low: float
    high: float
    unit: str
    slip: str


_OUTSIDE = _Key(low=-50, high=55, unit="°C", slip="°F or kelvin, perhaps?")
_INSIDE = _Key(low=-20, high=35, unit="°C", slip="°F or kelvin, perhaps?")
_CROP = _Key(low=-10, high=30, unit="°C", slip="°F, perhaps? then the key ends in _f")
_SHARE = _Key(low=0, high=1, unit="", slip="a percentage, perhaps? 80 % is 0.80")
KEYS: dict[str, _Key] = {
    "outside_temp_c": _OUTSIDE,
    "outside_rh": _SHARE,
    "return_temp_c": _INSIDE,
    "return_rh": _SHARE,
    "plenum_temp_c": _INSIDE,
    "plenum_rh": _SHARE,
    PULPS: _CROP,
    "ceiling_temp_c": _Key(low=-30, high=45, unit="°C", slip="°F or kelvin, perhaps?"),
    "co2_ppm": _Key(low=200, high=60000, unit="ppm", slip="a fraction or percent, perhaps?"),
    "pressure_pa": _Key(low=60e3, high=110e3, unit="Pa", slip="hPa or kPa, perhaps?"),
}
"""Keys beside ``time``, and the limits within which a reading is believed."""

_FAHRENHEIT = {f"{key[:-2]}_f": key for key in KEYS if key.endswith("_c")}
_KNOWN = ("time", "note", *KEYS, *_FAHRENHEIT)


@dataclass(frozen=True, kw_only=True, slots=True)
class ReadingsFile:
    """What a file of readings holds."""

    readings: Readings
    plenum_relative_humidity: float = math.nan
    """Shown only; the adviser does not use it. [0-1]"""
    note: str = ""


def readings_from_json(text: str, name: str = "readings") -> ReadingsFile:
    """
    Read the readings of one moment.

    Parameters
    ----------
    text : str
        A JSON object: ``time`` (ISO 8601 with offset), ``outside_temp_c``, ``outside_rh`` (0-1),
        ``return_temp_c``, ``return_rh``, ``plenum_temp_c``, ``plenum_rh``, ``pulp_temps_c`` (a
        list, bottom to top), ``ceiling_temp_c``, ``co2_ppm``, ``pressure_pa``; temperatures also
        in °F with ``_f`` in the place of ``_c``; ``note`` for people.
    name : str
        Name of the file, for messages.

    Returns
    -------
    ReadingsFile
        NaN where a key is absent or ``null``.

    Raises
    ------
    BadInput
        Every problem found, one line each.
    """
    try:
        return readings_from_dict(_object(text))
    except BadInput as error:
        raise BadInput(f"{name}: {problem}" for problem in error.problems) from None


def readings_from_dict(given: Mapping[str, Any]) -> ReadingsFile:
    """
    Read the readings of one moment from a mapping.

    Parameters
    ----------
    given : mapping
        Keys as for ``readings_from_json``.

    Returns
    -------
    ReadingsFile
        NaN where a key is absent or ``None``.

    Raises
    ------
    BadInput
        Every problem found, one line each.
    """
    problems = [_unknown(key, _KNOWN) for key in given if key not in _KNOWN]
    problems += [
        f"{f_key} and {c_key}: both given; keep one"
        for f_key, c_key in _FAHRENHEIT.items()
        if f_key in given and c_key in given
    ]
    time = _time(given.get("time"), problems)
    value = {key: _reading(given, key, problems) for key in KEYS if key != PULPS}
    pulps = _pulps(given, problems)
    note = given.get("note", "")
    if not isinstance(note, str):
        problems.append(f"note is {_short(note)}; write a text in quotes")
    if problems:
        raise BadInput(problems)
    return ReadingsFile(
        readings=Readings(
            time=time,
            outside_temperature=value["outside_temp_c"],
            outside_relative_humidity=value["outside_rh"],
            return_temperature=value["return_temp_c"],
            return_relative_humidity=value["return_rh"],
            plenum_temperature=value["plenum_temp_c"],
            pulp_bottom=pulps[0],
            pulp_top=pulps[-1],
            pulp_mean=math.fsum(pulps) / len(pulps),
            pulp_coldest=min(pulps),
            ceiling_temperature=value["ceiling_temp_c"],
            co2=value["co2_ppm"] * 1e-6,
            pressure=value["pressure_pa"],
        ),
        plenum_relative_humidity=value["plenum_rh"],
        note=note,
    )


# --- JSON, strictly ----------------------------------------------------------------------


def _object(text: str) -> dict[str, Any]:
    """The one object of a JSON text; refuses NaN and keys that stand twice."""
    try:
        found = json.loads(text, parse_constant=_no_constant, object_pairs_hook=_once)
    except BadInput:
        raise
    except json.JSONDecodeError as error:
        raise BadInput(
            f"line {error.lineno}, column {error.colno}: not valid JSON ({error.msg}); "
            'keys and texts stand in "quotes", numbers do not, commas between, none at the end'
        ) from None
    except (ValueError, RecursionError):  # a number of thousands of digits, or a million brackets
        raise BadInput("not JSON that one can use; write one object with keys and values") from None
    if not isinstance(found, dict):
        raise BadInput(f"holds {_short(found)}; write one JSON object, {{...}}")
    return found


def _no_constant(word: str) -> NoReturn:
    raise BadInput(f"{word} is not JSON; write null for a missing reading")


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    keys = [key for key, _ in pairs]
    twice = sorted({key for key in keys if keys.count(key) > 1})
    if twice:
        raise BadInput(f"{key}: stands twice; keep one" for key in twice)
    return dict(pairs)


def _unknown(key: str, known: tuple[str, ...]) -> str:
    close = difflib.get_close_matches(key.lower(), known, n=1, cutoff=0.5)
    hint = f"did you mean {close[0]}?" if close else f"known are {', '.join(known)}"
    return f"{_short(key)[1:-1]}: unknown key; {hint}"


def _short(value: Any) -> str:
    text = json.dumps(value, ensure_ascii=False, default=str)
    return text if len(text) <= 40 else text[:37] + "..."


# --- one value ---------------------------------------------------------------------------


def _time(value: Any, problems: list[str]) -> float:
    wanted = 'write ISO 8601 with offset, "2026-10-20T04:00:00-06:00"'
    if value is None:
        problems.append(f"time: missing; {wanted}")
        return math.nan
    try:
        moment = datetime.fromisoformat(value)
        stamp = moment.timestamp() if moment.utcoffset() is not None else None
    except (TypeError, ValueError, OverflowError):
        problems.append(f"time is {_short(value)}; {wanted}")
        return math.nan
    if stamp is None:
        problems.append(f"time is {_short(value)}: without offset nobody knows the hour; {wanted}")
        return math.nan
    if not 0.0 <= stamp < _EPOCH_END:
        problems.append(f"time is {_short(value)}; it must lie in 1970 to 2099")
    return stamp


def _reading(given: Mapping[str, Any], key: str, problems: list[str]) -> float:
    f_key = f"{key[:-2]}_f"
    if key.endswith("_c") and key not in given and f_key in given:
        return _number(given[f_key], f_key, KEYS[key], problems)
    return _number(given.get(key), key, KEYS[key], problems)


def _number(value: Any, name: str, key: _Key, problems: list[str]) -> float:
    """A number in the key's unit; a Fahrenheit key is turned to °C before it is judged."""
    if value is None:
        return math.nan
    number = _plain(value)
    if number is None:
        quotes = "; a number stands without quotes" if isinstance(value, str) else ""
        problems.append(f"{name} is {_short(value)}, not a number{quotes}; null where missing")
        return math.nan
    fahrenheit = "_f" in name and key.unit == "°C"
    result = (number - 32.0) / 1.8 if fahrenheit else number
    if not key.low <= result <= key.high:
        low, high = (1.8 * x + 32 if fahrenheit else x for x in (key.low, key.high))
        unit = "°F" if fahrenheit else key.unit
        limits = f"{low:g} to {high:g}{' ' + unit if unit else ''}"
        slip = "°C or a broken sensor, perhaps?" if fahrenheit else key.slip
        problems.append(f"{name} is {number:g}; it must lie in {limits}; {slip}")
    return result


def _plain(value: Any) -> float | None:
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    try:
        number = float(value)
    except OverflowError:
        return None
    return number if math.isfinite(number) else None


def _pulps(given: Mapping[str, Any], problems: list[str]) -> list[float]:
    f_key = f"{PULPS[:-2]}_f"
    name = f_key if f_key in given and PULPS not in given else PULPS
    value = given.get(name)
    if value is None:
        return [math.nan]
    if not isinstance(value, list) or not value:
        problems.append(
            f"{name} is {_short(value)}; write a list, bottom to top, of at least one: [3.4, 3.9]"
        )
        return [math.nan]
    result = []
    for place, item in enumerate(value, start=1):
        if item is None:
            problems.append(
                f"{name}: element {place} is null; leave a broken probe out of the list, "
                "the others stay bottom to top"
            )
        result.append(_number(item, f"{name}: element {place}", KEYS[PULPS], problems))
    return result


# --- memory ------------------------------------------------------------------------------


def _memory_key(name: str, default: Any) -> str:
    if name == "target":
        return "target_c"
    return name if name == "time" or isinstance(default, int) else f"{name}_s"


_MEMORY = {
    _memory_key(name, default): (name, default) for name, default in Memory._field_defaults.items()
}
"""Keys of the file: the field of ``Memory`` and its first value."""


def memory_to_dict(memory: Memory) -> dict[str, Any]:
    """
    Write the adviser's memory.

    Parameters
    ----------
    memory : Memory
        Memory of one bay.

    Returns
    -------
    dict
        For JSON: durations end in ``_s`` [s], ``time`` is ISO 8601, unknown is ``None``.
    """
    result: dict[str, Any] = {}
    for key, (name, default) in _MEMORY.items():
        value = getattr(memory, name)
        kind = type(default)
        if kind is float:
            result[key] = None if math.isnan(value) else float(value)
        else:
            result[key] = kind(value)
    if result["time"] is not None:
        result["time"] = datetime.fromtimestamp(memory.time, UTC).isoformat()
    return result


def memory_from_json(text: str, name: str = "memory") -> Memory:
    """
    Read the adviser's memory.

    Parameters
    ----------
    text : str
        JSON as ``memory_to_dict`` gives it.
    name : str
        Name of the file, for messages.

    Returns
    -------
    Memory
        Memory of one bay.

    Raises
    ------
    BadInput
        Every problem found, one line each.
    """
    try:
        return memory_from_dict(_object(text))
    except BadInput as error:
        hint = "; delete the file to start anew"
        raise BadInput(f"{name}: {problem}{hint}" for problem in error.problems) from None


def memory_from_dict(given: Mapping[str, Any]) -> Memory:
    """
    Read the adviser's memory from a mapping.

    Parameters
    ----------
    given : mapping
        As ``memory_to_dict`` gives it; absent keys take the values of a fresh start.

    Returns
    -------
    Memory
        Memory of one bay.

    Raises
    ------
    BadInput
        Every problem found, one line each.
    """
    problems = [_unknown(key, tuple(_MEMORY)) for key in given if key not in _MEMORY]
    values: dict[str, Any] = {}
    for key, (name, default) in _MEMORY.items():
        if given.get(key) is None:
            continue
        if key == "time":
            values["time"] = _time(given["time"], problems)
        else:
            values[name] = _remembered(key, given[key], type(default), problems)
    if problems:
        raise BadInput(problems)
    return Memory(**values)


def _remembered(key: str, value: Any, kind: type, problems: list[str]) -> Any:
    if kind is bool:
        if not isinstance(value, bool):
            problems.append(f"{key} is {_short(value)}; write true or false")
        return value
    number = _plain(value)
    low, high = (-20, 40) if key == "target_c" else (0, 3) if kind is int else (0, 1e12)
    if number is None or not low <= number <= high or number != kind(number):
        problems.append(f"{key} is {_short(value)}; it must be a number, {low:g} to {high:g}")
        return math.nan
    return kind(number)
