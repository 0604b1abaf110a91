"""
From the text of a file to lines: every row read, corrections applied, every problem told.

A row that corrects names the line that it corrects; cells that it leaves empty keep what they were,
and one that changes nothing strikes the line out. Nothing is ever dropped from the file itself.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

from ventcalc.errors import BadInput
from ventcalc.logbook.columns import (
    Column,
    columns_of,
    day_first,
    known_like,
    read_words,
    stem,
    time_of,
)
from ventcalc.logbook.kinds import COMMON, KINDS, Line, required
from ventcalc.units.text import quoted

__all__ = ["Problem", "Table", "delimiter_of", "headings_of", "read_table", "records", "row_count"]


class Problem(NamedTuple):
    """What is wrong with a row, in words."""

    kind: str
    row: int
    words: str

    @property
    def text(self) -> str:
        """One line that names file and row."""
        return f"{self.kind}.csv row {self.row}: {self.words}"


@dataclass(frozen=True, kw_only=True, slots=True)
class Table:
    """A file of the season as it was read."""

    kind: str
    lines: tuple[Line[Any], ...]
    """In the order of the file, corrected, without those struck out or with a problem."""
    problems: tuple[Problem, ...]
    rows: int
    """Rows below the heading that hold anything."""
    numbers: frozenset[str]
    """That its rows bear, corrections and bad rows too."""
    late: frozenset[int]
    """Rows that say of themselves that they were told late."""


class _Row(NamedTuple):
    row: int
    values: dict[str, Any]
    problems: list[str]


def delimiter_of(text: str) -> str:
    """Comma, or what spreadsheets of other countries write in its place."""
    head = text.partition("\n")[0]
    return max(",;\t", key=head.count)


def row_count(text: str) -> int:
    """Rows of a text, empty ones too."""
    return sum(1 for _ in csv.reader(io.StringIO(text, newline=""), delimiter=delimiter_of(text)))


def records(text: str) -> Iterator[tuple[int, list[str]]]:
    """Rows that hold anything, each with its number, the heading being row 1."""
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter_of(text))
    for row, cells in enumerate(reader, start=1):
        if any(cell.strip() for cell in cells):
            yield row, [cell.strip() for cell in cells]


def headings_of(kind: str, cells: list[str]) -> list[Column | None]:
    """Columns of a heading; those of the user's own are let be, likely slips are refused."""
    known = columns_of(kind)
    found: list[Column | None] = []
    problems: list[str] = []
    for cell in (cell.lower() for cell in cells):
        found.append(known.get(cell))
        meant = "" if cell in known or not cell else known_like(cell, tuple(known), 0.8)
        if meant:
            problems.append(f"column {quoted(cell)} is not known; did you mean {meant}?")
    fields = [column.field for column in found if column]
    problems += [
        f"{stem(field)} stands in two columns; keep one"
        for field in sorted(set(fields))
        if fields.count(field) > 1
    ]
    for field in ("time", *required(kind)):
        if field not in fields:
            names = [name for name, column in known.items() if column.field == field]
            problems.append(f"no column for {stem(field)}; add one named {' or '.join(names)}")
    if problems:
        raise BadInput(f"{kind}.csv row 1: {problem}" for problem in problems)
    return found


def read_table(kind: str, text: str, zone: ZoneInfo) -> Table:
    """Read a file of the season; ``zone`` is for times without offset."""
    rows = records(text)
    head = next(rows, None)
    if head is None:
        return Table(
            kind=kind, lines=(), problems=(), rows=0, numbers=frozenset(), late=frozenset()
        )
    return read_rows(kind, headings_of(kind, head[1]), rows, zone, delimiter_of(text) == ";")


def read_rows(
    kind: str,
    columns: list[Column | None],
    records: Iterator[tuple[int, list[str]]],
    zone: ZoneInfo,
    decimal_comma: bool,
) -> Table:
    """Lines of the records below a heading."""
    filled = list(records)
    place = next(k for k, column in enumerate(columns) if column and column.field == "time")
    days = day_first(cells[place] for _, cells in filled if place < len(cells))
    rows = [_row(row, cells, columns, zone, decimal_comma, days) for row, cells in filled]
    problems = [Problem(kind, r.row, words) for r in rows for words in r.problems]
    bad = {problem.row for problem in problems}
    slots: dict[int, _Row] = {}
    named: dict[str, int] = {}
    for row in rows:
        if row.row in bad:
            continue
        words = _place(row, slots, named)
        if words:
            problems.append(Problem(kind, row.row, words))
    lines = []
    for row in slots.values():
        line, words = _line(kind, row)
        if line is None:
            problems.append(Problem(kind, row.row, words))
        else:
            lines.append(line)
    return Table(
        kind=kind,
        lines=tuple(lines),
        problems=tuple(problems),
        rows=len(rows),
        numbers=frozenset(r.values["line"] for r in rows if "line" in r.values),
        late=frozenset(r.row for r in rows if r.values.get("late") == "yes"),
    )


def _row(
    row: int,
    cells: list[str],
    columns: list[Column | None],
    zone: ZoneInfo,
    comma: bool,
    days_first: bool | None,
) -> _Row:
    values: dict[str, Any] = {}
    problems: list[str] = []
    for column, cell in zip(columns, cells, strict=False):
        if column is None or not cell:
            continue
        try:
            if column.field == "time":
                values["time"] = time_of(cell, zone, days_first)
            else:
                values[column.field] = read_words(column, cell, comma)
        except BadInput as error:
            problems += error.problems
    return _Row(row, values, problems)


def _place(row: _Row, slots: dict[int, _Row], named: dict[str, int]) -> str:
    """Put a row in its place, or a correction in that of the line it corrects."""
    number, corrects = row.values.get("line", ""), row.values.get("corrects", "")
    if number and number in named:
        return f"line {number} stands twice (row {named[number]}); give this row another number"
    if not corrects:
        slots[row.row] = row
        if number:
            named[number] = row.row
        return ""
    if corrects not in named:
        return f"corrects line {corrects}, which is not there; give the number in column line"
    slot = named[corrects]
    if number:
        named[number] = slot
    own = {k: v for k, v in row.values.items() if k not in COMMON}
    moved = {k: v for k, v in row.values.items() if k in ("time", "who", "note")}
    if slot not in slots:
        return f"corrects line {corrects}, which was struck out; write it as a new line"
    before = slots[slot]
    told_anew = "time" in moved and not own and moved["time"] != before.values.get("time")
    if not own and not told_anew:
        del slots[slot]
        return ""
    slots[slot] = _Row(slot, {**before.values, **moved, **own}, [])
    return ""


def _line(kind: str, row: _Row) -> tuple[Line[Any] | None, str]:
    values: Mapping[str, Any] = row.values
    lacking = [stem(name) for name in ("time", *required(kind)) if name not in values]
    if lacking:
        return None, f"no {' and no '.join(lacking)}; write {'it' if len(lacking) == 1 else 'them'}"
    entry = KINDS[kind](**{k: v for k, v in values.items() if k not in COMMON})
    return (
        Line(
            row=row.row,
            number=values.get("line", ""),
            time=values["time"],
            who=values.get("who", ""),
            note=values.get("note", ""),
            entry=entry,
        ),
        "",
    )
