"""Plots of a sizing: pressure and load by part, a season on outside air alone."""

from __future__ import annotations

from calendar import timegm
from collections.abc import Mapping, Sequence
from typing import Any

from ventcalc.units import UnitSystem, convert, show, shown_unit
from ventcalc.web.bars import bars
from ventcalc.web.chart import Level, Line, chart
from ventcalc.web.svg import Picture

__all__ = ["alone_plot", "load_plot", "pressure_plot"]


def pressure_plot(parts: Mapping[str, float], units: UnitSystem) -> Picture:
    """Static pressure by part [Pa], in the order in which the air meets them."""
    factor = float(convert(1.0, "Pa", units)[0])
    return bars(
        "pressure",
        "Static pressure by part",
        list(parts),
        {"pressure": [value * factor for value in parts.values()]},
        label=lambda value: show(value / factor, "Pa", units),
        x_label=f"static pressure, {shown_unit('Pa', units)}",
    )


def load_plot(
    cases: Sequence[str], parts: Mapping[str, Sequence[float]], units: UnitSystem
) -> Picture:
    """Refrigeration load of each case by part [W]; what cools grows to the left of zero."""
    unit = "W refrigeration"
    return bars(
        "loads",
        "Refrigeration load by part",
        cases,
        {name: [float(convert(x, unit, units)[0]) for x in loads] for name, loads in parts.items()},
        label=lambda total: f"sum {total:,.0f}",
        x_label=f"heat, {shown_unit(unit, units).replace('_', ' of ')}",
    )


def alone_plot(days: Mapping[str, Any], units: UnitSystem) -> Picture:
    """The pile on outside air alone against the plan, by the day."""

    def shown(name: str) -> Any:
        return convert(days[name], "degC", units)[0]

    unit = shown_unit("degC", units)
    return chart(
        "season",
        "The pile on outside air alone",
        [float(timegm(date.timetuple())) for date in days["dates"]],
        (
            Line(label="outside, range of the day", y=shown("high"), base=shown("low"),
                 color="--quiet", width=0.0),
            Line(label="plan", y=shown("target"), color="--ink", dash=(7, 4), width=1.5),
            Line(label="pile on outside air alone", y=shown("pulp"), color="--accent", width=2.5),
        ),
        unit=unit,
        y_label=unit,
        time=True,
        daily=True,
        years=False,
        levels=(Level(y=float(convert(0.0, "degC", units)[0]), label="freezing of water"),),
    )  # fmt: skip
