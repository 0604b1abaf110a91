"""What the bridge says: nothing of a payload reaches a terminal, and machines can read it."""

from __future__ import annotations

import json
import re

import pytest
from bridge_live import write_config

from firmware_bridge import __version__
from firmware_bridge.cli import main
from firmware_bridge.journal.journal import Event
from firmware_bridge.local import say
from firmware_bridge.logs import escaped, level_of, log, start_log
from firmware_bridge.serving import _log, _say
from firmware_bridge.wire.client import Message

EVIL = "\x1b]0;owned\x07\r\n\x1b[2J\x9b31m\u202eabc\u2028\ud800"


def test_control_characters_are_written_out(capsys):
    assert escaped("38.5 °F, µg, Zürich") == "38.5 °F, µg, Zürich"
    assert escaped(EVIL) == r"\x1b]0;owned\x07\r\n\x1b[2J\x9b31m\u202eabc\u2028\ud800"
    say(EVIL)
    assert capsys.readouterr().out == escaped(EVIL) + "\n"


def test_a_payload_cannot_write_to_the_terminal(world, capsys):
    """What a controller calls its firmware is told to people, as far as it can be shown."""
    one = world()
    birth = json.loads(one.broker.retained["vent/1/bay-1/from/birth"].payload)
    birth |= {"boot": birth["boot"] + 1, "fw": EVIL[:-1]}
    payload = json.dumps(birth).encode()
    one.broker.publish(Message(topic="vent/1/bay-1/from/birth", payload=payload))
    one.run(5)
    start_log("text")
    for event in one.service.told:
        _say(event, "barn")
    shown = capsys.readouterr().out
    assert r"\x1b]0;owned" in shown
    assert shown.replace("\n", "").isprintable()
    assert all(event.text.isprintable() for event in one.journal.events())


def test_json_lines_and_levels(world, capsys):
    one = world()
    one.broker.publish(Message(topic="vent/1/bay-1/from/ack", payload=b"{"))
    one.run(10)
    start_log("json", "warning")
    for event in one.service.told:
        _say(event, "barn")
    lines = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    found = {line["code"]: line for line in lines}
    assert (found["bad_message"]["bay"], found["bad_message"]["level"]) == ("bay-1", "warning")
    assert found["bad_message"]["day"].startswith("2026-11-05T03:00:0")
    assert "birth" not in found  # of less weight
    assert (level_of("audit"), level_of("link"), level_of("birth")) == (40, 30, 20)
    log.handlers.clear()


def test_every_line_has_its_time_and_words(capsys):
    start_log("text")
    _log("broker", "broker: connected")
    _say(Event(t=0.0, bay="bay-1", code="ok", text=""), "barn")
    start_log("json")
    _say(Event(t=0.0, bay="bay-1", code="ok", text=""), "barn")
    first, second, third = capsys.readouterr().out.splitlines()
    assert re.fullmatch(r"2\d{3}-\d\d-\d\d \d\d:\d\d:\d\dZ broker: connected", first)
    assert second == "1970-01-01 00:00:00Z bay-1 ok advice is given"
    assert json.loads(third)["text"] == "advice is given"
    log.handlers.clear()


def test_version(capsys):
    assert main(["--version"]) == 0
    assert capsys.readouterr().out == f"firmware-bridge {__version__}\n"


@pytest.mark.parametrize(
    ("words", "answer"),
    [
        (["--health", "here"], "--health is 'here'; write host and port"),
        (["--health", "203.0.113.9:1"], "--health: 203.0.113.9:1 cannot be had"),
        (["--log-format", "xml"], "invalid choice"),
    ],
)
def test_bad_words_of_run(tmp_path, capsys, words, answer):
    assert main(["run", str(write_config(tmp_path, 1)), *words]) == 2
    assert answer in capsys.readouterr().err
