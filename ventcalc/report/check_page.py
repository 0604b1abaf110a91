"""A pile check as a page: table, drawings to scale, plots."""

from __future__ import annotations

import math
from typing import Any

from ventcalc.check.airflow import standard_pressure
from ventcalc.check.check import PileCheck
from ventcalc.check.heat_balance import HeatBalance, heat_balances
from ventcalc.check.record import MARGINAL, NO
from ventcalc.report import check_plots as plots
from ventcalc.report.bay_picture import bay_picture
from ventcalc.report.check_summary import ASSUMED, CAUTION_LINE, check_glances, check_verdict
from ventcalc.report.check_text import (
    CHECK_CAUTIONS,
    SWEEP_WORDS,
    capacity_line,
    check_cells,
    cold_rows,
    findings,
    numbered_sources,
    sweep_tables,
    wall_rows,
)
from ventcalc.report.equipment_bill import bill
from ventcalc.report.pages import Figure, Table, page
from ventcalc.units import UnitSystem, reworded, show

__all__ = ["air_rows", "bay_figure", "check_page", "fan_rows"]


def check_page(result: PileCheck, rounds: PileCheck, units: UnitSystem = "metric") -> str:
    """The report of a pile check."""
    bay = result.bay
    return page(
        "check.html",
        title=bay.name,
        lead=capacity_line(result, units),
        verdict=check_verdict(result, units),
        glances=check_glances(result, units),
        bay=bay_figure(result, units),
        bill=bill(bay, units),
        findings=[line[:1].upper() + line[1:] for line in findings(result, units)],
        caution=CAUTION_LINE,
        cautions=CHECK_CAUTIONS,
        facts=[*([bay.notes] if bay.notes else []), ASSUMED],
        **_checks(result, units),
        heights=Figure(plots.reach_plot(result, units), sweep_tables(rounds, units)),
        sweep_words=SWEEP_WORDS,
        walls=result.walls,
        wall_rows=[
            ["Method", "Pressure at the foot", "Thrust per length", "Moment per length"],
            *wall_rows(result, units),
        ],
        fans=Figure(plots.fan_plot(result, units), [fan_rows(result, units)]),
        curve_assumed=result.system.curve_assumed,
        **_air_and_heat(result, units),
    )


def _checks(result: PileCheck, units: UnitSystem) -> dict[str, Any]:
    numbers, sources = numbered_sources(result, units)
    rows = [["Check", "Verdict", "Value", "Limit", "Margin", "Source"]]
    working = [["Check and formula in words", "Uncertainty"]]
    beside = [["Figure", "Value"]]
    for check, number in zip(result.checks, numbers, strict=True):
        name, value, limit, margin, verdict = check_cells(check, units)
        rows.append([name, verdict, value, limit, margin, number])
        doubt = show(check.uncertainty, check.unit, units) if check.uncertainty > 0.0 else "-"
        working.append([f"{check.name}: {reworded(check.formula, units)}", doubt])
        beside += [
            [
                f"{check.name}: {reworded(aside.name, units)}",
                show(aside.value, aside.unit, units),
            ]
            for aside in check.asides
            if not check.key.startswith(("wall_", "cold_"))
        ]
    return {
        "checks": rows,
        "to_mind": (MARGINAL, NO),
        "sources": sources,
        "working": working,
        "beside": beside,
    }


def bay_figure(result: PileCheck, units: UnitSystem, name: str = "bay") -> Figure:
    """The bay to scale at the height that was asked, and its sizes as a table."""
    drawn = bay_picture(result.bay, result.height, units, highest=result.highest, name=name)
    return Figure(drawn, [_bay_rows(result, units)])


def _bay_rows(result: PileCheck, units: UnitSystem) -> Table:
    bay, pile, ducts = result.bay, result.bay.pile, result.bay.ducts

    def metres(*lengths: float) -> str:
        return " x ".join(show(length, "m", units) for length in lengths)

    rows = [
        ["Part", "Size"],
        ["Pile floor", metres(pile.length, pile.width)],
        ["Pile depth", metres(result.height)],
        ["Fans", f"{bay.fans.count}, {show(bay.fans.airflow, 'm3/s', units)} rated"],
    ]
    if ducts is None:
        return rows
    size, port = (
        show(ducts.lateral_diameter, "m small", units),
        show(ducts.port_area, "m2 small", units),
    )
    shape = ducts.lateral_shape.replace("_", " ")
    return [
        *rows,
        ["Plenum", metres(ducts.plenum_width, ducts.plenum_height)],
        ["Laterals", f"{ducts.laterals}, {shape}, {size}, {metres(ducts.lateral_length)} long"],
        ["Ports on a lateral", f"{ducts.ports} places of {port}"],
    ]


def fan_rows(result: PileCheck, units: UnitSystem) -> Table:
    """What the fans do where their curve meets ducts and pile."""
    system = result.system
    return [
        ["At the operating point", "Value"],
        ["Airflow", show(system.airflow, "m3/s", units)],
        ["Static pressure, air of the site", show(system.point.static_pressure, "Pa", units)],
        [
            reworded("the same in air of 1.2 kg/m3", units),
            show(standard_pressure(system), "Pa", units),
        ],
        ["of it: laterals and ports", show(system.duct_pressure, "Pa", units)],
        ["of it: pile with its soil", show(system.pile_pressure, "Pa", units)],
        ["of it: doors, humidifier, turns", show(system.other_pressure, "Pa", units)],
        ["Density of the air", show(system.density, "kg/m3 air", units)],
        ["Electrical power", show(system.electrical_power, "W electrical", units)],
    ]


def air_rows(result: PileCheck, units: UnitSystem) -> Table:
    """Dry bulb and humidity ratio of the air on its way, for each state."""
    rows = [
        [f"{state.name}: {name}", show(temperature, "degC", units), show(water, "kg/kg", units)]
        for k, state in enumerate(result.states)
        for name, temperature, water in plots.process_points(result, k)
    ]
    return [["Air", "Dry bulb", "Humidity ratio, per dry air"], *rows]


def _air_and_heat(result: PileCheck, units: UnitSystem) -> dict[str, Any]:
    """Nothing where the airflow is not known."""
    if math.isnan(result.system.airflow):
        return {"air": None}
    balances = heat_balances(result)
    cold = [["Part", "Fill", "Pull-down", "Holding"], *cold_rows(result, units)]
    return {
        "air": Figure(plots.psychrometric_plot(result, units), [air_rows(result, units)]),
        "heat": Figure(plots.heat_plot(balances), [_heat_rows(balances)]),
        "cold": Figure(plots.cold_plot(result, units), [cold]),
        "plant": result.bay.refrigeration is not None,
    }


def _heat_rows(balances: tuple[HeatBalance, ...]) -> Table:
    rows = [
        [part, *(f"{balance.parts[part] / 1000.0:,.1f}" for balance in balances)]
        for part in balances[0].parts
    ]
    total = ["sum", *(f"{balance.total / 1000.0:,.1f}" for balance in balances)]
    return [["Part, kW", *(balance.name for balance in balances)], *rows, total]
