"""``ventcalc size``: how large everything in a bay must be, with the working."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from ventcalc.bay.description import Bay
from ventcalc.commands.files import (
    bay_named,
    check_target,
    create,
    page_wanted,
    there_already,
    write_text,
)
from ventcalc.commands.inputs import weather_for
from ventcalc.commands.words import about, as_json, progress_bar
from ventcalc.errors import BadInput, OutOfRange
from ventcalc.report.cautions import EXAMPLE_CREDIT, EXAMPLE_WARNING
from ventcalc.units import UnitSystem
from ventcalc.weather import Weather

if TYPE_CHECKING:
    from ventcalc.sizing.alternatives import Alternatives
    from ventcalc.sizing.size import Sizing

__all__ = ["EXAMPLE", "SAYS", "options", "run"]

SAYS = "Size fans, ducts, doors, humidifier, refrigeration, heater and insulation of a bay."
EXAMPLE = 'ventcalc size seed_bay --target "20 cfm/ton" --weather example --out sized.toml'

NOT_COMPARED = (
    "Not compared here: leave out --no-compare, and each airflow runs through a season: energy, "
    "shrink, spread and what they cost together."
)


def options(parser: argparse.ArgumentParser) -> None:
    """What it takes."""
    parser.add_argument("bay", metavar="BAY", help="bay file, or seed_bay or fry_bay (invented)")
    parser.add_argument(
        "--target",
        metavar="VALUE",
        help='airflow per mass of crop in a full pile, such as "20 cfm/ton" (that of the bay)',
    )
    parser.add_argument(
        "--weather",
        metavar="FILE",
        default="example",
        help="EPW, TMY3 or CSV file with a whole year, or the word example (example)",
    )
    parser.add_argument(
        "--out", metavar="OUT", help="write the sized bay as a bay file; an existing file is kept"
    )
    parser.add_argument("--html", metavar="OUT", help="write a report with plots, one HTML file")
    which = parser.add_mutually_exclusive_group()
    which.add_argument(
        "--compare",
        metavar="VALUE",
        nargs="*",
        help="size for these airflows too, and run a season of each; two thirds and one and a "
        "half of the target where none is named (as --html does by itself)",
    )
    which.add_argument(
        "--no-compare", action="store_true", help="--html without other airflows and seasons"
    )


def run(args: argparse.Namespace) -> str:
    """Tables and working as text or JSON; files where they are asked for."""
    # Half of the library: not for the sake of another command's parser.
    from ventcalc.report.alternatives import alternatives_data
    from ventcalc.report.size_text import size_data, size_text
    from ventcalc.sizing.size import size_bay

    _check_files(args)
    bay = bay_named(args.bay)
    weather = weather_for(bay, args.weather)
    others = [_target(bay, text, "--compare") for text in args.compare or ()]
    sizing = size_bay(
        bay, airflow_per_tonne=_target(bay, args.target), weather=weather, units=args.units
    )
    found, why, remarks = None, NOT_COMPARED, []
    if args.compare is not None or (args.html is not None and not args.no_compare):
        try:
            found = _compared(sizing, weather, others, args.units)
        except OutOfRange as error:  # a pile that heats itself up
            if args.compare is not None:
                raise
            why = f"Less and more air are not compared: the season ended early, {error}."
            remarks = [why]
    credit = [EXAMPLE_WARNING, EXAMPLE_CREDIT] if args.weather == "example" else []
    written = _written(sizing, found, why, args, credit)
    if args.json:
        files = [name for name in (args.out, args.html) if name is not None]
        data = {**size_data(sizing), "weather_credit": credit, "files": files}
        return as_json(data if found is None else {**data, "compared": alternatives_data(found)})
    text = size_text(sizing, args.units, found)
    return "\n".join([text, "", *credit, *remarks, *written]).rstrip()


def _check_files(args: argparse.Namespace) -> None:
    """Refuse before any long work."""
    if args.out is not None:
        check_target(args.out, force=True)  # ``create`` replaces nothing
        if Path(args.out).exists():
            raise BadInput(there_already(args.out))
    page_wanted(args)


def _compared(
    sizing: Sizing, weather: Weather, airflows: list[float], units: UnitSystem
) -> Alternatives:
    from ventcalc.sizing.alternatives import compare_airflows

    told = "less and more air, a season of each (--no-compare leaves them out)"
    with progress_bar(told, "step") as (_, progress):
        found = compare_airflows(sizing, weather, airflows, units, progress)
    return found


def _target(bay: Bay, text: str | None, option: str = "--target") -> float:
    """Airflow per tonne of crop in a full pile. [m³/(s t)]"""
    from ventcalc.sizing.written import airflow_wanted

    with about(option):
        airflow = airflow_wanted(bay, text)
    return airflow


def _written(
    sizing: Sizing,
    found: Alternatives | None,
    why: str,
    args: argparse.Namespace,
    credit: list[str],
) -> list[str]:
    """Write bay file and HTML where asked; a line for each."""
    lines = []
    if args.out is not None:
        from ventcalc.sizing.written import sized_text

        lines.append(create(args.out, sized_text(sizing.sized, args.units)))
    if args.html is not None:
        from ventcalc.report.size_page import size_page

        page = size_page(sizing, args.units, credit=credit, found=found, not_compared=why)
        lines.append(write_text(args.html, page))
    return lines
