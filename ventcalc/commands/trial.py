"""``ventcalc trial``: control methods against each other, over bays, climates, faults and crops."""

from __future__ import annotations

import argparse
import sys

from ventcalc.advice.policies import POLICIES
from ventcalc.bay.description import Bay
from ventcalc.commands.files import bay_named, page_wanted, write_text
from ventcalc.commands.words import as_json, option_of, progress_bar
from ventcalc.errors import BadInput
from ventcalc.report.cautions import CAUTION, EXAMPLE_CREDIT
from ventcalc.report.trial_page import trial_page
from ventcalc.report.trial_text import trial_data, trial_text
from ventcalc.trial.faults import USUAL
from ventcalc.trial.methods import PLANS
from ventcalc.trial.run import TrialResult, run_trial
from ventcalc.weather import Weather, colder, example_weather, finer, read_weather

__all__ = ["EXAMPLE", "SAYS", "options", "run"]

SAYS = "Control methods against each other: bays x climates x faults x crops, worst case first."
EXAMPLE = "ventcalc trial seed_bay --weather example denver.epw --fault all --out results"


def options(parser: argparse.ArgumentParser) -> None:
    """What it takes."""
    parser.add_argument(
        "words", metavar="BAY", nargs="+", help="bay files, or seed_bay or fry_bay (invented)"
    )
    parser.add_argument(
        "--weather", metavar="FILE", nargs="+", required=True,
        help="EPW, TMY3 or CSV files, or the word example",
    )  # fmt: skip
    parser.add_argument(
        "--policy", metavar="NAME", nargs="+", default=[n for n in POLICIES if n != "nothing"],
        help=f"control methods: {', '.join((*POLICIES, *PLANS))}, or your own as "
        "module:function (all but nothing and the plans, which take some seconds a season)",
    )  # fmt: skip
    parser.add_argument(
        "--fault", metavar="NAME", nargs="+", default=["none"],
        help="none, door_stuck, fans_dead, no_mist, no_machine, a probe with its error such as "
        "pulp-1K outside+2K return_rh+4%%, or all: " + " ".join(USUAL).replace("%", "%%"),
    )  # fmt: skip
    parser.add_argument(
        "--draws", metavar="N", type=int, default=1,
        help="crops over the published ranges of transpiration, respiration, water activity (1: "
        "the crop of the tables)",
    )  # fmt: skip
    parser.add_argument("--seed", metavar="S", type=int, default=0, help="of all chance (0)")
    parser.add_argument(
        "--colder", metavar="K", type=float,
        help="each climate once more, made so many kelvin colder in winter",
    )  # fmt: skip
    parser.add_argument(
        "--step", metavar="MINUTES", type=float, help="a shorter step than the weather's"
    )
    parser.add_argument("--layers", metavar="N", type=int, default=40, help="of the piles (40)")
    parser.add_argument(
        "--off-plan-price", metavar="MONEY", type=float, default=1.0,
        help="per tonne and 1000 K h off the calendar, in the comparison (1)",
    )  # fmt: skip
    parser.add_argument(
        "--out", metavar="FOLDER",
        help="keep every season there; the same command then does only what is missing",
    )  # fmt: skip
    parser.add_argument("--workers", metavar="N", type=int, default=1, help="on this machine (1)")
    parser.add_argument(
        "--scheduler", metavar="ADDRESS",
        help="share out over machines: a Dask scheduler (extra cluster), such as tcp://host:8786",
    )  # fmt: skip
    parser.add_argument("--html", metavar="OUT", help="write a report with plots, one HTML file")


def run(args: argparse.Namespace) -> str:
    """How the methods stand as text or JSON; the report and the folder where asked."""
    page_wanted(args)
    _check(args)
    bays = [bay_named(name) for name in args.words]
    weathers = [one for name in args.weather for one in _climates(name, args)]
    faults = [name for told in args.fault for name in (USUAL if told == "all" else (told,))]
    result = _tried(bays, weathers, faults, args)
    credit = [EXAMPLE_CREDIT] if "example" in args.weather else []
    written = []
    if args.html is not None:
        written.append(write_text(args.html, trial_page(result, args.units, credit)))
    if args.json:
        return as_json({**trial_data(result), "files": [args.html] if args.html else []})
    if result.path is not None:
        written.append(f"Every season lies in {result.path}")
    return "\n\n".join([trial_text(result, args.units), *credit, *written, CAUTION])


def _check(args: argparse.Namespace) -> None:
    """Numbers within reason."""
    problems = [
        f"{option_of(name)} is {value:g}; it lies between {low:g} and {high:g}"
        for name, low, high in (
            ("draws", 1, 10000), ("seed", 0, 2**32), ("layers", 4, 200), ("workers", 1, 256),
            ("colder", 0, 30), ("step", 1, 60), ("off_plan_price", 0, 1000),
        )
        if (value := getattr(args, name)) is not None and not low <= value <= high
    ]  # fmt: skip
    if problems:
        raise BadInput(problems)


def _climates(name: str, args: argparse.Namespace) -> list[Weather]:
    """A file, and the same colder, at the step asked for; bays follow its altitude."""
    weather = example_weather() if name == "example" else read_weather(name)
    if args.step is not None:
        weather = finer(weather, 60.0 * args.step)
    return [weather] if args.colder is None else [weather, colder(weather, args.colder)]


def _tried(
    bays: list[Bay], weathers: list[Weather], faults: list[str], args: argparse.Namespace
) -> TrialResult:
    """The trial, with a progress bar on standard error (none where that is not a terminal)."""
    done = [0, 0]
    with progress_bar("seasons") as (bar, progress):

        def count(seasons: int, total: int) -> None:
            done[:] = seasons, total
            progress(seasons, total)

        try:
            result = run_trial(
                bays, weathers, args.policy, faults=faults, draws=args.draws, seed=args.seed,
                layers=args.layers, off_plan_price=args.off_plan_price, folder=args.out,
                workers=args.workers, scheduler=args.scheduler, progress=count,
                say=bar.set_description,
            )  # fmt: skip
        except KeyboardInterrupt:
            if args.out is not None:
                bar.write(
                    f"ventcalc: stopped after {done[0]} of {done[1] or 'all'} seasons; they are "
                    f"kept in {args.out}, and the same command goes on from there",
                    file=sys.stderr,
                )
            raise
    return result
