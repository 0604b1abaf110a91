"""
The season folder beside the bay file: its files, read whole and checked.

``written.jsonl`` holds a second copy of every line that ventcalc wrote. A line in it that its file
lacks was saved over by a spreadsheet that had the older file open, and can be put back.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from ventcalc.bay.description import Bay
from ventcalc.errors import BadInput
from ventcalc.logbook.checks import cross_problems
from ventcalc.logbook.kinds import KINDS
from ventcalc.logbook.rows import Problem, Table, read_table

__all__ = ["COPY", "Logbook", "checked_logbook", "file_text", "read_logbook", "season_folder"]

COPY = "written.jsonl"
"""Name of the second copy."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Logbook:
    """Everything that a season folder holds."""

    folder: Path
    tables: Mapping[str, Table]
    """By kind; a file that is not there is an empty one."""
    problems: tuple[Problem, ...]
    """Of all files, those between lines and files too."""
    lost: Mapping[str, Mapping[str, Mapping[str, str]]]
    """By kind and number, the cells of lines that were written and stand in the file no more."""
    next_numbers: Mapping[str, int]
    """By kind, the first number that no line ever bore."""

    def entries(self, kind: str) -> tuple[Any, ...]:
        """What the sound lines of a kind hold."""
        return tuple(line.entry for line in self.lines(kind))

    def lines(self, kind: str) -> tuple[Any, ...]:
        """Sound lines of a kind."""
        bad = {problem.row for problem in self.problems if problem.kind == kind}
        return tuple(line for line in self.tables[kind].lines if line.row not in bad)


def season_folder(bay_file: str | Path) -> Path:
    """
    Folder of the season of a bay, beside its file and named after it; for an example bay in the
    current folder.
    """
    path = Path(bay_file)
    return path.with_name(f"{path.stem if path.suffix == '.toml' else path.name}.season")


def read_logbook(folder: Path, bay: Bay) -> Logbook:
    """
    Read and check every file of a season folder, none yet being an empty one: what is sound, and
    every problem.
    """
    return checked_logbook(folder, bay, {kind: file_text(folder, kind) for kind in KINDS})


def checked_logbook(folder: Path, bay: Bay, texts: Mapping[str, str]) -> Logbook:
    """The season that the files would hold with these texts, by kind."""
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
    copies = _copies(folder)
    lost = {
        kind: {number: cells for number, cells in copies[kind].items()
               if number not in table.numbers}
        for kind, table in tables.items()
    }  # fmt: skip
    problems += [_lost_words(kind, lines) for kind, lines in lost.items() if lines]
    order = list(KINDS)
    problems.sort(key=lambda p: (order.index(p.kind), p.row))
    return Logbook(
        folder=folder,
        tables=tables,
        problems=tuple(problems),
        lost=lost,
        next_numbers={
            kind: 1 + max(map(int, filter(str.isdecimal, {*table.numbers, *copies[kind], "0"})))
            for kind, table in tables.items()
        },
    )


def _lost_words(kind: str, lines: Mapping[str, Any]) -> Problem:
    first, more = next(iter(lines)), len(lines) - 1
    words = f"line {first}{f' and {more} more' if more else ''} written and gone again; saved over "
    words += f"by a spreadsheet? `ventcalc log BAY {kind} --restore` puts back what is missing"
    return Problem(kind, 1, words)


def _copies(folder: Path) -> dict[str, dict[str, dict[str, str]]]:
    """By kind and number, the cells as they were written."""
    found: dict[str, dict[str, dict[str, str]]] = {kind: {} for kind in KINDS}
    try:
        text = (folder / COPY).read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError):
        return found
    for row in text.splitlines():
        try:
            copy = json.loads(row)
            found[copy["kind"]][copy["cells"]["line"]] = copy["cells"]
        except (ValueError, KeyError, TypeError):
            continue  # torn by a crash: its line was never told to be kept
    return found


def file_text(folder: Path, kind: str) -> str:
    """Text of a file; empty where there is none."""
    path = folder / f"{kind}.csv"
    try:
        return path.read_bytes().decode("utf-8-sig")
    except FileNotFoundError:
        return ""
    except UnicodeDecodeError:
        raise BadInput(f"{path}: is not a text in UTF-8; save it as CSV UTF-8") from None
    except OSError as error:
        raise BadInput(f"{path}: cannot be read ({error.strerror}); close it elsewhere") from None
