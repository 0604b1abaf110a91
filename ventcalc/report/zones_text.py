"""The pile as it grew, zone by zone along the bay, as plain text and as data."""

from __future__ import annotations

import math
from itertools import pairwise
from typing import Any

from ventcalc.bay.description import Bay
from ventcalc.farm.zones import Filled
from ventcalc.logbook.judge import AHDB, DIFFERENCE
from ventcalc.report.numbers import known
from ventcalc.report.season_days import local
from ventcalc.report.table import bullets, table
from ventcalc.units import UnitSystem, show

__all__ = ["zones_data", "zones_text"]

DAY = 86400.0
HOUR = 3600.0
FIRST_AIR = 2 * HOUR
"""Air one to two hours after the first crop (common practice, no source). [s]"""
WET = 1e-4
"""Free water that is told. [kg/kg crop]"""
LEFT_OUT = (
    "left out: walls, floor and headspace, the slope of the face, crop on top "
    "of other crop; loads of a day and lot are one column"
)


def zones_text(bay: Bay, found: Filled | None, units: UnitSystem) -> str:
    """A row a zone, and what is wrong between and in them."""
    if found is None:
        return f"{bay.name}: no load with its pulp temperature by then; look at the times"
    rows = [
        ["zone", "lot", "from the back wall", "crop", "age", "came in", "bottom", "mean", "top"]
    ]
    if found.logged:
        rows[0].append("first air after")
    for k, one in enumerate(found.zones, start=1):
        warmths = (one.pulp, one.pulp_bottom, one.pulp_mean, one.pulp_top)
        row = [
            str(k),
            one.lot,
            f"{show(one.start, 'm', units)} - {show(one.end, 'm', units)}",
            show(one.mass, "kg", units),
            f"{one.age / DAY:.1f} days",
            *(show(x, "degC", units) for x in warmths),
        ]
        if found.logged:
            row.append("none yet" if math.isnan(one.first_air) else f"{one.first_air / HOUR:.0f} h")
        rows.append(row)
    how = (
        "air of the log"
        if found.logged
        else "as if fans blew at full speed, "
        f"{show(bay.limits.supply_difference, 'delta_degC', units)} colder than the coldest zone, "
        f"down to {show(bay.schedule.healing_temperature, 'degC', units)}; --log tells the true air"
    )
    head = f"{bay.name}, {local(bay, found.time):%d %b %Y %H:%M}: {how}"
    lines = [*_differences(found, units), *_air(found), LEFT_OUT]
    return "\n".join([head, *table(rows), "", *bullets(lines)])


def _differences(found: Filled, units: UnitSystem) -> list[str]:
    lines = []
    for k, (one, other) in enumerate(pairwise(found.zones), start=1):
        gap = other.pulp_mean - one.pulp_mean
        if abs(gap) > DIFFERENCE:
            colder, warmer = (k, k + 1) if gap > 0.0 else (k + 1, k)
            lines.append(
                f"zone {colder} is {show(abs(gap), 'delta_degC', units)} colder than {warmer}: "
                f"close its laterals, or moist air wets it, until they meet ({AHDB})"
            )
    wet = [str(k) for k, one in enumerate(found.zones, start=1) if one.wettest > WET]
    if wet:
        lines.append(
            f"free water was on the tubers of zone {', '.join(wet)}: dry it, no humidifier"
        )
    return lines


def _air(found: Filled) -> list[str]:
    late = [
        str(k)
        for k, one in enumerate(found.zones, start=1)
        if found.logged and not one.first_air <= FIRST_AIR
    ]
    lines = []
    if late:
        lines.append(
            f"zone {', '.join(late)}: no air within 2 h of its first crop (1 to 2 h: common "
            "practice, no source)"
        )
    if found.unknown_time > 0.0:
        lines.append(f"the log is silent for {found.unknown_time / HOUR:.0f} h: fans taken to rest")
    return lines


def zones_data(bay: Bay, found: Filled | None) -> dict[str, Any]:
    """The same for JSON, keys with units."""
    if found is None:
        return {"bay": bay.name, "zones": []}
    return {
        "bay": bay.name,
        "time": local(bay, found.time).isoformat(),
        "by_log": found.logged,
        "log_silent_h": found.unknown_time / HOUR,
        "zones": [
            {
                "lot": one.lot,
                "start_m": one.start,
                "end_m": one.end,
                "mass_kg": one.mass,
                "age_days": one.age / DAY,
                "loaded_temp_c": one.pulp,
                "pulp_bottom_c": one.pulp_bottom,
                "pulp_mean_c": one.pulp_mean,
                "pulp_top_c": one.pulp_top,
                "mass_loss": one.mass_loss,
                "wettest_kg_t": one.wettest * 1000.0,
                "first_air_h": known(one.first_air / HOUR),
            }
            for one in found.zones
        ],
    }
