"""
The service: one loop that owns all state.

What comes is judged, what is to be said is decided, the audit log is written, and only then is
anything sent: without an entry in the log there is no advice. Both clocks are handed in.
"""

from __future__ import annotations

import math
from collections import Counter, deque
from collections.abc import Callable, Iterable
from dataclasses import replace

from firmware_bridge.bay.decision import BayView, Decision
from firmware_bridge.bay.memory import AdvisorMemory, memory_to_text
from firmware_bridge.bay.state import BayState
from firmware_bridge.bay.told import Told
from firmware_bridge.config import Config
from firmware_bridge.errors import BadMessage, JournalError
from firmware_bridge.journal.audit import AuditLog, Entry
from firmware_bridge.journal.journal import Event, Journal
from firmware_bridge.sensors.sample import Sample
from firmware_bridge.service.alarms import AlarmBook
from firmware_bridge.service.clock import Clock, DayTime
from firmware_bridge.service.delivery import Delivery
from firmware_bridge.service.discovery import Discovery
from firmware_bridge.service.health import BridgeHealth
from firmware_bridge.service.inbox import Inbox
from firmware_bridge.service.requests import NOBODY, Request, RequestBox, carry_out, has_name
from firmware_bridge.service.turn import Turn
from firmware_bridge.wire import messages, topics
from firmware_bridge.wire.client import Message, Wire
from firmware_bridge.wire.messages import Alarm, Alarms, Beat, State
from firmware_bridge.wire.plain_topics import plain_advice, plain_beat

__all__ = ["BEAT_EVERY", "Service"]

BEAT_EVERY = 10.0
"""[s]"""
RETRY_EVERY = 5.0
"""A log that failed is tried again. [s]"""
PACK_EVERY = 300.0
"""Finished hours are packed. [s]"""
LOG_WITHIN = 1.0
"""An answer waits so long for advice to be written with; advice itself never waits. [s]"""
ALARMS = "_alarms"
"""Under this name the journal keeps the alarms; no bay can have it."""
MOST_UNWRITTEN = 5000
"""Entries kept for a log that cannot be written; the oldest go first."""


def _memory_text(bay: BayState) -> str:
    return memory_to_text(bay.memory or AdvisorMemory(), bay.told, bay.description.name)


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
        bays: dict[str, BayState],
        boot: int,
        delivery: Delivery | None = None,
    ) -> None:
        self.config, self.wire, self.journal, self.audit = config, wire, journal, audit
        self.clock, self.bays = clock, bays
        self.book = AlarmBook(config.alarms, delivery)
        self.book.recall(journal.memory(ALARMS), bays, clock.steady())
        self._asked: deque[tuple[Request, Callable[[bool, str], None]]] = deque()
        self.health = BridgeHealth(
            boot=boot, low_disk_mb=config.bridge.low_disk_mb, free_mb=free_mb
        )
        self.inbox = Inbox(config.bridge.root, bays, self.health, config.bridge.store_every_s)
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
        self._changed: dict[str, BayState] = {}
        self._alarms: tuple[Alarm, ...] | None = None
        self._discovery = Discovery(config.bridge)
        self._requests = RequestBox(config.bridge.data)
        self._log_start()

    def _log_start(self) -> None:
        now, wall = self.clock.steady(), self.clock.wall()
        day = self._day.at(now, wall)
        self.audit.write(
            [
                Entry(
                    t=day,
                    bay=bay.name,
                    kind="start",
                    body=f"boot {self.health.boot} mode {bay.config.mode} "
                    f"set by {bay.config.set_by or 'nobody'}".encode(),
                )
                for bay in self.bays.values()
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
        while self._asked:
            request, answer = self._asked.popleft()
            answer(*self._do(request, turn))
        if now >= self._second_due or self.wire.ready != self._was_ready:
            self._each_second(turn)
            self._second_due = now + 1.0
        # Advice moves nothing before a beat: who has just connected hears one at once.
        if turn.connected:
            self._beat(turn, [self.bays[name] for name in turn.connected])
        for bay in turn.touched.values():
            self._recall(bay, turn)
        decisions = [
            (bay, decision)
            for bay in turn.touched.values()
            if (decision := bay.decide(self._ground(bay, turn.now), now, turn.day)) is not None
        ]
        self._say(decisions, turn)
        self._keep(turn)

    def _ground(self, bay: BayState, now: float) -> str:
        return self.health.doubt(bay, now, self.wire.ready, self.wire.drops, self._day.believed)

    # --- what is said ------------------------------------------------------------------------

    def _say(self, decisions: list[tuple[BayState, Decision]], turn: Turn) -> None:
        """Write the audit log first; what cannot be written becomes ``none``."""
        planned = []
        for bay, decision in decisions:
            self._seq += 1
            planned.append((bay, decision, (self.health.boot, self._seq)))
        entries = [self._entry(bay, decision, name, turn) for bay, decision, name in planned]
        self._unwritten = [*self._unwritten, *turn.entries][-MOST_UNWRITTEN:]
        if not entries and turn.now < self._log_due:
            return
        self._log_due = turn.now + LOG_WITHIN
        try:
            self.audit.write([*self._unwritten, *entries])
            self._unwritten = []
        except JournalError as error:
            self.health.audit_lost(str(error), turn)
            planned = [(bay, bay.refuse("audit"), name) for bay, _, name in planned]
        for bay, decision, name in planned:
            self._send(bay, decision, name, turn)

    def _entry(self, bay: BayState, decision: Decision, name: tuple[int, int], turn: Turn) -> Entry:
        row = messages.encode_advice(bay.advice(decision, name), "integers")
        kind = "observe" if bay.config.mode == "observe" else "advice"
        return Entry(
            t=turn.day, bay=bay.name, kind=kind, body=b"%b %b" % (row, decision.text.encode())
        )

    def _send(self, bay: BayState, decision: Decision, name: tuple[int, int], turn: Turn) -> None:
        if decision.code != bay.decision.code:
            turn.tell(bay.name, decision.code, decision.text)
        bay.settle(decision, name, turn.now)
        if bay.config.mode == "observe" or decision.code == "other_bridge":
            return  # the other one speaks; two voices would only confuse
        advice = bay.advice(decision, name)
        if bay.plain is not None:
            to = bay.plain.mapping.advice
            plain = [] if to is None else plain_advice(to, advice)
            done = [self.wire.send(Message(topic=t, payload=p)) for t, p in plain]
            sent = bool(done) and all(done)
        else:
            form = bay.source.birth.form if bay.source.birth else "object"
            sent = self.wire.send(
                Message(
                    topic=topics.bay_topic(self.config.bridge.root, bay.name, "advice"),
                    payload=messages.encode_advice(advice, form),
                    expiry=bay.config.ttl_s,
                )
            )
        self.counts["sent" if sent else "not sent"] += 1
        if not sent:
            body = messages.encode_plain(list(name))
            self._unwritten.append(Entry(t=turn.day, bay=bay.name, kind="unsent", body=body))

    # --- what happens by the clock -------------------------------------------------------------

    def _each_second(self, turn: Turn) -> None:
        self.health.check_disk(turn)
        self._retry_audit(turn)
        self._come_back(turn)
        for name, request in self._requests.take():
            done, text = self._do(request, turn)
            self._requests.answer(name, done, text)
        for bay in self.bays.values():
            self._recall(bay, turn)
            advised = bay.decision.targets is not None
            if advised and (self._ground(bay, turn.now) or bay.doubt(turn.now)):
                turn.touched[bay.name] = bay
        came_up = self.wire.ready and not self._was_ready
        self._was_ready = self.wire.ready
        if came_up:
            self.health.heard_at = -math.inf  # what was heard before proves nothing now
        if came_up or turn.now >= self._beat_due:
            self._beat_due = turn.now + BEAT_EVERY
            self._beat(turn, self.bays.values())
            if not came_up:  # the own beat is still on its way
                self._publish_alarms(turn)
            self._discovery.publish(
                self.bays.values(), self.book.standing, self.wire, turn.now, came_up
            )
        if turn.now >= self._hour_due:
            self._hour_due = turn.now + PACK_EVERY
            try:
                self.journal.pack_hours(turn.day)
            except JournalError:
                self.counts["journal failed"] += 1

    def _recall(self, bay: BayState, turn: Turn) -> None:
        """What the controller's channels tell is logged like the word of a person."""
        for text in bay.recall(turn.now, turn.day):
            turn.tell(bay.name, "told", text)
            turn.log(bay.name, "told", text.encode())
            self._changed[bay.name] = bay

    def _do(self, request: Request | BadMessage, turn: Turn) -> tuple[bool, str]:
        """What a person on this machine asks: first into the audit log, then done."""
        if isinstance(request, BadMessage):
            return False, str(request)
        if not has_name(request.by):
            return False, NOBODY
        bay = self.bays.get(request.bay)
        if bay is None:
            return False, f"this bridge has no bay {request.bay}; it has {', '.join(self.bays)}"
        memory, told = bay.memory, bay.told
        done = None
        try:
            if request.do == "acknowledge":
                kind = str(request.told.get("alarm", ""))
                text, done = self.book.acknowledge(bay.name, kind, request.by, turn)
            else:
                text = carry_out(bay, request, turn)
            if request.do == "tell" and not request.told:
                return True, f"{bay.name}: {text}"  # only asked what stands
            words = messages.encode_plain([request.by, text])
            entry = Entry(t=turn.day, bay=bay.name, kind=request.do, body=words)
            self.audit.write([*self._unwritten, entry])
        except (BadMessage, JournalError) as error:
            bay.memory, bay.told = memory, told
            return False, f"{bay.name}: {'; '.join(str(error).splitlines())}; nothing was done"
        self._unwritten = []
        if done is not None:
            done()
            self._publish_alarms(turn)
        turn.tell(bay.name, request.do, f"{text} (by {request.by})")
        turn.touched[bay.name] = self._changed[bay.name] = bay
        return True, f"{bay.name}: {text}"

    def acknowledge(
        self, bay: str, alarm: str, by: str, answer: Callable[[bool, str], None]
    ) -> None:
        """Somebody at the page has seen an alarm; any thread may say so."""
        request = Request(do="acknowledge", bay=bay, by=by.strip(), told={"alarm": alarm})
        self._asked.append((request, answer))

    def _retry_audit(self, turn: Turn) -> None:
        failed_at = self.health.audit_failed_at
        if failed_at is None or turn.now - failed_at < RETRY_EVERY:
            return
        try:
            self.audit.write([Entry(t=turn.day, bay="", kind="resume", body=b"log writable again")])
        except JournalError:
            self.health.audit_failed_at = turn.now
            return
        self.health.audit_failed_at = None
        turn.tell("", "audit", "audit log writable again")

    def _come_back(self, turn: Turn) -> None:
        """No later bridge is there (any more): under a new boot number, or nobody would listen."""
        waits = any(turn.now < bay.other_until for bay in self.bays.values())
        if not self.health.new_boot or waits:
            return
        try:
            self.health.boot = self.audit.next_boot(turn.day)
        except JournalError as error:
            self.health.audit_lost(str(error), turn)
            return
        self.health.new_boot = False
        turn.tell("", "resume", f"bridge serves again (run {self.health.boot})")

    def _beat(self, turn: Turn, bays: Iterable[BayState]) -> None:
        self._beat_seq += 1
        root = self.config.bridge.root
        for bay in bays:
            standing_back = turn.now < bay.other_until
            beat = Beat(
                boot=self.health.boot,
                seq=self._beat_seq,
                id=self.health.id,
                t=round(turn.day),
                birth=1 if bay.wants_birth else 0,
            )
            if not standing_back:
                topic = topics.bay_topic(root, bay.name, "beat")
                self.wire.send(Message(topic=topic, payload=messages.encode(beat)))
            to = bay.plain.mapping.advice if bay.plain is not None else None
            if to is not None and not standing_back and bay.config.mode != "observe":
                for topic, payload in plain_beat(to, self._beat_seq, self._stands(bay, turn.now)):
                    self.wire.send(Message(topic=topic, payload=payload))

    def _stands(self, bay: BayState, now: float) -> bool:
        """Whether a plain controller may still apply what it got last."""
        return (
            bay.config.mode == "bounded"
            and bay.decision.targets is not None
            and now - bay.decided_at <= bay.config.ttl_s
        )

    def _publish_alarms(self, turn: Turn) -> None:
        alarms = self.book.see(self.bays.values(), lambda bay: self._ground(bay, turn.now), turn)
        if alarms == self._alarms or not self.wire.ready:
            return
        own = self.config.bridge
        message = Message(
            topic=topics.bridge_topic(own.root, own.name, "alarm"),
            payload=messages.encode(Alarms(boot=self.health.boot, on=alarms)),
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
            (bay.name, turn.day, _memory_text(bay))
            for bay in self._changed.values()
            if bay.memory is not None or bay.told != Told()
        ]
        if self.book.changed:
            memories.append((ALARMS, turn.day, self.book.to_text()))
        try:
            self.journal.store(
                self._held, self._events, memories, (self.audit.length, self.audit.head)
            )
        except JournalError:
            self.counts["journal failed"] += 1
            return
        self._held, self._events, self.book.changed = [], [], False
        self._changed.clear()

    # --- the end -------------------------------------------------------------------------------

    def shutdown(self) -> list[Message]:
        """Say ``none`` to every bay that stands under advice; what to send before closing."""
        now = self.clock.steady()
        turn = Turn(now=now, day=self._day.at(now, self.clock.wall()))
        decisions = [
            (bay, bay.decide("shutdown", now, turn.day))
            for bay in self.bays.values()
            if bay.decision.targets is not None
        ]
        self._log_due = now  # nothing waits any longer
        self._say([(bay, decision) for bay, decision in decisions if decision], turn)
        turn.tell("", "stop", f"bridge stopped (run {self.health.boot})")
        self._events, self._changed = [*self._events, *turn.events], dict(self.bays)
        self._store(turn)
        own = self.config.bridge
        return [
            Message(
                topic=topics.bridge_topic(own.root, own.name, "state"),
                payload=messages.encode(State(boot=self.health.boot, on=0)),
                qos=1,
                retain=True,
            )
        ]

    def problem(self, link: str) -> str:
        """What people should know of the way to broker (its trouble is given) and mail."""
        mail = self.book.delivery.trouble if self.book.delivery is not None else ""
        said = (("Broker", link), ("Alarms are not sent", mail))
        return "; ".join(f"{what}: {words}" for what, words in said if words)

    def views(self) -> tuple[BayView, ...]:
        """Every bay as people should see it now."""
        now = self.clock.steady()
        views = (bay.view(now) for bay in self.bays.values())
        return tuple(replace(view, complaints=self.book.standing(view.name)) for view in views)
