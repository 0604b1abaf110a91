"""A commented, complete configuration to begin with, made of the classes that read it."""

from __future__ import annotations

import json
import textwrap
from dataclasses import MISSING, Field, fields
from typing import Any

from firmware_bridge.config import (
    BayConfig,
    BrokerConfig,
    Limits,
    MappedAdvice,
    MappedReading,
    OwnConfig,
    PlainTopics,
)
from firmware_bridge.config_alarms import AlarmsConfig, HookConfig, MailConfig
from firmware_bridge.quantities import KINDS

__all__ = ["starter_config"]

_HEAD = """\
# The bridge between ventcalc and the controllers of a store. Topics and names are invented.
# What stands behind # is the default. `firmware-bridge check` tries this file and the broker,
# `firmware-bridge listen` shows what is heard now, topic by topic. Mode "observe" sends nothing.
# Units are UCUM codes: Cel, [degF], K; 1, %; [ppm]; Pa, hPa, kPa; t, kg, [lb_av].
# Kinds: {kinds}.
# By crop_wet and people_inside (1 or 0), rot_share, loaded_t, stage (0 filling, 1 wound healing,
# 2 cool down, 3 holding, 4 warm up, 5 unloading, 6 empty) and out_of_order (the sum of 1 fans,
# 2 door, 4 humidifier, 8 refrigeration, 16 heater) people tell what no probe knows;
# `firmware-bridge tell` does the same from this machine. power is 1 while the mains are there.
"""
_NATIVE = """
# --- A controller that speaks the bridge's own messages (firmware_bridge/schema) ---------------
"""
_PLAIN = """
# --- A controller or gateway with one plain number a topic: delete what you do not have --------
# scale and offset make the number into its unit: 385 with scale 0.1 and [degF] is 38.5 °F.
# pulp, plenum and return temperature and return humidity are needed for advice; without outside
# air the door stays shut.
"""
_ALARMS = """
# Alarms stand on the page and on the topic ROOT/1/_bridge/NAME/alarm. With one of the two tables
# below they are sent as well; `firmware-bridge try-alarms CONFIG` sends a trial.
"""
_JSON = """
# --- A gateway that sends JSON: path names the way to each number, dots between ----------------
"""
_READINGS = (
    ("pt1", "pulp_1", "pulp_temperature", "[degF]", 0.1, 0.5),
    ("pt2", "pulp_2", "pulp_temperature", "[degF]", 0.1, 2.0),
    ("pt3", "pulp_3", "pulp_temperature", "[degF]", 0.1, 4.0),
    ("plenum", "plenum", "plenum_temperature", "[degF]", 0.1, None),
    ("return", "above", "return_temperature", "[degF]", 0.1, None),
    ("return_rh", "above_rh", "return_relative_humidity", "%", 0.1, None),
    ("outside", "outside", "outside_temperature", "[degF]", 0.1, None),
    ("outside_rh", "outside_rh", "outside_relative_humidity", "%", 0.1, None),
    ("co2", "co2", "co2", "[ppm]", 1.0, None),
    ("fan_is", "fan", "fan_speed", "%", 1.0, None),
    ("door_is", "door", "door_opening", "%", 1.0, None),
    ("people", "inside", "people_inside", "1", 1.0, None),
)  # topic, key, kind, unit, scale, height


def starter_config(bay_file: str) -> str:
    """Commented TOML to begin with: three bays, all of them in mode ``observe``."""
    parts = [
        _HEAD.format(kinds=textwrap.fill(", ".join(KINDS), 92, subsequent_indent="#   ")),
        _table("[bridge]", OwnConfig, name="barn-a", data="data"),
        _table("[broker]", BrokerConfig, host="127.0.0.1"),
        _ALARMS,
        _table("[alarms]", AlarmsConfig),
        _table("# [alarms.hook]", HookConfig),
        _table("# [alarms.mail]", MailConfig),
        _NATIVE,
        _bay("bay-1", bay_file),
        _table("[bays.limits]", Limits),
        _PLAIN,
        _bay("bay-2", bay_file),
        *_mapping("plc/2", False),
        _JSON,
        _bay("bay-3", bay_file),
        *_mapping("gateway/3", True),
    ]
    return "\n".join(parts)


def _bay(name: str, bay_file: str) -> str:
    return _table("[[bays]]", BayConfig, name=name, bay_file=bay_file, mode="observe")


def _mapping(where: str, packed: bool) -> list[str]:
    parts = [_table("[bays.mapping]", PlainTopics, packed, every_s=30.0)]
    for n, (topic, key, kind, unit, scale, height) in enumerate(_READINGS):
        given: dict[str, Any] = {
            "topic": f"{where}/from{'' if packed else f'/{topic}'}",
            "key": key,
        }
        given |= {"kind": kind, "unit": unit, **({"path": topic} if packed else {})}
        given |= {"scale": scale} if scale != 1.0 else {}
        given |= {} if height is None else {"at_m": height}
        parts.append(_table("[[bays.mapping.readings]]", MappedReading, n > 0, **given))
    names = ("fan", "door", "water", "cool", "heat", "valid", "beat")
    base = f"{where}/set/"
    topics = {name: f"{base}{name}" for name in names}
    return [*parts, _table("[bays.mapping.advice]", MappedAdvice, packed, **topics)]


def _table(head: str, cls: type, brief: bool = False, **given: Any) -> str:
    """One table: what is given, and as comments the rest; without either where it is brief."""
    lines = [head]
    for f in fields(cls):
        if f.name in given:
            why = "" if brief else f"  # {_meaning(f)}"
            lines.append(f"{f.name} = {json.dumps(given[f.name])}{why}")
        elif not brief and not {"internal", "table"} & f.metadata.keys():
            lines.append(f"# {f.name} = {_default(f)}  # {_meaning(f)}")
    return "\n".join(lines) + "\n"


def _meaning(f: Field[Any]) -> str:
    choices = f.metadata.get("choices", KINDS)
    few = "" if choices is KINDS else f": {', '.join(choices)}"
    return f"{f.metadata['meaning']}{few}"


def _default(f: Field[Any]) -> str:
    if f.default is MISSING or f.default is None:
        return "..."
    return json.dumps(list(f.default) if isinstance(f.default, tuple) else f.default)
