"""``ventcalc fit``: how a bay differs from its file, by its log."""

from __future__ import annotations

import argparse

from ventcalc.calibration.checked import less_offsets
from ventcalc.calibration.fit import fit_bay
from ventcalc.commands.checks import sensor_checks
from ventcalc.commands.files import bay_named, check_target, write_text
from ventcalc.commands.inputs import read_log_of, weather_for
from ventcalc.commands.words import as_json
from ventcalc.logbook.checked_sensors import checked_sensors
from ventcalc.report.fit_text import fit_data, fit_text, fitted_file, verdict
from ventcalc.report.sensor_text import checks_lines

__all__ = ["EXAMPLE", "SAYS", "options", "run"]

SAYS = "Fit airflow, transpiration, respiration, envelope and fan power of a bay to its log."
EXAMPLE = "ventcalc fit north.toml --log winter.csv --weather year.epw --out fitted.toml"


def options(parser: argparse.ArgumentParser) -> None:
    """What it takes."""
    parser.add_argument("bay", metavar="BAY", help="bay file, or seed_bay or fry_bay (invented)")
    parser.add_argument(
        "--log", metavar="FILE", required=True, help="CSV as of diagnose; - takes standard input"
    )
    parser.add_argument(
        "--weather",
        metavar="FILE",
        help="weather of the same hours, or example: sun, sky and wind; outside air is the log's",
    )
    parser.add_argument("--layers", type=int, default=20, metavar="N", help="of the pile (20)")
    parser.add_argument("--out", metavar="FITTED", help="write the bay as fitted, a bay file")


def run(args: argparse.Namespace) -> str:
    """Factors and what they are worth, as text or JSON; the bay as fitted to its file."""
    if args.out is not None:
        check_target(args.out, args.force)
    bay = bay_named(args.bay)
    log = read_log_of(args.log)
    trust = checked_sensors(
        bay, sensor_checks(args.bay, bay), float(log.time[-1]), log.pulp.shape[1]
    )
    log = less_offsets(log, trust.offsets)
    checked = "\n".join(checks_lines(trust, bay.sensors, args.units))
    weather = weather_for(bay, args.weather) if args.weather is not None else None
    found = fit_bay(bay, log, weather, layers=args.layers)
    wrote = []
    if args.out is not None and verdict(found):
        wrote = [f"Not written: {args.out}."]
    elif args.out is not None:
        wrote = [write_text(args.out, fitted_file(found, args.units))]
    if args.json:
        return as_json(fit_data(found))
    return "\n\n".join(filter(None, [fit_text(found, args.units), checked, *wrote]))
