"""
Adding to a season: appended, on the disk before anybody is told, one program at a time.

Nothing that stands in a file is ever rewritten. Each line goes into its file and, as a second copy,
into ``written.jsonl``.
"""

from __future__ import annotations

import csv
import io
import json
import os
import sys
import time as clock
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import IO, Any
from zoneinfo import ZoneInfo

from ventcalc.bay.description import Bay
from ventcalc.errors import BadInput
from ventcalc.logbook.columns import (
    Column,
    columns_of,
    heading,
    local_text,
    read_words,
    shown,
    stem,
    time_of,
)
from ventcalc.logbook.folder import COPY, Logbook, checked_logbook, file_text
from ventcalc.logbook.kinds import KINDS
from ventcalc.logbook.rows import Problem, delimiter_of, headings_of, records, row_count
from ventcalc.units import UnitSystem

__all__ = ["add_lines", "restore_lines"]

PATIENCE = 10.0
"""How long to wait for another program that is writing. [s]"""


def add_lines(
    folder: Path,
    bay: Bay,
    kind: str,
    lines: Sequence[Mapping[str, Any]],
    *,
    written: float,
    units: UnitSystem = "metric",
    names: Sequence[str] = (),
) -> list[str]:
    """
    Add lines to a file of the season, all or none, and tell their numbers; a new file is in
    ``units``, an older one keeps its own, ``names`` are what a refusal calls the lines.
    """
    with _locked(folder):
        texts = {name: file_text(folder, name) for name in KINDS}
        before = checked_logbook(folder, bay, texts)
        first = before.next_numbers[kind]
        numbers = [str(first + k) for k in range(len(lines))]
        stamp = {"written": local_text(written, ZoneInfo(bay.site.time_zone))}
        told = [{**line, **stamp, "line": n} for line, n in zip(lines, numbers, strict=True)]
        rows, added = _as_text(kind, texts[kind], told, bay, units)
        after = checked_logbook(folder, bay, {**texts, kind: texts[kind] + added})
        _refuse(before, after, kind, texts[kind], names, len(lines))
        _append(folder / f"{kind}.csv", added)
        _append(folder / COPY, "".join(_copy(kind, row) for row in rows))
    return numbers


def restore_lines(folder: Path, bay: Bay, kind: str) -> list[str]:
    """
    Put lines back that were written once and stand in their file no more; below later ones now,
    they count as told late.
    """
    zone, known = ZoneInfo(bay.site.time_zone), columns_of(kind)
    with _locked(folder):
        texts = {name: file_text(folder, name) for name in KINDS}
        lost = checked_logbook(folder, bay, texts).lost[kind]
        lines = []
        for cells in lost.values():
            values = {
                known[name].field: read_words(known[name], cell)
                for name, cell in cells.items()
                if cell and name in known and name != "time"
            }
            time = {"time": time_of(cells["time"], zone)} if cells.get("time") else {}
            lines.append({**values, **time, "late": "yes"})
        _, added = _as_text(kind, texts[kind], lines, bay, "metric")
        if lines:
            _append(folder / f"{kind}.csv", added)
    return list(lost)


def _refuse(
    before: Logbook, after: Logbook, kind: str, old: str, names: Sequence[str], count: int
) -> None:
    """Raise if the new lines are wrong, or would not be read back as lines of their own."""
    known = {(p.kind, p.row, p.words) for p in before.problems}
    fresh = [p for p in after.problems if (p.kind, p.row, p.words) not in known]
    if fresh:
        first = 1 + row_count(old) if old.strip() else 2
        raise BadInput(_told(p, kind, first, names) for p in fresh)
    if after.tables[kind].rows != before.tables[kind].rows + count:
        raise BadInput(
            f"{kind}.csv: its last row has a quotation mark that is not closed; mend it in a text "
            "editor first"
        )


def _told(problem: Problem, kind: str, first: int, names: Sequence[str]) -> str:
    """A problem of a new line, by what the person calls it: it has no row yet."""
    place = problem.row - first
    if problem.kind != kind or place < 0:
        return problem.text
    return f"{names[place]}: {problem.words}" if place < len(names) else problem.words


def _as_text(
    kind: str, old: str, lines: Sequence[Mapping[str, Any]], bay: Bay, units: UnitSystem
) -> tuple[list[dict[str, str]], str]:
    """Cells of the new lines by heading, and what to append to the old text."""
    zone = ZoneInfo(bay.site.time_zone)
    head = next(records(old), None)
    names = heading(kind, units) if head is None else head[1]
    columns = headings_of(kind, names)
    _check_columns(kind, columns, lines)
    mark = delimiter_of(old) if head else ","
    out = io.StringIO(newline="")
    writer = csv.writer(out, delimiter=mark, lineterminator="\n")
    if head is None:
        writer.writerow(names)
    elif not old.endswith(("\n", "\r")):
        out.write("\n")  # a spreadsheet's or a torn last line stays what it is
    rows = []
    for line in lines:
        values = dict(line)
        if "time" in line:
            values["time"] = local_text(line["time"], zone)
        cells = [shown(c, values.get(c.field)) if c else "" for c in columns]
        row = {c.name: cell for c, cell in zip(columns, cells, strict=True) if c}
        # the copy knows the line's name even where the file has no column for it
        rows.append({**row, "line": values["line"]})
        if mark == ";":
            cells = [
                cell.replace(".", ",") if c and c.high else cell
                for c, cell in zip(columns, cells, strict=True)
            ]
        writer.writerow(cells)
    return rows, out.getvalue()


def _check_columns(
    kind: str, columns: Sequence[Column | None], lines: Sequence[Mapping[str, Any]]
) -> None:
    """Refuse what the file has no column for, except for what it only would be nice to have."""
    there = {stem(column.field) for column in columns if column}
    given = {stem(f) for line in lines for f, value in line.items() if value is not None}
    lost = sorted(given - {"who", "line", "written"} - there)
    if lost:
        raise BadInput(
            f"{kind}.csv: has no column for {', '.join(lost)}; add "
            f"{'it' if len(lost) == 1 else 'them'} to its heading in a spreadsheet"
        )


def _copy(kind: str, row: Mapping[str, str]) -> str:
    cells = {name: cell for name, cell in row.items() if cell}
    return json.dumps({"kind": kind, "cells": cells}, ensure_ascii=False) + "\n"


def _append(path: Path, text: str) -> None:
    """All of the text, or nothing."""
    size = path.stat().st_size if path.exists() else None
    try:
        with open(path, "ab") as file:
            file.write(text.encode("utf-8"))
            file.flush()
            os.fsync(file.fileno())
        if size is None and os.name == "posix":
            handle = os.open(path.parent, os.O_RDONLY)
            try:
                os.fsync(handle)  # the name of a new file, too
            finally:
                os.close(handle)
    except OSError as error:
        with suppress(OSError):
            os.truncate(path, size or 0)  # half a line of a full disk
        raise BadInput(
            f"{path}: cannot be written ({error.strerror}); nothing was added; if a spreadsheet "
            "has it open, close it there"
        ) from None


@contextmanager
def _locked(folder: Path) -> Iterator[None]:
    """One program at a time adds to a season."""
    try:
        folder.mkdir(exist_ok=True)
        handle = os.open(folder / ".lock", os.O_RDWR | os.O_CREAT, 0o666)
    except OSError as error:
        raise BadInput(f"{folder}: cannot be written ({error.strerror})") from None
    with os.fdopen(handle, "r+b") as file:
        until = clock.monotonic() + PATIENCE
        while not _try_lock(file):
            if clock.monotonic() > until:
                raise BadInput(f"{folder}: another program is writing; try again")
            clock.sleep(0.02)
        yield


def _try_lock(file: IO[bytes]) -> bool:
    """Freed by the system when the file is closed, even by a crash."""
    try:
        if sys.platform == "win32":
            import msvcrt

            file.seek(0)
            msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)
        else:
            import fcntl

            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    return True
