"""What the commands share."""

from __future__ import annotations

import argparse
import json
from collections.abc import Callable
from typing import Any, NoReturn

from ventcalc.errors import BadInput

__all__ = ["Command", "Parser", "add_command", "add_skip_bad", "as_json"]


Command = Callable[[argparse.Namespace], str]
"""Takes the words of the command line, gives the text to print."""


class Parser(argparse.ArgumentParser):
    """An argument parser whose errors are ventcalc's: one line, printed by ``main``."""

    def error(self, message: str) -> NoReturn:
        """Raise instead of printing the usage and leaving."""
        raise BadInput(f"{message}; `{self.prog} --help` shows an example")


def add_command(
    commands: Any, name: str, run: Command, says: str, example: str
) -> argparse.ArgumentParser:
    """Add a command with the options that all have."""
    parser: argparse.ArgumentParser = commands.add_parser(
        name,
        help=says,
        description=says,
        epilog=f"example:\n  {example}",
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
    parser.set_defaults(run=run)
    return parser


def add_skip_bad(parser: argparse.ArgumentParser) -> None:
    """The option of all that read a season folder."""
    parser.add_argument(
        "--skip-bad", action="store_true", help="go on without the lines that have a problem"
    )


def as_json(data: Any) -> str:
    """Data as JSON text."""
    return json.dumps(data, indent=2, ensure_ascii=False, allow_nan=False)
