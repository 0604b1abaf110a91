"""Columns of the season's files: what a heading means, and from a cell to a value and back."""

from __future__ import annotations

import dataclasses
import difflib
import functools
import re
from collections.abc import Iterable, Sequence
from datetime import date, datetime
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

from ventcalc.errors import BadInput
from ventcalc.logbook.kinds import COMMON, KINDS
from ventcalc.units import UnitSystem, both, parse
from ventcalc.units.text import quoted

__all__ = [
    "Column",
    "columns_of",
    "day_first",
    "has_unit",
    "heading",
    "is_number",
    "local_text",
    "read_quantity",
    "read_words",
    "shown",
    "stem",
    "time_of",
]

_ENDINGS = {
    "kg": {"kg": "kg", "lb": "lb", "t": "t", "cwt": "cwt", "ton": "ton"},
    "degC": {"temp_c": "degC", "temp_f": "degF"},
    "m": {"m": "m", "ft": "ft"},
    "m/s": {"m_s": "m/s", "ft_min": "ft/min"},
    "1": {"percent": "percent", "share": ""},
}
"""Unit inside ventcalc: how a column's name may end, and the unit that it then has."""
_WRITTEN = {
    "metric": {"kg": "kg", "degC": "temp_c", "m": "m", "m/s": "m_s", "1": "percent"},
    "us": {"kg": "lb", "degC": "temp_f", "m": "ft", "m/s": "ft_min", "1": "percent"},
}
_YEARS = (2000, 2099)
_SPREADSHEET = re.compile(
    r"(\d{1,2})([/.])(\d{1,2})\2(\d{4})(?:,? +(\d{1,2}):(\d{2})(?::(\d{2}))?(?: ?([AaPp][Mm]))?)?"
)


class Column(NamedTuple):
    """What stands in one column; a number is ``(cell - offset) * factor``."""

    name: str
    """As the heading has it."""
    field: str
    """Of the kind's class, or one of the columns that all kinds have."""
    unit: str
    """Inside ventcalc; ``text``, ``day`` or empty for words."""
    choices: tuple[str, ...]
    low: float
    """[unit]"""
    high: float
    """[unit]"""
    factor: float
    """[unit per unit of the column]"""
    offset: float
    """[unit of the column]"""


def stem(field: str) -> str:
    """What a field is called in a heading and on the command line, without its unit."""
    word = field.removesuffix("_temperature").removesuffix("_share")
    return word.replace("relative_humidity", "rh") if word else field


@functools.cache
def _scale(unit: str, written: str) -> tuple[float, float]:
    """Factor and offset from a number of a file to one inside."""
    zero = parse(f"0 {written}", unit)
    factor = parse(f"1 {written}", unit) - zero
    return factor, -zero / factor


@functools.cache
def columns_of(kind: str) -> dict[str, Column]:
    """Every heading that a kind's file may have."""
    found = {name: Column(name, name, "", (), 0, 0, 1, 0) for name in COMMON}
    for field in dataclasses.fields(KINDS[kind]):
        meta = field.metadata
        unit, choices = meta["unit"], meta.get("choices", ())
        low, high = meta.get("low", 0.0), meta.get("high", 0.0)
        if unit not in _ENDINGS:
            found[field.name] = Column(field.name, field.name, unit, choices, 0, 0, 1, 0)
            continue
        for ending, written in _ENDINGS[unit].items():
            name = _joined(stem(field.name), ending)
            scale = _scale(unit, written)
            found[name] = Column(name, field.name, unit, (), low, high, *scale)
    return found


def _joined(word: str, ending: str) -> str:
    """``soil_share`` is ``soil_percent``, and ``share`` itself only ``percent``."""
    return ending if word == ending else f"{word}_{ending}"


def heading(kind: str, units: UnitSystem) -> list[str]:
    """Headings of a new file."""
    fields = dataclasses.fields(KINDS[kind])
    own = [
        _joined(stem(f.name), _WRITTEN[units][f.metadata["unit"]])
        if f.metadata["unit"] in _ENDINGS
        else f.name
        for f in fields
    ]
    return [*COMMON[:3], *own, *COMMON[3:]]


# --- cells -------------------------------------------------------------------------------


def read_words(column: Column, cell: str, decimal_comma: bool = False) -> Any:
    """A cell's value; raises with one line that says what is wrong."""
    if column.unit in ("", "text"):
        return _one_of(column, cell)
    if column.unit == "day":
        return _day(cell)
    plain = cell.replace(",", ".") if decimal_comma else cell
    try:
        number = float(plain.removesuffix("%") if column.name.endswith("percent") else plain)
    except ValueError:
        hint = "; write it without commas" if "," in cell else ""
        raise BadInput(f"{column.name} {quoted(cell)}: not a number{hint}") from None
    value = (number - column.offset) * column.factor
    if not column.low <= value <= column.high:
        low, high = (x / column.factor + column.offset for x in column[4:6])
        limits = f"{_plain(low)} to {_plain(high)}"
        raise BadInput(f"{column.name} {quoted(cell)}: must lie in {limits}; wrong unit, perhaps?")
    return value


def _plain(number: float) -> str:
    """Four digits, in thousands rather than powers of ten."""
    return f"{number:,.0f}" if abs(number) >= 1000.0 else f"{number:.4g}"


def has_unit(column: Column) -> bool:
    """Whether its values are numbers with a unit."""
    return column.unit in _ENDINGS


def read_quantity(column: Column, cell: str) -> float:
    """The value of a cell that carries its unit; a bare number is a share. [unit of the column]"""
    key, unit = stem(column.field), column.unit
    try:
        number = parse(float(cell) if unit == "1" and is_number(cell) else cell, unit)
    except BadInput as error:
        raise BadInput(f"{key} {problem}" for problem in error.problems) from None
    if not column.low <= number <= column.high:
        row = "1 percent" if unit == "1" else unit
        limits = f"{both(column.low, row)} to {both(column.high, row)}"
        raise BadInput(f'{key} "{cell}": must lie in {limits}; wrong unit?')
    return number


def is_number(cell: str) -> bool:
    """Whether a cell is a number without a unit."""
    try:
        float(cell)
    except ValueError:
        return False
    return True


def _one_of(column: Column, cell: str) -> str:
    if not column.choices or cell in column.choices:
        return cell
    close = difflib.get_close_matches(cell.lower(), column.choices, n=1, cutoff=0.6)
    hint = f"did you mean {close[0]}?" if close else f"write {', '.join(column.choices)}"
    raise BadInput(f"{column.name} {quoted(cell)}: not known; {hint}")


def _day(cell: str) -> str:
    try:
        return date.fromisoformat(cell[:10]).isoformat()
    except ValueError:
        raise BadInput(f'{quoted(cell)}: not a date; write "2027-03-01"') from None


def shown(column: Column, value: Any) -> str:
    """A value as it stands in a cell of that column."""
    if value is None or isinstance(value, str):
        return value or ""
    return f"{value / column.factor + column.offset:.10g}"


def day_first(cells: Iterable[str]) -> bool | None:
    """Whether times such as 9/18/2026 begin with the day; None where none of them tells."""
    found = None
    for cell in cells:
        match = _SPREADSHEET.fullmatch(cell)
        if match and match[2] == "/" and max(int(match[1]), int(match[3])) > 12:
            found = int(match[1]) > 12
    return found


def _iso(cell: str, days_first: bool | None) -> str:
    """What spreadsheets make of a time, as ISO 8601; dots always have the day first."""
    match = _SPREADSHEET.fullmatch(cell)
    if match is None:
        return cell
    one, mark, two, year, hour, minute, second, half = match.groups()
    if mark == "/" and days_first is None:
        raise BadInput(
            f"time {quoted(cell)}: month or day first? write "
            f'"{year}-{one:0>2}-{two:0>2}" or "{year}-{two:0>2}-{one:0>2}"'
        )
    day, month = (one, two) if mark == "." or days_first else (two, one)
    clock = int(hour or 0) % 12 + (12 if half.upper() == "PM" else 0) if half else int(hour or 0)
    return f"{year}-{month:0>2}-{day:0>2} {clock:02}:{minute or '00'}:{second or '00'}"


def time_of(cell: str, zone: ZoneInfo, days_first: bool | None = None) -> float:
    """
    Time of a cell: ISO 8601 with offset, or the local time of the bay. [s]

    The hour that the clock has twice in autumn is taken as the first; that of spring, which it has
    not at all, is refused. ``days_first`` says how to read 10/5/2026.
    """
    try:
        found = datetime.fromisoformat(_iso(cell.strip(), days_first))
        if found.tzinfo is None:
            local = found.replace(tzinfo=zone)
            found = datetime.fromtimestamp(local.timestamp(), zone)
            if found.replace(tzinfo=None) != local.replace(tzinfo=None):
                raise BadInput(f"time {quoted(cell)}: the clock skipped this hour; add the offset")
        stamp = found.timestamp()
    except BadInput:
        raise
    except (ValueError, OverflowError):
        raise BadInput(
            f'time {quoted(cell)}: not a time; write "2026-09-18 14:05" or with the offset, '
            '"2026-09-18T14:05:00-06:00"'
        ) from None
    if not _YEARS[0] <= found.year <= _YEARS[1]:
        raise BadInput(f"time {quoted(cell)}: the year must lie in {_YEARS[0]} to {_YEARS[1]}")
    return stamp


def local_text(time: float, zone: ZoneInfo) -> str:
    """ISO 8601 with the bay's offset of a time since 1970 [s]."""
    return datetime.fromtimestamp(round(time), zone).isoformat()


def known_like(word: str, known: Sequence[str], cutoff: float = 0.6) -> str:
    """The known word that was meant, or none."""
    close = difflib.get_close_matches(word.lower(), [k.lower() for k in known], n=1, cutoff=cutoff)
    return next((k for k in known if close and k.lower() == close[0]), "")
