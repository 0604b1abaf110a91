"""
The bridge for minutes under trouble: is its memory flat, are its queues short?

A hundred bays at two readings a second each, twice a second a controller that restarts, one that
repeats itself and one that sends what nobody can read, and the broker restarted once a minute. The
bridge's clock runs twenty times as fast, so that hours are packed meanwhile. ``SOAK_SECONDS`` sets
how long (360 by default).
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from pathlib import Path
from statistics import fmean, linear_regression
from typing import Any

sys.path[:0] = [str(Path(__file__).parent), str(Path(__file__).parents[1] / "bridge")]

from bench_bridge import config_of, controllers  # noqa: E402
from bridge_live import Broker, need_mosquitto, until  # noqa: E402

from firmware_bridge.journal.audit import verify  # noqa: E402
from firmware_bridge.journal.journal import Journal  # noqa: E402

SECONDS = float(os.environ.get("SOAK_SECONDS", "360"))
BAYS, EVERY, PACE = 100, 0.5, 20.0
RESTART_EVERY = 60.0
"""Of the broker. [s]"""


def soak(folder: Path) -> dict[str, Any]:
    """One run; what the bridge held meanwhile."""
    broker = Broker(folder / "broker")
    config = config_of(folder, broker.port, range(BAYS), every=0.4 * EVERY * PACE)
    watched, out = Path(__file__).with_name("bridge_watched.py"), folder / "watch.jsonl"
    bridge = subprocess.Popen([sys.executable, str(watched), str(config), str(out), str(PACE)])
    try:
        until((folder / "bridge-a" / "instance").exists, 30.0, "bridge started")
        time.sleep(3.0)
        crowd = controllers(
            folder, broker.port, "--last", str(BAYS), "--every", str(EVERY), "--pace", str(PACE),
            "--seconds", str(SECONDS), "--settle", "0", "--trouble",
        )  # fmt: skip
        end, restarts = time.monotonic() + SECONDS, 0
        while (left := end - time.monotonic()) > 0.0:
            time.sleep(min(RESTART_EVERY, left))
            if end - time.monotonic() > 10.0:
                broker.stop()
                time.sleep(1.0)
                broker.start()
                restarts += 1
        assert crowd.wait(60.0) == 0
    finally:
        bridge.terminate()
        code = bridge.wait(30.0)
        broker.kill()
    assert code == 0
    lines = [json.loads(line) for line in out.read_text(encoding="utf-8").splitlines()]
    said = json.loads((folder / "crowd.json").read_text(encoding="utf-8"))
    length, problem = verify(folder / "bridge-a" / "audit.db")
    journal = Journal(folder / "bridge-a" / "journal.db", read_only=True)
    stored = sum(1 for n in range(BAYS) for _ in journal.rows(f"b{n:03d}"))
    hours = journal._database.execute("SELECT count(DISTINCT hour) FROM block").fetchone()[0]
    journal.close()
    return _figures(lines) | {
        "broker restarts": restarts,
        "controllers": said,
        "audit": [length, problem],
        "rows stored": stored,
        "hours packed": hours,
        "load average": os.getloadavg()[0],
    }


def _figures(lines: list[dict[str, float]]) -> dict[str, Any]:
    """Memory by minutes and its slope in the second half; the longest that each queue was."""
    later = [line for line in lines if line["at"] > 0.5 * lines[-1]["at"]]
    slope = linear_regression([line["at"] for line in later], [line["mb"] for line in later]).slope
    by_minute: dict[int, list[float]] = {}
    for line in lines:
        by_minute.setdefault(int(line["at"] // 60), []).append(line["mb"])
    queues = ("incoming", "outgoing", "samples", "events", "entries", "turn", "overflow")
    return {
        "MB by minute": [round(fmean(found), 2) for found in by_minute.values()],
        "MB per hour": round(3600.0 * slope, 2),
        "advice sent": lines[-1]["sent"],
        "most": {name: round(max(line.get(name, 0.0) for line in lines), 3) for name in queues},
    }


def test_memory_is_flat_and_queues_are_short(benchmark: Any, tmp_path: Path) -> None:
    """Figures go into the record; only what can never be right fails."""
    need_mosquitto()
    found = benchmark.pedantic(soak, (tmp_path,), rounds=1)
    benchmark.extra_info |= found
    print(f"\n{json.dumps(found)}")
    assert found["audit"][1] == ""
    assert found["controllers"]["said"]["advice"] > 0
    assert found["most"]["incoming"] < 20_000
    assert found["most"]["overflow"] == 0
