"""The whole bridge on a broker in memory: what it says, when, and when it keeps silent."""

from __future__ import annotations

import itertools
import json

import msgspec
import pytest

from firmware_bridge.bay.kept import kept_text
from firmware_bridge.bay.replay import replay
from firmware_bridge.demo.simulator import Fault, Simulator
from firmware_bridge.errors import JournalError
from firmware_bridge.journal.audit import entries, verify
from firmware_bridge.service.alarms import alarm_of, fitting
from firmware_bridge.service.requests import Request
from firmware_bridge.wire import messages
from firmware_bridge.wire.client import Message
from firmware_bridge.wire.messages import AdviceMessage, Alarm, Alarms, Beat, decode, encode


def sent(world, leaf="advice"):
    return [(at, decode(message.payload, AdviceMessage)) for at, message in world.broker.of(leaf)]


def last(world):
    return sent(world)[-1][1]


def codes(world):
    return [event.code for event in world.journal.events(bay="bay-1")]


def comes_back(world, within=1800.0):
    """Advice stands again in a while: after ``none`` the fan has its shortest rest or run."""
    end = world.hand.now + within
    while world.hand.now < end:
        world.run(60)
        if last(world).none is None and world.sim.following is not None:
            return True
    return False


def test_a_quiet_hour_is_an_hour_of_advice(world):
    one = world()
    one.run(3600)
    assert 55 <= len(sent(one)) <= 62
    assert one.sim.following is not None
    assert one.bay.accepted.code == "accepted"
    assert one.bay.decision.code == "ok"
    assert all(not message.retain and message.qos == 0 for _, message in one.broker.of("advice"))
    assert one.bay.counts["foreign ack"] == 0


def test_integer_form_end_to_end(world):
    one = world(form="integers")
    one.run(900)
    assert all(message.payload.startswith(b"[") for _, message in one.broker.of("advice"))
    assert one.sim.following is not None


def test_advice_rests_on_the_newest_reading_and_numbers_rise(world):
    one = world()
    one.run(1800)
    found = [advice for _, advice in sent(one)]
    assert [advice.id for advice in found] == sorted({advice.id for advice in found})
    readings = [json.loads(m.payload) for _, m in one.broker.of("reading")]
    assert [a.rests_on[1] for a in found] == [r["seq"] for r in readings]


def test_observe_says_nothing_but_keeps_a_log(world):
    one = world(mode="observe")
    one.run(900)
    assert sent(one) == []
    assert one.sim.following is None
    one.close()
    kinds = [entry.kind for _, entry, _ in entries(one.folder / "audit.db")]
    assert kinds.count("observe") > 10


@pytest.mark.parametrize("mode", ["advise", "confirm"])
def test_weaker_modes_move_nothing(world, mode):
    one = world(mode=mode)
    one.run(900)
    assert len(sent(one)) > 10
    assert one.sim.following is None
    assert one.bay.accepted.code == "shown"


def test_three_values_are_kept_apart(world):
    one = world()
    one.sim.receiver.limits = type(one.sim.limits)(door_most=0.2)
    one.run(900)
    view = one.bay.view(one.hand.now)
    assert view.decision.targets.door > 0.3
    assert view.accepted.door == 0.2
    assert view.accepted.code == "clamped"
    assert view.actual.door == pytest.approx(0.2, abs=0.01)


def test_the_answer_grows_old_from_when_it_came(world):
    one = world()
    one.run(650.0)
    came = one.broker.of("ack")[-1][0]
    assert one.bay.view(one.hand.now).accepted_age == one.hand.now - came > 0.0
    one.sim.wire.ready = False
    one.run(100.0)
    assert one.bay.view(one.hand.now).accepted_age == one.hand.now - came > 100.0


def test_rate_limit(world):
    one = world(every=5.0, advice_every_s=30.0)
    one.run(600)
    times = [at for at, _ in sent(one)]
    assert all(b - a >= 30.0 - 1e-6 for a, b in itertools.pairwise(times))


# --- silence and doubt -----------------------------------------------------------------------


def test_a_controller_that_falls_silent_is_told_none_then_lost(world):
    one = world()
    one.run(600)
    one.sim.wire.ready = False  # a half-open link: nobody notices, nothing comes through
    one.run(200)
    assert last(one).none == "stale"
    one.run(600)
    assert one.bay.doubt(one.hand.now) == "lost"
    alarm = json.loads(one.broker.retained["vent/1/_bridge/bridge-a/alarm"].payload)
    assert alarm["on"][0]["id"] == "lost_bay_1"
    assert one.sim.receiver.standing(one.hand.now) is None


def test_a_controller_that_never_comes_is_lost_in_the_end(world):
    """After a power cut the bridge may be back, and the controller not."""
    one = world()
    one.sims.clear()
    one.run(500)
    assert one.bay.doubt(one.hand.now) == "start"
    assert not json.loads(one.broker.retained["vent/1/_bridge/bridge-a/alarm"].payload).get("on")
    one.run(200)
    alarm = json.loads(one.broker.retained["vent/1/_bridge/bridge-a/alarm"].payload)
    assert [each["id"] for each in alarm["on"]] == ["lost_bay_1"]


def test_the_last_will_counts_at_once(world):
    one = world()
    one.run(600)
    one.sim.wire.cut()
    one.run(5)
    assert last(one).none == "lost"


def test_a_controller_that_reboots_starts_afresh(world):
    one = world()
    one.run(600)
    old = one.sim
    old.wire.cut()
    one.broker.wires.remove(old.wire)
    one.sims["bay-1"] = type(old)(
        name="bay-1", root="vent", plant=old.plant, clock=old.clock, every=60.0, boot=old.boot + 1
    )
    one.join(one.sim)
    assert comes_back(one)
    assert last(one).rests_on[0] == old.boot + 1


def test_a_connection_is_told_once_and_again_after_a_cut(world):
    one = world()
    one.run(600)
    assert codes(one).count("birth") == 1
    for birth in one.sim.births():  # the same once more, as after a restart of the broker
        one.sim.wire.send(birth)
    one.run(60)
    assert codes(one).count("birth") == 1
    one.sim.wire.cut()
    one.run(60)
    one.sim.wire.connect()
    one.run(60)
    assert (codes(one).count("offline"), codes(one).count("birth")) == (1, 2)


def test_a_birth_that_was_lost_is_asked_for(world):
    one = world()
    one.broker.retained.clear()
    one.kill()
    one.start()
    one.run(120)
    assert one.bay.source.birth is not None
    assert last(one).none is None


def test_a_restarted_bridge_has_a_higher_boot_and_remembers(world):
    one = world()
    one.run(600)
    first, memory = last(one).id[0], one.bay.memory
    one.kill()
    one.run(120)
    assert one.sim.following is None  # the dead-man: no beat for a minute
    one.start()
    assert one.bay.memory.hourly.target == pytest.approx(memory.hourly.target)
    assert comes_back(one)
    assert last(one).id[0] > first


def test_clean_end_tells_none(world):
    one = world()
    one.run(600)
    one.service.shutdown()
    assert last(one).none == "shutdown"


@pytest.mark.parametrize(
    ("key", "how", "code"),
    [
        ("pulp_1 pulp_3 pulp_4", "missing", "missing"),
        ("plenum_t", "fahrenheit", "units"),
        ("return_rh", "missing", "missing"),
        ("pulp_1 pulp_2 pulp_3", "fahrenheit", "units"),
    ],
)
def test_a_sensor_that_is_needed_goes_wrong(world, key, how, code):
    one = world()
    one.run(300)
    begin = one.hand.wall()
    one.sim.faults = [Fault(key=k, how=how, start=begin, end=begin + 600) for k in key.split()]
    one.run(120)
    assert last(one).none == code
    assert one.sim.following is None
    assert comes_back(one, 2400.0)


@pytest.mark.parametrize("how", ["missing", "fahrenheit"])
def test_one_pulp_probe_of_five_goes_wrong_and_advice_goes_on(world, how):
    one = world()
    one.run(300)
    begin, before = one.hand.wall(), len(sent(one))
    one.sim.faults = [Fault(key="pulp_2", how=how, start=begin, end=begin + 1e6)]
    one.run(900)
    assert {advice.none for _, advice in sent(one)[before:]} == {None}
    assert "pulp_2" in next(c.text for c in one.bay.complaints if c.id == "sensor")


def test_a_pulp_probe_far_from_the_others_is_told_by_its_place(world):
    one = world()
    one.run(300)
    begin = one.hand.wall()
    one.sim.faults = [Fault(key="pulp_4", how="spike", start=begin, end=begin + 1e6)]
    one.run(1200)
    found = {alarm.id: alarm.text for alarm in one.bay.complaints}
    assert "Pulp probe 4 (from the bottom)" in found["probe_or_spot"]
    assert one.bay.source.newest.faults == {"pulp_4": "odd"}
    assert last(one).none is None


def test_a_stuck_plenum_ends_advice_two_hours_into_the_run_that_must_have_moved_it(
    world, monkeypatch
):
    one = world(every=120.0, pulp=12.0, max_age_s=600.0, ttl_s=600)
    one.run(600, step=30.0)
    assert "ok" in codes(one)
    seen, begin = Simulator.values, one.hand.wall()
    monkeypatch.setattr(Simulator, "values", lambda sim: {**seen(sim), "fan": 80.0})
    one.sim.faults = [Fault(key="plenum_t", how="stuck", start=begin, end=begin + 1e7)]
    one.run(6900.0, step=30.0)
    assert one.bay.source.newest.faults == {}
    one.run(600.0, step=30.0)
    assert last(one).none == "stuck"


def test_outside_air_may_be_missing(world):
    one = world()
    begin = one.hand.wall()
    one.sim.faults = [
        Fault(key=key, how="missing", start=begin, end=begin + 1e6)
        for key in ("outside_t", "outside_rh")
    ]
    one.run(900)
    assert last(one).none is None
    assert last(one).door == 0.0


# --- the bridge doubts itself ----------------------------------------------------------------


def test_no_audit_no_advice(world, monkeypatch):
    one = world()
    one.run(600)
    whole = one.audit.write

    def fails(found, **how):
        raise JournalError("disk full")

    monkeypatch.setattr(one.audit, "write", fails)
    begin = one.hand.now
    one.run(300)
    assert {advice.none for at, advice in sent(one) if at > begin} == {"audit"}
    assert one.sim.following is None
    monkeypatch.setattr(one.audit, "write", whole)
    assert comes_back(one)
    one.close()
    assert verify(one.folder / "audit.db")[1] == ""


def test_every_advice_that_was_sent_is_in_the_log(world):
    one = world()
    one.run(1800)
    one.close()
    logged = {
        tuple(json.loads(entry.body.split(b" ")[0])[1:3])
        for _, entry, _ in entries(one.folder / "audit.db")
        if entry.kind == "advice"
    }
    assert {advice.id for _, advice in sent(one)} == logged


def test_a_journal_that_fails_loses_nothing_in_the_end(world, monkeypatch):
    one = world()
    one.run(300)
    whole = one.journal.store

    def fails(*_, **__):
        raise JournalError("disk full")

    monkeypatch.setattr(one.journal, "store", fails)
    one.run(600)
    assert last(one).none is None  # history waits, advice does not
    monkeypatch.setattr(one.journal, "store", whole)
    one.run(60)
    stored = len(list(one.journal.rows("bay-1")))
    assert stored >= one.bay.source.counts["taken"] - 1  # the second came within the minute


def test_low_disk(world):
    one = world()
    one.run(300)
    one.free = 10.0
    one.run(90)
    assert last(one).none == "disk"
    one.free = 5000.0
    assert comes_back(one)


def test_a_wall_clock_that_jumps(world):
    one = world()
    one.run(600)
    one.hand.offset += 7200.0
    one.run(120)
    assert last(one).none == "clock"
    assert comes_back(one)


def test_a_wall_clock_that_was_never_set(world):
    one = world()
    one.kill()
    one.hand.offset = -1000.0
    one.start()
    one.run(300)
    assert last(one).none == "clock"


def starts_again(one, later, wall_off, epoch=""):
    """The bridge, after so long, with a wall clock that is so far off. [s]"""
    one.kill()
    one.hand.now += later
    one.hand.epoch = epoch
    one.hand.error = wall_off
    one.start()


@pytest.mark.parametrize("away", [20.0, 1800.0])
def test_a_probe_that_is_doubted_stays_so_when_the_bridge_starts_again(world, away):
    """Its first reading alone would be believed: nothing says that 40 is not °C outside."""
    one = world()
    one.run(600)
    begin = one.hand.wall()
    one.sim.faults = [Fault(key="outside_t", how="fahrenheit", start=begin, end=begin + 1e6)]
    one.run(180)
    assert one.bay.source.newest.faults["outside_t"] == "units"
    starts_again(one, away, 0.0)
    one.run(120)
    assert one.bay.source.newest.faults["outside_t"] == "units"


def test_running_times_and_changes_outlive_the_process(world):
    one = world()
    one.run(1200)
    before, now = one.bay.history, one.hand.now
    assert before.fan.measured
    starts_again(one, 30.0, 0.0)
    after = one.bay.history
    assert after.fan == before.fan
    assert after.changes == pytest.approx(before.changes)
    assert now < one.hand.now


@pytest.mark.parametrize("text", ["", "[]", '{"day": 1}', '{"day": "x"}', "DROPPED"])
def test_what_was_kept_and_cannot_be_read_harms_nothing(world, text):
    one = world()
    one.run(300)
    kept = kept_text(one.bay, one.hand.now, one.hand.wall())
    one.journal.set_note("kept bay-1", text or kept.replace('"good": ', '"good": "x", "_": '))
    starts_again(one, 20.0, 0.0)
    one.run(600)
    assert one.service.inbox.counts["errors"] == 0
    assert last(one).none is None


YEARS = 5 * 365 * 86400.0


@pytest.mark.parametrize("off", [YEARS, -60 * 86400.0])
def test_a_clock_far_off_at_start_is_doubted_until_it_is_set(world, off):
    one = world()
    one.run(600)
    starts_again(one, 30.0, off)
    one.run(1200)
    assert {advice.none for at, advice in sent(one) if at > one.hand.now - 1200} == {"clock"}
    said = [event.text for event in one.journal.events() if event.code == "clock" and not event.bay]
    assert len(said) == 1
    assert "2026-11-05 03:" in said[0]
    one.hand.error = 0.0
    assert comes_back(one)


def test_a_clock_far_off_at_start_is_trusted_where_a_person_says_so(world):
    """A store that stood empty for two years."""
    one = world()
    one.run(600)
    starts_again(one, 30.0, 2 * 365 * 86400.0)
    one.run(600)
    assert last(one).none == "clock"
    done = one.service._do(Request(do="trust-clock", bay="", by="the manager"), one.turn())
    assert done == (True, "the time of day is right: 2028-11-04 03:20 UTC")
    assert comes_back(one)
    again = one.service._do(Request(do="trust-clock", bay="", by="the manager"), one.turn())
    assert not again[0]


@pytest.mark.parametrize(
    ("off", "doubted"), [(0.0, False), (7200.0, True), (-7200.0, True), (30.0, False)]
)
def test_a_process_that_starts_again_knows_how_long_it_was_gone(world, off, doubted):
    """The machine's steady clock goes on, so an hour too much or too little shows."""
    one = world()
    one.hand.epoch = "the machine's"
    one.kill()
    one.start()
    one.run(600)
    starts_again(one, 3600.0, off, "the machine's")
    one.run(120)
    assert (last(one).none == "clock") is doubted
    assert comes_back(one)


def test_small_steps_of_the_wall_clock_do_not_matter(world):
    one = world()
    one.run(300)
    begin = one.hand.now
    for step in (5.0, -5.0, 20.0, -20.0):
        one.hand.offset += step
        one.run(120)
    assert {advice.none for at, advice in sent(one) if at > begin} == {None}


def test_nothing_is_sent_while_the_link_is_down(world):
    one = world()
    one.run(600)
    one.wire.cut()
    count = len(sent(one))
    one.run(600)
    assert len(sent(one)) == count
    assert one.sim.following is None
    one.wire.connect()
    assert comes_back(one)
    assert {ack.code for ack in one.sim.acks[-2:]} <= {"none", "accepted"}


def test_a_link_that_flaps(world):
    one = world()
    one.run(600)
    for _ in range(6):
        one.wire.cut()
        one.wire.connect()
    one.run(50)
    assert last(one).none in ("link", "flapping")
    assert comes_back(one)
    whys = {advice.why for _, advice in sent(one)}
    assert "wait" in whys, "the controller's own program has stopped the fans meanwhile"


def test_a_bridge_that_does_not_hear_itself(world):
    one = world()
    one.run(600)
    one.broker.meddle = lambda wire, message: (
        () if wire is one.wire and message.topic.endswith("beat") else (message,)
    )
    one.run(120)
    assert last(one).none == "link"


def test_a_later_bridge_takes_over_and_the_first_comes_back_under_a_new_boot(world):
    one = world()
    one.run(600)
    before = last(one).id[0]
    topic = "vent/1/bay-1/to/beat"
    for n in range(10):
        rival = Beat(boot=before + 5, seq=n, id=1)
        one.broker.publish(Message(topic=topic, payload=encode(rival)))
        one.run(10)
    count = len(sent(one))
    assert one.bay.decision.code == "other_bridge"
    assert "other_bridge" in codes(one)
    one.run(40)
    assert len(sent(one)) == count
    assert comes_back(one)
    assert last(one).id[0] > before


def test_an_earlier_bridge_does_not_stop_the_later(world):
    one = world()
    one.run(600)
    topic = "vent/1/bay-1/to/beat"
    rival = encode(Beat(boot=1, seq=1, id=1))
    for _ in range(10):
        one.broker.publish(Message(topic=topic, payload=rival))
        one.run(30)
    assert last(one).none is None
    assert one.bay.counts["older bridge"] == 10


FORGED = "somebody else speaks in this bridge's name, on the topic"


def own_beats(one):
    return [message for _, message in one.broker.of("beat")]


def forged(one):
    """What stands on the bridge's own alarm topic about it."""
    alarms = decode(one.broker.of("alarm")[-1][1].payload, Alarms).on
    return [alarm.text for alarm in alarms if alarm.kind == "forged"]


def test_a_beat_in_the_bridges_own_name_is_an_alarm(world):
    """Played again, or made up with a number that was never sent; it does not count as heard."""
    one = world()
    one.run(300)
    assert forged(one) == []
    beat = decode(own_beats(one)[-1].payload, Beat)
    for payload in (
        own_beats(one)[0].payload,
        encode(msgspec.structs.replace(beat, seq=beat.seq + 50)),
    ):
        one.broker.publish(Message(topic="vent/1/bay-1/to/beat", payload=payload))
    one.run(30)
    assert one.bay.counts["forged"] == 2
    assert forged(one) == [
        "bay-1: somebody else speaks in this bridge's name, on the topic vent/1/bay-1/to/beat"
    ]
    assert codes(one).count("forged") == 1
    assert last(one).none is None
    one.run(700)
    assert forged(one) == []


def test_an_earlier_bridge_that_does_not_stand_back_is_an_alarm(world):
    one = world()
    one.run(60)
    rival = encode(Beat(boot=1, seq=1, id=1))
    for n in range(10):
        one.broker.publish(Message(topic="vent/1/bay-1/to/beat", payload=rival))
        one.run(10)
        assert bool(one.bay.intruder) is (n > 6)
    one.run(20)
    assert "to/beat" in forged(one)[0]


def test_advice_of_somebody_else_is_an_alarm_unless_another_bridge_is_there(world):
    one = world()
    one.run(300)
    advice = one.broker.of("advice")[-1][1]
    one.broker.publish(
        Message(topic="vent/1/bay-1/to/beat", payload=encode(Beat(boot=1, seq=1, id=1)))
    )
    one.wire.put(advice, retain=False)
    one.run(30)
    assert forged(one) == []  # a bridge that has not stood back yet
    one.run(60)
    one.wire.put(advice, retain=True)
    one.run(30)
    assert "to/advice" in forged(one)[0]


# --- what comes from elsewhere ---------------------------------------------------------------


def test_hostile_messages_change_nothing(world):
    one = world()
    one.run(600)
    begin = one.hand.now
    payloads = [b"", b"{", b"[" * 60000, b"\xff\xfe", b'{"boot":1}', b"null", b"x" * 65000]
    for payload in payloads:
        for leaf in ("reading", "birth", "ack", "state", "alarm"):
            topic = f"vent/1/bay-1/from/{leaf}"
            one.wire.put(Message(topic=topic, payload=payload), retain=False)
        one.wire.put(Message(topic="vent/1/bay-1/to/beat", payload=payload), retain=False)
    one.run(300)
    assert {advice.none for at, advice in sent(one) if at > begin + 60} == {None}
    assert one.bay.counts["bad reading"] >= 5
    assert codes(one).count("bad_message") <= 8  # told once a kind


def test_one_bay_that_floods_does_not_stop_the_other(world):
    one = world(names=("bay-1", "bay-2"))
    one.run(600)
    begin = one.hand.now
    for _ in range(20):
        for n in range(900):
            payload = b'{"boot":1,"seq":%d,"v":{}}' % n
            one.wire.put(Message(topic="vent/1/bay-1/from/reading", payload=payload), retain=False)
        one.run(15)
    other = [
        decode(message.payload, AdviceMessage)
        for at, message in one.broker.of("advice")
        if at > begin and "bay-2" in message.topic
    ]
    assert len(other) >= 4
    assert all(advice.none is None for advice in other)
    assert one.bay.counts["flood"] > 1000


def test_topics_of_nobody_are_counted_only(world):
    one = world()
    one.wire.put(Message(topic="vent/1/bay-77/from/reading", payload=b"{}"), retain=False)
    one.wire.put(Message(topic="else/where", payload=b"{}"), retain=False)
    one.run(5)
    assert one.service.inbox.counts["foreign topic"] == 2


def test_a_retained_reading_is_not_news(world):
    one = world()
    one.run(300)
    reading = one.broker.of("reading")[-1][1]
    later = json.loads(reading.payload)
    later["seq"] += 1
    one.wire.put(
        Message(topic=reading.topic, payload=json.dumps(later).encode(), retain=True), retain=True
    )
    before = one.bay.source.newest.seq
    one.run(5)
    assert one.bay.source.newest.seq == before
    assert one.bay.counts["retained"] == 1


def test_an_adviser_that_stumbles_gives_none(world, monkeypatch):
    one = world()
    one.run(300)

    def stumbles(*_):
        raise ZeroDivisionError("division by zero")

    monkeypatch.setattr("firmware_bridge.bay.advisor.advise", stumbles)
    one.run(120)
    assert last(one).none == "adviser"
    monkeypatch.undo()
    assert comes_back(one)


def test_a_mad_adviser_is_stopped_by_the_gate(world, monkeypatch):
    from msgspec.structs import replace

    import firmware_bridge.bay.advisor as advisor

    one = world()
    one.run(300)
    whole = advisor.request

    def mad(*given):
        result = whole(*given)
        wild = replace(result.targets, fan=1.0, door=1.0, air=-2.0)
        return replace(result, targets=wild)

    monkeypatch.setattr(advisor, "request", mad)
    one.run(600)
    found = [advice for at, advice in sent(one) if at > 1300]
    assert {advice.none for advice in found} == {"freeze"}
    assert one.sim.following is None


# --- replay ------------------------------------------------------------------------------


def test_replay_says_what_was_said(world):
    from firmware_bridge.journal.export import samples_of_journal

    one = world()
    one.run(3600)
    live = [advice for _, advice in sent(one) if advice.none is None]
    again = list(replay(one.config.bays[0], samples_of_journal(one.journal, "bay-1")))
    played = {decision.rests_on[1]: decision for _, decision, _ in again}
    same = [
        abs(decision.targets.door - a.door) < 0.02
        for a in live
        if (decision := played.get(a.rests_on[1])) is not None and decision.targets is not None
    ]
    assert len(same) > 50
    assert sum(same) >= 0.95 * len(same)


def test_the_controllers_own_program_keeps_a_bay_for_a_day_without_bridge(world):
    """The bridge dies; the pile stays between its floor and where it began."""
    one = world(every=300.0)
    one.run(600)
    one.kill()
    one.run(24 * 3600.0, step=300.0)
    assert one.sim.following is None
    pulps = one.sim.plant.pulps()
    assert min(pulps) > 1.0
    assert max(pulps) < 6.5


def test_many_alarms_fit_one_message_and_long_names_stay_apart():
    """The gravest are named, the others counted; two long names that begin alike keep two ids."""
    names = [f"north_store_of_the_valley_{n}" for n in range(40)]
    stale = Alarm(id="stale", level=3, text="no advice, stale readings")
    light = [alarm_of(name, stale) for name in names]
    grave = alarm_of("bay-7", Alarm(id="lost", level=2, text="no advice, lost"))
    assert len({alarm.id for alarm in light}) == 40
    fits = fitting([*light, grave])
    assert len(fits) == 32
    assert fits[0] == grave
    assert fits[-1].text.startswith("10 more alarms stand")
    messages.decode(messages.encode(messages.Alarms(boot=1, on=fits)), messages.Alarms)
    assert fitting([grave]) == (grave,)
