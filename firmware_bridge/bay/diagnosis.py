"""
What is wrong with a bay, by its journal: the very rules of ``ventcalc diagnose`` over the last
weeks.

With ``advisor`` a door to ``ventcalc``. It takes about a second, so it runs beside the loop; what
comes out is plain values.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from firmware_bridge.bay.advisor import FIRST, LONGEST, trouble_of
from firmware_bridge.errors import BadConfig
from firmware_bridge.sensors.sample import Sample
from firmware_bridge.wire.messages import Alarm
from ventcalc.bay.description import Bay
from ventcalc.diagnose.diagnose import Diagnosis as Found
from ventcalc.diagnose.diagnose import diagnose, evidence_of, told
from ventcalc.diagnose.findings import Finding
from ventcalc.diagnose.log import COLUMNS, Log
from ventcalc.errors import VentcalcError
from ventcalc.report.diagnose_text import diagnosis_text, finding_lines
from ventcalc.units import UnitSystem

__all__ = [
    "DAYS",
    "EVERY",
    "Diagnosis",
    "diagnosis_of",
    "diagnosis_report",
    "new_alarms",
    "no_diagnosis",
]

DAYS = 21.0
"""So far back it looks: what is usual of a probe is learnt from the 17 days before. [d]"""
EVERY = 300.0
"""One reading in so long is enough for every rule. [s]"""
LEAST = 86400.0
"""A journal shorter than that shows hardly anything. [s]"""
PULP, POWER = "pulp_temperature", "electric_power"
LONGEST_GAP = 3600.0
"""Between readings, over which the electric power is taken to last. [s]"""
KINDS = frozenset(name for name, *_ in COLUMNS.values())
"""Kinds of channel that the rules know; they bear the names of the library's log."""
NEEDED = {
    "plenum_temperature": "the plenum's temperature",
    "return_temperature": "the return air's temperature",
    "fan_speed": "the speed of the fans",
}
NEVER_TRUE = frozenset({"missing", "implausible", "units", "beyond"})
"""Faults of values that were never there; what is stuck or contradicts others is what is sought."""
SAME = {"pile_uneven": "pile_spread"}
"""Findings that the adviser has an alarm for, under another name."""
_UNITS: tuple[UnitSystem, ...] = ("metric", "us")
Rows = Iterable[tuple[float, Sample]]
"""Time of day, UTC [s], and what was stored."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Diagnosis:
    """What the journal of a bay shows."""

    made: float
    """UTC. [s]"""
    trouble: str = ""
    """Why nothing can be said."""
    said: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    """Sentences by the system of units."""
    alarms: tuple[Alarm, ...] = ()
    """Of what stands, one of a kind, the gravest first."""


def diagnosis_of(
    bay: Bay,
    rows: Rows,
    made: float,
    ignore: Collection[str] = (),
    heights: Mapping[str, float] | None = None,
    foretold: Mapping[int, float] | None = None,
) -> Diagnosis:
    """
    Look through the readings, beside them outside air as it was ``foretold`` by the hour [°C].

    Raises whatever a rule stumbles over, and ``BadConfig`` where there is too little.
    """
    log = _log(list(rows), ignore, heights or {}, foretold or {})
    evidence = evidence_of(bay, log)
    found = {units: told(evidence, units) for units in _UNITS}
    return Diagnosis(
        made=made,
        said={units: _sentences(bay, one, units) for units, one in found.items()},
        alarms=_alarms(found["metric"].findings),
    )


def no_diagnosis(made: float, error: Exception) -> Diagnosis:
    """That nothing can be said, and why."""
    return Diagnosis(made=made, trouble=trouble_of(error))


def diagnosis_report(bay: Bay, rows: Rows, ignore: Collection[str], units: str) -> str:
    """The same as ``ventcalc diagnose`` prints it."""
    system: UnitSystem = "us" if units == "us" else "metric"
    try:
        return diagnosis_text(bay, diagnose(bay, _log(list(rows), ignore, {}, {}), system), system)
    except VentcalcError as error:
        raise BadConfig(str(error)) from None


def new_alarms(diagnosis: Diagnosis | None, standing: Collection[Alarm]) -> tuple[Alarm, ...]:
    """What the adviser does not say by itself already."""
    if diagnosis is None:
        return ()
    said = {alarm.id for alarm in standing}
    return tuple(
        alarm for alarm in diagnosis.alarms if not {alarm.id, SAME.get(alarm.id, "")} & said
    )


# --- readings as a log ---------------------------------------------------------------------------


def _log(
    rows: Sequence[tuple[float, Sample]],
    ignore: Collection[str],
    heights: Mapping[str, float],
    foretold: Mapping[int, float],
) -> Log:
    kept: list[tuple[float, Sample]] = []
    for t, sample in rows:
        if sample.fresh and (not kept or t > kept[-1][0]):
            kept.append((t, sample))
    if not kept or kept[-1][0] - kept[0][0] < LEAST:
        raise BadConfig("the journal holds less than a day of readings")
    kinds = {key: kind for key, kind in kept[-1][1].kinds.items() if key not in ignore}
    table = np.array([[one.values.get(key, math.nan) for key in kinds] for _, one in kept])
    place = {key: k for k, key in enumerate(kinds)}
    for row, (_, one) in zip(table, kept, strict=True):
        for key, fault in one.faults.items():
            if fault in NEVER_TRUE and key in place:
                row[place[key]] = math.nan
    columns = {
        kind: [place[key] for key, one in kinds.items() if one == kind] for kind in kinds.values()
    }
    lacks = [words for kind, words in NEEDED.items() if kind not in columns]
    if lacks:
        raise BadConfig(f"the readings lack {' and '.join(lacks)}")
    probes = [key for key, kind in kinds.items() if kind == PULP]
    places = [heights.get(key, math.nan) for key in probes]
    time = np.array([t for t, _ in kept])
    values = {kind: _mean(table[:, columns[kind]]) for kind in columns if kind in KINDS}
    if POWER in columns:  # of all meters; over a gap nobody knows it
        lasted = np.diff(time, prepend=math.nan)
        lasted[lasted > LONGEST_GAP] = math.nan
        values["energy"] = table[:, columns[POWER]].sum(axis=1) * lasted
    if foretold:
        hours = (time // 3600.0).astype(int).tolist()
        values["forecast_temperature"] = np.array([foretold.get(k, math.nan) for k in hours])
    return Log(
        time=time,
        values=values,
        pulp=table[:, columns.get(PULP, [])],
        heights=None if any(map(math.isnan, places)) else tuple(places),
        rows=len(kept),
    )


def _mean(values: NDArray[np.float64]) -> NDArray[np.float64]:
    """Of the channels of a kind that were read; NaN where none was."""
    heard = ~np.isnan(values)
    with np.errstate(invalid="ignore"):
        found: NDArray[np.float64] = np.where(heard, values, 0.0).sum(axis=1) / heard.sum(axis=1)
    return found


# --- words ---------------------------------------------------------------------------------------


def _sentences(bay: Bay, found: Found, units: UnitSystem) -> tuple[str, ...]:
    """The worst first; then what could not be looked at."""
    standing = [one for one in found.findings if one.stands]
    over = [one for one in found.findings if not one.stands]
    span = f"{found.rows:,} readings from {found.first[:10]} to {found.last[:10]}"
    lines = [f"{len(standing) or 'Nothing'} to look at, by {span}."]
    lines += [" ".join(part.strip() for part in finding_lines(bay, one)) for one in standing]
    lines += [
        "Over: " + " ".join(part.strip() for part in finding_lines(bay, one)[:-1]) for one in over
    ]
    idle = sorted(name for name, hours in found.looked.items() if hours == 0.0)
    if idle:
        names = ", ".join(name.replace("_", " ") for name in idle)
        lines.append(f"Could not be looked for, by what was read and ran: {names}.")
    return tuple(lines)


def _alarms(findings: Sequence[Finding]) -> tuple[Alarm, ...]:
    """One of a kind, of those that stand."""
    kinds: dict[str, list[Finding]] = {}
    for one in findings:
        if one.stands:
            kinds.setdefault(one.id, []).append(one)
    return tuple(_alarm(some) for some in kinds.values())


def _alarm(some: Sequence[Finding]) -> Alarm:
    worst = some[0]
    place = f"{worst.place.partition(',')[0]}: " if worst.place else ""
    more = f" (and {len(some) - 1} more)" if len(some) > 1 else ""
    text = f"{place}{worst.text.removesuffix('.')}"[: LONGEST - len(more)]
    return Alarm(
        id=worst.id,
        level=worst.level,  # type: ignore[arg-type]
        text=f"{text}{more}",
        since=worst.since,
        first=worst.first[:FIRST],
    )
