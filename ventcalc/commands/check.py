"""``ventcalc check``: may this bay be filled to this height?"""

from __future__ import annotations

import argparse
from typing import Any

from ventcalc.check.check import LOWEST_HEIGHT, TALLEST_HEIGHT, PileCheck, check_pile, sweep_heights
from ventcalc.commands.files import bay_named, page_wanted, write_text
from ventcalc.commands.words import add_command, as_json
from ventcalc.errors import BadInput
from ventcalc.report.check_data import check_data
from ventcalc.report.check_text import SWEEP_WORDS, check_text, sweep_tables, table_heights
from ventcalc.report.table import table
from ventcalc.units import parse, show

__all__ = ["add", "run"]


def add(commands: Any) -> None:
    """Add the command to the parser."""
    parser = add_command(
        commands,
        "check",
        run,
        "Check before fill: may this bay be filled to this height?",
        'ventcalc check seed_bay --height "17 ft" --units us --html check.html',
    )
    parser.add_argument("bay", metavar="BAY", help="bay file, or seed_bay or fry_bay (invented)")
    parser.add_argument(
        "--height", metavar="VALUE", help='pile depth, such as "17 ft" (that of the bay file)'
    )
    parser.add_argument(
        "--winter",
        metavar="VALUE",
        default="-20 degC",
        help='outside in the design winter, such as "-4 degF" (-20 degC)',
    )
    parser.add_argument(
        "--warm",
        metavar="VALUE",
        default="18 degC",
        help='mean outside on the warm day that refrigeration must handle, such as "64 degF" '
        "(18 degC)",
    )
    parser.add_argument("--sweep", action="store_true", help="table of margins by height")
    parser.add_argument("--html", metavar="OUT", help="write a report with plots, one HTML file")


def run(args: argparse.Namespace) -> str:
    """Table, findings and cautions as text, or JSON; a page where it is asked for."""
    page_wanted(args)
    bay = bay_named(args.bay)
    height = bay.pile.height if args.height is None else _height(args.height)
    outside = {
        "winter_temperature": _parsed("--winter", args.winter, "degC", -50.0, 10.0),
        "warm_temperature": _parsed("--warm", args.warm, "degC", 0.0, 40.0),
    }
    result = check_pile(bay, height, **outside)

    def swept(heights: Any) -> PileCheck:
        return check_pile(bay, heights, **outside)

    wrote = ""
    if args.html is not None:
        from ventcalc.report.check_page import check_page

        rounds = swept(table_heights(args.units))
        wrote = write_text(args.html, check_page(result, rounds, args.units))
    if args.json:
        data = check_data(result, swept(sweep_heights()) if args.sweep else None)
        return as_json({**data, "files": [args.html] if args.html else []})
    parts = [check_text(result, args.units)]
    if args.sweep:
        for head, *rows in sweep_tables(swept(table_heights(args.units)), args.units):
            over = [name.rpartition(", ") for name in head]  # words above their unit
            heads = [[words or last for words, _, last in over]]
            heads.append([last if words else "" for words, _, last in over])
            parts.append("\n".join([f"{SWEEP_WORDS}:", *table([*heads, *rows])]))
    return "\n\n".join([*parts, wrote] if wrote else parts)


def _height(text: str) -> float:
    return _parsed("--height", text, "m", LOWEST_HEIGHT, TALLEST_HEIGHT)


def _parsed(option: str, text: str, unit: str, low: float, high: float) -> float:
    try:
        value = parse(text, unit)
    except BadInput as error:
        raise BadInput(f"{option} {problem}" for problem in error.problems) from None
    if not low <= value <= high:
        limits = " (".join(
            f"{show(low, unit, system)} to {show(high, unit, system)}"
            for system in ("us", "metric")
        )
        raise BadInput(f'{option} "{text}": must lie in {limits})')
    return value
