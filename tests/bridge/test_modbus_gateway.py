"""The worked gateway end to end: registers of a real Modbus server, broker, bridge, and back."""

from __future__ import annotations

import contextlib
import importlib
import re
import signal
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest
from bridge_live import Broker, LiveBridge, free_port, need_mosquitto, until
from bridge_world import BAY_FILE
from pymodbus.client import ModbusTcpClient

from firmware_bridge.journal.export import samples_of_journal
from firmware_bridge.journal.journal import Journal
from firmware_bridge.mapping import read_mapping

HERE = Path(__file__).parents[2] / "examples" / "controller"
QUICK = "advice_every_s = 1\nmax_age_s = 5\nlost_after_s = 6\nttl_s = 5\n"
LIMITS = "[bays.limits]\nminimum_on_s = 0\nminimum_off_s = 0\nchanges_per_hour = 3600\n"


@pytest.fixture
def stage(tmp_path):
    """PLC, gateway and bridge, each a process of its own, with the files as they are shipped."""
    need_mosquitto()
    broker = Broker(tmp_path / "broker")
    plc, text = free_port(), (HERE / "modbus_bridge.toml").read_text(encoding="utf-8")
    for old, new in (
        ('host = "127.0.0.1"', f'host = "127.0.0.1"\nport = {broker.port}\nkeepalive_s = 30'),
        ('name = "barn-a"', 'name = "barn-a"\nlocks = "locks"\nlow_disk_mb = 1\nstore_every_s = 1'),
        ('bay_file = "bay.toml"', f'bay_file = "{BAY_FILE}"\n{QUICK}'),
        ("[bays.mapping]\nevery_s = 10", f"{LIMITS}[bays.mapping]\nevery_s = 1"),
    ):
        assert old in text
        text = text.replace(old, new)
    config = tmp_path / "bridge.toml"
    config.write_text(text, encoding="utf-8")
    with contextlib.ExitStack() as running:
        running.callback(broker.stop)

        def start(name, *words):
            out = running.enter_context((tmp_path / f"{name}.out").open("w"))
            command = [sys.executable, HERE / f"{name}.py", *words]
            process = subprocess.Popen(command, stdout=out, stderr=subprocess.STDOUT)
            running.callback(process.wait)
            running.callback(process.kill)
            return process

        start("modbus_plc", "--port", f"{plc}", "--beat-timeout", "6")
        gateway = start(
            "modbus_gateway", "--plc", f"127.0.0.1:{plc}", "--port", f"{broker.port}",
            "--every", "1", "--beat-timeout", "8",
        )  # fmt: skip
        bridge = LiveBridge(config)
        running.callback(bridge.kill)
        client = ModbusTcpClient("127.0.0.1", port=plc)
        until(client.connect, 20.0, "the PLC")
        running.callback(client.close)

        def registers():
            names = ("fan", "door", "water", "cool", "heat", "offer", "beat", "valid")
            found = client.read_holding_registers(100, count=8).registers
            return dict(zip(names, found, strict=True))

        yield config, bridge, gateway, registers


def test_registers_to_advice_to_registers(stage):
    config, bridge, gateway, registers = stage
    out = config.parent / "modbus_plc.out"
    told = until(lambda: (now := registers())["valid"] and now, 60.0, "valid")
    assert 0 < told["fan"] <= 1000
    assert 0 < told["door"] <= 1000
    assert told["offer"] == 0
    until(lambda: "advice: fan" in out.read_text(), 5.0, "the PLC follows")
    journal = Journal(config.parent / "data" / "journal.db", read_only=True)
    values = next(iter(samples_of_journal(journal, "bay-2")))[1].values
    journal.close()
    assert values["plenum"] == pytest.approx(4.5, abs=0.11)
    assert values["above_rh"] == pytest.approx(0.94)
    assert values["co2"] == pytest.approx(1200e-6)

    # A bridge that hangs keeps its connection; what ends is the beat, and the gateway counts it.
    bridge.process.send_signal(signal.SIGSTOP)
    until(lambda: not registers()["valid"], 14.0, "valid falls without a beat")
    assert registers()["fan"] == 0
    bridge.process.send_signal(signal.SIGCONT)
    until(lambda: registers()["valid"], 20.0, "valid again")

    # One that dies takes its connection along: the broker says its last will at once.
    bridge.kill()
    until(lambda: not registers()["valid"], 5.0, "valid falls by the will")
    until(lambda: out.read_text().splitlines()[-1].startswith("own program"), 2.0, "own program")

    # A gateway that dies leaves its last word in the registers: the PLC counts the beat itself.
    again = LiveBridge(config)
    try:
        until(lambda: out.read_text().splitlines()[-1].startswith("advice"), 40.0, "advice again")
        gateway.kill()
        until(lambda: out.read_text().splitlines()[-1].startswith("own program"), 10.0, "own")
        assert registers()["valid"] == 1
    finally:
        again.kill()


def read_mapping_of(path):
    (bay,) = tomllib.loads(path.read_text(encoding="utf-8"))["bays"]
    return read_mapping(bay["mapping"], "", path.parent, []).readings


def test_the_register_map_of_the_page_is_the_gateways(monkeypatch):
    monkeypatch.syspath_prepend(str(HERE))
    gateway = importlib.import_module("modbus_gateway")
    page = (HERE / "plain_topics.md").read_text(encoding="utf-8")
    table = page.partition("| address |")[2].partition("\n\n")[0].splitlines()[2:]
    told: list[int] = []
    for row in table:
        numbers = [int(number) for number in re.findall(r"\d+", row.split("|")[1])]
        told += range(numbers[0], numbers[-1] + 1)
    up = range(gateway.READ_FROM, gateway.READ_FROM + len(gateway.READ))
    down = range(gateway.WRITE_TO, gateway.WRITE_TO + len(gateway.WRITE))
    assert told == [*up, *down]
    mapped = {one.path for one in read_mapping_of(HERE / "modbus_bridge.toml")}
    assert mapped == set(gateway.READ) - {"confirmed", "life"}


@pytest.mark.parametrize(
    "said",
    ['{"fan": 1e999, "beat": 2, "valid": 1}', '{"fan": 1001, "beat": 2, "valid": 1}',
     '{"fan": -1, "beat": 2, "valid": 1}', '{"fan": true, "beat": 2, "valid": 1}',
     '{"fan": 500, "valid": 1}', "[1]", '"x"'],
)  # fmt: skip
def test_the_gateway_passes_on_no_number_that_is_none(monkeypatch, said):
    monkeypatch.syspath_prepend(str(HERE))
    advice = importlib.import_module("modbus_gateway").Advice(60.0)
    advice.take(b'{"fan": 600, "door": 200, "beat": 1, "valid": 1}', False)
    before = advice.registers(True)
    assert before == [600, 200, 65535, 65535, 65535, 0, 1, 1]
    advice.take(said.encode(), False)
    assert advice.registers(True) == before
    assert advice.registers(False) == [0] * 8
