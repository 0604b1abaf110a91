"""A controller that knows only plain topics: what it is told, and when it may act upon it."""

from __future__ import annotations

import json
import math
import re
from dataclasses import replace
from datetime import UTC, datetime

import pytest
from bridge_world import MemoryWire

from firmware_bridge.errors import BadMessage
from firmware_bridge.journal.audit import entries
from firmware_bridge.mapping import MappedAdvice, MappedReading, PlainTopics
from firmware_bridge.wire.client import Message
from firmware_bridge.wire.messages import Beat, encode
from firmware_bridge.wire.plain_topics import PlainInbox

PLAIN = PlainTopics(
    every_s=30.0,
    readings=(
        MappedReading(topic="plc/pt1", key="pulp_1", kind="pulp_temperature", unit="Cel",
                      scale=0.1),
        MappedReading(topic="plc/pt2", key="pulp_2", kind="pulp_temperature", unit="Cel",
                      scale=0.1),
        MappedReading(topic="plc/plenum", key="plenum", kind="plenum_temperature", unit="[degF]"),
        MappedReading(topic="plc/air", key="above", kind="return_temperature", unit="Cel",
                      path="above.t"),
        MappedReading(topic="plc/air", key="above_rh", kind="return_relative_humidity", unit="%",
                      path="above.rh"),
        MappedReading(topic="plc/out", key="out", kind="outside_temperature", unit="Cel"),
        MappedReading(topic="plc/outrh", key="out_rh", kind="outside_relative_humidity", unit="%"),
    ),
    advice=MappedAdvice(fan="plc/set/fan", door="plc/set/door", air="plc/set/air",
                        valid="plc/set/valid", beat="plc/set/beat"),
)  # fmt: skip


class PlainController:
    """Knows plain numbers only; stands in the world where a simulator would."""

    def __init__(self, world):
        self.world, self.seen, self.silent = world, {}, False
        self.history = []
        self.wire = MemoryWire(world.broker, ["plc/set/+"])
        world.broker.wires.append(self.wire)
        self.wire.connect()
        self.due = 0.0

    def turn(self):
        for message in self.wire.receive():
            name = message.topic.rsplit("/", 1)[1]
            self.seen[name] = message.payload
            self.history.append((self.world.hand.now, name, message.payload))
        if self.silent or self.world.hand.now < self.due:
            return
        self.due = self.world.hand.now + 20.0
        wiggle = self.world.hand.now % 3 * 0.01
        for topic, payload in {
            "plc/pt1": b"54",
            "plc/pt2": b"56",
            "plc/plenum": f"{40.1 + wiggle:.2f}".encode(),
            "plc/air": json.dumps({"above": {"t": 5.8 + wiggle, "rh": 94.0}}).encode(),
            "plc/out": b"0.5",
            "plc/outrh": b"70",
        }.items():
            self.wire.send(Message(topic=topic, payload=payload))


def served(world, mapping=PLAIN, **settings):
    one = world(mapping=mapping, **settings)
    one.sims["bay-1"] = PlainController(one)
    return one


@pytest.fixture
def plain(world):
    return served(world)


def test_a_controller_of_plain_topics_is_served(plain):
    plain.run(300)
    seen = plain.sim.seen
    assert seen["valid"] == b"1"
    assert 0.0 < float(seen["fan"]) <= 100.0
    assert 0.0 < float(seen["door"]) <= 100.0
    assert 2.0 < float(seen["air"]) < 6.0
    assert plain.bay.source.newest.values["plenum"] == pytest.approx(4.5, abs=0.1)


def test_plain_advice_ends_when_readings_stop(plain):
    plain.run(300)
    plain.sim.silent = True
    plain.run(240)
    assert plain.sim.seen["valid"] == b"0"
    assert plain.bay.decision.code in ("missing", "stale")


def test_plain_values_come_before_the_flag(plain):
    plain.run(120)
    first = next(n for n, (_, name, p) in enumerate(plain.sim.history) if p == b"1" == p
                 and name == "valid")  # fmt: skip
    assert {"fan", "door"} <= {name for _, name, _ in plain.sim.history[:first]}


def test_plain_beat_counts_on_and_repeats_the_flag(plain):
    plain.run(300)
    beats = [int(p) for _, name, p in plain.sim.history if name == "beat"]
    assert beats == sorted(set(beats))
    assert len(beats) >= 25


def said(one, name):
    return [payload for _, what, payload in one.sim.history if what == name]


PEOPLE = replace(
    PLAIN,
    advice=replace(
        PLAIN.advice, text="plc/set/text", offer="plc/set/offer", confirm="plc/confirmed"
    ),
)


def test_in_mode_advise_no_set_point_can_be_copied(world):
    """Only what people read, and that nothing stands."""
    one = served(world, PEOPLE, mode="advise")
    one.run(300)
    assert {name for _, name, _ in one.sim.history} == {"valid", "beat", "text", "offer"}
    assert set(said(one, "valid")) == set(said(one, "offer")) == {b"0"}
    assert re.fullmatch(rb"advice: fans \d+%, fresh-air door \d+%", one.sim.seen["text"])


def test_a_panel_that_only_shows_a_line_of_text(world):
    advice = MappedAdvice(text="plc/set/text", valid="plc/set/valid", beat="plc/set/beat")
    one = served(world, replace(PLAIN, advice=advice), mode="advise")
    one.run(120)
    assert one.sim.seen["text"].startswith(b"advice: fans ")
    assert one.sim.seen["text"].endswith(b"refrigeration 0%, heater 0%")


def confirm(one, number, retain=False):
    one.wire.put(Message(topic="plc/confirmed", payload=number, received=0.0), retain=retain)
    one.run(5)


def test_in_mode_confirm_a_person_sends_the_number_back(world):
    one = served(world, PEOPLE, mode="confirm")
    one.run(300)
    offer = one.sim.seen["offer"]
    assert int(offer) > 0
    assert one.sim.seen["text"].startswith(b"confirm %b: fans " % offer)
    assert set(said(one, "offer")) <= {b"0", offer}, "about the same: one number"
    for wrong in (b"0", b"%d" % (int(offer) - 1), b"-1", b"nan"):
        confirm(one, wrong)
    confirm(one, offer, retain=True)
    assert "fan" not in one.sim.seen
    assert set(said(one, "valid")) == {b"0"}
    confirm(one, offer)
    assert one.sim.seen["valid"] == b"1"
    assert 0.0 < float(one.sim.seen["fan"]) <= 100.0
    assert one.sim.seen["offer"] == b"0"
    assert one.sim.seen["text"].startswith(b"in force: fans ")
    one.service.shutdown()
    assert one.sim.wire.inbox[-1].payload == b"0"
    kinds = [(one.kind, one.body) for _, one, _ in entries(one.folder / "audit.db")]
    assert [body.split(b",")[0] for kind, body in kinds if kind == "confirm"] == [b"[" + offer]


def test_a_consent_ends_after_an_hour_and_a_number_left_in_a_register_renews_nothing(world):
    one = served(world, PEOPLE, mode="confirm")
    one.run(300)
    offer = one.sim.seen["offer"]
    confirm(one, offer)
    begun = one.hand.now
    while one.sim.seen["valid"] == b"1":
        one.run(60, step=30.0)
        assert one.hand.now - begun < 3700.0
        confirm(one, offer)
    assert one.sim.seen["offer"] not in (b"0", offer)
    assert set(said(one, "valid")[-3:]) == {b"0"}


def test_doubt_ends_a_consent(world):
    one = served(world, PEOPLE, mode="confirm")
    one.run(300)
    offer = one.sim.seen["offer"]
    confirm(one, offer)
    one.sim.silent = True
    one.run(240)
    assert one.sim.seen["valid"] == b"0"
    assert one.sim.seen["text"].startswith(b"no advice: ")
    one.sim.silent = False
    one.run(120)
    assert one.sim.seen["valid"] == b"0"
    assert one.sim.seen["offer"] not in (b"0", offer)


def test_one_object_in_place_of_several_topics(world):
    """One message is whole or not there; positions stand in it only while they may be applied."""
    advice = MappedAdvice(
        object="plc/set/all", fan="speed", door="flap", beat="n", valid="ok", decimals=0
    )
    one = served(world, replace(PLAIN, advice=advice))
    one.run(300)
    (name,) = {name for _, name, _ in one.sim.history}
    assert name == "all"
    told = [json.loads(payload) for payload in said(one, "all")]
    assert {tuple(each) for each in told if each["ok"]} == {("speed", "flap", "n", "ok")}
    assert {tuple(each) for each in told if not each["ok"]} == {("n", "ok")}
    assert all(isinstance(value, int) for value in told[-1].values())
    assert 0 < told[-1]["speed"] <= 100
    assert len({each["n"] for each in told}) == len(told)


@pytest.mark.parametrize("payload", [b"nan", b"1e999", b"", b"5,4", b"0x10", b"9" * 400, b"true"])
def test_plain_payloads_that_are_no_number(plain, payload):
    plain.run(120)
    before = plain.bay.source.newest.values["pulp_1"]
    plain.wire.put(Message(topic="plc/pt1", payload=payload), retain=False)
    plain.run(5)
    assert plain.bay.source.newest.values["pulp_1"] == before
    assert plain.bay.counts["bad plc/pt1"] == 1


# --- gateways as they are ----------------------------------------------------------------------

WALL = 1_790_000_000.0
ON_CHANGE = PlainTopics(
    every_s=10.0,
    alive="gw/status",
    readings=(
        MappedReading(topic="gw/door", key="inside", kind="people_inside", unit="1",
                      max_age_s=86400.0),
        MappedReading(topic="gw/p", key="pulp", kind="pulp_temperature", unit="Cel"),
        MappedReading(topic="gw/j", key="out", kind="outside_temperature", unit="Cel", path="v",
                      time="t", retained=True, max_age_s=3600.0),
    ),
)  # fmt: skip


def inbox(**settings):
    return PlainInbox(mapping=replace(ON_CHANGE, **settings), boot=1, max_age=180.0)


def values(one, now, **settings):
    """What a reading made now would hold; None where none is made."""
    one.due = -math.inf
    reading = one.reading(now, **settings)
    return None if reading is None else reading.v


def test_what_is_published_on_change_is_believed_while_the_gateway_lives():
    one = inbox()
    one.take("gw/door", b"1", 0.0)
    one.take("gw/p", b"5", 0.0)
    assert values(one, 1.0) is None, "nobody has said that the gateway lives"
    assert one.take_alive(b"online", 1.0, kept=True) is True
    assert values(one, 170.0) == {"inside": 1.0, "pulp": 5.0, "out": None}
    one.take("gw/p", b"5", 7000.0)
    assert values(one, 7200.0) == {"inside": 1.0, "pulp": None, "out": None}
    assert values(one, 90000.0)["inside"] is None, "its own longest age"
    assert one.take_alive(b" Offline\n", 7300.0) is False
    assert values(one, 7301.0) is None
    # Back again: whether the door was opened meanwhile only a new word tells.
    one.take_alive(b"online", 7310.0)
    assert values(one, 7311.0)["inside"] is None
    one.take("gw/door", b"0", 7312.0)
    assert values(one, 10900.0)["inside"] == 0.0
    # One that ended in good order leaves no will: its word that it lives stands for ever.
    assert values(one, 10920.0)["inside"] is None, "for an hour nothing at all has come"


def test_a_word_that_is_no_number_ends_what_was_believed_for_long():
    """A gateway that publishes on change says once that a probe is dead."""
    one = inbox()
    one.take_alive(b"1", 0.0)
    one.take("gw/door", b"1", 0.0)
    one.take("gw/j", b'{"v": 5, "t": 0}', 0.0, 0.0)
    with pytest.raises(BadMessage):
        one.take("gw/door", b"NaN", 1000.0)
    with pytest.raises(BadMessage):  # an object of what has changed says nothing of the rest
        one.take("gw/j", b'{"other": 1}', 1000.0, 1000.0)
    assert values(one, 1001.0) == {"inside": None, "pulp": None, "out": 5.0}
    one.take("gw/door", b"1", 1002.0)
    assert values(one, 2000.0)["inside"] == 1.0


def test_the_first_reading_waits_for_the_first_round():
    """Or each start would tell of readings that are missing, and only ask again when it is due."""
    one = inbox(alive="")
    one.take("gw/p", b"5", 0.0)
    assert one.reading(1.0) is None
    one.take("gw/door", b"1", 2.0)
    assert one.reading(3.0).v == {"inside": 1.0, "pulp": 5.0, "out": None}


def test_what_the_bridge_did_not_hear_itself_is_not_believed_for_long():
    """Its own link was lost: the gateway may have gone, and the door been opened."""
    one = inbox()
    one.take_alive(b"1", 0.0)
    one.take("gw/door", b"1", 100.0)
    assert values(one, 1000.0, link_lost=900.0) is None, "gone, as far as it knows"
    one.take_alive(b"1", 901.0, kept=True)
    assert values(one, 1000.0, link_lost=900.0)["inside"] is None
    one.take("gw/door", b"1", 1001.0)
    assert values(one, 2000.0, link_lost=900.0)["inside"] == 1.0


def test_a_heartbeat_that_stops_ends_what_was_believed():
    one = inbox(alive_within_s=30.0)
    one.take_alive(b"17", 0.0, kept=True)
    assert values(one, 1.0) is None, "of a heartbeat the kept one says nothing"
    one.take_alive(b"18", 2.0)
    one.take("gw/door", b"1", 3.0)
    assert values(one, 32.0)["inside"] == 1.0
    assert values(one, 33.0) is None
    one.take_alive(b"19", 600.0)
    assert values(one, 601.0)["inside"] is None


@pytest.mark.parametrize("form", ["%.0f", '"%s"', "ms"])
def test_late_readings_are_not_fresh(form):
    """Store and forward: what comes late is as old as it says, and replaces nothing newer."""
    one = inbox()
    one.take_alive(b"1", 0.0)

    def send(value, stamp, now, kept=False):
        text = {
            "ms": f"{stamp * 1000:.0f}",
            '"%s"': f'"{datetime.fromtimestamp(stamp, UTC).isoformat()}"',
        }.get(form, f"{stamp:.0f}")
        payload = f'{{"v": {value}, "t": {text}}}'.encode()
        one.take("gw/j", payload, now, WALL + now, kept)
        return values(one, now)["out"]

    assert send(1.0, WALL - 4000.0, 0.0) is None
    assert send(2.0, WALL - 3000.0, 1.0, kept=True) == 2.0, "kept, and its age is known"
    assert values(one, 700.0)["out"] is None, "3600 s after it was measured"
    assert send(3.0, WALL + 700.0, 701.0) == 3.0
    assert send(4.0, WALL + 600.0, 702.0) == 3.0, "older than what is known"
    with pytest.raises(BadMessage, match="3600 s ahead"):
        send(5.0, WALL + 4400.0, 800.0)


@pytest.mark.parametrize("time", [b'"2026-11-05T03:00:00"', b'"soon"', b"null", b"true"])
def test_a_time_that_is_none_or_has_no_zone_is_refused(time):
    with pytest.raises(BadMessage):
        inbox().take("gw/j", b'{"v": 1, "t": %b}' % time, 0.0, WALL)


def test_what_was_kept_is_taken_only_where_the_mapping_says_so():
    one = inbox()
    one.take_alive(b"1", 0.0)
    one.take("gw/p", b"5", 0.0, WALL, kept=True)
    assert values(one, 1.0)["pulp"] is None


def test_a_bay_is_advised_by_what_came_once_until_the_gateway_is_gone(world):
    """Published on change: one word in the morning, and the last will ends it at once."""
    readings = tuple(replace(one, max_age_s=7200.0) for one in PLAIN.readings)
    one = served(world, replace(PLAIN, readings=readings, alive="plc/status"))
    one.sim.wire.send(Message(topic="plc/status", payload=b"online", retain=True))
    one.run(30)
    one.sim.silent = True
    one.run(3000, step=10.0)
    assert one.sim.seen["valid"] == b"1"
    one.sim.wire.send(Message(topic="plc/status", payload=b"offline", retain=True))
    one.run(5)
    assert one.sim.seen["valid"] == b"0"
    assert one.bay.decision.code == "lost"


def test_one_gateway_may_serve_two_bays(world):
    """A probe outside, and the gateway's own life, belong to every bay that names them."""
    one = served(world, PLAIN, names=("bay-1", "bay-2"))
    del one.sims["bay-2"]
    one.run(60)
    for bay in one.service.bays.values():
        assert bay.source.newest.values["out"] == 0.5


# --- whoever else speaks there -----------------------------------------------------------------


def foreign(one, topic, payload, retain=False):
    """What the broker brings that is not the bridge's own."""
    one.wire.put(Message(topic=topic, payload=payload), retain=retain)
    one.run(10)


def test_set_points_of_somebody_else_end_the_advice_and_are_an_alarm(plain):
    plain.run(300)
    for harmless in (b"", b" ", b"0"):  # a will, the word of `check`: they can only end advice
        foreign(plain, "plc/set/valid", harmless)
    foreign(plain, "plc/set/fan", b"100", retain=True)
    assert plain.sim.seen["valid"] == b"1", "what was left long ago ends nothing"
    assert "and left it at the broker, on the topic plc/set/fan" in plain.bay.intruder[0].text
    foreign(plain, "plc/set/fan", b"100")
    assert plain.sim.seen["valid"] == b"0"
    assert plain.bay.decision.code == "other_bridge"
    plain.run(290)
    plain.kill()
    plain.run(10)
    plain.start()
    plain.run(250)
    assert plain.sim.seen["valid"] == b"0", "a restart knows it still"
    plain.run(100)
    assert plain.sim.seen["valid"] == b"1"


def test_the_last_words_of_a_bridge_that_served_before_are_not_forged(plain):
    """Its set points may be heard before its beat."""
    plain.run(300)
    plain.kill()
    plain.start()
    foreign(plain, "plc/set/fan", b"100")
    assert plain.bay.intruder == ()
    assert plain.sim.seen["valid"] == b"0"
    rival = encode(Beat(boot=1, seq=1, id=1))
    plain.wire.put(Message(topic="vent/1/bay-1/to/beat", payload=rival), retain=False)
    plain.run(60)
    assert plain.sim.seen["valid"] == b"1"
    plain.run(60)
    foreign(plain, "plc/set/fan", b"100")
    assert plain.bay.intruder != ()


def test_who_stands_back_takes_back_its_last_word(plain):
    """A forged beat may hide that nobody serves: nothing of ours may go on standing."""
    plain.run(300)
    rival = Beat(boot=plain.service.health.boot + 5, seq=1, id=1)
    foreign(plain, "vent/1/bay-1/to/beat", encode(rival))
    count = len(plain.sim.history)
    assert plain.sim.seen["valid"] == b"0"
    plain.run(40)
    assert len(plain.sim.history) == count, "then it is silent"
