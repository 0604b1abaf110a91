"""Answers to what the page asks: HTML to show, and the same data as ``--json`` prints."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from ventcalc.bay.file import bay_to_toml, example_bay_path, starter_file
from ventcalc.errors import BadInput
from ventcalc.page import HERE
from ventcalc.page.ask import OUTSIDE, Ask, ask_of, bay_and_check, units_of
from ventcalc.page.check_view import check_shown
from ventcalc.page.form import (
    Form,
    bay_of,
    by_field,
    form_of_bay,
    form_of_toml,
    groups_of,
    renumbered,
    typed,
)
from ventcalc.report.check_data import check_data
from ventcalc.units import UnitSystem, convert, parse, show
from ventcalc.web.templates import render

__all__ = [
    "EXAMPLES",
    "Answer",
    "answer_check",
    "answer_file",
    "answer_form",
    "example_form",
    "form_values",
    "outside_texts",
    "refused",
]

Answer = dict[str, Any]

EXAMPLES = (
    ("seed_bay", "seed bay, an invented example"),
    ("fry_bay", "fry bay, an invented example"),
    ("seed", "a bay for seed to fill in"),
    ("table", "a bay for table stock to fill in"),
    ("fries", "a bay for fries to fill in"),
    ("chips", "a bay for chips to fill in"),
)
"""What one may begin with; all numbers are invented."""


def outside_texts(units: UnitSystem) -> dict[str, str]:
    """Air outside that is taken where nothing is typed, in the units that are shown."""
    return {name: _shown(text, unit, units) for name, (_, unit, text) in OUTSIDE.items()}


def _shown(text: str, unit: str, units: UnitSystem) -> str:
    if unit == "1":
        return show(parse(text, unit), "1 percent", units, 0)
    return show(parse(text, unit), unit, units, 1 if units == "us" else 0)


def form_values(form: Form, units: UnitSystem) -> dict[str, Any]:
    """What the template of the form asks for."""
    groups = groups_of(form, units)
    lots = [group.name for group in groups if group.name.startswith("lots[")]
    return {"groups": groups, "lots": len(lots), "last_lot": lots[-1]}


def refused(found: BadInput, form: Form) -> Answer:
    """What is to be mended, beside its field where it has one."""
    beside, above = by_field(found.problems, form)
    return {"problems": beside, "above": above}


def answer_form(data: Mapping[str, Any]) -> Answer:
    """
    Another form: a loaded file, an example, other units, a lot more or less.

    A file with problems is shown as it is, and the next check says what is wrong with it.
    """
    units = units_of(data)
    above: list[str] = []
    outside = outside_texts(units)
    if isinstance(data.get("toml"), str):
        form = form_of_toml(data["toml"])
        above = _stray(form)
    elif isinstance(data.get("example"), str):
        form = example_form(data["example"], units)
    else:
        ask = ask_of(data)
        form = _changed(ask, str(data.get("act", "")))
        outside = _rewritten(ask, form)
    html = render(HERE, "form.html", **form_values(form, units))
    height = form.texts.get("pile.height", "")
    return {"html": html, "above": above, "asks": {"height": height, **outside}}


def _rewritten(ask: Ask, form: Form) -> dict[str, str]:
    """Height and outside states in the units of the form, where they can be read."""
    found = {}
    for field, (name, unit, _) in {"height": ("height", "m", ""), **OUTSIDE}.items():
        text = ask.outside[name]
        try:
            told = "1 percent" if unit == "1" else unit
            found[field] = show(parse(text, unit), told, ask.units)
        except BadInput:
            found[field] = text
    if ask.outside["height"] == ask.form.texts.get("pile.height"):
        found["height"] = form.texts.get("pile.height", "")
    return found


def example_form(name: str, units: UnitSystem) -> Form:
    """The form of one of ``EXAMPLES``."""
    if name not in dict(EXAMPLES):
        raise BadInput(f"{name[:40]!r}: no such example; one of {', '.join(dict(EXAMPLES))}")
    if name not in ("seed_bay", "fry_bay"):
        return form_of_toml(starter_file(name, units))
    form = form_of_toml(example_bay_path(name).read_text(encoding="utf-8"))
    own = "us" if name == "seed_bay" else "metric"
    return form if units == own else form_of_bay(bay_of(form), units)


def _changed(ask: Ask, act: str) -> Form:
    """The form after one of its buttons."""
    if act == "units":
        try:
            return form_of_bay(bay_of(ask.form), ask.units)
        except BadInput:
            return ask.form  # what cannot be read stays as it was typed
    return renumbered(ask.form, act)


def _stray(form: Form) -> list[str]:
    """Problems of a file that no field of the form can show."""
    try:
        bay_of(form)
    except BadInput as error:
        return by_field(error.problems, form)[1]
    return []


def answer_check(data: Mapping[str, Any]) -> Answer:
    """May the bay be filled to this height?"""
    ask = ask_of(data)
    try:
        bay, result = bay_and_check(ask)
    except BadInput as error:
        return refused(error, ask.form)
    html = render(HERE, "check.html", **check_shown(result, ask.units), inputs=typed(ask.form))
    height = float(convert(result.height, "m", ask.units)[0])
    return {
        "problems": {},
        "above": [],
        "html": html,
        "height": height,
        "mass": show(bay.mass, "kg", ask.units),
        "data": check_data(result),
    }


def answer_file(data: Mapping[str, Any]) -> Answer:
    """The bay file, and a name for it."""
    ask = ask_of(data)
    try:
        bay = bay_of(ask.form)
    except BadInput as error:
        return refused(error, ask.form)
    name = re.sub(r"[^a-z0-9]+", "_", bay.name.lower()).strip("_")[:40] or "bay"
    return {
        "problems": {},
        "above": [],
        "name": f"{name}.toml",
        "text": bay_to_toml(bay, ask.units),
    }
