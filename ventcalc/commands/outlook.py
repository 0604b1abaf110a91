"""``ventcalc outlook``: the next days of a bay under the present advice, by a forecast."""

from __future__ import annotations

import argparse

from ventcalc.commands.ahead import add_inputs, forecast_asked, state_asked
from ventcalc.commands.files import bay_named, page_wanted, write_text
from ventcalc.commands.words import as_json, whole_number
from ventcalc.outlook.ahead import look_ahead
from ventcalc.report.outlook_text import outlook_data, outlook_text
from ventcalc.weather.forecast_errors import LEVELS

__all__ = ["EXAMPLE", "SAYS", "options", "run"]

SAYS = "The next 7 days under the present advice: pile, what runs, cost, when limits are met."
EXAMPLE = (
    "ventcalc outlook seed_bay --state state.json --forecast forecast.json --html outlook.html"
)


def options(parser: argparse.ArgumentParser) -> None:
    """What it takes."""
    parser.add_argument("bay", metavar="BAY", help="bay file, or seed_bay or fry_bay (invented)")
    add_inputs(parser)
    parser.add_argument(
        "--errors", choices=tuple(LEVELS), default="medium", help="how far forecasts err (medium)"
    )
    parser.add_argument(
        "--runs",
        metavar="N",
        type=whole_number(0, 1000),
        help="random runs for the band, 0 for none (2 chosen runs, with --fast 32 random ones)",
    )
    parser.add_argument("--seed", metavar="N", type=int, default=0, help="of the random runs (0)")
    parser.add_argument("--html", metavar="OUT", help="write a page with the picture")
    parser.add_argument(
        "--fast",
        action="store_true",
        help="a band of 32 random runs by machine code (extra fast), compiled once on this machine",
    )


def run(args: argparse.Namespace) -> str:
    """Sentences and days as text or JSON; the page where it is asked for."""
    page_wanted(args)
    bay = bay_named(args.bay)
    state = state_asked(bay, args)
    forecast = forecast_asked(bay, args, state)
    found = look_ahead(
        bay, state, forecast, hours=args.hours, runs=args.runs, level=args.errors, seed=args.seed,
        compiled=True if args.fast else None,
    )  # fmt: skip
    wrote = []
    if args.html is not None:
        from ventcalc.report.outlook_page import outlook_page

        wrote.append(write_text(args.html, outlook_page(found, args.units)))
    if args.json:
        return as_json({**outlook_data(found, args.units), "files": args.html or ""})
    return "\n\n".join([outlook_text(found, args.units), *wrote])
