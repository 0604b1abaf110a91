"""
How a controller that knows only plain topics is wired: which topic is which value, and back.

The tables ``[bays.mapping]`` of the configuration; each field is one key with its limits.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from firmware_bridge.codes import TARGETS
from firmware_bridge.config_table import entry, read_table
from firmware_bridge.quantities import KINDS, QUANTITIES, to_internal

__all__ = [
    "MappedAdvice",
    "MappedReading",
    "PlainTopics",
    "check_topics",
    "read_mapping",
    "topics_read",
    "topics_written",
    "unfit",
    "units_of",
]


@dataclass(frozen=True, kw_only=True, slots=True)
class MappedReading:
    """``[[bays.mapping.readings]]``: one value that a controller publishes."""

    topic: str = entry("where the value comes", kind="topic")
    key: str = entry("name of the channel", kind="key")
    kind: str = entry("what it measures", choices=KINDS)
    unit: str = entry("UCUM code of the scaled value")
    path: str = entry("way to the number in a JSON payload, dots between", "")
    scale: float = entry("factor on the number", 1.0, low=-1e6, high=1e6)
    offset: float = entry("added after the factor", 0.0, low=-1e6, high=1e6)
    time: str = entry("way to the time of measuring in a JSON payload", "")
    max_age_s: float | None = entry(
        "longest age, where not the bay's; a longer one needs alive", None, low=1, high=604800
    )
    retained: bool = entry("take what the broker kept; needs time", False, kind="bool")
    at_m: float | None = entry("height of the probe above the floor", None, low=0, high=10)


@dataclass(frozen=True, kw_only=True, slots=True)
class MappedAdvice:
    """``[bays.mapping.advice]``: topics on which a controller takes plain values."""

    object: str = entry(
        "topic of one JSON object; the topics below are names in it then", "", kind="topic"
    )
    fan: str = entry("topic of the fan speed", "", kind="topic")
    door: str = entry("topic of the door opening", "", kind="topic")
    water: str = entry("topic of the humidifier", "", kind="topic")
    cool: str = entry("topic of the refrigeration", "", kind="topic")
    heat: str = entry("topic of the heater", "", kind="topic")
    air: str = entry("topic of the expected supply air, °C", "", kind="topic")
    valid: str = entry("topic that says 1 while advice stands, else 0", kind="topic")
    beat: str = entry("topic of a number that counts on while the bridge lives", kind="topic")
    text: str = entry("topic of one line for people", "", kind="topic")
    offer: str = entry("topic of the number that a person may confirm", "", kind="topic")
    confirm: str = entry("topic on which the confirmed number comes back", "", kind="topic")
    full: float = entry("number sent for a position of 1", 100.0, low=1, high=65535)
    decimals: int = entry("decimals of the numbers sent", 1, low=0, high=4)


@dataclass(frozen=True, kw_only=True, slots=True)
class PlainTopics:
    """``[bays.mapping]``: for a controller that only knows plain topics."""

    readings: tuple[MappedReading, ...] = field(default=(), metadata={"internal": True})
    advice: MappedAdvice | None = field(default=None, metadata={"internal": True})
    every_s: float = entry("time between readings made of the plain values", 30.0, low=1, high=3600)
    alive: str = entry("topic on which the gateway says that it lives", "", kind="topic")
    alive_within_s: float | None = entry(
        "longest silence there; without it the last word stands, until a will says gone",
        None,
        low=1,
        high=3600,
    )
    gone: tuple[str, ...] = entry(
        "payloads there that mean the end", ("0", "offline", "false"), kind="names"
    )


def read_mapping(given: Any, where: str, folder: Path, problems: list[str]) -> PlainTopics | None:
    """Read ``[bays.mapping]``: what could be read; None where it is no table."""
    if not isinstance(given, dict):
        problems.append(f"{where}: must be a table")
        return None
    tables = given.get("readings", [])
    if not isinstance(tables, list) or not tables:
        problems.append(f"{where}.readings: none given; write one table for each value")
        tables = []
    readings = []
    for n, table in enumerate(tables):
        one = read_table(MappedReading, table, f"{where}.readings[{n}]", folder, problems)
        if one is None:
            continue
        if to_internal(one.kind, one.unit) is None:
            problems.append(
                f"{where}.readings[{n}].unit is {one.unit!r}; it does not fit {one.kind}: "
                f"write {units_of(one.kind)}"
            )
        if one.time and not one.path:
            problems.append(f"{where}.readings[{n}].time needs path; a plain number has no time")
        if one.retained and not one.time:
            problems.append(
                f"{where}.readings[{n}].retained needs time; else nobody knows how old it is"
            )
        readings.append(one)
    keys = [one.key for one in readings]
    if len(set(keys)) < len(keys):
        problems.append(f"{where}.readings: two values have one key; give each its own")
    numbers = Counter((one.topic, one.path, one.kind) for one in readings)
    for (topic, path, kind), count in numbers.items():
        if count > 1:  # a copied line: one probe would stand for two
            place = f"{topic} at {path}" if path else topic
            problems.append(f"{where}.readings: {place} is read as {kind} {count} times")
    advice = None
    if "advice" in given:
        advice = read_table(MappedAdvice, given["advice"], f"{where}.advice", folder, problems)
    rest = {name: value for name, value in given.items() if name not in ("readings", "advice")}
    own = read_table(PlainTopics, rest, where, folder, problems) or PlainTopics()
    if own.alive_within_s is not None and not own.alive:
        problems.append(f"{where}.alive_within_s needs alive, the topic that is counted")
    return replace(own, readings=tuple(readings), advice=advice)


def units_of(kind: str) -> str:
    """Units that a kind may have, for messages."""
    return " or ".join(f'"{unit}"' for unit in QUANTITIES[kind].units) or "any unit"


def check_topics(mappings: Sequence[PlainTopics], root: str, problems: list[str]) -> None:
    """Topics that advice is written to belong to one bay and one value, and to nothing else."""
    written = [topic for one in mappings for topic in topics_written(one.advice)]
    written += [one.advice.confirm for one in mappings if one.advice and one.advice.confirm]
    read = {topic for one in mappings for topic in topics_read(one)}
    for topic in sorted(set(written)):
        if written.count(topic) > 1:
            problems.append(f"mapping: {topic!r} stands twice; give each value its own topic")
        if topic in read:
            problems.append(f"mapping: {topic!r} is both read and written")
    for topic in sorted({*written, *read}):
        if root and topic.startswith(f"{root}/"):
            problems.append(f"mapping: {topic!r} lies in the bridge's own tree {root}/")


def topics_read(mapping: PlainTopics) -> set[str]:
    """Topics of values and of the gateway's life; that of the confirmation is not among them."""
    return {one.topic for one in mapping.readings} | ({mapping.alive} - {""})


def topics_written(advice: MappedAdvice | None) -> tuple[str, ...]:
    """Topics that the bridge writes to for a plain controller, set points first."""
    if advice is None:
        return ()
    names = ("object",) if advice.object else (*TARGETS, "air", "text", "offer", "beat", "valid")
    return tuple(topic for name in names if (topic := getattr(advice, name)))


def unfit(advice: MappedAdvice, mode: str) -> str:
    """Why a mode cannot work with these topics; empty where it can."""
    if mode in ("confirm", "bounded") and not advice.fan:
        return f'fan is missing; in mode = "{mode}" no other set point means anything without it'
    lacks = [name for name in ("text", "offer", "confirm") if not getattr(advice, name)]
    if mode == "confirm" and lacks:
        return (
            f'{", ".join(lacks)} missing; in mode = "confirm" a person reads the text, and the '
            "controller sends the offer's number back on the topic confirm"
        )
    names = [getattr(advice, name) for name in (*TARGETS, "air", "text", "offer", "beat", "valid")]
    if advice.object and len({*names} - {""}) < len([name for name in names if name]):
        return "two values have one name in the object; give each its own"
    return ""
