"""Plots of a pile check: heights, fans, moist air, heat."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np

from ventcalc import air
from ventcalc.check.check import PileCheck
from ventcalc.check.cold_load import RUNNING_SHARE
from ventcalc.check.heat_balance import HeatBalance
from ventcalc.units import UnitSystem, convert, show, shown_unit
from ventcalc.web.bars import bars
from ventcalc.web.chart import Line, Mark, chart
from ventcalc.web.svg import Picture

__all__ = [
    "cold_plot",
    "fan_plot",
    "heat_plot",
    "process_points",
    "psychrometric_plot",
    "reach_plot",
]


def _in(value: Any, unit: str, units: UnitSystem) -> Any:
    return convert(value, unit, units)[0]


# --- heights -------------------------------------------------------------------------------


def reach_plot(result: PileCheck, units: UnitSystem) -> Picture:
    """How high the pile may be by each check whose margin runs out below the tallest."""
    reaches = [*result.reaches, *result.plant_reaches]
    found = {reach.name: float(_in(reach.height, "m", units)) for reach in reaches}
    rows = found or {"every check": float(_in(8.0, "m", units))}
    unit = shown_unit("m", units)
    here = float(_in(result.height, "m", units))
    return bars(
        "reach",
        "Height to which each check lets the bay be filled",
        list(rows),
        {"height": list(rows.values())},
        label=lambda value: f"{value:.1f} {unit}",
        x_label=f"height of the pile, {unit}",
        level=(here, f"this height, {here:.1f} {unit}"),
    )


# --- fans ----------------------------------------------------------------------------------


def fan_plot(result: PileCheck, units: UnitSystem) -> Picture:
    """Curve of all fans in the air of the site, system curve and where they meet."""
    system, fans = result.system, result.bay.fans
    count, slow, density = fans.count, fans.minimum_speed, system.density
    low, high = float(system.curve.airflow[0]), float(system.curve.airflow[-1])
    flow = count * np.linspace(low, high, 200)
    fan = system.curve.pressure_at(flow / count, density=density)
    part = np.full_like(flow, np.nan)
    within = (flow >= slow * count * low) & (flow <= slow * count * high)
    part[within] = system.curve.pressure_at(flow[within] / count, fan_speed=slow, density=density)
    asked = np.asarray(system.system(flow), float)
    asked = np.where(asked <= 1.1 * np.max(fan), asked, np.nan)
    marks = []
    if math.isfinite(system.airflow):
        marks.append(
            Mark(
                x=float(_in(system.airflow, "m3/s", units)),
                y=float(_in(system.point.static_pressure, "Pa", units)),
                label="operating point",
            )
        )
    flow_unit, unit = shown_unit("m3/s", units), shown_unit("Pa", units)
    return chart(
        "fan",
        "Fans and system",
        _in(flow, "m3/s", units),
        (
            Line(label="all fans, full speed", y=_in(fan, "Pa", units), color="--c0"),
            Line(label=f"at {slow:.0%} speed", y=_in(part, "Pa", units), color="--c0",
                 dash=(2, 3), width=1.5),
            Line(label="ducts, pile and everything else", y=_in(asked, "Pa", units),
                 color="--c1", dash=(7, 3)),
        ),
        unit=unit,
        digits=2 if units == "us" else 0,
        y_label=f"static pressure, {unit}",
        x_label=f"airflow of all fans, {flow_unit}",
        marks=marks,
        y_range=(0.0, 1.15 * float(np.max(_in(fan, "Pa", units)))),
    )  # fmt: skip


# --- moist air -----------------------------------------------------------------------------

_COLDEST, _WARMEST = -25.0, 25.0


def psychrometric_plot(result: PileCheck, units: UnitSystem) -> Picture:
    """Outside, mixed, supply and return air of fill and holding on a psychrometric chart."""
    dry = np.linspace(_COLDEST, _WARMEST, 101)
    top = float(air.humidity_ratio(18.0, 1.0, result.pressure))
    lines, marks = [], []
    for percent in (20, 40, 60, 80, 100):
        water = air.humidity_ratio(dry, percent / 100.0, result.pressure)
        water = np.where(water <= top, water, np.nan)
        x, y = _point(dry, water, units)
        bold = percent == 100
        lines.append(Line(label="", x=x, y=y, color="--quiet", width=1.8 if bold else 0.8))
        last = int(np.flatnonzero(~np.isnan(water))[-1])
        marks.append(Mark(x=float(x[last]), y=float(y[last]), label=f"{percent}%", dot=False,
                          anchor="end", color="--quiet"))  # fmt: skip
    looks = ((0, "fill", "--c1", (7, 3)), (2, "winter", "--c0", ()))
    for k, words, color, dash in looks:
        way, names = _process(result, k, words, color, dash, units)
        lines += way
        marks += names
    unit = shown_unit("kg/kg", units)
    ends = _point(np.array([_COLDEST, _WARMEST]), np.array([0.0, top]), units)
    return chart(
        "air",
        "The air on a psychrometric chart",
        ends[0],
        lines,
        y_label=f"humidity ratio, {unit} dry air",
        x_label=f"dry bulb, {shown_unit('degC', units)}",
        y_range=(0.0, float(ends[1][1])),
        marks=marks,
        size=(960.0, 480.0),
        live=False,
    )


def _point(temperature: Any, humidity_ratio: Any, units: UnitSystem) -> tuple[Any, Any]:
    return _in(temperature, "degC", units), _in(humidity_ratio, "kg/kg", units)


def process_points(result: PileCheck, k: int) -> list[tuple[str, float, float]]:
    """Name, temperature and humidity ratio of the air on its way, for the k-th state."""
    state, through, made = result.states[k], result.passages[k], result.supplies[k]
    outside = float(
        air.humidity_ratio(
            state.outside_temperature, state.outside_relative_humidity, result.pressure
        )
    )
    return [
        ("outside", state.outside_temperature, outside),
        ("mixed", float(made.mixed_temperature), float(made.mixed_humidity_ratio)),
        ("supply", float(made.supply_temperature), float(made.supply_humidity_ratio)),
        ("return", float(through.outlet_temperature), float(through.outlet_humidity_ratio)),
    ]


def _process(
    result: PileCheck, k: int, words: str, color: str, dash: Sequence[int], units: UnitSystem
) -> tuple[list[Line], list[Mark]]:
    """The air's way through one state: the mix thin, then humidifier and pile."""
    points = process_points(result, k)
    x, y = _point(np.array([p[1] for p in points]), np.array([p[2] for p in points]), units)
    mix, way = [0, 3], [1, 2, 3]
    lines = [
        Line(label="", x=x[mix], y=y[mix], color=color, dash=(2, 3), width=1.0),
        Line(label=f"{words}: O outside, M mixed, S supply, R return", x=x[way], y=y[way],
             color=color, dash=dash, width=2.0),
    ]  # fmt: skip
    sides = (("end", False), ("start", True), ("end", False), ("start", False))
    marks = [
        Mark(x=float(a), y=float(b), label=name[0].upper(), color=color, anchor=anchor, below=low)
        for (name, _, _), a, b, (anchor, low) in zip(points, x, y, sides, strict=True)
    ]
    return lines, marks


# --- heat ----------------------------------------------------------------------------------

_PARTS = ("respiration", "fans", "field heat", "walls and ceiling", "leaks", "evaporation")


def heat_plot(balances: tuple[HeatBalance, ...]) -> Picture:
    """Heat of each state by part: gains to the right, what cools to the left."""
    return bars(
        "heat",
        "Heat of the bay by part",
        [balance.name for balance in balances],
        {part: [balance.parts[part] / 1000.0 for balance in balances] for part in _PARTS},
        label=lambda total: f"sum {total:,.0f} kW",
        x_label="kW, sensible",
    )


_COLD_PARTS = (
    "respiration", "field heat", "fans", "envelope", "leakage", "defrost", "fresh air"
)  # fmt: skip


def cold_plot(result: PileCheck, units: UnitSystem) -> Picture:
    """Load of a warm day by part, and what the plant can do."""
    unit = "W refrigeration"
    checks = [result.check(key) for key in ("cold_fill", "cold_pull_down", "cold_holding")]
    heats = [{aside.name: aside.value for aside in check.asides} for check in checks]
    parts = {
        part: [float(_in(heat.get(part, 0.0), unit, units)) for heat in heats]
        for part in _COLD_PARTS
        if any(part in heat for heat in heats)
    }
    able = RUNNING_SHARE * checks[0].limit
    words = f"the refrigeration plant, 20 h of 24: {show(able, unit, units)}"
    shown = shown_unit(unit, units).replace("_", " of ")
    return bars(
        "cold",
        "Heat to remove on a warm day by part",
        ["fill", "pull-down", "holding"],
        parts,
        label=lambda total: f"sum {total:,.0f}",
        x_label=shown,
        level=(float(_in(able, unit, units)), words) if math.isfinite(able) else None,
    )
