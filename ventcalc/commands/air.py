"""``ventcalc air``: every property of moist air from any two."""

from __future__ import annotations

import argparse

from ventcalc import air
from ventcalc.commands.words import as_json, option_of
from ventcalc.errors import BadInput
from ventcalc.report.data import air_data
from ventcalc.report.text import air_text
from ventcalc.units import parse, show

__all__ = ["EXAMPLE", "SAYS", "options", "run"]

SAYS = "Print every property of moist air from any two of them."
EXAMPLE = 'ventcalc air --temp "38 degF" --rh "95 %" --altitude "4500 ft" --units us'

_OPTIONS = {
    "temp": ("temperature", "degC", "dry bulb", "38 degF"),
    "wet_bulb": ("wet_bulb", "degC", "wet bulb", "36 degF"),
    "dew_point": ("dew_point", "degC", "dew point", "35 degF"),
    "rh": ("relative_humidity", "1", "relative humidity", "95 %%"),
    "humidity_ratio": ("humidity_ratio", "1", "water per dry air", "4.5 g/kg"),
}


def options(parser: argparse.ArgumentParser) -> None:
    """What it takes."""
    for name, (_, _, words, like) in _OPTIONS.items():
        option = option_of(name)
        parser.add_argument(option, metavar="VALUE", help=f'{words}, such as "{like}"')
    place = parser.add_mutually_exclusive_group()
    place.add_argument("--altitude", metavar="VALUE", help='height, such as "4500 ft"')
    place.add_argument("--pressure", metavar="VALUE", help='air pressure, such as "85 kPa"')


def run(args: argparse.Namespace) -> str:
    """Properties as text or JSON."""
    problems: list[str] = []
    given = {
        quantity: _parsed(name, getattr(args, name), unit, problems)
        for name, (quantity, unit, _, _) in _OPTIONS.items()
        if getattr(args, name) is not None
    }
    if given.get("relative_humidity", 0.0) > 1.0:
        mend = (
            f'a percentage, perhaps? write "{args.rh.strip()} %"'
            if _bare(args.rh) and given["relative_humidity"] <= 100.0
            else 'air holds no more than 100 %, in fog too; write "100 %", or check the probe'
        )
        problems.append(f'--rh "{args.rh}": is above 100 %; {mend}')
    pressure, where = _pressure(args, problems)
    if len(given) != 2:
        options = ", ".join(map(option_of, _OPTIONS))
        problems.append(f"air needs two of {options} (got {len(given)})")
    if problems:
        raise BadInput(problems)
    state = air.state(pressure=pressure, **given)
    return as_json(air_data(state)) if args.json else air_text(state, args.units, where)


def _parsed(name: str, text: str, unit: str, problems: list[str]) -> float:
    try:
        # "0.95" comes as text here, and is as good a fraction as "95 %".
        return parse(float(text) if unit == "1" and _bare(text) else text, unit)
    except BadInput as error:
        problems.extend(f"{option_of(name)} {problem}" for problem in error.problems)
        return float("nan")


def _bare(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True


def _pressure(args: argparse.Namespace, problems: list[str]) -> tuple[float, str]:
    if args.pressure is not None:
        return _parsed("pressure", args.pressure, "Pa", problems), "as given"
    if args.altitude is None:
        return air.standard_pressure(0.0), "sea level; give --altitude or --pressure for a place"
    height = _parsed("altitude", args.altitude, "m", problems)
    if height != height:
        return height, ""
    place = show(height, "m", args.units, 0)
    return air.standard_pressure(height), f"standard atmosphere at {place}"
