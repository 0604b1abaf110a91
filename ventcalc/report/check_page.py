"""A pile check as one self-contained HTML page."""

from __future__ import annotations

import math

from ventcalc import __version__
from ventcalc.check.check import PileCheck
from ventcalc.check.heat_balance import HeatBalance, heat_balances
from ventcalc.check.record import MARGINAL, NO
from ventcalc.report import check_plots as plots
from ventcalc.report.check_text import (
    CHECK_CAUTIONS,
    SWEEP_WORDS,
    capacity_line,
    check_cells,
    cold_rows,
    findings,
    headline,
    numbered_sources,
    sweep_tables,
    wall_rows,
)
from ventcalc.report.html import escaped, html_list, html_page, html_table
from ventcalc.units import UnitSystem, show

__all__ = ["check_page"]


def check_page(
    result: PileCheck, sweep: PileCheck, rounds: PileCheck, units: UnitSystem = "metric"
) -> str:
    """
    The report of a pile check.

    Parameters
    ----------
    result : PileCheck
        Of one height.
    sweep : PileCheck
        Of the heights to plot.
    rounds : PileCheck
        Of the round heights to tabulate.
    units : {"metric", "us"}
        Units of tables and plots.

    Returns
    -------
    str
        HTML.

    Raises
    ------
    VentcalcError
        If matplotlib is not installed.
    """
    return html_page(
        f"Before fill: {result.bay.name}",
        [
            _summary(result, units),
            f'<section class="caution"><h2>Cautions</h2>{html_list(CHECK_CAUTIONS)}</section>',
            _checks(result, units),
            _bay(result, units),
            _sweep(result, sweep, rounds, units),
            _walls(result, units),
            _fans(result, units),
            *_air_and_heat(result, units),
        ],
    )


def _summary(result: PileCheck, units: UnitSystem) -> str:
    bay = result.bay
    facts = [
        capacity_line(result, units),
        *findings(result, units),
        *([bay.notes] if bay.notes else []),
        f"Made with ventcalc {__version__}.",
    ]
    question = f"May the bay be filled to {show(result.height, 'm', units)}?"
    answer = headline(result, units)
    return f"<p><b>{escaped(question)}</b> {escaped(answer)}</p>{html_list(facts)}"


def _checks(result: PileCheck, units: UnitSystem) -> str:
    numbers, sources = numbered_sources(result)
    rows, working, beside = [], [], []
    for check, number in zip(result.checks, numbers, strict=True):
        name, value, limit, margin, verdict = check_cells(check, units)
        rows.append([name, verdict, value, limit, margin, number])
        doubt = show(check.uncertainty, check.unit, units) if check.uncertainty > 0.0 else "-"
        working.append([f"{check.name}: {check.formula}", doubt])
        beside += [
            [f"{check.name}: {aside.name}", show(aside.value, aside.unit, units)]
            for aside in check.asides
            if not check.key.startswith(("wall_", "cold_"))
        ]
    listed = "".join(f"<li>{escaped(source)}</li>" for source in sources)
    head = ["Check", "Verdict", "Value", "Limit", "Margin", "Source"]
    caption = (
        "A margin smaller than its uncertainty (±) is marginal; without a limit nothing can be said"
    )
    return (
        "<section><h2>The checks</h2>"
        + _stressed(html_table(head, rows, caption))
        + f"<h3>Sources</h3><ol>{listed}</ol>"
        + html_table(["Check and formula in words", "Uncertainty"], working, "How it was found")
        + html_table(["Figure", "Value"], beside, "Figures behind the checks")
        + "</section>"
    )


def _stressed(table: str) -> str:
    """The table with the verdicts to mind in bold."""
    for verdict in (MARGINAL, NO):
        table = table.replace(f"<td>{verdict}</td>", f"<td><b>{verdict}</b></td>")
    return table


def _figure(title: str, words: str, svg: str, *tables: str) -> str:
    return (
        f"<section><h2>{escaped(title)}</h2><p>{escaped(words)}</p><figure>{svg}</figure>"
        + "".join(tables)
        + "</section>"
    )


def _bay(result: PileCheck, units: UnitSystem) -> str:
    bay, pile, ducts = result.bay, result.bay.pile, result.bay.ducts
    words = (
        "Plan and section to scale: the pile (rings), the plenum (dots), the laterals under the "
        "pile, walls as thick lines. An outline for talking about the bay, not for building it."
    )
    rows = [
        ["Pile floor", f"{show(pile.length, 'm', units)} x {show(pile.width, 'm', units)}"],
        ["Depth of the pile", show(result.height, "m", units)],
        ["Fans", f"{bay.fans.count}, {show(bay.fans.airflow, 'm3/s', units)} rated"],
    ]
    if ducts is not None:
        size = show(ducts.lateral_diameter, "m small", units)
        section = (
            f"{show(ducts.plenum_width, 'm', units)} x {show(ducts.plenum_height, 'm', units)}"
        )
        rows += [
            ["Plenum", section],
            [
                "Laterals",
                f"{ducts.laterals}, {ducts.lateral_shape.replace('_', ' ')}, {size}, "
                f"{show(ducts.lateral_length, 'm', units)} long",
            ],
            [
                "Ports on a lateral",
                f"{ducts.ports} places of {show(ducts.port_area, 'm2 small', units)}",
            ],
        ]
    table = html_table(["", ""], rows, "The bay")
    return _figure("The bay", words, plots.bay_drawing(result, units, words), table)


def _sweep(result: PileCheck, sweep: PileCheck, rounds: PileCheck, units: UnitSystem) -> str:
    words = (
        "Margin of each check over its limit, by the height to which the bay is filled level. "
        "Below zero (crossed) the limit is passed. The wall is not among the lines: no limit of "
        "it is known here."
    )
    tables = [html_table(head, rows, SWEEP_WORDS) for head, *rows in sweep_tables(rounds, units)]
    return _figure("Heights", words, plots.sweep_plot(result, sweep, units, words), *tables)


def _walls(result: PileCheck, units: UnitSystem) -> str:
    head = ["Method", "Pressure at the foot", "Thrust per length", "Moment per length"]
    table = html_table(
        head, wall_rows(result, units), "The same wall by every method, level pile, no surcharge"
    )
    return (
        "<section><h2>Load on the walls</h2><p>"
        + escaped(
            f"Silo ratio over Rankine: a factor of {result.walls.spread:.2f}. A wall that passes "
            f"by one method and fails by another has not passed. This is {result.walls.note}."
        )
        + f"</p>{table}</section>"
    )


def _fans(result: PileCheck, units: UnitSystem) -> str:
    system = result.system
    words = (
        "All fans together in the air of the site, against ducts, pile and all else. Where the "
        "curves cross is what the pile gets."
    )
    if system.curve_assumed:
        words += " The fan curve is assumed about the rated point: give the maker's points."
    rows = [
        ["Airflow", show(system.airflow, "m3/s", units)],
        ["Static pressure", show(system.point.static_pressure, "Pa", units)],
        ["of it: laterals and ports", show(system.duct_pressure, "Pa", units)],
        ["of it: pile with its soil", show(system.pile_pressure, "Pa", units)],
        ["of it: doors, humidifier, turns", show(system.other_pressure, "Pa", units)],
        ["Density of the air", show(system.density, "kg/m3 air", units)],
        ["Electrical power", show(system.electrical_power, "W electrical", units)],
    ]
    table = html_table(["", ""], rows, "The operating point")
    return _figure("Fans and system", words, plots.fan_plot(result, units, words), table)


def _air_and_heat(result: PileCheck, units: UnitSystem) -> list[str]:
    if math.isnan(result.system.airflow):
        said = (
            "Moist air, heat and refrigeration are not drawn: the airflow of the fans is not known."
        )
        return [f"<p>{escaped(said)}</p>"]
    return [_air(result, units), _heat(heat_balances(result)), _cold(result, units)]


def _air(result: PileCheck, units: UnitSystem) -> str:
    words = (
        "Where the air stands on its way: outside and return air mix (dashed), the humidifier "
        "brings the mixture to the supply, the pile warms and wets it to the return (drawn "
        "through). Fill while the loads are cooled, and the design winter."
    )
    rows = []
    for k, state in enumerate(result.states):
        for name, temperature, water in plots.process_points(result, k):
            rows.append(
                [
                    f"{state.name}: {name}",
                    show(temperature, "degC", units),
                    show(water, "kg/kg", units),
                ]
            )
    head = ["Air", "Dry bulb", "Humidity ratio, per dry air"]
    table = html_table(head, rows, "The points of the chart, and those of wound healing")
    return _figure("Moist air", words, plots.psychrometric_plot(result, units, words), table)


def _heat(balances: tuple[HeatBalance, ...]) -> str:
    words = (
        "Sensible heat at the design states with fans at full speed: what warms the air above "
        "zero, what cools it below; the bar across is what colder outside air must carry off. The "
        "field heat of the planned ramp is counted with wound healing, at its end. Refrigeration "
        "has more to do, as the next figure shows: its day is warm, and its coil takes the "
        "evaporated water out of the air again."
    )
    head = ["Part, kW", *(balance.name for balance in balances)]
    rows = [
        [part, *(f"{balance.parts[part] / 1000.0:,.1f}" for balance in balances)]
        for part in balances[0].parts
    ]
    rows.append(["sum", *(f"{balance.total / 1000.0:,.1f}" for balance in balances)])
    table = html_table(head, rows, "Heat by part")
    return _figure("Heat", words, plots.heat_plot(balances, words), table)


def _cold(result: PileCheck, units: UnitSystem) -> str:
    words = (
        "What refrigeration must take out on a warm day if outside air does nothing, sensible and "
        "latent together, mean of the day. "
    )
    words += (
        "The dashed line is what the plant of the bay can do in 20 h of 24."
        if result.bay.refrigeration
        else "The bay has no refrigeration: outside air, by night, must do it instead."
    )
    head = ["Part", "Fill", "Pull-down", "Holding"]
    table = html_table(head, cold_rows(result, units), "Heat to remove on a warm day")
    return _figure("Refrigeration", words, plots.cold_plot(result, units, words), table)
