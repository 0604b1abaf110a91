"""What was advised, from the audit log to CSV: one row each time, positions from 0 to 1."""

from __future__ import annotations

import csv
from datetime import UTC, datetime
from pathlib import Path
from typing import TextIO

from firmware_bridge.codes import ACTIONS, NONE_REASONS
from firmware_bridge.errors import JournalError
from firmware_bridge.journal.audit import entries
from firmware_bridge.wire.messages import AdviceRow, decode

__all__ = ["write_advice_csv"]

_POSITIONS = {
    "fan": "fan_speed",
    "door": "door_opening",
    "water": "humidifier",
    "cool": "refrigeration",
    "heat": "heater",
}
_KINDS = ("advice", "observe")
"""Entries that hold advice; what only observed went to people, not to the controller."""


def write_advice_csv(audit: Path, bay: str, file: TextIO, start: float, end: float) -> int:
    """
    Write what a bay was advised as CSV.

    Parameters
    ----------
    audit : Path
        The audit log.
    bay : str
        Name of the bay.
    file : text file
        Where to.
    start, end : float
        Wall clock, UTC; the end is not included. [s]

    Returns
    -------
    int
        Number of rows.

    Raises
    ------
    JournalError
        If the log cannot be read, or holds no advice to the bay.

    Notes
    -----
    An empty position was left alone; ``none`` says why nothing was advised.
    """
    writer = csv.writer(file, lineterminator="\n")
    writer.writerow(["time_utc", "mode", "action", "none", *_POSITIONS.values(), "text"])
    count = 0
    for _, entry, _ in entries(audit):
        if entry.bay != bay or entry.kind not in _KINDS or not start <= entry.t < end:
            continue
        row, _, text = entry.body.partition(b"] ")
        told = decode(row + b"]", AdviceRow)
        thousandths = (getattr(told, name) for name in _POSITIONS)
        cells = ["" if x is None or x < 0 else f"{x / 1000:.3f}" for x in thousandths]
        none = NONE_REASONS[told.reason] if told.reason else ""
        action = "" if none else ACTIONS[told.action]
        time = datetime.fromtimestamp(entry.t, UTC).isoformat(timespec="milliseconds")
        writer.writerow([time, entry.kind, action, none, *cells, text.decode()])
        count += 1
    if not count:
        raise JournalError(f"the audit log holds no advice to bay {bay!r}")
    return count
