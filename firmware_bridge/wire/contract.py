"""
The contract for authors of controllers: JSON Schema 2020-12 per message, one AsyncAPI 3 document.

Both are made from ``messages`` and ``topics``; ``python -m firmware_bridge.wire.contract`` writes
them anew, and a test fails while the files and the code differ.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import msgspec

from firmware_bridge.codes import TARGETS
from firmware_bridge.wire import messages
from firmware_bridge.wire.topics import BRIDGE_LEAVES, LEAVES, VERSION, Leaf

__all__ = ["FOLDER", "MESSAGES", "asyncapi", "documents", "schema"]

FOLDER = Path(__file__).parents[1] / "schema"

MESSAGES: dict[str, Any] = {
    "state": messages.State,
    "birth": messages.Birth,
    "reading": messages.ReadingMessage,
    "ack": messages.Ack,
    "alarm": messages.Alarms,
    "advice": messages.AdviceMessage,
    "advice_integers": messages.AdviceRow,
    "beat": messages.Beat,
}
"""Structures by the name of their schema file."""

_POSITIONS = (*TARGETS, "air")
_MORE: dict[str, dict[str, Any]] = {
    "reading": {
        "oneOf": [
            {"required": ["v"], "properties": {"v": {"type": "object"}}},
            {"required": ["i"], "properties": {"i": {"type": "array"}}},
        ]
    },
    "advice": {
        "oneOf": [
            {
                "required": ["why", "fan"],
                "properties": {
                    "why": {"type": "string"},
                    "fan": {"type": "number"},
                    "none": {"type": "null"},
                },
            },
            {
                "required": ["none"],
                "properties": {
                    "none": {"type": "string"},
                    "why": {"type": "null"},
                    **{name: {"type": "null"} for name in _POSITIONS},
                },
            },
        ]
    },
    "advice_integers": {
        "minItems": 9,
        "maxItems": 15,
        "oneOf": [
            {
                "prefixItems": [*([True] * 7), {"const": 0}, {"minimum": 1}],
                "items": {"type": "null"},
            },
            {
                "prefixItems": [
                    *([True] * 7),
                    {"minimum": 1},
                    {"const": 0},
                    {"type": "integer", "minimum": 0},
                    *([{"type": "integer"}] * 5),
                ],
                "minItems": 15,
            },
        ],
    },
}
"""Rules that ``messages.decode`` checks beside the structure."""


def schema(name: str) -> dict[str, Any]:
    """
    JSON Schema of one message.

    Parameters
    ----------
    name : str
        One of ``MESSAGES``.

    Returns
    -------
    dict
        Draft 2020-12.
    """
    made = msgspec.json.schema(MESSAGES[name])
    own = made["$defs"].pop(MESSAGES[name].__name__)
    own["title"] = own["title"].removesuffix("Message")
    head = {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "$id": f"{name}.json",
        **own,
        **_MORE.get(name, {}),
    }
    return {**head, "$defs": made["$defs"]} if made["$defs"] else head


def asyncapi() -> dict[str, Any]:
    """
    The AsyncAPI 3 document, seen from the controller: it sends ``from``, it receives ``to``.

    Returns
    -------
    dict
        Channels, operations with their MQTT bindings, messages that refer to the schemas.
    """
    channels: dict[str, Any] = {}
    operations: dict[str, Any] = {}
    for name, leaf in LEAVES.items():
        address = f"{{root}}/{VERSION}/{{bay}}/{leaf.direction}/{name}"
        kinds = ("advice", "advice_integers") if name == "advice" else (name,)
        channels[name] = _channel(address, leaf, ("root", "bay"), kinds)
        operations[name] = _operation(name, leaf, "send" if leaf.direction == "from" else "receive")
    for name, leaf in BRIDGE_LEAVES.items():
        address = f"{{root}}/{VERSION}/_bridge/{{bridge}}/{name}"
        channels[f"bridge_{name}"] = _channel(address, leaf, ("root", "bridge"), (name,))
        operations[f"bridge_{name}"] = _operation(f"bridge_{name}", leaf, "receive")
    return {
        "asyncapi": "3.0.0",
        "info": {
            "title": "Ventilation advice for bay controllers",
            "version": f"{VERSION}.0.0",
            "description": "Advice only: the controller's own limits and interlocks always win. "
            "It judges the age of advice by its own clock, and runs its own program when advice "
            "or beats stop.",
        },
        "defaultContentType": "application/json",
        "channels": channels,
        "operations": operations,
        "components": {
            "messages": {
                name: {"name": name, "payload": {"$ref": f"{name}.json"}} for name in MESSAGES
            }
        },
    }


def _channel(
    address: str, leaf: Leaf, parameters: tuple[str, ...], kinds: tuple[str, ...]
) -> dict[str, Any]:
    return {
        "address": address,
        "description": leaf.meaning,
        "parameters": {name: {} for name in parameters},
        "messages": {kind: {"$ref": f"#/components/messages/{kind}"} for kind in kinds},
    }


def _operation(channel: str, leaf: Leaf, action: str) -> dict[str, Any]:
    return {
        "action": action,
        "channel": {"$ref": f"#/channels/{channel}"},
        "bindings": {"mqtt": {"qos": leaf.qos, "retain": leaf.retain, "bindingVersion": "0.2.0"}},
    }


def documents() -> dict[str, str]:
    """
    Every file of the contract.

    Returns
    -------
    dict
        Text by file name.
    """
    made = {f"{name}.json": schema(name) for name in MESSAGES}
    made["asyncapi.json"] = asyncapi()
    return {name: json.dumps(content, indent=2) + "\n" for name, content in made.items()}


if __name__ == "__main__":
    for _name, _text in documents().items():
        (FOLDER / _name).write_text(_text, encoding="utf-8")
