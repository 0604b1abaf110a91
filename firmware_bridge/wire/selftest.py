"""
Try the broker as configured: connect, hear ourselves, and see what is forbidden.

An access list is kept by exact topic, so that what the bridge will write is tried on the very
topic, and must not be mistaken for advice there: nothing is retained, the payload is one blank,
which is neither a number, nor JSON, nor the empty payload that clears; and to a plain controller
the first word is the true one that no advice stands, after which its contract lets it copy nothing.
"""

from __future__ import annotations

import secrets
import time
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence

from firmware_bridge.config import BayConfig, BrokerConfig, Config
from firmware_bridge.errors import BadMessage
from firmware_bridge.mapping import topics_read, units_of
from firmware_bridge.quantities import to_internal
from firmware_bridge.wire import messages, topics
from firmware_bridge.wire.certificates import alarms_of, end_words
from firmware_bridge.wire.client import Link, Message
from firmware_bridge.wire.messages import Beat, Birth
from firmware_bridge.wire.plain_advice import BLANK, is_void, plain_probe
from firmware_bridge.wire.topics import link_topics, spoken_topics

__all__ = ["try_broker", "try_user"]

Line = tuple[str, str]


def try_broker(
    config: Config,
    patience: float = 8.0,
    served: bool = False,
    hear_for: float = 3.0,
    needed: Sequence[str] = (),
) -> Iterator[Line]:
    """Try the broker; nothing that a controller would act upon is sent."""
    wanted = link_topics(config)
    spoken = {topic: bay for bay in config.bays for topic in spoken_topics(config, bay)}
    link = _link(config.broker, wanted, tuple(spoken))
    heard: list[Message] = []
    try:
        link.start()
        if not _until(lambda: link.connected, link, patience):
            yield "problem", link.problem or f"no answer from {_place(config.broker)}"
            return
        secured = "encrypted" if config.broker.tls else "not encrypted, this machine only"
        yield "ok", f"connected to {_place(config.broker)}, MQTT {link.protocol}, {secured}"
        for what, end in link.certificates.items():
            words, alarms = end_words(what, end, time.time()), alarms_of({what: end}, time.time())
            grave = bool(alarms) and alarms[0].level == 2
            yield "problem" if grave else "warning" if alarms else "ok", words
        if _until(lambda: link.ready or "refused" in link.problem, link, patience) and link.ready:
            yield "ok", f"subscribed to {len(wanted)} topics"
        else:
            yield "problem", link.problem or "the broker does not answer the subscription"
        mark = secrets.randbits(31)
        yield from _writes(config, link, patience, served, mark)
        for bay in config.bays:
            yield from _own_beat(config.bridge.root, bay, link, heard, patience, mark)
        _hear_all(config, link, heard, hear_for)
        for bay in config.bays:
            yield from _controller(config.bridge.root, bay, heard, needed)
        yield from _others(link, [m for m in heard if m.topic in spoken], spoken, served)
    finally:
        link.stop()


def try_user(config: Config, patience: float = 8.0) -> Iterator[Line]:
    """
    Try what another user of the broker, whose name and password stand in the configuration now,
    may write: nothing of what the bridge alone should say, and the readings of one bay.
    """
    own, user = config.bridge, config.broker.username
    link = _link(config.broker, (), ())
    try:
        link.start()
        if not _until(lambda: link.connected, link, patience):
            yield "problem", link.problem or f"no answer from {_place(config.broker)}"
            return
        if link.protocol != "5":
            yield "problem", "with MQTT 3.1.1 the broker does not say what may not be written"
            return
        alone = [topics.bridge_topic(own.root, own.name, leaf) for leaf in topics.BRIDGE_LEAVES]
        for bay in config.bays:
            alone += [topics.bay_topic(own.root, bay.name, "beat"), *spoken_topics(config, bay)]
        beat, found = _beat(secrets.randbits(31)), 0
        for topic in dict.fromkeys(alone):
            payload = beat if topic.endswith("/to/beat") else BLANK
            if not link.attempt(Message(topic=topic, payload=payload, qos=1), patience):
                found += 1
                yield (
                    "problem",
                    f"{user!r} may write to {topic}, where the bridge alone should speak; the "
                    "broker's access list must forbid it",
                )
        if not found:
            yield "ok", f"{user!r} may write to no topic on which the bridge alone should speak"
        speaks = [
            bay.name
            for bay in config.bays
            if not link.attempt(
                Message(topic=_probe(own.root, bay), payload=BLANK, qos=1), patience
            )
        ]
        for_bays = f"{user!r} may send readings of {', '.join(speaks) or 'no bay'}"
        if len(speaks) > 1:
            yield "warning", f"{for_bays}; a password of its own for each keeps a loss small"
        else:
            yield "ok", for_bays
    finally:
        link.stop()


def _link(broker: BrokerConfig, wanted: Sequence[tuple[str, int]], others: Sequence[str]) -> Link:
    name = f"fb-check-{secrets.token_hex(4)}"
    return Link(broker, name, wanted, time.monotonic, others=others)


def _place(broker: BrokerConfig) -> str:
    return f"{broker.host}:{broker.port}"


def _probe(root: str, bay: BayConfig) -> str:
    """A topic of the controller's own, with a payload that is no reading."""
    if bay.mapping is not None:
        return min(topics_read(bay.mapping))
    return f"{root}/{topics.VERSION}/{bay.name}/from/probe"


def _others(
    link: Link, heard: Sequence[Message], spoken: Mapping[str, BayConfig], served: bool
) -> Iterator[Line]:
    """Who else speaks where the bridge alone should, now or long ago."""
    for topic in link.deaf:
        yield (
            "warning",
            f"{spoken[topic].name}: the bridge may not hear whether somebody else writes to "
            f"{topic}; let it read there",
        )
    told = set()
    for message in heard:
        topic, bay = message.topic, spoken[message.topic]
        to = None if bay.mapping is None else bay.mapping.advice
        void = message.payload in (b"", BLANK) or (to and is_void(to, topic, message.payload))
        if topic in told or (not message.retain and (void or served)):
            continue
        told.add(topic)
        if message.retain:
            yield (
                "problem",
                f"{bay.name}: the broker keeps an old word on {topic} ({message.payload[:24]!r}), "
                f"and gives it to whoever connects; clear it: mosquitto_pub -r -n -t {topic}",
            )
        else:
            yield (
                "problem",
                f"{bay.name}: somebody else writes to {topic} ({message.payload[:24]!r}), where "
                "the bridge alone should speak; the broker's access list must forbid it",
            )


def _beat(mark: int) -> bytes:
    """A beat older than any bridge's."""
    return messages.encode(Beat(boot=0, seq=0, id=mark))


def _writes(config: Config, link: Link, patience: float, served: bool, mark: int) -> Iterator[Line]:
    """Whether every topic may be written to that the bridge will write to in its mode."""
    own = config.bridge
    tries = [
        ("", Message(topic=topics.bridge_topic(own.root, own.name, leaf), payload=BLANK, qos=1))
        for leaf in topics.BRIDGE_LEAVES
    ]
    if own.discovery:  # of a sensor that nobody has: nothing is described, nothing taken away
        tries.append(
            ("", Message(topic=f"{own.discovery}/sensor/check/config", payload=b"", qos=1))
        )
    for bay in config.bays:
        speaks = bay.mode != "observe" and bay.mapping is None
        probes = [(topics.bay_topic(own.root, bay.name, "advice"), BLANK)] if speaks else []
        probes.append((topics.bay_topic(own.root, bay.name, "beat"), _beat(mark)))
        to = None if bay.mapping is None else bay.mapping.advice
        if to is not None and bay.mode != "observe":
            if served:
                yield "warning", f"{bay.name}: its advice was not tried, a bridge serves it now"
            else:
                probes += plain_probe(to)
        tries += [(bay.name, Message(topic=topic, payload=p, qos=1)) for topic, p in probes]
    refused = 0
    who = f"{config.broker.username!r}" if config.broker.username else "the bridge"
    for name, message in tries:
        why = link.attempt(message, patience)
        if why:
            refused += 1
            yield (
                "problem",
                f"{name or own.name}: {message.topic} cannot be written to ({why}); the broker's "
                f"access list must let {who} write there",
            )
    if link.protocol != "5":
        yield "warning", "with MQTT 3.1.1 the broker does not say what may not be written"
    elif not refused:
        yield "ok", f"all {len(tries)} topics that the bridge writes to are open to it"


def _own_beat(
    root: str, bay: BayConfig, link: Link, heard: list[Message], patience: float, mark: int
) -> Iterator[Line]:
    topic = topics.bay_topic(root, bay.name, "beat")
    # No kind of message is called so: whoever hears it looks away.
    probe = f"{root}/{topics.VERSION}/{bay.name}/from/probe"
    link.send(Message(topic=probe, payload=b"%d" % mark))
    if _gather(link, heard, topic, _beat(mark), patience):
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


def _controller(
    root: str, bay: BayConfig, heard: list[Message], needed: Sequence[str]
) -> Iterator[Line]:
    """What of a controller has been heard; silence looks like an access list that forbids it."""
    if bay.mapping is not None:
        silent = topics_read(bay.mapping) - {one.topic for one in heard}
        live = {one.topic for one in heard if not one.retain}
        kept = {one.topic for one in bay.mapping.readings if not one.retained} - live - silent
        if kept:
            yield (
                "warning",
                f"{bay.name}: so far only what the broker kept was heard on {_few(kept)}; nobody "
                "knows its age, and it is not used: publish it anew, or give `time` and `retained`",
            )
        if silent:
            yield (
                "warning",
                f"{bay.name}: nothing heard yet on {_few(silent)}; `listen` waits longer; an "
                "access list that forbids reading looks the same",
            )
        return
    topic = topics.bay_topic(root, bay.name, "birth")
    said = [one.payload for one in heard if one.topic == topic]
    if not said:
        yield "warning", f"{bay.name}: no controller has said its birth; nothing heard on {topic}"
        return
    try:
        birth = messages.decode(said[-1], Birth)
    except BadMessage as error:
        yield "problem", f"{bay.name}: the controller's birth is not understood: {error}"
        return
    used = [one for one in birth.channels if one.key not in bay.ignore]
    for one in used:
        if to_internal(one.kind, one.unit) is None:
            yield (
                "problem",
                f"{bay.name}: the controller has {one.key} in {one.unit}, which does not fit "
                f"{one.kind}: {units_of(one.kind)}",
            )
    for kind in needed:
        if kind not in {one.kind for one in used}:
            yield (
                "problem",
                f"{bay.name}: the controller has no channel of {kind}, and there is no advice "
                f"without it; unit {units_of(kind)}",
            )


def _few(names: Collection[str]) -> str:
    more = f" and {len(names) - 6} more" if len(names) > 6 else ""
    return f"{', '.join(sorted(names)[:6])}{more}"


def _hear_all(config: Config, link: Link, heard: list[Message], patience: float) -> None:
    """Listen until every controller has said something, but not for ever."""
    wanted: set[str] = set()
    for bay in config.bays:
        birth = topics.bay_topic(config.bridge.root, bay.name, "birth")
        wanted |= {birth} if bay.mapping is None else topics_read(bay.mapping)
    end = time.monotonic() + patience
    while time.monotonic() < end and not wanted <= {one.topic for one in heard}:
        link.wait(0.05)
        heard += link.receive()


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
