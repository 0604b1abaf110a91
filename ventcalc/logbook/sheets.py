"""Lines from other people's tables: CSV and XLSX with columns of any name."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence
from datetime import datetime, time
from pathlib import Path
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

from ventcalc.errors import BadInput, VentcalcError
from ventcalc.logbook.columns import (
    Column,
    columns_of,
    day_first,
    has_unit,
    is_number,
    known_like,
    read_quantity,
    read_words,
    stem,
    time_of,
)
from ventcalc.logbook.kinds import required
from ventcalc.logbook.rows import delimiter_of
from ventcalc.units.text import quoted

__all__ = ["read_sheet"]


class SheetLine(NamedTuple):
    """A row of somebody's table as a line of a season's file."""

    name: str
    """File and row, for refusals."""
    values: dict[str, Any]
    """Field to value; ``time`` in seconds."""


def read_sheet(
    path: Path,
    kind: str,
    zone: ZoneInfo,
    mapping: Mapping[str, str],
    time_format: str | None = None,
) -> list[SheetLine]:
    """
    Read a CSV, or the first sheet of an XLSX: ``mapping`` is our heading with its unit
    (``gross_lb``) to theirs, ``Date+Time`` joins two; ``gross`` alone does where the cells have
    units. Times are ISO 8601, by ``time_format``, or as spreadsheets write them where a date tells
    day from month.
    """
    rows, comma = _xlsx(path) if path.suffix.lower() == ".xlsx" else _csv(path)
    filled = [(k, row) for k, row in enumerate(rows, start=1) if any(row)]
    if not filled:
        raise BadInput(f"{path}: is empty")
    head_row, head = filled[0]
    places = _places(f"{path.name} row {head_row}", kind, head, mapping)
    table = [
        (f"{path.name} row {number}", [(column, _joined(row, where)) for column, where in places])
        for number, row in filled[1:]
    ]
    days = day_first(c for _, cells in table for column, c in cells if column.field == "time")
    lines, bare = [], _bare(kind)
    problems = _without_unit(f"{path.name} row {head_row}", places, filled[1:], kind, bare)
    if problems:
        raise BadInput(problems)
    for name, cells in table:
        values: dict[str, Any] = {}
        for column, cell in cells:
            if not cell:
                continue
            try:
                if column.field == "time":
                    values["time"] = _time(cell, zone, time_format, days)
                elif column.name in bare:
                    values[column.field] = read_quantity(column, cell)
                else:
                    values[column.field] = read_words(column, cell, comma)
            except BadInput as error:
                problems += [f"{name}: {words}" for words in error.problems]
        lines.append(SheetLine(name, values))
    if problems:
        raise BadInput(problems)
    return lines


def _places(
    where: str, kind: str, head: Sequence[str], mapping: Mapping[str, str]
) -> list[tuple[Column, list[int]]]:
    """Our columns, and which of theirs each is made of."""
    known = columns_of(kind)
    lower = [name.lower() for name in head]
    problems: list[str] = []
    given = known | _bare(kind)
    places = {
        given[name].field: (given[name], [k]) for k, name in enumerate(lower) if name in given
    }
    for ours, theirs in mapping.items():
        if ours not in known:
            meant = known_like(ours, tuple(known))
            fits = [name for name, column in known.items() if stem(column.field) == ours]
            hint = " or ".join(fits) or meant or ", ".join(known)
            problems.append(f"--map {ours}: no such column; write {hint}")
            continue
        parts = [part.strip().lower() for part in theirs.split("+")]
        parts = [theirs.lower()] if theirs.lower() in lower else parts
        lost = [part for part in parts if part not in lower]
        if lost:
            problems.append(
                f"{where}: no column {quoted(lost[0])}; there are {', '.join(filter(None, head))}"
            )
            continue
        places[known[ours].field] = (known[ours], [lower.index(part) for part in parts])
    for field in ("time", *required(kind)):
        if field not in places and not problems:
            names = [name for name, column in known.items() if column.field == field]
            problems.append(
                f"{where}: nothing for {stem(field)}; say which column it is, --map "
                f'{names[0]}="..."'
            )
    if problems:
        raise BadInput(problems)
    return list(places.values())


def _bare(kind: str) -> dict[str, Column]:
    """Headings without a unit, such as ``gross``, whose cells carry it: ``84000 lb``."""
    known = columns_of(kind)
    return {
        name: column._replace(name=name)
        for column in known.values()
        if has_unit(column) and (name := stem(column.field)) not in known
    }


def _without_unit(
    where: str,
    places: Sequence[tuple[Column, list[int]]],
    rows: Sequence[tuple[int, Sequence[str]]],
    kind: str,
    bare: Mapping[str, Column],
) -> list[str]:
    """Columns whose unit neither heading nor cells tell, one line each."""
    problems = []
    for column, there in places:
        cells = [cell for _, row in rows if (cell := _joined(row, there))]
        if column.name in bare and column.unit != "1" and cells and all(map(is_number, cells)):
            fits = [name for name, one in columns_of(kind).items() if one.field == column.field]
            problems.append(
                f"{where}: {column.name} has no unit; say which, --map "
                f'{fits[0]}="{column.name}" or {fits[1]}="{column.name}"'
            )
    return problems


def _joined(row: Sequence[str], where: Sequence[int]) -> str:
    return " ".join(row[k] for k in where if k < len(row)).strip()


def _time(cell: str, zone: ZoneInfo, time_format: str | None, days: bool | None) -> float:
    if time_format is None:
        return time_of(cell, zone, days)
    try:
        return time_of(datetime.strptime(cell, time_format).isoformat(), zone)
    except ValueError as error:
        if isinstance(error, VentcalcError):
            raise
        raise BadInput(
            f"time {quoted(cell)}: does not fit --time-format {quoted(time_format)}"
        ) from None


def _csv(path: Path) -> tuple[list[list[str]], bool]:
    try:
        text = path.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError:
        raise BadInput(f"{path}: is not a text in UTF-8; save it as CSV UTF-8") from None
    except FileNotFoundError:
        raise BadInput(f"{path}: no such file; give the table to read, CSV or XLSX") from None
    except IsADirectoryError:
        raise BadInput(f"{path}: is a folder; give the file of the table inside it") from None
    except OSError as error:
        raise BadInput(f"{path}: cannot be read ({error.strerror})") from None
    mark = delimiter_of(text)
    rows = csv.reader(io.StringIO(text, newline=""), delimiter=mark)
    return [[cell.strip() for cell in row] for row in rows], mark == ";"


def _xlsx(path: Path) -> tuple[list[list[str]], bool]:
    try:
        import openpyxl
    except ImportError:
        raise VentcalcError(
            'openpyxl reads XLSX and is not installed: pip install "ventcalc[sheets]", or save the '
            "sheet as CSV"
        ) from None
    try:
        book = openpyxl.load_workbook(path, read_only=True, data_only=True)
    except OSError as error:
        raise BadInput(f"{path}: cannot be read ({error.strerror or 'not a file'})") from None
    except Exception:  # a damaged archive raises whatever its parts raise
        raise BadInput(f"{path}: is not an XLSX workbook; save it again as XLSX or CSV") from None
    try:
        rows = [[_cell(value) for value in row] for row in book.worksheets[0].values]
    finally:
        book.close()
    return rows, False


def _cell(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, float):
        return f"{value:.10g}"
    if isinstance(value, datetime) and value.time() == time():
        return value.date().isoformat()  # a column of dates; the hour may stand in another
    return str(value).strip()
