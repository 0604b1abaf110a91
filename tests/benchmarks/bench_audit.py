"""The audit log of one simulated day at defaults (a reading a minute), times a bay-season."""

from __future__ import annotations

import sys
import time
from collections import Counter
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[1] / "bridge"))

from bridge_world import World

from firmware_bridge.journal.audit import PACK, entries, verify

SEASON = 245
"""Days of a bay-season."""


PAGE = 4084
"""Bytes that a page of SQLite holds of a long value; it takes 4096."""


def day(folder: Path) -> dict[str, Any]:
    """One day and what it takes once it is packed; what stands one by one does not grow."""
    one, spent = World(folder), time.process_time()
    one.run(86400.0, step=10.0)
    spent = time.process_time() - spent
    rows = one.audit._database.execute("SELECT length(data) FROM pack").fetchall()
    taken = sum(-(-size // PAGE) * 4096 for (size,) in rows)
    loose = (one.folder / "audit.db").stat().st_size - taken
    a_day = one.audit.length
    one.close()
    path = folder / "audit.db"
    kinds = Counter(entry.kind for _, entry, _ in entries(path))
    assert verify(path)[1] == ""
    each = taken / (PACK * len(rows))
    return {
        "bytes an entry, packed": round(each, 1),
        "MB a bay-season": round(each * a_day * SEASON / 1e6, 1),
        "MB standing one by one": round(loose / 1e6, 2),
        "entries of a day": dict(kinds),
        "s of CPU, with the bay model": round(spent, 1),
    }


def test_audit_of_a_day(benchmark: Any, tmp_path: Path) -> None:
    """Goal: under 60 MB a bay-season."""
    found = benchmark.pedantic(day, (tmp_path,), rounds=1)
    benchmark.extra_info |= found
    print(f"\n{found}")
    assert found["MB a bay-season"] < 60.0
