"""A sizing as plain text and as data for other programs."""

from __future__ import annotations

import re
from collections.abc import Sequence
from itertools import groupby
from typing import Any

from ventcalc.bay.checks import bay_notes
from ventcalc.equipment.refrigerant_cycle import REFRIGERANTS
from ventcalc.report.alternatives import alternative_lines, season_line
from ventcalc.report.numbers import rounded
from ventcalc.report.table import bullets, table
from ventcalc.sizing.alternatives import Alternatives
from ventcalc.sizing.size import CAUTIONS, Size, Sizing
from ventcalc.units import UnitSystem, reworded, show

__all__ = [
    "by_subject",
    "cells",
    "fan_schedule",
    "head_lines",
    "refrigerants_line",
    "shown_size",
    "size_data",
    "size_notes",
    "size_text",
    "working",
]

_RESISTANCE = {"metric": ("RSI", 1.0), "us": ("R", 5.678263)}
"""Thermal resistance as it is sold; 1 m² K/W is R-5.68 (NIST SP 811)."""

KEY_UNITS = {
    "1": "",
    "1 percent": "_fraction",
    "1 ppm": "_fraction",
    "1 hp": "_hp",
    "degC": "_c",
    "delta_degC": "_k",
    "m": "_m",
    "m small": "_m",
    "m2": "_m2",
    "m/s": "_m_s",
    "m3/s": "_m3_s",
    "m3/(s t)": "_m3_s_t",
    "kg": "_kg",
    "kg/m3": "_kg_m3",
    "kg/m3 air": "_kg_m3",
    "kg/kg": "_kg_kg",
    "kg/s": "_kg_s",
    "Pa": "_pa",
    "W": "_w",
    "W electrical": "_w",
    "W shaft": "_w",
    "W refrigeration": "_w",
    "W/kg": "_w_kg",
    "m2 K/W": "_m2_k_w",
    "J": "_j",
    "s": "_s",
    "money/J": "_money_per_j",
}
"""What the key of a number in data ends in, by its row of units."""


def shown_size(value: float, unit: str, units: UnitSystem = "metric", currency: str = "") -> str:
    """A number with its unit; ``m2 K/W`` is insulation, a currency goes before a price."""
    if unit == "m2 K/W":
        word, factor = _RESISTANCE[units]
        return f"{word} {value * factor:.1f}"
    if unit == "1 hp":
        return f"{value:.2g} hp" if value < 10.0 else f"{value:.0f} hp"
    if unit == "1" and float(value).is_integer():
        return f"{value:.0f}"
    if unit == "1":
        return f"{value:.2f}"
    if unit == "s" and 0.0 < abs(value) < 3600.0:
        return f"{value / 60.0:.0f} min"
    long = unit == "s" and abs(value) >= 100.0 * 3600.0
    text = show(value, unit, units, 0 if long else None)
    return f"{currency} {text}".lstrip() if unit.startswith("money") else text


def by_subject(sizes: Sequence[Size]) -> list[tuple[str, list[Size]]]:
    """Subjects, each with its sizes."""
    return [(name, list(some)) for name, some in groupby(sizes, lambda one: one.subject)]


def working(one: Size, units: UnitSystem = "metric") -> str:
    """How a size was found, in one sentence: name, formula, inputs, source."""
    inputs = "; ".join(f"{x.name} {shown_size(x.value, x.unit, units)}" for x in one.given)
    told = f" From: {inputs}." if inputs else ""
    return reworded(f"{one.name}: {one.formula}.{told} Source: {one.source}.", units)


def cells(one: Size, units: UnitSystem = "metric", currency: str = "") -> list[str]:
    """Name, size, margin, and what the bay has now."""
    optional = [
        "" if value is None else shown_size(value, one.unit, units, currency)
        for value in (one.margin, one.present)
    ]
    if one.unit == "delta_degC" or one.unit == "degC":
        optional[0] = "" if one.margin is None else show(one.margin, "delta_degC", units)
    return [reworded(one.name, units), shown_size(one.value, one.unit, units, currency), *optional]


def head_lines(sizing: Sizing, units: UnitSystem = "metric") -> list[str]:
    """What was sized, for what weather."""
    pile, target = sizing.bay.pile, sizing.air.airflow_per_tonne
    return [
        f"{sizing.bay.name}: full pile of {show(pile.capacity, 'kg', units)}, "
        f"{show(pile.length, 'm', units)} x {show(pile.width, 'm', units)} x "
        f"{show(pile.height, 'm', units)} high, at {show(target, 'm3/(s t)', units)}",
        f"Weather: {sizing.weather_name or 'file without a name'}",
    ]


def size_notes(sizing: Sizing, units: UnitSystem, found: Alternatives | None) -> list[str]:
    """What a reader should know; what the season comes to first, where one was run."""
    season = [season_line(found, units)] if found else []
    return season + [reworded(note, units) for note in sizing.notes]


def size_text(
    sizing: Sizing, units: UnitSystem = "metric", found: Alternatives | None = None
) -> str:
    """Write a sizing; with other airflows beside it where they were looked at."""
    currency, groups = sizing.bay.costs.currency, by_subject(sizing.sizes)
    lines = [
        *head_lines(sizing, units),
        "",
        *bullets(size_notes(sizing, units, found)),
    ]
    for subject, sizes in groups:
        head = [subject.capitalize(), "size", "margin", "bay now"]
        lines += ["", *table([head, *(cells(one, units, currency) for one in sizes)], indent=0)]
    lines += ["", *table(fan_schedule(sizing, units), indent=0)]
    lines += ["", "Refrigerants at these temperatures, cooling per electrical power"]
    lines += bullets([refrigerants_line(sizing)])
    lines += ["", *alternative_lines(found, units)] if found else []
    for subject, sizes in groups:
        lines += ["", f"Working: {subject}"]
        lines += bullets(working(one, units) for one in sizes)
    if remarks := [reworded(note, units) for note in bay_notes(sizing.sized)]:
        lines += ["", "Notes on the sized bay", *bullets(remarks)]
    return "\n".join([*lines, "", "Cautions", *bullets(CAUTIONS)])


def fan_schedule(sizing: Sizing, units: UnitSystem) -> list[list[str]]:
    """What to ask a maker of fans for."""
    made = sizing.air
    shaft, standard = (
        show(watts, "W shaft", units)
        for watts in (made.shaft_power_per_fan, made.standard_shaft_power)
    )
    motor = show(made.motor_rating, "W electrical", units)
    rows = {
        "number": str(made.fans),
        "airflow of one": show(made.airflow / made.fans, "m3/s", units),
        "static pressure in air of 1.2 kg/m3": show(made.standard_pressure, "Pa", units),
        "static pressure at the site": show(made.static_pressure, "Pa", units),
        "air density at the site": show(made.density, "kg/m3 air", units),
        "shaft power of one in air of 1.2 kg/m3": standard,
        "shaft power of one at the site": shaft,
        "motor of one": f"{motor} or {made.motor_horsepower:g} hp",
    }
    return [["Fan schedule", ""], *([reworded(name, units), value] for name, value in rows.items())]


def refrigerants_line(sizing: Sizing) -> str:
    """Cooling per electrical power by refrigerant, with safety groups, and those left out."""
    found = ", ".join(
        f"{name} {value:.2f} ({REFRIGERANTS[name].safety_group})"
        for name, value in sizing.cooling.performances.items()
    )
    # The reason stands between the range and the hint: "...; at or above the critical point: ...".
    left = ", ".join(
        f"{name} ({why.rpartition('; ')[2].partition(':')[0]})"
        for name, why in sizing.cooling.left_out.items()
    )
    return (
        f"{found}; safety groups of ANSI/ASHRAE 34 (from memory): A or B for toxicity, 1, 2L or "
        "3 for flammability." + (f" Not at these temperatures: {left}." if left else "")
    )


def size_data(sizing: Sizing) -> dict[str, Any]:
    """A sizing for JSON."""
    return {
        "bay": sizing.bay.name,
        "weather": sizing.weather_name,
        "refrigeration_needed": sizing.refrigeration_needed,
        "outside_air_alone": sizing.alone.verdict,
        "sizes": {_key(one.key, one.unit): rounded(one.value) for one in sizing.sizes},
        "working": [_record(one) for one in sizing.sizes],
        "plant_performance": {
            name: rounded(value) for name, value in sizing.cooling.performances.items()
        },
        "plant_left_out": dict(sizing.cooling.left_out),
        "notes": list(sizing.notes),
        "remarks": list(bay_notes(sizing.sized)),
        "cautions": list(CAUTIONS),
    }


def _record(one: Size) -> dict[str, Any]:
    ending = KEY_UNITS[one.unit]
    return {
        "key": one.key,
        "subject": one.subject,
        "name": one.name,
        f"value{ending}": rounded(one.value),
        f"margin{ending if one.unit != 'degC' else '_k'}": rounded(one.margin),
        f"bay_now{ending}": rounded(one.present),
        "formula": one.formula,
        "inputs": {
            _key(re.sub(r"\W+", "_", part.name), part.unit): rounded(part.value)
            for part in one.given
        },
        "source": one.source,
    }


def _key(name: str, unit: str) -> str:
    return name + KEY_UNITS[unit]
