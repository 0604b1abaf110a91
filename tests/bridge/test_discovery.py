"""A hub finds the bays by MQTT discovery, reads them, and can command nothing."""

from __future__ import annotations

import json
import re
from dataclasses import replace

import pytest
from bridge_live import LiveBridge, until, write_config
from test_broker_faults import live

from firmware_bridge.codes import ADVICE_ALARMS, LOG_ALARMS

__all__ = ["live"]


def value_at(template, body):
    """What a hub reads: the template names one place in the JSON."""
    places = re.fullmatch(r"\{\{ value_json((?:\['\w+'\])+) \}\}", template)
    for place in re.findall(r"'(\w+)'", places[1]):
        body = body[place]
    return body


def described(one):
    """What the broker keeps for hubs, by topic."""
    return {
        topic: json.loads(message.payload)
        for topic, message in one.broker.retained.items()
        if topic.startswith("hub/")
    }


def again(one, names, discovery):
    """The bridge starts with another file."""
    one.kill()
    own = replace(one.config.bridge, discovery=discovery)
    bays = tuple(bay for bay in one.config.bays if bay.name in names)
    one.config = replace(one.config, bridge=own, bays=bays)
    one.start()


def test_a_hub_reads_a_bay_and_forgets_it_when_it_goes(world):
    one = world(names=("bay-1", "bay-2"))
    one.run(120)
    assert described(one) == {}, "off by default"
    again(one, ("bay-1", "bay-2"), "hub")
    one.run(120)
    found = described(one)
    body = json.loads(one.broker.of("_bridge/bridge-a/bay/bay-1")[-1][1].payload)
    for topic, sensor in found.items():
        _, kind, node, name, _ = topic.split("/")
        assert kind in ("sensor", "binary_sensor")
        assert sensor["unique_id"] == f"{node}_{name}"
        assert not [key for key in sensor if "command" in key], "only to be read"
        assert sensor["availability_topic"] == "vent/1/_bridge/bridge-a/state"
        if node == "vent_bay-1":
            value_at(sensor["value_template"], body)
    pulp = found["hub/sensor/vent_bay-1/read_pulp_1/config"]
    assert (pulp["unit_of_measurement"], pulp["device_class"]) == ("°C", "temperature")
    seen = one.bay.source.newest.values["pulp_1"]  # perhaps a reading later
    assert value_at(pulp["value_template"], body) == pytest.approx(seen, abs=0.2)
    humidity = found["hub/sensor/vent_bay-1/read_return_rh/config"]
    assert 50.0 < value_at(humidity["value_template"], body) <= 100.0
    assert body["advice"] == one.bay.decision.targets.why
    assert set(body["alarm"].values()) == {"OFF"}
    assert {*ADVICE_ALARMS, *LOG_ALARMS} <= body["alarm"].keys()

    one.sim.wire.cut()
    one.run(900)
    body = json.loads(one.broker.of("_bridge/bridge-a/bay/bay-1")[-1][1].payload)
    assert (body["read"], body["advice"], body["alarm"]["lost"]) == ({}, "none", "ON")

    again(one, ("bay-2",), "hub")
    one.run(30)
    assert {topic.split("/")[2] for topic in described(one)} == {"vent_bay-2"}
    again(one, ("bay-2",), "")
    one.run(30)
    assert described(one) == {}


def kept(live, broker):
    """What somebody who comes now finds described."""
    ear = live.listener(broker.port, "hub/#")
    ear.say("hub/marker", b"x")
    until(lambda: ear.of("marker"), 10.0, "the marker, behind all that is kept")
    return {message.topic for message in ear.of("config") if message.payload}


def test_descriptions_stand_on_a_real_broker_until_they_are_taken_away(live):
    broker = live.broker()
    path = write_config(live.folder, broker.port)
    off = path.read_text(encoding="utf-8")
    frost = "hub/binary_sensor/vent_bay-1/alarm_frost_risk/config"
    hub = live.listener(broker.port, "hub/#")
    for text, payload in (
        (off.replace("[broker]", 'discovery = "hub"\n[broker]'), b"{"),
        (off, b""),
    ):
        path.write_text(text, encoding="utf-8")
        bridge = LiveBridge(path)
        try:
            until(
                lambda payload=payload: any(
                    one.topic == frost and one.payload[:1] == payload for one in hub.of("config")
                ),
                30.0,
                f"{frost} {payload}",
            )
        finally:
            assert bridge.close() == 0
        assert (frost in kept(live, broker)) == (text != off)
    assert kept(live, broker) == set()
