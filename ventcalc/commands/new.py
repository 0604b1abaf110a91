"""``ventcalc new``: a commented bay file to begin with."""

from __future__ import annotations

import argparse

from ventcalc.bay.description import USES
from ventcalc.bay.file import starter_file
from ventcalc.commands.files import create
from ventcalc.commands.words import as_json

__all__ = ["EXAMPLE", "SAYS", "options", "run"]

SAYS = "Write a commented bay file with invented numbers, to fill in with your own."
EXAMPLE = "ventcalc new my_bay.toml --use seed --units us"


def options(parser: argparse.ArgumentParser) -> None:
    """What it takes."""
    parser.add_argument("out", metavar="OUT", help="file to write; an existing file is kept")
    parser.add_argument("--use", choices=USES, default="seed", help="what the crop is for (seed)")


def run(args: argparse.Namespace) -> str:
    """The file, and a line that names it."""
    done = create(args.out, starter_file(args.use, args.units))
    if args.json:
        return as_json({"wrote": args.out, "use": args.use, "units": args.units})
    return f"{done}: the numbers are invented, replace each with your own."
