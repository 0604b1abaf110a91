"""``ventcalc record``: the season of each bay and of the farm, to show and to keep."""

from __future__ import annotations

import argparse

from ventcalc.commands.files import check_target, page_wanted, write_text
from ventcalc.commands.words import add_skip_bad, as_json
from ventcalc.errors import BadInput
from ventcalc.farm.folder import bay_files, farm_bay
from ventcalc.farm.record import bay_record
from ventcalc.report.cautions import CAUTION
from ventcalc.report.record_data import record_csv, record_data
from ventcalc.report.record_text import record_page, record_text
from ventcalc.report.table import first_of

__all__ = ["EXAMPLE", "SAYS", "options", "run"]

SAYS = "The season's record: weights, shrink, temperatures, energy, treatments, checks, findings."
EXAMPLE = "ventcalc record farm --html season.html --csv season.csv"


def options(parser: argparse.ArgumentParser) -> None:
    """What it takes."""
    parser.add_argument(
        "bays",
        metavar="BAY|FOLDER",
        nargs="+",
        help="bay files, or folders of them; beside NAME.toml lie NAME.season and, if there is a "
        "log, NAME.readings.csv (as of diagnose)",
    )
    parser.add_argument("--html", metavar="OUT", help="write a page that prints clean")
    parser.add_argument("--csv", metavar="OUT", help="write every fact, one a line")
    add_skip_bad(parser)


def run(args: argparse.Namespace) -> str:
    """The record as text or JSON, and as files."""
    for target in filter(None, (args.html, args.csv)):
        check_target(target, args.force)
    page_wanted(args)
    places = [farm_bay(path) for path in bay_files(args.bays)]
    wrong = [
        f"{one.name}: {problem.text}"
        for one in places
        if one.book is not None
        for problem in one.book.problems
    ]
    if wrong and not args.skip_bad:
        some = first_of(wrong, "--skip-bad --json lists every one")
        raise BadInput([*some, "nothing is lost; --skip-bad goes on without these rows"])
    records = [bay_record(place, args.units) for place in places]
    wrote = []
    if args.html:
        wrote.append(write_text(args.html, record_page(records, args.units)))
    if args.csv:
        wrote.append(write_text(args.csv, record_csv(records)))
    if args.json:
        return as_json({**record_data(records), "caution": CAUTION})
    return "\n".join([record_text(records, args.units), *([""] if wrote else []), *wrote])
