"""Weather files of others: EPW and TMY3."""

from __future__ import annotations

import csv
import re
from collections.abc import Sequence

import numpy as np

from ventcalc.errors import BadInput
from ventcalc.weather.record import (
    Array,
    Record,
    Times,
    column,
    data_rows,
    header_number,
    offset_name,
)

__all__ = ["read_epw", "read_tmy3"]

PSEUDO_YEAR = 2001
"""Year given to a typical year, whose months come from different years; not a leap year."""
STEFAN_BOLTZMANN = 5.670374e-8
"""CODATA 2018. [W/(m2 K4)]"""
EPW_FIELDS = {
    "temperature": (6, 99.9, 1.0),
    "dew_point": (7, 99.9, 1.0),
    "relative_humidity": (8, 999.0, 0.01),
    "pressure": (9, 999999.0, 1.0),
    "wind_speed": (21, 999.0, 1.0),
    "global_radiation": (13, 9999.0, 1.0),
    "infrared": (12, 9999.0, 1.0),
}
"""Place in the row, value from which on it means missing, factor into the internal unit."""
TMY3_TITLES = {
    "temperature": "Dry-bulb (C)",
    "dew_point": "Dew-point (C)",
    "relative_humidity": "RHum (%)",
    "pressure": "Pressure (mbar)",
    "wind_speed": "Wspd (m/s)",
    "global_radiation": "GHI (W/m^2)",
}


def _hour_starts(
    year: Array, month: Array, day: Array, seconds: Array, lines: Array, problems: list[str]
) -> Times:
    """Local standard time from calendar fields, refusing dates that do not exist."""
    bad = ~((month >= 1) & (month <= 12) & (day >= 1) & (day <= 31) & (year >= 1) & (year < 3000))
    bad |= ~((seconds >= 0) & (seconds < 86400))
    year, month, day, seconds = (np.where(bad, 1, x) for x in (year, month, day, seconds))
    months = (12 * (year - 1) + month - 1).astype(int).astype("timedelta64[M]")
    start = (np.datetime64("0001-01", "M") + months).astype("datetime64[D]")
    date = start + (day - 1).astype(int).astype("timedelta64[D]")
    bad |= date.astype("datetime64[M]") != start.astype("datetime64[M]")
    if bad.any():
        i = int(np.flatnonzero(bad)[0])
        problems.append(
            f"line {lines[i]:.0f}: no such date or hour; "
            f"expected month 1-12, a day of that month, hour 1-24"
        )
    time: Times = date.astype("datetime64[s]") + seconds.astype(int).astype("timedelta64[s]")
    return time


def _pseudo_year(year: Array, month: Array) -> tuple[Array, bool, tuple[str, ...]]:
    """One year for months that do not follow each other; the flag says that this happened."""
    jumps = np.diff(12 * year + month)
    if not ((jumps < 0) | (jumps > 1)).any():
        return year, False, ()
    note = (
        f"typical year: months chosen from {np.nanmin(year):.0f}-{np.nanmax(year):.0f}, "
        f"set one after the other under the pseudo-year {PSEUDO_YEAR}"
    )
    return np.full_like(year, PSEUDO_YEAR), True, (note,)


def read_epw(lines: Sequence[str]) -> Record:
    """
    EnergyPlus weather file: eight header lines, local standard time, hour-ending stamps.

    Source: US Department of Energy, EnergyPlus Auxiliary Programs, "EnergyPlus Weather File (EPW)
    Data Dictionary": field order, units and the values that mean missing.
    """
    place = next(csv.reader(lines[:1]))
    if len(place) < 10 or len(lines) < 9:
        raise BadInput("the EPW header is not complete: 8 lines, LOCATION with 10 fields")
    offset = header_number(place[8], "time zone", -12, 14)
    altitude = header_number(place[9], "elevation", -500, 5000)
    rows, numbers = data_rows(lines, 8, 22)
    problems: list[str] = []

    def field(index: int, name: str, missing: float = np.inf) -> Array:
        return column(rows, numbers, index, name, problems, missing)

    month = field(1, "month")
    year, typical, notes = _pseudo_year(field(0, "year"), month)
    hour, minute = field(3, "hour"), field(4, "minute")
    per_hour = _records_per_hour(lines)
    # one record an hour carries minute 0 or 60, both meaning the end of that hour
    end = hour * 3600 if per_hour == 1 else (hour - 1) * 3600 + minute * 60
    time = _hour_starts(year, month, field(2, "day"), end - 3600 / per_hour, numbers, problems)
    values = {
        name: factor * field(index, name.replace("_", " "), missing)
        for name, (index, missing, factor) in EPW_FIELDS.items()
    }
    infrared = values.pop("infrared")
    infrared[infrared <= 0] = np.nan
    values["sky_temperature"] = (infrared / STEFAN_BOLTZMANN) ** 0.25 - 273.15
    return Record(
        time=time - np.timedelta64(round(offset * 3600), "s"),
        values=values,
        time_zone=offset_name(offset),
        lines=numbers,
        altitude=altitude,
        typical=typical,
        name=", ".join(part for part in map(str.strip, place[1:4]) if part.strip("-")),
        source=f"EPW, {place[4].strip()}, station {place[5].strip()}",
        notes=notes,
        problems=tuple(problems),
    )


def _records_per_hour(lines: Sequence[str]) -> int:
    period = next((line.split(",") for line in lines[:8] if line.startswith("DATA PERIODS")), [])
    return max(int(period[2]), 1) if len(period) > 2 and period[2].strip().isdigit() else 1


def read_tmy3(lines: Sequence[str]) -> Record:
    """
    NREL TMY3: two header lines, local standard time, hour-ending stamps to 24:00.

    Source: S. Wilcox and W. Marion, Users Manual for TMY3 Data Sets, NREL/TP-581-43156, 2008, table
    1-2.
    """
    place = next(csv.reader(lines[:1]))
    if len(place) < 7:
        raise BadInput("the TMY3 header is not complete: 7 fields in the first line")
    offset = header_number(place[3], "time zone", -12, 14)
    altitude = header_number(place[6], "elevation", -500, 5000)
    titles = next(csv.reader(lines[1:2]))
    if absent := [title for title in TMY3_TITLES.values() if title not in titles]:
        raise BadInput(f"the TMY3 columns {', '.join(absent)} are missing")
    rows, numbers = data_rows(lines, 2, len(TMY3_TITLES))
    problems: list[str] = []
    values = {
        key: column(rows, numbers, titles.index(title), title, problems, -9900)
        for key, title in TMY3_TITLES.items()
    }
    values["relative_humidity"] = values["relative_humidity"] / 100
    values["pressure"] = values["pressure"] * 100
    dates = [re.split(r"[/:]", f"{row[0]}/{row[1]}") for row in rows]
    month, day, year, hour = (
        column(dates, numbers, i, name, problems)
        for i, name in enumerate(("month", "day", "year", "hour"))
    )
    year, typical, notes = _pseudo_year(year, month)
    time = _hour_starts(year, month, day, (hour - 1) * 3600, numbers, problems)
    return Record(
        time=time - np.timedelta64(round(offset * 3600), "s"),
        values=values,
        time_zone=offset_name(offset),
        lines=numbers,
        altitude=altitude,
        typical=typical,
        name=f"{place[1].strip().title()}, {place[2].strip()}",
        source=f"NREL TMY3, station {place[0].strip()}",
        notes=notes,
        problems=tuple(problems),
    )
