"""What a log says of its bay, as plain text and for JSON."""

from __future__ import annotations

from dataclasses import asdict
from datetime import datetime
from typing import Any

from ventcalc.bay.description import Bay
from ventcalc.diagnose.diagnose import UNSEEN, Diagnosis
from ventcalc.diagnose.findings import Finding
from ventcalc.report.season_days import local
from ventcalc.report.table import bullets

__all__ = ["diagnosis_data", "diagnosis_text"]

WORDS = {1: "DANGER to people or crop", 2: "Equipment", 3: "To be looked at"}
"""Levels of alarms."""


def diagnosis_text(bay: Bay, found: Diagnosis) -> str:
    """Findings, the worst first, and what was not looked at."""
    lines = [
        f"{bay.name}, log of {found.rows} rows from {_when(bay, found.first)} to "
        f"{_when(bay, found.last)}"
    ]
    if not found.findings:
        lines += ["", "Nothing found."]
    for finding in found.findings:
        lines += ["", *_one(bay, finding)]
    idle = sorted(name for name, hours in found.looked.items() if hours == 0.0)
    if idle:
        lines += ["", "Not looked at: the log lacks columns, or the conditions in which it shows:"]
        lines += bullets([", ".join(name.replace("_", " ") for name in idle)])
    return "\n".join([*lines, "", "Cannot be seen in such a log:", *bullets(UNSEEN)])


def _one(bay: Bay, finding: Finding) -> list[str]:
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
        "cannot_be_seen": list(UNSEEN),
    }
