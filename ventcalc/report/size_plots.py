"""Drawings of a sizing: pressure and load by part, a season on outside air alone."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from ventcalc.report.drawing import BLUE, RED, Drawing, drawing, legend, months_below
from ventcalc.units import UnitSystem, convert, show, shown_unit

__all__ = ["alone_plot", "load_plot", "pressure_plot"]

_LOOKS = (
    ("#0072B2", ""),
    ("#E69F00", "////"),
    ("#56B4E9", "...."),
    ("#D55E00", "xxxx"),
    ("#009E73", "\\\\\\\\"),
    ("#CC79A7", "++++"),
    ("#F0E442", "----"),
    ("#999999", "oooo"),
    ("#dddddd", "||||"),
    ("#ffffff", "**"),
)
"""Colour and hatch of each part: told apart without colour too."""


def pressure_plot(parts: Mapping[str, float], units: UnitSystem) -> Drawing:
    """Static pressure by part [Pa], in the order in which the air meets them."""
    with drawing("pressure", "Static pressure by part", 2.9) as sheet:
        axes = _lying(sheet, list(parts))
        for place, value in enumerate(parts.values()):
            width = float(convert(value, "Pa", units)[0])
            axes.barh(place, width, color="#cfd8dc", edgecolor="black", lw=0.8, height=0.65)
            axes.annotate(show(value, "Pa", units), (max(width, 0.0), place), xytext=(5, 0),
                          textcoords="offset points", va="center")  # fmt: skip
        axes.margins(x=0.14)
        axes.set_xlabel(f"static pressure, {shown_unit('Pa', units)}")
    return sheet


def load_plot(
    cases: Sequence[str], parts: Mapping[str, Sequence[float]], units: UnitSystem
) -> Drawing:
    """Refrigeration load of each case by part [W]; what cools grows to the left of zero."""
    unit = "W refrigeration"
    with drawing("loads", "Refrigeration load by part", 3.2) as sheet:
        axes = _lying(sheet, cases)
        up, down = np.zeros(len(cases)), np.zeros(len(cases))
        for k, (name, loads) in enumerate(parts.items()):
            color, hatch = _LOOKS[k]
            width = np.asarray(convert(loads, unit, units)[0])
            axes.barh(
                range(len(cases)), width, left=np.where(width >= 0.0, up, down), height=0.6,
                color=color, edgecolor="black", lw=0.7, hatch=hatch, label=name,
            )  # fmt: skip
            up, down = up + np.maximum(width, 0.0), down + np.minimum(width, 0.0)
        axes.axvline(0.0, color="black", lw=0.9)
        axes.set_xlabel(f"heat, {shown_unit(unit, units).replace('_', ' of ')}")
        axes.legend(loc="lower right", ncols=2, fontsize=9, handlelength=2.6, frameon=True)
    return sheet


def _lying(sheet: Drawing, names: Sequence[str]) -> Any:
    """Axes for lying bars, the first name at the top."""
    axes = sheet.figure.add_subplot()
    axes.set_yticks(range(len(names)), names)
    axes.invert_yaxis()
    axes.grid(False, axis="y")
    return axes


def alone_plot(days: Mapping[str, Any], units: UnitSystem) -> Drawing:
    """The pile on outside air alone against the plan, by the day."""
    with drawing("season", "The pile on outside air alone", 3.6) as sheet:
        axes = sheet.figure.add_subplot()
        dates = days["dates"]

        def shown(name: str) -> Any:
            return convert(days[name], "degC", units)[0]

        axes.fill_between(
            dates, shown("low"), shown("high"), color="#d8dee2", lw=0, label="outside"
        )
        axes.plot(dates, shown("target"), color="black", lw=1.0, ls="--", label="plan")
        axes.plot(dates, shown("pulp"), color=RED, lw=1.7, label="pile on outside air alone")
        zero = float(convert(0.0, "degC", units)[0])
        axes.axhline(zero, color=BLUE, lw=0.8, ls=":", label="freezing of water")
        axes.set_ylabel(shown_unit("degC", units))
        months_below(axes, january="%b")
        legend(axes, 4)
    return sheet
