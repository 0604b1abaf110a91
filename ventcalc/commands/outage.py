"""``ventcalc outage``: the power is off; how long until what, and what to do first."""

from __future__ import annotations

import argparse
import math
from dataclasses import replace

from ventcalc import air
from ventcalc.advice.readings_file import readings_from_json
from ventcalc.commands.files import bay_named, page_wanted, read_text, write_text
from ventcalc.commands.inputs import weather_for
from ventcalc.commands.words import as_json
from ventcalc.errors import BadInput
from ventcalc.outage.outage import outage_of
from ventcalc.outage.outside import steady_outside, weather_outside
from ventcalc.report.outage_text import outage_data, outage_page, outage_text
from ventcalc.units import parse, reworded

__all__ = ["EXAMPLE", "SAYS", "options", "run"]

SAYS = "Power failure: hours to freezing, CO2, heat and dripping, and what to do first."
EXAMPLE = 'ventcalc outage seed_bay --readings now.json --outside "-20 degF" --html outage.html'

DOOR = "12 ft x 14 ft"
"""A truck door, where nobody says; common practice, no source."""
COLDEST, WARMEST = -50.0, 50.0
"""Outside air that is believed. [°C]"""


def options(parser: argparse.ArgumentParser) -> None:
    """What it takes."""
    parser.add_argument("bay", metavar="BAY", help="bay file, or seed_bay or fry_bay (invented)")
    parser.add_argument(
        "--readings",
        metavar="FILE",
        required=True,
        help="the last readings, as of advise, JSON; - takes standard input",
    )
    outside = parser.add_mutually_exclusive_group()
    outside.add_argument(
        "--outside",
        metavar="TEMPERATURE",
        help='air outside from now on, such as "-20 degF"; that of the readings if not given',
    )
    outside.add_argument(
        "--weather",
        metavar="FILE",
        help="a forecast from then on, or a year of weather, or example (Fort Collins 2018)",
    )
    parser.add_argument(
        "--door", default=DOOR, help=f'width x height of the door opened by hand ("{DOOR}")'
    )
    parser.add_argument("--html", metavar="OUT", help="write a page to print and hang up")


def run(args: argparse.Namespace) -> str:
    """Hours and steps as text or JSON, and the page."""
    page_wanted(args)
    bay, doorway = bay_named(args.bay), _doorway(args.door)
    text, zone = read_text(args.readings, "readings"), bay.site.time_zone
    given = readings_from_json(text, args.readings, zone=zone)
    readings = given.readings._replace(loaded=min(given.loaded / bay.mass, 1.0))
    if args.weather is not None:
        weather = weather_for(bay, args.weather)
        hours, ground, notes = weather_outside(bay, weather, readings.time)
    else:
        pressure = readings.pressure
        if math.isnan(pressure):
            pressure = float(air.standard_pressure(bay.site.altitude))
        outside = readings.outside_temperature
        if args.outside is not None:
            outside = _outside(args.outside)
        hours = steady_outside(outside, readings.outside_relative_humidity, pressure, readings.time)
        ground, notes = None, ()
    found = outage_of(bay, readings, hours, doorway=doorway, ground=ground)
    doubts = tuple(f"Not believed: {reworded(doubt, args.units)}." for doubt in given.doubts)
    found = replace(found, notes=(*doubts, *found.notes, *notes))
    wrote = [write_text(args.html, outage_page(bay, found, args.units))] if args.html else []
    if args.json:
        return as_json({**outage_data(bay, found, args.units), "files": args.html or ""})
    return "\n\n".join([outage_text(bay, found, args.units), *wrote])


def _outside(words: str) -> float:
    value = parse(words, "degC")
    if not COLDEST <= value <= WARMEST:
        raise BadInput(
            f"--outside is {words!r}; air outside lies between {COLDEST:g} and {WARMEST:g} °C"
        )
    return value


def _doorway(words: str) -> tuple[float, float]:
    parts = words.split("x")
    if len(parts) != 2:
        raise BadInput(f'--door is {words!r}; write width x height, such as "{DOOR}"')
    width, height = (parse(part.strip(), "m") for part in parts)
    if not (0.1 <= width <= 12.0 and 0.1 <= height <= 12.0):
        raise BadInput(f"--door is {words!r}; width and height lie between 0.1 and 12 m")
    return width, height
