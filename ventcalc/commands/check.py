"""``ventcalc check``: may this bay be filled to this height?"""

from __future__ import annotations

import argparse
from typing import Any

from ventcalc.check.check import LOWEST_HEIGHT, TALLEST_HEIGHT, PileCheck, check_pile, sweep_heights
from ventcalc.commands.files import bay_named, page_wanted, write_text
from ventcalc.commands.words import as_json, quantity
from ventcalc.errors import BadInput
from ventcalc.report.check_data import check_data
from ventcalc.report.check_text import SWEEP_WORDS, check_text, sweep_tables, table_heights
from ventcalc.report.table import table
from ventcalc.units import show

__all__ = ["EXAMPLE", "SAYS", "options", "run"]

SAYS = "Check before fill: may this bay be filled to this height?"
EXAMPLE = 'ventcalc check seed_bay --height "17 ft" --units us --html check.html'

OUTSIDE = {
    "winter": ("-20 degC", "outside in the design winter", "-4 degF"),
    "winter-rh": ("80 %", "its relative humidity", "75 %"),
    "warm": ("18 degC", "mean outside on the warm day that refrigeration must handle", "64 degF"),
    "warm-rh": ("60 %", "its relative humidity", "50 %"),
    "autumn": ("10 degC", "outside at fill and healing, for the humidifier", "50 degF"),
    "autumn-rh": ("40 %", "its relative humidity", "35 %"),
}
"""Air outside that is assumed: option, what is taken without it, words and an example."""
RANGES = {"winter": (-50.0, 10.0), "warm": (0.0, 40.0), "autumn": (-10.0, 30.0)}
"""[°C]"""


def options(parser: argparse.ArgumentParser) -> None:
    """What it takes."""
    parser.add_argument("bay", metavar="BAY", help="bay file, or seed_bay or fry_bay (invented)")
    parser.add_argument(
        "--height", metavar="VALUE", help='pile depth, such as "17 ft" (that of the bay file)'
    )
    for option, (default, words, like) in OUTSIDE.items():
        parser.add_argument(
            f"--{option}",
            metavar="VALUE",
            default=default,
            help=f'{words}, such as "{like}" ({default})'.replace("%", "%%"),
        )
    parser.add_argument("--sweep", action="store_true", help="table of margins by height")
    parser.add_argument("--html", metavar="OUT", help="write a report with plots, one HTML file")


def run(args: argparse.Namespace) -> str:
    """Table, findings and cautions as text, or JSON; a page where it is asked for."""
    page_wanted(args)
    bay = bay_named(args.bay)
    height = bay.pile.height
    if args.height is not None:
        height = _parsed("--height", args.height, "m", LOWEST_HEIGHT, TALLEST_HEIGHT)
    outside = _outside(args)
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


def _outside(args: argparse.Namespace) -> dict[str, float]:
    found = {}
    for name, (low, high) in RANGES.items():
        text, humidity = getattr(args, name), getattr(args, f"{name}_rh")
        found[f"{name}_temperature"] = _parsed(f"--{name}", text, "degC", low, high)
        found[f"{name}_humidity"] = _parsed(f"--{name}-rh", humidity, "1", 0.01, 1.0)
    return found


def _parsed(option: str, text: str, unit: str, low: float, high: float) -> float:
    value = quantity(option, text, unit)
    if not low <= value <= high:
        told = "1 percent" if unit == "1" else unit
        limits = dict.fromkeys(
            f"{show(low, told, system)} to {show(high, told, system)}"
            for system in ("us", "metric")
        )
        first, *others = limits
        beside = f" ({others[0]})" if others else ""
        raise BadInput(f'{option} "{text}": must lie in {first}{beside}')
    return value
