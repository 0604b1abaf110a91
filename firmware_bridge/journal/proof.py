"""What the audit log says of a piece of advice, and the log of a bay as a table."""

from __future__ import annotations

import csv
import math
from collections import deque
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, TextIO

import msgspec

from firmware_bridge.codes import ACTIONS, MODES, NONE_REASONS, TARGETS
from firmware_bridge.errors import JournalError
from firmware_bridge.journal.audit import Entry, entries
from firmware_bridge.quantities import QUANTITIES
from firmware_bridge.sensors.sample import Sample, actual_positions
from firmware_bridge.wire.messages import Ack, AdviceRow

__all__ = ["COLUMNS", "POSITIONS", "ack_body", "advice_body", "log_of", "write_log"]

POSITIONS = {
    "fan": "fan_speed", "door": "door_opening", "water": "humidifier", "cool": "refrigeration",
    "heat": "heater",
}  # fmt: skip
"""Devices as people and the library call them, 0-1."""
COLUMNS = (
    "time_utc", "kind", "boot", "seq", "reading_boot", "reading_seq", "mode", "action", "none",
    "text", *POSITIONS.values(), "air_c", "sent", "answer", "answered_utc", "by",
    *(f"took_{name}" for name in POSITIONS.values()),
    *(f"then_{name}" for name in POSITIONS.values()), "reading", "doubted",
)  # fmt: skip
"""
Of the table: advice, answer, what the controller took of it, what its machines did at the next
advice, and the reading that it rests on (JSON by channel; °C, 0-1, volume fraction, Pa).
"""
_DIGITS = {
    kind: max(0, math.ceil(-math.log10(one.packing) - 1e-9)) for kind, one in QUANTITIES.items()
}
LATE = 16
"""So many pieces of advice are held for their answers."""


_BY_PEOPLE = ("tell", "release", "acknowledge")
"""Kinds of entry that begin with a name."""


def advice_body(row: bytes, sample: Sample | None, text: str) -> bytes:
    """Advice as an entry of the audit log: the row, the reading that it rests on, the text."""
    seen: list[Any] = []
    if sample is not None:
        kinds, done = sample.kinds, actual_positions(sample)
        values = {key: round(value, _DIGITS[kinds[key]]) for key, value in sample.values.items()}
        seen = [values, [round(getattr(done, name), 4) for name in TARGETS]]
        seen += [sample.faults] if sample.faults else []
    return b"%b %b %b" % (row, msgspec.json.encode(seen), text.encode())


def ack_body(ack: Ack) -> bytes:
    """An answer as an entry of the audit log: code, advice, what was taken, and by whom."""
    found = [ack.code, *ack.ref, *(getattr(ack, name) for name in TARGETS)]
    return msgspec.json.encode([*found, ack.by] if ack.by else found)


def log_of(path: Path, bay: str, start: float, end: float) -> Iterator[dict[str, Any]]:
    """The audit log of a bay, answers beside their advice, by ``COLUMNS``."""
    held: deque[dict[str, Any]] = deque()
    last: dict[str, Any] = {}
    for n, entry, _ in entries(path):
        if entry.bay != bay or not start <= entry.t < end + 60.0:
            continue
        try:
            row = _row(entry, held, last)
        except (msgspec.DecodeError, ValueError, TypeError, IndexError):
            raise JournalError(
                f"{path}: entry {n} cannot be read; firmware-bridge verify"
            ) from None
        if row is None or entry.t >= end:
            continue
        held.append(row)
        last = row if "seq" in row else last
        if len(held) > LATE:
            yield held.popleft()
    yield from held


def _row(entry: Entry, held: deque[dict[str, Any]], last: dict[str, Any]) -> dict[str, Any] | None:
    """A row of its own, or None for what belongs to one that is held."""
    if entry.kind in ("advice", "observe"):
        return _advice(entry, last)
    if entry.kind == "ack":
        code, boot, seq, *taken = msgspec.json.decode(entry.body)
        for row in held:
            if (row.get("boot"), row.get("seq")) == (boot, seq):
                took = {
                    f"took_{POSITIONS[name]}": one
                    for name, one in zip(TARGETS, taken, strict=False)
                }
                by = taken[len(TARGETS)] if len(taken) > len(TARGETS) else ""
                row |= {"answer": code, "answered_utc": _time(entry.t), "by": by, **took}
        return None
    if entry.kind == "unsent":
        name = tuple(msgspec.json.decode(entry.body))
        for row in held:
            if (row.get("boot"), row.get("seq")) == name:
                row["sent"] = "no"
        return None
    line = {"time_utc": _time(entry.t), "kind": entry.kind}
    if entry.kind in _BY_PEOPLE:
        by, text = msgspec.json.decode(entry.body, type=tuple[str, str])
        return {**line, "by": _plain(by.encode()), "text": _plain(text.encode())}
    return {**line, "text": _plain(entry.body)}


def _advice(entry: Entry, last: dict[str, Any]) -> dict[str, Any]:
    first, second, text = entry.body.split(b" ", 2)
    row = msgspec.json.decode(first, type=AdviceRow)
    seen: list[Any] = msgspec.json.decode(second)
    nothing: list[Any] = [{}, [], {}]
    values, done, faults = seen + nothing[len(seen) :]
    last |= {f"then_{POSITIONS[name]}": one for name, one in zip(TARGETS, done, strict=False)}
    positions = {POSITIONS[name]: getattr(row, name) for name in TARGETS}
    return {
        "time_utc": _time(entry.t),
        "kind": entry.kind,
        "boot": row.boot,
        "seq": row.seq,
        "reading_boot": row.for_boot,
        "reading_seq": row.for_seq,
        "mode": "observe" if entry.kind == "observe" else MODES[row.mode],
        "action": "" if row.reason else ACTIONS[row.action],
        "none": NONE_REASONS[row.reason] if row.reason else "",
        "text": _plain(text),
        **{k: v / 1000.0 for k, v in positions.items() if v is not None and v >= 0},
        **({} if row.air is None else {"air_c": row.air / 100.0}),
        "sent": "no" if entry.kind == "observe" else "yes",
        "reading": msgspec.json.encode(values).decode(),
        "doubted": msgspec.json.encode(faults).decode() if faults else "",
    }


def _time(t: float) -> str:
    return datetime.fromtimestamp(t, UTC).isoformat(timespec="milliseconds")


def _plain(text: bytes) -> str:
    return "".join(c if c.isprintable() else "?" for c in text.decode(errors="replace"))


def write_log(path: Path, bay: str, file: TextIO, start: float, end: float) -> int:
    """Write the audit log of a bay as CSV."""
    writer = csv.DictWriter(file, COLUMNS, lineterminator="\n")
    writer.writeheader()
    count = 0
    for row in log_of(path, bay, start, end):
        writer.writerow(row)
        count += 1
    return count
