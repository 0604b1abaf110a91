"""
The bridge's configuration: TOML in, frozen classes out, every problem told at once.

Each class is one table, each field one key with its limits beside it.
"""

from __future__ import annotations

import os
import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from pathlib import Path
from typing import Any

from firmware_bridge.codes import MODES, TARGETS
from firmware_bridge.config_alarms import AlarmsConfig, read_alarms
from firmware_bridge.config_table import entry, is_loopback, read_table, text_of
from firmware_bridge.errors import BadConfig
from firmware_bridge.quantities import KINDS, to_internal

__all__ = [
    "NAME",
    "ROOT",
    "AlarmsConfig",
    "BayConfig",
    "BrokerConfig",
    "Config",
    "Limits",
    "MappedAdvice",
    "MappedReading",
    "OwnConfig",
    "PlainTopics",
    "is_loopback",
    "read_config",
]

ROOT = re.compile(r"[a-z][a-z0-9]{0,5}")
NAME = re.compile(r"[a-z0-9][a-z0-9-]{0,11}")
"""Names of bays and bridges."""
PREFIX = re.compile(r"[a-z][a-z0-9_-]{0,39}")


@dataclass(frozen=True, kw_only=True, slots=True)
class OwnConfig:
    """``[bridge]``: the bridge itself."""

    name: str = entry("name of this bridge, one of its own", pattern=NAME)
    data: Path = entry("folder of journal, audit log and locks", kind="path")
    locks: Path | None = entry("folder of the locks, one a bay, shared by all", None, kind="path")
    root: str = entry("first level of all topics", "vent", pattern=ROOT)
    discovery: str = entry("prefix of MQTT discovery for hubs; none is off", "", pattern=PREFIX)
    low_disk_mb: float = entry("no advice below this much free disk", 200.0, low=1, high=1e6)
    store_every_s: float = entry("time between stored readings", 60.0, low=1, high=3600)


@dataclass(frozen=True, kw_only=True, slots=True)
class BrokerConfig:
    """``[broker]``: where the messages go through."""

    host: str = entry("name or address of the broker", "127.0.0.1")
    port: int = entry("its port", 0, low=0, high=65535)
    protocol: str = entry("MQTT version", "auto", choices=("auto", "5", "3.1.1"))
    tls: bool = entry("encrypt; cannot be switched off except on this machine", None, kind="bool")
    ca_file: Path | None = entry("who signs the broker's certificate", None, kind="file")
    cert_file: Path | None = entry("this bridge's certificate", None, kind="file")
    key_file: Path | None = entry("its private key, mode 600", None, kind="secret")
    username: str = entry("who the bridge is", "")
    password_file: Path | None = entry("file with the password, mode 600", None, kind="secret")
    password_env: str = entry("or the environment variable that holds it", "")
    reconnect_s: float = entry("first wait before connecting again", 2.0, low=0.1, high=60)
    keepalive_s: int = entry("MQTT keep-alive", 15, low=2, high=60)
    password: str = field(default="", repr=False, metadata={"internal": True})


@dataclass(frozen=True, kw_only=True, slots=True)
class Limits:
    """``[bays.limits]``: the envelope of the safety gate; it refuses, it never trims."""

    # Below the adviser's own floor (1.0 °C) on purpose: the gate is the last fence, and refuses a
    # whole advice; at the same floor the noise of the probes would make it refuse sound ones.
    plenum_floor_c: float = entry("coldest supply air", 0.5, low=-0.5, high=10)
    wetting_margin_k: float = entry("coldest pulp less dew point of the supply", 0.0, low=0, high=3)
    door_full: float = entry("part of fresh air with the door wide open", 1.0, low=0.05, high=1)
    door_shut: float = entry("opening up to which the door counts as shut", 0.02, low=0, high=0.1)
    humidifier_drop_k: float = entry("cooling by the humidifier at full", 2.0, low=0, high=10)
    fan_least: float = entry("lowest speed of a running fan", 0.1, low=0, high=1)
    minimum_on_s: float = entry("shortest fan run", 900.0, low=0, high=86400)
    minimum_off_s: float = entry("shortest fan rest", 600.0, low=0, high=86400)
    door_per_min: float = entry("fastest change of the door", 0.5, low=0.001, high=60)
    fan_per_min: float = entry("fastest change of a running fan", 1.0, low=0.001, high=60)
    changes_per_hour: int = entry("most changes in an hour", 20, low=1, high=3600)


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
    at_m: float | None = entry("height of the probe above the floor", None, low=0, high=10)


@dataclass(frozen=True, kw_only=True, slots=True)
class MappedAdvice:
    """``[bays.mapping.advice]``: topics on which a controller takes plain values."""

    fan: str = entry("topic of the fan speed", "", kind="topic")
    door: str = entry("topic of the door opening", "", kind="topic")
    water: str = entry("topic of the humidifier", "", kind="topic")
    cool: str = entry("topic of the refrigeration", "", kind="topic")
    heat: str = entry("topic of the heater", "", kind="topic")
    air: str = entry("topic of the expected supply air, °C", "", kind="topic")
    valid: str = entry("topic that says 1 while advice stands, else 0", kind="topic")
    beat: str = entry("topic of a number that counts on while the bridge lives", kind="topic")
    full: float = entry("number sent for a position of 1", 100.0, low=1, high=65535)
    decimals: int = entry("decimals of the numbers sent", 1, low=0, high=4)


@dataclass(frozen=True, kw_only=True, slots=True)
class PlainTopics:
    """``[bays.mapping]``: for a controller that only knows plain topics."""

    readings: tuple[MappedReading, ...]
    advice: MappedAdvice | None
    every_s: float = entry("time between readings made of the plain values", 30.0, low=1, high=3600)


@dataclass(frozen=True, kw_only=True, slots=True)
class BayConfig:
    """``[[bays]]``: one bay and its controller."""

    name: str = entry("name of the bay in its topics", pattern=NAME)
    bay_file: Path = entry("description of the bay", kind="file")
    mode: str = entry("how far advice may go", "observe", choices=MODES)
    set_by: str = entry("who raised the mode", "")
    ttl_s: int = entry("life of advice, by the controller's clock", 180, low=1, high=3600)
    max_age_s: float = entry("oldest reading that advice may rest on", 180.0, low=1, high=3600)
    lost_after_s: float = entry("silence that raises an alarm", 600.0, low=1, high=86400)
    advice_every_s: float = entry("least time between two pieces of advice", 30.0, low=0, high=3600)
    ignore: tuple[str, ...] = entry("channels not to be used", (), kind="names")
    limits: Limits = field(default_factory=Limits, metadata={"table": Limits})
    mapping: PlainTopics | None = field(default=None, metadata={"internal": True})


@dataclass(frozen=True, kw_only=True, slots=True)
class Config:
    """Everything in the file."""

    bridge: OwnConfig
    broker: BrokerConfig
    bays: tuple[BayConfig, ...]
    alarms: AlarmsConfig = field(default_factory=AlarmsConfig)


def read_config(path: str | Path, environment: Mapping[str, str] | None = None) -> Config:
    """
    Read a configuration.

    Parameters
    ----------
    path : str or Path
        A TOML file; relative paths in it count from its folder.
    environment : mapping, optional
        Environment variables; those of the process by default.

    Returns
    -------
    Config
        Checked, with the password read.

    Raises
    ------
    BadConfig
        Every problem found, one line each.
    """
    path = Path(path)
    try:
        given = tomllib.loads(path.read_text(encoding="utf-8-sig"))
    except OSError as error:
        raise BadConfig(f"{path}: cannot be read ({error.strerror})") from None
    except (ValueError, RecursionError) as error:
        raise BadConfig(f"{path.name}: {' '.join(str(error).split())}; not valid TOML") from None
    problems: list[str] = []
    env = os.environ if environment is None else environment
    config = _config(given, path.parent.resolve(), env, problems)
    if problems or config is None:
        raise BadConfig(f"{path.name}: {problem}" for problem in problems)
    return config


def _config(
    given: dict[str, Any], folder: Path, env: Mapping[str, str], problems: list[str]
) -> Config | None:
    for name in given:
        if name not in ("bridge", "broker", "alarms", "bays"):
            problems.append(
                f"{name}: unknown table; known are [bridge], [broker], [alarms], [[bays]]"
            )
    own = read_table(OwnConfig, given.get("bridge", {}), "bridge", folder, problems)
    broker = _broker(given.get("broker", {}), folder, env, problems)
    alarms = read_alarms(given.get("alarms", {}), folder, problems)
    tables = given.get("bays", [])
    if not isinstance(tables, list) or not tables:
        problems.append("bays: none given; write one [[bays]] table for each bay")
        tables = []
    bays = [_bay(table, f"bays[{n}]", folder, problems) for n, table in enumerate(tables)]
    names = [bay.name for bay in bays if bay is not None]
    problems.extend(
        f"bays: {name!r} stands twice; give each bay its own name"
        for name in sorted({name for name in names if names.count(name) > 1})
    )
    root = own.root if own else ""
    whole = [bay for bay in bays if bay is not None]
    _check_topics(whole, root, problems)
    if own is None or broker is None or alarms is None or len(whole) < len(tables):
        return None
    return Config(bridge=own, broker=broker, bays=tuple(whole), alarms=alarms)


def _broker(
    given: Any, folder: Path, env: Mapping[str, str], problems: list[str]
) -> BrokerConfig | None:
    before = len(problems)
    table = read_table(BrokerConfig, given, "broker", folder, problems)
    if table is None:
        return None
    here = is_loopback(table.host)
    tls = (not here) if table.tls is None else table.tls
    if not tls and not here:
        problems.append(
            f"broker.tls is false, but {table.host!r} is another machine: passwords and advice "
            "would travel in the clear; set tls = true and give ca_file"
        )
    if bool(table.cert_file) != bool(table.key_file):
        problems.append("broker: cert_file and key_file go together; give both or neither")
    if table.password_file and table.password_env:
        problems.append("broker: password_file and password_env both given; keep one")
    password = _password(table, env, problems)
    if password and not table.username:
        problems.append("broker.username is missing; a password needs one")
    if len(problems) > before:
        return None
    given_values = {f.name: getattr(table, f.name) for f in fields(table)}
    port = table.port or (8883 if tls else 1883)
    return BrokerConfig(**{**given_values, "tls": tls, "port": port, "password": password})


def _password(table: BrokerConfig, env: Mapping[str, str], problems: list[str]) -> str:
    if table.password_file:
        return text_of(table.password_file, "broker.password_file", problems)
    if table.password_env:
        if table.password_env not in env:
            problems.append(
                f"broker.password_env: {table.password_env} is not in the environment; set it "
                "or use password_file"
            )
        return env.get(table.password_env, "")
    return ""


def _bay(given: Any, where: str, folder: Path, problems: list[str]) -> BayConfig | None:
    if not isinstance(given, dict):
        problems.append(f"{where}: must be a table, [[bays]]")
        return None
    before = len(problems)
    plain = {name: value for name, value in given.items() if name != "mapping"}
    mapping = None
    if "mapping" in given:
        mapping = _mapping(given["mapping"], f"{where}.mapping", folder, problems)
    bay = read_table(BayConfig, plain, where, folder, problems)
    if bay is None:
        return None
    if bay.mode != "observe" and not bay.set_by.strip():
        problems.append(
            f'{where}.set_by is missing; mode = "{bay.mode}" needs the name of who answers for it'
        )
    if bay.lost_after_s < bay.max_age_s:
        problems.append(f"{where}.lost_after_s is less than max_age_s; make it longer")
    if bay.mode != "observe" and mapping is not None and mapping.advice is None:
        problems.append(f'{where}.mapping.advice is missing; without it use mode = "observe"')
    if len(problems) > before:
        return None
    values = {f.name: getattr(bay, f.name) for f in fields(bay)}
    return BayConfig(**{**values, "mapping": mapping})


def _mapping(given: Any, where: str, folder: Path, problems: list[str]) -> PlainTopics | None:
    if not isinstance(given, dict):
        problems.append(f"{where}: must be a table")
        return None
    before = len(problems)
    tables = given.get("readings", [])
    if not isinstance(tables, list) or not tables:
        problems.append(f"{where}.readings: none given; write one table for each value")
        tables = []
    readings = []
    for n, table in enumerate(tables):
        one = read_table(MappedReading, table, f"{where}.readings[{n}]", folder, problems)
        if one is not None and to_internal(one.kind, one.unit) is None:
            problems.append(
                f"{where}.readings[{n}].unit is {one.unit!r}; it does not fit {one.kind}"
            )
        readings.append(one)
    keys = [one.key for one in readings if one is not None]
    if len(set(keys)) < len(keys):
        problems.append(f"{where}.readings: two values have one key; give each its own")
    advice = None
    if "advice" in given:
        advice = read_table(MappedAdvice, given["advice"], f"{where}.advice", folder, problems)
    rest = {name: value for name, value in given.items() if name not in ("readings", "advice")}
    every = rest.pop("every_s", 30.0)
    if isinstance(every, bool) or not isinstance(every, int | float) or not 1 <= every <= 3600:
        problems.append(f"{where}.every_s is {every!r}; it must lie in 1 to 3600")
    problems.extend(f"{where}.{name}: unknown key" for name in rest)
    if len(problems) > before:
        return None
    whole = tuple(one for one in readings if one is not None)
    return PlainTopics(readings=whole, advice=advice, every_s=float(every))


def _check_topics(bays: list[BayConfig], root: str, problems: list[str]) -> None:
    """Topics that advice is written to belong to one bay and one target, and to nothing else."""
    written: list[str] = []
    read: set[str] = set()
    for bay in bays:
        if bay.mapping is None:
            continue
        read |= {one.topic for one in bay.mapping.readings}
        if bay.mapping.advice is not None:
            names = (*TARGETS, "air", "valid", "beat")
            topics = (getattr(bay.mapping.advice, name) for name in names)
            written += [topic for topic in topics if topic]
    for topic in sorted(set(written)):
        if written.count(topic) > 1:
            problems.append(
                f"mapping: {topic!r} is written to twice; give each value its own topic"
            )
        if topic in read:
            problems.append(f"mapping: {topic!r} is both read and written")
    for topic in sorted({*written, *read}):
        if root and topic.startswith(f"{root}/"):
            problems.append(f"mapping: {topic!r} lies in the bridge's own tree {root}/")
