"""``ventcalc size``: how large everything in a bay must be, with the working."""

from __future__ import annotations

import argparse
import dataclasses
import tomllib
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ventcalc.bay.description import Bay
from ventcalc.bay.file import bay_from_dict, bay_to_toml
from ventcalc.commands.files import bay_named, check_target, create, write_text
from ventcalc.commands.words import EXAMPLE_CREDIT, add_command, as_json
from ventcalc.errors import BadInput
from ventcalc.report.pages import need_page_libraries
from ventcalc.units import UnitSystem, convert, parse, parse_any
from ventcalc.weather import Weather, example_weather, read_weather

if TYPE_CHECKING:
    from ventcalc.sizing.size import Sizing

__all__ = ["add", "rounded", "run"]

FIGURES = 4
"""That a size has in the bay file; it is not known better."""
ROUNDED = ("fans", "ducts", "humidifier", "refrigeration", "heater")
EXAMPLE_WARNING = (
    "These sizes are for the example weather: practise with them, and size with a file of many "
    "years from your own place."
)


def add(commands: Any) -> None:
    """Add the command to the parser."""
    parser = add_command(
        commands,
        "size",
        run,
        "Size fans, ducts, doors, humidifier, refrigeration, heater and insulation of a bay.",
        'ventcalc size seed_bay --target "20 cfm/ton" --weather example --out sized.toml',
    )
    parser.add_argument("bay", metavar="BAY", help="bay file, or seed_bay or fry_bay (invented)")
    parser.add_argument(
        "--target",
        metavar="VALUE",
        help='airflow per mass of crop in a full pile, such as "20 cfm/ton" (that of the bay)',
    )
    parser.add_argument(
        "--weather",
        metavar="FILE",
        default="example",
        help="EPW, TMY3 or CSV file with a whole year, or the word example (example)",
    )
    parser.add_argument(
        "--out", metavar="OUT", help="write the sized bay as a bay file; an existing file is kept"
    )
    parser.add_argument("--html", metavar="OUT", help="write a report with plots, one HTML file")


def run(args: argparse.Namespace) -> str:
    """Tables and working as text or JSON; files where they are asked for."""
    # Half of the library: not for the sake of another command's parser.
    from ventcalc.report.size_text import size_data, size_text
    from ventcalc.sizing.size import size_bay

    _check_files(args)
    bay = bay_named(args.bay)
    sizing = size_bay(
        bay, airflow_per_tonne=_target(bay, args.target), weather=_weather(bay, args.weather)
    )
    credit = [EXAMPLE_WARNING, EXAMPLE_CREDIT] if args.weather == "example" else []
    written = _written(sizing, args, credit)
    if args.json:
        files = [name for name in (args.out, args.html) if name is not None]
        return as_json({**size_data(sizing), "weather_credit": credit, "files": files})
    return "\n".join([size_text(sizing, args.units), "", *credit, *written]).rstrip()


def _check_files(args: argparse.Namespace) -> None:
    """Refuse before any long work."""
    if args.out is not None:
        check_target(args.out)
        if Path(args.out).exists():
            raise BadInput(
                f"{args.out}: is there already and stays as it is; give another name or delete it"
            )
    if args.html is not None:
        check_target(args.html)
        need_page_libraries()


def _target(bay: Bay, text: str | None) -> float:
    """Airflow per tonne of crop in a full pile. [m³/(s t)]"""
    if text is None:
        return bay.fans.airflow / bay.pile.capacity * 1000.0
    try:
        number, unit = parse_any(text, ("m3/(s kg)", "m3/s"))
    except BadInput as error:
        raise BadInput(f"--target {problem}" for problem in error.problems) from None
    per_mass = number if unit == "m3/(s kg)" else number / bay.pile.capacity
    if not 1e-6 <= per_mass <= 1e-4:
        raise BadInput(
            f"--target {text!r}: is {per_mass * 3.6e6:.3g} m3/(h t); it must lie in 3.6 to 360 "
            'm3/(h t) (1.9 to 192 cfm/ton); usual are 10 to 30 cfm/ton, such as "20 cfm/ton"'
        )
    return per_mass * 1000.0


def _weather(bay: Bay, name: str) -> Weather:
    if name == "example":
        return example_weather()
    return read_weather(name, altitude=bay.site.altitude)


def _written(sizing: Sizing, args: argparse.Namespace, credit: list[str]) -> list[str]:
    """Write bay file and HTML where asked; a line for each."""
    lines = []
    if args.out is not None:
        lines.append(create(args.out, _bay_text(sizing.sized, args.units)))
    if args.html is not None:
        from ventcalc.report.size_page import size_page

        lines.append(write_text(args.html, size_page(sizing, args.units, credit=credit)))
    return lines


def _bay_text(bay: Bay, units: UnitSystem) -> str:
    """The bay file, read back before it is written."""
    text = bay_to_toml(rounded(bay, units), units)
    try:
        bay_from_dict(tomllib.loads(text))
    except BadInput as error:
        raise BadInput(
            f"the sized bay is no sound bay: {problem}; another target, or another pile"
            for problem in error.problems
        ) from None
    return text


def rounded(bay: Bay, units: UnitSystem) -> Bay:
    """The bay with the sizes of its equipment in four figures of the units it is written in."""
    parts = {name: getattr(bay, name) for name in ROUNDED}
    return dataclasses.replace(
        bay,
        notes=f"{bay.notes} Sized by ventcalc: for an engineer to check.".strip(),
        envelope=_figures(bay.envelope, units, ("wall_u", "ceiling_u")),
        **{name: part and _figures(part, units) for name, part in parts.items()},
    )


def _figures(part: Any, units: UnitSystem, only: tuple[str, ...] = ()) -> Any:
    changed: dict[str, Any] = {}
    for field in dataclasses.fields(part):
        value = getattr(part, field.name)
        if field.name == "lateral_length":
            continue  # from wall to wall: rounded up it would be longer than the bay
        if isinstance(value, float) and (not only or field.name in only):
            changed[field.name] = _figure(value, field.metadata, units)
        elif isinstance(value, tuple):
            changed[field.name] = tuple(_figure(one, field.metadata, units) for one in value)
    return dataclasses.replace(part, **changed)


def _figure(value: float, meta: Any, units: UnitSystem) -> float:
    number, label = convert(value, meta["shown"], units)
    short = float(f"{float(number):.{FIGURES}g}")
    return parse(f"{short:.10g} {label}" if label else short, meta["unit"])
