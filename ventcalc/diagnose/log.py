"""
A log of readings and positions as CSV: named columns that carry their unit, one row a time.

What cannot be used is left out with one line that names the row, as long as most of the log is
sound. Whole files that are out of order, or columns that hold something else than they say, are
refused.
"""

from __future__ import annotations

import csv
import difflib
import re
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from ventcalc.advice.readings_file import KEYS, PULPS
from ventcalc.diagnose.channels import as_columns
from ventcalc.diagnose.numbers import moments_of, table_of
from ventcalc.errors import BadInput

__all__ = ["COLUMNS", "FACTORS", "Log", "read_log", "read_logs"]

Array = NDArray[np.float64]
Found = TypeVar("Found")
Lines = NDArray[np.int64]

MOST_WRONG = 0.05
"""Part of the rows, or of the cells of a column, that may be left out. [1]"""
AT_ONCE = 4096
"""Rows that are read together: one wrong cell makes only these slow."""
FEWEST = 3
"""Rows below which there is nothing to compare."""
_SHARE = (0.0, 1.0, "a percentage, perhaps? 80 % is 0.80")
_OUTSIDE = (KEYS["outside_temp_c"].low, KEYS["outside_temp_c"].high, KEYS["outside_temp_c"].slip)
COLUMNS: dict[str, tuple[str, float, float, str]] = {
    "outside_temp_c": ("outside_temperature", *_OUTSIDE),
    "outside_rh": ("outside_relative_humidity", *_SHARE),
    "return_temp_c": ("return_temperature", -20.0, 35.0, KEYS["return_temp_c"].slip),
    "return_rh": ("return_relative_humidity", *_SHARE),
    "plenum_temp_c": ("plenum_temperature", -20.0, 35.0, KEYS["plenum_temp_c"].slip),
    "plenum_rh": ("plenum_relative_humidity", *_SHARE),
    "co2_ppm": ("co2", KEYS["co2_ppm"].low, KEYS["co2_ppm"].high, KEYS["co2_ppm"].slip),
    "pressure_pa": ("pressure", 60e3, 110e3, KEYS["pressure_pa"].slip),
    "fan_speed": ("fan_speed", *_SHARE),
    "door_opening": ("door_opening", *_SHARE),
    "humidifier": ("humidifier", *_SHARE),
    "refrigeration": ("refrigeration", *_SHARE),
    "heater": ("heater", *_SHARE),
    "energy_kwh": ("energy", 0.0, 1e4, "used since the row before, not the meter's count"),
    "forecast_temp_c": ("forecast_temperature", *_OUTSIDE),
}
"""Columns beside ``time`` and ``pulp_1_c`` ...: name, least, greatest, likely slip."""
FACTORS = {"co2": 1e-6, "energy": 3.6e6}
"""Into the unit inside, where it is not that of the column. [as the name]"""
NEEDED = ("plenum_temp_c", "return_temp_c", "fan_speed")
"""Without these hardly any rule can look."""
_PULP = re.compile(r"pulp_(\d+)_[cf]")
_HEIGHTS = re.compile(r"#\s*pulp_heights_m\s*:\s*(.*\S)\s*$")


@dataclass(frozen=True, kw_only=True, eq=False)
class Log:
    """Readings and positions in the order of time; NaN where nothing was read."""

    time: Array
    """UTC since 1970-01-01, rising. [s]"""
    values: dict[str, Array]
    """By the names in ``COLUMNS``; a column that the log lacks is absent. [any]"""
    pulp: Array
    """Pulp probes, one column each: (rows, probes). [°C]"""
    heights: tuple[float, ...] | None = None
    """Of the pulp probes above the floor, where the log says so. [m]"""
    remarks: tuple[str, ...] = ()
    """What was left out, one line each."""
    rows: int = field(default=0)
    """Rows in the file."""


def read_log(text: str, name: str = "log") -> Log:
    """
    Read a log and check it.

    Parameters
    ----------
    text : str
        CSV. First column ``time`` (ISO 8601 with offset); then any of ``COLUMNS`` and
        ``pulp_1_c``, ``pulp_2_c`` ... (bottom to top); temperatures also in °F with ``_f`` for
        ``_c``. A line ``# pulp_heights_m: 0.5, 2.0, 3.5`` above the names tells where the probes
        lie. ``energy_kwh`` is what was used since the row before.
    name : str
        Name of the file, for messages.

    Returns
    -------
    Log
        Rows in order, with a remark for whatever was left out.

    Raises
    ------
    BadInput
        Every problem found, one line each.
    """
    return _named(name, lambda: _read(*_parted(text)))


def read_logs(text: str, known: Collection[str], name: str = "log") -> dict[str, Log]:
    """
    Read a log that may hold several bays: a column ``bay`` behind ``time`` tells whose row it is;
    without it the key is empty.
    """
    heights, titles, body, numbers = _named(name, lambda: _parted(text))
    if titles[1:2] != ["bay"]:
        return {"": _named(name, lambda: _read(heights, titles, body, numbers))}
    rows: dict[str, tuple[list[str], list[int]]] = {}
    for line, number in zip(body, numbers.tolist(), strict=True):
        time, _, rest = line.partition(",")
        bay, _, rest = rest.partition(",")
        lines, where = rows.setdefault(bay.strip().strip('"'), ([], []))
        lines.append(f"{time},{rest}")
        where.append(number)
    strange = [(where[0], bay) for bay, (_, where) in rows.items() if bay not in known]
    if strange:
        told = ", ".join(known)
        raise BadInput(f"{name}: row {k}: bay {bay!r} is none of {told}" for k, bay in strange)
    return {
        bay: _named(
            f"{name}, bay {bay}",
            lambda lines=lines, where=where: _read(  # type: ignore[misc]
                heights, [titles[0], *titles[2:]], lines, np.array(where)
            ),
        )
        for bay, (lines, where) in rows.items()
    }


def _named(name: str, read: Callable[[], Found]) -> Found:
    """What is read, or its problems with the name of the file."""
    try:
        return read()
    except BadInput as error:
        raise BadInput(f"{name}: {problem}" for problem in error.problems) from None


def _parted(text: str) -> tuple[tuple[float, ...] | None, list[str], list[str], Lines]:
    """Heights of the probes, names of the columns, rows, and their numbers in the file."""
    lines = text.splitlines()
    top = 0
    heights: tuple[float, ...] | None = None
    while top < len(lines) and (not lines[top].strip() or lines[top].startswith("#")):
        if found := _HEIGHTS.match(lines[top]):
            heights = _heights_in(found[1])
        top += 1
    if top == len(lines):
        raise BadInput("no line with column names; begin with time,plenum_temp_c,...")
    titles = [title.strip().lower() for title in next(csv.reader([lines[top]]))]
    body = lines[top + 1 :]
    if any(":" in title for title in titles):
        titles, body = as_columns(titles, body)
    while body and not body[-1].strip():
        body.pop()
    return heights, titles, body, np.arange(top + 2, top + 2 + len(body))


def _read(
    heights: tuple[float, ...] | None, titles: list[str], body: Sequence[str], lines: Lines
) -> Log:
    _check_titles(titles)
    if len(body) < FEWEST:
        raise BadInput(f"{len(body)} rows; at least {FEWEST} are needed to compare anything")
    remarks: list[str] = []
    stamps, table, numbers = _table(body, len(titles) - 1, lines, remarks)
    time = _times(stamps, numbers, remarks)
    keep = _in_order(time, numbers, remarks)
    if len(keep) < (1.0 - MOST_WRONG) * len(body) or len(keep) < FEWEST:
        raise BadInput([*remarks, f"{len(keep)} of {len(body)} rows are left: mend the log first"])
    values = _columns(titles[1:], table, numbers, remarks)
    probes = sorted(key for key in values if key.startswith("pulp_"))
    probes.sort(key=lambda key: int(key[5:]))
    if heights is not None and len(heights) != len(probes):
        raise BadInput(f"pulp_heights_m holds {len(heights)} heights for {len(probes)} probes")
    return Log(
        time=time[keep],
        values={key: values[key][keep] for key in values if not key.startswith("pulp_")},
        pulp=np.array([values[key][keep] for key in probes]).T.reshape(len(keep), len(probes)),
        heights=heights,
        remarks=tuple(remarks),
        rows=len(body),
    )


def _heights_in(words: str) -> tuple[float, ...]:
    try:
        return tuple(float(word) for word in words.split(","))
    except ValueError:
        raise BadInput(f"pulp_heights_m is {words!r}; write metres with commas: 0.5, 2.0") from None


def _check_titles(titles: Sequence[str]) -> None:
    """Refuse names that nobody knows, doubled ones, and a log that says too little."""
    if len(titles) == 1 and ";" in titles[0]:
        raise BadInput("columns are parted by ';'; save with commas, and points in the numbers")
    if titles[0] == "policy":
        raise BadInput(
            "this is the table of `ventcalc season --csv`; `season --log-out FILE` writes the "
            "readings of the same season as a log"
        )
    problems = []
    if titles[0] != "time":
        problems.append(f"the first column is {titles[0]!r}; put time there, ISO 8601 with offset")
    plain = [_plain(title) for title in titles]
    for title in sorted({t for t, p in zip(titles, plain, strict=True) if plain.count(p) > 1}):
        problems.append(f"column {title} stands twice; keep one")
    strange = []
    for title, key in zip(titles[1:], plain[1:], strict=True):
        if key not in COLUMNS and not _PULP.fullmatch(key):
            close = difflib.get_close_matches(key, [*COLUMNS, "pulp_1_c"], n=1, cutoff=0.5)
            strange += [] if close else [repr(title)]
            if close:
                hint = f"did you mean {close[0]}?"
                problems.append(f"column {title!r} is not known; {hint}; or take it out")
    if strange:
        which = "column {} is" if len(strange) == 1 else "columns {} are"
        known = ", ".join([*COLUMNS, "pulp_1_c and up"])
        problems.append(
            f"{which.format(', '.join(strange))} not known; known are {known}; or take it out"
        )
    for key in NEEDED:
        if key not in plain:
            problems.append(f"column {key} is missing; hardly anything can be found without it")
    if problems:
        raise BadInput(problems)


def _plain(title: str) -> str:
    return f"{title[:-2]}_c" if title.endswith("_f") else title


# --- rows --------------------------------------------------------------------------------


def _table(
    body: Sequence[str], width: int, lines: Lines, remarks: list[str]
) -> tuple[list[str], Array, Lines]:
    """
    Time stamps, numbers (rows, columns) and line numbers: in arrays, and cell by cell where that
    does not go, to say which cell is wrong.
    """
    stamps: list[str] = []
    table = np.empty((len(body), width), order="F")
    numbers = np.empty(len(body), dtype=np.int64)
    wrong: list[str] = []
    short: list[str] = []
    for first in range(0, len(body), AT_ONCE):
        some, where = body[first : first + AT_ONCE], lines[first : first + AT_ONCE]
        parts = [line.partition(",") for line in some]
        found, told = table_of([part[2] for part in parts], width), [part[0] for part in parts]
        if found is None or np.isinf(found).any():
            told, found, where = _by_cell(some, width, where, wrong, short)
        rows = slice(len(stamps), len(stamps) + len(told))
        table[rows], numbers[rows] = found, where
        stamps += told
    _note(remarks, short, "left out")
    _note(remarks, wrong, "taken for missing")
    return stamps, table[: len(stamps)], numbers[: len(stamps)]


def _by_cell(
    body: Sequence[str], width: int, lines: Lines, wrong: list[str], short: list[str]
) -> tuple[list[str], Array, Lines]:
    stamps, rows, numbers = [], [], []
    for number, cells in zip(lines.tolist(), csv.reader(body), strict=False):
        if not any(cell.strip() for cell in cells):
            continue
        if len(cells) != width + 1:
            short.append(f"row {number} has {len(cells)} cells, the names are {width + 1}")
            continue
        row = []
        for cell in cells[1:]:
            value = _number(cell)
            if value is None:
                wrong.append(f"row {number}: {cell.strip()[:20]!r} is not a number")
                value = np.nan
            row.append(value)
        stamps.append(cells[0])
        rows.append(row)
        numbers.append(number)
    return stamps, np.array(rows, dtype=float).reshape(len(rows), width), np.array(numbers, int)


def _number(cell: str) -> float | None:
    if cell.strip().lower() in ("", "nan", "null", "na"):
        return np.nan
    try:
        value = float(cell)
    except ValueError:
        return None
    return value if np.isfinite(value) else None


def _note(remarks: list[str], found: Sequence[str], what: str) -> None:
    """One line for the first of a kind, and how many there are."""
    if found:
        more = f" (and {len(found) - 1} more)" if len(found) > 1 else ""
        remarks.append(f"{found[0]}{more}: {what}")


def _times(stamps: Sequence[str], numbers: Lines, remarks: list[str]) -> Array:
    """Seconds since 1970; NaN where a stamp is none."""
    found = moments_of(stamps)
    if found is not None:
        return found
    time = np.full(len(stamps), np.nan)
    naive = wrong = 0
    first = ""
    for k, stamp in enumerate(stamps):
        try:
            moment = datetime.fromisoformat(stamp.strip().strip('"'))
        except ValueError:
            first = first or f"row {numbers[k]}: time is {stamp.strip()[:30]!r}"
            wrong += 1
            continue
        if moment.tzinfo is None:
            first = first or f"row {numbers[k]}: time is {stamp.strip()[:30]!r}, without offset"
            naive += 1
            continue
        time[k] = moment.timestamp()
    if wrong + naive:
        how = "write ISO 8601 with offset, 2026-10-20T04:00:00-06:00"
        count = wrong + naive
        line = f"{first}{f' (and {count - 1} more)' if count > 1 else ''}; {how}"
        if count > MOST_WRONG * len(stamps):
            raise BadInput(line)
        remarks.append(f"{line}: left out")
    return time


def _in_order(time: Array, numbers: Lines, remarks: list[str]) -> Lines:
    """Rows whose time is later than all before; the others are told of."""
    sound = np.flatnonzero(~np.isnan(time))
    if not len(sound):
        return sound
    latest = np.maximum.accumulate(time[sound])
    before = np.concatenate([[-np.inf], latest[:-1]])
    doubled = time[sound] == before
    backwards = time[sound] < before
    # a single stamp far ahead would make all that follow look late
    if backwards.sum() > MOST_WRONG * len(time):
        row = numbers[sound[np.flatnonzero(backwards)[0]]]
        raise BadInput(
            f"row {row}: time runs backwards, as in {backwards.sum()} rows; sort the log by time, "
            f"or mend row {row - 1} if it lies too far ahead"
        )
    for which, word in ((backwards, "time runs backwards"), (doubled, "time stands twice")):
        _note(remarks, [f"row {numbers[k]}: {word}" for k in sound[which]], "left out")
    kept: Lines = sound[~(doubled | backwards)]
    return kept


# --- columns -----------------------------------------------------------------------------


def _columns(
    titles: Sequence[str], table: Array, numbers: Lines, remarks: list[str]
) -> dict[str, Array]:
    """Every column in the units inside; a value that cannot be is missing."""
    values, problems = {}, []
    for k, title in enumerate(titles):
        key = _plain(title)
        pulp = _PULP.fullmatch(key)
        if pulp:
            limits = KEYS[PULPS]
            name, low, high, slip = f"pulp_{pulp[1]}", limits.low, limits.high, limits.slip
        else:
            name, low, high, slip = COLUMNS[key]
        given = table[:, k]
        column = (given - 32.0) / 1.8 if key != title else given
        bad = (column < low) | (column > high)
        heard = int((~np.isnan(column)).sum())
        if bad.any():
            rows = np.flatnonzero(bad)
            first = f"row {numbers[rows[0]]}: {title} is {given[rows[0]]:g}"
            if len(rows) > MOST_WRONG * heard:
                problems.append(f"{first}, and {len(rows)} of {heard} cannot be; {slip}")
            _note(remarks, [first, *[""] * (len(rows) - 1)], "cannot be, taken for missing")
            column = np.where(bad, np.nan, column)
        values[name] = column * FACTORS.get(name, 1.0)
    if problems:
        raise BadInput(problems)
    return values
