"""Public names keep to the glossary of DEVELOPERS.md: one name, one meaning, one unit."""

from __future__ import annotations

import dataclasses
import importlib
import inspect
import pkgutil
import re
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any, NamedTuple

import pytest
from numpydoc.docscrape import NumpyDocString

import ventcalc

GUIDE = (Path(__file__).parents[2] / "DEVELOPERS.md").read_text(encoding="utf-8")
UNIT = re.compile(r"\[([^\[\]]+)\]")
NO_NUMBER = re.compile(r"callable|mapping|dict", re.IGNORECASE)
BAY_FILE_UNITS = {"degC": "°C", "delta_degC": "K", "m3/s": "m³/s", "kg/m3": "kg/m³", "1": "0-1"}
OWN_TABLE = {"Crop", "Kpi"}
"""Classes whose units stand in a table of their own, one row a field."""
SPREADS = {"Uncertainty", "Sensors", "SensorErrors"}
"""Classes whose fields are standard uncertainties of the quantity named."""


class Row(NamedTuple):
    names: tuple[str, ...]
    alone: tuple[str, ...]
    units: tuple[str, ...]
    never: tuple[str, ...]


class Name(NamedTuple):
    where: str
    owner: str
    text: str
    unit: str


def glossary() -> list[Row]:
    table = GUIDE.partition("## Glossary")[2].partition("\n## ")[0]
    lines = [line for line in table.splitlines() if line.startswith("|")][2:]
    rows = []
    for line in lines:
        names, _, units, never = (cell.strip() for cell in line.strip("|").split("|"))
        ending, _, alone = names.partition("alone:")
        words = [tuple(re.findall(r"`([^`]+)`", cell)) for cell in (ending, alone, never)]
        rows.append(Row(words[0], words[1], tuple(units.split(", ")), words[2]))
    return rows


ROWS = glossary()
NEVER = {word: row.names[0] for row in ROWS for word in row.never}
FORMULAS = {
    f"ventcalc.air.{name}" for name in ("coolprop", "formula", "kernel", "numbers", "solve")
}
"""Modules of bare sums, whose t, w and p are explained at their head."""
GUARDED = {"°C", "K", "Pa", "m³/s", "kg/kg dry air", "J/kg dry air", "m³/kg dry air"}
"""Whatever has one of these units must bear a name of the glossary."""


def row_of(text: str) -> Row | None:
    """The row with the longest name that ``text`` is or ends in; ``_1`` and ``_2`` count stalks."""
    text = re.sub(r"_\d$", "", text)
    fits = [
        (len(name), row)
        for row in ROWS
        for name in (*row.names, *row.alone)
        if text == name or (name in row.names and text.endswith(f"_{name}"))
    ]
    return max(fits, key=lambda fit: fit[0])[1] if fits else None


def unit_in(words: str) -> str:
    found = UNIT.findall(words)
    return found[-1] if found else ""


def named_in(thing: Any, where: str) -> Iterator[Name]:
    """Parameters of a function, fields of a dataclass, with the unit that their words give."""
    text = NumpyDocString(inspect.cleandoc(thing.__doc__ or ""))
    units = {
        name.strip(): unit_in(" ".join(entry.desc))
        for entry in text["Parameters"]
        for name in entry.name.split(",")
        # a unit for each of several names, in their order, is no unit of one
        if ", " not in unit_in(" ".join(entry.desc)) and not NO_NUMBER.search(entry.type)
    }
    if inspect.isfunction(thing):
        for name in inspect.signature(thing).parameters:
            yield Name(where, thing.__name__, name, units.get(name, ""))
    elif dataclasses.is_dataclass(thing):
        source = inspect.getsource(thing)
        for field in dataclasses.fields(thing):
            under = rf'^    {field.name}: [^"\n]*\n    """([^"]*)"""'
            told = re.search(under, source, re.MULTILINE)
            unit = BAY_FILE_UNITS.get(field.metadata.get("unit", ""), "")
            unit = unit or units.get(field.name, "") or (unit_in(told[1]) if told else "")
            number = not NO_NUMBER.search(str(field.type))
            yield Name(where, thing.__name__, field.name, unit if number else "")
    elif inspect.isclass(thing) and hasattr(thing, "_fields"):
        source = inspect.getsource(thing)
        for name in thing._fields:
            told = re.search(rf'^    {name}: [^"\n]*\n    """([^"]*)"""', source, re.MULTILINE)
            yield Name(where, thing.__name__, name, unit_in(told[1]) if told else "")


@cache
def names() -> list[Name]:
    """Every parameter and field in the public modules."""
    found = []
    for module in pkgutil.walk_packages(ventcalc.__path__, "ventcalc."):
        private = any(part.startswith("_") for part in module.name.split("."))
        if private or module.name in FORMULAS:
            continue
        home = importlib.import_module(module.name)
        for public in getattr(home, "__all__", ()):
            thing = getattr(home, public)
            if getattr(thing, "__module__", "") == module.name:
                found += named_in(thing, f"{module.name}.{public}")
    return found


def drift_in(text: str) -> list[str]:
    parts = f"_{text.lower()}_"
    return [f"{word} (say {right})" for word, right in NEVER.items() if f"_{word}_" in parts]


def test_no_name_drifts_from_the_glossary() -> None:
    drift = [
        f"{name.where}: {name.text}: {found}" for name in names() if (found := drift_in(name.text))
    ]
    assert not drift, "\n".join(drift)


def test_humidity_never_stands_alone() -> None:
    alone = [
        name.where for name in names() if name.text == "humidity" and name.owner not in SPREADS
    ]
    assert not alone


def test_every_name_has_the_unit_of_the_glossary() -> None:
    wrong = [
        f"{name.where}: {name.text} in {name.unit}, the glossary says {' or '.join(row.units)}"
        for name in names()
        if name.owner not in SPREADS | OWN_TABLE
        and name.unit not in ("", "any", "as given", "unit")
        and (row := row_of(name.text))
        and name.unit not in row.units
    ]
    assert not wrong, "\n".join(wrong)


def test_every_quantity_is_in_the_glossary() -> None:
    stray = [
        f"{name.where}: {name.text} in {name.unit} is not in the glossary"
        for name in names()
        if name.unit in GUARDED
        and name.owner not in OWN_TABLE
        and not name.where.startswith(("ventcalc.bay.description.", "ventcalc.bay.store."))
        and row_of(name.text) is None
    ]
    assert not stray, "\n".join(stray)


@pytest.mark.parametrize("row", ROWS, ids=lambda row: (row.names + row.alone)[0])
def test_every_row_is_sound(row: Row) -> None:
    """No name is also refused, none is given twice, and each is used somewhere."""
    for name in (*row.names, *row.alone):
        assert not drift_in(name)
        assert sum(name in (*other.names, *other.alone) for other in ROWS) == 1
        used = {n.text for n in names()} | {n.where.rpartition(".")[2] for n in names()}
        assert any(re.search(rf"(^|_){name}(_\d)?$", text) for text in used), f"{name}: unused"


def test_drift_is_found() -> None:
    """The checks themselves."""
    assert drift_in("outside_temp") == ["temp (say temperature)"]
    assert drift_in("RH")
    assert not drift_in("outside_temperature")
    found = row_of("pulp_temperature")
    assert found is not None
    assert found.units == ("°C",)
    assert len(names()) > 500
