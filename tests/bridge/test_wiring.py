"""Wiring a plain controller: what ``check`` finds, on paper and on a broker with an access list."""

from __future__ import annotations

import time

import pytest
from bridge_live import Broker, free_port, need_mosquitto, until
from bridge_world import BAY_FILE

from firmware_bridge.cli import main
from firmware_bridge.config import BrokerConfig
from firmware_bridge.sensors.sample import REQUIRED
from firmware_bridge.wire.client import Link

HEAD = """
[bridge]
name = "barn-a"
data = "data"
[broker]
host = "127.0.0.1"
port = {port}
username = "barn"
password_env = "PW"
"""
BAY = """
[[bays]]
name = "{name}"
bay_file = "{file}"
mode = "{mode}"
set_by = "the test"
{more}
[bays.mapping.advice]
fan = "plc/{name}/set/fan"
door = "plc/{name}/set/door"
valid = "plc/{name}/set/valid"
beat = "plc/{name}/set/beat"
"""
READING = """
[[bays.mapping.readings]]
topic = "plc/{name}/{kind}"
key = "{kind}"
kind = "{kind}"
unit = "{unit}"
"""
UNITS = {"return_relative_humidity": "%"}


def bay(name, kinds=REQUIRED, mode="bounded", more="", units=UNITS):
    text = BAY.format(name=name, file=BAY_FILE, mode=mode, more=more)
    for kind in kinds:
        text += READING.format(name=name, kind=kind[:24], unit=units.get(kind, "Cel"))
    return text.replace('kind = "return_relative_humidit"', 'kind = "return_relative_humidity"')


@pytest.fixture
def write(tmp_path, monkeypatch):
    monkeypatch.setenv("PW", "secret")

    def make(*bays, port=1):
        path = tmp_path / "bridge.toml"
        path.write_text(HEAD.format(port=port) + "".join(bays), encoding="utf-8")
        return str(path)

    return make


def test_check_names_every_needed_kind_of_every_bay_that_nothing_gives(write, capsys):
    """All at once, beside whatever else is wrong with the file."""
    first = bay("bay-1", REQUIRED[:2], more="ttl_s = 1.5")
    second = bay("bay-2", REQUIRED, units={}, more='ignore = ["plenum_temperature"]')
    assert main(["check", write(first, second), "--no-broker"]) == 2
    lines = capsys.readouterr().err.splitlines()
    for name, kind, unit in (
        ("bay-1", "return_temperature", '"Cel" or "[degF]" or "K"'),
        ("bay-1", "return_relative_humidity", '"1" or "%"'),
        ("bay-2", "plenum_temperature", '"Cel"'),
    ):
        (line,) = [one for one in lines if f"{name}: no mapping gives {kind}" in one]
        assert unit in line
    assert any("ttl_s is 1.5" in one for one in lines)
    assert any("'Cel'; it does not fit return_relative_humidity: write \"1\"" in o for o in lines)
    assert len(lines) == 5


ACL = """
user barn
topic readwrite vent/1/+/to/beat
topic write vent/1/_bridge/+/state
topic read plc/+/+
topic write plc/+/set/valid
topic write plc/+/set/beat
topic write plc/bay-1/set/fan

user listener
topic read #
"""


@pytest.fixture
def guarded(tmp_path):
    """A broker that knows who may write where."""
    need_mosquitto()
    port = free_port()
    (tmp_path / "acl").write_text(ACL, encoding="utf-8")
    broker = Broker(
        tmp_path / "broker",
        f"listener {port} 127.0.0.1\nallow_anonymous true\nuser root\nacl_file {tmp_path}/acl\n",
        port,
    )
    yield port
    broker.stop()


def test_check_finds_every_topic_that_the_broker_does_not_let_it_write(write, guarded, capsys):
    """And whoever listens hears nothing that could be taken for advice."""
    known = BrokerConfig(port=guarded, tls=False, username="listener")
    listener = Link(known, "listener", [("#", 1)], time.monotonic)
    listener.start()
    until(lambda: listener.ready, 5.0, "listener")
    config = write(bay("bay-1"), bay("bay-2"), bay("bay-3", mode="observe"), port=guarded)
    try:
        assert main(["check", config]) == 1
        heard = listener.receive()
    finally:
        listener.stop()
    lines = capsys.readouterr().out.splitlines()
    refused = {line.split()[2] for line in lines if "cannot be written to (Not authorized)" in line}
    assert refused == {
        "vent/1/_bridge/barn-a/alarm",
        "plc/bay-1/set/door",
        "plc/bay-2/set/fan",
        "plc/bay-2/set/door",
    }
    assert any("bay-1: nothing heard on 4 topics, plc/bay-1/" in line for line in lines)
    plain = {one.topic: one.payload for one in heard if one.topic.startswith("plc/")}
    assert plain == {
        "plc/bay-1/set/valid": b"0",
        "plc/bay-1/set/fan": b" ",
        "plc/bay-1/set/beat": b" ",
        "plc/bay-2/set/valid": b"0",
        "plc/bay-2/set/beat": b" ",
    }
    assert not any(one.retain for one in heard)
