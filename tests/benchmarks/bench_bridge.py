"""
The bridge as it runs: 200 bays at a reading a second each, from publish to advice received.

Broker, bridge and controllers are three processes of one machine. ``BRIDGE_SECONDS`` sets how
long is measured (12 by default, 60 for figures to keep), ``BRIDGE_BAYS`` how many bays there are.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import pytest

sys.path[:0] = [str(Path(__file__).parent), str(Path(__file__).parents[1] / "bridge")]

from bridge_live import BAY_FILE, Broker, LiveBridge, need_mosquitto, until  # noqa: E402

SECONDS = float(os.environ.get("BRIDGE_SECONDS", "12"))
BAYS = int(os.environ.get("BRIDGE_BAYS", "200"))
SETTLE = 5.0
CROWD = Path(__file__).with_name("bridge_crowd.py")
HEAD = """
[bridge]
name = "{name}"
data = "{folder}/{name}"
locks = "{folder}/locks"
low_disk_mb = 1
[broker]
port = {port}
tls = false
reconnect_s = 1
"""
BAY = """
[[bays]]
name = "b{n:03d}"
bay_file = "{file}"
mode = "bounded"
set_by = "the benchmark"
advice_every_s = {every}
max_age_s = 60
ttl_s = 60
lost_after_s = 90
[bays.limits]
minimum_on_s = 0
minimum_off_s = 0
"""


def config_of(folder: Path, port: int, bays: range, every: float, name: str = "bridge-a") -> Path:
    """A configuration for many bays."""
    text = HEAD.format(folder=folder, port=port, name=name)
    text += "".join(BAY.format(n=n, file=BAY_FILE, every=every) for n in bays)
    path = folder / f"{name}.toml"
    path.write_text(text, encoding="utf-8")
    return path


def controllers(folder: Path, port: int, *words: str) -> subprocess.Popen[bytes]:
    """The controllers, in a process of their own."""
    command = [sys.executable, str(CROWD), "--port", str(port), "--out", str(folder / "crowd.json")]
    return subprocess.Popen([*command, *words])


def used(pid: int) -> tuple[float, float]:
    """CPU time [s] and resident memory [MB] of a process."""
    status = Path(f"/proc/{pid}/stat").read_text(encoding="ascii").rpartition(")")[2].split()
    resident = int(status[21]) * os.sysconf("SC_PAGE_SIZE") / 1e6
    return (int(status[11]) + int(status[12])) / os.sysconf("SC_CLK_TCK"), resident


def busy() -> float:
    """CPU time of the whole machine. [s]"""
    ticks = Path("/proc/stat").read_text(encoding="ascii").splitlines()[0].split()[1:9]
    spent = [int(tick) for tick in ticks]
    return (sum(spent) - spent[3] - spent[4]) / os.sysconf("SC_CLK_TCK")


def serve(folder: Path, phases: str, many: int) -> dict[str, Any]:
    """One run of everything, the bays shared out over so many bridges; what it cost."""
    broker = Broker(folder / "broker")
    names = [f"bridge-{n}" for n in range(many)]
    cuts = [BAYS * n // many for n in range(many + 1)]
    bridges = [
        LiveBridge(config_of(folder, broker.port, range(*cuts[n : n + 2]), 0.5, name))
        for n, name in enumerate(names)
    ]
    try:
        for name in names:
            until((folder / name / "instance").exists, 30.0, "bridge started")
        words = ("--last", str(BAYS), "--phases", phases, "--settle", str(SETTLE))
        crowd = controllers(folder, broker.port, *words, "--seconds", str(SECONDS))
        pids = [*(one.process.pid for one in bridges), broker.process.pid, crowd.pid]
        time.sleep(SETTLE + 1.0)
        before, all_before, start = [used(pid) for pid in pids], busy(), time.monotonic()
        time.sleep(SECONDS)
        after, took = [used(pid) for pid in pids], time.monotonic() - start
        spent = [(b[0] - a[0]) / took for a, b in zip(before, after, strict=True)]
        others = (busy() - all_before) / took - sum(spent)
        assert crowd.wait(60.0) == 0
    finally:
        for bridge in bridges:
            bridge.close(30.0)
        broker.kill()
    found: dict[str, Any] = json.loads((folder / "crowd.json").read_text(encoding="utf-8"))
    return found | {
        "bridge cores": [round(share, 3) for share in spent[:many]],
        "broker cores": round(spent[-2], 3),
        "controllers cores": round(spent[-1], 3),
        "cores busy with other things": round(others, 2),
        "bridge ms per reading": round(1e3 * sum(spent[:many]) / BAYS, 3),
        "bridge MB": [round(b[1], 1) for b in after[:many]],
        "bridge MB more than before": [
            round(b[1] - a[1], 1) for a, b in zip(before[:many], after[:many], strict=True)
        ],
    }


@pytest.mark.parametrize(("phases", "many"), [("spread", 1), ("burst", 1), ("burst", 2)])
def test_from_reading_to_advice(benchmark: Any, tmp_path: Path, phases: str, many: int) -> None:
    """``spread``: each controller at its own moment; ``burst``: all in one instant."""
    need_mosquitto()
    found = benchmark.pedantic(serve, (tmp_path, phases, many), rounds=1)
    benchmark.extra_info |= found
    print(f"\n{phases}, {many} bridge: {json.dumps(found)}")
    assert found["answered"] > 0
    assert found["said"].get("advice", 0) > 0.9 * found["answered"]
