"""What comes from controllers and other bridges, decoded and given to the right bay."""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import dataclass

from firmware_bridge.bay.state import BayState
from firmware_bridge.errors import BadMessage
from firmware_bridge.journal.proof import ack_body
from firmware_bridge.mapping import topics_read, topics_written
from firmware_bridge.service.health import BridgeHealth
from firmware_bridge.service.turn import Turn
from firmware_bridge.wire import messages, topics
from firmware_bridge.wire.client import Message
from firmware_bridge.wire.messages import Ack, Alarms, Beat, Birth, ReadingMessage, State
from firmware_bridge.wire.plain_advice import is_void
from firmware_bridge.wire.plain_topics import number_in

__all__ = ["Inbox"]


@dataclass(slots=True)
class _Bucket:
    """Tokens of one bay: whoever floods is not listened to, the others are."""

    tokens: float = 50.0
    at: float = 0.0

    def allows(self, rate: float, now: float) -> bool:
        """Whether one more message may be taken; ``rate`` in messages a second."""
        self.tokens = min(self.tokens + (now - self.at) * rate, 50.0 + 2.0 * rate)
        self.at = now
        if self.tokens < 1.0:
            return False
        self.tokens -= 1.0
        return True


def _rate(bay: BayState) -> float:
    return 10.0 + (len(bay.plain.mapping.readings) if bay.plain else 0.0)


class Inbox:
    """Sorts messages; nothing that comes can raise out of it."""

    def __init__(
        self, root: str, bays: dict[str, BayState], health: BridgeHealth, store_every: float
    ) -> None:
        self._root, self._bays, self._health = root, bays, health
        self._store_every = store_every
        self.counts: Counter[str] = Counter()
        self._buckets = {name: _Bucket() for name in bays}
        self._plain = [(bay, bay.plain) for bay in bays.values() if bay.plain is not None]
        self._by_topic: dict[str, list[BayState]] = {}
        """Plain bays by what they hear: a gateway or a probe outside may serve several."""
        self._confirms = {
            bay.plain.mapping.advice.confirm: bay
            for bay in bays.values()
            if bay.plain is not None and bay.plain.mapping.advice is not None
        }
        for bay in bays.values():
            for topic in () if bay.plain is None else topics_read(bay.plain.mapping):
                self._by_topic.setdefault(topic, []).append(bay)
        self._by_topic |= {topic: [bay] for topic, bay in self._confirms.items()}
        self._spoken = {
            topic: bay
            for bay in bays.values()
            if bay.plain is not None
            for topic in topics_written(bay.plain.mapping.advice)
        }
        """Topics that the bridge alone should write to; of its own words it hears none."""
        self._by_topic |= {topic: [bay] for topic, bay in self._spoken.items()}

    def take(self, message: Message, turn: Turn) -> None:
        """Take one message."""
        found = topics.split(self._root, message.topic)
        leaf = found[1] if found else ""
        bay = self._bays.get(found[0]) if found else None
        bays = self._by_topic.get(message.topic, ()) if found is None else (bay,) if bay else ()
        if not bays:
            self.counts["foreign topic"] += 1
        for bay in bays:
            self._take_for(bay, leaf, message, turn)

    def _take_for(self, bay: BayState, leaf: str, message: Message, turn: Turn) -> None:
        if leaf != "beat" and not self._buckets[bay.name].allows(_rate(bay), turn.now):
            bay.counts["flood"] += 1
            return
        try:
            if leaf:
                self._take_leaf(bay, leaf, message, turn)
            else:
                self._take_plain(bay, message, turn)
        except BadMessage as error:
            what = leaf or message.topic
            if not bay.counts[f"bad {what}"]:  # told once, counted ever after
                turn.tell(bay.name, "bad_message", f"not understood: {what}: {error}")
            bay.counts[f"bad {what}"] += 1
        except Exception as error:  # one bay's message must not stop the others
            self.counts["errors"] += 1
            turn.tell(bay.name, "error", f"{leaf}: {type(error).__name__} {error}"[:160])

    def plain_readings(self, turn: Turn, link_lost: float = -math.inf) -> None:
        """Make readings of plain values where they are due; ``link_lost`` by the steady clock."""
        for bay, plain in self._plain:
            reading = plain.reading(turn.now, link_lost)
            if reading is not None:
                self._take_reading(bay, reading, turn.now, turn)

    def _take_plain(self, bay: BayState, message: Message, turn: Turn) -> None:
        plain, topic, payload = bay.plain, message.topic, message.payload
        if plain is None:
            return
        now, kept = message.received, message.retain
        if topic in self._spoken:
            to = plain.mapping.advice
            if to is not None and not is_void(to, topic, payload):
                self._health.overhear(bay, topic, kept, turn)
            return
        bay.counts["retained"] += kept
        if topic in self._confirms:
            if not kept and payload:  # an empty one has cleared what was kept there
                self._take_confirmation(bay, number_in(payload, ""), turn)
            return
        if topic == plain.mapping.alive:
            self._take_alive(bay, plain.take_alive(payload, now, kept), turn)
        plain.take(topic, payload, now, turn.day - (turn.now - now), kept)

    def _take_alive(self, bay: BayState, lives: bool | None, turn: Turn) -> None:
        if lives is None or lives == bay.source.online:
            return
        bay.source.online = lives
        code, what = ("birth", "lives") if lives else ("offline", "is gone")
        turn.tell(bay.name, code, f"the gateway {what}")

    def _take_confirmation(self, bay: BayState, number: float, turn: Turn) -> None:
        if bay.consent is None or not bay.consent.confirm(number, turn.now):
            bay.counts["not offered"] += number != 0.0
            return
        turn.tell(bay.name, "confirm", f"offer {number:.0f} was confirmed at the controller")
        turn.log(bay.name, "confirm", messages.encode_plain([int(number), *bay.ids[-1]]))
        turn.connected.add(bay.name)

    def _take_leaf(self, bay: BayState, leaf: str, message: Message, turn: Turn) -> None:
        known = topics.LEAVES[leaf]
        if leaf == "advice":  # the broker sends what others say there, retained or not
            self._health.overhear(bay, message.topic, message.retain, turn)
            return
        if not message.payload and not known.retain:
            return  # somebody has cleared what was kept there
        if message.retain and not known.retain:
            bay.counts["retained"] += 1
            return
        if bay.plain is not None and leaf != "beat":
            bay.counts["not expected"] += 1
            return
        payload, largest, now = message.payload, known.largest, message.received
        if leaf == "beat":
            beat = messages.decode(payload, Beat, largest)
            self._health.hear(bay, beat, message.topic, turn)
        elif leaf == "reading":
            self._take_reading(bay, messages.decode(payload, ReadingMessage, largest), now, turn)
        elif leaf == "birth":
            self._take_birth(bay, messages.decode(payload, Birth, largest), now, turn)
        elif leaf == "state":
            self._take_state(bay, messages.decode(payload, State, largest), turn)
        elif leaf == "ack":
            self._take_ack(bay, messages.decode(payload, Ack, largest), now, turn)
        elif leaf == "alarm":
            self._take_alarms(bay, payload, largest, turn)

    def _take_birth(self, bay: BayState, birth: Birth, now: float, turn: Turn) -> None:
        before = bay.source.birth if bay.source.online else None
        if not bay.source.take_birth(birth, now):
            return
        turn.connected.add(bay.name)
        if before is None or before.boot != birth.boot:
            run = f"run {birth.boot}, {birth.fw}" if birth.fw else f"run {birth.boot}"
            turn.tell(bay.name, "birth", f"controller connected ({run})")

    def _take_state(self, bay: BayState, state: State, turn: Turn) -> None:
        online = bay.source.online
        if not bay.source.take_state(state) or bay.source.online == online:
            return
        code, what = ("offline", "disconnected") if online else ("birth", "connected")
        turn.tell(bay.name, code, f"controller {what} (run {state.boot})")

    def _take_reading(self, bay: BayState, reading: ReadingMessage, now: float, turn: Turn) -> None:
        gaps = bay.source.counts["gap"]
        sample = bay.source.take(reading, now)
        if sample is None:
            return
        lost = bay.source.counts["gap"] - gaps
        if lost:
            turn.tell(bay.name, "gap", f"{lost} readings missing before {sample.seq}")
        if not sample.fresh or now - bay.stored_at >= self._store_every - 0.5:
            turn.samples.append((turn.day, bay.name, sample))
            bay.stored_at = now if sample.fresh else bay.stored_at
        if sample.fresh:
            turn.touched[bay.name] = bay

    def _take_ack(self, bay: BayState, ack: Ack, now: float, turn: Turn) -> None:
        if bay.take_ack(ack, now):
            turn.log(bay.name, "ack", ack_body(ack))

    def _take_alarms(self, bay: BayState, payload: bytes, largest: int, turn: Turn) -> None:
        alarms = messages.decode(payload, Alarms, largest).on if payload else ()
        if alarms != bay.alarms:
            names = ", ".join(alarm.id for alarm in alarms)
            turn.tell(bay.name, "alarm", f"alarm: {names}" if alarms else "alarms cleared")
        bay.alarms = alarms
