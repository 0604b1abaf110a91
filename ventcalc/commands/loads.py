"""``ventcalc loads``: may this load go in, how does the bay fill, what heat comes with it?"""

from __future__ import annotations

import argparse
import math
import time as clock
from zoneinfo import ZoneInfo

from ventcalc.bay.description import Bay
from ventcalc.commands.files import bay_named, read_text
from ventcalc.commands.log import add_folder_options, folder_of, opened, values_of
from ventcalc.commands.words import as_json, moment, option_of, quantity
from ventcalc.diagnose.log import read_log
from ventcalc.errors import BadInput
from ventcalc.farm.zones import filled_zones
from ventcalc.logbook.filling import filling_of, plan_fill
from ventcalc.logbook.folder import Logbook
from ventcalc.logbook.judge import judge_load, judge_loads, pile_under
from ventcalc.logbook.kinds import Load
from ventcalc.report.loads_text import (
    judgement_data,
    judgement_text,
    loads_data,
    loads_text,
    plan_text,
)
from ventcalc.report.zones_text import zones_data, zones_text

__all__ = ["EXAMPLE", "SAYS", "options", "run"]

SAYS = "Judge the loads of a season, or the truck on the scale; how the bay fills; heat by day."
EXAMPLE = 'ventcalc loads seed_bay pulp="66 degF" rot="1 %" --units us'

_PLAN = {
    "truck_load": ("kg", "60000 lb", "crop on a truck"),
    "harvest_time": ("s", "4 min", "for a harvester to fill a truck"),
    "way_time": ("s", "15 min", "one way between field and bay"),
    "unload_time": ("s", "10 min", "for the piler to empty a truck"),
    "working_time": ("s", "10 hours", "work on a day"),
}
"""Fill of a truck in 4 min and 60 000 lb: common practice, no source; the others are yours."""


def options(parser: argparse.ArgumentParser) -> None:
    """What it takes."""
    parser.add_argument("bay", metavar="BAY", help="bay file, or seed_bay or fry_bay (invented)")
    parser.add_argument(
        "words",
        metavar="KEY=VALUE",
        nargs="*",
        help="a truck that is not written down yet: pulp, rot, frost, soil, wet, fall",
    )
    parser.add_argument("--pile", metavar="VALUE", help="pulp that it falls on (from the season)")
    parser.add_argument("--trucks", type=int, metavar="N", help="plan the fill with so many trucks")
    parser.add_argument("--harvesters", type=int, metavar="N", default=1, help="how many (1)")
    for name, (_, value, about) in _PLAN.items():
        option = option_of(name)
        parser.add_argument(option, metavar="VALUE", default=value, help=f"{about} ({value})")
    parser.add_argument(
        "--zones",
        action="store_true",
        help="the pile as it grew: temperature, age and lot of each day's loads along the bay",
    )
    parser.add_argument(
        "--log", metavar="FILE", help="with --zones: what plenum and fans did, CSV as of diagnose"
    )
    parser.add_argument("--at", metavar="TIME", help="with --zones: at this time, ISO 8601")
    parser.add_argument("--all", action="store_true", help="show every doubtful load, not 20")
    add_folder_options(parser)


def run(args: argparse.Namespace) -> str:
    """A plan, a judgement of one truck, or of the season's loads."""
    bay = bay_named(args.bay)
    if args.trucks is not None:
        return _plan(bay, args)
    book = opened(bay, folder_of(args), args.skip_bad)
    if args.words:
        known = values_of("loads", args.words, ZoneInfo(bay.site.time_zone))
        below = pile_under(book, known.pop("time", clock.time()))
        if args.pile is not None:
            below = quantity("--pile", args.pile, "degC")
        known = {k: v for k, v in known.items() if k not in ("who", "note", "corrects", "late")}
        load = Load(**{"lot": "", "gross": 1.0, "tare": 0.0, **known})
        judgement = judge_load(bay, load, below)
        if args.json:
            return as_json(judgement_data(judgement))
        return judgement_text(judgement, args.units)
    if args.zones:
        return _zones(bay, book, args)
    if args.log is not None or args.at is not None:
        raise BadInput("--log and --at go with --zones")
    filling, judged = filling_of(bay, book), judge_loads(bay, book)
    if args.json:
        return as_json(loads_data(bay, book, filling, judged))
    return loads_text(bay, book, filling, judged, args.units, None if args.all else 20)


def _zones(bay: Bay, book: Logbook, args: argparse.Namespace) -> str:
    until = math.inf if args.at is None else moment("--at", args.at)
    log = read_log(read_text(args.log, "a log"), args.log) if args.log else None
    found = filled_zones(bay, book, log, until)
    if args.json:
        return as_json(zones_data(bay, found))
    return zones_text(bay, found, args.units)


def _plan(bay: Bay, args: argparse.Namespace) -> str:
    given = {
        name: quantity(option_of(name), getattr(args, name), unit)
        for name, (unit, _, _) in _PLAN.items()
    }
    plan = plan_fill(bay.mass, trucks=args.trucks, harvesters=args.harvesters, **given)
    if args.json:
        return as_json(
            {
                "mass_kg": bay.mass,
                "rate_kg_s": plan.rate,
                "binds": plan.binds,
                "loads_per_day": plan.loads_per_day,
                "days": plan.days,
                "enough_trucks": plan.enough_trucks,
            }
        )
    return plan_text(plan, bay.mass, args.units)
