"""
The season folder beside the bay file: its files, read whole and written by appending only.

A line is on the disk before anybody is told that it is kept. Two programs that add at once wait for
each other; a spreadsheet that holds a file open is waited for by the person.
"""

from __future__ import annotations

import csv
import io
import os
import sys
import time as clock
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any
from zoneinfo import ZoneInfo

from ventcalc.bay.description import Bay
from ventcalc.errors import BadInput
from ventcalc.logbook.checks import cross_problems
from ventcalc.logbook.columns import heading, local_text, shown, stem
from ventcalc.logbook.kinds import KINDS
from ventcalc.logbook.rows import (
    Problem,
    Table,
    delimiter_of,
    headings_of,
    read_table,
    records,
    row_count,
)
from ventcalc.units import UnitSystem

__all__ = ["Logbook", "add_lines", "read_logbook", "season_folder"]

PATIENCE = 10.0
"""How long to wait for another program that is writing. [s]"""


@dataclass(frozen=True, kw_only=True, slots=True)
class Logbook:
    """Everything that a season folder holds."""

    folder: Path
    tables: Mapping[str, Table]
    """By kind; a file that is not there is an empty one."""
    problems: tuple[Problem, ...]
    """Of all files, those between lines and files too."""

    def entries(self, kind: str) -> tuple[Any, ...]:
        """What the sound lines of a kind hold."""
        return tuple(line.entry for line in self.lines(kind))

    def lines(self, kind: str) -> tuple[Any, ...]:
        """Sound lines of a kind."""
        bad = {problem.row for problem in self.problems if problem.kind == kind}
        return tuple(line for line in self.tables[kind].lines if line.row not in bad)


def season_folder(bay_file: str | Path) -> Path:
    """
    Folder of the season of a bay: beside its file, and named after it.

    Parameters
    ----------
    bay_file : str or Path
        Such as ``seed_bay.toml``; an example bay's name stands for the current folder.

    Returns
    -------
    Path
        Such as ``seed_bay.season``.
    """
    path = Path(bay_file)
    return path.with_name(f"{path.stem if path.suffix == '.toml' else path.name}.season")


def read_logbook(folder: Path, bay: Bay) -> Logbook:
    """
    Read and check every file of a season folder.

    Parameters
    ----------
    folder : Path
        The folder; none yet is an empty one.
    bay : Bay
        The bay, for its time zone, its size and its lots.

    Returns
    -------
    Logbook
        What is sound, and every problem.

    Raises
    ------
    BadInput
        If a file cannot be read, or its heading not be understood.
    """
    return _checked(folder, bay, {kind: _text(folder, kind) for kind in KINDS})


def _checked(folder: Path, bay: Bay, texts: Mapping[str, str]) -> Logbook:
    zone = ZoneInfo(bay.site.time_zone)
    tables: dict[str, Table] = {}
    wrong: list[str] = []
    for kind, text in texts.items():
        try:
            tables[kind] = read_table(kind, text, zone)
        except BadInput as error:
            wrong += error.problems
    if wrong:
        raise BadInput(wrong)
    problems = [problem for table in tables.values() for problem in table.problems]
    problems += cross_problems(tables, bay)
    order = list(KINDS)
    problems.sort(key=lambda p: (order.index(p.kind), p.row))
    return Logbook(folder=folder, tables=tables, problems=tuple(problems))


def _text(folder: Path, kind: str) -> str:
    path = folder / f"{kind}.csv"
    try:
        return path.read_bytes().decode("utf-8-sig")
    except FileNotFoundError:
        return ""
    except UnicodeDecodeError:
        raise BadInput(f"{path}: is not a text in UTF-8; save it as CSV UTF-8") from None
    except OSError as error:
        raise BadInput(f"{path}: cannot be read ({error.strerror}); close it elsewhere") from None


# --- adding ------------------------------------------------------------------------------


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
    Add lines to a file of the season, all or none.

    Parameters
    ----------
    folder : Path
        Season folder; made if it is not there.
    bay : Bay
        The bay.
    kind : str
        One of ``KINDS``.
    lines : sequence of mapping
        Field to value, in units inside ventcalc; ``time`` in seconds.
    written : float
        Now, UTC since 1970. [s]
    units : {"metric", "us"}
        Units of a file that is not there yet; an older one keeps its own.
    names : sequence of str
        What to call each line in a refusal; empty for one line.

    Returns
    -------
    list of str
        The number that each line was given.

    Raises
    ------
    BadInput
        Every problem of the new lines, or why the file cannot be written.
    """
    try:
        folder.mkdir(exist_ok=True)
    except OSError as error:
        raise BadInput(f"{folder}: cannot be made ({error.strerror})") from None
    with _locked(folder):
        texts = {name: _text(folder, name) for name in KINDS}
        old = texts[kind]
        numbered, added = _as_text(kind, old, lines, written, bay, units)
        before = _checked(folder, bay, texts)
        after = _checked(folder, bay, {**texts, kind: old + added})
        known = {(p.kind, p.row, p.words) for p in before.problems}
        fresh = [p for p in after.problems if (p.kind, p.row, p.words) not in known]
        if fresh:
            first = 1 + row_count(old) if old.strip() else 2
            raise BadInput(_told(p, kind, first, names) for p in fresh)
        _append(folder / f"{kind}.csv", added)
    return numbered


def _told(problem: Problem, kind: str, first: int, names: Sequence[str]) -> str:
    """A problem of a new line, by what the person calls it: it has no row yet."""
    place = problem.row - first
    if problem.kind != kind or place < 0:
        return problem.text
    return f"{names[place]}: {problem.words}" if place < len(names) else problem.words


def _as_text(
    kind: str,
    old: str,
    lines: Sequence[Mapping[str, Any]],
    written: float,
    bay: Bay,
    units: UnitSystem,
) -> tuple[list[str], str]:
    """Numbers of the new lines, and what to append to the old text."""
    zone = ZoneInfo(bay.site.time_zone)
    head = next(records(old), None)
    names = heading(kind, units) if head is None else head[1]
    columns = headings_of(kind, names)
    there = {column.field for column in columns if column}
    given = {f for line in lines for f, value in line.items() if value is not None}
    lost = sorted({stem(field) for field in given - {"who"}} - {stem(field) for field in there})
    if lost:
        raise BadInput(
            f"{kind}.csv: has no column for {', '.join(lost)}; add "
            f"{'it' if len(lost) == 1 else 'them'} to its heading in a spreadsheet"
        )
    out = io.StringIO(newline="")
    writer = csv.writer(out, delimiter=delimiter_of(old) if head else ",", lineterminator="\n")
    if head is None:
        writer.writerow(names)
    elif not old.endswith(("\n", "\r")):
        out.write("\n")  # a spreadsheet's or a torn last line stays what it is
    comma = head is not None and delimiter_of(old) == ";"
    number = read_table(kind, old, zone).next_number
    numbers = [str(number + k) for k in range(len(lines))]
    for name, line in zip(numbers, lines, strict=True):
        values = {**line, "line": name, "written": local_text(written, zone)}
        if "time" in line:
            values["time"] = local_text(line["time"], zone)
        cells = [shown(c, values.get(c.field)) if c else "" for c in columns]
        if comma:
            cells = [
                cell.replace(".", ",") if c and c.factor and c.high else cell
                for c, cell in zip(columns, cells, strict=True)
            ]
        writer.writerow(cells)
    return numbers, out.getvalue()


def _append(path: Path, text: str) -> None:
    fresh = not path.exists()
    try:
        with open(path, "ab") as file:
            file.write(text.encode("utf-8"))
            file.flush()
            os.fsync(file.fileno())
        if fresh and os.name == "posix":
            handle = os.open(path.parent, os.O_RDONLY)
            try:
                os.fsync(handle)  # the name of a new file, too
            finally:
                os.close(handle)
    except OSError as error:
        raise BadInput(
            f"{path}: cannot be written ({error.strerror}); nothing was added; if a spreadsheet "
            "has it open, close it there"
        ) from None


@contextmanager
def _locked(folder: Path) -> Iterator[None]:
    """One program at a time adds to a season."""
    try:
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
