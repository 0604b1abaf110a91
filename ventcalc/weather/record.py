"""What a weather file says, whatever its format, and the helpers that read text into it."""

from __future__ import annotations

import csv
import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, timedelta, timezone, tzinfo
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import numpy as np
from numpy.typing import NDArray

from ventcalc.errors import BadInput

__all__ = [
    "Array",
    "Record",
    "Times",
    "column",
    "data_rows",
    "header_number",
    "offset_name",
    "zone",
]

Array = NDArray[np.float64]
Times = NDArray[np.datetime64]


@dataclass(frozen=True, kw_only=True)
class Record:
    """What a file says, in internal units and UTC; a quantity it lacks is absent."""

    time: Times
    values: dict[str, Array]
    time_zone: str
    lines: Array
    """Line of the file of each row, for messages. [1]"""
    humidity_over: str | None = None
    """``"water"`` or ``"ice"`` where the file says so."""
    altitude: float | None = None
    """[m]"""
    issued: float | None = None
    """When a forecast was made, UTC since 1970-01-01. [s]"""
    row: str = "line"
    """What messages call a row."""
    typical: bool = False
    name: str = ""
    source: str = ""
    notes: tuple[str, ...] = ()
    problems: tuple[str, ...] = ()


def zone(name: str) -> tzinfo:
    """
    Time zone of a name.

    Parameters
    ----------
    name : str
        IANA name ("America/Denver"), "UTC", or a fixed offset ("UTC-07:00").

    Returns
    -------
    tzinfo

    Raises
    ------
    BadInput
        No such zone.
    """
    if name in ("UTC", "Z"):
        return UTC
    fixed = re.fullmatch(r"(?:UTC|GMT)?([+-])(\d{1,2})(?::?([0-5]\d))?", name)
    if fixed and int(fixed[2]) <= 14:
        offset = timedelta(hours=int(fixed[2]), minutes=int(fixed[3] or 0))
        return timezone(-offset if fixed[1] == "-" else offset)
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        raise BadInput(
            f"time zone {name!r} is not known; write an IANA name such as America/Denver "
            f"or a fixed offset such as UTC-07:00"
        ) from None


def column(
    rows: Sequence[Sequence[str]],
    lines: Array,
    index: int,
    name: str,
    problems: list[str],
    missing: float = np.inf,
) -> Array:
    """One column as floats; an empty cell or a value from ``missing`` on is NaN."""
    cells = [row[index].strip() if index < len(row) else "" for row in rows]
    try:
        values = np.array([float(cell) if cell else np.nan for cell in cells], dtype=float)
    except ValueError:
        values = np.array([_number(cell) for cell in cells], dtype=float)
        wrong = np.flatnonzero(np.isinf(values))
        first = int(wrong[0])
        problems.append(
            f"line {lines[first]:.0f}: {name} is {cells[first]!r}, not a number"
            + (f" ({len(wrong)} such cells)" if len(wrong) > 1 else "")
            + "; leave the cell empty where nothing was measured"
        )
        values[wrong] = np.nan
    if missing < 0:
        values[values <= missing] = np.nan
    elif missing < np.inf:
        values[values >= missing] = np.nan
    return values


def _number(cell: str) -> float:
    try:
        return float(cell) if cell else np.nan
    except ValueError:
        return np.inf


def offset_name(hours: float) -> str:
    """Name of a fixed offset from UTC [h]."""
    minutes = round(abs(hours) * 60)
    return f"UTC{'-' if hours < 0 else '+'}{minutes // 60:02d}:{minutes % 60:02d}"


def header_number(text: str, what: str, low: float, high: float) -> float:
    """A number of the header within its limits. [as the header has it]"""
    value = _number(text.strip())
    if not low <= value <= high:
        raise BadInput(f"the header's {what} is {text.strip()!r}; expected {low:g} to {high:g}")
    return value


def data_rows(lines: Sequence[str], skip: int, width: int) -> tuple[list[list[str]], Array]:
    """Rows below the header, with the line number of each."""
    rows, numbers = [], []
    for number, row in enumerate(csv.reader(lines[skip:]), start=skip + 1):
        if not row or (len(row) == 1 and not row[0].strip()):
            continue
        if len(row) < width:
            raise BadInput(
                f"line {number}: {len(row)} columns, at least {width} expected; "
                f"the file seems cut off or damaged"
            )
        rows.append(row)
        numbers.append(number)
    if not rows:
        raise BadInput("the file has a header but no data rows")
    return rows, np.array(numbers, dtype=float)
