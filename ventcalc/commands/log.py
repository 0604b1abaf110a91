"""``ventcalc log``: write down what was done, weighed and seen; show and check it."""

from __future__ import annotations

import argparse
import getpass
import time as clock
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from ventcalc.bay.description import Bay
from ventcalc.commands.files import bay_named
from ventcalc.commands.words import add_skip_bad, as_json
from ventcalc.errors import BadInput
from ventcalc.logbook.columns import (
    columns_of,
    has_unit,
    known_like,
    read_quantity,
    read_words,
    stem,
    time_of,
)
from ventcalc.logbook.folder import Logbook, read_logbook, season_folder
from ventcalc.logbook.judge import judge_load, pile_under
from ventcalc.logbook.kinds import COMMON, KINDS, Load, SensorCheck
from ventcalc.logbook.probe_checks import probe_offset
from ventcalc.logbook.sheets import read_sheet
from ventcalc.logbook.writing import add_lines, restore_lines
from ventcalc.report.loads_text import judgement_text
from ventcalc.report.logbook_text import (
    kind_help,
    kind_text,
    logbook_data,
    logbook_text,
    offset_text,
)
from ventcalc.report.table import first_of
from ventcalc.units import UnitSystem

__all__ = ["EXAMPLE", "SAYS", "add_folder_options", "folder_of", "opened", "options", "run",
           "values_of"]  # fmt: skip

SAYS = "Write a line into the season folder beside the bay file; without one, show and check it."
EXAMPLE = 'ventcalc log seed_bay loads lot="Lot A" gross="84000 lb" tare="24000 lb" pulp="58 degF"'


def options(parser: argparse.ArgumentParser) -> None:
    """What it takes."""
    parser.add_argument("bay", metavar="BAY", help="bay file, or seed_bay or fry_bay (invented)")
    parser.add_argument(
        "words",
        metavar="KIND KEY=VALUE",
        nargs="*",
        help=f"kind of line ({', '.join(KINDS)}), then what to write, values with their unit; "
        "time= and who= if not now and you, note=, late=yes for what was forgotten, "
        "corrects=LINE to mend an older line: with nothing else it is struck out",
    )
    parser.add_argument("--import", metavar="FILE", dest="table", help="add rows of a CSV or XLSX")
    parser.add_argument(
        "--map",
        metavar="OURS=THEIRS",
        nargs="+",
        default=[],
        help='columns of that table, such as gross_lb="Full weight" time="Date+Time"',
    )
    parser.add_argument(
        "--time-format", metavar="FORMAT", help='of its times, such as "%%m/%%d/%%Y %%I:%%M %%p"'
    )
    parser.add_argument(
        "--restore", action="store_true", help="put lines back that a spreadsheet saved over"
    )
    parser.add_argument(
        "--all", action="store_true", help="show every line, and every problem of an import, not 20"
    )
    parser.add_argument("--keys", action="store_true", help="show what KIND may hold")
    add_folder_options(parser)


def add_folder_options(parser: argparse.ArgumentParser) -> None:
    """Options of all commands that read a season folder."""
    parser.add_argument(
        "--folder", metavar="DIR", help="season folder (beside the bay file, NAME.season)"
    )
    add_skip_bad(parser)


def run(args: argparse.Namespace) -> str:
    """Write lines, or show what there is."""
    bay = bay_named(args.bay)
    folder = folder_of(args)
    kind = _kind(args.words[0]) if args.words else None
    values = args.words[1:]
    if kind is None and args.table:
        raise BadInput(f"--import {args.table}: say of which kind; one of {', '.join(KINDS)}")
    if kind is not None and args.keys:
        return kind_help(kind)
    if kind is not None and args.restore:
        back = restore_lines(folder, bay, kind)
        return f"Put back {', '.join(f'line {n}' for n in back) or 'nothing: all lines are there'}"
    if kind is not None and (values or args.table):
        try:
            return _added(bay, folder, kind, values, args)
        except BadInput as error:
            if args.all:
                raise
            raise BadInput(first_of(error.problems, "--all names every one")) from None
    book = opened(bay, folder, args.skip_bad)
    if args.json:
        return as_json(logbook_data(bay, book, kind))
    if kind is None:
        return logbook_text(bay, book)
    return kind_text(bay, book, kind, args.units, None if args.all else 20)


def folder_of(args: argparse.Namespace) -> Path:
    """The season folder that is named, or the one beside the bay file."""
    return Path(args.folder) if args.folder else season_folder(args.bay)


def opened(bay: Bay, folder: Path, skip_bad: bool) -> Logbook:
    """The season's lines; problems are refused, or left out where that is asked for."""
    book = read_logbook(folder, bay)
    if book.problems and not skip_bad:
        every = "`ventcalc log BAY --skip-bad --json` lists every one"
        problems = first_of([problem.text for problem in book.problems], every)
        raise BadInput([*problems, "nothing is lost; --skip-bad goes on without these rows"])
    return book


def _kind(word: str) -> str:
    if word in KINDS:
        return word
    close = known_like(word, tuple(KINDS))
    hint = f"did you mean {close}?" if close else f"one of {', '.join(KINDS)}"
    raise BadInput(f"{word}: no such kind of line; {hint}")


# --- adding ------------------------------------------------------------------------------


def _added(bay: Bay, folder: Path, kind: str, values: list[str], args: argparse.Namespace) -> str:
    zone, now = ZoneInfo(bay.site.time_zone), clock.time()
    units: UnitSystem = args.units
    if args.table:
        if values:
            raise BadInput("give lines by --import or by KEY=VALUE, not both")
        mapping = dict(_pair("--map ", word) for word in args.map)
        sheet = read_sheet(Path(args.table), kind, zone, mapping, args.time_format)
        lines, names = [line.values for line in sheet], [line.name for line in sheet]
    else:
        lines, names = [values_of(kind, values, zone)], []
    ahead = []
    for k, line in enumerate(lines):
        line.setdefault("who", _me())
        if "corrects" not in line:
            line.setdefault("time", now)
        if line.get("time", now) > now + 3600.0:
            where = f"{names[k]}: " if names else ""
            ahead.append(f"{where}time lies ahead; write when it happened")
    if ahead:
        raise BadInput(ahead)
    numbers = add_lines(folder, bay, kind, lines, written=now, units=units, names=names)
    if args.json:
        return as_json({"wrote": str(folder / f"{kind}.csv"), "lines": numbers})
    told = ""
    if kind == "loads" and len(lines) == 1 and "corrects" not in lines[0]:
        told = f"\n{_judged(bay, folder, lines[0], units)}"
    if kind == "sensor_checks" and len(lines) == 1 and "corrects" not in lines[0]:
        entry = SensorCheck(**{k: v for k, v in lines[0].items() if k not in COMMON})
        told = f"\n{offset_text(probe_offset(entry, now), units)}"
    which = f"line {numbers[0]}" if len(numbers) == 1 else f"{len(numbers)} lines"
    return f"Wrote {which} of {folder / f'{kind}.csv'}{told}"


def _judged(bay: Bay, folder: Path, line: dict[str, Any], units: UnitSystem) -> str:
    """What is advised for the load that was just written down."""
    load = Load(**{name: value for name, value in line.items() if name not in COMMON})
    below = pile_under(read_logbook(folder, bay), line["time"])
    return judgement_text(judge_load(bay, load, below), units)


def _me() -> str:
    try:
        return getpass.getuser()
    except (OSError, KeyError, ImportError):  # no name on this machine
        return ""


def _pair(option: str, word: str) -> tuple[str, str]:
    key, equals, value = word.partition("=")
    if not equals or not value.strip():
        raise BadInput(f'{option}{word}: write KEY=VALUE, such as gross="84000 lb"')
    return key.strip().lower(), value.strip()


def values_of(kind: str, words: list[str], zone: ZoneInfo) -> dict[str, Any]:
    """Field to value from words such as ``gross=84000 lb``, or ``gross_lb=84000``."""
    known = columns_of(kind)
    keys = {stem(column.field): column for column in known.values()}
    found: dict[str, Any] = {}
    problems: list[str] = []
    for word in words:
        try:
            key, value = _pair("", word)
            column = known.get(key) or keys.get(key)
            if column is None or column.field in ("line", "written"):
                told = [k for k in keys if k not in ("line", "written")]
                close = known_like(key, told)
                hint = f"did you mean {close}?" if close else f"known are {', '.join(told)}"
                raise BadInput(f"{key}: {kind} have no such key; {hint}")
            if column.field in found:
                raise BadInput(f"{key}: given twice")
            if column.field == "time":
                found["time"] = time_of(value, zone)
            elif has_unit(column) and key in keys:
                found[column.field] = read_quantity(column, value)
            else:
                found[column.field] = read_words(column, value)
        except BadInput as error:
            problems += error.problems
    if problems:
        raise BadInput(problems)
    if not found.keys() - set(COMMON) and "corrects" not in found:
        raise BadInput(f"nothing to write; `ventcalc log BAY {kind} --keys` shows the keys")
    return found
