"""Drawings of a pile check: the bay to scale, heights, fans, moist air, heat."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from ventcalc import air
from ventcalc.bay.description import Bay, Ducts
from ventcalc.check.check import PileCheck
from ventcalc.check.cold_load import RUNNING_SHARE
from ventcalc.check.heat_balance import HeatBalance
from ventcalc.report.drawing import BLUE, GREEN, GREY, RED, Drawing, drawing, legend, note
from ventcalc.units import UnitSystem, convert, show, shown_unit

__all__ = [
    "bay_drawing",
    "cold_plot",
    "fan_plot",
    "heat_plot",
    "process_points",
    "psychrometric_plot",
    "sweep_plot",
]

_EARTH = "#e6dcc8"


def _m(value: Any, units: UnitSystem) -> Any:
    return convert(value, "m", units)[0]


def _box(axes: Any, x: float, y: float, width: float, height: float, **looks: Any) -> None:
    xs, ys = [x, x + width, x + width, x], [y, y, y + height, y + height]
    axes.fill(xs, ys, **looks)


# --- the bay to scale --------------------------------------------------------------------


def bay_drawing(result: PileCheck, units: UnitSystem) -> Drawing:
    """Plan with plenum and laterals, and a section across the laterals' way, both to scale."""
    ducts = result.bay.ducts
    along, across = _sides(result.bay)
    lane = ducts.plenum_width if ducts else 0.0
    tall = _wall(result) + 1.0
    ratio = (across + lane + 4.0) / (along + 4.0)
    height = 2.0 + 8.6 * ratio + 8.6 * tall / (across + lane + 4.0) * 0.55
    with drawing("bay", "The bay to scale", min(height, 11.0)) as sheet:
        grid = sheet.figure.add_gridspec(2, 1, height_ratios=(max(ratio, 0.3), 0.42))
        _plan(sheet.figure.add_subplot(grid[0]), result.bay, ducts, units)
        _section(sheet.figure.add_subplot(grid[1]), result, units)
        for axes in sheet.figure.axes:
            axes.set_aspect("equal")
            axes.grid(False)
            axes.set_xlabel(shown_unit("m", units))
            axes.set_ylabel(shown_unit("m", units))
    return sheet


def _sides(bay: Bay) -> tuple[float, float]:
    """Floor along the plenum and across it. [m]"""
    pile, ducts = bay.pile, bay.ducts
    if ducts is not None and ducts.plenum_along == "width":
        return pile.width, pile.length
    return pile.length, pile.width


def _wall(result: PileCheck) -> float:
    """Height of the wall, or what the headspace makes of it. [m]"""
    shell, pile = result.bay.envelope, result.bay.pile
    return shell.wall_height or pile.height + shell.headspace_volume / shell.ceiling_area


def _plan(axes: Any, bay: Bay, ducts: Ducts | None, units: UnitSystem) -> None:
    along, across = _sides(bay)
    _box(axes, 0, 0, _m(along, units), _m(across, units), facecolor=_EARTH, edgecolor="black",
         lw=1.2)  # fmt: skip
    if ducts is None:
        axes.set_title("Plan: the bay file has no [ducts] to draw", fontsize=10, loc="left")
        return
    wide = _m(ducts.plenum_width, units)
    _box(axes, 0, -wide, _m(along, units), wide, facecolor="white", edgecolor="black", lw=1.2,
         hatch="..")  # fmt: skip
    axes.text(_m(along / 2, units), -wide / 2, "plenum", ha="center", va="center", fontsize=9,
              bbox={"facecolor": "white", "edgecolor": "none", "pad": 1.0})  # fmt: skip
    spacing, size = along / ducts.laterals, ducts.lateral_diameter
    for k in range(ducts.laterals):
        middle = (k + 0.5) * spacing
        _box(
            axes, _m(middle - size / 2, units), 0, _m(size, units),
            _m(ducts.lateral_length, units), facecolor="#bcd4e6", edgecolor=BLUE, lw=0.8,
        )  # fmt: skip
    axes.set_title(
        f"Plan: {ducts.laterals} laterals, one every {_m(spacing, units):.1f} "
        f"{shown_unit('m', units)}",
        fontsize=10,
        loc="left",
    )


def _section(axes: Any, result: PileCheck, units: UnitSystem) -> None:
    """Across the plenum: pile, headspace, walls; the highest pile that passes as a line."""
    bay, ducts = result.bay, result.bay.ducts
    _, across = _sides(bay)
    wide, tall, height = _m(across, units), _m(_wall(result), units), _m(result.height, units)
    _box(axes, 0, 0, wide, height, facecolor=_EARTH, edgecolor=GREY, hatch="o", lw=0.8)
    axes.plot([0, 0, wide, wide], [0, tall, tall, 0], color="black", lw=2.0)
    axes.axhline(0.0, color="black", lw=1.5)
    if ducts is not None:
        lane, roof = _m(ducts.plenum_width, units), _m(ducts.plenum_height, units)
        _box(axes, -lane, 0, lane, roof, facecolor="white", edgecolor="black", hatch="..")
        shown = 1.0 if ducts.lateral_shape == "round" else 0.5
        _box(axes, 0, 0, _m(ducts.lateral_length, units), shown * _m(ducts.lateral_diameter, units),
             facecolor="#bcd4e6", edgecolor=BLUE)  # fmt: skip
        axes.text(_m(ducts.lateral_length / 2, units),
                  0.5 * shown * _m(ducts.lateral_diameter, units), "lateral", ha="center",
                  va="center", fontsize=8)  # fmt: skip
    if result.highest > 0.0:
        top = _m(result.highest, units)
        axes.plot([0, wide], [top, top], color=RED, ls=(0, (5, 2)), lw=1.4)
        axes.text(wide * 0.98, top, "highest that passes", ha="right", va="bottom", fontsize=9)
    unit = shown_unit("m", units)
    axes.text(wide * 0.5, height * 0.55, f"pile, {height:.1f} {unit}", ha="center", fontsize=9,
              bbox={"facecolor": "white", "edgecolor": "none", "pad": 1.0})  # fmt: skip
    axes.set_ylim(0, max(tall, height) * 1.15)
    axes.set_title("Section across the plenum", fontsize=10, loc="left")


# --- heights -----------------------------------------------------------------------------

_LINES = (
    ("bruise", "depth against bruise", GREY, "--", "o"),
    ("headspace", "headspace", "black", "-", "s"),
    ("wall_height", "eave", "black", ":", "D"),
    ("floor_load", "floor", GREY, "-.", "P"),
    ("airflow", "airflow", BLUE, "-", "^"),
    ("rise_fill", "rise at fill", RED, "-", "v"),
    ("rise_healing", "rise, healing", RED, "--", ">"),
    ("rise_holding", "rise, holding", RED, ":", "<"),
    ("cool_down", "cool-down", GREEN, "-", "X"),
    ("humidity_fill", "humidifier", GREEN, "--", "*"),
    ("co2_healing", "CO2, healing", GREEN, ":", "h"),
    ("cold_pull_down", "cooling, pull-down", BLUE, "--", "d"),
    ("cold_holding", "cooling, holding", BLUE, ":", "p"),
)
"""Checks drawn against height: words, colour, line, mark; marks tell lines apart without colour."""


def sweep_plot(result: PileCheck, sweep: PileCheck, units: UnitSystem) -> Drawing:
    """Margin of every check over its limit, by height."""
    height = _m(np.asarray(sweep.height), units)
    with drawing("sweep", "Margins by height of the pile", 5.0) as sheet:
        axes = sheet.figure.add_subplot()
        axes.axhspan(-60.0, 0.0, facecolor="#f5e0d6", edgecolor="#cc9980", hatch="xx", lw=0)
        axes.axhline(0.0, color="black", lw=1.0)
        for place, (key, words, color, style, mark) in enumerate(_LINES):
            check = sweep.check(key)
            share = 100.0 * check.margin / check.limit
            if not np.isnan(share).all():
                axes.plot(height, share, color=color, ls=style, lw=1.3, label=words, marker=mark,
                          ms=5, mfc="white", markevery=(place, 16))  # fmt: skip
        axes.axvline(_m(result.height, units), color="black", lw=1.0, ls=":")
        note(axes, "this height", _m(result.height, units), 106.0, -4)
        if result.highest > 0.0:
            axes.axvline(_m(result.highest, units), color=RED, lw=1.0)
            note(axes, "highest that passes", _m(result.highest, units), 92.0, -4)
        axes.set_ylim(-60.0, 110.0)
        axes.set_xlim(height[0], height[-1])
        axes.set_xlabel(f"height of the pile, {shown_unit('m', units)}")
        axes.set_ylabel("margin, % of the limit")
        sheet.figure.legend(loc="outside lower center", ncols=6, fontsize=9, handlelength=3.0)
    return sheet


# --- fans --------------------------------------------------------------------------------


def fan_plot(result: PileCheck, units: UnitSystem) -> Drawing:
    """Curve of all fans in the air of the site, system curve and where they meet."""
    system, fans = result.system, result.bay.fans
    each = np.linspace(system.curve.airflow[0], system.curve.airflow[-1], 200)
    flow = fans.count * each
    fan = system.curve.pressure_at(each, density=system.density)

    def flow_in(value: Any) -> Any:
        return convert(value, "m3/s", units)[0]

    def static(value: Any) -> Any:
        return convert(value, "Pa", units)[0]

    with drawing("fan", "Fans and system", 3.8) as sheet:
        axes = sheet.figure.add_subplot()
        axes.plot(flow_in(flow), static(fan), color=BLUE, lw=1.8, label="all fans, full speed")
        slow = fans.minimum_speed
        part = system.curve.pressure_at(slow * each, fan_speed=slow, density=system.density)
        axes.plot(flow_in(slow * flow), static(part), color=BLUE, lw=1.2, ls=(0, (1, 1)),
                  label=f"at {slow:.0%} speed")  # fmt: skip
        asked = system.system(flow)
        near = asked <= 1.1 * np.max(fan)  # beyond, the line would run through the legend
        axes.plot(flow_in(flow[near]), static(asked[near]), color=RED, lw=1.8, ls=(0, (5, 1.5)),
                  label="ducts, pile and everything else")  # fmt: skip
        if math.isfinite(system.airflow):
            here = (flow_in(system.airflow), static(system.point.static_pressure))
            axes.plot(*here, marker="o", color="black", ms=7, ls="none")
            note(axes, "operating point", *here, 8)
        axes.set_ylim(0.0, 1.3 * float(np.max(static(fan))))
        axes.set_xlim(left=0.0)
        axes.set_xlabel(f"airflow of all fans, {shown_unit('m3/s', units)}")
        axes.set_ylabel(f"static pressure, {shown_unit('Pa', units)}")
        legend(axes, 3)
    return sheet


# --- moist air ---------------------------------------------------------------------------


def psychrometric_plot(result: PileCheck, units: UnitSystem) -> Drawing:
    """Outside, mixed, supply and return air of fill and holding on a psychrometric chart."""
    with drawing("air", "The air on a psychrometric chart", 5.2) as sheet:
        axes = sheet.figure.add_subplot()
        dry = np.linspace(-25.0, 25.0, 120)
        for percent in (100, 80, 60, 40, 20):
            water = air.humidity_ratio(dry, percent / 100.0, result.pressure)
            axes.plot(*_point(dry, water, units), color=GREY, lw=1.6 if percent == 100 else 0.7)
            end = _point(
                20.0 if percent == 100 else 25.0,
                air.humidity_ratio(
                    20.0 if percent == 100 else 25.0, percent / 100.0, result.pressure
                ),
                units,
            )
            axes.annotate(f"{percent} %", end, xytext=(3, 0), textcoords="offset points",
                          fontsize=8, color=GREY)  # fmt: skip
        looks = ((0, "fill", RED, "o"), (2, "winter", BLUE, "s"))
        for k, words, color, marker in looks:
            _process(axes, result, k, words, (color, marker), units)
        axes.set_xlim(*_point(np.array([-25.0, 26.5]), 0.0, units)[0])
        top = air.humidity_ratio(18.0, 1.0, result.pressure)
        axes.set_ylim(0.0, _point(0.0, top, units)[1])
        axes.yaxis.tick_right()
        axes.yaxis.set_label_position("right")
        axes.spines["right"].set_visible(True)
        axes.spines["left"].set_visible(False)
        axes.set_xlabel(f"dry bulb, {shown_unit('degC', units)}")
        axes.set_ylabel(f"humidity ratio, {shown_unit('kg/kg', units)} dry air")
        axes.legend(loc="upper left", fontsize=9)
    return sheet


def _point(temperature: Any, humidity_ratio: Any, units: UnitSystem) -> tuple[Any, Any]:
    return convert(temperature, "degC", units)[0], convert(humidity_ratio, "kg/kg", units)[0]


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
    axes: Any,
    result: PileCheck,
    k: int,
    words: str,
    looks: tuple[str, str],
    units: UnitSystem,
) -> None:
    color, marker = looks
    points = process_points(result, k)
    at = [_point(t, w, units) for _, t, w in points]
    label = f"{words}: O outside, M mixed, S supply, R return"
    axes.plot(*zip(*at, strict=True), color=color, marker=marker, ls="none", ms=6, label=label)
    axes.plot(*zip(at[0], at[3], strict=True), color=color, lw=1.0, ls=(0, (5, 2)))
    axes.plot(*zip(at[1], at[2], at[3], strict=True), color=color, lw=1.2)
    places = ((-9, 3), (6, -11), (-11, 6), (6, 4))
    for (name, _, _), where, away in zip(points, at, places, strict=True):
        axes.annotate(name[0].upper(), where, xytext=away, textcoords="offset points",
                      fontsize=9, color=color, fontweight="bold")  # fmt: skip


# --- heat --------------------------------------------------------------------------------

_PARTS = (
    ("respiration", "#f2c6a8", "////"),
    ("fans", "#8fb8d8", ""),
    ("field heat", "#d9d9d9", "xxxx"),
    ("walls and ceiling", "#ffffff", "----"),
    ("leaks", "#ffffff", "||||"),
    ("evaporation", "#cfe8d5", "\\\\\\\\"),
)


def _stack(axes: Any, names: list[str], parts: list[tuple[str, list[float], str, str]]) -> Any:
    """One column a name: gains pile up above zero, what cools below it."""
    up, down = np.zeros(len(names)), np.zeros(len(names))
    for part, values, color, hatch in parts:
        heat = np.asarray(values)
        axes.bar(names, heat, bottom=np.where(heat >= 0.0, up, down), width=0.5, facecolor=color,
                 edgecolor="#333333", hatch=hatch, lw=0.6, label=part)  # fmt: skip
        up, down = up + np.maximum(heat, 0.0), down + np.minimum(heat, 0.0)
    axes.axhline(0.0, color="black", lw=0.8)
    axes.set_xlim(-0.6, len(names) - 0.2)
    legend(axes, 6)
    return up, down


def _sum(axes: Any, place: int, total: float, words: str) -> None:
    axes.plot([place - 0.32, place + 0.32], [total, total], color="black", lw=2.2)
    axes.annotate(words, (place + 0.33, total), xytext=(3, -3), textcoords="offset points",
                  fontsize=9)  # fmt: skip


def heat_plot(balances: tuple[HeatBalance, ...]) -> Drawing:
    """Heat of each state by part: gains above, what cools below."""
    with drawing("heat", "Heat of the bay by part", 3.8) as sheet:
        axes = sheet.figure.add_subplot()
        parts = [
            (part, [balance.parts[part] / 1000.0 for balance in balances], color, hatch)
            for part, color, hatch in _PARTS
        ]
        up, down = _stack(axes, [balance.name for balance in balances], parts)
        for place, balance in enumerate(balances):
            total = balance.total / 1000.0
            _sum(axes, place, total, f"sum {total:,.0f} kW")
        axes.set_ylim(1.1 * down.min(), 1.3 * up.max())
        axes.set_ylabel("kW, sensible")
    return sheet


_COLD_PARTS = (
    ("respiration", "#f2c6a8", "////"),
    ("field heat", "#d9d9d9", "xxxx"),
    ("fans", "#8fb8d8", ""),
    ("envelope", "#ffffff", "----"),
    ("leakage", "#ffffff", "||||"),
    ("defrost", "#777777", "++"),
    ("fresh air", "#cfe8d5", "\\\\\\\\"),
)


def cold_plot(result: PileCheck, units: UnitSystem) -> Drawing:
    """Load of a warm day by part, and what the plant can do."""
    unit = "W refrigeration"

    def cold(value: Any) -> Any:
        return convert(value, unit, units)[0]

    checks = [result.check(key) for key in ("cold_fill", "cold_pull_down", "cold_holding")]
    heats = [{aside.name: aside.value for aside in check.asides} for check in checks]
    with drawing("cold", "Heat to remove on a warm day by part", 3.8) as sheet:
        axes = sheet.figure.add_subplot()
        parts = [
            (part, [float(cold(heat.get(part, 0.0))) for heat in heats], color, hatch)
            for part, color, hatch in _COLD_PARTS
            if any(part in heat for heat in heats)
        ]
        up, down = _stack(axes, ["fill", "pull-down", "holding"], parts)
        for place, heat in enumerate(heats):
            total = heat["all, mean of the day"]
            _sum(axes, place, float(cold(total)), f"sum {show(total, unit, units)}")
        able = RUNNING_SHARE * checks[0].limit
        top = float(up.max())
        if math.isfinite(able):
            axes.axhline(float(cold(able)), color=RED, lw=1.6, ls=(0, (5, 2)))
            note(axes, "the refrigeration plant, 20 h of 24", 2.3, float(cold(able)), 3)
            top = max(top, float(cold(able)))
        axes.set_ylim(1.1 * float(down.min()), 1.3 * top)
        axes.set_ylabel(shown_unit(unit, units).replace("_", " of "))
    return sheet
