"""Advice that is not answered, or agreed to and not carried out: told once, in words, and over."""

from __future__ import annotations

import json
import math

import pytest

from firmware_bridge.bay.following import _REFUSED, EASE, PATIENCE, Following
from firmware_bridge.codes import ACK_CODES
from firmware_bridge.demo.simulator import Fault, Simulator
from firmware_bridge.sensors.sample import ActualPositions
from firmware_bridge.wire.client import Message
from firmware_bridge.wire.messages import Alarms, decode, encode

CODES = ("unanswered", "refused", "not_done", "sensor")


def told(one):
    return [event.code for event in one.service.told if event.code in CODES]


def alarms(one):
    found = [message for _, message in one.broker.of("alarm") if "_bridge" in message.topic]
    return [alarm.id for alarm in decode(found[-1].payload, Alarms).on] if found else []


def dropped(one, leaf, wire):
    one.broker.meddle = lambda to, message: (
        () if to is wire and message.topic.endswith(leaf) else (message,)
    )


def test_a_day_on_which_all_is_well_has_no_complaint(world):
    one = world()
    one.run(24 * 3600.0, step=30.0)
    assert told(one) == []
    assert alarms(one) == []


def test_answers_that_do_not_come(world):
    one = world()
    one.run(600)
    dropped(one, "/ack", one.wire)
    one.run(PATIENCE - 60.0)
    assert told(one) == []
    one.run(3600)
    assert told(one) == ["unanswered"], "once"
    assert alarms(one) == ["unanswered_bay_1"]
    assert [alarm.text for alarm in one.service.views()[0].complaints] == [
        "the controller does not answer advice; it runs its own program"
    ]
    one.broker.meddle = None
    one.run(EASE + 120.0)
    assert told(one) == ["unanswered", "unanswered"]
    assert one.service.told[-1].text.startswith("over: ")
    assert alarms(one) == []


def test_a_controller_that_is_gone_is_lost_and_no_more(world):
    one = world()
    one.run(600)
    one.sim.wire.cut()
    one.run(3600)
    assert told(one) == []
    assert alarms(one) == ["lost_bay_1"]
    found = [message for _, message in one.broker.of("alarm") if "_bridge" in message.topic]
    text = json.loads(found[-1].payload)["on"][0]["text"]
    assert text == "bay-1: no advice, the controller is silent or has disconnected"


def test_beats_that_do_not_come_through(world):
    one = world()
    one.run(600)
    dropped(one, "/beat", one.sim.wire)
    one.run(1200)
    assert told(one) == ["refused"]
    assert "does not hear the bridge's beat" in one.service.views()[0].complaints[0].text


@pytest.fixture
def stuck_door(monkeypatch):
    """A door motor that has failed: the controller agrees and reports what it has."""
    whole, stuck = Simulator.control, []

    def control(sim, now):
        whole(sim, now)
        if stuck:
            sim.plant.positions = sim.plant.positions._replace(door_opening=0.0)

    monkeypatch.setattr(Simulator, "control", control)
    return stuck


def test_a_door_that_does_not_open(world, stuck_door):
    one = world(pulp=12.0)
    one.run(1200)
    assert one.bay.decision.targets.door > 0.15, "the case needs an open door"
    stuck_door.append(True)
    one.run(2400)
    assert told(one) == ["not_done"]
    assert [alarm.text for alarm in one.service.views()[0].complaints] == [
        "agreed, but not done by the controller: fresh-air door"
    ]
    stuck_door.clear()
    one.run(3600)
    assert told(one) == ["not_done", "not_done"]
    assert one.bay.following.complaints == ()


def confirmed(one):
    """The first advice as a person confirms it, and the bridge has heard of it."""
    one.run(70.0)
    assert one.bay.accepted.code == "shown"
    ack = one.sim.receiver.confirm(one.hand.now)
    one.sim.wire.send(Message(topic="vent/1/bay-1/from/ack", payload=encode(ack)))
    one.run(5.0)
    return ack


def test_what_a_person_confirms_is_told_as_accepted(world):
    one = world(pulp=12.0, mode="confirm")
    ack = confirmed(one)
    assert one.bay.accepted == ack
    assert one.bay.accepted.fan == one.bay.decision.targets.fan
    assert told(one) == []


@pytest.mark.parametrize("form", ["object", "integers"])
def test_one_confirmation_serves_ten_pieces_of_advice(world, form):
    """The bridge takes "accepted" for an answer to advice of mode 2, without a second one."""
    one = world(pulp=12.0, mode="confirm", form=form)
    first = confirmed(one)
    assert one.bay.decision.targets.door > 0.15, "the case needs an open door"
    for _ in range(10):
        before = one.bay.accepted
        one.run(60.0)
        ack, targets = one.bay.accepted, one.bay.decision.targets
        assert ack.ref > before.ref
        assert ack.ref == one.bay.ids[-1]
        assert ack.code == "accepted"
        assert (ack.fan, ack.door) == pytest.approx((targets.fan, targets.door), abs=0.0006)
        assert abs(ack.door - first.door) <= 0.1
        assert one.sim.plant.positions.door_opening == ack.door
    assert one.bay.counts["ack shown"] == 1
    assert told(one) == []


def test_a_door_that_does_not_open_is_told_under_a_confirmation_too(world, stuck_door):
    one = world(pulp=12.0, mode="confirm")
    confirmed(one)
    stuck_door.append(True)
    one.run(2400)
    assert one.bay.accepted.code == "accepted"
    assert told(one) == ["not_done"]


def test_a_mode_that_only_shows_asks_for_nothing(world, stuck_door):
    one = world(pulp=12.0, mode="advise")
    stuck_door.append(True)
    one.run(3600)
    assert told(one) == []


def test_a_sensor_that_advice_does_without_is_told_too(world):
    one = world()
    one.run(600)
    begin = one.hand.wall()
    one.sim.faults = [Fault(key="outside_t", how="fahrenheit", start=begin, end=begin + 3600)]
    one.run(1500)
    assert told(one) == ["sensor"]
    assert one.bay.following.complaints[0].text == (
        "sensors not believed: outside_t (°C and °F mixed up?)"
    )
    one.run(4000)
    assert told(one) == ["sensor", "sensor"]


def assessed(following, wanted, actual, times, now=0.0):
    news = []
    for n in range(times):
        news += following.assess(
            {"cool": wanted}, ActualPositions(cool=actual(n)), {}, math.nan, now + 10.0 * n
        )
    return news


def test_a_machine_that_switches_on_and_off_is_judged_by_its_mean():
    assert assessed(Following(), 0.4, lambda n: float(n % 60 < 24), 1000) == []
    [(code, _)] = assessed(Following(), 0.4, lambda n: float(n % 60 < 54), 1000)
    assert code == "not_done"
    assert assessed(Following(), 0.4, lambda n: math.nan, 1000) == []


def test_a_short_trouble_is_not_told():
    following = Following()
    for minute in range(600):
        if minute % 10 == 0:
            following.sent()
        if minute % 10 == 8:
            following.answered("accepted")
        assert following.assess({}, ActualPositions(), {}, math.nan, 60.0 * minute) == []


def test_every_answer_is_told_or_somebodys_will():
    assert set(_REFUSED) <= set(ACK_CODES)
    wills = {"shown", "accepted", "clamped", "none", "rate", "interlock", "local"}
    assert set(ACK_CODES) - set(_REFUSED) == wills


def test_a_start_raises_no_alarm(world):
    one = world()
    one.run(60)
    found = [message for _, message in one.broker.of("alarm") if "_bridge" in message.topic]
    assert [decode(message.payload, Alarms).on for message in found] == [()]
