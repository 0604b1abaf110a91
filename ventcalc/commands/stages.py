"""``ventcalc stages``: plan against actual, healing, cooling, sprouting, to heal or not."""

from __future__ import annotations

import argparse
import math
from datetime import date, datetime
from zoneinfo import ZoneInfo

import numpy as np

from ventcalc.bay.description import Bay
from ventcalc.commands.files import bay_named, page_wanted, read_text, write_text
from ventcalc.commands.log import add_folder_options, folder_of, opened
from ventcalc.commands.unload import parsed
from ventcalc.commands.words import as_json, option_of
from ventcalc.diagnose.log import read_log
from ventcalc.errors import BadInput
from ventcalc.logbook.folder import Logbook
from ventcalc.report.stages_text import stages_data, stages_page, stages_text
from ventcalc.stages.progress import progress_of

__all__ = ["EXAMPLE", "SAYS", "options", "run"]

SAYS = "Plan against actual with dates: healing, cooling, sprouting, heal or not, reconditioning."
EXAMPLE = "ventcalc stages seed_bay --log winter.csv --today 2026-11-20"

DAY = 86400.0
_VALUES = {
    "dormancy": ("s", 20 * DAY, 400 * DAY, "of the variety, after harvest at 45 °F: 140 days"),
    "rot": ("1", 0.0, 1.0, "rotten tubers in a sample (mean of the loads)"),
    "frost": ("1", 0.0, 1.0, "frosted tubers in a sample (mean of the loads)"),
    "recondition": ("degC", 10.0, 20.0, "reconditioning of processing stock, such as 15 degC"),
    "recondition_time": ("s", DAY, 60 * DAY, "at that temperature (21 days)"),
}


def options(parser: argparse.ArgumentParser) -> None:
    """What it takes."""
    parser.add_argument("bay", metavar="BAY", help="bay file, or seed_bay or fry_bay (invented)")
    parser.add_argument("--today", metavar="YYYY-MM-DD", help="another day than today")
    parser.add_argument("--log", metavar="FILE", help="CSV of readings with pulp, as of diagnose")
    for name, (_, _, _, about) in _VALUES.items():
        parser.add_argument(option_of(name), metavar="VALUE", help=about)
    parser.add_argument("--html", metavar="OUT", help="write a page")
    add_folder_options(parser)


def run(args: argparse.Namespace) -> str:
    """Where the season stands, as text or JSON, and as a page."""
    page_wanted(args)
    bay = bay_named(args.bay)
    book = opened(bay, folder_of(args), args.skip_bad)
    given = {
        name: parsed(name, getattr(args, name), unit, low, high)
        for name, (unit, low, high, _) in _VALUES.items()
    }
    again = given["recondition"]
    if math.isnan(again) and not math.isnan(given["recondition_time"]):
        raise BadInput('--recondition-time needs --recondition, such as "15 degC"')
    days = 0 if math.isnan(again) else 21
    if not math.isnan(given["recondition_time"]):
        days = round(given["recondition_time"] / DAY)
    today = _today(args.today, bay)
    _after_first_load(today, book, bay)
    told = progress_of(
        bay,
        book,
        today=today,
        logged=_logged(args.log) if args.log else (),
        dormancy=None if math.isnan(given["dormancy"]) else given["dormancy"] / DAY,
        rot_share=None if math.isnan(given["rot"]) else given["rot"],
        frost_share=None if math.isnan(given["frost"]) else given["frost"],
        recondition_days=days,
        **({} if math.isnan(again) else {"recondition_temperature": again}),
    )
    wrote = [write_text(args.html, stages_page(bay, told, args.units))] if args.html else []
    if args.json:
        return as_json(stages_data(bay, told))
    return "\n\n".join([stages_text(bay, told, args.units), *wrote])


def _logged(name: str) -> tuple[tuple[float, float], ...]:
    """Times and mean pulp of a log. [s, °C]"""
    log = read_log(read_text(name, "a log"), name)
    if log.pulp.shape[1] == 0:
        raise BadInput(f"{name}: has no pulp column; pulp_1_c, pulp_2_c ... from bottom to top")
    known = ~np.isnan(log.pulp).all(axis=1)
    means = np.nanmean(log.pulp[known], axis=1)
    return tuple(zip(log.time[known].tolist(), means.tolist(), strict=True))


def _after_first_load(today: date, book: Logbook, bay: Bay) -> None:
    first = min((line.time for line in book.lines("loads")), default=math.nan)
    if math.isnan(first):
        return
    day = datetime.fromtimestamp(first, ZoneInfo(bay.site.time_zone)).date()
    if today < day:
        raise BadInput(f"--today {today} lies before the first load of the season folder, {day}")


def _today(text: str | None, bay: Bay) -> date:
    if text is None:
        return datetime.now(ZoneInfo(bay.site.time_zone)).date()
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise BadInput(f"--today {text!r}: write year-month-day, such as 2026-11-20") from None
