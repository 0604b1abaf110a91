"""``ventcalc lots``: what lies where, what leaves first, which lot into which bay."""

from __future__ import annotations

import argparse
from dataclasses import asdict
from pathlib import Path

from ventcalc.commands.files import bay_named, page_wanted, write_text
from ventcalc.commands.log import opened
from ventcalc.commands.words import add_skip_bad, as_json
from ventcalc.logbook.allotment import allot
from ventcalc.logbook.bay_lots import bay_lots
from ventcalc.logbook.folder import season_folder
from ventcalc.report.lots_text import allotment_text, lots_data, lots_page, lots_text

__all__ = ["EXAMPLE", "SAYS", "options", "run"]

SAYS = "What lies where, drawn to scale; what leaves first; rules for seed; which lot goes where."
EXAMPLE = "ventcalc lots north.toml south.toml --plan --units us"


def options(parser: argparse.ArgumentParser) -> None:
    """What it takes."""
    parser.add_argument("bays", metavar="BAY", nargs="+", help="bay files")
    parser.add_argument(
        "--plan", action="store_true", help="propose a bay for each lot announced in lots.csv"
    )
    parser.add_argument("--html", metavar="OUT", help="write a page with the drawing")
    add_skip_bad(parser)


def run(args: argparse.Namespace) -> str:
    """The lots of each bay, or a proposal for those that are announced."""
    page_wanted(args)
    bays = {}
    for name in args.bays:
        bay = bay_named(name)
        book = opened(bay, season_folder(name), args.skip_bad)
        bays[bay.name if bay.name not in bays else Path(name).stem] = (bay, book)
    if args.plan:
        placings = allot(bays)
        if args.json:
            return as_json({"placings": [asdict(placing) for placing in placings]})
        return allotment_text(placings, args.units)
    told = [bay_lots(bay, book) for bay, book in bays.values()]
    wrote = [write_text(args.html, lots_page(told, args.units))] if args.html else []
    if args.json:
        return as_json({"bays": [lots_data(one) for one in told], "files": args.html or ""})
    return "\n\n".join([*(lots_text(one, args.units) for one in told), *wrote])
