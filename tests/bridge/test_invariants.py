"""Everything at once, at random: what must hold whatever happens."""

from __future__ import annotations

import math
import random
import tempfile
from functools import partial
from pathlib import Path

import msgspec
import pytest
from bridge_world import World
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule
from msgspec.structs import replace

from firmware_bridge.bay import advisor, safety
from firmware_bridge.bay.safety import Targets
from firmware_bridge.config import Limits
from firmware_bridge.demo import plant
from firmware_bridge.demo.simulator import CHANNELS, Fault
from firmware_bridge.errors import BadMessage
from firmware_bridge.journal.audit import verify
from firmware_bridge.wire import messages
from firmware_bridge.wire.client import Message
from firmware_bridge.wire.messages import (
    Ack,
    AdviceMessage,
    Beat,
    ReadingMessage,
    advice_of_row,
    encode,
)
from firmware_bridge.wire.receiver import Receiver
from ventcalc import air

KEYS = ("pulp_1", "pulp_5", "plenum_t", "return_t", "return_rh", "outside_t", "outside_rh", "co2")
HOWS = ("stuck", "missing", "spike", "drift", "fahrenheit")
TTL = 180.0
FLOOR = 0.5
OUTSIDE = plant.outside_at


def _weather(temperature, time, pressure):
    """The example weather at another temperature."""
    ratio = float(air.humidity_ratio(temperature, 0.7, pressure))
    return OUTSIDE(time, pressure)._replace(
        temperature=temperature, relative_humidity=0.7, humidity_ratio=ratio
    )


class Installation(RuleBasedStateMachine):
    """
    Random faults on a bridge, a broker and a simulated bay.

    After every step: whatever the controller follows was made for its present boot, is no older
    than its life, came through the bridge, and lies inside the envelope as the plant knows it.
    """

    @initialize(form=st.sampled_from(["object", "integers"]), seed=st.integers(0, 10**6))
    def begin(self, form, seed):
        self.folder = tempfile.TemporaryDirectory(ignore_cleanup_errors=True)
        # Without shortest runs and rests, so that advice stands most of the time.
        limits = Limits(minimum_on_s=0.0, minimum_off_s=0.0, changes_per_hour=3600)
        self.world = World(Path(self.folder.name), form=form, every=30.0, limits=limits)
        self.request = advisor.request
        self.followed = {}
        self.told, self.told_to, self.answers_to = {}, 0, 0
        self.random = random.Random(seed)
        self.boots = []
        self.note_boot()
        self.world.run(120, step=10.0)

    def note_boot(self):
        boot = self.world.service.health.boot
        assert all(boot > earlier for earlier in self.boots), "a boot number came twice"
        self.boots.append(boot)

    # --- time and faults -----------------------------------------------------------------

    @rule(seconds=st.sampled_from([10, 30, 70, 200]))
    def time_passes(self, seconds):
        self.world.run(seconds, step=10.0)

    @rule(key=st.sampled_from(KEYS), how=st.sampled_from(HOWS))
    def a_sensor_fails(self, key, how):
        begin = self.world.hand.wall()
        self.world.sim.faults = [Fault(key=key, how=how, start=begin, end=begin + 300)]

    @rule(drop=st.floats(0, 0.6), double=st.floats(0, 0.6), hold=st.floats(0, 0.6))
    def the_network_goes_bad(self, drop, double, hold):
        held = []

        def meddle(wire, message):
            out = [] if self.random.random() < drop else [message]
            if self.random.random() < double:
                out *= 2
            if out and self.random.random() < hold:
                held.append((wire, out.pop()))
            if held and self.random.random() < 0.3:
                late_wire, late = held.pop(self.random.randrange(len(held)))
                if late_wire is wire:
                    out.append(late)  # out of order, perhaps very late
            return out

        self.world.broker.meddle = meddle

    @rule()
    def all_is_well_for_a_while(self):
        self.world.broker.meddle = None
        self.world.sim.faults = []
        self.world.free = 5000.0
        self.world.sim.receiver.remote, self.world.sim.receiver.interlock = True, False
        for wire in (self.world.sim.wire, self.world.wire):
            if not wire.ready and wire in self.world.broker.wires:
                wire.connect()
        self.world.run(200, step=10.0)

    @rule(
        fan=st.sampled_from([0.0, 0.05, 0.5, 1.0, 2.0]),
        door=st.sampled_from([0.0, 0.1, 0.3, 0.6, 1.0, -1.0]),
        water=st.sampled_from([0.0, 1.0]),
        cool=st.sampled_from([0.0, 0.8]),
        heat=st.sampled_from([0.0, 0.8]),
        calm=st.booleans(),
    )
    def the_adviser_goes_mad(self, fan, door, water, cool, heat, calm):
        """In the midst of troubles, or with nothing else wrong."""
        wild = Targets(fan=fan, door=door, water=water, cool=cool, heat=heat)

        def mad(*given):
            return replace(self.request(*given), targets=wild)

        if calm:
            self.all_is_well_for_a_while()
        advisor.request = mad
        self.world.run(70, step=10.0)

    @rule()
    def the_adviser_is_sane_again(self):
        advisor.request = self.request

    @rule(outside=st.sampled_from([-25.0, -8.0, 4.0, 15.0]))
    def the_weather_turns(self, outside):
        plant.outside_at = partial(_weather, outside)

    @precondition(lambda self: self.world.service is not None)
    @rule()
    def the_bridge_loses_its_link(self):
        self.world.wire.cut()

    @precondition(lambda self: self.world.service is not None and not self.world.wire.ready)
    @rule()
    def the_bridge_finds_its_link(self):
        self.world.wire.connect()

    @precondition(lambda self: self.world.sim.wire.ready)
    @rule()
    def the_controller_loses_its_link(self):
        self.world.sim.wire.cut()

    @precondition(lambda self: not self.world.sim.wire.ready)
    @rule()
    def the_controller_finds_its_link(self):
        self.world.sim.wire.connect()

    @rule()
    def the_controller_reboots(self):
        old = self.world.sim
        if old.wire.ready:
            old.wire.cut()
        self.world.broker.wires.remove(old.wire)
        self.world.sims["bay-1"] = type(old)(
            name="bay-1",
            root="vent",
            plant=old.plant,
            clock=old.clock,
            every=30.0,
            form=old.form,
            boot=self.random.randrange(2**31),
        )
        self.world.join(self.world.sim)

    @precondition(lambda self: self.world.service is not None)
    @rule()
    def the_bridge_is_killed(self):
        self.world.kill()

    @precondition(lambda self: self.world.service is None)
    @rule()
    def the_bridge_starts_again(self):
        self.world.start()
        self.note_boot()

    @rule(step=st.sampled_from([-7200.0, -90.0, -5.0, 5.0, 90.0, 7200.0, 86400.0 * 20]))
    def the_wall_clock_jumps(self, step):
        self.world.hand.offset += step
        self.world.sim.plant.time = self.world.hand.wall()

    @rule(free=st.sampled_from([10.0, 5000.0]))
    def the_disk_fills_or_empties(self, free):
        self.world.free = free

    @rule(remote=st.booleans(), interlock=st.booleans())
    def somebody_at_the_controller(self, remote, interlock):
        self.world.sim.receiver.remote = remote
        self.world.sim.receiver.interlock = interlock

    # --- malice --------------------------------------------------------------------------

    @rule(data=st.data())
    def old_advice_is_played_again(self, data):
        found = self.world.broker.of("advice")
        if found:
            _, message = data.draw(st.sampled_from(found))
            self.world.sim.wire.put(message, retain=data.draw(st.booleans()))

    @rule(reboot=st.booleans(), calm=st.booleans())
    def the_whole_session_is_played_again(self, reboot, calm):
        """
        Advice with its beats, to the controller as it is, or to one that has just been switched
        on, counts its readings afresh and has heard nothing of the bridge.
        """
        if calm:
            self.all_is_well_for_a_while()
        session = [*self.world.broker.of("beat"), *self.world.broker.of("advice")]
        if reboot:
            self.the_controller_reboots()
            sim = self.world.sim
            self.world.broker.meddle = lambda wire, message: () if wire is sim.wire else (message,)
            self.world.run(70, step=10.0)
        for _, message in session:
            self.world.sim.wire.put(message, retain=False)
        self.world.run(10, step=10.0)
        self.what_is_followed_is_ours_fresh_and_harmless()
        if reboot:
            self.world.broker.meddle = None

    @rule(seconds=st.sampled_from([40, 250]), afterwards=st.booleans(), calm=st.booleans())
    def advice_is_held_up_while_beats_come(self, seconds, afterwards, calm):
        """Lost, or kept by somebody and delivered all at once."""
        if calm:
            self.all_is_well_for_a_while()
        held, sim = [], self.world.sim

        def meddle(wire, message):
            if wire is sim.wire and message.topic.endswith("/advice"):
                held.append(message)
                return ()
            return (message,)

        self.world.broker.meddle = meddle
        self.world.run(seconds, step=10.0)
        self.what_is_followed_is_ours_fresh_and_harmless()
        self.world.broker.meddle = None
        for message in held if afterwards else ():
            sim.wire.put(message, retain=False)
        self.world.run(10, step=10.0)

    @rule(payload=st.binary(max_size=80))
    def rubbish_comes(self, payload):
        names = {"from": ("reading", "birth", "state", "ack", "alarm"), "to": ("advice", "beat")}
        for direction, leaves in names.items():
            for one in leaves:
                topic = f"vent/1/bay-1/{direction}/{one}"
                self.world.broker.publish(Message(topic=topic, payload=payload))

    @rule(ahead=st.integers(-3, 3))
    def another_bridge_beats(self, ahead):
        boot = max(0, self.boots[-1] + ahead)
        beat = Beat(boot=boot, seq=self.random.randrange(1000), id=self.random.randrange(2**31))
        topic = "vent/1/bay-1/to/beat"
        self.world.broker.publish(Message(topic=topic, payload=encode(beat)))

    # --- what must hold ------------------------------------------------------------------

    def readings_sent(self):
        found = {}
        for at, message in self.world.broker.of("reading"):
            try:
                one = messages.decode(message.payload, ReadingMessage)
            except BadMessage:
                continue
            found.setdefault((one.boot, one.seq), (at, one))
        return found

    def advice_sent(self):
        """By its number, as far as it can be read; each message is read once."""
        found = self.world.broker.of("advice")
        for _, message in found[self.told_to :]:
            kind = messages.AdviceRow if message.payload[:1] == b"[" else AdviceMessage
            try:
                one = messages.decode(message.payload, kind)
            except BadMessage:
                continue
            one = one if isinstance(one, AdviceMessage) else advice_of_row(one)
            self.told[one.id] = one
        self.told_to = len(found)
        return self.told

    @invariant()
    def what_is_called_accepted_was_ours_and_fresh(self):
        """An answer binds as much as what is followed: people and the bridge go by it."""
        world = getattr(self, "world", None)
        if world is None:
            return
        answers, told, sent = world.broker.of("ack"), self.advice_sent(), self.readings_sent()
        for at, message in answers[self.answers_to :]:
            try:
                ack = messages.decode(message.payload, Ack)
            except BadMessage:
                continue
            if ack.code not in ("accepted", "clamped") or ack.ref not in told:
                continue
            advice = told[ack.ref]
            assert advice.rests_on[0] == ack.boot, "called accepted for another boot"
            assert at - sent[advice.rests_on][0] <= TTL, "called accepted beyond its life"
        self.answers_to = len(answers)

    @invariant()
    def what_is_followed_is_ours_fresh_and_harmless(self):
        world = getattr(self, "world", None)
        if world is None:
            return
        sim, now = world.sim, world.hand.now
        advice = sim.following
        if advice is None:
            return
        taken, _ = self.readings_sent()[advice.rests_on]
        assert advice.rests_on[0] == sim.boot, "advice for another boot"
        assert now - taken <= TTL, "older than its life"
        assert sim.receiver.remote or sim.receiver.standing(now) is None
        assert advice.mode == 3

    @invariant()
    def whatever_was_applied_lay_inside_the_envelope(self):
        """By the readings that it rests on, as they were sent."""
        world = getattr(self, "world", None)
        if world is None or not world.sim.applied:
            return
        sent, sim = self.readings_sent(), world.sim
        for at, advice in sim.applied:
            if (sim.boot, at, advice.id) in self.followed:
                continue
            highest = max((name for boot, _, name in self.followed if boot == sim.boot), default=())
            assert highest == () or advice.id > highest, "an older one was taken after a newer"
            self.followed[sim.boot, at, advice.id] = True
            taken, reading = sent[advice.rests_on]
            assert advice.rests_on[0] == sim.boot
            assert at - taken <= TTL
            fan, door = advice.fan or 0.0, advice.door or 0.0
            assert 0.0 <= fan <= 1.0
            assert 0.0 <= door <= 1.0
            water, cool, heat = advice.water or 0.0, advice.cool or 0.0, advice.heat or 0.0
            assert fan >= 0.1 or door <= 0.02, "door open without a fan"
            assert fan == 0.0 or fan >= 0.1, "fan below its lowest speed"
            assert fan > 0.0 or water == cool == 0.0, "water or cold without a fan"
            assert cool == 0.0 or heat == 0.0, "cooled and heated at once"
            values = reading.v
            if values is None:
                values = {
                    channel.key: None if count is None else count * channel.scale
                    for channel, count in zip(CHANNELS, reading.i, strict=True)
                }
            if door > 0.02:
                above, outside = values["return_t"], values["outside_t"]
                assert above + door * (outside - above) >= FLOOR - 0.05, "would freeze"

    @invariant()
    def identities_rise(self):
        world = getattr(self, "world", None)
        if world is None:
            return
        found = []
        for _, message in world.broker.of("advice"):
            try:
                kind = messages.AdviceRow if message.payload[:1] == b"[" else AdviceMessage
                one = messages.decode(message.payload, kind)
            except BadMessage:
                continue
            name = one.id if isinstance(one, AdviceMessage) else (one.boot, one.seq)
            found.append(name)
        assert found == sorted(set(found)), "a number of the bridge came twice"

    @invariant()
    def the_pile_is_safe(self):
        world = getattr(self, "world", None)
        if world is not None:
            assert min(world.sim.plant.pulps()) > 0.0

    def teardown(self):
        world = getattr(self, "world", None)
        if world is None:
            return
        advisor.request = self.request
        plant.outside_at = OUTSIDE
        world.close()
        assert verify(world.folder / "audit.db")[1] == ""
        self.folder.cleanup()


TestInstallation = Installation.TestCase
TestInstallation.settings = settings(
    max_examples=15,
    stateful_step_count=35,
    deadline=None,
    suppress_health_check=list(HealthCheck),
)


# --- the machine itself ------------------------------------------------------------------


def _without_boot_check(monkeypatch):
    whole = Receiver._judge

    def judge(rules, advice, retained, now):
        ours = (rules.boot, advice.rests_on[1])
        return whole(rules, msgspec.structs.replace(advice, rests_on=ours), retained, now)

    monkeypatch.setattr(Receiver, "_judge", judge)


def _without_stale_check(monkeypatch):
    whole, end = Receiver._judge, Receiver._end

    def judge(rules, advice, retained, now):
        Receiver._end = lambda rules, advice: math.inf
        try:
            return whole(rules, advice, retained, now)
        finally:
            Receiver._end = end

    monkeypatch.setattr(Receiver, "_judge", judge)


def _without_combination_check(monkeypatch):
    monkeypatch.setattr(safety, "_combination", lambda targets, limits: None)


STORIES = {
    "boot": (
        _without_boot_check,
        lambda one: one.the_whole_session_is_played_again(reboot=True, calm=True),
    ),
    "stale": (
        _without_stale_check,
        lambda one: one.advice_is_held_up_while_beats_come(250, afterwards=True, calm=True),
    ),
    "no fan": (
        _without_combination_check,
        lambda one: one.the_adviser_goes_mad(0.0, 0.0, 1.0, 0.0, 0.0, calm=True),
    ),
    "slow fan": (
        _without_combination_check,
        lambda one: one.the_adviser_goes_mad(0.05, 0.0, 0.0, 0.0, 0.0, calm=True),
    ),
    "cold and heat": (
        _without_combination_check,
        lambda one: one.the_adviser_goes_mad(0.5, 0.0, 0.0, 0.8, 0.8, calm=True),
    ),
}


@pytest.mark.parametrize("broken", [False, True], ids=["whole", "broken"])
@pytest.mark.parametrize("name", STORIES)
def test_the_machine_notices_what_is_broken(name, broken, monkeypatch):
    """The same story passes with the check in its place, and fails with it taken out."""
    take_out, story = STORIES[name]
    if broken:
        take_out(monkeypatch)
    one = Installation()
    one.begin(form="object", seed=1)
    found = ""
    try:
        story(one)
        one.what_is_called_accepted_was_ours_and_fresh()
        one.what_is_followed_is_ours_fresh_and_harmless()
        one.whatever_was_applied_lay_inside_the_envelope()
    except AssertionError as error:
        found = str(error)
    finally:
        one.teardown()
    assert bool(found) == broken, found
