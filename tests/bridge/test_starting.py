"""To begin with: a configuration that is whole, and what is heard now, topic by topic."""

from __future__ import annotations

import json
import re
import threading
import tomllib
from dataclasses import fields

import pytest
from bridge_live import Broker, LiveController, need_mosquitto, until

from firmware_bridge.cli import main
from firmware_bridge.config import (
    BayConfig,
    BrokerConfig,
    Limits,
    MappedAdvice,
    MappedReading,
    OwnConfig,
    PlainTopics,
    read_config,
)
from firmware_bridge.quantities import KINDS
from firmware_bridge.sensors.sample import REQUIRED
from firmware_bridge.service.listen import Ear
from firmware_bridge.wire.client import Link, Message


@pytest.fixture
def started(tmp_path, capsys):
    """Files as ``new`` writes them."""
    path = tmp_path / "bridge.toml"
    assert main(["new", str(path)]) == 0
    capsys.readouterr()
    return path


def test_new_writes_a_whole_sound_configuration(started, capsys):
    assert main(["check", str(started), "--no-broker"]) == 0
    assert "sound; 3 bays" in capsys.readouterr().out
    config = read_config(started)
    assert [bay.mode for bay in config.bays] == ["observe"] * 3
    native, plain, packed = config.bays
    assert native.mapping is None
    assert not any(one.path for one in plain.mapping.readings)
    assert all(one.path for one in packed.mapping.readings)
    for bay in (plain, packed):
        assert {one.kind for one in bay.mapping.readings} >= {*REQUIRED, "people_inside"}
        assert bay.mapping.advice is not None


def test_every_key_stands_there_with_its_meaning(started):
    text = started.read_text(encoding="utf-8")
    tables = (OwnConfig, BrokerConfig, BayConfig, Limits, PlainTopics, MappedReading, MappedAdvice)
    for table in tables:
        for field in fields(table):
            if not {"internal", "table"} & field.metadata.keys():
                assert f"{field.name} = " in text, field.name
                assert field.metadata["meaning"] in text
    assert all(kind in text for kind in KINDS)
    # What stands as a comment is the default, and a key of its table.
    whole = "\n".join(
        line.removeprefix("# ") if line.startswith("# ") and " = " in line and "..." not in line
        else line for line in text.splitlines()
    )  # fmt: skip
    tables = tomllib.loads(whole)
    assert tables["bays"][0]["limits"]["plenum_floor_c"] == Limits().plenum_floor_c
    assert tables["broker"]["keepalive_s"] == BrokerConfig(tls=False).keepalive_s


def test_new_leaves_what_is_there(started, capsys):
    before = started.read_text(encoding="utf-8")
    assert main(["new", str(started)]) == 2
    assert "is there already" in capsys.readouterr().err
    assert started.read_text(encoding="utf-8") == before
    assert main(["new", str(started.parent / "nowhere" / "x.toml")]) == 2
    assert "cannot be written" in capsys.readouterr().err


def edited(path, old, new):
    path.write_text(path.read_text(encoding="utf-8").replace(old, new), encoding="utf-8")
    return path


def heard(ear, topic, payload, at=0.0, retain=False):
    ear.take(Message(topic=topic, payload=payload, retain=retain, received=at))


def line(ear, word, now=3.0):
    (found,) = [one for one in ear.lines(now) if word in one]
    return found


def test_a_mapped_value_is_shown_with_unit_age_and_what_is_wrong(started):
    ear = Ear(config=read_config(started))
    assert "nothing yet" in line(ear, "plc/2/from/pt1")
    heard(ear, "plc/2/from/pt1", b"385")
    assert (
        line(ear, "plc/2/from/pt1").split(maxsplit=1)[1].startswith("pulp_1 38.5 [degF] = 3.6 °C  ")
    )
    assert line(ear, "plc/2/from/pt1").endswith("3 s ago")
    heard(ear, "plc/2/from/pt2", b"3850")
    assert "not believed; unit, scale?" in line(ear, "plc/2/from/pt2")
    heard(ear, "plc/2/from/pt3", b"\x1b[2Joops")
    assert "\\x1b[2Joops" in line(ear, "plc/2/from/pt3")
    assert "is not a plain number" in line(ear, "plc/2/from/pt3")
    heard(ear, "plc/2/from/co2", b"1500", retain=True)
    assert "nobody knows its age" in line(ear, "plc/2/from/co2")
    heard(ear, "gateway/3/from", json.dumps({"pt1": 385, "plenum": "?"}).encode())
    assert "38.5 [degF]" in line(ear, "gateway/3/from at pt1")
    assert "no number at 'plenum'" in line(ear, "gateway/3/from at plenum")
    assert "nothing at 'co2'" in line(ear, "gateway/3/from at co2")
    ear.config = read_config(
        edited(
            started,
            'topic = "gateway/3/from"',
            'time = "t"\nmax_age_s = 60\ntopic = "gateway/3/from"',
        )
    )
    ear.wall = lambda: 1_790_000_100.0
    for stamp, piece in ((1_790_000_070, "(30 s old"), (1_790_000_000, "measured 100 s before")):
        heard(ear, "gateway/3/from", json.dumps({"pt1": 385, "t": stamp}).encode())
        assert piece in line(ear, "gateway/3/from at pt1")
    heard(ear, "plc/9/other", b"7")
    assert "plc/9/other" in "\n".join(ear.lines(3.0)).partition("heard, and not mapped:")[2]


def test_what_is_missing_for_advice_is_named_until_it_comes(started):
    ear = Ear(config=read_config(started))
    assert [one.count(",") for one in ear.missing(0.0)] == [len(REQUIRED)] * 3
    for topic, payload in (("pt1", b"385"), ("plenum", b"380"), ("return", b"395")):
        heard(ear, f"plc/2/from/{topic}", payload)
    missing = [one for one in ear.missing(3.0) if one.startswith("bay-2")]
    assert missing == ["bay-2: no advice, nothing gives return_relative_humidity"]
    heard(ear, "plc/2/from/return_rh", b"930")
    assert not any(one.startswith("bay-2") for one in ear.missing(3.0))
    old = next(one for one in ear.missing(999.0) if one.startswith("bay-2"))
    assert old.count(",") == len(REQUIRED), "too old"


def test_listen_on_a_real_broker(started, tmp_path, capsys):
    """A controller of the bridge's own messages, and a gateway of plain numbers."""
    need_mosquitto()
    broker = Broker(tmp_path / "broker")
    text = started.read_text(encoding="utf-8")
    started.write_text(text.replace("# port = 0", f"port = {broker.port}"), encoding="utf-8")
    config = read_config(started)
    controller = LiveController(broker.port, every=0.3)
    gateway = Link(config.broker, "gateway", [("x", 0)], lambda: 0.0)
    gateway.start()
    try:
        until(lambda: gateway.ready, 10.0, "gateway")
        args = ["listen", str(started), "--seconds", "3", "--every", "1", "--also", "free/#"]
        sent = Message(topic="plc/2/from/pt1", payload=b"385", qos=1)
        state = []

        def send():
            gateway.send(sent)
            return gateway.send(Message(topic="free/1", payload=b"9"))

        thread = threading.Timer(1.5, lambda: state.append(send()))
        thread.start()
        assert main(args) == 1, "bay-2 lacks most, bay-3 all"
        thread.join()
    finally:
        controller.close()
        gateway.stop()
        broker.stop()
    assert state == [True]
    last = capsys.readouterr().out.rpartition("bay-1:")[2]
    assert "birth understood" in last
    assert "pulp_5" in last
    assert "38.5 [degF] = 3.6 °C" in last
    assert "free/1" in last
    assert "bay-1: no advice" not in last
    assert re.search("bay-3: no advice, nothing gives .*plenum_temperature", last)


def test_listen_without_a_broker_says_so(started, capsys):
    text = started.read_text(encoding="utf-8")
    started.write_text(text.replace("# port = 0", "port = 1"), encoding="utf-8")
    assert main(["listen", str(started), "--seconds", "1"]) == 1
    assert "broker: " in capsys.readouterr().out
    assert main(["listen", str(started), "--seconds", "0"]) == 2
