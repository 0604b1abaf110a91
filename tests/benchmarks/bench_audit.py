"""
The audit log of a bay-season at defaults (a reading a minute): by a simulated day, times 245, and
as a whole file into which that day was written 245 times, its counters and times going on.

A pack is compressed by itself, so that a day repeated takes what days that differ would take.
"""

from __future__ import annotations

import json
import sys
import time
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[1] / "bridge"))

from bridge_world import World

from firmware_bridge.journal.audit import PACK, AuditLog, Entry, entries, verify

SEASON = 245
"""Days of a bay-season."""
PAGE = 4084
"""Bytes that a page of SQLite holds of a long value; it takes 4096."""


def day(folder: Path) -> tuple[list[Entry], dict[str, Any]]:
    """A day's entries, and what they take once they are packed; what stands alone does not grow."""
    one, spent = World(folder), time.process_time()
    one.run(86400.0, step=10.0)
    spent = time.process_time() - spent
    rows = one.audit._database.execute("SELECT length(data) FROM pack").fetchall()
    taken = sum(-(-size // PAGE) * 4096 for (size,) in rows)
    one.close()
    found = [entry for _, entry, _ in entries(folder / "audit.db")]
    each = taken / (PACK * len(rows))
    return found, {
        "bytes an entry, packed": round(each, 1),
        "MB a bay-season, by a day": round(each * len(found) * SEASON / 1e6, 1),
        "entries of a day": dict(Counter(entry.kind for entry in found)),
        "s of CPU for the day, with the bay model": round(spent, 1),
    }


def later(found: list[Entry], days: int) -> Iterator[Entry]:
    """The same some days later; advice and answers with counters that have gone on."""
    more = 1440 * days
    for one in found:
        body = one.body
        if one.kind == "advice":
            row, _, rest = body.partition(b" ")
            numbers = json.loads(row)
            numbers[2] += more
            numbers[4] += more
            body = json.dumps(numbers, separators=(",", ":")).encode() + b" " + rest
        elif one.kind == "ack":
            code, boot, seq, *rest = json.loads(body)
            body = json.dumps([code, boot, seq + more, *rest], separators=(",", ":")).encode()
        yield Entry(t=one.t + 86400.0 * days, bay=one.bay, kind=one.kind, body=body)


def season(folder: Path) -> dict[str, Any]:
    """A day, and a whole file of 245 of them."""
    (folder / "day").mkdir()
    found, told = day(folder / "day")
    path, spent = folder / "audit.db", time.process_time()
    log = AuditLog(path)
    log._database.execute("PRAGMA synchronous = OFF")  # the disk is not what is measured
    for days in range(SEASON):
        log.write(list(later(found, days)))
        while log.pack():
            pass
    log._database.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    count = log.length
    log.close()
    assert verify(path) == (count, "")
    return told | {
        "entries of a season": count,
        "MB a bay-season, the whole file": round(path.stat().st_size / 1e6, 1),
        "s of CPU to write and verify it": round(time.process_time() - spent, 1),
    }


def test_audit_of_a_season(benchmark: Any, tmp_path: Path) -> None:
    """Goal: under 60 MB a bay-season."""
    found = benchmark.pedantic(season, (tmp_path,), rounds=1)
    benchmark.extra_info |= found
    print(f"\n{found}")
    assert found["MB a bay-season, the whole file"] < 60.0
