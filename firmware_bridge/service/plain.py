"""What is said to plain controllers, each over a link of its own whose will takes it back."""

from __future__ import annotations

from collections.abc import Mapping

from firmware_bridge.bay.state import BayState
from firmware_bridge.config import Config
from firmware_bridge.mapping import topics_written
from firmware_bridge.service.clock import Clock
from firmware_bridge.service.locks import client_id
from firmware_bridge.wire.client import Link, Message, Wire
from firmware_bridge.wire.plain_advice import plain_output, plain_void

__all__ = ["PlainVoice", "plain_links"]


class PlainVoice:
    """Says all that a plain controller is to know, each time anew: what got lost is said again."""

    def __init__(self, wire: Wire, links: Mapping[str, Wire]) -> None:
        self._wire, self._links, self._count = wire, links, 0

    def say(self, bay: BayState, now: float) -> bool:
        """Say what stands now by the steady clock [s]; False where it was not all handed over."""
        to = None if bay.plain is None else bay.plain.mapping.advice
        if to is None:
            return False
        self._count += 1
        output = plain_output(
            to,
            bay.advice(bay.decision, bay.ids[-1]) if bay.ids else None,
            bay.decision.text,
            bay.stands(now),
            self._count,
            bay.consent.offer if bay.consent is not None else 0,
        )
        wire = self._links.get(bay.name, self._wire)
        # What could not be sent ends the row: valid never goes out without its set points.
        return all(wire.send(Message(topic=topic, payload=one)) for topic, one in output)

    def heard(self) -> list[Message]:
        """What others say on the topics of plain advice, or said and left there."""
        return [message for wire in self._links.values() for message in wire.receive()]


def plain_links(config: Config, clock: Clock) -> dict[str, Link]:
    """
    A link for each plain bay whose ``valid`` may stand: its will lets it fall.

    A connection has one will only, and the bridge's own one is taken. What says ``valid`` goes over
    this link alone, so that it falls with the very connection that said it.
    """
    links = {}
    for bay in config.bays:
        to = None if bay.mapping is None else bay.mapping.advice
        if to is not None and bay.mode in ("confirm", "bounded"):
            topic, payload = plain_void(to)
            name = f"fg-{client_id(config)[-7:]}-{bay.name}"
            will = Message(topic=topic, payload=payload, qos=1)
            written = topics_written(to)
            links[bay.name] = Link(config.broker, name, (), clock.steady, will=will, others=written)
    return links
