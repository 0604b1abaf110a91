"""Our own weather CSV: named columns that carry their unit, times with a zone."""

from __future__ import annotations

import csv
import difflib
import re
from collections.abc import Sequence
from datetime import datetime, timedelta, tzinfo

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
    zone,
)

__all__ = ["COLUMNS", "read_plain"]

_F = (5 / 9, -160 / 9)
COLUMNS: dict[str, tuple[str, float, float]] = {
    "outside_temp_c": ("temperature", 1.0, 0.0),
    "outside_temp_f": ("temperature", *_F),
    "outside_rh": ("relative_humidity", 1.0, 0.0),
    "outside_rh_percent": ("relative_humidity", 0.01, 0.0),
    "outside_dew_point_c": ("dew_point", 1.0, 0.0),
    "outside_dew_point_f": ("dew_point", *_F),
    "pressure_pa": ("pressure", 1.0, 0.0),
    "pressure_hpa": ("pressure", 100.0, 0.0),
    "pressure_kpa": ("pressure", 1000.0, 0.0),
    "wind_speed_m_s": ("wind_speed", 1.0, 0.0),
    "global_radiation_w_m2": ("global_radiation", 1.0, 0.0),
    "sky_temp_c": ("sky_temperature", 1.0, 0.0),
}
"""Columns of the plain file: quantity, and factor and offset into its internal unit."""

_HEADER = re.compile(r"#\s*([a-z_]+)\s*:\s*(.*\S)\s*$")


def read_plain(lines: Sequence[str], time_zone: str | None) -> Record:
    """Our own CSV: ``# key: value`` lines, then named columns that carry their unit."""
    header, notes, top = _header(lines)
    titles = [title.strip().lower() for title in next(csv.reader(lines[top : top + 1]))]
    columns, problems = _plain_columns(titles)
    if problems:
        raise BadInput(problems)
    rows, numbers = data_rows(lines, top + 1, 1)
    values = {}
    for quantity, (index, factor, offset) in columns.items():
        read = column(rows, numbers, index, titles[index], problems)
        values[quantity] = read * factor + offset
    stamps = [row[titles.index("time")].strip() for row in rows]
    local = time_zone or header.get("time_zone")
    time, local = _times(stamps, local, numbers, problems)
    over = header.get("humidity_over")
    if over not in (None, "water", "ice"):
        problems.append(f"header humidity_over is {over!r}; write water or ice")
    altitude = header.get("altitude_m")
    if unknown := [title for title in titles if title != "time" and title not in COLUMNS]:
        notes.append(f"columns not used: {', '.join(unknown)}")
    return Record(
        time=time,
        values=values,
        time_zone=local,
        lines=numbers,
        humidity_over=over,
        altitude=None if altitude is None else header_number(altitude, "altitude_m", -500, 5000),
        issued=_issued(header.get("issued"), problems),
        typical=header.get("typical_year", "no") == "yes",
        name=header.get("name", ""),
        source=header.get("source", ""),
        notes=tuple(notes),
        problems=tuple(problems),
    )


def _issued(stamp: str | None, problems: list[str]) -> float | None:
    """When a forecast was made. [s]"""
    if stamp is None:
        return None
    made = datetime.fromisoformat(stamp) if _is_iso(stamp) else None
    if made is None or made.tzinfo is None:
        problems.append(f"header issued is {stamp!r}; write ISO 8601 with offset")
        return None
    return made.timestamp()


def _header(lines: Sequence[str]) -> tuple[dict[str, str], list[str], int]:
    """Keys, notes and length of the comment lines on top."""
    header: dict[str, str] = {}
    notes: list[str] = []
    for top, line in enumerate(lines):
        if line.strip() and not line.startswith("#"):
            return header, notes, top
        if match := _HEADER.match(line):
            if match[1] == "note":
                notes.append(match[2])
            header[match[1]] = match[2]
    raise BadInput("the file has comment lines only; a line with column names must follow")


def _plain_columns(titles: Sequence[str]) -> tuple[dict[str, tuple[int, float, float]], list[str]]:
    """Place, factor and offset of each quantity, and what is wrong with the column names."""
    if len(titles) == 1 and ";" in titles[0]:
        return {}, ["columns are parted by ';'; save with commas, and points in the numbers"]
    columns: dict[str, tuple[int, float, float]] = {}
    problems = []
    for index, title in enumerate(titles):
        if title not in COLUMNS:
            continue
        quantity, factor, offset = COLUMNS[title]
        if quantity in columns:
            other = titles[columns[quantity][0]]
            problems.append(f"columns {other} and {title} say the same thing; keep one")
        columns[quantity] = (index, factor, offset)
    if "time" not in titles:
        problems.append(_absent("time", ["time"], titles))
    if "temperature" not in columns:
        problems.append(_absent("temperature", ["outside_temp_c", "outside_temp_f"], titles))
    if not columns.keys() & {"relative_humidity", "dew_point"}:
        wanted = [t for t, (q, *_) in COLUMNS.items() if q in ("relative_humidity", "dew_point")]
        problems.append(_absent("humidity", wanted, titles))
    return columns, problems


def _absent(what: str, wanted: Sequence[str], titles: Sequence[str]) -> str:
    near = [t for t in titles for _ in difflib.get_close_matches(t, wanted, 1, 0.75)]
    near += [t for t in titles if any(w.startswith(t + "_") for w in wanted)]
    hint = f"; {near[0]!r} looks meant: rename it with its unit" if near else ""
    return (
        f"there is no column for {what}; expected {' or '.join(wanted)}{hint}"
        if what != "time"
        else "there is no column time; expected EPW, TMY3, or a CSV with a line of column names "
        f"such as time,outside_temp_c,outside_rh_percent,pressure_hpa{hint}"
    )


def _times(
    stamps: Sequence[str], local: str | None, lines: Array, problems: list[str]
) -> tuple[Times, str]:
    """ISO 8601 stamps in UTC, and the zone in which to print them."""
    try:
        parsed = [datetime.fromisoformat(stamp) for stamp in stamps]
    except ValueError:
        wrong = next(i for i, stamp in enumerate(stamps) if not _is_iso(stamp))
        raise BadInput(
            f"line {lines[wrong]:.0f}: time is {stamps[wrong]!r}; "
            f"write ISO 8601 such as 2025-10-03T14:00-06:00"
        ) from None
    naive = [time.tzinfo is None for time in parsed]
    if any(naive) and local is None:
        raise BadInput(
            f"line {lines[naive.index(True)]:.0f}: time {stamps[naive.index(True)]!r} has no time "
            f"zone; add an offset to each time (-06:00), or a header line "
            f"'# time_zone: America/Denver', or time_zone=\"America/Denver\""
        )
    if local is None:
        offset = parsed[0].utcoffset() or timedelta()
        local = offset_name(offset.total_seconds() / 3600)
    seconds = _to_utc(parsed, zone(local), stamps, lines, problems)
    return np.array(seconds, dtype="datetime64[s]"), local


def _is_iso(stamp: str) -> bool:
    try:
        datetime.fromisoformat(stamp)
    except ValueError:
        return False
    return True


def _to_utc(
    times: Sequence[datetime],
    local: tzinfo,
    stamps: Sequence[str],
    lines: Array,
    problems: list[str],
) -> list[int]:
    """
    Seconds since 1970 UTC.

    A naive time in the hour that autumn repeats belongs to the second pass once the first pass
    has gone by; a naive time in the hour that spring leaves out does not exist.
    """
    seconds: list[int] = []
    previous = -(2**62)
    for time, stamp, line in zip(times, stamps, lines, strict=True):
        if time.tzinfo is None:
            first = time.replace(tzinfo=local)
            second = first.replace(fold=1)
            before, after = first.utcoffset(), second.utcoffset()
            if before is not None and after is not None and before < after:
                problems.append(
                    f"line {line:.0f}: the clock never showed {stamp}, summer time began then; "
                    f"if the logger keeps winter time, say so with a fixed offset as time zone"
                )
            repeated = before != after and int(first.timestamp()) <= previous
            time = second if repeated else first
        previous = int(time.timestamp())
        seconds.append(previous)
    return seconds
