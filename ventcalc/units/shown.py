"""The border: results in metric or US customary units."""

from __future__ import annotations

import difflib
import math
from typing import Any, Literal

import numpy as np

from ventcalc.errors import BadInput
from ventcalc.units.scales import SHOWN, Scale

__all__ = ["UnitSystem", "convert", "show", "shown_unit"]

UnitSystem = Literal["metric", "us"]


def _scale(quantity_unit: str, units: UnitSystem) -> Scale:
    if units not in ("metric", "us"):
        raise BadInput(f'units = "{units}": must be "metric" or "us"')
    if quantity_unit not in SHOWN:
        close = difflib.get_close_matches(quantity_unit, SHOWN, n=1)
        hint = f'did you mean "{close[0]}"?' if close else "one of " + ", ".join(SHOWN)
        raise BadInput(f'quantity_unit = "{quantity_unit}": cannot be shown; {hint}')
    return SHOWN[quantity_unit][units]


def convert(value: Any, quantity_unit: str, units: UnitSystem = "metric") -> tuple[Any, str]:
    """
    Convert results for a table or a plot.

    Parameters
    ----------
    value : float or array-like
        What to convert. [quantity_unit]
    quantity_unit : str
        Unit inside ventcalc; a word after it picks a special case: ``"m small"`` (mm, inch),
        ``"kg small"`` (kg, lb), ``"Pa air"`` (kPa, inHg), ``"1 percent"``, ``"1 ppm"``,
        ``"W electrical"`` (kW), ``"W shaft"`` (kW, hp), ``"W refrigeration"`` (kW, tons),
        ``"s days"``, ``"J/kg dry air"`` (enthalpy of moist air).
    units : {"metric", "us"}
        Which units to give.

    Returns
    -------
    number : float or array
        The same quantity. [label]
    label : str
        The unit; empty for a plain number.

    Raises
    ------
    BadInput
        If ``quantity_unit`` or ``units`` is not known.

    Notes
    -----
    ``"J/kg dry air"`` in US units counts dry air from 0 °F as ASHRAE's I-P tables do, which
    puts it 7.687 Btu/lb above the plain factor; ``"J/kg"`` is the plain factor and right for
    differences. Factors as in NIST SP 811, appendix B.8.
    """
    scale = _scale(quantity_unit, units)
    number = value if isinstance(value, float | int) else np.asarray(value, dtype=float)
    return number * scale.factor + scale.offset, scale.unit


def show(
    value: float,
    quantity_unit: str,
    units: UnitSystem = "metric",
    digits: int | None = None,
    unknown: str = "unknown",
) -> str:
    """
    Write one result with its unit.

    Parameters
    ----------
    value : float
        What to write. [quantity_unit]
    quantity_unit : str
        Unit inside ventcalc, as for ``convert``.
    units : {"metric", "us"}
        Which units to use.
    digits : int, optional
        Decimals; by default what suits the quantity.
    unknown : str
        What to write for NaN.

    Returns
    -------
    str
        For example ``"38.0 °F"``, with thousands commas.

    Raises
    ------
    BadInput
        If ``quantity_unit`` or ``units`` is not known.
    """
    if math.isnan(value):
        return unknown
    number, label = convert(float(value), quantity_unit, units)
    places = _scale(quantity_unit, units).digits if digits is None else digits
    if quantity_unit == "m small" and digits is None and abs(number - round(number)) < 1e-6:
        places = 0  # a nominal size
    number = round(number, places) + 0.0  # no "-0.0"
    text = f"{number:,.{places}f}"
    label = label.replace("delta_degF", "°F").replace("ton_refrigeration", "TR").replace("_", " ")
    glue = "" if label.startswith(("/", "%")) or not label else " "
    return f"{text}{glue}{label}"


def shown_unit(quantity_unit: str, units: UnitSystem = "metric") -> str:
    """
    Unit in which ``convert`` gives a quantity.

    Parameters
    ----------
    quantity_unit : str
        Unit inside ventcalc, as for ``convert``.
    units : {"metric", "us"}
        Which units.

    Returns
    -------
    str
        The label; ``parse`` reads it.

    Raises
    ------
    BadInput
        If ``quantity_unit`` or ``units`` is not known.
    """
    return _scale(quantity_unit, units).unit
