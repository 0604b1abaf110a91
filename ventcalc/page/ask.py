"""What the page's script asks, read and checked."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from ventcalc.bay.description import Bay
from ventcalc.check.check import PileCheck, check_pile
from ventcalc.errors import BadInput, OutOfRange
from ventcalc.page.form import Form, bay_of
from ventcalc.units import UnitSystem, parse

__all__ = ["OUTSIDE", "Ask", "ask_of", "bay_and_check", "units_of"]

OUTSIDE = {
    "winter": ("winter_temperature", "degC", "-20 degC"),
    "winter_rh": ("winter_humidity", "1", "80 %"),
    "warm": ("warm_temperature", "degC", "18 degC"),
    "warm_rh": ("warm_humidity", "1", "60 %"),
    "autumn": ("autumn_temperature", "degC", "10 degC"),
    "autumn_rh": ("autumn_humidity", "1", "40 %"),
}
"""
Air outside by field: argument of ``check_pile``, unit, and what is taken where nothing is typed, as
of ``ventcalc check``.
"""
_FIELDS = {"height": "check.height", **{given[0]: f"check.{k}" for k, given in OUTSIDE.items()}}
"""Field by the argument of ``check_pile`` that it gives."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Ask:
    """A bay as typed, and how it is to be judged."""

    name: str
    """Of the alternative, or empty."""
    units: UnitSystem
    form: Form
    outside: Mapping[str, str]
    """Texts of the height and the outside states, by the argument that they give."""


def units_of(data: Mapping[str, Any]) -> UnitSystem:
    """The units that are asked for."""
    return "us" if data.get("units") == "us" else "metric"


def ask_of(data: Any) -> Ask:
    """Read what the script sent."""
    if not isinstance(data, dict):
        raise BadInput("the page sent nothing that can be read; load it anew")
    texts, tables = data.get("bay"), data.get("has")
    if not (
        isinstance(texts, dict)
        and isinstance(tables, list)
        and all(isinstance(text, str) for text in (*texts, *texts.values(), *tables))
        and len(texts) < 1000
    ):
        raise BadInput("the page sent no form of a bay; load it anew")
    given = {name: str(data.get(field.partition(".")[2], "")) for name, field in _FIELDS.items()}
    return Ask(
        name=str(data.get("name", "")).strip()[:40],
        units=units_of(data),
        form=Form(texts, frozenset(tables)),
        outside=given,
    )


def bay_and_check(ask: Ask) -> tuple[Bay, PileCheck]:
    """The bay, and whether it may be filled to the height that is asked for."""
    problems: list[str] = []
    bay: Bay | None = None
    try:
        bay = bay_of(ask.form)
    except BadInput as error:
        problems += error.problems
    numbers: dict[str, float] = {}
    for name, text in ask.outside.items():
        if name != "height" or text.strip():
            field = _FIELDS[name].partition(".")[2]
            _, unit, assumed = OUTSIDE.get(field, ("", "m", ""))
            try:
                numbers[name] = parse(text.strip() or assumed, unit)
            except BadInput as error:
                problems += [f"{_FIELDS[name]}: {problem}" for problem in error.problems]
    if problems or bay is None:
        raise BadInput(problems)
    try:
        return bay, check_pile(bay, **numbers)
    except OutOfRange as error:
        raise BadInput(f"{_FIELDS.get(error.name, error.name)}: {error}") from None
