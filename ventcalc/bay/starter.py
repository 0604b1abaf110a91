"""A bay as a commented TOML file."""

from __future__ import annotations

import dataclasses
import json
import math
import typing
from typing import Any

from ventcalc.bay.description import USES, Bay
from ventcalc.units import UnitSystem, convert, parse

__all__ = ["bay_to_toml"]

_INTRODUCTION = """\
# A bay. Every number with a dimension is a text with its unit: "16 ft", "4.9 m".
# ton is the US ton of 2000 lb, t the tonne of 1000 kg; cwt is 100 lb; degF and degC are
# differences where a difference is asked for; dates are month-day."""

_TIMES = ((86400.0, "day"), (3600.0, "hour"), (60.0, "min"), (1.0, "s"))
_ASCII = str.maketrans({"²": "2", "³": "3", "°": "deg"})
_ODD = 9
"""Characters of a number; a longer one may read better in the other units."""


def bay_to_toml(bay: Bay, units: UnitSystem = "us") -> str:
    """Write a bay as the text of a bay file."""
    head = [
        "[bay]",
        _line("name", _quote(bay.name), "name of the bay"),
        _line("use", _quote(bay.use), " | ".join(USES)),
        *([_line("notes", _quote(bay.notes), "")] if bay.notes else []),
    ]
    blocks = [_INTRODUCTION.splitlines(), head]
    for field in dataclasses.fields(Bay):
        part = getattr(bay, field.name)
        if field.name == "lots":
            blocks += [_table("[[lots]]", lot, units) for lot in part]
        elif dataclasses.is_dataclass(part):
            blocks.append(_table(f"[{field.name}]", part, units))
        elif part is None:
            blocks.append(_absent(field.name, units))
    return "\n\n".join("\n".join(block) for block in blocks) + "\n"


def _table(title: str, part: Any, units: UnitSystem) -> list[str]:
    lines = [f"# {_about(type(part))}", title]
    for field in dataclasses.fields(part):
        value = getattr(part, field.name)
        if value is None:
            lines.append(_example(field, units))
        else:
            text = _written(value, field.metadata, units)
            lines.append(_line(field.name, text, _remark(field.metadata)))
    return lines


def _example(field: dataclasses.Field[Any], units: UnitSystem) -> str:
    """A key, switched off, with an example value."""
    meta = field.metadata
    numbers = meta["unit"] not in ("text", "date", "zone")
    value = parse(_number_or_text(meta["like"]), meta["unit"]) if numbers else meta["like"]
    if field.type == "int":
        value = int(value)
    text = _written((value,) if meta.get("many") else value, meta, units)
    return _line(f"# {field.name}", text, _remark(meta))


def _absent(name: str, units: UnitSystem) -> list[str]:
    """An optional table, switched off, with example values."""
    options = typing.get_args(typing.get_type_hints(Bay)[name])
    cls = next(option for option in options if dataclasses.is_dataclass(option))
    lines = [f"# {_about(cls)}", "# None here; to add one, take the # off.", f"# [{name}]"]
    return lines + [_example(field, units) for field in dataclasses.fields(cls)]


def _number_or_text(like: str) -> float | str:
    try:
        return float(like)
    except ValueError:
        return like


def _about(cls: Any) -> str:
    return str(cls.__doc__).strip().splitlines()[0]


def _remark(meta: typing.Mapping[str, Any]) -> str:
    choices = meta.get("choices")
    return str(meta["about"]) + (f": {' | '.join(choices)}" if choices else "")


def _line(key: str, text: str, about: str) -> str:
    line = f"{key} = {text}"
    return f"{line:<42}  # {about}" if about else line


def _quote(text: str) -> str:
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _written(value: Any, meta: typing.Mapping[str, Any], units: UnitSystem) -> str:
    if isinstance(value, str):
        return _quote(value)
    if isinstance(value, tuple):
        return f"[{', '.join(_written(item, meta, units) for item in value)}]"
    if isinstance(value, int):
        return str(value)
    if meta["unit"] == "s":
        size, label = next(
            (s, word) for s, word in _TIMES if (value >= s and (value / s).is_integer()) or s == 1
        )
        return f'"{_shortest(value / size, label, value, "s")}"'
    number, label = convert(value, meta["shown"], units)
    text = _shortest(float(number), label.translate(_ASCII), value, meta["unit"])
    if len(text.split()[0]) > _ODD and units == "us":  # such as 1 mm, which is no number of inches
        return min(_written(value, meta, "metric"), f'"{text}"', key=len)
    return f'"{text}"' if label else text


def _shortest(number: float, label: str, value: float, unit: str) -> str:
    """The fewest digits that read back as ``value``."""
    text = ""
    for digits in range(1, 16):
        rounded = float(f"{number:.{digits}g}")
        text = f"{rounded:.15g} {label}".rstrip()
        back = parse(text if label else rounded, unit)
        if math.isclose(back, value, rel_tol=1e-12):
            break
    return text
