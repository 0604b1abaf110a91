"""What comes from controllers and other bridges, decoded and given to the right bay."""

from __future__ import annotations

from collections import Counter

from firmware_bridge.bay.state import BayState
from firmware_bridge.errors import BadMessage
from firmware_bridge.journal.proof import ack_body
from firmware_bridge.service.health import BridgeHealth
from firmware_bridge.service.turn import Turn
from firmware_bridge.wire import messages, topics
from firmware_bridge.wire.client import Message
from firmware_bridge.wire.messages import Ack, Alarms, Beat, Birth, ReadingMessage, State

__all__ = ["Inbox"]


class Inbox:
    """Sorts messages; nothing that comes can raise out of it."""

    def __init__(
        self, root: str, bays: dict[str, BayState], health: BridgeHealth, store_every: float
    ) -> None:
        self._root, self._bays, self._health = root, bays, health
        self._store_every = store_every
        self.counts: Counter[str] = Counter()
        self._plain = [bay for bay in bays.values() if bay.plain is not None]
        self._by_topic = {
            one.topic: bay
            for bay in bays.values()
            if bay.plain is not None
            for one in bay.plain.mapping.readings
        }

    def take(self, message: Message, turn: Turn) -> None:
        """
        Take one message.

        Parameters
        ----------
        message : Message
            As it came.
        turn : Turn
            Gathers what follows from it.
        """
        found = topics.split(self._root, message.topic)
        bay = self._bays.get(found[0]) if found else self._by_topic.get(message.topic)
        if bay is None:
            self.counts["foreign topic"] += 1
            return
        leaf = found[1] if found else ""
        if leaf != "beat" and not bay.allow(turn.now):
            return
        try:
            if leaf:
                self._take_leaf(bay, leaf, message, turn)
            else:
                self._take_plain(bay, message)
        except BadMessage as error:
            if not bay.counts[f"bad {leaf}"]:  # told once, counted ever after
                turn.tell(
                    bay.name, "bad_message", f"not understood: {leaf or message.topic}: {error}"
                )
            bay.counts[f"bad {leaf}"] += 1
        except Exception as error:  # one bay's message must not stop the others
            self.counts["errors"] += 1
            turn.tell(bay.name, "error", f"{leaf}: {type(error).__name__} {error}"[:160])

    def plain_readings(self, turn: Turn) -> None:
        """Make readings of plain values where they are due."""
        for bay in self._plain:
            reading = None if bay.plain is None else bay.plain.reading(turn.now)
            if reading is not None:
                self._take_reading(bay, reading, turn.now, turn)

    def _take_plain(self, bay: BayState, message: Message) -> None:
        if message.retain or bay.plain is None:  # nobody knows the age of what was kept
            bay.counts["retained"] += 1
            return
        bay.plain.take(message.topic, message.payload, message.received)

    def _take_leaf(self, bay: BayState, leaf: str, message: Message, turn: Turn) -> None:
        known = topics.LEAVES[leaf]
        if message.retain and not known.retain:
            bay.counts["retained"] += 1
            return
        if bay.plain is not None and leaf != "beat":
            bay.counts["not expected"] += 1
            return
        payload, largest, now = message.payload, known.largest, message.received
        if leaf == "beat":
            self._health.hear(bay, messages.decode(payload, Beat, largest), turn)
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
