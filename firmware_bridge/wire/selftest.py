"""Try the broker as configured: connect, hear ourselves, and see what is forbidden."""

from __future__ import annotations

import secrets
import time
from collections.abc import Callable, Iterator

from firmware_bridge.config import Config
from firmware_bridge.wire import messages, topics
from firmware_bridge.wire.client import Link, Message
from firmware_bridge.wire.messages import Beat
from firmware_bridge.wire.topics import link_topics

__all__ = ["try_broker"]


def try_broker(config: Config, patience: float = 8.0) -> Iterator[tuple[str, str]]:
    """
    Try the broker; nothing that a controller would act upon is sent.

    Parameters
    ----------
    config : Config
        Checked configuration.
    patience : float
        How long to wait for each answer. [s]

    Yields
    ------
    tuple of str
        ``ok``, ``warning`` or ``problem``, and a line that says what was found.
    """
    link = Link(
        config.broker, f"fb-check-{secrets.token_hex(4)}", link_topics(config), time.monotonic
    )
    place = f"{config.broker.host}:{config.broker.port}"
    try:
        link.start()
        if not _until(lambda: link.connected, link, patience):
            yield "problem", link.problem or f"no answer from {place}"
            return
        secured = "encrypted" if config.broker.tls else "not encrypted, this machine only"
        yield "ok", f"connected to {place}, MQTT {link.protocol}, {secured}"
        if not _until(lambda: link.ready, link, patience):
            yield "problem", link.problem or "the broker does not answer the subscription"
            return
        yield "ok", f"subscribed to {len(link_topics(config))} topics"
        yield from _hear(config, link, patience)
    finally:
        link.stop()


def _hear(config: Config, link: Link, patience: float) -> Iterator[tuple[str, str]]:
    mark = secrets.randbits(31)
    root = config.bridge.root
    for bay in config.bays:
        beat = messages.encode(Beat(boot=0, seq=0, id=mark))
        topic = topics.bay_topic(root, bay.name, "beat")
        # No kind of message is called so: whoever hears it looks away.
        probe = f"{root}/{topics.VERSION}/{bay.name}/from/probe"
        link.send(Message(topic=topic, payload=beat))
        link.send(Message(topic=probe, payload=b"%d" % mark))
        heard: list[Message] = []
        found = _gather(link, heard, topic, beat, patience)
        if found:
            yield "ok", f"{bay.name}: the bridge hears its own beat"
        else:
            yield (
                "problem",
                f"{bay.name}: the bridge does not hear its own beat; let it read and write {topic}",
            )
        _gather(link, heard, probe, b"%d" % mark, 0.5)
        if any(message.topic == probe for message in heard):
            yield (
                "warning",
                f"{bay.name}: the broker lets the bridge speak for the controller; "
                "an access list should forbid it",
            )


def _gather(link: Link, heard: list[Message], topic: str, payload: bytes, patience: float) -> bool:
    end = time.monotonic() + patience
    while time.monotonic() < end:
        heard += link.receive()
        if any(message.topic == topic and message.payload == payload for message in heard):
            return True
        link.wait(0.05)
    return False


def _until(done: Callable[[], bool], link: Link, patience: float) -> bool:
    end = time.monotonic() + patience
    while time.monotonic() < end:
        if done():
            return True
        link.tend()
        time.sleep(0.02)
    return done()
