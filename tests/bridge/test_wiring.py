"""Wiring a plain controller: what ``check`` finds, on paper and on a broker with an access list."""

from __future__ import annotations

import re
import shutil
import time
from pathlib import Path

import pytest
from bridge_live import Broker, free_port, need_mosquitto, until, write_config
from bridge_world import BAY_FILE

from firmware_bridge.cli import main
from firmware_bridge.config import BrokerConfig, read_config
from firmware_bridge.mapping import topics_read, unfit
from firmware_bridge.quantities import QUANTITIES
from firmware_bridge.sensors.sample import REQUIRED
from firmware_bridge.wire.client import Link, Message
from firmware_bridge.wire.messages import Birth, Channel, encode
from firmware_bridge.wire.selftest import _controller

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
    second = bay("bay-2", REQUIRED, units={}, more='ignore = ["plenum_temperature", "pulp"]')
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
    assert any('bay-2: ignore has "pulp", which is no key of the mapping' in one for one in lines)
    assert len(lines) == 6
    assert main(["check", write(bay("bay-1")), "--no-broker"]) == 0
    told = capsys.readouterr().out
    assert "warning: bay-1: nothing gives outside_temperature or outside_relative_humidity" in told
    assert "nothing gives co2; fresh air comes by the clock" in told
    assert "nothing gives fan_speed or door_opening; nobody sees" in told
    assert "advice has fan and no door" not in told
    doorless = bay("bay-1").replace('door = "plc/bay-1/set/door"\n', "")
    assert main(["check", write(doorless), "--no-broker"]) == 0
    assert "advice has fan and no door" in capsys.readouterr().out


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
def guarded(tmp_path, request):
    """A broker that knows who may write where."""
    need_mosquitto()
    port = free_port()
    (tmp_path / "acl").write_text(getattr(request, "param", ACL), encoding="utf-8")
    broker = Broker(
        tmp_path / "broker",
        f"listener {port} 127.0.0.1\nallow_anonymous true\nuser root\nacl_file {tmp_path}/acl\n",
        port,
    )
    yield port
    broker.stop()


def test_check_says_what_only_the_broker_kept(write):
    """It is heard at once, and never used."""
    (one,) = read_config(Path(write(bay("bay-1")))).bays
    assert one.mapping is not None
    first, *others = sorted(topics_read(one.mapping))
    heard = [Message(topic=first, payload=b"5", retain=True)]
    heard += [Message(topic=topic, payload=b"5") for topic in others]
    ((kind, words),) = _controller("vent", one, heard, ())
    assert (kind, first in words, others[0] in words) == ("warning", True, False)
    assert "only what the broker kept" in words
    assert not list(_controller("vent", one, [*heard, Message(topic=first, payload=b"5")], ()))


def test_check_finds_every_topic_that_the_broker_does_not_let_it_write(write, guarded, capsys):
    """And whoever listens hears nothing that could be taken for advice."""
    known = BrokerConfig(port=guarded, tls=False, username="listener")
    listener = Link(known, "listener", [("#", 1)], time.monotonic)
    listener.start()
    until(lambda: listener.ready, 5.0, "listener")
    config = write(bay("bay-1"), bay("bay-2"), bay("bay-3", mode="observe"), port=guarded)
    text = Path(config).read_text(encoding="utf-8")
    Path(config).write_text(
        text.replace("[bridge]", '[bridge]\ndiscovery = "hub"'), encoding="utf-8"
    )
    try:
        assert main(["check", config]) == 1
        heard = listener.receive()
    finally:
        listener.stop()
    lines = capsys.readouterr().out.splitlines()
    refused = {line.split()[2] for line in lines if "cannot be written to (Not authorized)" in line}
    assert refused == {
        "vent/1/_bridge/barn-a/alarm",
        "hub/sensor/check/config",
        "plc/bay-1/set/door",
        "plc/bay-2/set/fan",
        "plc/bay-2/set/door",
    }
    assert any("bay-1: nothing heard yet on plc/bay-1/plenum" in line for line in lines)
    plain = {one.topic: one.payload for one in heard if one.topic.startswith("plc/")}
    assert plain == {
        "plc/bay-1/set/valid": b"0",
        "plc/bay-1/set/fan": b" ",
        "plc/bay-1/set/beat": b" ",
        "plc/bay-2/set/valid": b"0",
        "plc/bay-2/set/beat": b" ",
    }
    assert not any(one.retain for one in heard)


LOOSE = """
user barn
topic readwrite #

user bay-1
topic write plc/+/+/#
topic read plc/bay-1/set/#
"""


@pytest.mark.parametrize("guarded", [LOOSE], indirect=True)
def test_check_finds_who_may_write_set_points_and_what_was_left_there(
    write, guarded, capsys, tmp_path
):
    known = BrokerConfig(port=guarded, tls=False, username="bay-1")
    gateway = Link(known, "gateway", [], time.monotonic)
    gateway.start()
    until(lambda: gateway.ready, 5.0, "gateway")
    left = Message(topic="plc/bay-1/set/fan", payload=b"100", qos=1, retain=True)
    assert gateway.attempt(left, 5.0) == ""
    gateway.stop()
    config = write(bay("bay-1"), bay("bay-2"), port=guarded)
    assert main(["check", config]) == 1
    problems = [one for one in capsys.readouterr().out.splitlines() if one.startswith("problem")]
    assert problems == [
        "problem: bay-1: the broker keeps an old word on plc/bay-1/set/fan (b'100'), and gives it "
        "to whoever connects; clear it: mosquitto_pub -r -n -t plc/bay-1/set/fan"
    ]
    (tmp_path / "pw").write_text("x")
    assert main(["check", config, "--as", "bay-1", "--password-file", str(tmp_path / "pw")]) == 1
    lines = capsys.readouterr().out.splitlines()
    found = {line.split()[5] for line in lines if "'bay-1' may write to" in line}
    assert found == {
        f"plc/{name}/set/{leaf},"
        for name in ("bay-1", "bay-2")
        for leaf in ("fan", "door", "valid", "beat")
    }
    assert "warning: 'bay-1' may send readings of bay-1, bay-2; a password of its own" in lines[-1]


def test_check_reads_the_birth_of_a_controller_of_the_bridges_own_messages(tmp_path, capsys):
    need_mosquitto()
    broker = Broker(tmp_path / "broker")
    channels = (
        Channel(key="pulp_1", kind="pulp_temperature", unit="bar"),
        Channel(key="above", kind="return_temperature", unit="Cel"),
    )
    birth = Message(
        topic="vent/1/bay-1/from/birth",
        payload=encode(Birth(boot=7, channels=channels)),
        qos=1,
        retain=True,
    )
    known = BrokerConfig(port=broker.port, tls=False)
    controller = Link(known, "controller", (), time.monotonic, birth=lambda: [birth])
    controller.start()
    try:
        until(lambda: controller.ready, 5.0, "controller")
        assert main(["check", str(write_config(tmp_path, broker.port))]) == 1
    finally:
        controller.stop()
        broker.stop()
    lines = [one for one in capsys.readouterr().out.splitlines() if one.startswith("problem")]
    assert len(lines) == 3
    assert 'has pulp_1 in bar, which does not fit pulp_temperature: "Cel" or' in lines[0]
    assert "no channel of plenum_temperature" in lines[1]
    assert "no channel of return_relative_humidity, and there is no advice without it" in lines[2]


# --- the page for whoever writes the PLC's program ---------------------------------------------

HERE = Path(__file__).parents[2] / "examples" / "controller"
PAGE = (HERE / "plain_topics.md").read_text(encoding="utf-8")


def rows(head):
    """Cells of the table that begins with this head."""
    table = PAGE.partition(f"| {head} |")[2].partition("\n\n")[0].splitlines()[2:]
    return [[cell.strip() for cell in line.strip("|").split("|")] for line in table]


def test_the_table_of_kinds_and_units_is_that_of_the_code():
    found = {
        kind: set(re.findall(r"`([^`]+)`", units))
        for names, units in rows("kind")
        for kind in re.findall(r"`([a-z_0-9]+)`", names)
        if kind in QUANTITIES
    }
    assert found == {kind: set(known.units) for kind, known in QUANTITIES.items()}
    needed = re.findall(r"\*\*`(\w+)`\*\*", PAGE)
    assert sorted(needed) == sorted(REQUIRED)


def test_the_mappings_of_the_page_and_of_the_gateway_are_whole(tmp_path, capsys):
    text = PAGE.partition("```toml\n")[2].partition("```")[0]
    (tmp_path / "page.toml").write_text(text, encoding="utf-8")
    shutil.copy(HERE / "modbus_bridge.toml", tmp_path)
    assert main(["new", str(tmp_path / "start.toml")]) == 0
    for name in ("page.toml", "modbus_bridge.toml"):
        assert main(["check", str(tmp_path / name), "--no-broker"]) == 0
    assert capsys.readouterr().err == ""
    config = read_config(tmp_path / "page.toml")
    for mode in ("confirm", "bounded"):
        assert bool(unfit(config.bays[0].mapping.advice, mode)) == (mode == "confirm")


@pytest.mark.parametrize(
    "guarded", [PAGE.partition("```text\n")[2].partition("```")[0]], indirect=True
)
def test_the_access_list_of_the_page_is_enough(guarded, tmp_path, capsys):
    text = PAGE.partition("```toml\n")[2].partition("```")[0]
    told = f'host = "127.0.0.1"\nport = {guarded}\nusername = "barn-a"\n'
    text = text.replace('host = "127.0.0.1"\n', told).replace("bay.toml", str(BAY_FILE))
    (tmp_path / "page.toml").write_text(text, encoding="utf-8")
    assert main(["check", str(tmp_path / "page.toml")]) == 0
    told = capsys.readouterr().out
    assert "ok: all 8 topics that the bridge writes to are open to it" in told
    assert "speak for the controller" not in told
    assert "may not hear" not in told
    assert main(["check", str(tmp_path / "page.toml"), "--as", "gateway-1"]) == 0
    told = capsys.readouterr().out.splitlines()
    assert told[1:] == [
        "ok: 'gateway-1' may write to no topic on which the bridge alone should speak",
        "ok: 'gateway-1' may send readings of bay-1",
    ]
