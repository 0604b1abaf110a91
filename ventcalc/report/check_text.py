"""A pile check as text for a terminal."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np

from ventcalc.bay.checks import bay_notes
from ventcalc.check.check import LOWEST_HEIGHT, TALLEST_HEIGHT, PileCheck
from ventcalc.check.loads import wall_methods
from ventcalc.check.record import CANNOT_SAY, MARGINAL, NO, Check
from ventcalc.report.table import bullets, table
from ventcalc.units import UnitSystem, reworded, show, shown_unit

__all__ = [
    "CHECK_CAUTIONS",
    "capacity_line",
    "check_cells",
    "check_text",
    "cold_rows",
    "findings",
    "headline",
    "numbered_sources",
    "sweep_tables",
    "table_heights",
    "wall_rows",
]

FOOT = 0.3048
COLD = ("cold_fill", "cold_pull_down", "cold_holding")

CHECK_CAUTIONS = (
    "Walls: the loads here are indications by methods that differ by a factor of almost two, and "
    "no check of the wall. A licensed structural engineer must check walls, anchors and floor for "
    "this height, with conveyors, filling from one side, wet crop and trucks on top.",
    "Pressure bruise, sprouting and rot depend on cultivar, water lost and months in store; no "
    "depth is safe for every crop.",
    "CO2 and lack of oxygen kill: ventilate, test the air before anyone goes in, never alone, keep "
    "to the local codes for confined spaces. Lock out fans and door motors.",
    "Outside states are assumed here, not taken from weather at the site; a calculation before "
    "fill does not replace measuring airflow, pressure and temperatures once the bay is full.",
)
"""What belongs below every check."""


def check_cells(check: Check, units: UnitSystem) -> list[str]:
    """Name, value, limit, margin and verdict of a check for one height."""
    return [
        check.name,
        show(check.value, check.unit, units),
        show(check.limit, check.unit, units, unknown="none"),
        _margin(check, units),
        str(check.verdict),
    ]


def _margin(check: Check, units: UnitSystem) -> str:
    """``0.18 ± 0.36 K``, ``2.0 ft, at worst -4.6 ft``; ``-`` without a margin."""
    if math.isnan(check.margin):
        return "-"
    told = show(check.margin, check.unit, units)
    if not check.uncertainty > 0.0:
        return told
    if check.one_sided:
        return f"{told}, at worst {show(check.margin - check.uncertainty, check.unit, units)}"
    number, _, unit = told.partition(" ")
    return (
        f"{number} ± {show(check.uncertainty, check.unit, units).partition(' ')[0]} {unit}".rstrip()
    )


def numbered_sources(result: PileCheck, units: UnitSystem) -> tuple[list[str], list[str]]:
    """Number of the source of each check, and the sources."""
    sources = list(dict.fromkeys(check.source for check in result.checks))
    numbers = [str(sources.index(check.source) + 1) for check in result.checks]
    return numbers, [reworded(source, units) for source in sources]


def capacity_line(result: PileCheck, units: UnitSystem) -> str:
    """What the bay holds at this height, in every unit of the trade."""
    pounds = result.mass / 0.45359237
    return (
        f"Filled level to {show(result.height, 'm', units)}, the bay holds "
        f"{result.mass / 1000.0:,.1f} t = {pounds / 100.0:,.0f} cwt = {pounds:,.0f} lb; the crop "
        f"planned for it weighs {show(result.bay.mass, 'kg', units)} and stands "
        f"{show(result.least_for_lots, 'm', units)} high."
    )


def headline(result: PileCheck, units: UnitSystem) -> str:
    """May this bay be filled to this height?"""
    failing = [check.name for check in result.checks if check.verdict == NO]
    if failing:
        return f"No: {_joined(failing)}."
    if result.check("airflow").verdict == CANNOT_SAY:
        return "Cannot say: the air that the pile gets is not known."
    # A full bay misses its own capacity by the last digit of a conversion.
    past = [
        c.name for c in result.checks if c.verdict == MARGINAL and c.margin < -1e-6 * abs(c.limit)
    ]
    if past:
        return f"Doubtful, past the limit by less than the uncertainty: {_joined(past)}."
    open_ = [check for check in result.checks if check.verdict in (MARGINAL, CANNOT_SAY)]
    if open_:
        return "No check fails at this height, but mind what is marginal or not judged."
    return "No check fails at this height."


def _joined(names: Sequence[str]) -> str:
    return "; ".join(names)


def findings(result: PileCheck, units: UnitSystem) -> list[str]:
    """The highest pile that passes, what limits it, and what that leaves open."""
    lines = []
    if whatever := result.whatever_height:
        lines.append(f"Fails at any height, fix first: {_joined(whatever)}.")
    subject = "Apart from that, the highest pile" if whatever else "Highest pile"
    if result.check("airflow").verdict == CANNOT_SAY and result.highest == 0.0:
        lines.append("No height can be judged before the airflow is known.")
    elif result.highest == 0.0:
        lines.append(f"No height passes; at every height this fails: {_joined(result.binds)}.")
    elif not result.binds:
        lines.append(f"No check fails at any height up to {show(TALLEST_HEIGHT, 'm', units)}.")
    else:
        lines.append(
            f"{subject} that passes: {show(result.highest, 'm', units)}, "
            f"limited by {_joined(result.binds)}."
        )
    later = [reach for reach in result.reaches if reach.height > result.highest + 1e-9]
    if later and result.highest > 0.0:
        heights = [f"{r.name} at {show(r.height, 'm', units)}" for r in later[:4]]
        lines.append(f"Next limits: {_joined(heights)}.")
    if result.plant_reaches:
        least = result.plant_reaches[0]
        lines.append(
            f"Refrigeration alone, without outside air: up to {show(least.height, 'm', units)} "
            f"({least.name})."
        )
    if 0.0 < result.highest < result.least_for_lots:
        lines.append("The crop needs more height than that: it does not all fit.")
    for verdict, words in ((MARGINAL, "Marginal"), (CANNOT_SAY, "Not judged")):
        names = [check.name for check in result.checks if check.verdict == verdict]
        if names:
            lines.append(f"{words} at {show(result.height, 'm', units)}: {_joined(names)}.")
    notes = dict.fromkeys(check.note for check in result.checks if _worth(check))
    for note in notes:
        names = [check.name for check in result.checks if check.note == note]
        lines.append(f"{_joined(names)}: {reworded(note, units)}")
    lines += [f"Note on the bay: {reworded(note, units)}" for note in bay_notes(result.bay)]
    return lines


def _worth(check: Check) -> bool:
    """Notes that do not stand in the cautions anyway."""
    return bool(check.note) and not check.key.startswith("wall_t") and check.key != "wall_moment"


def wall_rows(result: PileCheck, units: UnitSystem) -> list[list[str]]:
    """Methods side by side: pressure at the foot, thrust and moment per length of wall."""
    return [
        [
            name,
            show(load.base_pressure, "Pa load", units),
            show(load.thrust, "N/m", units),
            show(load.moment, "N m/m", units),
        ]
        for _, name, load in wall_methods(result.bay, result.walls)
    ]


def cold_rows(result: PileCheck, units: UnitSystem) -> list[list[str]]:
    """Heat on a warm day by part, at fill, pull-down and holding, and what the plant can do."""
    checks = [result.check(key) for key in COLD]
    parts = [{aside.name: aside.value for aside in check.asides} for check in checks]
    unit = "W refrigeration"
    last = ["all, mean of the day", "of it latent"]
    names = [*dict.fromkeys(name for some in parts for name in some if name not in last), *last]
    rows = [[name, *(show(some.get(name, 0.0), unit, units, unknown="-") for some in parts)]
            for name in names]  # fmt: skip
    rows.append(
        ["capacity needed, 20 h of 24", *(show(c.value, unit, units, unknown="-") for c in checks)]
    )
    return [
        *rows,
        ["the refrigeration plant", *(show(c.limit, unit, units, unknown="none") for c in checks)],
    ]


def check_text(result: PileCheck, units: UnitSystem = "metric") -> str:
    """Write the checks of one height."""
    bay = result.bay
    numbers, sources = numbered_sources(result, units)
    rows = [
        [*check_cells(check, units), number]
        for check, number in zip(result.checks, numbers, strict=True)
    ]
    head = ["check", "value", "limit", "margin", "verdict", "source"]
    walls = table([["", "pressure at foot", "thrust", "moment"], *wall_rows(result, units)])
    spread = f"Greatest over least ratio: {result.walls.spread:.2f} without the upper value."
    parts = [
        [f"{bay.name}: may it be filled to {show(result.height, 'm', units)}?"],
        [capacity_line(result, units)],
        [headline(result, units), ""],
        table([head, *rows]),
        ["", *bullets(findings(result, units))],
        ["", "Figures behind the checks:", *table(list(_asides(result, units)))],
        ["", "Heat to remove on a warm day without outside air, by part:"],
        table([["", "fill", "pull-down", "holding"], *cold_rows(result, units)]),
        ["", "Walls, per length, by every method:", *walls, f"  {spread}"],
        ["", "Sources:", *_sources(sources)],
        ["", "Cautions:", *bullets(CHECK_CAUTIONS)],
    ]
    return "\n".join(line for part in parts for line in part)


def _asides(result: PileCheck, units: UnitSystem) -> Iterator[list[str]]:
    for check in result.checks:
        if not check.key.startswith(("wall_", "cold_")):
            for aside in check.asides:
                words = f"{_key_words(check)}: {reworded(aside.name, units)}"
                yield [words, show(aside.value, aside.unit, units)]


def _key_words(check: Check) -> str:
    return {"lots": "crop"}.get(check.key, check.key.replace("_", " "))


def _sources(sources: Sequence[str]) -> list[str]:
    fold = textwrap.TextWrapper(width=96, subsequent_indent="     ")
    return [
        line
        for number, source in enumerate(sources, start=1)
        for line in fold.wrap(f"  {number:>2} {source}")
    ]


# --- the sweep ---------------------------------------------------------------------------

_SWEPT = (
    ("headspace", "headspace"),
    ("wall_height", "below eave"),
    ("bruise", "bruise"),
    ("floor_load", "floor"),
    ("airflow", "air"),
    ("rise_fill", "rise, fill"),
    ("rise_healing", "rise, healing"),
    ("rise_holding", "rise, holding"),
    ("cool_down", "cool-down"),
    ("humidity_fill", "water, fill"),
    ("co2_healing", "CO2, healing"),
    ("cold_pull_down", "cooling, pull-down"),
    ("cold_holding", "cooling, holding"),
)
"""Checks whose margins a sweep shows, and their short names."""


def table_heights(units: UnitSystem) -> Any:
    """Half metres, or feet, from the lowest to the tallest height looked at. [m]"""
    if units == "us":
        return np.arange(2.0, TALLEST_HEIGHT / FOOT) * FOOT
    return np.arange(LOWEST_HEIGHT, TALLEST_HEIGHT + 0.25, 0.5)


def sweep_tables(sweep: PileCheck, units: UnitSystem) -> list[list[list[str]]]:
    """Tables of margins by height, narrow enough for paper: head and rows of each."""
    shown = [(sweep.check(key), words) for key, words in _SWEPT]
    shown = [(check, words) for check, words in shown if not np.isnan(check.margin).all()]
    flow = sweep.check("airflow").value
    rows = range(len(sweep.height))
    columns = [
        [f"airflow, {_label('m3/(s kg)', units)}", *(_bare(x, "m3/(s kg)", units) for x in flow)],
        *(
            [f"{words}, {_label(check.unit, units)}",
             *(_bare(margin, check.unit, units) for margin in check.margin)]
            for check, words in shown
        ),
    ]  # fmt: skip
    height = [f"height, {shown_unit('m', units)}", *(_bare(x, "m", units) for x in sweep.height)]
    past = ["past its limit", *(_past(sweep, i) for i in rows)]
    half = len(columns) // 2 + 2  # what is past its limit takes as much room as two
    parts = ([height, *columns[:half]], [height, *columns[half:], past])
    return [[list(row) for row in zip(*part, strict=True)] for part in parts]


SWEEP_WORDS = "Margins by height, positive is safe; ? is past by less than the uncertainty"


def _past(sweep: PileCheck, i: int) -> str:
    """The first two checks whose margin is negative, and how many more there are."""
    short = dict(_SWEPT)
    names = [
        short.get(check.key, _key_words(check)) + ("?" if check.verdict[i] == MARGINAL else "")
        for check in sweep.checks
        if check.margin[i] < -1e-6 * abs(check.limit[i]) and check.verdict[i] in (NO, MARGINAL)
    ]
    more = f", {len(names) - 2} more" if len(names) > 2 else ""
    return ", ".join(names[:2]) + more or "-"


def _bare(value: Any, unit: str, units: UnitSystem) -> str:
    return "-" if math.isnan(value) else show(float(value), unit, units).split(" ")[0]


def _label(unit: str, units: UnitSystem) -> str:
    return shown_unit(unit, units).replace("delta_degF", "°F").replace("_refrigeration", "") or "1"
