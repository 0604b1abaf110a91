"""A sizing as one self-contained HTML page: sizes, working, loads, pressures, a season's plot."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Any

import numpy as np

from ventcalc import __version__
from ventcalc.bay.checks import bay_notes
from ventcalc.report import check_plots as check_plots
from ventcalc.report.drawing import BLUE, GREY, RED, drawing, legend, need_matplotlib
from ventcalc.report.html import escaped, html_list, html_page, html_table
from ventcalc.report.size_text import by_subject, cells, head_lines, plants, shown_size, working
from ventcalc.sizing.size import CAUTIONS, Sizing
from ventcalc.units import UnitSystem, convert, show, shown_unit

__all__ = ["size_page"]

DAY = 86400.0
_HATCHES = ("", "////", "....", "xxxx", "\\\\\\\\", "++++", "----", "oooo", "||||", "**")
_SHADES = (
    "#0072B2",
    "#E69F00",
    "#56B4E9",
    "#D55E00",
    "#009E73",
    "#CC79A7",
    "#F0E442",
    "#999999",
    "#dddddd",
    "#ffffff",
)
_CASES = {"filling": "last load in", "cool_down": "pull-down", "holding": "holding"}


def size_page(sizing: Sizing, units: UnitSystem = "metric", *, credit: Sequence[str] = ()) -> str:
    """
    The report of a sizing.

    Parameters
    ----------
    sizing : Sizing
        The sizing.
    units : {"metric", "us"}
        Units of tables and plots.
    credit : sequence of str
        Licence and credit of the weather data, and what it is not good for.

    Returns
    -------
    str
        HTML.

    Raises
    ------
    VentcalcError
        If matplotlib is not installed.
    """
    facts = [
        *head_lines(sizing, units),
        *([sizing.bay.notes] if sizing.bay.notes else []),
        *credit,
        *sizing.notes,
        *(f"Remark on the sized bay: {remark}" for remark in bay_notes(sizing.sized)),
        f"Made with ventcalc {__version__}.",
    ]
    return html_page(
        f"Sizes of a bay: {sizing.bay.name}",
        [
            "<p>How large everything in this bay must be, for the full pile and this weather. "
            "Figures for an engineer to check and sign.</p>" + html_list(facts),
            f'<section class="caution"><h2>Cautions</h2>{html_list(CAUTIONS)}</section>',
            _tables(sizing, units),
            *_sized_bay(sizing, units),
            _pressures(sizing, units),
            _loads(sizing, units),
            _season(sizing, units),
            _costs(sizing),
            _workings(sizing, units),
        ],
    )


def _tables(sizing: Sizing, units: UnitSystem) -> str:
    rows: list[Sequence[str]] = []
    for subject, sizes in by_subject(sizing.sizes):
        rows.append([subject.capitalize(), "", "", ""])
        rows += [cells(one, units, sizing.bay.costs.currency) for one in sizes]
    head = ["What", "size", "margin", "bay now"]
    words = "Margin: over the limit or the bare need, positive is safe. Bay now: in the bay file."
    return f"<section><h2>Sizes</h2>{html_table(head, rows, words)}</section>"


def _workings(sizing: Sizing, units: UnitSystem) -> str:
    parts = [
        f"<h3>{escaped(subject.capitalize())}</h3>"
        + html_list(f"{one.name}: {working(one, units)}" for one in sizes)
        for subject, sizes in by_subject(sizing.sizes)
    ]
    return "<section><h2>Working</h2>" + "".join(parts) + "</section>"


def _figure(title: str, words: str, svg: str, table: str) -> str:
    return (
        f"<section><h2>{escaped(title)}</h2><p>{escaped(words)}</p>"
        f"<figure>{svg}</figure>{table}</section>"
    )


def _sized_bay(sizing: Sizing, units: UnitSystem) -> list[str]:
    """Plan and section, fans on their system, and the air, all of the sized bay."""
    result, made = sizing.check, sizing.air
    sides = (
        "Plan and section of the sized bay, to scale: pile, plenum, and the laterals under the "
        "pile. An outline for talking about the bay, not for building it."
    )
    laterals = [
        ["plenum, width x height", _pair(made.plenum_width, made.plenum_height, units)],
        ["laterals", f"{made.laterals}, {show(made.lateral_spacing, 'm', units)} apart"],
        ["a lateral, length", show(made.lateral_length, "m", units)],
        ["a lateral, diameter", show(made.lateral_diameter, "m small", units)],
        ["places with ports on a lateral", f"{made.ports}"],
    ]
    fans = (
        "All fans of the sized bay against its ducts, pile and all else, in the air of the site. "
        "The fan curve is assumed about the one point that was sized: put the maker's in its place."
    )
    point = result.system.point
    working_point = [
        ["airflow", show(float(result.system.airflow), "m3/s", units)],
        ["static pressure", show(float(point.static_pressure), "Pa", units)],
        ["electrical power", show(float(result.system.electrical_power), "W electrical", units)],
    ]
    moist = (
        "The air of the sized bay: outside and return air mix, the humidifier brings the mixture "
        "to the supply, the pile warms and wets it to the return."
    )
    points = [
        [f"{state.name}: {name}", show(temperature, "degC", units), show(water, "kg/kg", units)]
        for k, state in enumerate(result.states)
        for name, temperature, water in check_plots.process_points(result, k)
    ]
    return [
        _figure(
            "The bay to scale",
            sides,
            check_plots.bay_drawing(result, units, sides),
            html_table(["", ""], laterals, "Ducts of the sized bay"),
        ),
        _figure(
            "Fans and system",
            fans,
            check_plots.fan_plot(result, units, fans),
            html_table(["", ""], working_point, "Where the curves cross"),
        ),
        _figure(
            "Moist air",
            moist,
            check_plots.psychrometric_plot(result, units, moist),
            html_table(["air", "dry bulb", "humidity ratio, per dry air"], points, "Its points"),
        ),
    ]


def _pair(width: float, height: float, units: UnitSystem) -> str:
    return f"{show(width, 'm', units)} x {show(height, 'm', units)}"


# --- pressure ----------------------------------------------------------------------------


def _pressures(sizing: Sizing, units: UnitSystem) -> str:
    words = (
        "Static pressure that each part on the way of the air takes at full speed, in the order "
        "in which the air meets them. The clean pile takes next to nothing: doors, ports and "
        "humidifier do."
    )
    parts = sizing.air.pressure_parts
    values = [float(convert(value, "Pa", units)[0]) for value in parts.values()]
    with drawing("pressure", "Static pressure by part", words, 2.9) as sheet:
        axes = sheet.figure.add_subplot()
        _bars(axes, list(parts), values, [show(value, "Pa", units) for value in parts.values()])
        axes.set_xlabel(f"static pressure, {shown_unit('Pa', units)}")
    rows = [
        [name, show(value, "Pa", units), f"{value / sizing.air.static_pressure:.0%}"]
        for name, value in parts.items()
    ]
    rows.append(["all", show(sizing.air.static_pressure, "Pa", units), "100%"])
    return _figure(
        "Pressure", words, sheet.svg, html_table(["", "pressure", "part"], rows, "Pressure by part")
    )


def _bars(axes: Any, names: Sequence[str], values: Sequence[float], texts: Sequence[str]) -> None:
    places = np.arange(len(names))
    axes.barh(places, values, color="#cfd8dc", edgecolor="black", lw=0.8, height=0.65)
    axes.set_yticks(places, names)
    axes.invert_yaxis()
    axes.grid(False, axis="y")
    for place, value, text in zip(places, values, texts, strict=True):
        axes.annotate(
            text, (max(value, 0.0), place), xytext=(5, 0), textcoords="offset points", va="center"
        )
    axes.margins(x=0.14)


# --- loads -------------------------------------------------------------------------------


def _loads(sizing: Sizing, units: UnitSystem) -> str:
    words = (
        "What refrigeration would have to take out on a warm day of each stage, with no help from "
        "outside air; parts below zero cool. Evaporation moves heat from sensible to latent and "
        "adds nothing to the sum."
    )
    cases, unit = sizing.cooling.cases, "W refrigeration"
    names = [
        name
        for name in next(iter(cases.values())).load.parts
        if any(abs(_both(case.load.parts[name])) > 1.0 for case in cases.values())
    ]
    with drawing("loads", "Refrigeration load by part", words, 3.2) as sheet:
        axes = sheet.figure.add_subplot()
        _stacks(axes, cases, names, units)
        axes.set_xlabel(f"heat, {shown_unit(unit, units).replace('_', ' of ')}")
    table = [
        [
            name.replace("_", " "),
            *(show(_both(c.load.parts[name]), unit, units) for c in cases.values()),
        ]
        for name in names
    ]
    for title, attribute in (
        ("all", "total"), ("of it sensible", "sensible"), ("of it latent", "latent"),
        ("capacity to install", "capacity"),
    ):  # fmt: skip
        table.append(
            [title, *(show(float(getattr(c.load, attribute)), unit, units) for c in cases.values())]
        )
    head = ["", *(f"{_CASES[name]}, {case.day.date}" for name, case in cases.items())]
    caption = "Load by part; capacity counts the hours a day it may run and the reserve"
    return _figure("Refrigeration load", words, sheet.svg, html_table(head, table, caption))


def _both(part: Any) -> float:
    return float(part.sensible + part.latent)


def _stacks(axes: Any, cases: Any, names: Sequence[str], units: UnitSystem) -> None:
    """One bar a case; what cools grows to the left of zero."""
    places = np.arange(len(cases))
    up, down = np.zeros(len(cases)), np.zeros(len(cases))
    for k, name in enumerate(names):
        parts = [_both(case.load.parts[name]) for case in cases.values()]
        width = np.asarray(convert(parts, "W refrigeration", units)[0])
        left = np.where(width >= 0.0, up, down)
        axes.barh(
            places, width, left=left, height=0.6, color=_SHADES[k], edgecolor="black", lw=0.7,
            hatch=_HATCHES[k], label=name.replace("_", " "),
        )  # fmt: skip
        up, down = up + np.maximum(width, 0.0), down + np.minimum(width, 0.0)
    axes.axvline(0.0, color="black", lw=0.9)
    axes.set_yticks(places, [_CASES[name] for name in cases])
    axes.invert_yaxis()
    axes.grid(False, axis="y")
    axes.legend(loc="lower right", ncols=2, fontsize=9, handlelength=2.6, frameon=True)


# --- outside air -------------------------------------------------------------------------


def _season(sizing: Sizing, units: UnitSystem) -> str:
    words = (
        "The pile on outside air alone, fans at full speed whenever it is cold enough, against "
        "the plan. A pile of one temperature: an indication. Grey is the range of each day outside."
    )
    days = _daily(sizing)
    with drawing("season", "The pile on outside air alone", words, 3.6) as sheet:
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
        _months(axes)
        legend(axes, 4)
    return _figure("Outside air alone", words, sheet.svg, _by_month(days, sizing, units))


def _daily(sizing: Sizing) -> dict[str, Any]:
    """Whole days from the first load to the first truck."""
    states, alone = sizing.states, sizing.alone
    size = round(DAY / states.step)
    whole = int(np.count_nonzero(states.stage < 5)) // size

    def days(values: Any) -> Any:
        return np.asarray(values)[: whole * size].reshape(whole, size)

    # A year that is not a leap year stands for all: the axis shows months only.
    month, day = (int(part) for part in sizing.bay.schedule.fill_start.split("-"))
    start = datetime(2001, month, day)
    return {
        "dates": [start + timedelta(days=k) for k in range(whole)],
        "low": days(alone.outside_temperature).min(axis=1),
        "high": days(alone.outside_temperature).max(axis=1),
        "target": days(states.target).mean(axis=1),
        "pulp": days(alone.pulp).mean(axis=1),
        "hours": days(alone.used).sum(axis=1) * states.step / 3600.0,
        "cold": np.count_nonzero(
            days(states.temperature < states.target - sizing.bay.control.outside_offset), axis=1
        )
        * states.step
        / 3600.0,
    }


def _months(axes: Any) -> None:
    dates = need_matplotlib().dates
    axes.xaxis.set_major_locator(dates.MonthLocator())
    axes.xaxis.set_major_formatter(dates.DateFormatter("%b"))
    axes.spines["bottom"].set_color(GREY)


def _by_month(days: dict[str, Any], sizing: Sizing, units: UnitSystem) -> str:
    keys = [date.strftime("%Y-%m") for date in days["dates"]]
    rows = []
    for key in dict.fromkeys(keys):
        here = np.array([one == key for one in keys])
        rows.append(
            [
                datetime.strptime(key, "%Y-%m").strftime("%b"),
                show(float(days["target"][here].mean()), "degC", units),
                show(float(days["pulp"][here].mean()), "degC", units),
                show(float((days["pulp"] - days["target"])[here].max()), "delta_degC", units),
                f"{days['cold'][here].sum():.0f}",
                f"{days['hours'][here].sum():.0f}",
            ]
        )
    head = ["Month", "plan", "pile", "most above plan", "hours cold enough", "hours of full fans"]
    caption = f"By month: outside air alone is {sizing.alone.verdict}"
    return html_table(head, rows, caption)


def _costs(sizing: Sizing) -> str:
    currency = sizing.bay.costs.currency
    ways = (sizing.cost.outside_air, sizing.cost.refrigeration)
    rows = [
        [title, *(shown_size(getattr(way, name), "money/J", "metric", currency) for way in ways)]
        for title, name in (
            ("electricity", "energy_cost"),
            ("crop that evaporates", "water_cost"),
            ("both", "total_cost"),
        )
    ]
    rows.append(
        [
            "cooling per electricity",
            *(f"{w.cooling / w.power:.1f}" if w.power else "-" for w in ways),
        ]
    )
    rows.append(["hours counted", *(f"{way.hours:.0f}" for way in ways)])
    caption = "Running cost of a kWh of cooling in the autumn, fans at full speed"
    table = html_table(["", "outside air", "refrigeration"], rows, caption)
    words = (
        f"Plants at the temperatures of the design day, cooling per electrical power: "
        f"{plants(sizing)}"
    )
    return f"<section><h2>Cost of cooling</h2>{table}<p>{escaped(words)}</p></section>"
