"""A sizing as a page: sizes, working, loads, pressures, a season on outside air."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Any

import numpy as np

from ventcalc.bay.checks import bay_notes
from ventcalc.check.record import NO
from ventcalc.report import check_plots, size_plots
from ventcalc.report.alternatives import HEAD, REMARK, alternative_rows
from ventcalc.report.bay_picture import bay_picture
from ventcalc.report.check_page import air_rows, fan_rows
from ventcalc.report.equipment_bill import bill
from ventcalc.report.pages import Figure, Glance, Table, Verdict, one_line, page
from ventcalc.report.size_text import (
    by_subject,
    cells,
    fan_schedule,
    head_lines,
    refrigerants_line,
    shown_size,
    size_notes,
    working,
)
from ventcalc.sizing.alternatives import Alternatives
from ventcalc.sizing.size import CAUTIONS, OF_WEATHER, Sizing
from ventcalc.units import UnitSystem, reworded, show

__all__ = ["size_page"]

DAY = 86400.0
_CASES = {"filling": "last load in", "cool_down": "pull-down", "holding": "holding"}


def size_page(
    sizing: Sizing,
    units: UnitSystem = "metric",
    *,
    credit: Sequence[str] = (),
    found: Alternatives | None = None,
    not_compared: str = "",
    layout: str = "base.html",
) -> str:
    """The report of a sizing; ``not_compared`` is why, or how to have other airflows beside it."""
    result, days, notes = sizing.check, _daily(sizing), size_notes(sizing, units, found)
    return page(
        "size.html",
        layout,
        title=sizing.bay.name,
        lead=f"Sized for a {head_lines(sizing, units)[0].partition(': ')[2]}.",
        verdict=_verdict(sizing, units),
        glances=_glances(sizing, units),
        notes=[note for note in notes if not note.startswith(OF_WEATHER)],
        bill=bill(sizing.sized, units, _doors(sizing, units)),
        caution=one_line(CAUTIONS[0]),
        cautions=CAUTIONS,
        facts=[
            *head_lines(sizing, units)[1:],
            *(note for note in notes if note.startswith(OF_WEATHER)),
            *([sizing.bay.notes] if sizing.bay.notes else []),
            *credit,
            *(
                f"Note on the sized bay: {reworded(remark, units)}"
                for remark in bay_notes(sizing.sized)
            ),
        ],
        sizes=_sizes(sizing, units),
        bay=Figure(bay_picture(sizing.sized, units=units), [_duct_rows(sizing, units)]),
        schedule=fan_schedule(sizing, units),
        fans=Figure(check_plots.fan_plot(result, units), [fan_rows(result, units)]),
        air=Figure(check_plots.psychrometric_plot(result, units), [air_rows(result, units)]),
        pressure=_pressure(sizing, units),
        loads=_loads(sizing, units),
        alone=Figure(size_plots.alone_plot(days, units), [_month_rows(days, units)]),
        alone_verdict=sizing.alone.verdict,
        compared=alternative_rows(found, units) if found else [],
        compared_head=HEAD,
        compared_remark=" ".join([*found.left_out, REMARK] if found else []),
        not_compared=not_compared,
        costs=_cost_rows(sizing),
        refrigerants=refrigerants_line(sizing),
        workings=[
            (subject.capitalize(), [working(one, units) for one in some])
            for subject, some in by_subject(sizing.sizes)
        ],
    )


def _verdict(sizing: Sizing, units: UnitSystem) -> Verdict:
    """Whether the sized bay passes its checks, and whether outside air alone is enough."""
    failing = [check.name for check in sizing.check.checks if check.verdict == NO]
    alone = f"Outside air alone is {sizing.alone.verdict} in this weather"
    plant = "needed" if sizing.refrigeration_needed else "optional"
    end = f"{alone}; refrigeration is {plant}."
    if failing:
        return Verdict("bad", "The sized bay fails:", f"{'; '.join(failing)}. {end}")
    return Verdict("good", "The sized bay passes every check that can be judged.", end)


def _glances(sizing: Sizing, units: UnitSystem) -> list[Glance]:
    air, bay = sizing.air, sizing.sized
    target = show(air.airflow_per_tonne, "m3/(s t)", units)
    cold = bay.refrigeration
    capacity = "none" if cold is None else show(cold.capacity, "W refrigeration", units)
    evaporating, condensing = (
        show(sizing[f"refrigeration_{end}"].value, "degC", units)
        for end in ("evaporating", "condensing")
    )
    point = f"at {evaporating} evaporating, {condensing} condensing"
    return [
        Glance("Airflow of all fans", show(bay.fans.airflow, "m3/s", units), f"{target} of crop"),
        Glance("Static pressure", show(bay.fans.static_pressure, "Pa", units),
               f"{bay.fans.count} fans on ducts, doors and pile"),
        Glance("Refrigeration", capacity,
               f"outside air alone is {sizing.alone.verdict}" if cold is None else point),
        Glance("Crop in a full pile", show(bay.pile.capacity, "kg", units),
               f"pile {show(bay.pile.height, 'm', units)} high"),
    ]  # fmt: skip


def _doors(sizing: Sizing, units: UnitSystem) -> str:
    return f"{show(sizing.air.door_area, 'm2', units)} open area of each"


def _sizes(sizing: Sizing, units: UnitSystem) -> Table:
    """Sizes under the heading of their subject."""
    rows: list[Sequence[str]] = [["What", "Size", "Margin", "Bay now"]]
    for subject, sizes in by_subject(sizing.sizes):
        rows.append([subject.capitalize()])
        rows += [cells(one, units, sizing.bay.costs.currency) for one in sizes]
    return rows


def _duct_rows(sizing: Sizing, units: UnitSystem) -> Table:
    made = sizing.air
    width, height, apart, length = (
        show(size, "m", units)
        for size in (
            made.plenum_width, made.plenum_height, made.lateral_spacing, made.lateral_length
        )
    )  # fmt: skip
    return [
        ["Part", "Size"],
        ["plenum, width x height", f"{width} x {height}"],
        ["laterals", f"{made.laterals}, {apart} apart"],
        ["a lateral, length", length],
        ["a lateral, diameter", show(made.lateral_diameter, "m small", units)],
        ["port positions on a lateral", f"{made.ports}"],
    ]


def _pressure(sizing: Sizing, units: UnitSystem) -> Figure:
    parts, total = sizing.air.pressure_parts, sizing.air.static_pressure
    rows = [
        [name, show(value, "Pa", units), f"{value / total:.0%}"]
        for name, value in {**parts, "all": total}.items()
    ]
    return Figure(size_plots.pressure_plot(parts, units), [[["Part", "Pressure", "Share"], *rows]])


def _loads(sizing: Sizing, units: UnitSystem) -> Figure:
    cases = {f"{_CASES[k]}, {case.day.date}": case.load for k, case in sizing.cooling.cases.items()}
    loads = list(cases.values())
    parts = {
        name.replace("_", " "): [
            float(load.parts[name].sensible + load.parts[name].latent) for load in loads
        ]
        for name in loads[0].parts
    }
    parts = {name: heat for name, heat in parts.items() if any(abs(watts) > 1.0 for watts in heat)}
    lines = {
        **parts,
        "all": [load.total for load in loads],
        "of it sensible": [load.sensible for load in loads],
        "of it latent": [load.latent for load in loads],
        "capacity to install": [load.capacity for load in loads],
    }
    rows = [
        [name, *(show(float(watts), "W refrigeration", units) for watts in heat)]
        for name, heat in lines.items()
    ]
    names = [_CASES[name] for name in sizing.cooling.cases]
    return Figure(size_plots.load_plot(names, parts, units), [[["Part", *cases], *rows]])


# --- outside air -------------------------------------------------------------------------


def _daily(sizing: Sizing) -> dict[str, Any]:
    """Whole days from the first load to the first truck."""
    states, alone = sizing.states, sizing.alone
    size = round(DAY / states.step)
    whole = int(np.count_nonzero(states.stage < 5)) // size
    hours = states.step / 3600.0

    def days(values: Any) -> Any:
        return np.asarray(values)[: whole * size].reshape(whole, size)

    # A year that is not a leap year stands for all: the axis shows months only.
    month, day = (int(part) for part in sizing.bay.schedule.fill_start.split("-"))
    start = datetime(2001, month, day)
    cold = states.temperature < states.target - sizing.bay.control.outside_offset
    return {
        "dates": [start + timedelta(days=k) for k in range(whole)],
        "low": days(alone.outside_temperature).min(axis=1),
        "high": days(alone.outside_temperature).max(axis=1),
        "target": days(states.target).mean(axis=1),
        "pulp": days(alone.pulp).mean(axis=1),
        "hours": days(alone.used).sum(axis=1) * hours,
        "cold": np.count_nonzero(days(cold), axis=1) * hours,
    }


def _month_rows(days: dict[str, Any], units: UnitSystem) -> Table:
    names = np.array([f"{date:%b}" for date in days["dates"]])
    rows = []
    for name in dict.fromkeys(names.tolist()):
        here = names == name
        plan, pile = days["target"][here], days["pulp"][here]
        rows.append(
            [
                name,
                show(float(plan.mean()), "degC", units),
                show(float(pile.mean()), "degC", units),
                show(float((pile - plan).max()), "delta_degC", units),
                f"{days['cold'][here].sum():.0f}",
                f"{days['hours'][here].sum():.0f}",
            ]
        )
    head = [
        "Month",
        "plan",
        "pile",
        "most above plan",
        "hours cold enough",
        "fan hours, full speed",
    ]
    return [head, *rows]


def _cost_rows(sizing: Sizing) -> Table:
    currency = sizing.bay.costs.currency
    ways = (sizing.cost.outside_air, sizing.cost.refrigeration)

    def prices(name: str) -> list[str]:
        return [shown_size(getattr(way, name), "money/J", "metric", currency) for way in ways]

    return [
        ["Per kWh of cooling", "outside air", "refrigeration"],
        ["electricity", *prices("energy_cost")],
        ["shrink by evaporation", *prices("water_cost")],
        ["both", *prices("total_cost")],
        [
            "cooling per electrical energy",
            *(f"{way.cooling / way.power:.1f}" if way.power else "-" for way in ways),
        ],
        ["hours counted", *(f"{way.hours:.0f}" for way in ways)],
    ]
