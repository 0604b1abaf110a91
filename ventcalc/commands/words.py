"""What the commands share."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any, NoReturn

from ventcalc.advice.json_values import moment_of
from ventcalc.errors import BadInput
from ventcalc.units import parse

__all__ = ["Parser", "about", "add_command", "add_skip_bad", "as_json", "moment", "option_of",
           "progress_bar", "quantity", "whole_number"]  # fmt: skip


class Parser(argparse.ArgumentParser):
    """An argument parser whose errors are ventcalc's: one line, printed by ``main``."""

    def error(self, message: str) -> NoReturn:
        """Raise instead of printing the usage and leaving."""
        raise BadInput(f"{message}; `{self.prog} --help` shows an example")


def add_command(commands: Any, name: str, command: Any) -> None:
    """Add a command, the module of that name, with the options that all have."""
    parser: argparse.ArgumentParser = commands.add_parser(
        name,
        help=command.SAYS,
        description=command.SAYS,
        epilog=f"example:\n  {command.EXAMPLE}",
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    parser.add_argument("--json", action="store_true", help="print JSON, its keys with units")
    parser.add_argument(
        "--units", choices=("metric", "us"), default="metric", help="units to print (metric)"
    )
    parser.add_argument(
        "--force", action="store_true", help="replace a file that ventcalc did not write"
    )
    parser.set_defaults(run=command.run)
    command.options(parser)


def add_skip_bad(parser: argparse.ArgumentParser) -> None:
    """The option of all that read a season folder."""
    parser.add_argument(
        "--skip-bad", action="store_true", help="go on without the lines that have a problem"
    )


def as_json(data: Any) -> str:
    """Data as JSON text."""
    return json.dumps(data, indent=2, ensure_ascii=False, allow_nan=False)


# --- what stands behind an option --------------------------------------------------------


@contextmanager
def about(what: str) -> Iterator[None]:
    """Begin each problem that is found inside with what it is about."""
    try:
        yield
    except BadInput as error:
        raise BadInput(f"{what} {problem}" for problem in error.problems) from None


def option_of(name: str) -> str:
    """As it is written: ``--truck-load`` of ``truck_load``."""
    return f"--{name.replace('_', '-')}"


def quantity(option: str, text: str, unit: str) -> float:
    """A number with its unit. [unit]"""
    with about(option):
        value = parse(text, unit)
    return value


def moment(option: str, text: str) -> float:
    """A time as ISO 8601, UTC since 1970. [s]"""
    problems: list[str] = []
    time = moment_of(text, problems)
    if problems:
        raise BadInput(f"{option}: {problem}" for problem in problems)
    return time


def whole_number(low: int, high: int) -> Callable[[str], int]:
    """Reads a whole number within limits."""

    def read(text: str) -> int:
        if not text.isdecimal() or not low <= int(text) <= high:
            raise argparse.ArgumentTypeError(f"{text!r} is not a whole number from {low} to {high}")
        return int(text)

    return read


# --- long work ---------------------------------------------------------------------------


@contextmanager
def progress_bar(
    words: str, unit: str = "it", *, first: str = ""
) -> Iterator[tuple[Any, Callable[[int, int], None]]]:
    """
    A bar on standard error (none where that is not a terminal), and what moves it: takes how much
    is done, and of how much; ``first`` stands there until it moves.
    """
    from tqdm import tqdm

    with tqdm(desc=first or words, unit=unit, disable=None, leave=False, file=sys.stderr) as bar:

        def progress(done: int, total: int) -> None:
            bar.set_description(words, refresh=False)
            bar.total = total
            bar.update(done - bar.n)

        yield bar, progress
