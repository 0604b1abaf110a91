"""What a log says of its bay, as plain text and for JSON."""

from __future__ import annotations

from dataclasses import asdict
from datetime import datetime
from typing import Any

from ventcalc.bay.description import Bay
from ventcalc.diagnose.diagnose import UNSEEN, Diagnosis
from ventcalc.diagnose.findings import Finding
from ventcalc.diagnose.offsets import PROBE_WORDS, SensorOffsets
from ventcalc.report.season_days import local
from ventcalc.report.table import bullets
from ventcalc.units import UnitSystem, show

__all__ = ["diagnosis_data", "diagnosis_text", "finding_lines"]

WORDS = {1: "DANGER to people or crop", 2: "Equipment", 3: "To be looked at"}
"""Levels of alarms."""


def diagnosis_text(bay: Bay, found: Diagnosis, units: UnitSystem = "metric") -> str:
    """Findings, the worst first, and what was not looked at."""
    lines = [
        f"{bay.name}, log of {found.rows:,} rows from {_when(bay, found.first)} to "
        f"{_when(bay, found.last)}"
    ]
    if not found.findings:
        lines += ["", "Nothing found."]
    for finding in found.findings:
        lines += ["", *finding_lines(bay, finding)]
    idle = sorted(name for name, hours in found.looked.items() if hours == 0.0)
    if idle:
        lines += ["", "Not looked at: the log lacks columns, or the conditions in which it shows:"]
        lines += bullets([", ".join(name.replace("_", " ") for name in idle)])
    lines += ["", "Offsets of the probes, by the balances of the log:"]
    lines += bullets(_offset_lines(found.offsets, units))
    return "\n".join([*lines, "", "Cannot be seen in such a log:", *bullets(UNSEEN)])


def finding_lines(bay: Bay, finding: Finding) -> list[str]:
    """What, where, since when, how sure, what to look at first."""
    place = f" ({finding.place})." if finding.place else "."
    return [
        f"{WORDS[finding.level]}: {finding.text.removesuffix('.')}{place}",
        f"  Since {_when(bay, finding.since)}, last seen {_when(bay, finding.until)}; "
        f"{finding.sure}: showed in {finding.shown_hours:.0f} of the {finding.able_hours:.0f} h "
        "that can show it.",
        f"  First: {finding.first}",
    ]


def _when(bay: Bay, stamp: str) -> str:
    return f"{local(bay, datetime.fromisoformat(stamp).timestamp()):%d %b %Y %H:%M}"


def _offset_lines(found: SensorOffsets, units: UnitSystem) -> list[str]:
    """How far the probes are off, or why nobody can tell."""
    if found.why_not:
        return [f"Cannot tell: {found.why_not}.", *_outside_lines(found, units)]
    size, doubt = (float(x[-1]) for x in (found.wetting_difference, found.wetting_uncertainty))
    way = "no more than chance would give"
    if abs(size) > 2.0 * doubt:
        way = "it is farther than it looks" if size > 0.0 else "it is nearer than it looks: unsafe"
    lines = [
        f"Plenum dew point against the pulp: off by {show(abs(size), 'delta_degC', units)} ± "
        f"{show(doubt, 'delta_degC', units)}, {way}. "
        "Only this counts for wetting. It moves the margin only with `advise --learn-from`."
    ]
    for name in PROBE_WORDS:
        size, doubt = (0.01 * float(x[name][-1]) for x in (found.offsets, found.uncertainties))
        way = "high" if size > 0.0 else "low"
        lines.append(
            f"{PROBE_WORDS[name]}: {show(abs(size), '1 percent', units)} {way} ± "
            f"{show(doubt, '1 percent', units)}."
        )
    return [*lines, *_outside_lines(found, units)]


def _outside_lines(found: SensorOffsets, units: UnitSystem) -> list[str]:
    """The outside probe, known by the forecast or a station only."""
    if found.why_not_outside:
        return [f"Outside probe: cannot tell: {found.why_not_outside}."] if found.offsets else []
    size, doubt = (float(x["outside"][-1]) for x in (found.offsets, found.uncertainties))
    return [
        f"Outside probe: {show(abs(size), 'delta_degC', units)} {'high' if size > 0.0 else 'low'} "
        f"± {show(doubt, 'delta_degC', units)}, against the forecast by night."
    ]


def _offsets_data(found: SensorOffsets) -> dict[str, Any]:
    """At the end of the log; numbers only where they can be told."""
    outside: dict[str, Any] = {"cannot_tell_outside": found.why_not_outside or None}
    if not found.why_not_outside:
        sizes = (found.offsets["outside"], found.uncertainties["outside"])
        outside["outside_k"] = [round(float(x[-1]), 3) for x in sizes]
    if found.why_not:
        return {"cannot_tell": found.why_not, **outside}
    return {
        "cannot_tell": None,
        **outside,
        "wetting_k": round(float(found.wetting_difference[-1]), 3),
        "wetting_standard_uncertainty_k": round(float(found.wetting_uncertainty[-1]), 3),
        "probes": {
            f"{name}_{'percent' if name.endswith('humidity') else 'k'}": [
                round(float(found.offsets[name][-1]), 3),
                round(float(found.uncertainties[name][-1]), 3),
            ]
            for name in found.offsets
        },
    }


def diagnosis_data(bay: Bay, found: Diagnosis) -> dict[str, Any]:
    """Findings for JSON; times are UTC."""
    return {
        "bay": bay.name,
        "first": found.first,
        "last": found.last,
        "rows": found.rows,
        "left_out": list(found.remarks),
        "findings": [asdict(finding) for finding in found.findings],
        "looked_h": {name: round(hours, 1) for name, hours in found.looked.items()},
        "offsets": _offsets_data(found.offsets),
        "cannot_be_seen": list(UNSEEN),
    }
