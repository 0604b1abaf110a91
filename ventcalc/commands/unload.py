"""``ventcalc unload``: when to warm, when trucks come, what air and people need till the last."""

from __future__ import annotations

import argparse
import math
from datetime import date, datetime
from zoneinfo import ZoneInfo

from ventcalc.bay.description import Bay
from ventcalc.commands.files import bay_named, page_wanted, write_text
from ventcalc.commands.inputs import weather_for
from ventcalc.commands.log import opened
from ventcalc.commands.words import add_skip_bad, as_json, option_of, quantity
from ventcalc.errors import BadInput
from ventcalc.logbook.folder import season_folder
from ventcalc.report.unload_page import unload_page
from ventcalc.report.unload_text import unload_data, unload_text
from ventcalc.stages.trucks import DayOff
from ventcalc.stages.unloading import Trucks, unload
from ventcalc.units import show

__all__ = ["EXAMPLE", "SAYS", "options", "parsed", "run"]

SAYS = "Plan re-warming and trucks: lead time, days, next bay, air for what remains, people."
EXAMPLE = 'ventcalc unload seed_bay fry_bay --date 2027-05-01 --pulp "50 degF" --weather example'

WEEK_NAMES = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
WEEK = tuple(name[:3] for name in WEEK_NAMES)

_TEMPERATURE = (-2.0, 25.0)
_RANGES = {
    "pulp": _TEMPERATURE,
    "now": _TEMPERATURE,
    "outside": (-50.0, 50.0),
    "rise": (0.02 / 86400.0, 2.0 / 86400.0),
}
"""In the unit inside; those of the bay file."""
_VALUES = {
    "truck_load": ("kg", "60000 lb", "crop on a truck"),
    "truck_time": ("s", "30 min", "to load one"),
    "working_time": ("s", "10 hours", "loading on a day"),
    "pulp": ("degC", None, "pulp wanted at the first truck (the bay file's)"),
    "now": ("degC", None, "pulp now (last measured, or the holding temperature)"),
    "outside": ("degC", None, "mean outside while it warms (of the weather)"),
    "rise": ("delta_degC/s", None, "fastest warming (the bay's ramp)"),
}
"""10 trucks a day, 60 000 lb, 30 min: common practice, no source."""


def options(parser: argparse.ArgumentParser) -> None:
    """What it takes."""
    parser.add_argument(
        "bays", metavar="BAY", nargs="+", help="bay files, in the order of unloading"
    )
    parser.add_argument("--date", metavar="YYYY-MM-DD", help="first truck (the bay file's date)")
    parser.add_argument(
        "--trucks-per-day", type=float, metavar="N", default=10.0, help="trucks a day (10)"
    )
    parser.add_argument(
        "--no-trucks",
        metavar="DAYS",
        default="",
        help="days on which none comes, such as sat,sun,2027-05-31",
    )
    for name, (_, value, about) in _VALUES.items():
        words = f"{about} ({value})" if value else about
        parser.add_argument(option_of(name), metavar="VALUE", default=value, help=words)
    parser.add_argument("--weather", metavar="FILE", help="run the model: weather file, or example")
    parser.add_argument("--html", metavar="OUT", help="write a page")
    add_skip_bad(parser)


def run(args: argparse.Namespace) -> str:
    """The end of the season of each bay, as text or JSON, and as a page."""
    page_wanted(args)
    bays = [bay_named(name) for name in args.bays]
    books = [
        opened(bay, season_folder(name), args.skip_bad)
        for bay, name in zip(bays, args.bays, strict=True)
    ]
    given = {
        name: parsed(name, getattr(args, name), unit, *_RANGES.get(name, ()))
        for name, (unit, _, _) in _VALUES.items()
    }
    told = unload(
        list(zip(bays, books, strict=True)),
        first=_day(args.date, bays[0]),
        trucks=Trucks(
            trucks_per_day=args.trucks_per_day,
            truck_load=given["truck_load"],
            truck_time=given["truck_time"],
            working_time=given["working_time"],
            off=_days_off(args.no_trucks),
        ),
        pulp=given["now"],
        final=given["pulp"],
        outside_temperature=given["outside"],
        ramp=given["rise"],
        weather=weather_for(bays[0], args.weather) if args.weather else None,
    )
    wrote = [write_text(args.html, unload_page(told, args.units))] if args.html else []
    if args.json:
        return as_json(unload_data(told))
    return "\n\n".join([unload_text(told, args.units), *wrote])


def parsed(
    name: str, text: str | None, unit: str, low: float = -math.inf, high: float = math.inf
) -> float:
    """An option's value in the unit inside; NaN where it was not given. [unit]"""
    if text is None:
        return math.nan
    value = quantity(option_of(name), text, unit)
    if not low <= value <= high:
        least, most = (show(limit, unit) for limit in (low, high))
        raise BadInput(f"{option_of(name)} {text!r}: must lie in {least} to {most}; wrong unit?")
    return value


def _days_off(text: str) -> frozenset[DayOff]:
    """Days of the week and dates from words."""
    off: set[DayOff] = set()
    for word in filter(None, (part.strip().lower() for part in text.split(","))):
        if word[:3] in WEEK and WEEK_NAMES[WEEK.index(word[:3])].startswith(word):
            off.add(WEEK.index(word[:3]))
            continue
        try:
            off.add(date.fromisoformat(word))
        except ValueError:
            raise BadInput(
                f"--no-trucks {word!r}: write days of the week and dates, such as "
                "sat,sun,2027-05-31"
            ) from None
    return frozenset(off)


def _day(text: str | None, bay: Bay) -> date:
    """The date given, or the next one of the bay file."""
    if text is not None:
        try:
            return date.fromisoformat(text)
        except ValueError:
            raise BadInput(f"--date {text!r}: write year-month-day, such as 2027-05-01") from None
    today = datetime.now(ZoneInfo(bay.site.time_zone)).date()
    month, day = map(int, bay.schedule.unloading_start.split("-"))
    due = date(today.year, month, day)
    return due if due >= today else date(today.year + 1, month, day)
