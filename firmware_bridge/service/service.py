"""
The service: one loop that owns all state.

What comes is judged, what is to be said is decided, the audit log is written, and only then is
anything sent: without an entry in the log there is no advice. Both clocks are handed in.
"""

from __future__ import annotations

import math
from collections import Counter, deque
from collections.abc import Callable, Iterable, Mapping
from contextlib import suppress
from dataclasses import replace

from firmware_bridge.bay.decision import BayView, BridgeView, Decision
from firmware_bridge.bay.state import BayState
from firmware_bridge.config import Config
from firmware_bridge.errors import BadMessage, JournalError
from firmware_bridge.journal.audit import AuditLog, Entry
from firmware_bridge.journal.journal import Event, Journal
from firmware_bridge.journal.proof import advice_body
from firmware_bridge.service.ahead import Ahead
from firmware_bridge.service.alarms import AlarmBook
from firmware_bridge.service.clock import Clock
from firmware_bridge.service.day import DayKeeper
from firmware_bridge.service.delivery import Delivery
from firmware_bridge.service.diagnosing import Diagnosing
from firmware_bridge.service.discovery import Discovery
from firmware_bridge.service.health import BridgeHealth
from firmware_bridge.service.inbox import Inbox
from firmware_bridge.service.keeper import Keeper
from firmware_bridge.service.plain import PlainVoice
from firmware_bridge.service.requests import NOBODY, Request, RequestBox, carry_out, has_name
from firmware_bridge.service.rounds import Rounds
from firmware_bridge.service.store import Store
from firmware_bridge.service.turn import Turn
from firmware_bridge.wire import messages, topics
from firmware_bridge.wire.certificates import alarms_of
from firmware_bridge.wire.client import Message, Wire
from firmware_bridge.wire.messages import AdviceMessage, Alarm, Alarms, Beat

__all__ = ["BEAT_EVERY", "Service"]

BEAT_EVERY = 10.0
"""[s]"""
LOG_WITHIN = 1.0
"""
So long an answer waits for advice to be written with, and what only repeats the last advice for
the disk. Advice itself never waits for the log, and what is new in it goes out from the disk. [s]
"""
ALARMS = "_alarms"
"""Under this name the journal keeps the alarms; no bay can have it."""
MOST_UNWRITTEN = 5000
"""Entries kept for a log that cannot be written; the oldest go first."""


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
        plain_links: Mapping[str, Wire] | None = None,
        delivery: Delivery | None = None,
        certificates: Callable[[], Mapping[str, float]] = dict,
    ) -> None:
        self.config, self.wire, self.journal, self.audit = config, wire, journal, audit
        self.clock, self.bays, self._certificates = clock, bays, certificates
        self._plain = PlainVoice(wire, plain_links or {})
        self.book = AlarmBook(config.alarms, delivery)
        self.book.recall(journal.note(ALARMS), bays, clock.steady())
        self._asked: deque[tuple[Request, Callable[[bool, str], None]]] = deque()
        self.health = BridgeHealth(
            boot=boot,
            low_disk_mb=config.bridge.low_disk_mb,
            free_mb=free_mb,
            began=clock.steady(),
        )
        self.inbox = Inbox(config.bridge.root, bays, self.health, config.bridge.store_every_s)
        self.counts: Counter[str] = Counter()
        self.told: deque[Event] = deque(maxlen=1000)
        """Events for whoever shows them; the journal has them all."""
        self._day = DayKeeper(clock, journal)
        self._seq = self._beat_seq = 0
        self._alarms_due = self._second_due = self._log_due = -math.inf
        self._rounds, self._beats = Rounds(bays.values(), 1.0), Rounds(bays.values(), BEAT_EVERY)
        self._was_ready = False
        self._unwritten: list[Entry] = []
        self._store = Store(journal, audit, config.bridge, self.counts)
        self._alarms: tuple[Alarm, ...] | None = None
        self.ahead = Ahead(bays)
        self.diagnosing = Diagnosing(bays, config.bridge.data / "journal.db")
        self._discovery = Discovery(config.bridge)
        self._requests = RequestBox(config.bridge.data)
        self._keeper = Keeper(bays, journal, self._day.turn())
        self._log_start()

    def _log_start(self) -> None:
        day, boot = self._day.turn().day, self.health.boot
        rows = []
        for bay in self.bays.values():
            words = f"boot {boot} mode {bay.config.mode} set by {bay.config.set_by or 'nobody'}"
            rows.append(Entry(t=day, bay=bay.name, kind="start", body=words.encode()))
        self.audit.write(rows)

    # --- one turn --------------------------------------------------------------------------

    def turn(self) -> None:
        """Take what has come, say what is to be said, keep what is to be kept."""
        turn = self._day.turn()
        now = turn.now
        for message in (*self.wire.receive(), *self._plain.heard()):
            self.inbox.take(message, turn)
        drops = self.wire.drops
        self.inbox.plain_readings(turn, drops[-1] if drops else -math.inf)
        while self._asked:
            request, answer = self._asked.popleft()
            answer(*self._do(request, turn))
        came_or_went = self.wire.ready != self._was_ready
        for bay in self._rounds.due(now, all_bays=came_or_went):
            self._look_at(bay, turn)
        second = now >= self._second_due or came_or_went
        if second:
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
        for bay in turn.plain:
            self._plain.say(bay, turn.now)
        if second:  # what takes milliseconds, and nobody waits for
            self._keeper.note(turn)
            self._store.tidy(turn)
        self.told.extend(turn.events)
        self._store.keep(turn)

    def _ground(self, bay: BayState, now: float) -> str:
        return self.health.doubt(bay, now, self.wire.ready, self.wire.drops, self._day.believed)

    # --- what is said ------------------------------------------------------------------------

    def _say(self, decisions: list[tuple[BayState, Decision]], turn: Turn) -> None:
        """Write the audit log first; what cannot be written becomes ``none``."""
        planned = []
        for bay, decision in decisions:
            self._seq += 1
            name = (self.health.boot, self._seq)
            planned.append((bay, decision, bay.advice(decision, name)))
        entries = [self._entry(bay, decision, advice, turn) for bay, decision, advice in planned]
        self._unwritten = [*self._unwritten, *turn.entries][-MOST_UNWRITTEN:]
        due = turn.now >= self._log_due
        if not entries and not due:
            return
        lasting = due or not all(decision.repeats(bay.decision) for bay, decision, _ in planned)
        self._log_due = turn.now + LOG_WITHIN if lasting else self._log_due
        try:
            self.audit.write([*self._unwritten, *entries], lasting=lasting)
            self._unwritten = []
        except JournalError as error:
            self.health.audit_lost(str(error), turn)
            lost = [(bay, bay.refuse("audit"), advice.id) for bay, _, advice in planned]
            planned = [(bay, none, bay.advice(none, name)) for bay, none, name in lost]
        for bay, decision, advice in planned:
            self._send(bay, decision, advice, turn)

    def _entry(self, bay: BayState, decision: Decision, advice: AdviceMessage, turn: Turn) -> Entry:
        row = messages.encode_advice(advice, "integers")
        kind = "observe" if bay.config.mode == "observe" else "advice"
        body = advice_body(row, bay.source.newest, decision.text)
        return Entry(t=turn.day, bay=bay.name, kind=kind, body=body)

    def _send(self, bay: BayState, decision: Decision, advice: AdviceMessage, turn: Turn) -> None:
        if decision.code != bay.decision.code:
            turn.tell(bay.name, decision.code, decision.text)
        offered = bay.consent.number if bay.consent is not None else 0
        ends = bay.decision.targets is not None and decision.targets is None
        bay.settle(decision, advice.id, turn.now)
        if bay.consent is not None and bay.consent.number != offered:
            text = f"offer {bay.consent.number} waits to be confirmed at the controller"
            turn.tell(bay.name, "offer", text)
        back = turn.now < bay.other_until  # two voices would only confuse: the last word ends ours
        if bay.config.mode == "observe" or (back and not ends):
            return
        if bay.plain is not None:
            sent = self._plain.say(bay, turn.now)
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
        if not sent and self.wire.ready and not bay.unsent:
            turn.tell(bay.name, "unsent", "advice could not be sent; see `firmware-bridge check`")
        bay.unsent = not sent
        if not sent:
            body = messages.encode_plain(list(advice.id))
            self._unwritten.append(Entry(t=turn.day, bay=bay.name, kind="unsent", body=body))

    # --- what happens by the clock -------------------------------------------------------------

    def _look_at(self, bay: BayState, turn: Turn) -> None:
        self.health.forget(bay, turn.now)
        self._recall(bay, turn)
        if bay.decision.targets and (self._ground(bay, turn.now) or bay.doubt(turn.now)):
            turn.touched[bay.name] = bay

    def _each_second(self, turn: Turn) -> None:
        self.health.check_disk(turn)
        self.health.retry_audit(self.audit, turn)
        self.health.come_back(self.bays.values(), self.audit, turn)
        self._day.note(turn)
        for name, request in self._requests.take():
            done, text = self._do(request, turn)
            self._requests.answer(name, done, text)
        self.ahead.look(turn)
        self.diagnosing.look(turn)
        self._keep_alarms()
        came_up = self.wire.ready and not self._was_ready
        self._was_ready = self.wire.ready
        if came_up:
            self.health.heard_at = -math.inf  # what was heard before proves nothing now
        self._beat(turn, self._beats.due(turn.now, all_bays=came_up))
        if came_up or turn.now >= self._alarms_due:
            self._alarms_due = turn.now + BEAT_EVERY
            if not came_up:  # the own beat is still on its way
                self._publish_alarms(turn)
            self._discovery.publish(
                self.bays.values(), self.book.standing, self.wire, turn.now, came_up
            )

    def _recall(self, bay: BayState, turn: Turn) -> None:
        """What the controller's channels tell is logged like the word of a person."""
        for text in bay.recall(turn.now, turn.day):
            turn.tell(bay.name, "told", text)
            turn.log(bay.name, "told", text.encode())
            self._store.changed[bay.name] = bay

    def _do(self, request: Request | BadMessage, turn: Turn) -> tuple[bool, str]:
        """What a person on this machine asks: first into the audit log, then done."""
        if isinstance(request, BadMessage):
            return False, str(request)
        if not has_name(request.by):
            return False, NOBODY
        if request.do == "trust-clock":
            return self._day.trust(request.by, turn)
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
        turn.touched[bay.name] = self._store.changed[bay.name] = bay
        return True, f"{bay.name}: {text}"

    def acknowledge(
        self, bay: str, alarm: str, by: str, answer: Callable[[bool, str], None]
    ) -> None:
        """Somebody at the page has seen an alarm; any thread may say so."""
        request = Request(do="acknowledge", bay=bay, by=by.strip(), told={"alarm": alarm})
        self._asked.append((request, answer))

    def _keep_alarms(self) -> None:
        """What stood, was sent and has been seen outlives a restart."""
        if self.book.changed:
            with suppress(JournalError):
                self.journal.set_note(ALARMS, self.book.to_text())
                self.book.changed = False

    def _beat(self, turn: Turn, bays: Iterable[BayState]) -> None:
        self.health.sent = self._beat_seq = self._beat_seq + 1
        for bay in bays:
            if turn.now < bay.other_until:
                continue  # the other one speaks
            beat = Beat(
                boot=self.health.boot,
                seq=self._beat_seq,
                id=self.health.id,
                t=round(turn.day),
                birth=1 if bay.wants_birth else 0,
            )
            topic = topics.bay_topic(self.config.bridge.root, bay.name, "beat")
            self.wire.send(Message(topic=topic, payload=messages.encode(beat)))
            if bay.config.mode != "observe":
                turn.plain.append(bay)

    def _publish_alarms(self, turn: Turn) -> None:
        own = [*alarms_of(self._certificates(), turn.day), *self._store.alarms]
        alarms = self.book.see(
            self.bays.values(), lambda bay: self._ground(bay, turn.now), turn, own
        )
        if alarms == self._alarms or not self.wire.ready:
            return
        message = Message(
            topic=topics.bridge_topic(self.config.bridge.root, self.config.bridge.name, "alarm"),
            payload=messages.encode(Alarms(boot=self.health.boot, on=alarms)),
            qos=1,
            retain=True,
        )
        if self.wire.send(message):
            self._alarms = alarms

    # --- the end -------------------------------------------------------------------------------

    def shutdown(self) -> None:
        """Say ``none`` to every bay that stands under advice, and store all that is left."""
        turn = self._day.turn()
        decisions = [
            (bay, decision)
            for bay in self.bays.values()
            if bay.decision.targets is not None
            and (decision := bay.decide("shutdown", turn.now, turn.day)) is not None
        ]
        self._log_due = turn.now  # nothing waits any longer
        self._say(decisions, turn)
        turn.tell("", "stop", f"bridge stopped (run {self.health.boot})")
        self._store.end(turn, self.bays)
        self._keeper.note(turn, all_bays=True)
        self._keep_alarms()

    def problem(self, link: str) -> str:
        """What people should know of the way to broker (its trouble is given) and mail."""
        mail = self.book.delivery.trouble if self.book.delivery is not None else ""
        soon = "; ".join(alarm.text for alarm in self.book.standing(""))
        said = (("Broker", link), ("Alarms are not sent", mail), ("Bridge", soon))
        return "; ".join(f"{what}: {words}" for what, words in said if words)

    def views(self) -> tuple[BayView, ...]:
        """Every bay as people should see it now."""
        now = self.clock.steady()
        views = (bay.view(now) for bay in self.bays.values())
        return tuple(replace(view, complaints=self.book.standing(view.name)) for view in views)

    def view(self) -> BridgeView:
        """The bridge itself as machines should see it now."""
        return BridgeView(
            boot=self.health.boot,
            link=self.wire.ready,
            doubts=self.health.doubts(self.wire.ready, self._day.believed),
            free_mb=self.health.free,
            audit_entries=self.audit.length,
            counts=self.counts + self.inbox.counts,
            certificates=dict(self._certificates()),
            bay_counts={name: bay.counts + bay.source.counts for name, bay in self.bays.items()},
        )
