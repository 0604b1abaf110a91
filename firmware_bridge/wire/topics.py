"""
Topic names: ``<root>/1/<bay>/from/...`` by the controller, ``<root>/1/<bay>/to/...`` by the bridge.

The direction is a level of its own, so that an access list is one line each. No topic is longer
than 40 bytes: small clients drop what does not fit into their buffer without a word.
"""

from __future__ import annotations

from dataclasses import dataclass

from firmware_bridge.config import BayConfig, Config
from firmware_bridge.mapping import topics_read, topics_written

__all__ = [
    "BRIDGE_LEAVES",
    "LEAVES",
    "LONGEST",
    "VERSION",
    "Leaf",
    "bay_topic",
    "bridge_topic",
    "link_topics",
    "overheard_topics",
    "split",
    "spoken_topics",
    "subscriptions",
]

VERSION = "1"
"""Major version of the messages; a new one is a new tree beside the old."""
LONGEST = 40
"""Longest topic. [bytes]"""


@dataclass(frozen=True, kw_only=True, slots=True)
class Leaf:
    """How one kind of message travels."""

    direction: str
    """``from`` the controller or ``to`` it."""
    qos: int
    retain: bool
    largest: int
    """Longest payload that is looked at. [bytes]"""
    meaning: str


LEAVES: dict[str, Leaf] = {
    "state": Leaf(
        direction="from",
        qos=1,
        retain=True,
        largest=256,
        meaning="controller on or off; the same topic carries its last will",
    ),
    "birth": Leaf(
        direction="from",
        qos=1,
        retain=True,
        largest=65536,
        meaning="boot number, channels with units, what the controller takes; after every connect",
    ),
    "reading": Leaf(
        direction="from",
        qos=1,
        retain=False,
        largest=16384,
        meaning="values of one moment",
    ),
    "ack": Leaf(
        direction="from",
        qos=1,
        retain=False,
        largest=512,
        meaning="what the controller made of one piece of advice",
    ),
    "alarm": Leaf(
        direction="from",
        qos=1,
        retain=True,
        largest=4096,
        meaning="all alarms that stand; an empty list clears them",
    ),
    "advice": Leaf(
        direction="to",
        qos=0,
        retain=False,
        largest=200,
        meaning="positions for now, or none with a reason; rests on one reading",
    ),
    "beat": Leaf(
        direction="to",
        qos=0,
        retain=False,
        largest=200,
        meaning="the bridge is alive; every 10 s",
    ),
}
"""Messages between one controller and the bridge."""

BRIDGE_LEAVES: dict[str, Leaf] = {
    "state": Leaf(
        direction="to",
        qos=1,
        retain=True,
        largest=256,
        meaning="bridge on or off; the same topic carries its last will",
    ),
    "alarm": Leaf(
        direction="to",
        qos=1,
        retain=True,
        largest=24576,
        meaning="all alarms of the bridge that stand",
    ),
}
"""What a bridge says of itself, under ``<root>/1/_bridge/<name>/``."""


def bay_topic(root: str, bay: str, leaf: str) -> str:
    """Topic of one kind of message of a bay."""
    return f"{root}/{VERSION}/{bay}/{LEAVES[leaf].direction}/{leaf}"


def bridge_topic(root: str, name: str, leaf: str) -> str:
    """Topic of what a bridge says of itself."""
    if leaf not in BRIDGE_LEAVES:
        raise KeyError(leaf)
    return f"{root}/{VERSION}/_bridge/{name}/{leaf}"


def split(root: str, topic: str) -> tuple[str, str] | None:
    """Bay and kind of message that a topic names."""
    if len(topic) > LONGEST:
        return None
    parts = topic.split("/")
    if len(parts) != 5 or parts[0] != root or parts[1] != VERSION:
        return None
    _, _, bay, direction, leaf = parts
    known = LEAVES.get(leaf)
    return (bay, leaf) if known is not None and known.direction == direction else None


def subscriptions(root: str, bay: str) -> tuple[str, ...]:
    """What the bridge listens to for one bay: the controller, and every bridge's beat."""
    return f"{root}/{VERSION}/{bay}/from/+", bay_topic(root, bay, "beat")


def spoken_topics(config: Config, bay: BayConfig) -> tuple[str, ...]:
    """Topics of a bay's advice, on which the bridge alone should speak."""
    if bay.mapping is None:
        return (bay_topic(config.bridge.root, bay.name, "advice"),)
    return topics_written(bay.mapping.advice) if bay.mode != "observe" else ()


def overheard_topics(config: Config) -> list[str]:
    """Of these, those that the bridge's own link listens to; a plain bay may have one for it."""
    found: list[str] = []
    for bay in config.bays:
        if bay.mapping is None or bay.mode == "advise":
            found += spoken_topics(config, bay)
    return found


def link_topics(config: Config) -> list[tuple[str, int]]:
    """
    What the bridge subscribes to, with QoS 0.

    What a clean session missed never comes again, whatever the QoS; within one, TCP loses nothing,
    and a broker that waits for twenty answers at a time would keep a burst of readings back.
    """
    result: list[tuple[str, int]] = []
    for bay in config.bays:
        tree, beat = subscriptions(config.bridge.root, bay.name)
        result.append((beat, 0))
        if bay.mapping is None:
            result.append((tree, 0))
        else:
            confirm = "" if bay.mapping.advice is None else bay.mapping.advice.confirm
            heard = topics_read(bay.mapping) | {confirm} - {""}
            result += [(topic, 0) for topic in sorted(heard)]
    return list(dict.fromkeys(result))  # bays may share a gateway, or a probe outside
