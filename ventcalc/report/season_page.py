"""A season as a page: tables and plots."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from itertools import groupby
from typing import Any

import numpy as np

from ventcalc.bay.checks import bay_notes
from ventcalc.report import season_plots as plots
from ventcalc.report.pages import Figure, Table, page
from ventcalc.report.season_days import Days, days_of
from ventcalc.report.season_plots import small_plot
from ventcalc.report.season_rows import ROWS, control_words, equipment_lines, published_lines
from ventcalc.report.season_summary import compared, glances, verdict
from ventcalc.season.run import Season
from ventcalc.units import UnitSystem, convert, reworded, show, shown_unit
from ventcalc.weather import Weather
from ventcalc.web.scale import round_range
from ventcalc.web.svg import Picture

__all__ = ["season_page"]

CAUTIONS = (
    "People: the air of a bay can kill. The crop uses up oxygen and gives off CO2. Before anyone "
    "goes in: ventilate, test the air for CO2 and oxygen, never go alone, follow the local codes "
    "for confined spaces.",
    "Fans: lock out and tag every fan and door motor before anyone reaches into plenum, duct or "
    "fan house. They can start at any time.",
    "Refrigerants displace air, and some are poisonous or burn: only licensed people open a "
    "circuit; heed the leak alarm.",
    "Walls: a pile pushes its walls outward. Walls, floor and pile height are for a licensed "
    "structural engineer to check; nothing here checks them.",
    "Freezing: potatoes freeze at about -0.6 to -1 °C (30 to 31 °F). A low-limit thermostat in the "
    "plenum, independent of any computer, must close the door.",
    "This is advice from a model. The controller's own interlocks stay in charge, and a person "
    "who has looked at the pile knows better.",
)
"""What to mind where the work can hurt someone or ruin a crop."""


def season_page(
    seasons: Sequence[Season],
    weather: Weather,
    units: UnitSystem = "metric",
    *,
    remarks: Sequence[str] = (),
    cards: Sequence[Mapping[str, Any]] = (),
    names: Sequence[str] = (),
    layout: str = "base.html",
) -> str:
    """The report of a season."""
    season = seasons[0]
    days = days_of(season)
    told = list(names) or [control_words(one.policy) for one in seasons]
    return page(
        "season.html",
        layout,
        title=names[0] if names else season.bay.name,
        named=bool(names),
        dates=f"{days.dates[0]:%d %b %Y} to {days.dates[-1]:%d %b %Y}",
        bay_line=_bay_line(season, units),
        control=control_words(season.policy),
        verdict=verdict(season, units),
        glances=glances(season, units),
        compared=_compared(seasons, told, units),
        costs=_costs(seasons, told, units),
        cards=cards,
        results=_results(seasons, told, units),
        published=published_lines(season, units),
        equipment=equipment_lines(season, units),
        figures=_figures(days, units),
        cautions=CAUTIONS,
        facts=_facts(season, weather, remarks, units),
    )


def _bay_line(season: Season, units: UnitSystem) -> str:
    bay = season.bay
    return (
        f"{show(bay.mass, 'kg', units)} of {bay.use} potatoes, pile "
        f"{show(bay.pile.height, 'm', units)} high"
    )


def _facts(
    season: Season, weather: Weather, remarks: Sequence[str], units: UnitSystem
) -> list[str]:
    bay = season.bay
    return [
        *([bay.notes] if bay.notes else []),
        *(f"Note on the bay: {reworded(remark, units)}" for remark in bay_notes(bay)),
        f"Weather: {weather.name or 'file without a name'}"
        + (f". Source: {weather.source}." if weather.source else "."),
        *remarks,
        *(f"Note on the weather: {reworded(note, units)}." for note in season.notes),
        f"Days and months are local ({bay.site.time_zone}); hours on plots are its standard time.",
    ]


def _compared(
    seasons: Sequence[Season], names: Sequence[str], units: UnitSystem
) -> list[tuple[str, Picture, Table]]:
    """Name, small plot and four figures of each season; nothing for a lone one."""
    if len(seasons) < 2:
        return []
    # Without ventilation a pile heats itself to 40 °C: on that scale all others would look flat.
    aired = [one for one in seasons if one.policy != "nothing"] or seasons
    ends = [
        convert(what(season.traces[name]), "degC", units)[0]
        for season in aired
        for name, what in (("pulp_bottom", np.nanmin), ("pulp_top", np.nanmax))
    ]
    shared = round_range(float(min(ends)), float(max(ends)), 3)
    return [
        (name, small_plot(days_of(season), units, f"control-{k}", shared), rows)
        for k, (season, name, rows) in enumerate(
            zip(seasons, names, compared(seasons, units), strict=True)
        )
    ]


def _costs(seasons: Sequence[Season], names: Sequence[str], units: UnitSystem) -> Table:
    """What air costs and what it saves: fan energy against shrink, per crop loaded."""
    row = {one.field: one for one in ROWS}

    def money(season: Season, per_tonne: float) -> str:
        return f"{season.bay.costs.currency} {show(per_tonne / 1000.0, 'money/kg', units, 3)}"

    return [
        ["Season", "Airflow", "Fans use", "Shrink", "Electricity", "Lost crop", "Together"],
        *(
            [
                name,
                show(1000.0 * one.installed.fans.airflow / one.bay.mass, "m3/(s t)", units),
                row["fan_energy"].text(one, units),
                row["mass_loss"].text(one, units),
                money(one, one.kpi.cost_energy),
                money(one, one.kpi.cost_shrink),
                money(one, one.kpi.cost),
            ]
            for name, one in zip(names, seasons, strict=True)
        ),
    ]


def _results(seasons: Sequence[Season], names: Sequence[str], units: UnitSystem) -> Table:
    """Rows under the heading of their group."""
    rows: list[list[str]] = [["Result", *names]]
    for group, some in groupby(ROWS, lambda row: row.group):
        rows.append([group])
        rows += [[row.words, *(row.text(season, units) for season in seasons)] for row in some]
    return rows


# --- drawings, each with its table by month ----------------------------------------------


def _figures(days: Days, units: UnitSystem) -> dict[str, Figure]:
    return {
        "pile": Figure(plots.pile_plot(days, units), [_pile_rows(days, units)]),
        "outside": Figure(plots.outside_plot(days, units), [_outside_rows(days, units)]),
        "actions": Figure(plots.actions_plot(days), [_action_rows(days)]),
        "loss": Figure(plots.loss_plot(days), [_loss_rows(days)]),
        "margins": Figure(plots.margin_plot(days, units), [_margin_rows(days, units)]),
        "carbon": Figure(plots.carbon_plot(days), [_carbon_rows(days)]),
        "energy": Figure(plots.energy_plot(days), [_energy_rows(days)]),
    }


def _by_month(days: Days, columns: Mapping[str, Sequence[str]]) -> Table:
    """A row for each month of columns under their headings."""
    return [["Month", *columns], *zip(days.months, *columns.values(), strict=True)]


def _column(values: Iterable[float], digits: int = 1) -> list[str]:
    return ["-" if x != x else f"{x:,.{digits}f}" for x in values]


def _degrees(days: Days, units: UnitSystem, name: str, what: Callable[..., float]) -> list[str]:
    return _column(convert(days.monthly(name, what), "degC", units)[0])


def _pile_rows(days: Days, units: UnitSystem) -> Table:
    unit = shown_unit("degC", units)
    return _by_month(
        days,
        {
            f"{name.removeprefix('pulp_')}, mean {unit}": _degrees(days, units, name, np.mean)
            for name in ("target", "pulp_bottom", "pulp_middle", "pulp_top")
        },
    )


def _outside_rows(days: Days, units: UnitSystem) -> Table:
    unit = shown_unit("degC", units)
    outside = {
        f"{words} {unit}": _degrees(days, units, "outside_temperature", what)
        for words, what in (("lowest", np.min), ("mean", np.mean), ("highest", np.max))
    }
    pile = _degrees(days, units, "pulp_mean", np.mean)
    return _by_month(days, {**outside, f"pile, mean {unit}": pile})


def _action_rows(days: Days) -> Table:
    bay = days.season.bay
    traces = (
        ("fans, h", "fan_speed", True),
        ("door open, h", "door_opening", True),
        ("humidifier, h", "humidifier_power", bay.humidifier),
        ("refrigeration, h", "refrigeration", bay.refrigeration),
        ("heater, h", "heater", bay.heater),
    )
    return _by_month(
        days,
        {
            words: _column(days.monthly_hours(name, lambda x: x > 0.01), 0)
            for words, name, installed in traces
            if installed
        },
    )


def _loss_rows(days: Days) -> Table:
    water, solids = (
        100.0 * days.monthly(name, lambda x: float(x[-1]))
        for name in ("water_loss", "dry_matter_loss")
    )
    columns = {
        "net water so far, %": water,
        "dry matter so far, %": solids,
        "shrink so far, %": water + solids,
        "in the month, %": np.diff(water + solids, prepend=0.0),
    }
    return _by_month(days, {words: _column(values, 2) for words, values in columns.items()})


def _margin_rows(days: Days, units: UnitSystem) -> Table:
    unit = "K" if units == "metric" else "°F"
    columns = {}
    for words, name in (("ceiling", "ceiling_margin"), ("coldest pulp", "wetting_margin")):
        least = convert(days.monthly(name, np.min), "delta_degC", units)[0]
        columns[f"{words}, lowest {unit}"] = _column(least, 2)
        columns[f"{words} below zero, h"] = _column(days.monthly_hours(name, lambda x: x < 0.0), 0)
    return _by_month(days, columns)


def _carbon_rows(days: Days) -> Table:
    limit = days.season.bay.limits.co2
    columns = {
        "mean, ppm": 1e6 * days.monthly("co2", np.mean),
        "highest, ppm": 1e6 * days.monthly("co2", np.max),
        "over the limit, h": days.monthly_hours("co2", lambda x: x > limit),
    }
    return _by_month(days, {words: _column(values, 0) for words, values in columns.items()})


def _energy_rows(days: Days) -> Table:
    energy = {words: days.monthly_total(name) / 1000.0 for name, words in plots.PARTS}
    energy["all"] = np.sum(list(energy.values()), axis=0)
    return _by_month(days, {f"{words}, kWh": _column(e, 0) for words, e in energy.items()})
