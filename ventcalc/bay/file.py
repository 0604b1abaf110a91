"""
The bay file: a bay described in TOML, every dimensional number a string with its unit.

The tables and keys are the classes and fields of ``ventcalc.bay.description``. Everything that is
wrong with a file is told at once, one line a problem.
"""

from __future__ import annotations

import tomllib
from dataclasses import replace
from pathlib import Path

from ventcalc.bay.checks import bay_notes
from ventcalc.bay.description import USES, Bay, Refrigeration
from ventcalc.bay.starter import bay_to_toml
from ventcalc.bay.tables import bay_from_dict
from ventcalc.errors import BadInput
from ventcalc.units import UnitSystem, parse

__all__ = [
    "bay_from_dict",
    "bay_notes",
    "bay_to_toml",
    "example_bay",
    "example_bay_path",
    "read_bay",
    "starter_file",
]

_EXAMPLES = ("seed_bay", "fry_bay")

_STARTER = {
    ("seed", "us"): ("38 degF", "45 degF", "34 degF"),
    ("table", "us"): ("40 degF", "46 degF", "34 degF"),
    ("fries", "us"): ("46 degF", "50 degF", "38 degF"),
    ("chips", "us"): ("52 degF", "58 degF", "44 degF"),
    ("seed", "metric"): ("3 degC", "7.5 degC", "1 degC"),
    ("table", "metric"): ("4 degC", "8 degC", "1 degC"),
    ("fries", "metric"): ("8 degC", "10 degC", "4 degC"),
    ("chips", "metric"): ("11 degC", "14 degC", "7 degC"),
}
"""Holding (inside the bands of Univ. of Nebraska CropWatch), warm-up and coldest supply air
(common practice, no source)."""


def read_bay(path: str | Path) -> Bay:
    """
    Read a bay file.

    Parameters
    ----------
    path : str or Path
        A TOML file.

    Returns
    -------
    Bay
        The bay, checked.

    Raises
    ------
    BadInput
        Every problem found, one line each, with the name of the file.
    """
    path = Path(path)
    text = _file_text(path)
    try:
        mapping = tomllib.loads(text)
    except (ValueError, RecursionError) as error:  # also a number of thousands of digits
        raise BadInput(
            f"{path.name}: {' '.join(str(error).split())}; the file is not valid TOML"
            ' (a value with a unit stands in quotes: height = "16 ft")'
        ) from None
    try:
        return bay_from_dict(mapping)
    except BadInput as error:
        raise BadInput(f"{path.name}: {problem}" for problem in error.problems) from None


def _file_text(path: Path) -> str:
    try:
        text = path.read_bytes().decode("utf-8-sig")
    except FileNotFoundError:
        raise BadInput(f"{path}: no such file; `ventcalc new` writes one to begin with") from None
    except IsADirectoryError:
        raise BadInput(f"{path}: is a folder; give the bay file inside it") from None
    except UnicodeDecodeError:
        raise BadInput(f"{path}: is not a text file in UTF-8; save it as UTF-8 text") from None
    except OSError as error:
        raise BadInput(f"{path}: cannot be read ({error.strerror})") from None
    if "\0" in text:
        raise BadInput(f"{path}: is not a text file; a bay file is UTF-8 text in TOML")
    return text.replace("\r\n", "\n")


def example_bay_path(name: str = "seed_bay") -> Path:
    """Find the file of an invented example bay."""
    if name not in _EXAMPLES:
        raise BadInput(f'name = "{name}": no such example; one of {", ".join(_EXAMPLES)}')
    return Path(__file__).parents[1] / "data" / "bays" / f"{name}.toml"


def example_bay(name: str = "seed_bay") -> Bay:
    """
    Read an invented example bay.

    Parameters
    ----------
    name : {"seed_bay", "fry_bay"}
        Which example.

    Returns
    -------
    Bay
        The bay.

    Raises
    ------
    BadInput
        If there is no such example.
    """
    return read_bay(example_bay_path(name))


def starter_file(use: str = "seed", units: UnitSystem = "us") -> str:
    """Write a commented bay file to begin with."""
    if use not in USES:
        raise BadInput(f'use = "{use}": must be one of {", ".join(USES)}')
    if units not in ("us", "metric"):
        raise BadInput(f'units = "{units}": must be "us" or "metric"')
    base = example_bay("seed_bay" if units == "us" else "fry_bay")
    holding, warm, floor = (parse(text, "degC") for text in _STARTER[use, units])
    size = parse("20 ton_refrigeration" if units == "us" else "70 kW", "W")
    bay = replace(
        base,
        name="My bay",
        use=use,
        notes="Invented numbers: put your own in the place of each.",
        refrigeration=Refrigeration(capacity=size) if use in ("fries", "chips") else None,
        limits=replace(base.limits, plenum_floor=floor),
        schedule=replace(base.schedule, holding_temperature=holding, warm_up_temperature=warm),
    )
    return bay_to_toml(bay, units)
