"""
The bridge's configuration: TOML in, frozen classes out, every problem told at once.

Each class is one table, each field one key with its limits beside it.
"""

from __future__ import annotations

import os
import re
import tomllib
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, fields
from pathlib import Path
from typing import Any

from firmware_bridge.codes import MODES
from firmware_bridge.config_alarms import AlarmsConfig, read_alarms
from firmware_bridge.config_table import entry, is_loopback, read_table, text_of
from firmware_bridge.errors import BadConfig
from firmware_bridge.mapping import (
    MappedAdvice,
    MappedReading,
    PlainTopics,
    check_topics,
    read_mapping,
    unfit,
)

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
    locks: Path | None = entry(
        "folder where bridges of this machine lock their bays, one for all; theirs alone to write",
        None,
        kind="path",
    )
    root: str = entry("first level of all topics", "vent", pattern=ROOT)
    discovery: str = entry("prefix of MQTT discovery for hubs; none is off", "", pattern=PREFIX)
    low_disk_mb: float = entry("no advice below this much free disk", 200.0, low=1, high=1e6)
    store_every_s: float = entry("time between stored readings", 60.0, low=1, high=3600)
    page_names: tuple[str, ...] = entry("names that the page may be called by", (), kind="names")
    journal_days: float = entry("days that readings are kept, 0 for ever", 0.0, low=0, high=36500)
    audit_days: float = entry("days that the audit log is kept, 0 for ever", 0.0, low=0, high=36500)


@dataclass(frozen=True, kw_only=True, slots=True)
class BrokerConfig:
    """``[broker]``: where the messages go through."""

    host: str = entry("name or address of the broker", "127.0.0.1")
    port: int = entry("its port", 0, low=0, high=65535)
    protocol: str = entry("MQTT version", "auto", choices=("auto", "5", "3.1.1"))
    tls: bool = entry(
        "encrypt; cannot be switched off except on this machine, where ca_file switches it on",
        None,
        kind="bool",
    )
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
    co2_top_ppm: float | None = entry(
        'top of the CO2 probe: a reading there means "at least"', None, low=1000, high=100_000
    )
    forecast: Path | None = entry(
        "file of the weather ahead, renewed by a job of the site's own", None, kind="path"
    )
    plan: bool = entry("follow the plan of the days ahead where it saves", False, kind="bool")
    tariff: str = entry('price of a kWh by hours, "22-6 0.06, 6-22 0.14"; none is one price', "")
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


def read_config(
    path: str | Path,
    environment: Mapping[str, str] | None = None,
    inspect: Callable[[BayConfig], Iterable[str]] | None = None,
) -> Config:
    """
    Read and check a configuration; ``BadConfig`` with every problem, a line each.

    Relative paths count from its folder. ``inspect`` gives more problems of a bay, and is asked
    even where the file has others.
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
    own, broker, alarms, bays = _tables(given, path.parent.resolve(), env, problems)
    more = [
        f"{bay.name}: {problem}"
        for bay in bays
        for problem in (() if inspect is None else inspect(bay))
    ]
    if problems or more or own is None or broker is None or alarms is None:
        raise BadConfig([*(f"{path.name}: {problem}" for problem in problems), *more])
    return Config(bridge=own, broker=broker, bays=tuple(bays), alarms=alarms)


def _tables(
    given: dict[str, Any], folder: Path, env: Mapping[str, str], problems: list[str]
) -> tuple[OwnConfig | None, BrokerConfig | None, AlarmsConfig | None, list[BayConfig]]:
    """What could be read; a bay that stands there with problems may have lost some of its keys."""
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
    found = [_bay(table, f"bays[{n}]", folder, problems) for n, table in enumerate(tables)]
    bays = [bay for bay in found if bay is not None]
    names = [bay.name for bay in bays]
    problems.extend(
        f"bays: {name!r} stands twice; give each bay its own name"
        for name in sorted({name for name in names if names.count(name) > 1})
    )
    mappings = [bay.mapping for bay in bays if bay.mapping is not None]
    check_topics(mappings, own.root if own else "", problems)
    return own, broker, alarms, bays


def _broker(
    given: Any, folder: Path, env: Mapping[str, str], problems: list[str]
) -> BrokerConfig | None:
    before = len(problems)
    table = read_table(BrokerConfig, given, "broker", folder, problems)
    if table is None:
        return None
    here = is_loopback(table.host)
    # Whoever gives certificates wants TLS, on this machine, too.
    asked = bool(table.ca_file or table.cert_file)
    tls = (asked or not here) if table.tls is None else table.tls
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
    plain = {name: value for name, value in given.items() if name != "mapping"}
    mapping = None
    if "mapping" in given:
        mapping = read_mapping(given["mapping"], f"{where}.mapping", folder, problems)
    before = len(problems)
    bay = read_table(BayConfig, plain, where, folder, problems)
    if bay is None:  # with the keys that are sound the rest can be looked at all the same
        bad = {re.split(r"[. :]", line.removeprefix(f"{where}."))[0] for line in problems[before:]}
        sound = {name: value for name, value in plain.items() if name not in bad}
        bay = read_table(BayConfig, sound, where, folder, [])
    if bay is None:
        return None
    if bay.mode != "observe" and not bay.set_by.strip():
        problems.append(
            f'{where}.set_by is missing; mode = "{bay.mode}" needs the name of who answers for it'
        )
    if bay.forecast is None and (bay.plan or bay.tariff):
        problems.append(f"{where}.forecast is missing; plan and tariff need the weather ahead")
    if bay.lost_after_s < bay.max_age_s:
        problems.append(f"{where}.lost_after_s is less than max_age_s; make it longer")
    if mapping is None:
        return bay
    if bay.mode != "observe" and mapping.advice is None and "advice" not in given["mapping"]:
        problems.append(f'{where}.mapping.advice is missing; without it use mode = "observe"')
    why_not = unfit(mapping.advice, bay.mode) if mapping.advice is not None else ""
    if why_not:
        problems.append(f"{where}.mapping.advice.{why_not}")
    if not mapping.alive:
        problems.extend(
            f"{where}.mapping: {one.key}.max_age_s is longer than the bay's max_age_s; that needs "
            "alive, or nobody would know whether the gateway still lives"
            for one in mapping.readings
            if one.max_age_s is not None and one.max_age_s > bay.max_age_s
        )
    if mapping.every_s > bay.max_age_s:
        problems.append(
            f"{where}.mapping.every_s is more than max_age_s; every reading would be too old"
        )
    values = {f.name: getattr(bay, f.name) for f in fields(bay)}
    return BayConfig(**{**values, "mapping": mapping})
