"""A bridge on a fast clock that writes down each second how much it holds: for the soak."""

from __future__ import annotations

import json
import os
import signal
import sys
import threading
import time
from pathlib import Path
from typing import IO

from firmware_bridge.config import read_config
from firmware_bridge.service.clock import fast_clock
from firmware_bridge.service.run import run
from firmware_bridge.service.service import Service
from firmware_bridge.wire.client import Link


class Watch:
    """The greatest of each second, as one line of JSON."""

    def __init__(self, file: IO[str]) -> None:
        self.file, self.begin = file, time.monotonic()
        self.due = self.begin
        self.before: float | None = None
        self.most: dict[str, float] = {}

    def __call__(self, service: Service, link: Link) -> None:
        """Look once; called after each turn."""
        now = time.monotonic()
        seen: dict[str, float] = {
            "incoming": link.waiting,
            "outgoing": len(link._client._out_packet) + len(link._client._out_messages),
            "samples": len(service._store.samples),
            "events": len(service._store.events) + len(service.told),
            "entries": len(service._unwritten),
            "turn": 0.0 if self.before is None else now - self.before,
        }
        self.before = now
        for name, value in seen.items():
            self.most[name] = max(self.most.get(name, 0.0), value)
        if now < self.due:
            return
        self.due = now + 1.0
        pages = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[1])
        self.most |= {
            "at": now - self.begin,
            "mb": pages * os.sysconf("SC_PAGE_SIZE") / 1e6,
            "sent": service.counts["sent"],
            "drops": len(link.drops),
            "overflow": link.counts["overflow"],
        }
        print(json.dumps(self.most), file=self.file, flush=True)
        self.most = {}


def main(config: str, out: str, pace: str) -> None:
    """Serve until the signal to end."""
    stop = threading.Event()
    signal.signal(signal.SIGTERM, lambda *_: stop.set())
    with Path(out).open("w", encoding="utf-8") as file:
        run(read_config(config), stop, clock=fast_clock(float(pace)), each_turn=Watch(file))


if __name__ == "__main__":
    main(*sys.argv[1:])
