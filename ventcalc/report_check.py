"""A pile check as text for a terminal and as data for programs."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np

from ventcalc.bay_checks import bay_notes
from ventcalc.report_text import bullets, table
from ventcalc.studies.check_record import CANNOT_SAY, MARGINAL, NO, OK, Check
from ventcalc.studies.pile_check import TALLEST_HEIGHT, PileCheck
from ventcalc.units import UnitSystem, show, shown_unit

__all__ = [
    "CHECK_CAUTIONS",
    "capacity_line",
    "check_cells",
    "check_data",
    "check_text",
    "findings",
    "headline",
    "numbered_sources",
    "sweep_rows",
    "wall_rows",
]

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

_JSON = {
    "1": ("", 1.0),
    "1 percent": ("", 1.0),
    "1 ppm": ("_ppm", 1e6),
    "kg": ("_t", 1e-3),
    "kg/s": ("_kg_h", 3600.0),
    "m": ("_m", 1.0),
    "m2 small": ("_mm2", 1e6),
    "m/s": ("_m_s", 1.0),
    "m3/s": ("_m3_s", 1.0),
    "m3/(s kg)": ("_m3_s_t", 1e3),
    "N/m": ("_n_m", 1.0),
    "N m/m": ("_nm_m", 1.0),
    "Pa": ("_pa", 1.0),
    "Pa load": ("_pa", 1.0),
    "W electrical": ("_w", 1.0),
    "W refrigeration": ("_w", 1.0),
    "W/kg": ("_w_t", 1e3),
    "delta_degC": ("_k", 1.0),
    "s": ("_h", 1.0 / 3600.0),
    "s days": ("_days", 1.0 / 86400.0),
}
"""Ending of a JSON key and factor, for each unit of a check."""


def _known(value: float, unit: str, units: UnitSystem, nothing: str) -> str:
    return nothing if math.isnan(value) else show(value, unit, units)


def check_cells(check: Check, units: UnitSystem) -> list[str]:
    """Name, value, limit, margin and verdict of a check for one height."""
    return [
        check.name,
        _known(check.value, check.unit, units, "unknown"),
        _known(check.limit, check.unit, units, "none"),
        _margin(check, units),
        str(check.verdict),
    ]


def _margin(check: Check, units: UnitSystem) -> str:
    """``0.18 ± 0.36 K``; ``-`` without a margin."""
    if math.isnan(check.margin):
        return "-"
    number, _, unit = show(check.margin, check.unit, units).partition(" ")
    if check.uncertainty > 0.0:
        number += f" ± {show(check.uncertainty, check.unit, units).partition(' ')[0]}"
    return f"{number} {unit}".rstrip()


def numbered_sources(result: PileCheck) -> tuple[list[str], list[str]]:
    """Number of the source of each check, and the sources."""
    sources = list(dict.fromkeys(check.source for check in result.checks))
    return [str(sources.index(check.source) + 1) for check in result.checks], sources


def capacity_line(result: PileCheck, units: UnitSystem) -> str:
    """What the bay holds at this height, in every unit of the trade."""
    pounds = result.mass / 0.45359237
    return (
        f"Filled level to {show(result.height, 'm', units)}, the bay holds "
        f"{result.mass / 1000.0:,.1f} t = {pounds / 100.0:,.0f} cwt = {pounds:,.0f} lb; its lots "
        f"weigh {show(result.bay.mass, 'kg', units)} and stand "
        f"{show(result.least_for_lots, 'm', units)} high."
    )


def headline(result: PileCheck, units: UnitSystem) -> str:
    """May this bay be filled to this height?"""
    failing = [check.name for check in result.checks if check.verdict == NO]
    if failing:
        return f"No: {_joined(failing)}."
    # A full bay misses its own capacity by the last digit of a conversion.
    past = [
        c.name for c in result.checks if c.verdict == MARGINAL and c.margin < -1e-6 * abs(c.limit)
    ]
    if past:
        return f"Doubtful, past the limit by less than the uncertainty: {_joined(past)}."
    open_ = [check for check in result.checks if check.verdict in (MARGINAL, CANNOT_SAY)]
    if open_:
        return "Nothing here speaks against this height, but mind what is marginal or not judged."
    return "Nothing here speaks against this height."


def _joined(names: Sequence[str]) -> str:
    return "; ".join(names)


def findings(result: PileCheck, units: UnitSystem) -> list[str]:
    """The highest pile that passes, what binds, and what that leaves open."""
    lines = []
    if result.highest == 0.0:
        lines.append(f"No height passes, for at any of them fails: {_joined(result.binds)}.")
    elif not result.binds:
        lines.append(f"Everything judged here passes up to {show(TALLEST_HEIGHT, 'm', units)}.")
    else:
        lines.append(
            f"Highest pile that passes: {show(result.highest, 'm', units)}. "
            f"What binds: {_joined(result.binds)}."
        )
    later = [reach for reach in result.reaches if reach.height > result.highest + 1e-9]
    if later and result.highest > 0.0:
        told = _joined([f"{r.name} at {show(r.height, 'm', units)}" for r in later[:4]])
        lines.append(f"Next would bind: {told}.")
    if result.plant_reaches:
        least = result.plant_reaches[0]
        lines.append(
            f"Refrigeration alone, without outside air: up to {show(least.height, 'm', units)} "
            f"({least.name})."
        )
    if result.highest < result.least_for_lots:
        lines.append("The lots need more height than that: they do not all fit.")
    for verdict, words in ((MARGINAL, "Marginal"), (CANNOT_SAY, "Not judged")):
        names = [check.name for check in result.checks if check.verdict == verdict]
        if names:
            lines.append(f"{words} at {show(result.height, 'm', units)}: {_joined(names)}.")
    notes = dict.fromkeys(check.note for check in result.checks if _worth(check))
    for told in notes:
        names = [check.name for check in result.checks if check.note == told]
        lines.append(f"{_joined(names)}: {told}")
    lines += [f"Remark on the bay: {note}" for note in bay_notes(result.bay)]
    return lines


def _worth(check: Check) -> bool:
    """Notes that are not said in the cautions anyway."""
    return bool(check.note) and not check.key.startswith("wall_t") and check.key != "wall_moment"


def wall_rows(result: PileCheck, units: UnitSystem) -> list[list[str]]:
    """Methods side by side: pressure at the foot, thrust and moment per length of wall."""
    walls = result.walls
    methods = (
        ("Rankine: wall yields", walls.active),
        ("Jaky: wall stands still", walls.at_rest),
        ("silo ratio 0.54", walls.silo),
        ("silo ratio, upper value", walls.silo_upper),
        ("silo ratio with wall friction (Janssen)", walls.janssen),
    )
    return [
        [
            name,
            show(load.base_pressure, "Pa load", units),
            show(load.thrust, "N/m", units),
            show(load.moment, "N m/m", units),
        ]
        for name, load in methods
    ]


def check_text(result: PileCheck, units: UnitSystem = "metric") -> str:
    """
    Write the checks of one height.

    Parameters
    ----------
    result : PileCheck
        Of one height.
    units : {"metric", "us"}
        Units to write.

    Returns
    -------
    str
        One table, what binds, the working behind it, then the cautions.
    """
    bay = result.bay
    numbers, sources = numbered_sources(result)
    rows = [
        [*check_cells(check, units), number]
        for check, number in zip(result.checks, numbers, strict=True)
    ]
    head = ["check", "value", "limit", "margin", "verdict", "source"]
    walls = table([["", "foot", "thrust", "moment"], *wall_rows(result, units)])
    spread = f"Greatest over least ratio: {result.walls.spread:.2f} without the upper value."
    parts = [
        [f"{bay.name}: may it be filled to {show(result.height, 'm', units)}?"],
        [capacity_line(result, units)],
        [headline(result, units), ""],
        table([head, *rows]),
        ["", *bullets(findings(result, units))],
        ["", "Figures behind the checks:", *table(list(_asides(result, units)))],
        ["", "Walls, per length, by every method:", *walls, f"  {spread}"],
        ["", "Sources:", *_sources(sources)],
        ["", "Cautions:", *bullets(CHECK_CAUTIONS)],
    ]
    return "\n".join(line for part in parts for line in part)


def _asides(result: PileCheck, units: UnitSystem) -> Iterator[list[str]]:
    for check in result.checks:
        if not check.key.startswith("wall_"):
            for aside in check.asides:
                words = f"{check.key.replace('_', ' ')}: {aside.name}"
                yield [words, show(aside.value, aside.unit, units)]


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
)
"""Checks whose margins a sweep shows, and their short names."""


def sweep_rows(
    sweep: PileCheck, units: UnitSystem, step: int = 10
) -> tuple[list[str], list[list[str]]]:
    """Head and rows of a table of margins by height, every ``step``-th height."""
    shown = [(sweep.check(key), words) for key, words in _SWEPT]
    shown = [(check, words) for check, words in shown if not np.isnan(check.margin).all()]
    height = shown_unit("m", units)
    head = [
        f"height, {height}",
        f"airflow, {_label('m3/(s kg)', units)}",
        *(f"{words}, {_label(check.unit, units)}" for check, words in shown),
        "fails",
    ]
    flow = sweep.check("airflow").value
    rows = []
    for i in range(0, len(sweep.height), step):
        fails = [check.key for check in sweep.checks if check.verdict[i] == NO]
        rows.append(
            [
                show(float(sweep.height[i]), "m", units).split(" ")[0],
                show(float(flow[i]), "m3/(s kg)", units).split(" ")[0],
                *(show(float(c.margin[i]), c.unit, units).split(" ")[0] for c, _ in shown),
                ", ".join(fails) or "-",
            ]
        )
    return head, rows


def _label(unit: str, units: UnitSystem) -> str:
    return shown_unit(unit, units).replace("delta_degF", "°F") or "1"


# --- data --------------------------------------------------------------------------------


def _number(value: Any) -> Any:
    array = np.asarray(value, float)
    told = [round(float(x), 9) if math.isfinite(x) else None for x in array.ravel()]
    return told if array.ndim else told[0]


def _figures(unit: str, **named: Any) -> dict[str, Any]:
    ending, factor = _JSON[unit]
    return {f"{name}{ending}": _number(np.asarray(v, float) * factor) for name, v in named.items()}


def _check_data(check: Check) -> dict[str, Any]:
    figures = _figures(
        check.unit,
        value=check.value,
        limit=check.limit,
        margin=check.margin,
        uncertainty=check.uncertainty,
    )
    verdict = check.verdict if isinstance(check.verdict, str) else check.verdict.tolist()
    beside: dict[str, Any] = {}
    for aside in check.asides:
        beside.update(_figures(aside.unit, **{aside.key: aside.value}))
    return {
        "key": check.key,
        "name": check.name,
        **figures,
        "verdict": verdict,
        "formula": check.formula,
        "source": check.source,
        "note": check.note,
        "figures": beside,
    }


def check_data(result: PileCheck, sweep: PileCheck | None = None) -> dict[str, Any]:
    """
    A check as JSON data, SI units in its keys.

    Parameters
    ----------
    result : PileCheck
        Of one height.
    sweep : PileCheck, optional
        Of many heights.

    Returns
    -------
    dict
        Ready for ``json.dumps``; ``None`` where a number is not known.
    """
    pounds = result.mass / 0.45359237
    data: dict[str, Any] = {
        "bay": result.bay.name,
        "height_m": _number(result.height),
        "capacity_t": _number(result.mass / 1000.0),
        "capacity_cwt": _number(pounds / 100.0),
        "capacity_lb": _number(pounds),
        "lots_t": _number(result.bay.mass / 1000.0),
        "lots_height_m": _number(result.least_for_lots),
        "highest_that_passes_m": _number(result.highest),
        "binds": list(result.binds),
        "reaches": [{"name": r.name, "height_m": _number(r.height)} for r in result.reaches],
        "verdict": _overall(result),
        "checks": [_check_data(check) for check in result.checks],
        "cautions": list(CHECK_CAUTIONS),
    }
    if sweep is not None:
        data["sweep"] = {
            "height_m": _number(sweep.height),
            "capacity_t": _number(np.asarray(sweep.mass) / 1000.0),
            "checks": [_check_data(check) for check in sweep.checks],
        }
    return data


def _overall(result: PileCheck) -> str:
    verdicts = {check.verdict for check in result.checks}
    return next(v for v in (NO, MARGINAL, CANNOT_SAY, OK) if v in verdicts)
