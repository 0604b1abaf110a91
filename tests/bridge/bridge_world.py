"""A whole installation in one thread: bridge, broker in memory, simulated bays, one clock."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path

from firmware_bridge.bay.state import new_bay
from firmware_bridge.config import BayConfig, BrokerConfig, Config, Limits, OwnConfig
from firmware_bridge.demo.plant import plant_of
from firmware_bridge.demo.simulator import Simulator
from firmware_bridge.journal.audit import AuditLog
from firmware_bridge.journal.journal import Journal
from firmware_bridge.service.clock import Clock
from firmware_bridge.service.service import Service
from firmware_bridge.wire.client import Message
from firmware_bridge.wire.topics import link_topics
from ventcalc.bay.file import example_bay_path, read_bay

START = datetime(2026, 11, 5, 3, 0, tzinfo=UTC).timestamp()
BAY_FILE = Path(example_bay_path("seed_bay"))


@dataclass
class HandClock:
    """Time moves when the test says so."""

    now: float = 1000.0
    offset: float = START - 1000.0
    error: float = 0.0
    """Of the wall clock of the bridge's machine."""
    epoch: str = ""

    def steady(self):
        return self.now

    def wall(self):
        return self.now + self.offset

    def clock(self):
        return Clock(steady=self.steady, wall=self.wall)

    def of_the_bridge(self):
        return Clock(steady=self.steady, wall=lambda: self.wall() + self.error, epoch=self.epoch)


def matches(pattern, topic):
    """Whether a topic filter takes a topic."""
    wanted, parts = pattern.split("/"), topic.split("/")
    if wanted[-1] == "#":
        return parts[: len(wanted) - 1] == wanted[:-1]
    return len(wanted) == len(parts) and all(
        a in ("+", b) for a, b in zip(wanted, parts, strict=True)
    )


@dataclass
class MemoryBroker:
    """Delivers at once, or whatever ``meddle`` makes of each delivery."""

    clock: HandClock
    wires: list = field(default_factory=list)
    retained: dict = field(default_factory=dict)
    log: list = field(default_factory=list)
    meddle: object = None

    def publish(self, message):
        self.log.append((self.clock.now, message))
        if message.retain:
            if message.payload:
                self.retained[message.topic] = message
            else:
                self.retained.pop(message.topic, None)
        for wire in self.wires:
            if wire.ready and any(matches(pattern, message.topic) for pattern in wire.patterns):
                for delivered in self.meddle(wire, message) if self.meddle else (message,):
                    wire.put(delivered, retain=False)

    def of(self, leaf):
        return [(at, message) for at, message in self.log if message.topic.endswith(f"/{leaf}")]


@dataclass
class MemoryWire:
    """One client's end; like the real link it sends now or not at all."""

    broker: MemoryBroker
    patterns: list
    births: object = None
    will: Message | None = None
    ready: bool = False
    drops: deque = field(default_factory=lambda: deque(maxlen=16))
    inbox: deque = field(default_factory=deque)
    refused: int = 0

    def connect(self):
        self.ready = True
        for message in self.broker.retained.values():
            if any(matches(pattern, message.topic) for pattern in self.patterns):
                self.put(message, retain=True)
        for message in self.births() if self.births else ():
            self.send(message)

    def cut(self):
        if self.ready:
            self.drops.append(self.broker.clock.now)
        self.ready = False
        if self.will is not None:
            self.broker.publish(self.will)

    def put(self, message, retain):
        topic, payload, now = message.topic, message.payload, self.broker.clock.now
        self.inbox.append(Message(topic=topic, payload=payload, retain=retain, received=now))

    def send(self, message):
        if not self.ready:
            self.refused += 1
            return False
        self.broker.publish(message)
        return True

    def receive(self, most=1000):
        found = []
        while self.inbox and len(found) < most:
            found.append(self.inbox.popleft())
        return found


def config_for(folder, names=("bay-1",), mode="bounded", mapping=None, days=0.0, **bay):
    """A configuration as the file reader would have made it."""
    settings = {"advice_every_s": 30.0, "set_by": "the test", **bay}
    return Config(
        bridge=OwnConfig(
            name="bridge-a",
            data=folder,
            locks=folder / "locks",
            journal_days=days,
            audit_days=days,
        ),
        broker=BrokerConfig(tls=False, port=1883),
        bays=tuple(
            BayConfig(name=name, bay_file=BAY_FILE, mode=mode, mapping=mapping, **settings)
            for name in names
        ),
    )


class NeverWithoutPower:
    """A database that does not wait for the disk; the tests of a power cut bring their own."""

    def __init__(self, database):
        self._database = database

    def __getattr__(self, name):
        return getattr(self._database, name)

    def execute(self, text, *given):
        return self._database.execute(
            text.replace("synchronous = FULL", "synchronous = OFF"), *given
        )


class World:
    """Everything, driven by ``run``."""

    def __init__(self, folder, *, names=("bay-1",), form="object", every=60.0, pulp=None, **bay):
        self.folder = folder
        self.hand = HandClock()
        self.broker = MemoryBroker(self.hand)
        self.config = config_for(folder, names, **bay)
        self.free = 10_000.0
        self.sims = {}
        for name in names:
            plant = plant_of(read_bay(BAY_FILE), self.hand.wall(), pulp)
            sim = Simulator(
                name=name, root="vent", plant=plant, clock=self.hand.clock(), every=every, form=form
            )
            self.join(sim)
            self.sims[name] = sim
        self.start()

    def join(self, sim):
        patterns = [topic for topic, _ in sim.subscriptions()]
        sim.wire = MemoryWire(self.broker, patterns, sim.births, sim.will())
        self.broker.wires.append(sim.wire)
        sim.wire.connect()

    def start(self, limits=None):
        self.audit = AuditLog(self.folder / "audit.db")
        self.journal = Journal(self.folder / "journal.db")
        for kept in (self.audit, self.journal):
            kept._database = NeverWithoutPower(kept._database)
        self.wire = MemoryWire(self.broker, [topic for topic, _ in link_topics(self.config)])
        self.broker.wires.append(self.wire)
        boot = self.audit.next_boot(self.hand.wall())
        bays = {
            one.name: new_bay(one, boot, self.journal.memory(one.name)) for one in self.config.bays
        }
        self.service = Service(
            self.config,
            self.wire,
            self.journal,
            self.audit,
            self.hand.of_the_bridge(),
            lambda: self.free,
            bays,
            boot,
        )
        self.wire.connect()

    def turn(self):
        """A turn of the bridge's loop, for what is called by itself."""
        return self.service._day.turn()

    def kill(self):
        """The bridge's process is gone from one instant to the next."""
        self.broker.wires.remove(self.wire)
        self.audit.close()
        self.journal.close()
        self.service = None

    def run(self, seconds, step=5.0):
        end = self.hand.now + seconds
        while self.hand.now < end - 1e-9:
            self.hand.now = min(self.hand.now + step, end)
            for sim in self.sims.values():
                sim.turn()
            if self.service is not None:
                self.service.turn()
            for sim in self.sims.values():
                sim.turn()
            if self.service is not None:
                self.service.turn()

    @property
    def bay(self):
        return self.service.bays["bay-1"]

    @property
    def sim(self):
        return self.sims["bay-1"]

    def close(self):
        if self.service is not None:
            self.kill()


__all__ = ["BAY_FILE", "START", "HandClock", "Limits", "MemoryBroker", "MemoryWire", "World"]
