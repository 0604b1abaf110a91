"""
A controller on a broker with its bay (`plant`), for trials without a store.

It keeps the receiving rules, has its own limits, and runs its own program whenever no advice
stands. All invented.
"""

from __future__ import annotations

import random
import secrets
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Literal

import msgspec

from firmware_bridge.codes import TARGETS
from firmware_bridge.demo.plant import LAYERS, PULPS, Plant, probe_layers
from firmware_bridge.service.clock import Clock
from firmware_bridge.wire import messages, topics
from firmware_bridge.wire.client import Message, Wire
from firmware_bridge.wire.messages import AdviceMessage, Birth, Channel, ReadingMessage, State
from firmware_bridge.wire.receiver import LocalLimits, Receiver
from ventcalc.advice.policies import Positions, differential_thermostat
from ventcalc.advice.readings import START, Memory

__all__ = ["CHANNELS", "Fault", "Simulator"]

FROST = 0.5
"""The controller's own cut-out: below it the door shuts, whatever anybody advises. [°C]"""

_KINDS = (
    ("plenum_t", "plenum_temperature", "Cel", 0.01, 0.03),
    ("return_t", "return_temperature", "Cel", 0.01, 0.03),
    ("return_rh", "return_relative_humidity", "%", 0.1, 0.3),
    ("outside_t", "outside_temperature", "Cel", 0.01, 0.05),
    ("outside_rh", "outside_relative_humidity", "%", 0.1, 0.5),
    ("co2", "co2", "[ppm]", 1.0, 15.0),
    ("pressure", "pressure", "hPa", 0.1, 0.1),
    ("fan", "fan_speed", "%", 0.1, 0.0),
    ("door", "door_opening", "%", 0.1, 0.0),
    ("water", "humidifier", "%", 0.1, 0.0),
    ("cool", "refrigeration", "%", 0.1, 0.0),
    ("heat", "heater", "%", 0.1, 0.0),
)  # key, kind, unit, scale, noise
CHANNELS: tuple[Channel, ...] = (
    *(
        Channel(key=f"pulp_{n + 1}", kind="pulp_temperature", unit="Cel", scale=0.01)
        for n in range(PULPS)
    ),
    *(Channel(key=key, kind=kind, unit=unit, scale=scale) for key, kind, unit, scale, _ in _KINDS),
)
_NOISE = {key: noise for key, _, _, _, noise in _KINDS}


@dataclass(frozen=True, kw_only=True, slots=True)
class Fault:
    """A sensor that goes wrong for a while."""

    key: str
    how: str
    """``stuck``, ``missing``, ``spike`` (by 8 units), ``drift`` (1 unit/h), ``fahrenheit``."""
    start: float
    """Time of day, UTC. [s]"""
    end: float


@dataclass(slots=True)
class Simulator:
    """A controller with its bay; ``turn`` is called as often as one likes."""

    name: str
    root: str
    plant: Plant
    clock: Clock
    wire: Wire | None = None
    every: float = 60.0
    """Time from reading to reading. [s]"""
    form: Literal["object", "integers"] = "object"
    noise: float = 1.0
    faults: Sequence[Fault] = ()
    boot: int = field(default_factory=lambda: secrets.randbits(31))
    limits: LocalLimits = field(default_factory=LocalLimits)
    seed: int = 1
    receiver: Receiver = field(init=False)
    following: AdviceMessage | None = None
    """Advice that the controller follows; None: its own program."""
    applied: list[tuple[float, AdviceMessage]] = field(default_factory=list)
    """The last pieces of advice that moved anything, with their time. [s]"""
    acks: list[messages.Ack] = field(default_factory=list)
    _seq: int = 0
    _due: float = 0.0
    _local: Memory = START
    _random: random.Random = field(init=False)
    _held: dict[str, float] = field(default_factory=dict)
    _started: float = field(init=False)

    def __post_init__(self) -> None:
        self.receiver = Receiver(boot=self.boot, limits=self.limits)
        self._random = random.Random(self.seed)
        self._started = self._due = self.clock.steady()

    # --- messages ----------------------------------------------------------------------------

    def topic(self, leaf: str) -> str:
        """Topic of one kind of message of this bay."""
        return topics.bay_topic(self.root, self.name, leaf)

    def subscriptions(self) -> list[tuple[str, int]]:
        """What a controller listens to; the session is clean, so nothing old is kept for it."""
        return [(self.topic("advice"), 0), (self.topic("beat"), 0)]

    def will(self) -> Message:
        """Published by the broker when the controller vanishes."""
        payload = messages.encode(State(boot=self.boot, on=0))
        return Message(topic=self.topic("state"), payload=payload, qos=1, retain=True)

    def births(self) -> list[Message]:
        """What is said after every connect."""
        state = messages.encode(State(boot=self.boot, on=1))
        birth = Birth(
            boot=self.boot,
            fw="simulator",
            channels=_placed(self.plant),
            takes=TARGETS,
            form=self.form,
            every=max(1, round(self.every)),
        )
        return [
            Message(topic=self.topic("state"), payload=state, qos=1, retain=True),
            Message(topic=self.topic("birth"), payload=messages.encode(birth), qos=1, retain=True),
        ]

    # --- the controller's loop -----------------------------------------------------------------

    def turn(self) -> None:
        """Listen, move the plant on, and publish a reading when one is due."""
        assert self.wire is not None, "give the simulator a wire first"
        now = self.clock.steady()
        for message in self.wire.receive():
            self._take(message, now)
        if self.receiver.asked_birth:
            self.receiver.asked_birth = False
            for birth in self.births():
                self.wire.send(birth)
        if self.following is not None and self.receiver.standing(now) is None:
            self.control(now)  # what has ended must not stand until the next reading
        if now < self._due:
            return
        self._due = max(self._due + self.every, now)
        self.plant.advance(self.clock.wall())
        self.control(now)
        self._seq = (self._seq + 1) % 2**32
        self.receiver.note_reading(self._seq, now)
        reading = ReadingMessage(
            boot=self.boot,
            seq=self._seq,
            up=round(now - self._started, 1),
            t=round(self.clock.wall(), 1),
            v=self.values(),
        )
        if self.form == "integers":
            counts = [_count(channel, (reading.v or {})[channel.key]) for channel in CHANNELS]
            reading = msgspec.structs.replace(reading, v=None, i=counts)
        self.wire.send(
            Message(topic=self.topic("reading"), payload=messages.encode(reading), qos=1)
        )

    def _take(self, message: Message, now: float) -> None:
        assert self.wire is not None
        if message.topic == self.topic("beat"):
            self.receiver.take_beat(message.payload, message.retain, now)
        elif message.topic == self.topic("advice"):
            ack = self.receiver.take(message.payload, message.retain, now)
            self.acks = [*self.acks[-99:], ack]
            self.wire.send(Message(topic=self.topic("ack"), payload=messages.encode(ack), qos=1))
            self.control(now)

    def control(self, now: float) -> None:
        """
        Advice while it stands, and the controller's own program where it says nothing; its own
        interlock and the frost cut-out last.
        """
        advice = self.receiver.standing(now)
        if advice is not None and advice is not self.following:
            self.applied = [*self.applied[-999:], (now, advice)]
        self.following = advice
        readings = self.plant.readings()
        local, self._local = differential_thermostat(self.plant.now(), readings, self._local)
        taken = _own(local)
        if advice is not None:
            advised = {name: advice.position(name) for name in TARGETS}
            taken |= {name: value for name, value in advised.items() if value is not None}
        if taken["fan"] == 0.0:
            taken = dict.fromkeys(taken, 0.0)  # nothing opens, sprays, cools or heats without air
        positions = Positions(
            fan_speed=taken["fan"],
            door_opening=taken["door"],
            refrigeration=taken["cool"],
            heater=taken["heat"],
            humidity_wanted=self.plant.bay.limits.plenum_humidity if taken["water"] else 0.0,
        )
        if readings.plenum_temperature < FROST:
            positions = positions._replace(door_opening=0.0, refrigeration=0.0)
        self.plant.positions, self.plant.water = positions, taken["water"]

    # --- the sensors ---------------------------------------------------------------------------

    def values(self) -> dict[str, float | None]:
        """Readings with noise and faults, in the units of the birth."""
        seen, positions = self.plant.readings(), self.plant.positions
        truth: dict[str, float] = {
            **{f"pulp_{n + 1}": pulp for n, pulp in enumerate(self.plant.pulps())},
            "plenum_t": seen.plenum_temperature,
            "return_t": seen.return_temperature,
            "return_rh": 100.0 * seen.return_relative_humidity,
            "outside_t": seen.outside_temperature,
            "outside_rh": 100.0 * seen.outside_relative_humidity,
            "co2": 1e6 * seen.co2,
            "pressure": seen.pressure / 100.0,
            "fan": 100.0 * positions.fan_speed,
            "door": 100.0 * positions.door_opening,
            "water": 100.0 * self.plant.water,
            "cool": 100.0 * positions.refrigeration,
            "heat": 100.0 * positions.heater,
        }
        result: dict[str, float | None] = {}
        for key, value in truth.items():
            noisy = value + self.noise * _NOISE.get(key, 0.02) * self._random.gauss(0.0, 1.0)
            if key.endswith("_rh") or key in ("fan", "door", "water", "cool", "heat"):
                noisy = min(max(noisy, 0.0), 100.0)
            result[key] = self._spoilt(key, round(float(noisy), 2))
        return result

    def _spoilt(self, key: str, value: float) -> float | None:
        for fault in self.faults:
            if fault.key != key or not fault.start <= self.plant.time < fault.end:
                continue
            if fault.how == "missing":
                return None
            if fault.how == "stuck":
                return self._held.setdefault(key, value)
            if fault.how == "spike":
                return value + 8.0
            if fault.how == "drift":
                return round(value + (self.plant.time - fault.start) / 3600.0, 2)
            if fault.how == "fahrenheit":
                return round(1.8 * value + 32.0, 2)
        self._held.pop(key, None)
        return value


def _placed(plant: Plant) -> tuple[Channel, ...]:
    """The channels, with the heights of the probes in this pile."""
    step = plant.bay.pile.height / LAYERS
    at = {
        f"pulp_{n + 1}": round((layer + 0.5) * step, 2)
        for n, layer in enumerate(probe_layers(LAYERS))
    }
    return tuple(
        Channel(key=one.key, kind=one.kind, unit=one.unit, scale=one.scale, at=at.get(one.key))
        for one in CHANNELS
    )


def _own(local: Positions) -> dict[str, float]:
    """Positions of the controller's own program, by target. [0-1]"""
    return {
        "fan": float(local.fan_speed),
        "door": float(local.door_opening),
        "water": 1.0 if local.humidity_wanted > 0.0 else 0.0,
        "cool": float(local.refrigeration),
        "heat": float(local.heater),
    }


def _count(channel: Channel, value: float | None) -> int | None:
    return None if value is None else round(value / channel.scale)
