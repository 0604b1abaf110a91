"""``ventcalc demo``: four telling hours and a whole season of an invented bay."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

from ventcalc.advice.advise import advise
from ventcalc.advice.readings_file import ReadingsFile, readings_from_dict
from ventcalc.bay.description import Bay
from ventcalc.bay.file import example_bay, example_bay_path
from ventcalc.commands.files import check_target, write_text
from ventcalc.commands.inputs import weather_for
from ventcalc.commands.season import simulate
from ventcalc.commands.words import add_command, as_json
from ventcalc.errors import BadInput
from ventcalc.report.advice_card import advice_card
from ventcalc.report.data import advice_data, season_csv, season_data
from ventcalc.report.season_page import season_page
from ventcalc.report.text import CAUTION, EXAMPLE_CREDIT, advice_text, season_text
from ventcalc.season.run import Season
from ventcalc.units import UnitSystem
from ventcalc.web.templates import need_jinja2

__all__ = ["SCENES", "add", "run"]

SCENES: dict[str, dict[str, Any]] = {
    "cold_night": {
        "note": "Invented: a cold dry night while the seed bay is cooled down.",
        "time": "2026-10-27T04:00:00-06:00",
        "outside_temp_c": -1.0,
        "outside_rh": 0.55,
        "return_temp_c": 9.6,
        "return_rh": 0.95,
        "plenum_temp_c": 8.9,
        "plenum_rh": 0.94,
        "pulp_temps_c": [8.7, 9.1, 9.5],
        "ceiling_temp_c": None,
        "co2_ppm": 1600,
        "pressure_pa": 84100,
    },
    "mild_humid_day": {
        "note": "Invented: a mild humid day while the seed bay is held cold.",
        "time": "2027-03-02T14:00:00-07:00",
        "outside_temp_c": 9.0,
        "outside_rh": 0.85,
        "return_temp_c": 4.3,
        "return_rh": 0.96,
        "plenum_temp_c": 3.6,
        "plenum_rh": 0.95,
        "pulp_temps_c": [3.4, 3.8, 4.2],
        "ceiling_temp_c": 4.3,
        "co2_ppm": 1900,
        "pressure_pa": 84000,
    },
    "deep_frost": {
        "note": "Invented: deep frost while the seed bay is held cold.",
        "time": "2027-01-14T06:00:00-07:00",
        "outside_temp_c": -22.0,
        "outside_rh": 0.80,
        "return_temp_c": 4.5,
        "return_rh": 0.92,
        "plenum_temp_c": 3.5,
        "plenum_rh": 0.92,
        "pulp_temps_c": [3.6, 4.0, 4.4],
        "ceiling_temp_c": 3.6,
        "co2_ppm": 2100,
        "pressure_pa": 84300,
    },
    "warm_afternoon": {
        "note": "Invented: a warm autumn afternoon during wound healing in the seed bay.",
        "time": "2026-10-01T15:00:00-06:00",
        "outside_temp_c": 24.0,
        "outside_rh": 0.30,
        "return_temp_c": 13.9,
        "return_rh": 0.97,
        "plenum_temp_c": 13.0,
        "plenum_rh": 0.95,
        "pulp_temps_c": [12.7, 13.2, 13.8],
        "ceiling_temp_c": 15.0,
        "co2_ppm": 4600,
        "pressure_pa": 84200,
    },
}
"""Readings of four invented hours; ``examples/readings_*.json`` holds the same."""

_INVENTED = (
    "Bay and readings are invented: no farm stands behind them. The weather is a real year of "
    "one place, modelled from satellite and reanalysis."
)


def add(commands: Any) -> None:
    """Add the command to the parser."""
    parser = add_command(
        commands,
        "demo",
        run,
        "Show advice for four hours and a whole season of an invented seed bay; write a report.",
        "ventcalc demo --units us",
    )
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
    scenes = {name: _hour(bay, given, args.units) for name, given in _given().items()}
    season, page = _season(bay, args.units)
    texts = {report: page, **(_files(folder, season) if folder else {})}
    lines = [write_text(name, text) for name, text in texts.items()]
    if args.json:
        advice = {name: _hour_data(bay, given, args.units) for name, given in _given().items()}
        return as_json(
            {
                "note": _INVENTED,
                "advice": advice,
                "season": season_data([season], args.units),
                "files": list(texts),
            }
        )
    hours = [f"--- {_title(name)} ---\n{text}" for name, text in scenes.items()]
    parts = [
        _INVENTED,
        *hours,
        f"--- A whole season ---\n{season_text(season, args.units)}",
        CAUTION,
    ]
    return "\n\n".join([*parts, "\n".join([*lines, f"Open {report} in a browser."])])


def _given() -> dict[str, ReadingsFile]:
    return {name: readings_from_dict(scene) for name, scene in SCENES.items()}


def _title(name: str) -> str:
    return name.replace("_", " ").capitalize()


def _hour(bay: Bay, given: ReadingsFile, units: UnitSystem) -> str:
    return advice_text(bay, given, *advise(bay, given.readings), units)


def _hour_data(bay: Bay, given: ReadingsFile, units: UnitSystem) -> dict[str, Any]:
    return advice_data(bay, given, *advise(bay, given.readings), units)


def _season(bay: Bay, units: UnitSystem) -> tuple[Season, str]:
    weather = weather_for(bay, "example")
    season = simulate(bay, weather, "advice", 40)
    cards = [
        advice_card(_title(name), bay, given, *advise(bay, given.readings), units)
        for name, given in _given().items()
    ]
    return season, season_page([season], weather, units, remarks=[EXAMPLE_CREDIT], cards=cards)


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
