"""
The demo: broker, two invented bays with their controllers, bridge and page in one process.

Its time is counted in steps: a slow machine makes the demo slower, never its readings older.
The broker is for this demo alone; it takes everybody on this machine, and is not for a store.
"""

from __future__ import annotations

import asyncio
import logging
import math
import socket
import tempfile
import threading
import time
from collections.abc import Callable, Iterable
from contextlib import ExitStack
from dataclasses import dataclass, field
from datetime import UTC, datetime
from importlib import resources
from pathlib import Path
from zoneinfo import ZoneInfo

from amqtt.broker import Broker

from firmware_bridge.bay.advisor import load_bay
from firmware_bridge.bay.decision import Decision
from firmware_bridge.bay.safety import Targets
from firmware_bridge.bay.state import BayState
from firmware_bridge.codes import NONE_REASONS
from firmware_bridge.config import BayConfig, BrokerConfig, Config, OwnConfig
from firmware_bridge.demo.plant import forecast_text, plant_of
from firmware_bridge.demo.simulator import Fault, Simulator
from firmware_bridge.errors import LinkError
from firmware_bridge.page.board import Board
from firmware_bridge.page.server import PageServer
from firmware_bridge.page.words import ACTION_TITLES, ANSWERS, TARGET_NAMES
from firmware_bridge.service.clock import Clock
from firmware_bridge.service.run import run
from firmware_bridge.service.service import Service
from firmware_bridge.wire import messages
from firmware_bridge.wire.client import Link, Message
from firmware_bridge.wire.messages import Alarm, Alarms

__all__ = ["PACE", "run_demo"]

PACE = 300.0
"""Demo seconds per second."""
FORECAST, FORECAST_EVERY = "ahead.csv", 12 * 3600.0
"""File of the weather ahead, and how often it is renewed. [s]"""
STEP = 6.0
"""Longest step of the demo's time from turn to turn: less than from beat to beat. [s]"""
LAG = 18.0
"""Older than this, a beat of the bridge is on its way: they go out every 10 s. [s]"""
PATIENCE = 1.0
"""So long demo time waits for it. [real s]"""
TELL = 0.1
"""A smaller change of a position is not told again. [0-1]"""
START = datetime(2026, 11, 5, 15, 0, tzinfo=UTC).timestamp()
HOUR = 3600.0
NOTICE = "Demo: the bays, their weather and their faults are invented, and time runs fast."
_ALARM = Alarm(id="spray_tank", level=2, text="humidifier tank is low (invented)")


@dataclass(frozen=True, kw_only=True, slots=True)
class _Cast:
    """One bay of the demo, and what goes wrong there each day. [h after the start]"""

    name: str
    bay_file: str
    mode: str
    faults: tuple[tuple[str, str, float, float], ...]
    silent: tuple[float, float] = (0.0, 0.0)
    alarm: tuple[float, float] = (0.0, 0.0)
    forecast: bool = False
    """Whether it has one, and follows the plan."""


CAST = (
    _Cast(
        name="north",
        bay_file="seed_bay.toml",
        mode="bounded",
        forecast=True,
        faults=(
            ("return_rh", "missing", 0.6, 0.9),
            ("plenum_t", "spike", 5.0, 5.04),
            ("outside_t", "fahrenheit", 8.0, 9.0),
        ),
    ),
    _Cast(
        name="south",
        bay_file="fry_bay.toml",
        mode="advise",
        faults=(("pulp_4", "missing", 3.0, 3.7),),
        silent=(1.7, 2.0),
        alarm=(0.3, 1.4),
    ),
)


@dataclass(slots=True)
class _Stepper:
    """The demo's time: as fast as asked, but no turn of the loop takes more than ``STEP``."""

    pace: float
    now: float = 0.0
    begun: bool = False
    """Whether the bridge has heard itself, so that the controllers may start."""
    _real: float = field(default_factory=time.monotonic)
    _moved: float = field(default_factory=time.monotonic)

    def tick(self, heard_at: float) -> None:
        """
        Move on by the time that has passed, or by the longest step.

        Demo time waits a while for a beat that is on its way: a broker that lags is not gone.
        """
        real = time.monotonic()
        self.begun |= heard_at > -math.inf
        waits = self.now - heard_at > LAG and real - self._moved < PATIENCE
        if not waits:
            self.now += min((real - self._real) * self.pace, STEP)
            self._moved = real
        self._real = real

    def clock(self) -> Clock:
        """Both clocks of everything in the demo."""
        return Clock(steady=lambda: self.now, wall=lambda: START + self.now, pace=self.pace)


class _DemoBroker:
    """A broker in a thread of this process, on a free port of this machine."""

    def __init__(self) -> None:
        logging.getLogger("amqtt").setLevel(logging.CRITICAL)
        logging.getLogger("transitions").setLevel(logging.CRITICAL)
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            self.port: int = probe.getsockname()[1]
        self._loop = asyncio.new_event_loop()
        self._ready = threading.Event()
        self._problem = ""
        self._thread = threading.Thread(target=self._run, daemon=True, name="demo broker")

    def __enter__(self) -> _DemoBroker:
        self._thread.start()
        if not self._ready.wait(10.0) or self._problem:
            raise LinkError(f"the demo's broker does not start: {self._problem or 'no answer'}")
        return self

    def __exit__(self, *_: object) -> None:
        if self._thread.is_alive():
            self._loop.call_soon_threadsafe(self._loop.stop)
            self._thread.join(5.0)

    def _run(self) -> None:
        asyncio.set_event_loop(self._loop)
        broker = Broker(
            {
                "listeners": {"default": {"type": "tcp", "bind": f"127.0.0.1:{self.port}"}},
                "plugins": {
                    "amqtt.plugins.authentication.AnonymousAuthPlugin": {"allow_anonymous": True}
                },
            },
            loop=self._loop,
        )
        try:
            self._loop.run_until_complete(broker.start())
        except Exception as error:  # whatever it is, the demo cannot go on
            self._problem = str(error)
            return
        finally:
            self._ready.set()
        self._loop.run_forever()
        self._loop.run_until_complete(broker.shutdown())
        self._loop.close()


@dataclass(slots=True)
class _Player:
    """One controller of the demo, its troubles included."""

    cast: _Cast
    simulator: Simulator
    link: Link
    stepper: _Stepper
    _alarmed: bool = False

    def turn(self) -> None:
        """Let the controller do its work, unless it is silent just now."""
        hour = self.stepper.now / HOUR % 24.0
        self.link.tend()
        if self.cast.silent[0] <= hour < self.cast.silent[1]:
            return
        alarmed = self.cast.alarm[0] <= hour < self.cast.alarm[1]
        if alarmed != self._alarmed and self.link.ready:
            on = (_ALARM,) if alarmed else ()
            payload = messages.encode(Alarms(boot=self.simulator.boot, on=on))
            topic = self.simulator.topic("alarm")
            self.link.send(Message(topic=topic, payload=payload, qos=1, retain=True))
            self._alarmed = alarmed
        self.simulator.turn()


@dataclass(slots=True)
class _Teller:
    """Says in plain lines what is new; the same advice again is not."""

    say: Callable[[str], None]
    zone: ZoneInfo
    """Of the invented stores."""
    _last: dict[str, Decision] = field(default_factory=dict)
    _asked: dict[str, tuple[int, int]] = field(default_factory=dict)

    def tell(self, service: Service) -> None:
        """Tell events, new advice and the answers to it."""
        while service.told:
            event = service.told.popleft()
            if event.code not in NONE_REASONS:  # told as advice
                self._line(event.t, event.bay or "bridge", event.text)
        for bay in service.bays.values():
            self._advice(bay, service.clock.wall())

    def _advice(self, bay: BayState, wall: float) -> None:
        name, decision = bay.name, bay.decision
        if decision.code == "start":
            return
        if _differs(decision, self._last.get(name)):
            self._last[name] = decision
            self._asked[name] = bay.ids[-1]
            words = f"none, {decision.text}"
            if decision.targets is not None:
                words = _positions(decision.targets)
            self._line(wall, name, f"advice: {words}")
        asked = self._asked.get(name)
        if bay.accepted is not None and asked == bay.accepted.ref:
            del self._asked[name]
            code = str(bay.accepted.code)
            self._line(wall, name, f"answer: {ANSWERS.get(code, code)}")

    def _line(self, t: float, who: str, words: str) -> None:
        self.say(f"{datetime.fromtimestamp(t, self.zone):%Y-%m-%d %H:%M %Z} {who:6} {words}")


def _differs(decision: Decision, last: Decision | None) -> bool:
    """Whether it is worth a line."""
    if last is None or decision.code != last.code:
        return True
    new, old = decision.targets, last.targets
    if new is None or old is None:
        return new is not old
    moved = (abs(getattr(new, name) - getattr(old, name)) >= TELL for name in TARGET_NAMES)
    return new.why != old.why or any(moved)


def _positions(targets: Targets) -> str:
    shares = {name: getattr(targets, name) for name in TARGET_NAMES}
    parts = [f"{TARGET_NAMES[name]} {share:.0%}" for name, share in shares.items() if share > 0.0]
    return f"{ACTION_TITLES.get(targets.why, targets.why)}; {', '.join(parts) or 'all off'}"


def _faults(cast: _Cast, days: int = 400) -> list[Fault]:
    return [
        Fault(
            key=key,
            how=how,
            start=START + (24 * day + begin) * HOUR,
            end=START + (24 * day + end) * HOUR,
        )
        for day in range(days)
        for key, how, begin, end in cast.faults
    ]


def _config(folder: Path, bays: Path, port: int) -> Config:
    return Config(
        bridge=OwnConfig(name="demo", data=folder, locks=folder / "locks", low_disk_mb=20.0),
        broker=BrokerConfig(host="127.0.0.1", port=port, protocol="3.1.1", tls=False),
        bays=tuple(
            BayConfig(
                name=cast.name,
                bay_file=bays / cast.bay_file,
                mode=cast.mode,
                set_by="the demo",
                forecast=folder / FORECAST if cast.forecast else None,
                plan=cast.forecast,
            )
            for cast in CAST
        ),
    )


def _player(cast: _Cast, config: Config, stepper: _Stepper) -> _Player:
    clock = stepper.clock()
    file = next(bay.bay_file for bay in config.bays if bay.name == cast.name)
    simulator = Simulator(
        name=cast.name,
        root=config.bridge.root,
        plant=plant_of(load_bay(file), clock.wall()),
        clock=clock,
        faults=_faults(cast),
    )
    link = Link(
        config.broker,
        f"demo-{cast.name}",
        simulator.subscriptions(),
        clock.steady,
        will=simulator.will(),
        birth=simulator.births,
    )
    simulator.wire = link
    return _Player(cast=cast, simulator=simulator, link=link, stepper=stepper)


def run_demo(
    stop: threading.Event,
    say: Callable[[str], None],
    *,
    days: float = math.inf,
    pace: float = PACE,
    port: int = 0,
) -> None:
    """
    Run the demo until told to stop, or until its days are over.

    ``pace`` in demo seconds per second: a slow machine falls behind, and nothing suffers.
    """
    stepper = _Stepper(pace)
    with ExitStack() as stack:
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="bridge-demo-")))
        bays = stack.enter_context(resources.as_file(resources.files("ventcalc") / "data" / "bays"))
        broker = stack.enter_context(_DemoBroker())
        config = _config(folder, bays, broker.port)
        board = Board(every=0.1, pace=pace)
        journal = folder / "journal.db"
        page = stack.enter_context(PageServer(board, journal, port=port, notice=NOTICE))
        players = [_player(cast, config, stepper) for cast in CAST]
        for line in _hello(broker.port, page.address, config, pace):
            say(line)
        teller = _Teller(say, ZoneInfo(players[0].simulator.plant.bay.site.time_zone))

        renewed = -math.inf

        def each_turn(service: Service, link: Link) -> None:
            nonlocal renewed
            if stepper.now - renewed >= FORECAST_EVERY:
                renewed = stepper.now
                _renew(folder, START + renewed, players[0].simulator.plant.pressure)
            stepper.tick(service.health.heard_at)
            for player in players if stepper.begun else ():
                player.turn()
            teller.tell(service)
            board.hand_over(service.acknowledge)
            board.post(service.views, START + stepper.now, service.problem(link.problem))
            if stepper.now >= days * 86400.0:
                stop.set()

        _play(players, lambda: run(config, stop, stepper.clock(), each_turn))
    say(f"The demo has ended after {stepper.now / 86400.0:.2f} invented days.")


def _renew(folder: Path, time: float, pressure: float) -> None:
    """As a site's job should: written beside and renamed, so that nobody reads half of it."""
    new = folder / f"{FORECAST}.new"
    new.write_text(forecast_text(time, pressure), encoding="utf-8")
    new.replace(folder / FORECAST)


def _play(players: Iterable[_Player], serve: Callable[[], None]) -> None:
    for player in players:
        player.link.start()
    try:
        serve()
    finally:
        for player in players:
            player.link.stop([player.simulator.will()])


def _hello(broker_port: int, address: str, config: Config, pace: float) -> list[str]:
    return [
        "Two invented bays with their controllers, a broker, the bridge and its page.",
        f"Page:   {address}",
        f"Broker: 127.0.0.1:{broker_port}, topics {config.bridge.root}/#, MQTT 3.1.1. It is for "
        "this demo only: not for a store.",
        f"One second here is {pace / 60:.3g} minutes there. Ctrl-C ends it.",
        *(f"{bay.name}: mode {bay.mode}" for bay in config.bays),
    ]
