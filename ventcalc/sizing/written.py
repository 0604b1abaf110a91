"""What is asked of a sizing, and the sized bay as it is written down."""

from __future__ import annotations

import dataclasses
import tomllib
from typing import Any

from ventcalc.bay.description import Bay
from ventcalc.bay.file import bay_from_dict, bay_to_toml
from ventcalc.errors import BadInput
from ventcalc.units import UnitSystem, convert, parse, parse_any

__all__ = ["airflow_wanted", "rounded", "sized_text"]

FIGURES = 4
"""That a size has in the bay file; it is not known better."""
ROUNDED = ("fans", "ducts", "humidifier", "refrigeration", "heater")


def airflow_wanted(bay: Bay, text: str | None = None) -> float:
    """Airflow per mass of crop to size a bay for. [m³/(s t)]"""
    if text is None:
        return bay.fans.airflow / bay.pile.capacity * 1000.0
    number, unit = parse_any(text, ("m3/(s kg)", "m3/s"))
    per_mass = number if unit == "m3/(s kg)" else number / bay.pile.capacity
    if not 1e-6 <= per_mass <= 1e-4:
        raise BadInput(
            f"{text!r}: is {per_mass * 3.6e6:.3g} m3/(h t); it must lie in 3.6 to 360 "
            'm3/(h t) (1.9 to 192 cfm/ton); usual are 10 to 30 cfm/ton, such as "20 cfm/ton"'
        )
    return per_mass * 1000.0


def sized_text(bay: Bay, units: UnitSystem) -> str:
    """The bay file of a sized bay, read back before it is written."""
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
