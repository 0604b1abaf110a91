"""What comes from controllers and other bridges, taken apart and laid on the right desk."""

from __future__ import annotations

from collections import Counter

from firmware_bridge.bay.state import Desk
from firmware_bridge.codes import TARGETS
from firmware_bridge.errors import BadMessage
from firmware_bridge.service.health import Standing
from firmware_bridge.service.turn import Turn
from firmware_bridge.wire import messages, topics
from firmware_bridge.wire.client import Incoming
from firmware_bridge.wire.messages import Ack, Alarms, Beat, Birth, Reading, State

__all__ = ["Inbox"]


class Inbox:
    """Sorts messages; nothing that comes can raise out of it."""

    def __init__(
        self, root: str, desks: dict[str, Desk], standing: Standing, store_every: float
    ) -> None:
        self._root, self._desks, self._standing = root, desks, standing
        self._store_every = store_every
        self.counts: Counter[str] = Counter()
        self._by_topic = {
            one.topic: desk
            for desk in desks.values()
            if desk.plain is not None
            for one in desk.plain.mapping.readings
        }

    def take(self, message: Incoming, turn: Turn) -> None:
        """
        Take one message.

        Parameters
        ----------
        message : Incoming
            As it came.
        turn : Turn
            Gathers what follows from it.
        """
        found = topics.split(self._root, message.topic)
        desk = self._desks.get(found[0]) if found else self._by_topic.get(message.topic)
        if desk is None:
            self.counts["foreign topic"] += 1
            return
        leaf = found[1] if found else ""
        if leaf != "beat" and not desk.allow(turn.now):
            return
        try:
            if leaf:
                self._take_leaf(desk, leaf, message, turn)
            else:
                self._take_plain(desk, message)
        except BadMessage as error:
            if not desk.counts[f"bad {leaf}"]:  # told once, counted ever after
                turn.tell(desk.name, "bad_message", f"{leaf or message.topic}: {error}")
            desk.counts[f"bad {leaf}"] += 1
        except Exception as error:  # one bay's message must not stop the others
            self.counts["errors"] += 1
            turn.tell(desk.name, "error", f"{leaf}: {type(error).__name__} {error}"[:160])

    def plain_readings(self, turn: Turn) -> None:
        """Make readings of plain values where they are due."""
        for desk in self._desks.values():
            reading = None if desk.plain is None else desk.plain.reading(turn.now)
            if reading is not None:
                self._take_reading(desk, reading, turn.now, turn)

    def _take_plain(self, desk: Desk, message: Incoming) -> None:
        if message.retain or desk.plain is None:  # nobody knows the age of what was kept
            desk.counts["retained"] += 1
            return
        desk.plain.take(message.topic, message.payload, message.at)

    def _take_leaf(self, desk: Desk, leaf: str, message: Incoming, turn: Turn) -> None:
        known = topics.LEAVES[leaf]
        if message.retain and not known.retain:
            desk.counts["retained"] += 1
            return
        if desk.plain is not None and leaf != "beat":
            desk.counts["not expected"] += 1
            return
        payload, largest = message.payload, known.largest
        if leaf == "beat":
            self._standing.hear(desk, messages.decode(payload, Beat, largest), turn)
        elif leaf == "reading":
            self._take_reading(desk, messages.decode(payload, Reading, largest), message.at, turn)
        elif leaf == "birth":
            birth = messages.decode(payload, Birth, largest)
            if desk.source.take_birth(birth, message.at):
                turn.tell(desk.name, "birth", f"boot {birth.boot} {birth.fw}".rstrip())
        elif leaf == "state":
            state = messages.decode(payload, State, largest)
            if desk.source.take_state(state) and not state.on:
                turn.tell(desk.name, "offline", f"boot {state.boot} said goodbye")
        elif leaf == "ack":
            self._take_ack(desk, messages.decode(payload, Ack, largest), turn)
        elif leaf == "alarm":
            self._take_alarms(desk, payload, largest, turn)

    def _take_reading(self, desk: Desk, reading: Reading, at: float, turn: Turn) -> None:
        gaps = desk.source.counts["gap"]
        sample = desk.source.take(reading, at)
        if sample is None:
            return
        lost = desk.source.counts["gap"] - gaps
        if lost:
            turn.tell(desk.name, "gap", f"{lost} readings missing before {sample.seq}")
        if not sample.fresh or at - desk.stored_at >= self._store_every - 0.5:
            turn.samples.append((turn.day, desk.name, sample))
            desk.stored_at = at if sample.fresh else desk.stored_at
        if sample.fresh:
            turn.touched[desk.name] = desk

    def _take_ack(self, desk: Desk, ack: Ack, turn: Turn) -> None:
        if desk.take_ack(ack):
            positions = [getattr(ack, name) for name in TARGETS]
            turn.log(desk.name, "ack", messages.encode_plain([ack.code, *ack.ref, *positions]))

    def _take_alarms(self, desk: Desk, payload: bytes, largest: int, turn: Turn) -> None:
        alarms = messages.decode(payload, Alarms, largest).on if payload else ()
        if alarms != desk.alarms:
            text = ", ".join(alarm.id for alarm in alarms) or "all cleared"
            turn.tell(desk.name, "alarm", text)
        desk.alarms = alarms
