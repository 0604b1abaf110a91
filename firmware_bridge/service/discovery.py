"""
Bays for a hub of home automation, by the open convention of MQTT discovery; only to be read.

Of each sensor a retained description stands at ``PREFIX/KIND/BAY/NAME/config``, with the topic
and the place of its value; an empty one takes it away. No command topic is ever described. What
was described stands in a file, so that it is taken away when its bay goes or it is switched off.
"""

from __future__ import annotations

import contextlib
import json
import math
import os
from collections.abc import Callable, Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

from firmware_bridge.bay.state import BayState
from firmware_bridge.codes import ADVICE_ALARMS, LOG_ALARMS, TARGETS
from firmware_bridge.config import OwnConfig
from firmware_bridge.sensors.sample import Sample
from firmware_bridge.wire.client import Message, Wire
from firmware_bridge.wire.messages import Alarm
from firmware_bridge.wire.topics import VERSION, bridge_topic

__all__ = ["Discovery"]

EVERY = 60.0
"""Values are said at least as often. [s]"""
EXPIRES = 180
"""A value that has not come for so long is not known. [s]"""
ALARMS = (
    *ADVICE_ALARMS, *LOG_ALARMS, "people_inside", "not_done", "plenum_off", "power", "frost_ahead",
    "lost",
)  # fmt: skip
"""Each is one sensor, on or off."""
_SHARE = ({"unit_of_measurement": "%"}, 100.0, 1)
_TEMPERATURE = ({"unit_of_measurement": "°C", "device_class": "temperature"}, 1.0, 2)
_HUMIDITY = ({"unit_of_measurement": "%", "device_class": "humidity"}, 100.0, 1)
_QUANTITIES: dict[str, tuple[dict[str, str], float, int]] = {
    "co2": ({"unit_of_measurement": "ppm", "device_class": "carbon_dioxide"}, 1e6, 0),
    "pressure": ({"unit_of_measurement": "hPa", "device_class": "atmospheric_pressure"}, 0.01, 1),
    "electric_power": ({"unit_of_measurement": "kW", "device_class": "power"}, 1e-3, 2),
    **dict.fromkeys(("fan_speed", "door_opening", "humidifier", "refrigeration", "heater"), _SHARE),
}
"""What a hub should know of a kind, factor to its unit, decimals."""
_ADVISED = dict(
    zip(TARGETS, ("fans", "fresh-air door", "humidifier", "refrigeration", "heater"), strict=True)
)


def _quantity(kind: str) -> tuple[dict[str, str], float, int]:
    if kind.endswith("temperature"):
        return _TEMPERATURE
    if kind.endswith("humidity"):
        return _HUMIDITY
    return _QUANTITIES.get(kind, ({}, 1.0, 3))


def _spoken(code: str) -> str:
    return code.replace("_", " ").replace("Co2", "CO2").replace("co2", "CO2")


class Discovery:
    """Describes the bays of a bridge, and says their values; one loop owns it."""

    def __init__(self, own: OwnConfig) -> None:
        self._own, self._file = own, own.data / "discovery.json"
        self._stands = _read(self._file)
        """Topics of descriptions that the broker keeps."""
        self._described: dict[str, bytes] = {}
        self._made: dict[str, tuple[tuple[tuple[str, str], ...], dict[str, bytes]]] = {}
        self._said: dict[str, tuple[float, bytes]] = {}

    def publish(
        self,
        bays: Iterable[BayState],
        alarms: Callable[[str], Sequence[Alarm]],
        wire: Wire,
        now: float,
        anew: bool,
    ) -> None:
        """Describe what is new, take away what is gone, say the values."""
        if not wire.ready or not (self._own.discovery or self._stands):
            return
        served = list(bays) if self._own.discovery else []
        wanted: dict[str, bytes] = {}
        for bay in served:
            wanted |= self._descriptions(bay)
        if anew:
            self._described.clear()
            self._said.clear()
        self._describe(wanted, {bay.name for bay in served if bay.source.newest is None}, wire)
        for bay in served:
            if now >= bay.other_until:
                self._say(bay, alarms(bay.name), wire, now)

    def _describe(self, wanted: Mapping[str, bytes], unknown: set[str], wire: Wire) -> None:
        """A bay that has not spoken yet keeps what it had."""
        nodes = tuple(f"/{self._node(name)}/" for name in unknown)
        kept = {topic for topic in self._stands if any(node in topic for node in nodes)}
        gone = self._stands - wanted.keys() - kept
        stands = (self._stands | wanted.keys()) - gone
        if stands - self._stands:
            _write(self._file, stands | gone)  # before it is said: nothing is ever left behind
        for topic in sorted(gone):
            if not wire.send(Message(topic=topic, payload=b"", qos=1, retain=True)):
                return
        for topic, payload in wanted.items():
            if self._described.get(topic) == payload:
                continue
            if wire.send(Message(topic=topic, payload=payload, qos=1, retain=True)):
                self._described[topic] = payload
        if stands != self._stands:
            _write(self._file, stands)
            self._stands = stands

    # --- descriptions ------------------------------------------------------------------------

    def _node(self, bay: str) -> str:
        return f"{self._own.root}_{bay}"

    def _values_topic(self, bay: str) -> str:
        return f"{self._own.root}/{VERSION}/_bridge/{self._own.name}/bay/{bay}"

    def _descriptions(self, bay: BayState) -> dict[str, bytes]:
        """Of a bay, by topic; none of its probes before its controller has named them."""
        sample = bay.source.newest
        kinds = tuple(sample.kinds.items()) if sample is not None else ()
        made = self._made.get(bay.name)
        if made is None or made[0] != kinds:
            made = self._made[bay.name] = kinds, self._new_descriptions(bay, dict(kinds))
        return made[1]

    def _new_descriptions(self, bay: BayState, kinds: Mapping[str, str]) -> dict[str, bytes]:
        found: dict[str, bytes] = {}
        for key, kind in kinds.items():
            several = sum(one == kind for one in kinds.values()) > 1
            name = _spoken(kind[:1].upper() + kind[1:]) + (f" ({key})" if several else "")
            more = {"state_class": "measurement", **_quantity(kind)[0]}
            found |= self._one(bay.name, "sensor", f"read_{key}", name, ("read", key), more)
        found |= self._one(bay.name, "sensor", "advice", "Advice", ("advice",), {})
        found |= self._one(bay.name, "sensor", "reason", "Why", ("reason",), {})
        for target, words in _ADVISED.items():
            more = {"unit_of_measurement": "%"}
            name = f"Advised {words}"
            found |= self._one(bay.name, "sensor", f"to_{target}", name, ("to", target), more)
        for kind in ALARMS:
            name = f"Alarm: {_spoken(kind)}"
            more = {"device_class": "problem"}
            found |= self._one(
                bay.name, "binary_sensor", f"alarm_{kind}", name, ("alarm", kind), more
            )
        return found

    def _one(
        self,
        bay: str,
        component: str,
        key: str,
        name: str,
        place: tuple[str, ...],
        more: Mapping[str, str],
    ) -> dict[str, bytes]:
        node = self._node(bay)
        body: dict[str, Any] = {
            "name": name,
            "unique_id": f"{node}_{key}",
            "state_topic": self._values_topic(bay),
            "value_template": f"{{{{ value_json{''.join(f'[{one!r}]' for one in place)} }}}}",
            "availability_topic": bridge_topic(self._own.root, self._own.name, "state"),
            "availability_template": "{{ 'online' if value_json.on == 1 else 'offline' }}",
            "expire_after": EXPIRES,
            "device": {"identifiers": [node], "name": bay, "model": "Storage bay"},
            "origin": {"name": "ventcalc firmware-bridge"},
            **more,
        }
        topic = f"{self._own.discovery}/{component}/{node}/{key}/config"
        return {topic: json.dumps(body, ensure_ascii=False).encode()}

    # --- values ------------------------------------------------------------------------------

    def _say(self, bay: BayState, alarms: Sequence[Alarm], wire: Wire, now: float) -> None:
        targets, on = bay.decision.targets, {alarm.id for alarm in alarms}
        fresh = bay.source.newest if bay.doubt(now) not in ("start", "lost", "stale") else None
        words = bay.words("metric") if targets is not None else (bay.decision.text,)
        body = {
            "read": {} if fresh is None else _readings(fresh),
            "advice": "none" if targets is None else targets.why,
            "reason": (words[0] if words else "")[:250],
            "to": {
                name: None if targets is None else round(100.0 * getattr(targets, name), 1)
                for name in TARGETS
            },
            "alarm": {kind: "ON" if kind in on else "OFF" for kind in ALARMS},
        }
        payload = json.dumps(body, ensure_ascii=False, allow_nan=False).encode()
        said_at, said = self._said.get(bay.name, (-math.inf, b""))
        if payload == said and now - said_at < EVERY:
            return
        if wire.send(Message(topic=self._values_topic(bay.name), payload=payload)):
            self._said[bay.name] = (now, payload)


def _readings(sample: Sample) -> dict[str, float | None]:
    """Values that are believed, in the units of the descriptions; the others are not known."""
    found: dict[str, float | None] = {}
    for key, kind in sample.kinds.items():
        _, factor, digits = _quantity(kind)
        value = sample.values[key]
        sound = key not in sample.faults and key not in sample.ignore and math.isfinite(value)
        found[key] = round(factor * value, digits) if sound else None
    return found


def _read(path: Path) -> set[str]:
    try:
        given = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return set()
    good = isinstance(given, list) and all(isinstance(topic, str) for topic in given)
    return {topic for topic in given if topic.endswith("/config")} if good else set()


def _write(path: Path, topics: set[str]) -> None:
    part = path.with_suffix(".part")
    with contextlib.suppress(OSError):  # a full disk is told by the bridge's health
        with open(os.open(part, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600), "w") as file:
            json.dump(sorted(topics), file)
        part.replace(path)
