"""What is heard now, topic by topic: for whoever wires a gateway."""

from __future__ import annotations

import secrets
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

from firmware_bridge.config import BayConfig, Config, MappedReading
from firmware_bridge.errors import BadMessage
from firmware_bridge.mapping import topics_read
from firmware_bridge.quantities import to_internal
from firmware_bridge.sensors.sample import REQUIRED
from firmware_bridge.sensors.source import history_of
from firmware_bridge.wire import messages, topics
from firmware_bridge.wire.client import Link, Message
from firmware_bridge.wire.messages import Birth, ReadingMessage
from firmware_bridge.wire.plain_topics import delay_of, number_in
from firmware_bridge.wire.topics import link_topics

__all__ = ["Ear", "listen"]

_Row = tuple[str, str, str, Message | None, float]
"""Kind, what is shown, what is wrong, the message, and how old it may be [s]."""


@dataclass(slots=True)
class Ear:
    """The newest message of every topic, and what the configuration makes of it."""

    config: Config
    also: tuple[str, ...] = ()
    """Topics that are listened to beside the configuration's."""
    wall: Callable[[], float] = time.time
    _heard: dict[str, Message] = field(default_factory=dict)
    _delays: dict[str, dict[str, float | str]] = field(default_factory=dict)
    """By topic and path: how old a value was when it came, or what is wrong with its time."""

    def take(self, message: Message) -> None:
        """Remember a message."""
        self._heard[message.topic] = message
        delays: dict[str, float | str] = {}
        self._delays[message.topic] = delays
        for one in self._mapped_on(message.topic):
            try:
                delays[one.time] = delay_of(message.payload, one, self.wall())
            except BadMessage as error:
                delays[one.time] = str(error)

    def _mapped_on(self, topic: str) -> Iterator[MappedReading]:
        for bay in self.config.bays:
            for one in () if bay.mapping is None else bay.mapping.readings:
                if one.topic == topic:
                    yield one

    def lines(self, now: float) -> list[str]:
        """What is heard and what is missing, one line each, for a time of the steady clock [s]."""
        rows = []
        for bay in self.config.bays:
            rows += ["", f"{bay.name}:"]
            rows += list(self._plain(bay, now) if bay.mapping else self._native(bay, now))
        mappings = [bay.mapping for bay in self.config.bays if bay.mapping]
        used = {topic for one in mappings for topic in topics_read(one)}
        used |= {one.advice.confirm for one in mappings if one.advice}
        rest = [
            one
            for topic, one in sorted(self._heard.items())
            if topic not in used and not topic.startswith(f"{self.config.bridge.root}/")
        ]
        if rest:
            rows += ["", "heard, and not mapped:"]
            rows += [_row(one.topic, _shown(one.payload), one, now) for one in rest]
        return rows[1:]

    def missing(self, now: float) -> list[str]:
        """What no fresh and sound value gives, of all that advice needs."""
        found = []
        for bay in self.config.bays:
            given = {
                kind
                for kind, _, note, message, limit in self._values(bay)
                if message is not None and now - message.received <= limit and not note
            }
            lacks = [kind for kind in REQUIRED if kind not in given]
            if lacks:
                found.append(f"{bay.name}: no advice, nothing gives {', '.join(lacks)}")
        return found

    def _values(self, bay: BayConfig) -> list[_Row]:
        """By channel."""
        if bay.mapping is not None:
            return [self._mapped(one, bay.max_age_s) for one in bay.mapping.readings]
        message = self._heard.get(topics.bay_topic(self.config.bridge.root, bay.name, "reading"))
        birth = self._decoded(bay, "birth", Birth)
        reading = self._decoded(bay, "reading", ReadingMessage)
        if not isinstance(birth, Birth) or not isinstance(reading, ReadingMessage):
            return []
        values = []
        for place, channel in enumerate(birth.channels):
            raw = reading.v.get(channel.key) if reading.v is not None else None
            if reading.i is not None and place < len(reading.i):
                count = reading.i[place]
                raw = None if count is None else count * channel.scale
            text, note = _value(raw, channel.kind, channel.unit)
            values.append((channel.kind, f"{channel.key} {text}", note, message, bay.max_age_s))
        return values

    def _mapped(self, one: MappedReading, limit: float) -> _Row:
        limit = limit if one.max_age_s is None else one.max_age_s
        message = self._heard.get(one.topic)
        if message is None:
            return one.kind, f"{one.key} nothing yet", "", None, limit
        try:
            number = one.scale * number_in(message.payload, one.path) + one.offset
        except BadMessage as error:
            return one.kind, f"{one.key} {_shown(message.payload)}", str(error), message, limit
        text, note = _value(number, one.kind, one.unit)
        delay = self._delays[one.topic][one.time]
        if message.retain and not one.retained:
            note = "kept by the broker, nobody knows its age: not used"
        elif isinstance(delay, str):
            note = delay
        elif delay > limit:
            note = f"measured {delay:.0f} s before it came: too old, not used"
        elif delay >= 1.0:
            text += f" ({delay:.0f} s old when it came)"
            limit -= delay
        return one.kind, f"{one.key} {text}", note, message, limit

    def _plain(self, bay: BayConfig, now: float) -> Iterator[str]:
        assert bay.mapping is not None  # lines() has looked
        if bay.mapping.alive:
            word = self._heard.get(bay.mapping.alive)
            text = "nothing yet: no advice until it says that it lives"
            if word is not None:
                text = f"the gateway says {_shown(word.payload)}"
            yield _row(bay.mapping.alive, text, word, now)
        for one, (_, text, note, message, _) in zip(
            bay.mapping.readings, self._values(bay), strict=True
        ):
            where = f"{one.topic}{f' at {one.path}' if one.path else ''}"
            yield _row(where, text, message, now, note)

    def _native(self, bay: BayConfig, now: float) -> Iterator[str]:
        root = self.config.bridge.root
        for leaf, kind in (("birth", Birth), ("reading", ReadingMessage)):
            topic = topics.bay_topic(root, bay.name, leaf)
            found = self._decoded(bay, leaf, kind)
            text = found if isinstance(found, str) else f"{kind.__name__.lower()} understood"
            yield _row(topic, text, self._heard.get(topic), now)
        for _, text, note, message, _ in self._values(bay):
            yield _row("", text, message, now, note)

    def _decoded(
        self, bay: BayConfig, leaf: str, kind: type[Birth | ReadingMessage]
    ) -> Birth | ReadingMessage | str:
        message = self._heard.get(topics.bay_topic(self.config.bridge.root, bay.name, leaf))
        if message is None:
            return "nothing yet"
        try:
            return messages.decode(message.payload, kind, topics.LEAVES[leaf].largest)
        except BadMessage as error:
            return f"not understood: {error}"


def _value(number: float | None, kind: str, unit: str) -> tuple[str, str]:
    """A value in its unit and in ours, and what is wrong with it."""
    if number is None:
        return "missing", "missing"
    terms = to_internal(kind, unit)
    if terms is None:
        return f"{number:g} {unit}", f"{unit} does not fit {kind}"
    value, limits = terms[0] * number + terms[1], history_of(kind).limits
    ours = f" = {value:.1f} °C" if kind.endswith("temperature") and unit != "Cel" else ""
    sound = limits.low <= value <= limits.high
    note = "" if sound else f"outside {limits.low:g} to {limits.high:g}: not believed; unit, scale?"
    shown = f"{number:g}" if unit == "1" else f"{number:g} {unit}"
    return f"{shown}{ours}", note


def _shown(payload: bytes) -> str:
    """A payload without what could move a terminal's cursor."""
    return repr(payload[:40])[2:-1] + ("..." if len(payload) > 40 else "")


def _row(where: str, text: str, message: Message | None, now: float, note: str = "") -> str:
    age = "" if message is None else f"{max(now - message.received, 0.0):.0f} s ago"
    return f"  {where:<34} {text:<34} {age:>9}{f'  {note}' if note else ''}".rstrip()


def listen(
    ear: Ear, show: Callable[[list[str]], None], done: Callable[[], bool], every: float
) -> None:
    """Listen to the broker of a configuration, and say nothing."""
    config = ear.config
    wanted = [*link_topics(config), *((topic, 0) for topic in ear.also)]
    link = Link(config.broker, f"fb-listen-{secrets.token_hex(4)}", wanted, time.monotonic)
    due = time.monotonic() + every
    link.start()
    try:
        while True:
            link.tend()
            for message in link.receive():
                ear.take(message)
            now, last = time.monotonic(), done()
            if last or now >= due:
                due = now + every
                broker = [] if link.ready else [f"broker: {link.problem or 'no answer yet'}"]
                show([*broker, *ear.lines(now), "", *ear.missing(now)])
            if last:
                return
            link.wait(0.1)
    finally:
        link.stop()
