"""
The bridge as it runs: 200 bays at a reading a second each, from publish to advice received.

Broker, bridge and controllers are three processes of one machine. ``BRIDGE_SECONDS`` sets how
long is measured (60 by default), ``BRIDGE_BAYS`` how many bays there are.
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

SECONDS = float(os.environ.get("BRIDGE_SECONDS", "60"))
BAYS = int(os.environ.get("BRIDGE_BAYS", "200"))
SETTLE = 15.0
CROWD = Path(__file__).with_name("bridge_crowd.py")
HEAD = """
[bridge]
name = "bridge-a"
data = "{folder}/data"
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


def config_of(folder: Path, port: int, bays: range, every: float) -> Path:
    """A configuration for many bays."""
    text = HEAD.format(folder=folder, port=port)
    text += "".join(BAY.format(n=n, file=BAY_FILE, every=every) for n in bays)
    path = folder / "bridge.toml"
    path.write_text(text, encoding="utf-8")
    return path


def controllers(folder: Path, port: int, *words: str) -> subprocess.Popen[bytes]:
    """The controllers, in a process of their own."""
    command = [sys.executable, str(CROWD), "--port", str(port), "--out", str(folder / "crowd.json")]
    return subprocess.Popen([*command, *words])


def used(pid: int) -> tuple[float, float, int]:
    """CPU time [s], resident memory [MB] and threads of a process."""
    status = Path(f"/proc/{pid}/stat").read_text(encoding="ascii").rpartition(")")[2].split()
    ticks = os.sysconf("SC_CLK_TCK")
    resident = int(status[21]) * os.sysconf("SC_PAGE_SIZE") / 1e6
    return (int(status[11]) + int(status[12])) / ticks, resident, int(status[17])


def serve(folder: Path, phases: str) -> dict[str, Any]:
    """One run of everything; what it cost."""
    broker = Broker(folder / "broker")
    bridge = LiveBridge(config_of(folder, broker.port, range(BAYS), every=0.5))
    try:
        until((folder / "data" / "instance").exists, 30.0, "bridge started")
        words = ("--last", str(BAYS), "--phases", phases, "--settle", str(SETTLE))
        crowd = controllers(folder, broker.port, *words, "--seconds", str(SECONDS))
        time.sleep(SETTLE + 1.0)
        begin, start = used(bridge.process.pid), time.monotonic()
        loads, most = [used(one.pid)[0] for one in (broker.process, crowd)], begin[1]
        while time.monotonic() < start + SECONDS:
            time.sleep(1.0)
            most = max(most, used(bridge.process.pid)[1])
        end, took = used(bridge.process.pid), time.monotonic() - start
        after = [used(one.pid)[0] for one in (broker.process, crowd)]
        assert crowd.wait(60.0) == 0
    finally:
        bridge.close(30.0)
        broker.kill()
    found: dict[str, Any] = json.loads((folder / "crowd.json").read_text(encoding="utf-8"))
    share = [round((b - a) / took, 3) for a, b in zip(loads, after, strict=True)]
    return found | {
        "bridge cores": round((end[0] - begin[0]) / took, 3),
        "broker cores": share[0],
        "controllers cores": share[1],
        "bridge ms per reading": round(1e3 * (end[0] - begin[0]) / took / BAYS, 3),
        "bridge MB": [round(begin[1], 1), round(end[1], 1), round(most, 1)],
        "load average": os.getloadavg()[0],
    }


@pytest.mark.parametrize("phases", ["spread", "burst"])
def test_from_reading_to_advice(benchmark: Any, tmp_path: Path, phases: str) -> None:
    """``spread``: each controller at its own moment; ``burst``: all in one instant."""
    need_mosquitto()
    found = benchmark.pedantic(serve, (tmp_path, phases), rounds=1)
    benchmark.extra_info |= found
    print(f"\n{phases}: {json.dumps(found)}")
    assert found["answered"] > 0
    assert found["said"].get("advice", 0) > 0.9 * found["answered"]
