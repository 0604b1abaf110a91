"""The season's lines as plain text for a terminal and for JSON."""

from __future__ import annotations

import dataclasses
import math
from typing import Any
from zoneinfo import ZoneInfo

from ventcalc.bay.description import Bay
from ventcalc.logbook.airflows import EVEN, MeasuredAir, measured_air
from ventcalc.logbook.columns import Column, columns_of, heading, local_text, stem
from ventcalc.logbook.folder import Logbook
from ventcalc.logbook.kinds import KINDS, required
from ventcalc.logbook.probe_checks import SALTS, ProbeOffset, probe_offset
from ventcalc.report.season_days import local
from ventcalc.report.table import bullets, first_of, table
from ventcalc.units import UnitSystem, show

__all__ = ["day_and_time", "entry_data", "kind_help", "kind_text", "logbook_data", "logbook_text",
           "offset_text", "problem_lines"]  # fmt: skip


def day_and_time(bay: Bay, time: float) -> str:
    """Local time at the bay, as people write it."""
    return f"{local(bay, time):%Y-%m-%d %H:%M}"


def problem_lines(book: Logbook) -> list[str]:
    """Rows that were left out, one a line."""
    lines = [f"Left out: {problem.text}" for problem in book.problems]
    return first_of(lines, "--json lists every one")


def logbook_text(bay: Bay, book: Logbook) -> str:
    """What a season folder holds, a line a kind."""
    rows = [["", "lines", "first", "last"]]
    for kind in KINDS:
        lines = book.lines(kind)
        if lines:
            times = [line.time for line in lines]
            ends = [f"{local(bay, t):%d %b %Y}" for t in (min(times), max(times))]
            rows.append([kind, str(len(lines)), *ends])
        else:
            rows.append([kind, "none", "", ""])
    parts = [f"{bay.name}: {book.folder}", *table(rows), *problem_lines(book)]
    return "\n".join(parts)


def kind_text(bay: Bay, book: Logbook, kind: str, units: UnitSystem, last: int | None) -> str:
    """Lines of one kind, the newest below; only columns that hold anything."""
    lines = book.lines(kind)
    known = columns_of(kind)
    names = [
        name for name in heading(kind, units) if name in known and known[name].field not in _OWN
    ]
    used = [
        name
        for name in names
        if any(getattr(line.entry, known[name].field) is not None for line in lines)
    ]
    rows = [["line", "time", *used, "who", "note"]]
    for line in lines if last is None else lines[-last:]:
        cells = [_cell(known[name], getattr(line.entry, known[name].field)) for name in used]
        rows.append(
            [
                line.number or f"row {line.row}",
                day_and_time(bay, line.time),
                *cells,
                line.who,
                line.note,
            ]
        )
    left = len(lines) - len(rows) + 1
    more = [f"  ({left} older lines; --all shows them)"] if left > 0 else []
    if not lines:
        return f"{bay.name}: no {kind} in {book.folder}"
    if kind == "sensor_checks":
        told = [offset_text(probe_offset(line.entry, line.time), units) for line in lines]
        more += ["", "Reading less truth, the newest below:", *bullets(told)]
    if kind == "airflows" and (told_air := measured_air(bay, book)):
        more += ["", *bullets(air_lines(told_air, units))]
    return "\n".join([f"{bay.name}, {kind}", *table(rows), *more, *problem_lines(book)])


def air_lines(found: MeasuredAir, units: UnitSystem) -> list[str]:
    """What the laterals get together, and how evenly."""
    even = "even enough" if found.evenness >= EVEN else "uneven: balance them before fill"
    whole = f"{found.measured} of {found.laterals} laterals measured, the last time of each"
    return [
        f"{whole}: {show(found.airflow, 'm3/s', units)}; all of them "
        f"{show(found.whole, 'm3/s', units)}, {show(found.airflow_per_mass, 'm3/(s kg)', units)} "
        f"of a full pile; the bay file has {show(found.rated_airflow, 'm3/s', units)}",
        f"evenness {found.evenness:.0%}, {even} ({EVEN:.0%}: R. Brook, Michigan State Univ., "
        f"2001); coefficient of variation {found.scatter:.0%}",
        f"least in lateral {found.weakest}, {found.least:.0%} of the mean",
    ]


_OWN = {"line", "time", "who", "note", "corrects", "late", "written"}


def _cell(column: Column, value: Any) -> str:
    if not isinstance(value, float):
        return value or ""
    return f"{round(value / column.factor + column.offset, 1):.7g}"


def offset_text(offset: ProbeOffset, units: UnitSystem) -> str:
    """How far a probe was off, and which way."""
    parts = []
    for value, unit in (
        (offset.temperature_difference, "delta_degC"),
        (offset.humidity_offset, "1 percent"),
    ):
        if not math.isnan(value):
            way = "too high" if value > 0.0 else "too low"
            name = "temperature" if unit == "delta_degC" else "humidity"
            right = abs(value) < 5e-4
            told = "right" if right else f"{show(abs(value), unit, units)} {way}"
            parts.append(f"{name} {told}")
    doubt = " (a salt is within 2 %)" if offset.method in SALTS else ""
    return f"{offset.probe}: {', '.join(parts)}{doubt}"


def kind_help(kind: str) -> str:
    """What a line of a kind may hold."""
    must = required(kind)
    rows = [["key", "example", "what it is"]]
    for field in dataclasses.fields(KINDS[kind]):
        meta = field.metadata
        about = meta["about"]
        if meta.get("choices"):
            about += f": {', '.join(meta['choices'])}"
        needed = "" if field.name in must else " (may be left out)"
        rows.append([stem(field.name), f'"{meta["like"]}"', f"{about}{needed}"])
    return "\n".join(table(rows, left=3))


_ENDING = {"kg": "_kg", "degC": "_temp_c", "m": "_m", "m/s": "_m_s", "1": "_share"}


def entry_data(entry: Any) -> dict[str, Any]:
    """One entry, its keys with units; what nobody told is null."""
    found = {}
    for field in dataclasses.fields(entry):
        ending = _ENDING.get(field.metadata["unit"], "")
        word = stem(field.name)
        found[word if f"_{word}" == ending else word + ending] = getattr(entry, field.name)
    return found


def logbook_data(bay: Bay, book: Logbook, kind: str | None) -> dict[str, Any]:
    """All lines, or those of one kind."""
    zone = ZoneInfo(bay.site.time_zone)
    kinds = list(KINDS) if kind is None else [kind]
    return {
        "folder": str(book.folder),
        **{
            name: [
                {
                    "line": line.number,
                    "row": line.row,
                    "time": local_text(line.time, zone),
                    "who": line.who,
                    "note": line.note,
                    **entry_data(line.entry),
                }
                for line in book.lines(name)
            ]
            for name in kinds
        },
        "problems": [problem.text for problem in book.problems],
    }
