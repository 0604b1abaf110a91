"""``ventcalc demo``: four telling hours and a whole season of an invented bay."""

from __future__ import annotations

import argparse
import json
from importlib.resources import files
from pathlib import Path
from typing import Any

from ventcalc.advice.advise import advise
from ventcalc.advice.readings_file import readings_from_dict
from ventcalc.bay.file import example_bay, example_bay_path
from ventcalc.commands.files import check_target, write_text
from ventcalc.commands.inputs import weather_for
from ventcalc.commands.season import simulate
from ventcalc.commands.words import as_json
from ventcalc.errors import BadInput
from ventcalc.report.advice_card import advice_card
from ventcalc.report.cautions import CAUTION, EXAMPLE_CREDIT
from ventcalc.report.data import advice_data, season_csv, season_data
from ventcalc.report.season_page import season_page
from ventcalc.report.text import advice_text, season_text
from ventcalc.season.run import Season
from ventcalc.web.templates import need_jinja2

__all__ = ["EXAMPLE", "SAYS", "SCENES", "options", "run"]

SAYS = "Show advice for four hours and a whole season of an invented seed bay; write a report."
EXAMPLE = "ventcalc demo --units us"

SCENES: dict[str, dict[str, Any]] = {
    name: json.loads((files("ventcalc") / f"data/readings/{name}.json").read_text("utf-8"))
    for name in ("cold_night", "mild_humid_day", "deep_frost", "warm_afternoon")
}
"""Readings of four invented hours; ``examples/readings_*.json`` holds the same."""

_INVENTED = (
    "Bay and readings are invented: no farm stands behind them. The weather is a real year of "
    "one place, modelled from satellite and reanalysis."
)


def options(parser: argparse.ArgumentParser) -> None:
    """What it takes."""
    parser.add_argument(
        "--html", metavar="OUT", help="the report, one HTML file (ventcalc-demo.html)"
    )
    parser.add_argument(
        "--out", metavar="DIR", help="folder for the report, bay, readings and hours as files"
    )


def run(args: argparse.Namespace) -> str:
    """Everything at once, from the example bay to the report."""
    need_jinja2()
    folder = _folder(args.out)
    report = args.html if args.html is not None else str((folder or Path()) / "ventcalc-demo.html")
    check_target(report, args.force)
    bay = example_bay()
    scenes = {}
    for name, scene in SCENES.items():
        given = readings_from_dict(scene)
        scenes[name] = (bay, given, *advise(bay, given.readings), args.units)
    weather = weather_for(bay, "example")
    season = simulate(bay, weather, "advice", 40)
    cards = [advice_card(_title(name), *scene) for name, scene in scenes.items()]
    page = season_page([season], weather, args.units, remarks=[EXAMPLE_CREDIT], cards=cards)
    texts = {report: page, **(_files(folder, season) if folder else {})}
    lines = [write_text(name, text) for name, text in texts.items()]
    if args.json:
        return as_json(
            {
                "note": _INVENTED,
                "advice": {name: advice_data(*scene) for name, scene in scenes.items()},
                "season": season_data([season], args.units),
                "files": list(texts),
            }
        )
    hours = [f"--- {_title(name)} ---\n{advice_text(*told)}" for name, told in scenes.items()]
    parts = [
        _INVENTED,
        *hours,
        f"--- A whole season ---\n{season_text(season, args.units)}",
        CAUTION,
    ]
    return "\n\n".join([*parts, "\n".join([*lines, f"Open {report} in a browser."])])


def _title(name: str) -> str:
    return name.replace("_", " ").capitalize()


def _folder(name: str | None) -> Path | None:
    if name is None:
        return None
    try:
        Path(name).mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise BadInput(f"--out {name}: cannot be made ({error.strerror})") from None
    return Path(name)


def _files(folder: Path, season: Season) -> dict[str, str]:
    """Bay, readings and hours, to try the other commands on."""
    texts = {
        "seed_bay.toml": example_bay_path().read_text(encoding="utf-8"),
        **{f"readings_{name}.json": as_json(scene) + "\n" for name, scene in SCENES.items()},
        "season.csv": season_csv([season]),
    }
    return {str(folder / name): text for name, text in texts.items()}
