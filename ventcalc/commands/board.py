"""``ventcalc board``: all bays of a folder today, on one table or page."""

from __future__ import annotations

import argparse
import time as clock
from pathlib import Path

from ventcalc.commands.files import page_wanted, write_text
from ventcalc.commands.words import as_json, moment
from ventcalc.errors import BadInput
from ventcalc.farm.folder import bay_files, farm_bay
from ventcalc.farm.shared import read_shared, use_of
from ventcalc.farm.today import today_of
from ventcalc.report.board_text import board_data, board_page, board_text
from ventcalc.report.cautions import CAUTION
from ventcalc.report.season_days import local

__all__ = ["EXAMPLE", "SAYS", "options", "run"]

SAYS = "All bays of a folder today: stage, target, pulp, CO2, shrink, alarms, what to do first."
EXAMPLE = "ventcalc board farm --html board.html --units us"


def options(parser: argparse.ArgumentParser) -> None:
    """What it takes."""
    parser.add_argument(
        "folder",
        metavar="FOLDER",
        help="folder of bay files; beside NAME.toml may lie NAME.season, NAME.readings.json (as of "
        "advise), NAME.readings.csv (a log, as of diagnose), and farm.toml for shared equipment",
    )
    parser.add_argument("--html", metavar="OUT", help="write a page")
    parser.add_argument("--at", metavar="TIME", help="count ages from this time, ISO 8601 (now)")


def run(args: argparse.Namespace) -> str:
    """The board as text or JSON, and as a page."""
    page_wanted(args)
    folder = Path(args.folder)
    if not folder.is_dir():
        found = "is a file" if folder.exists() else "no such folder"
        raise BadInput(f"{args.folder}: {found}; give the folder that holds the bay files")
    now = clock.time() if args.at is None else moment("--at", args.at)
    places = [farm_bay(path) for path in bay_files([args.folder])]
    machines = read_shared(folder, [place.name for place in places])
    today = [today_of(place, now, args.units) for place in places]
    shared = [use_of(machine, today) for machine in machines]
    wrote = []
    if args.html:
        when = f"{local(places[0].bay, now):%d %b %Y %H:%M}"
        page = board_page(today, shared, args.units, when)
        wrote = ["", write_text(args.html, page)]
    if args.json:
        return as_json({**board_data(today, shared, args.units), "caution": CAUTION})
    return "\n".join([board_text(today, shared, args.units), *wrote, "", CAUTION])
