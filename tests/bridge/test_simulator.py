"""The simulated controller: what advice leaves alone stays with its own program."""

from __future__ import annotations

import pytest

from firmware_bridge.demo import simulator
from firmware_bridge.wire.messages import AdviceMessage, Beat, encode
from ventcalc.advice.policies import Positions

OWN = Positions(
    fan_speed=0.7, door_opening=0.4, humidity_wanted=0.95, refrigeration=0.3, heater=0.2
)


@pytest.fixture
def sim(world, monkeypatch):
    """A controller whose own program wants the same all the time, and which hears a bridge."""
    monkeypatch.setattr(simulator, "differential_thermostat", lambda *given: (OWN, None))
    one = world()
    one.kill()
    one.run(120.0)
    found = one.sims["bay-1"]
    found.receiver.take_beat(encode(Beat(boot=99999999, seq=1, id=1)), False, one.hand.now)
    return found


def tell(sim, **positions):
    """Advice of this moment, and what stands after it."""
    now, rests_on = sim.clock.steady(), (sim.boot, sim._seq)
    advice = AdviceMessage(
        id=(99999999, 1), rests_on=rests_on, ttl=180, mode=3, why="even", **positions
    )
    ack = sim.receiver.take(encode(advice), False, now)
    sim.control(now)
    return ack.code, _stand(sim)


def _stand(sim):
    found = sim.plant.positions
    return (
        found.fan_speed, found.door_opening, sim.plant.water, found.refrigeration, found.heater
    )  # fmt: skip


def test_what_is_left_alone_stays_with_the_own_program(sim):
    assert _stand(sim) == (0.7, 0.4, 1.0, 0.3, 0.2)
    assert tell(sim, fan=0.5, door=0.1) == ("accepted", (0.5, 0.1, 1.0, 0.3, 0.2))
    assert sim.plant.positions.humidity_wanted > 0.0


def test_what_is_advised_as_nothing_is_nothing(sim):
    told = tell(sim, fan=0.5, door=0.0, water=0.0, cool=0.0, heat=0.0)
    assert told == ("accepted", (0.5, 0.0, 0.0, 0.0, 0.0))


def test_without_air_nothing_opens_sprays_cools_or_heats(sim):
    assert tell(sim, fan=0.0) == ("accepted", (0.0,) * 5)


def test_the_first_advice_after_a_start_is_taken(world):
    one = world()
    one.run(636.0)  # in between two beats, and the next advice is due
    one.sim.wire.cut()
    one.broker.wires.remove(one.sim.wire)
    one.sims["bay-1"] = simulator.Simulator(
        name="bay-1", root="vent", plant=one.sim.plant, clock=one.hand.clock()
    )
    one.join(one.sim)
    one.run(5.0)
    assert [ack.code for ack in one.sim.acks] == ["accepted"], "a beat came before it"
