"""A real broker, a proxy that meddles, and bridges and controllers in threads and processes."""

from __future__ import annotations

import contextlib
import os
import shutil
import socket
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest
from bridge_world import BAY_FILE

from firmware_bridge.config import BrokerConfig
from firmware_bridge.demo.plant import plant_of
from firmware_bridge.demo.simulator import Simulator
from firmware_bridge.service.clock import Clock
from firmware_bridge.wire.client import Link
from firmware_bridge.wire.receiver import LocalLimits
from ventcalc.bay.file import read_bay

MOSQUITTO = shutil.which("mosquitto", path=os.environ.get("PATH", "") + ":/usr/sbin")


def need_mosquitto():
    """Skip on a machine without the broker, fail where it must be: in CI."""
    if MOSQUITTO is not None:
        return
    text = "mosquitto is not installed; apt-get install mosquitto"
    if os.environ.get("CI") == "true":
        pytest.fail(text)
    pytest.skip(text)


def free_port():
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        return one.getsockname()[1]


def until(done, patience=10.0, what=""):
    """Wait for something; say what did not come."""
    end = time.monotonic() + patience
    while time.monotonic() < end:
        found = done()
        if found:
            return found
        time.sleep(0.02)
    raise AssertionError(f"not within {patience:g} s: {what or done}")


class Broker:
    """One mosquitto of a test's own."""

    def __init__(self, folder, extra="", port=None):
        self.folder, self.port = Path(folder), port or free_port()
        self.folder.mkdir(parents=True, exist_ok=True)
        self.file = self.folder / "mosquitto.conf"
        self.file.write_text(
            extra or f"listener {self.port} 127.0.0.1\nallow_anonymous true\nset_tcp_nodelay true\n"
        )
        self.process = None
        self.start()

    def start(self):
        self.log = (self.folder / "mosquitto.log").open("a")
        self.process = subprocess.Popen(
            [MOSQUITTO, "-c", str(self.file)], stdout=self.log, stderr=self.log
        )
        until(self.listens, 5.0, "broker listening")

    def listens(self):
        try:
            socket.create_connection(("127.0.0.1", self.port), 0.2).close()
        except OSError:
            return False
        return True

    def kill(self):
        self.process.kill()
        self.process.wait()
        self.log.close()

    def stop(self):
        self.process.terminate()
        self.process.wait(5)
        self.log.close()


class Proxy:
    """Between client and broker: ``pass``, ``hole`` (swallow), ``cut`` after so many bytes."""

    def __init__(self, target):
        self.target, self.mode, self.left = target, "pass", None
        self.swallow_answers = False
        self.server = socket.create_server(("127.0.0.1", 0))
        self.port = self.server.getsockname()[1]
        self.pairs = []
        self.alive = True
        threading.Thread(target=self._accept, daemon=True).start()

    def _accept(self):
        while self.alive:
            try:
                client, _ = self.server.accept()
            except OSError:
                return
            if self.mode == "refuse":
                client.close()
                continue
            try:
                server = socket.create_connection(("127.0.0.1", self.target), 1.0)
            except OSError:
                client.close()
                continue
            self.pairs.append((client, server))
            for a, b, up in ((client, server, True), (server, client, False)):
                threading.Thread(target=self._pump, args=(a, b, up), daemon=True).start()

    def _pump(self, source, sink, up):
        try:
            while data := source.recv(4096):
                while self.mode == "hole" and self.alive:
                    time.sleep(0.02)
                if not up and self.swallow_answers:
                    continue
                if up and self.left is not None:
                    data = data[: self.left]
                    self.left -= len(data)
                    sink.sendall(data)
                    if self.left == 0:
                        self.left = None
                        break
                    continue
                sink.sendall(data)
        except OSError:
            pass
        for one in (source, sink):
            with contextlib.suppress(OSError):
                one.close()

    def reset(self):
        """Break every connection the hard way."""
        for pair in self.pairs:
            for one in pair:
                try:
                    one.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, b"\x01\0\0\0\0\0\0\0")
                    one.close()
                except OSError:
                    pass
        self.pairs.clear()

    def close(self):
        self.alive = False
        self.server.close()
        self.reset()


class LiveController:
    """A simulated bay on a real broker, in a thread of its own."""

    def __init__(self, port, name="bay-1", every=0.4, **settings):
        clock = Clock()
        self.sim = Simulator(
            name=name,
            root="vent",
            plant=plant_of(read_bay(BAY_FILE), clock.wall()),
            clock=clock,
            every=every,
            limits=LocalLimits(accept_every=0.3),
            **settings,
        )
        self.link = Link(
            BrokerConfig(port=port, tls=False, keepalive_s=4, protocol="3.1.1", reconnect_s=0.3),
            f"sim-{name}-{self.sim.boot % 10**6}",
            self.sim.subscriptions(),
            clock.steady,
            will=self.sim.will(),
            birth=self.sim.births,
        )
        self.sim.wire = self.link
        self.done = threading.Event()
        self.error = None
        self.thread = threading.Thread(target=self._run, daemon=True)
        self.link.start()
        self.thread.start()

    def _run(self):
        try:
            while not self.done.is_set():
                self.sim.turn()
                self.link.wait(0.05)
        except Exception as error:  # shown by close()
            self.error = error

    def close(self):
        if self.done.is_set():
            return
        self.done.set()
        self.thread.join()
        self.link.stop()
        if self.error is not None:
            raise self.error


CONFIG = """
[bridge]
name = "{name}"
data = "{data}"
locks = "{locks}"
low_disk_mb = {low}
store_every_s = 1
[broker]
host = "127.0.0.1"
port = {port}
keepalive_s = 4
reconnect_s = 0.3
{broker}
"""
BAY = """
[[bays]]
name = "{bay}"
bay_file = "{file}"
mode = "{mode}"
set_by = "the test"
advice_every_s = 1
max_age_s = 3
ttl_s = 3
lost_after_s = 4
[bays.limits]
minimum_on_s = 0
minimum_off_s = 0
"""


def write_config(
    folder, port, name="bridge-a", bays=("bay-1",), mode="bounded", broker="", low=1, data=None,
    locks=None,
):  # fmt: skip
    """A configuration with quick timers."""
    folder.mkdir(parents=True, exist_ok=True)
    text = CONFIG.format(
        name=name, data=data or folder / "data", locks=locks or folder / "locks", port=port,
        broker=broker, low=low,
    )  # fmt: skip
    text += "".join(BAY.format(bay=bay, file=BAY_FILE, mode=mode) for bay in bays)
    path = folder / f"{name}.toml"
    path.write_text(text, encoding="utf-8")
    return path


class LiveBridge:
    """``firmware-bridge run`` in a process of its own."""

    def __init__(self, config, *words):
        self.config = config
        self.out = Path(f"{config}.out")
        self.file = self.out.open("ab")
        self.process = subprocess.Popen(
            [sys.executable, "-m", "firmware_bridge", "run", str(config), *words],
            stdout=self.file,
            stderr=self.file,
        )

    def text(self):
        return self.out.read_text(encoding="utf-8", errors="replace")

    def kill(self):
        if self.process.poll() is None:
            self.process.kill()
        self.process.wait()
        self.file.close()

    def close(self, patience=10.0):
        if self.process.poll() is None:
            self.process.terminate()
        code = self.process.wait(patience)
        self.file.close()
        return code
