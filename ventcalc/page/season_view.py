"""Seasons as the page shows them; rows, words and numbers are those of the command line."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import groupby
from typing import Any

from ventcalc.bay.checks import bay_notes
from ventcalc.page.chart import pile_chart, pile_months
from ventcalc.report.data import season_data
from ventcalc.report.season_days import days_of
from ventcalc.report.season_page import CAUTIONS
from ventcalc.report.season_rows import ROWS, equipment_lines, published_lines
from ventcalc.season.run import Season
from ventcalc.units import UnitSystem

__all__ = ["seasons_data", "seasons_shown"]

_KEYS = {
    "mass_loss": "shrink before unloading",
    "energy": "electricity",
    "band_kelvin_hours": "off target while holding",
    "wet_crop_hours": "with wet potatoes",
}
"""The four figures that one reads first, and their short words."""


def seasons_shown(
    seasons: Sequence[tuple[str, Season]],
    left_out: Mapping[str, str],
    credit: Sequence[str],
    units: UnitSystem,
) -> dict[str, Any]:
    """
    What the template of a season asks for.

    Parameters
    ----------
    seasons : sequence of (str, Season)
        By their names, one at least.
    left_out : mapping
        Why others could not be run to their end, by name.
    credit : sequence of str
        What must be said of the weather.
    units : {"metric", "us"}
        Units to show.
    """
    days = [(name, days_of(season)) for name, season in seasons]
    stopped = [f"Left out: {name}, because {why}." for name, why in left_out.items()]
    first, season = seasons[0]
    dates = days[0][1].dates
    which = f"{first}: " if len(seasons) > 1 else ""
    notes = dict.fromkeys(f"Note on the weather: {n}." for _, one in seasons for n in one.notes)
    return {
        "dates": f"{season.bay.name}, {dates[0]:%d %b %Y} to {dates[-1]:%d %b %Y}, weather of "
        f"{season.weather_name or 'a file without a name'}",
        "stopped": stopped,
        "keys": [(_KEYS[r.field], r.text(season, units)) for r in ROWS if r.field in _KEYS],
        "which": which,
        "charts": [(name, pile_chart(one, units)) for name, one in days],
        "results": _results(seasons, units),
        "months": [(name, pile_months(one, units)) for name, one in days],
        "published": [which + line for line in published_lines(season, units)],
        "equipment": [which + line for line in equipment_lines(season, units)],
        "credit": credit,
        "notes": [*notes, *(f"Note on the bay: {n}" for n in bay_notes(season.bay))],
        "cautions": CAUTIONS,
    }


def _results(seasons: Sequence[tuple[str, Season]], units: UnitSystem) -> list[list[str]]:
    """Rows under the heading of their group."""
    rows = [["Result", *(name for name, _ in seasons)]]
    for group, some in groupby(ROWS, lambda row: row.group):
        rows.append([group])
        rows += [[row.words, *(row.text(one, units) for _, one in seasons)] for row in some]
    return rows


def seasons_data(seasons: Sequence[tuple[str, Season]], units: UnitSystem) -> dict[str, Any]:
    """By name, what ``ventcalc season --json`` prints of it."""
    return {name: season_data([season], units) for name, season in seasons}
