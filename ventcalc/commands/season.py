"""``ventcalc season``: a bay through a weather file, from the first load to the last truck."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from dataclasses import replace
from datetime import date, datetime
from zoneinfo import ZoneInfo

import numpy as np

from ventcalc.advice.policies import POLICIES
from ventcalc.bay.checks import contradictions
from ventcalc.bay.description import Bay
from ventcalc.commands.files import bay_named, check_target, page_wanted, write_text
from ventcalc.commands.inputs import weather_for
from ventcalc.commands.log import add_folder_options, folder_of, opened
from ventcalc.commands.words import as_json, progress_bar, whole_number
from ventcalc.compiled import ready, works
from ventcalc.errors import BadInput, OutOfRange
from ventcalc.logbook.as_loaded import as_loaded
from ventcalc.outlook.state import state_of_season, text_of_state
from ventcalc.report.cautions import EXAMPLE_CREDIT
from ventcalc.report.data import likely_data, season_csv, season_data
from ventcalc.report.loads_text import as_loaded_text
from ventcalc.report.season_log import season_log_csv
from ventcalc.report.season_page import season_page
from ventcalc.report.season_rows import control_words, likely_lines
from ventcalc.report.text import compare_text, season_text
from ventcalc.season.likely import Likely, likely_range
from ventcalc.season.run import Season, run_season
from ventcalc.weather import Weather

__all__ = ["EXAMPLE", "SAYS", "options", "run", "simulate"]

SAYS = "Run a bay through a season of weather: shrink, condensation, energy, cost."
EXAMPLE = "ventcalc season seed_bay --weather example --compare --html season.html"

DAY = 86400.0


def options(parser: argparse.ArgumentParser) -> None:
    """What it takes."""
    parser.add_argument("bay", metavar="BAY", help="bay file, or seed_bay or fry_bay (invented)")
    parser.add_argument(
        "--weather",
        metavar="FILE",
        required=True,
        help="EPW, TMY3 or CSV file, or the word example",
    )
    which = parser.add_mutually_exclusive_group()
    which.add_argument(
        "--policy",
        choices=tuple(POLICIES),
        default="advice",
        help="control method (advice); nothing is no ventilation",
    )
    which.add_argument("--compare", action="store_true", help="all control methods side by side")
    parser.add_argument(
        "--start", metavar="MM-DD", help="date of the first load, instead of the bay file's"
    )
    parser.add_argument(
        "--loads",
        action="store_true",
        help="as loaded: lots, masses, pulp and dates of the season folder, not the bay file's "
        "plan (still one column that fills evenly)",
    )
    add_folder_options(parser)
    parser.add_argument(
        "--until",
        metavar="WHEN",
        help="end then, local time, such as 2018-12-15 or 2018-12-15T06:00",
    )
    parser.add_argument(
        "--state-out", metavar="OUT", help="write where the pile stands at the end, for `outlook`"
    )
    parser.add_argument("--csv", metavar="OUT", help="write the results of every hour as CSV")
    parser.add_argument(
        "--log-out",
        metavar="OUT",
        help="write it as a log of readings, for diagnose, advise --log, stages, fit and board",
    )
    parser.add_argument("--html", metavar="OUT", help="write a report with plots, one HTML file")
    parser.add_argument(
        "--layers",
        metavar="N",
        type=whole_number(4, 200),
        default=40,
        help="layers of the pile, 4 to 200 (40)",
    )
    parser.add_argument(
        "--fast",
        action="store_true",
        help="machine code (extra fast): compiled once on this machine, then 0.1 s a season",
    )


def run(args: argparse.Namespace) -> str:
    """Summary as text or JSON; files where they are asked for."""
    given = (args.csv, args.log_out, args.html, args.state_out)
    targets = [name for name in given if name is not None]
    for name in targets:
        check_target(name, args.force)
    page_wanted(args)
    if args.state_out is not None and args.until is None:
        raise BadInput("--state-out needs --until: at the season's end the bay is empty")
    bay = _started(_loaded(bay_named(args.bay), args), args.start)
    weather = weather_for(bay, args.weather)
    names = tuple(POLICIES) if args.compare else (args.policy,)
    until = _until(bay, args.until)
    seasons, stopped = _simulated(bay, weather, names, args.layers, args.fast, until)
    told = [as_loaded_text(bay, args.units)] if args.loads else []
    left_out = [f"Left out: {control_words(name)}, because {why}." for name, why in stopped.items()]
    likely = {}
    if until is None:
        likely = _likely(seasons[0], weather, args.layers, args.fast)
    sure = likely_lines(seasons[0], likely, args.units)
    written = _written(seasons, weather, [*left_out, *sure], args)
    if args.json:
        data = season_data(seasons, args.units)
        return as_json({**data, **likely_data(likely), "left_out": stopped, "files": targets})
    if args.compare:
        summary = compare_text(seasons, args.units, sure)
    else:
        summary = season_text(seasons[0], args.units, sure)
    return "\n\n".join(part for part in (*told, summary, *left_out, "\n".join(written)) if part)


def _simulated(
    bay: Bay,
    weather: Weather,
    names: Sequence[str],
    layers: int,
    fast: bool,
    until: np.datetime64 | None,
) -> tuple[list[Season], dict[str, str]]:
    """Seasons, and why others could not be run to their end (a pile that heats itself up)."""
    seasons: list[Season] = []
    stopped: dict[str, str] = {}
    for name in names:
        try:
            seasons.append(simulate(bay, weather, name, layers, fast, until))
        except OutOfRange as error:
            if len(names) == 1:
                raise
            stopped[name] = (
                f"{error.name} came to {error.value:.1f}, outside {error.low:g} to "
                f"{error.high:g} that the model covers"
            )
    if not seasons:
        raise BadInput(f"{control_words(name)}: {why}" for name, why in stopped.items())
    return seasons, stopped


def _likely(season: Season, weather: Weather, layers: int, fast: bool) -> dict[str, Likely]:
    """Range of the first season's results, where machine code makes that a matter of seconds."""
    if not (fast or ready(f"season-{season.policy}")) or not works():
        return {}
    try:
        return likely_range(season.bay, weather, season.policy, layers=layers)
    except OutOfRange:  # a pile that heats itself up in some of the seasons
        return {}


def _written(
    seasons: Sequence[Season], weather: Weather, remarks: Sequence[str], args: argparse.Namespace
) -> list[str]:
    """Write CSV, state and HTML where asked; a line for each."""
    lines = []
    if args.csv is not None:
        lines.append(write_text(args.csv, season_csv(seasons)))
    if args.log_out is not None:
        lines.append(write_text(args.log_out, season_log_csv(seasons[0])))
    if args.state_out is not None:
        state = state_of_season(seasons[0], weather)
        lines.append(write_text(args.state_out, text_of_state(seasons[0].bay, state)))
    if args.html is not None:
        credit = [EXAMPLE_CREDIT] if args.weather == "example" else []
        page = season_page(seasons, weather, args.units, remarks=[*credit, *remarks])
        lines.append(write_text(args.html, page))
    return lines


def _loaded(bay: Bay, args: argparse.Namespace) -> Bay:
    """The bay as its file plans it, or as its season's loads say."""
    if not args.loads:
        if args.folder is not None or args.skip_bad:
            raise BadInput("--folder and --skip-bad go with --loads")
        return bay
    if args.start is not None:
        raise BadInput("--start and --loads both tell the first load; give one of them")
    return as_loaded(bay, opened(bay, folder_of(args), args.skip_bad))


def _started(bay: Bay, start: str | None) -> Bay:
    """The bay with another date of the first load."""
    if start is None:
        return bay
    try:
        date.fromisoformat(f"2001-{start}")
    except ValueError:
        raise BadInput(f"--start {start!r}: write month-day, such as 09-18") from None
    moved = replace(bay, schedule=replace(bay.schedule, fill_start=start))
    if problems := contradictions(moved):
        raise BadInput(f"--start {start}: {problem}" for problem in problems)
    return moved


def _until(bay: Bay, when: str | None) -> np.datetime64 | None:
    """A local date, or date and time, as UTC."""
    if when is None:
        return None
    try:
        local = datetime.fromisoformat(when)
    except ValueError:
        raise BadInput(f"--until {when!r}: write a date or a time, such as 2018-12-15") from None
    if local.tzinfo is None:
        local = local.replace(tzinfo=ZoneInfo(bay.site.time_zone))
    return np.datetime64(int(local.timestamp()), "s")


def simulate(
    bay: Bay,
    weather: Weather,
    name: str,
    layers: int,
    fast: bool = False,
    until: np.datetime64 | None = None,
) -> Season:
    """One season with a progress bar on standard error (none where that is not a terminal)."""
    told = f"season, {control_words(name)}"
    first = "compiling, once on this machine" if fast and not ready(f"season-{name}") else told
    with progress_bar(told, "h", first=first) as (_, progress):
        season = run_season(
            bay,
            weather,
            POLICIES[name],
            name=name,
            layers=layers,
            progress=progress,
            until=until,
            compiled=True if fast else None,
        )
    return season
