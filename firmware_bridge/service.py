"""
The service: one loop that owns all state.

What comes is judged, what is to be said is decided, the audit log is written, and only then is
anything sent: without an entry in the log there is no advice. Both clocks are handed in.
"""

from __future__ import annotations

import secrets
from collections import Counter, deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Literal, Protocol

from firmware_bridge import advisor, messages, topics
from firmware_bridge.audit import AuditLog, Entry
from firmware_bridge.client import Incoming, Message
from firmware_bridge.clock import Clock, DayTime
from firmware_bridge.config import BayConfig, Config
from firmware_bridge.desk import BayView, Decision, Desk
from firmware_bridge.errors import BadMessage, JournalError
from firmware_bridge.journal import Event, Journal
from firmware_bridge.messages import Ack, Alarm, Alarms, Beat, Birth, Reading, State
from firmware_bridge.plain_topics import PlainInbox, plain_advice, plain_beat
from firmware_bridge.readings import Sample, Source

__all__ = ["BEAT_EVERY", "Service", "Wire", "desk_for"]

BEAT_EVERY = 10.0
"""[s]"""
DEAF_AFTER = 35.0
"""A bridge that has not heard its own beat for so long does not trust the link. [s]"""
OTHER_FOR = 60.0
"""So long after its last beat another bridge is believed to be there. [s]"""
FLAPPING = (5, 60.0)
"""So many losses of the link within so many seconds."""
RETRY_EVERY = 5.0
"""A log that failed is tried again. [s]"""


class Wire(Protocol):
    """What the service needs of a link."""

    @property
    def ready(self) -> bool: ...
    @property
    def drops(self) -> Sequence[float]: ...
    def send(self, message: Message) -> bool: ...
    def receive(self, most: int = ...) -> list[Incoming]: ...


@dataclass(slots=True)
class _Turn:
    """What one turn of the loop gathers."""

    now: float
    day: float
    entries: list[Entry] = field(default_factory=list)
    events: list[Event] = field(default_factory=list)
    samples: list[tuple[float, str, Sample]] = field(default_factory=list)
    touched: dict[str, Desk] = field(default_factory=dict)


def desk_for(config: BayConfig, boot: int, memory: str | None = None) -> Desk:
    """
    A desk for one bay.

    Parameters
    ----------
    config : BayConfig
        Its table.
    boot : int
        Boot number of the bridge: a plain controller's readings are counted under it.
    memory : str, optional
        The adviser's memory from the journal.

    Returns
    -------
    Desk

    Raises
    ------
    BadConfig
        If the bay file cannot be used.
    """
    desk = Desk(
        config=config,
        bay=advisor.load_bay(config.bay_file),
        source=Source(ignore=frozenset(config.ignore), max_age=config.max_age_s),
        memory=None if memory is None else advisor.memory_of_text(memory),
    )
    if config.mapping is not None:
        desk.plain = PlainInbox(mapping=config.mapping, boot=boot, max_age=config.max_age_s)
        desk.source.take_birth(desk.plain.birth(), 0.0)
    return desk


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
        self.clock, self.boot, self.desks = clock, boot, desks
        self.id = secrets.randbits(31)
        self.counts: Counter[str] = Counter()
        self.told: deque[Event] = deque(maxlen=1000)
        """Events for whoever shows them; the journal has them all."""
        self._free_mb = free_mb
        self._day = DayTime()
        self._seq = 0
        self._beat_seq = 0
        self._beat_due = self._second_due = self._disk_due = self._hour_due = -1e18
        self._heard_at = -1e18
        self._audit_failed_at: float | None = None
        self._disk_low = False
        self._yielded = False
        self._held: list[tuple[float, str, Sample]] = []
        self._events: list[Event] = []
        self._changed: dict[str, Desk] = {}
        self._store_due = -1e18
        self._alarms: tuple[Alarm, ...] | None = None
        self._by_topic = {
            one.topic: desk
            for desk in desks.values()
            if desk.plain is not None
            for one in desk.plain.mapping.readings
        }
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
                    body=f"boot {self.boot} mode {desk.config.mode} "
                    f"set by {desk.config.set_by or 'nobody'}".encode(),
                )
                for desk in self.desks.values()
            ]
        )

    # --- one turn --------------------------------------------------------------------------

    def turn(self) -> None:
        """Take what has come, say what is to be said, keep what is to be kept."""
        now = self.clock.steady()
        turn = _Turn(now=now, day=self._day.at(now, self.clock.wall()))
        for message in self.wire.receive():
            self._take(message, turn)
        self._plain_readings(turn)
        if now >= self._second_due or now < self._second_due - 5.0:
            self._each_second(turn)
            self._second_due = now + 1.0
        decisions = [
            (desk, decision)
            for desk in turn.touched.values()
            if (decision := desk.decide(self._ground(desk, turn.now), now, turn.day)) is not None
        ]
        self._say(decisions, turn)
        self._keep(turn)

    def _ground(self, desk: Desk, now: float) -> str:
        """Doubt about the bridge itself."""
        if self._audit_failed_at is not None:
            return "audit"
        if self._disk_low:
            return "disk"
        if not self.wire.ready or now - self._heard_at > DEAF_AFTER:
            return "start"
        if now < desk.other_until:
            return "other_bridge"
        most, within = FLAPPING
        if sum(now - moment < within for moment in self.wire.drops) >= most:
            return "flapping"
        return "" if self._day.believed else "clock"

    # --- what comes ------------------------------------------------------------------------

    def _take(self, message: Incoming, turn: _Turn) -> None:
        found = topics.split(self.config.bridge.root, message.topic)
        desk = self.desks.get(found[0]) if found else self._by_topic.get(message.topic)
        if desk is None:
            self.counts["foreign topic"] += 1
            return
        leaf = found[1] if found else ""
        if leaf != "beat" and not desk.allow(turn.now):
            return
        try:
            if not found:
                self._take_plain(desk, message)
            else:
                self._take_leaf(desk, leaf, message, turn)
        except BadMessage as error:
            if not desk.counts[f"bad {leaf}"]:  # told once; counted ever after
                self._tell(turn, desk.name, "bad_message", f"{leaf or message.topic}: {error}")
            desk.counts[f"bad {leaf}"] += 1
        except Exception as error:  # one bay's message must not stop the others
            self.counts["errors"] += 1
            self._tell(turn, desk.name, "error", f"{leaf}: {type(error).__name__} {error}"[:160])

    def _take_plain(self, desk: Desk, message: Incoming) -> None:
        if message.retain or desk.plain is None:
            desk.counts["retained"] += 1
            return
        desk.plain.take(message.topic, message.payload, message.at)

    def _take_leaf(self, desk: Desk, leaf: str, message: Incoming, turn: _Turn) -> None:
        known = topics.LEAVES[leaf]
        if message.retain and not known.retain:
            desk.counts["retained"] += 1
            return
        if desk.plain is not None and leaf != "beat":
            desk.counts["not expected"] += 1
            return
        payload, largest = message.payload, known.largest
        if leaf == "beat":
            self._hear(desk, messages.decode(payload, Beat, largest), turn)
        elif leaf == "reading":
            self._take_reading(desk, messages.decode(payload, Reading, largest), message.at, turn)
        elif leaf == "birth":
            birth = messages.decode(payload, Birth, largest)
            if desk.source.take_birth(birth, message.at):
                self._tell(turn, desk.name, "birth", f"boot {birth.boot} {birth.fw}".rstrip())
        elif leaf == "state":
            state = messages.decode(payload, State, largest)
            if desk.source.take_state(state) and not state.on:
                self._tell(turn, desk.name, "offline", f"boot {state.boot} said goodbye")
        elif leaf == "ack":
            self._take_ack(desk, messages.decode(payload, Ack, largest), turn)
        elif leaf == "alarm":
            alarms = messages.decode(payload, Alarms, largest) if payload else Alarms(boot=0)
            if alarms.on != desk.alarms:
                text = ", ".join(alarm.id for alarm in alarms.on) or "all cleared"
                self._tell(turn, desk.name, "alarm", text)
            desk.alarms = alarms.on

    def _take_reading(self, desk: Desk, reading: Reading, at: float, turn: _Turn) -> None:
        gaps = desk.source.counts["gap"]
        sample = desk.source.take(reading, at)
        if sample is None:
            return
        if desk.source.counts["gap"] > gaps:
            lost = desk.source.counts["gap"] - gaps
            self._tell(turn, desk.name, "gap", f"{lost} readings missing before {sample.seq}")
        if not sample.fresh or at - desk.stored_at >= self.config.bridge.store_every_s - 0.5:
            turn.samples.append((turn.day, desk.name, sample))
            desk.stored_at = at
        if sample.fresh:
            turn.touched[desk.name] = desk

    def _plain_readings(self, turn: _Turn) -> None:
        for desk in self.desks.values():
            if desk.plain is None:
                continue
            reading = desk.plain.reading(turn.now)
            if reading is not None:
                self._take_reading(desk, reading, turn.now, turn)

    def _take_ack(self, desk: Desk, ack: Ack, turn: _Turn) -> None:
        if desk.take_ack(ack):
            positions = [getattr(ack, name) for name in messages.TARGETS]
            body = messages.encode_plain([ack.code, *ack.ref, *positions])
            turn.entries.append(Entry(t=turn.day, bay=desk.name, kind="ack", body=body))

    def _hear(self, desk: Desk, beat: Beat, turn: _Turn) -> None:
        if beat.id == self.id:
            self._heard_at = turn.now
            return
        if (beat.boot, beat.id) > (self.boot, self.id):
            if turn.now >= desk.other_until:
                text = f"a later bridge (boot {beat.boot}) serves this bay; this one stands back"
                self._tell(turn, desk.name, "other_bridge", text)
            desk.other_until = turn.now + OTHER_FOR
            self._yielded = True
        else:
            desk.counts["older bridge"] += 1

    # --- what is said ------------------------------------------------------------------------

    def _say(self, decisions: list[tuple[Desk, Decision]], turn: _Turn) -> None:
        """Write the audit log first; what cannot be written becomes ``none``."""
        planned = []
        for desk, decision in decisions:
            self._seq += 1
            planned.append((desk, decision, (self.boot, self._seq)))
        entries = [self._entry(desk, decision, name, turn) for desk, decision, name in planned]
        try:
            self.audit.write([*turn.entries, *entries])
        except JournalError as error:
            self._audit_lost(str(error), turn)
            planned = [(desk, desk.refuse("audit"), name) for desk, _, name in planned]
        for desk, decision, name in planned:
            self._send(desk, decision, name, turn)

    def _entry(self, desk: Desk, decision: Decision, name: tuple[int, int], turn: _Turn) -> Entry:
        row = messages.encode_advice(desk.advice(decision, name), "integers")
        kind = "observe" if desk.config.mode == "observe" else "advice"
        return Entry(
            t=turn.day, bay=desk.name, kind=kind, body=b"%b %b" % (row, decision.text.encode())
        )

    def _audit_lost(self, text: str, turn: _Turn) -> None:
        if self._audit_failed_at is None:
            self._tell(turn, "", "audit", text)
        self._audit_failed_at = turn.now

    def _send(self, desk: Desk, decision: Decision, name: tuple[int, int], turn: _Turn) -> None:
        before = None if desk.decision is None else desk.decision.code
        if decision.code != before:
            self._tell(turn, desk.name, decision.code, decision.text)
        desk.settle(decision, name, turn.now)
        if desk.config.mode == "observe":
            return
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

    # --- what happens by the clock -------------------------------------------------------------

    def _each_second(self, turn: _Turn) -> None:
        if turn.now >= self._disk_due:
            self._disk_due = turn.now + 30.0
            self._look_at_disk(turn)
        if self._audit_failed_at is not None and turn.now - self._audit_failed_at >= RETRY_EVERY:
            self._retry_audit(turn)
        self._come_back(turn)
        for desk in self.desks.values():
            advised = desk.decision is not None and desk.decision.targets is not None
            if advised and (self._ground(desk, turn.now) or desk.doubt(turn.now)):
                turn.touched[desk.name] = desk
        if turn.now >= self._beat_due:
            self._beat_due = turn.now + BEAT_EVERY
            self._beat(turn)
            self._publish_alarms(turn)
        if turn.now >= self._hour_due:
            self._hour_due = turn.now + 300.0
            try:
                self.journal.pack_hours(turn.day)
            except JournalError:
                self.counts["journal failed"] += 1

    def _look_at_disk(self, turn: _Turn) -> None:
        try:
            low = self._free_mb() < self.config.bridge.low_disk_mb
        except OSError:
            low = True
        if low != self._disk_low:
            self._tell(turn, "", "disk", "disk nearly full" if low else "disk has space again")
        self._disk_low = low

    def _retry_audit(self, turn: _Turn) -> None:
        try:
            self.audit.write([Entry(t=turn.day, bay="", kind="resume", body=b"log writable again")])
        except JournalError:
            self._audit_failed_at = turn.now
            return
        self._audit_failed_at = None
        self._tell(turn, "", "audit", "audit log writable again")

    def _come_back(self, turn: _Turn) -> None:
        """The later bridge has gone: come back under a new boot, or nobody would listen."""
        if not self._yielded or any(turn.now < d.other_until for d in self.desks.values()):
            return
        try:
            self.boot = self.audit.next_boot(turn.day)
        except JournalError as error:
            self._audit_lost(str(error), turn)
            return
        self._yielded = False
        self._tell(turn, "", "resume", f"the later bridge has gone; boot {self.boot}")

    def _beat(self, turn: _Turn) -> None:
        self._beat_seq += 1
        root = self.config.bridge.root
        for desk in self.desks.values():
            standing_back = turn.now < desk.other_until
            beat = Beat(
                boot=self.boot,
                seq=self._beat_seq,
                id=self.id,
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

    def _publish_alarms(self, turn: _Turn) -> None:
        standing = []
        for desk in self.desks.values():
            code = self._ground(desk, turn.now) or desk.doubt(turn.now)
            if code and code != "start":
                name = f"{code}_{desk.name}".replace("-", "_")[:24]
                level: Literal[2, 3] = 2 if code in ("lost", "audit", "disk", "other_bridge") else 3
                standing.append(Alarm(id=name, level=level, text=f"{desk.name}: no advice, {code}"))
        alarms = tuple(standing[:32])
        if alarms == self._alarms or not self.wire.ready:
            return
        own = self.config.bridge
        message = Message(
            topic=topics.bridge_topic(own.root, own.name, "alarm"),
            payload=messages.encode(Alarms(boot=self.boot, on=alarms)),
            qos=1,
            retain=True,
        )
        if self.wire.send(message):
            self._alarms = alarms

    # --- what is kept --------------------------------------------------------------------------

    def _tell(self, turn: _Turn, bay: str, code: str, text: str) -> None:
        event = Event(t=turn.day, bay=bay, code=code, text=text)
        turn.events.append(event)
        self.told.append(event)

    def _keep(self, turn: _Turn) -> None:
        """The journal may fail for a while; samples and events wait, the oldest go first."""
        self._held = [*self._held, *turn.samples][-5000:]
        self._events = [*self._events, *turn.events][-500:]
        self._changed |= turn.touched
        if turn.events or len(self._held) >= 100 or turn.now >= self._store_due:
            self._store_due = turn.now + 1.0
            self._store(turn)

    def _store(self, turn: _Turn) -> None:
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
        turn = _Turn(now=now, day=self._day.at(now, self.clock.wall()))
        decisions = [
            (desk, desk.decide("shutdown", now, turn.day))
            for desk in self.desks.values()
            if desk.decision is not None and desk.decision.targets is not None
        ]
        self._say([(desk, decision) for desk, decision in decisions if decision], turn)
        self._tell(turn, "", "stop", f"boot {self.boot}")
        self._events, self._changed = [*self._events, *turn.events], dict(self.desks)
        self._store(turn)
        own = self.config.bridge
        return [
            Message(
                topic=topics.bridge_topic(own.root, own.name, "state"),
                payload=messages.encode(State(boot=self.boot, on=0)),
                qos=1,
                retain=True,
            )
        ]

    def views(self) -> tuple[BayView, ...]:
        """Every bay as people should see it now."""
        now = self.clock.steady()
        return tuple(desk.view(now) for desk in self.desks.values())
