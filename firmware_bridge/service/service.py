"""
The service: one loop that owns all state.

What comes is judged, what is to be said is decided, the audit log is written, and only then is
anything sent: without an entry in the log there is no advice. Both clocks are handed in.
"""

from __future__ import annotations

import math
import zlib
from collections import Counter, deque
from collections.abc import Callable, Iterable, Sequence
from typing import Literal, Protocol

from firmware_bridge.bay import advisor
from firmware_bridge.bay.state import BayView, Decision, Desk
from firmware_bridge.config import Config
from firmware_bridge.errors import JournalError
from firmware_bridge.journal.audit import AuditLog, Entry
from firmware_bridge.journal.journal import Event, Journal
from firmware_bridge.sensors.sample import Sample
from firmware_bridge.service.clock import Clock, DayTime
from firmware_bridge.service.health import Standing
from firmware_bridge.service.inbox import Inbox
from firmware_bridge.service.turn import Turn
from firmware_bridge.wire import messages, topics
from firmware_bridge.wire.client import Incoming, Message
from firmware_bridge.wire.messages import Alarm, Alarms, Beat, State
from firmware_bridge.wire.plain_topics import plain_advice, plain_beat

__all__ = ["BEAT_EVERY", "Service", "Wire"]

BEAT_EVERY = 10.0
"""[s]"""
RETRY_EVERY = 5.0
"""A log that failed is tried again. [s]"""
PACK_EVERY = 300.0
"""Finished hours are packed. [s]"""
LOG_WITHIN = 1.0
"""An answer waits so long for advice to be written with; advice itself never waits. [s]"""
ALARM_ID = 24
"""Letters of an alarm's id."""
MOST_ALARMS = 32
"""In one message."""
MOST_UNWRITTEN = 5000
"""Entries kept for a log that cannot be written; the oldest go first."""


class Wire(Protocol):
    """What the service needs of a link."""

    @property
    def ready(self) -> bool: ...
    @property
    def drops(self) -> Sequence[float]: ...
    def send(self, message: Message) -> bool: ...
    def receive(self, most: int = ...) -> list[Incoming]: ...


def _alarm(bay: str, code: str, level: Literal[2, 3], text: str) -> Alarm:
    name = f"{code}_{bay}".replace("-", "_")
    if len(name) > ALARM_ID:
        # Long names of two bays may begin alike: a sum over the whole keeps their alarms apart.
        name = f"{name[: ALARM_ID - 5]}_{zlib.crc32(name.encode()) & 0xFFFF:04x}"
    return Alarm(id=name, level=level, text=f"{bay}: {text}"[:120])


def _fitting(standing: list[Alarm]) -> tuple[Alarm, ...]:
    """The gravest first, and how many more there are where one message cannot hold them."""
    standing.sort(key=lambda alarm: alarm.level)
    if len(standing) <= MOST_ALARMS:
        return tuple(standing)
    left = standing[MOST_ALARMS - 1 :]
    text = f"{len(left)} more alarms stand; the page and the journal have them all"
    return (*standing[: MOST_ALARMS - 1], Alarm(id="more", level=left[0].level, text=text))


class Service:
    """The loop's state, and its turn."""

    def __init__(
        self,
        config: Config,
        wire: Wire,
        journal: Journal,
        audit: AuditLog,
        clock: Clock,
        free_mb: Callable[[], float],
        desks: dict[str, Desk],
        boot: int,
    ) -> None:
        self.config, self.wire, self.journal, self.audit = config, wire, journal, audit
        self.clock, self.desks = clock, desks
        self.standing = Standing(boot=boot, low_disk_mb=config.bridge.low_disk_mb, free_mb=free_mb)
        self.inbox = Inbox(config.bridge.root, desks, self.standing, config.bridge.store_every_s)
        self.counts: Counter[str] = Counter()
        self.told: deque[Event] = deque(maxlen=1000)
        """Events for whoever shows them; the journal has them all."""
        self._day = DayTime()
        self._seq = self._beat_seq = 0
        self._beat_due = self._second_due = self._hour_due = self._store_due = -math.inf
        self._log_due = -math.inf
        self._was_ready = False
        self._unwritten: list[Entry] = []
        self._held: list[tuple[float, str, Sample]] = []
        self._events: list[Event] = []
        self._changed: dict[str, Desk] = {}
        self._alarms: tuple[Alarm, ...] | None = None
        self._log_start()

    def _log_start(self) -> None:
        now, wall = self.clock.steady(), self.clock.wall()
        day = self._day.at(now, wall)
        self.audit.write(
            [
                Entry(
                    t=day,
                    bay=desk.name,
                    kind="start",
                    body=f"boot {self.standing.boot} mode {desk.config.mode} "
                    f"set by {desk.config.set_by or 'nobody'}".encode(),
                )
                for desk in self.desks.values()
            ]
        )

    # --- one turn --------------------------------------------------------------------------

    def turn(self) -> None:
        """Take what has come, say what is to be said, keep what is to be kept."""
        now = self.clock.steady()
        turn = Turn(now=now, day=self._day.at(now, self.clock.wall()))
        for message in self.wire.receive():
            self.inbox.take(message, turn)
        self.inbox.plain_readings(turn)
        if now >= self._second_due or self.wire.ready != self._was_ready:
            self._each_second(turn)
            self._second_due = now + 1.0
        # Advice moves nothing before a beat: who has just been born hears one at once.
        born = {event.bay for event in turn.events if event.code == "birth"}
        if born:
            self._beat(turn, [self.desks[name] for name in born])
        decisions = [
            (desk, decision)
            for desk in turn.touched.values()
            if (decision := desk.decide(self._ground(desk, turn.now), now, turn.day)) is not None
        ]
        self._say(decisions, turn)
        self._keep(turn)

    def _ground(self, desk: Desk, now: float) -> str:
        return self.standing.doubt(desk, now, self.wire.ready, self.wire.drops, self._day.believed)

    # --- what is said ------------------------------------------------------------------------

    def _say(self, decisions: list[tuple[Desk, Decision]], turn: Turn) -> None:
        """Write the audit log first; what cannot be written becomes ``none``."""
        planned = []
        for desk, decision in decisions:
            self._seq += 1
            planned.append((desk, decision, (self.standing.boot, self._seq)))
        entries = [self._entry(desk, decision, name, turn) for desk, decision, name in planned]
        self._unwritten = [*self._unwritten, *turn.entries][-MOST_UNWRITTEN:]
        if not entries and turn.now < self._log_due:
            return
        self._log_due = turn.now + LOG_WITHIN
        try:
            self.audit.write([*self._unwritten, *entries])
            self._unwritten = []
        except JournalError as error:
            self.standing.audit_lost(str(error), turn)
            planned = [(desk, desk.refuse("audit"), name) for desk, _, name in planned]
        for desk, decision, name in planned:
            self._send(desk, decision, name, turn)

    def _entry(self, desk: Desk, decision: Decision, name: tuple[int, int], turn: Turn) -> Entry:
        row = messages.encode_advice(desk.advice(decision, name), "integers")
        kind = "observe" if desk.config.mode == "observe" else "advice"
        return Entry(
            t=turn.day, bay=desk.name, kind=kind, body=b"%b %b" % (row, decision.text.encode())
        )

    def _send(self, desk: Desk, decision: Decision, name: tuple[int, int], turn: Turn) -> None:
        before = None if desk.decision is None else desk.decision.code
        if decision.code != before:
            turn.tell(desk.name, decision.code, decision.text)
        desk.settle(decision, name, turn.now)
        if desk.config.mode == "observe" or decision.code == "other_bridge":
            return  # the other one speaks; two voices would only confuse
        advice = desk.advice(decision, name)
        if desk.plain is not None:
            to = desk.plain.mapping.advice
            plain = [] if to is None else plain_advice(to, advice)
            done = [self.wire.send(Message(topic=t, payload=p)) for t, p in plain]
            sent = bool(done) and all(done)
        else:
            form = desk.source.birth.form if desk.source.birth else "object"
            sent = self.wire.send(
                Message(
                    topic=topics.bay_topic(self.config.bridge.root, desk.name, "advice"),
                    payload=messages.encode_advice(advice, form),
                    expiry=desk.config.ttl_s,
                )
            )
        self.counts["sent" if sent else "not sent"] += 1
        if not sent:
            body = messages.encode_plain(list(name))
            self._unwritten.append(Entry(t=turn.day, bay=desk.name, kind="unsent", body=body))

    # --- what happens by the clock -------------------------------------------------------------

    def _each_second(self, turn: Turn) -> None:
        self.standing.look_at_disk(turn)
        self._retry_audit(turn)
        self._come_back(turn)
        for desk in self.desks.values():
            advised = desk.decision is not None and desk.decision.targets is not None
            if advised and (self._ground(desk, turn.now) or desk.doubt(turn.now)):
                turn.touched[desk.name] = desk
        came_up = self.wire.ready and not self._was_ready
        self._was_ready = self.wire.ready
        if came_up:
            self.standing.heard_at = -math.inf  # what was heard before proves nothing now
        if came_up or turn.now >= self._beat_due:
            self._beat_due = turn.now + BEAT_EVERY
            self._beat(turn, self.desks.values())
            if not came_up:  # the own beat is still on its way
                self._publish_alarms(turn)
        if turn.now >= self._hour_due:
            self._hour_due = turn.now + PACK_EVERY
            try:
                self.journal.pack_hours(turn.day)
            except JournalError:
                self.counts["journal failed"] += 1

    def _retry_audit(self, turn: Turn) -> None:
        failed_at = self.standing.audit_failed_at
        if failed_at is None or turn.now - failed_at < RETRY_EVERY:
            return
        try:
            self.audit.write([Entry(t=turn.day, bay="", kind="resume", body=b"log writable again")])
        except JournalError:
            self.standing.audit_failed_at = turn.now
            return
        self.standing.audit_failed_at = None
        turn.tell("", "audit", "audit log writable again")

    def _come_back(self, turn: Turn) -> None:
        """No later bridge is there (any more): under a new boot number, or nobody would listen."""
        waits = any(turn.now < desk.other_until for desk in self.desks.values())
        if not self.standing.new_boot or waits:
            return
        try:
            self.standing.boot = self.audit.next_boot(turn.day)
        except JournalError as error:
            self.standing.audit_lost(str(error), turn)
            return
        self.standing.new_boot = False
        turn.tell("", "resume", f"serves under boot {self.standing.boot}")

    def _beat(self, turn: Turn, desks: Iterable[Desk]) -> None:
        self._beat_seq += 1
        root = self.config.bridge.root
        for desk in desks:
            standing_back = turn.now < desk.other_until
            beat = Beat(
                boot=self.standing.boot,
                seq=self._beat_seq,
                id=self.standing.id,
                t=round(turn.day),
                birth=1 if desk.wants_birth else 0,
            )
            if not standing_back:
                topic = topics.bay_topic(root, desk.name, "beat")
                self.wire.send(Message(topic=topic, payload=messages.encode(beat)))
            to = desk.plain.mapping.advice if desk.plain is not None else None
            if to is not None and not standing_back and desk.config.mode != "observe":
                for topic, payload in plain_beat(to, self._beat_seq, self._stands(desk, turn.now)):
                    self.wire.send(Message(topic=topic, payload=payload))

    def _stands(self, desk: Desk, now: float) -> bool:
        """Whether a plain controller may still apply what it got last."""
        decision = desk.decision
        return (
            desk.config.mode == "bounded"
            and decision is not None
            and decision.targets is not None
            and now - desk.decided_at <= desk.config.ttl_s
        )

    def _publish_alarms(self, turn: Turn) -> None:
        standing = []
        for desk in self.desks.values():
            code = self._ground(desk, turn.now) or desk.doubt(turn.now)
            for what, text in desk.attend(code, turn.now):
                turn.tell(desk.name, what, text)
            if code and code != "start":
                level: Literal[2, 3] = 2 if code in ("lost", "audit", "disk", "other_bridge") else 3
                standing.append(
                    _alarm(desk.name, code, level, f"no advice, {desk.refuse(code).text}")
                )
            for one in desk.following.complaints:
                standing.append(_alarm(desk.name, one.id, one.level, one.text))
        alarms = _fitting(standing)
        if alarms == self._alarms or not self.wire.ready:
            return
        own = self.config.bridge
        message = Message(
            topic=topics.bridge_topic(own.root, own.name, "alarm"),
            payload=messages.encode(Alarms(boot=self.standing.boot, on=alarms)),
            qos=1,
            retain=True,
        )
        if self.wire.send(message):
            self._alarms = alarms

    # --- what is kept --------------------------------------------------------------------------

    def _keep(self, turn: Turn) -> None:
        """The journal may fail for a while; samples and events wait, the oldest go first."""
        self.told.extend(turn.events)
        self._held = [*self._held, *turn.samples][-5000:]
        self._events = [*self._events, *turn.events][-500:]
        self._changed |= turn.touched
        if turn.events or len(self._held) >= 100 or turn.now >= self._store_due:
            self._store_due = turn.now + 1.0
            self._store(turn)

    def _store(self, turn: Turn) -> None:
        memories = [
            (desk.name, turn.day, advisor.text_of(desk.memory))
            for desk in self._changed.values()
            if desk.memory is not None
        ]
        try:
            self.journal.store(
                self._held, self._events, memories, (self.audit.length, self.audit.head)
            )
        except JournalError:
            self.counts["journal failed"] += 1
            return
        self._held, self._events = [], []
        self._changed.clear()

    # --- the end -------------------------------------------------------------------------------

    def farewell(self) -> list[Message]:
        """Say ``none`` to every bay that stands under advice; what to send before closing."""
        now = self.clock.steady()
        turn = Turn(now=now, day=self._day.at(now, self.clock.wall()))
        decisions = [
            (desk, desk.decide("shutdown", now, turn.day))
            for desk in self.desks.values()
            if desk.decision is not None and desk.decision.targets is not None
        ]
        self._log_due = now  # nothing waits any longer
        self._say([(desk, decision) for desk, decision in decisions if decision], turn)
        turn.tell("", "stop", f"boot {self.standing.boot}")
        self._events, self._changed = [*self._events, *turn.events], dict(self.desks)
        self._store(turn)
        own = self.config.bridge
        return [
            Message(
                topic=topics.bridge_topic(own.root, own.name, "state"),
                payload=messages.encode(State(boot=self.standing.boot, on=0)),
                qos=1,
                retain=True,
            )
        ]

    def views(self) -> tuple[BayView, ...]:
        """Every bay as people should see it now."""
        now = self.clock.steady()
        return tuple(desk.view(now) for desk in self.desks.values())
