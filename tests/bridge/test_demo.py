"""The demo, started as a new user would start it."""

from __future__ import annotations

import json
import os
import queue
import re
import signal
import subprocess
import sys
import threading
import time
import urllib.request
from pathlib import Path

import paho.mqtt.client as mqtt
import pytest
from jsonschema import Draft202012Validator

from firmware_bridge.cli import main
from firmware_bridge.demo import run as demo
from firmware_bridge.wire.messages import AdviceMessage, decode

PATIENCE = 60.0


class Running:
    """The command in a process of its own, its lines as they come."""

    def __init__(self, folder, *words):
        environment = {**os.environ, "TMPDIR": str(folder), "PYTHONWARNINGS": "error"}
        self.process = subprocess.Popen(
            [sys.executable, "-m", "firmware_bridge", "demo", *words],
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            env=environment,
        )
        self.lines, self._queue = [], queue.Queue()
        threading.Thread(target=self._read, daemon=True).start()

    def _read(self):
        for line in self.process.stdout:
            self._queue.put(line.rstrip("\n"))
        self._queue.put(None)

    def until(self, pattern):
        """The first line, old or new, in which the pattern is found."""
        end = time.monotonic() + PATIENCE
        for line in self.lines:
            if found := re.search(pattern, line):
                return found
        while True:
            line = self._queue.get(timeout=max(end - time.monotonic(), 0.1))
            assert line is not None, f"ended without {pattern!r}: {self.process.stderr.read()}"
            self.lines.append(line)
            if found := re.search(pattern, line):
                return found

    def end(self):
        code = self.process.wait(PATIENCE)
        while (line := self._queue.get(timeout=5.0)) is not None:
            self.lines.append(line)
        return code, self.process.stderr.read()

    def close(self):
        if self.process.poll() is None:
            self.process.kill()
            self.process.wait()
        self.process.stdout.close()
        self.process.stderr.close()


@pytest.fixture
def running(tmp_path):
    made = []

    def start(*words):
        made.append(Running(tmp_path, *words))
        return made[-1]

    yield start
    for one in made:
        one.close()


def listening(pid):
    """Addresses on which a process listens, as the kernel tells them (proc(5))."""
    own = set()
    for entry in Path(f"/proc/{pid}/fd").iterdir():
        try:
            if found := re.fullmatch(r"socket:\[(\d+)\]", os.readlink(entry)):
                own.add(found[1])
        except FileNotFoundError:
            continue  # closed in the meantime
    found = set()
    for table in ("tcp", "tcp6"):
        for line in Path(f"/proc/{pid}/net/{table}").read_text().splitlines()[1:]:
            parts = line.split()
            if parts[3] == "0A" and parts[9] in own:
                found.add(parts[1].split(":")[0])
    return found


def test_it_runs_its_days_and_ends(running, tmp_path):
    one = running("--days", "0.03", "--pace", "600")
    address = one.until(r"^Page: +(http://127\.0\.0\.1:\d+/)$")[1]
    one.until("not for a store")
    for bay in ("north", "south"):
        one.until(rf"{bay} +controller connected \(run \d+, simulator\)")
        one.until(rf"{bay} +advice: .+; Fans \d+%")
    one.until("north +answer: accepted$")
    one.until("south +answer: shown to people, not applied$")
    with urllib.request.urlopen(address, timeout=10) as answer:
        page = answer.read().decode()
    assert "<h1>All bays</h1>" in page
    assert "invented" in page
    assert listening(one.process.pid) == {"0100007F"}  # 127.0.0.1, and nothing else
    one.until(r"south +alarm: spray_tank")
    one.until("north +advice: none, a reading that is needed is missing: return_rh")
    code, errors = one.end()
    assert (code, errors) == (0, "")
    assert one.lines[-1] == "The demo has ended after 0.03 invented days."
    assert not list(tmp_path.glob("bridge-demo-*"))
    assert not any("own beat" in line for line in one.lines)


def ends_cleanly(one, folder, number):
    """With a page open."""
    address = one.until(r"^Page: +(\S+)$")[1]
    with urllib.request.urlopen(f"{address}stream", timeout=10) as stream:
        assert stream.readline().startswith(b"data: ")
        one.process.send_signal(number)
        begin = time.monotonic()
        code, errors = one.end()
    assert (code, errors) == (0, "")
    assert time.monotonic() - begin < 15.0
    assert not list(folder.glob("bridge-demo-*"))


def test_it_ends_cleanly_with_ctrl_c(running, tmp_path):
    one = running()
    one.until("advice:")
    ends_cleanly(one, tmp_path, signal.SIGINT)


def test_a_strangers_client_hears_advice_until_it_is_told_to_end(running, tmp_path):
    one = running("--pace", "200")
    port = int(one.until(r"^Broker: 127\.0\.0\.1:(\d+), topics vent/#")[1])
    heard, enough = {}, threading.Event()

    def take(_client, _data, message):
        heard.setdefault(message.topic.rsplit("/", 1)[1], []).append(message)
        if {"birth", "reading", "advice", "ack", "beat"} <= set(heard):
            enough.set()

    client = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2, protocol=mqtt.MQTTv311)
    client.on_message = take
    client.on_connect = lambda *_: client.subscribe("vent/#")
    client.connect("127.0.0.1", port)
    client.loop_start()
    try:
        assert enough.wait(PATIENCE), set(heard)
        ends_cleanly(one, tmp_path, signal.SIGTERM)
    finally:
        client.disconnect()
        client.loop_stop()
    schema = Path(demo.__file__).parents[1] / "schema" / "advice.json"
    validator = Draft202012Validator(json.loads(schema.read_text(encoding="utf-8")))
    for message in heard["advice"]:
        assert not message.retain
        assert len(message.payload) + len(message.topic) <= 240
        validator.validate(json.loads(message.payload))
        decode(message.payload, AdviceMessage)


@pytest.mark.parametrize(
    ("words", "line"),
    [
        (("--pace", "0"), "--pace must lie in 1 to 100000"),
        (("--days", "-1"), "--days above 0"),
        (("--speed", "3"), "--help"),
    ],
)
def test_what_cannot_be_is_one_line(capsys, words, line):
    assert main(["demo", *words]) == 2
    (told,) = capsys.readouterr().err.strip().splitlines()
    assert line in told


def test_a_port_that_cannot_be_had_is_one_line(running):
    code, errors = running("--page-port", "70000").end()
    assert code == 2
    (told,) = errors.strip().splitlines()
    assert "page: 127.0.0.1:70000 cannot be had" in told


EACH_WITHOUT_ONE = """
import os
import sys

from firmware_bridge.cli import main

for missing in sys.argv[1:]:
    child = os.fork()
    if not child:
        sys.modules[missing] = None
        code = main(["demo"])
        sys.stderr.flush()
        os._exit(code)
    print(os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]))
"""


def test_a_missing_extra_is_named():
    """One Python that has loaded nothing of the demo, and a copy of it for each."""
    extras = ("amqtt", "jinja2", "starlette", "uvicorn")
    done = subprocess.run(
        [sys.executable, "-c", EACH_WITHOUT_ONE, *extras],
        capture_output=True,
        text=True,
        timeout=PATIENCE,
    )
    assert done.stdout.split() == ["2"] * len(extras)
    told = done.stderr.strip().splitlines()
    assert len(told) == len(extras)
    for line, extra in zip(told, extras, strict=True):
        assert f"demo needs {extra}" in line
        assert "pip install 'ventcalc[demo]'" in line


def test_time_waits_for_a_lagging_broker():
    stepper = demo._Stepper(pace=300.0)
    stepper.now, stepper._real = 100.0, time.monotonic() - 1.0
    stepper.tick(heard_at=99.0)
    assert stepper.now == 100.0 + demo.STEP  # a second is 300 s, but no step is longer
    stepper._real = time.monotonic() - 1.0
    stepper.tick(heard_at=50.0)
    assert stepper.now == 100.0 + demo.STEP  # the beat is on its way
    stepper._moved -= 2.0 * demo.PATIENCE
    stepper._real = time.monotonic() - 1.0
    stepper.tick(heard_at=50.0)
    assert stepper.now == 100.0 + 2 * demo.STEP  # it is not, and the bridge shall notice
