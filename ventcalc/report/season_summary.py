"""A season at a glance: verdict, four figures beside published ones, what to mind."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

import numpy as np

from ventcalc.bay.calendar import HOLDING
from ventcalc.report.pages import Glance, Verdict
from ventcalc.report.season_days import loss_at
from ventcalc.report.season_rows import ROWS
from ventcalc.season.kpi import Kpi
from ventcalc.season.run import Season
from ventcalc.units import UnitSystem, convert, show

__all__ = ["HEADLINES", "compared", "glances", "on_target", "verdict"]

HEADLINES = ("mass_loss", "energy", "band_kelvin_hours", "wet_crop_hours")
"""The four figures of the first screen, fields of ``Kpi``."""
WELL, ENOUGH = 0.9, 0.5
"""Part of the holding time on target that is held well, and that is held at all; our own."""
LATE = 24.0
"""Arrival at holding, cooling too fast, uneven pile: hours worth a word; our own. [h]"""


def on_target(season: Season) -> float:
    """Part of the holding time with the mean pulp inside the band; NaN without holding. [1]"""
    held = season.traces["stage"] == HOLDING
    if not held.any():
        return math.nan
    off = np.abs(season.traces["pulp_mean"][held] - season.traces["target"][held])
    return float(np.mean(off <= season.bay.limits.band))


def verdict(season: Season, units: UnitSystem = "metric") -> Verdict:
    """A season in a sentence."""
    share, kpi = on_target(season), season.kpi
    mind = tuple(_to_mind(kpi, units))
    lost = f"shrink is {show(kpi.mass_loss, '1 percent', units)} of the weight loaded"
    wet = (
        f"potatoes were wet for {_hours(kpi.wet_crop_hours)}"
        if kpi.wet_crop_hours
        else "it stayed dry"
    )
    if math.isnan(share):
        return Verdict(
            "watch", "Never held.", f"No holding time in this season; {wet}, and {lost}.", mind
        )
    first = f" {mind[0].partition(':')[0].rstrip('.')}." if mind else ""
    held = f"The mean pulp was on target for {share:.0%} of the holding time; {wet}, and {lost}."
    held += first
    if kpi.frozen_minutes > 0.0 or share < ENOUGH:
        return Verdict("bad", "Not held.", held, mind)
    if mind or share < WELL:
        return Verdict("watch", "Held, with reservations.", held, mind)
    return Verdict("good", "Held well.", held, mind)


def _hours(hours: float) -> str:
    return f"{hours:,.0f} h" if round(hours) != 1 else "1 hour"


def _to_mind(kpi: Kpi, units: UnitSystem) -> Iterator[str]:
    """What a season has to be minded, the gravest first."""
    if kpi.frozen_minutes > 0.0:
        coldest = show(kpi.coldest_tuber, "degC", units)
        yield (
            f"Pulp was cold enough for freezing injury for {kpi.frozen_minutes:,.0f} min "
            f"(coldest {coldest})."
        )
    if kpi.plenum_below_zero_minutes > 0.0:
        coldest = show(kpi.coldest_plenum, "degC", units)
        yield (
            f"Supply air was below freezing for {kpi.plenum_below_zero_minutes:,.0f} min "
            f"(coldest {coldest})."
        )
    if kpi.people_co2_hours > 0.0:
        yield (
            f"CO2 was over 5,000 ppm for {_hours(kpi.people_co2_hours)}, at most "
            f"{show(kpi.co2_highest, '1 ppm', units)}: more fresh air, and nobody goes in untested."
        )
    if kpi.ceiling_drip_hours > 0.0:
        yield f"The ceiling was below the dew point for {_hours(kpi.ceiling_drip_hours)}."
    if kpi.late_hours > LATE and kpi.holding_missed:
        yield f"Holding temperature was never reached, in {_hours(kpi.late_hours)} to do it."
    elif kpi.late_hours > LATE:
        yield f"Holding temperature was reached {_hours(kpi.late_hours)} late."
    if kpi.spread_hours > LATE:
        yield f"Top and bottom were further apart than the limit for {_hours(kpi.spread_hours)}."
    if kpi.ramp_hours > LATE:
        yield f"The pile cooled faster than planned for {_hours(kpi.ramp_hours)}."


def glances(season: Season, units: UnitSystem = "metric") -> list[Glance]:
    """
    Four figures, each beside what is published.

    [1] N. Olsen, M. Frazier, Univ. of Idaho: mass loss about 3 % in the first month and about 5 %
    in five.
    [2] Potato Council (Great Britain), in Farmers Weekly: electricity of 3 to 9 GBP/t; AHDB
    Potatoes, 1 Aug 2011: a kWh at about 8 p, the least efficient of 36 stores used three times as
    much as the best. Together about 40 to 110 kWh/t, most of it refrigeration.
    [3] P. Bethke, in The Potato: Botany, Production and Uses, ch. 15: top less bottom.
    [4] Univ. of Nebraska-Lincoln, CropWatch: curing without free water.
    """
    row = {one.field: one for one in ROWS}
    month, five = (loss_at(season, days) for days in (30, 150))
    even = " to ".join(show(x, "delta_degC", units, 1).split(" ")[0] for x in (0.6, 0.8))
    unit = "K" if units == "metric" else "°F"
    spread = float(convert(season.kpi.mean_spread, "delta_degC", units)[0])
    kwh = "40 to 110 kWh/t" if units == "metric" else "36 to 100 kWh/ton"
    beside = {
        "mass_loss": f"{_percent(month)} after 30 days, {_percent(five)} after 150; about 3% and "
        "5% are usual (Olsen and Frazier, Univ. of Idaho)",
        "energy": f"About {kwh} in British stores, most of them refrigerated (from 3 to 9 GBP/t, "
        "Potato Council, at 8 p a kWh, AHDB)",
        "band_kelvin_hours": "Nothing published in this unit. Top less bottom: "
        f"{spread:.1f} {unit} on average; {even} {unit} works well (Bethke)",
        "wet_crop_hours": "None is the aim: no free water, above all while wounds heal (Univ. of "
        "Nebraska)",
    }
    labels = ("Shrink", "Electricity", "Degree-hours off target", "Hours with wet potatoes")
    return [
        Glance(label, row[field].text(season, units), beside[field])
        for label, field in zip(labels, HEADLINES, strict=True)
    ]


def _percent(part: float) -> str:
    return "unknown" if math.isnan(part) else f"{100.0 * part:.1f}%"


def compared(seasons: Sequence[Season], units: UnitSystem) -> list[list[list[str]]]:
    """The four figures of each season, as rows of name and value."""
    row = {one.field: one for one in ROWS}
    names = ("Shrink", "Electricity", "Off target", "Wet potatoes")
    return [
        [
            [name, row[field].text(season, units)]
            for name, field in zip(names, HEADLINES, strict=True)
        ]
        for season in seasons
    ]
