"""From the tables of a bay file to a ``Bay``: every value read, every problem told."""

from __future__ import annotations

import dataclasses
import difflib
import functools
import math
import re
import typing
import zoneinfo
from collections.abc import Iterable, Mapping
from datetime import date
from typing import Any

from ventcalc import units
from ventcalc.bay.checks import contradictions
from ventcalc.bay.description import USES, Bay, Lot, Pile
from ventcalc.errors import BadInput
from ventcalc.units.text import quoted

__all__ = ["bay_from_dict"]

_HEAD = {"name": "name of the bay", "use": "one of " + ", ".join(USES), "notes": "free text"}


# --- tables ------------------------------------------------------------------------------


@functools.cache
def _tables() -> dict[str, tuple[type, bool]]:
    """Name of each single table, its class, and whether it must be there."""
    hints = typing.get_type_hints(Bay)
    tables = {}
    for field in dataclasses.fields(Bay):
        kind = hints[field.name]
        options = [k for k in typing.get_args(kind) or (kind,) if dataclasses.is_dataclass(k)]
        if options and field.name != "lots":
            cls = typing.cast(type, options[0])
            optional = field.default is not dataclasses.MISSING or not _required_keys(cls)
            tables[field.name] = (cls, not optional)
    return tables


def _required_keys(cls: type) -> list[str]:
    return [f.name for f in dataclasses.fields(cls) if f.default is dataclasses.MISSING]


def bay_from_dict(mapping: Mapping[str, Any]) -> Bay:
    """Build a bay from the tables of a bay file."""
    problems: list[str] = []
    tables = _tables()
    _refuse_unknown(mapping, ["bay", "lots", *tables], "", problems)
    parts: dict[str, Any] = _head(mapping, problems)
    pile = _table(Pile, "pile", mapping, problems)
    capacity = pile.capacity if isinstance(pile, Pile) else math.nan
    for name, (cls, required) in tables.items():
        if name == "pile":
            parts[name] = pile
        elif name in mapping or required:
            parts[name] = _table(cls, name, mapping, problems, capacity)
        elif not _required_keys(cls):
            parts[name] = cls()
    parts["lots"] = _lots(mapping, problems)
    # What could not be read is not compared with anything, all else is, in the same round.
    broken = {name for name, part in parts.items() if part is None}
    broken |= {"lots"} if not all(parts["lots"]) or not parts["lots"] else set()
    bay = Bay(**{"name": "", "use": "", **dict.fromkeys(tables), **parts})
    if found := (*problems, *contradictions(bay, broken)):
        raise BadInput(found)
    return bay


def _refuse_unknown(
    given: Iterable[str], known: Iterable[str], prefix: str, problems: list[str]
) -> None:
    known = list(known)
    for key in given:
        if key not in known:
            close = difflib.get_close_matches(str(key).lower(), known, n=1)
            hint = f"did you mean {prefix}{close[0]}?" if close else "one of " + ", ".join(known)
            problems.append(f"{prefix}{key}: not a {'key' if prefix else 'table'} here; {hint}")


def _head(mapping: Mapping[str, Any], problems: list[str]) -> dict[str, Any]:
    head = mapping.get("bay")
    if not isinstance(head, Mapping):
        problems.append('[bay]: missing; begin with [bay], name = "North bay", use = "seed"')
        return {}
    _refuse_unknown(head, _HEAD, "bay.", problems)
    parts = {}
    for key, about in _HEAD.items():
        value = head.get(key, "" if key == "notes" else None)
        if not isinstance(value, str) or (key != "notes" and not value.strip()):
            given = "missing" if value is None else f"{quoted(value)} is not a text"
            problems.append(f"bay.{key}: {given}; write {about}, in quotes")
        elif key == "use" and value not in USES:
            problems.append(f'bay.use = "{value}": must be {about}')
        else:
            parts[key] = value
    return parts


def _lots(mapping: Mapping[str, Any], problems: list[str]) -> tuple[Any, ...]:
    lots = mapping.get("lots")
    if not isinstance(lots, list) or not lots:
        problems.append("[[lots]]: must be one or more tables, each headed [[lots]]")
        return ()
    read = [
        _table(Lot, f"lots[{i}]", {f"lots[{i}]": lot}, problems) for i, lot in enumerate(lots, 1)
    ]
    names = [lot.get("name") for lot in lots if isinstance(lot, Mapping)]
    for name in {str(n) for n in names if n is not None and names.count(n) > 1}:
        problems.append(f'lots: two lots are named "{name}"; give each its own name')
    return tuple(read)


def _table(
    cls: type,
    name: str,
    mapping: Mapping[str, Any],
    problems: list[str],
    capacity: float = math.nan,
) -> Any:
    """One table as an instance of its class; None when anything in it is wrong."""
    given = mapping.get(name)
    fields = dataclasses.fields(cls)
    if not isinstance(given, Mapping):
        lacking = "missing" if given is None else f"{quoted(given)} is not a table"
        title = "[[lots]]" if cls is Lot else f"[{name}]"
        keys = ", ".join(field.name for field in fields)
        problems.append(f"{name}: {lacking}; write a table {title} with {keys}")
        return None
    before = len(problems)
    _refuse_unknown(given, [field.name for field in fields], f"{name}.", problems)
    values = {}
    for field in fields:
        key = f"{name}.{field.name}"
        if field.name in given:
            try:
                values[field.name] = _value(given[field.name], field, given, capacity)
            except BadInput as error:
                problems.append(f"{key} = {error}")
        elif field.default is dataclasses.MISSING:
            like = field.metadata["like"]
            sample = like if field.type == "int" or _is_number(like) else f'"{like}"'
            problems.append(
                f"{key}: missing; {field.metadata['about']}, for example {field.name} = {sample}"
            )
    return cls(**values) if len(problems) == before else None


def _is_number(text: str) -> bool:
    return re.fullmatch(r"[\d.]+", text) is not None


# --- single values -----------------------------------------------------------------------


def _value(
    value: Any, field: dataclasses.Field[Any], table: Mapping[str, Any], capacity: float
) -> Any:
    if field.metadata.get("many"):
        return _list(value, field, table, capacity)
    return _one(value, field, table, capacity)


def _list(
    values: Any, field: dataclasses.Field[Any], table: Mapping[str, Any], capacity: float
) -> tuple[Any, ...]:
    sample = f'["{field.metadata["like"]}", ...]'
    if not isinstance(values, list):
        raise BadInput(f"{quoted(values)}: must be a list, for example {sample}")
    if len(values) < 2:
        raise BadInput(f"{quoted(values)}: must have two values or more, as in {sample}")
    return tuple(_one(value, field, table, capacity) for value in values)


def _one(
    value: Any, field: dataclasses.Field[Any], table: Mapping[str, Any], capacity: float
) -> Any:
    kind = field.metadata["unit"]
    if kind in ("text", "date", "zone"):
        return _word(value, field)
    unit_names = (kind, field.metadata["also"]) if field.metadata["also"] else (kind,)
    wanted = value
    if kind.startswith("money") and isinstance(value, str):
        currency = str(table.get("currency", "USD"))
        wanted = re.sub(rf"\s*\b{re.escape(currency)}\s*/", " /", value)
    number, unit = units.parse_any(wanted, unit_names)
    if unit != kind:
        number *= capacity
    _check_limits(value, number, field)
    if field.type == "int":
        if number != int(number):
            raise BadInput(f"{quoted(value)}: must be a whole number")
        return int(number)
    return number


def _check_limits(value: Any, number: float, field: dataclasses.Field[Any]) -> None:
    low, high = field.metadata["low"], field.metadata["high"]
    slack = 1e-9 * max(abs(low), abs(high))  # the limit itself, written in another unit
    if low - slack <= number <= high + slack or math.isnan(number):
        return
    ranges = []
    for system in ("us", "metric"):
        (first, label), (last, _) = (
            units.convert(x, field.metadata["shown"], system) for x in (low, high)
        )
        ranges.append(f"{_plain(first)} to {_plain(last)}{' ' + label if label else ''}")
    percent = (
        not isinstance(value, str)
        and 1 < number <= 100
        and field.metadata["unit"] == "1"
        and high <= 1
    )
    hint = f'; percent? write "{number:g} %" or {number / 100:g}' if percent else ""
    allowed = " (".join(dict.fromkeys(ranges)) + (")" if ranges[0] != ranges[1] else "")
    raise BadInput(f"{quoted(value)}: must lie in {allowed}; {field.metadata['about']}{hint}")


def _word(value: Any, field: dataclasses.Field[Any]) -> str:
    meta = field.metadata
    example = f'for example "{meta["like"]}"'
    if not isinstance(value, str) or not value.strip():
        raise BadInput(f"{quoted(value)}: must be a text in quotes, {example}")
    if meta["choices"] and value not in meta["choices"]:
        raise BadInput(f"{quoted(value)}: must be one of {', '.join(meta['choices'])}")
    if meta["unit"] == "date":
        return _month_day(value, example)
    if meta["unit"] == "zone":
        try:
            zoneinfo.ZoneInfo(value)
        except (zoneinfo.ZoneInfoNotFoundError, ValueError, OSError):
            raise BadInput(f"{quoted(value)}: not a time zone's IANA name, {example}") from None
    return value


def _month_day(value: str, example: str) -> str:
    match = re.fullmatch(r"(\d{1,2})-(\d{1,2})", value)
    try:
        day = date(2001, int(match[1]), int(match[2])) if match else None
    except ValueError:
        day = None
    if day is None:
        raise BadInput(f"{quoted(value)}: not a date; write month-day, {example}")
    return f"{day:%m-%d}"


def _plain(number: float) -> str:
    """Four figures, without an exponent where that can be helped."""
    return f"{float(f'{number:.4g}'):.10g}"
