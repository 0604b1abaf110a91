"""``ventcalc diagnose``: what is wrong with a bay, by the log of its readings."""

from __future__ import annotations

import argparse

from ventcalc.commands.files import bay_named
from ventcalc.commands.inputs import read_log_of
from ventcalc.commands.words import as_json
from ventcalc.diagnose.diagnose import diagnose
from ventcalc.report.cautions import CAUTION
from ventcalc.report.diagnose_text import diagnosis_data, diagnosis_text
from ventcalc.season.installed import as_installed

__all__ = ["EXAMPLE", "SAYS", "options", "run"]

SAYS = "Find in a log of readings what is wrong: hot spot, door, probes, fans, coil, humidifier."
EXAMPLE = "ventcalc diagnose seed_bay --log winter.csv"


def options(parser: argparse.ArgumentParser) -> None:
    """What it takes."""
    parser.add_argument("bay", metavar="BAY", help="bay file, or seed_bay or fry_bay (invented)")
    parser.add_argument(
        "--log",
        metavar="FILE",
        required=True,
        help="CSV: time, then columns as of advise (outside_temp_c ... pulp_1_c, pulp_2_c ...), "
        "fan_speed, door_opening, humidifier, refrigeration, heater (0-1), energy_kwh; "
        "- takes standard input",
    )


def run(args: argparse.Namespace) -> str:
    """Findings as text or JSON; what was left out of the log goes to standard error."""
    bay = bay_named(args.bay)
    found = diagnose(as_installed(bay), read_log_of(args.log), args.units)
    if args.json:
        return as_json(diagnosis_data(bay, found))
    return f"{diagnosis_text(bay, found, args.units)}\n\n{CAUTION}"
