"""The commands of whoever stands at the bridge's machine: begin, check, wire, tell, release."""

from __future__ import annotations

import argparse
import math
import signal
import sys
import threading
import time
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any

from firmware_bridge.bay.advisor import starter_bay
from firmware_bridge.bay.state import new_bay
from firmware_bridge.bay.week import forecast_problem
from firmware_bridge.config import BayConfig, Config, read_config
from firmware_bridge.errors import BadConfig
from firmware_bridge.logs import escaped
from firmware_bridge.mapping import units_of
from firmware_bridge.sensors.sample import REQUIRED
from firmware_bridge.service.delivery import Notice, channels
from firmware_bridge.service.listen import Ear, listen
from firmware_bridge.service.locks import is_served
from firmware_bridge.service.requests import Request, ask
from firmware_bridge.starter import starter_config
from firmware_bridge.wire.selftest import try_broker, try_user

__all__ = ["add_commands", "bay_of", "say", "stop_on_signals"]


def add_commands(commands: Any) -> None:
    """Add them to the parser."""
    one = commands.add_parser("new", help="write a commented configuration to begin with")
    one.add_argument("out", type=Path, help="file to write, with bay.toml beside it")
    one.set_defaults(do=_new)

    one = commands.add_parser("check", help="check a configuration and try its broker")
    one.add_argument("config", type=Path)
    one.add_argument("--no-broker", action="store_true", help="the files only")
    words = "instead, see what this user of the broker may write that it should not"
    one.add_argument("--as", dest="user", default="", metavar="USER", help=words)
    one.add_argument("--password-file", type=Path, help="of that user")
    one.set_defaults(do=_check)

    one = commands.add_parser("listen", help="show what is heard now, topic by topic")
    one.add_argument("config", type=Path)
    one.add_argument("--seconds", type=float, default=math.inf, help="end after so long")
    one.add_argument("--every", type=float, default=2.0, help="seconds between two looks")
    words = "show what comes there, too, mapped or not, as 'plc/#'; may be repeated"
    one.add_argument("--also", action="append", default=[], metavar="TOPIC", help=words)
    one.set_defaults(do=_listen)

    one = commands.add_parser(
        "tell", help="tell a running bridge what is in a bay, and who", allow_abbrev=False
    )
    _asks(one)
    for key, meaning in _TELLS.items():
        one.add_argument(f"--{key.replace('_', '-')}", metavar="VALUE", help=meaning)
    one.set_defaults(do=_tell)

    one = commands.add_parser("release", help="release a latched freeze protection, after a look")
    _asks(one)
    one.set_defaults(do=_release)

    one = commands.add_parser("trust-clock", help="say that a doubted time of day is right")
    one.add_argument("config", type=Path)
    one.add_argument("--by", required=True, metavar="NAME", help="who answers for it")
    one.set_defaults(do=_trust_clock)
    one = commands.add_parser("acknowledge", help="say that an alarm has been seen")
    _asks(one)
    one.add_argument("--alarm", required=True, help="as frost_risk; a wrong one lists those there")
    one.set_defaults(do=_acknowledge)

    one = commands.add_parser("try-alarms", help="send a trial by web hook and mail")
    one.add_argument("config", type=Path)
    one.set_defaults(do=_try_alarms)


def _asks(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("config", type=Path)
    parser.add_argument("--bay", required=True)
    parser.add_argument("--by", required=True, metavar="NAME", help="who answers for it")


def say(text: str) -> None:
    """Print a line at once, with nothing in it that a terminal obeys."""
    print(escaped(text), flush=True)


def stop_on_signals() -> threading.Event:
    """An event that an interrupt or the end of the process sets."""
    stop = threading.Event()
    for number in (signal.SIGINT, signal.SIGTERM):
        signal.signal(number, lambda *_: stop.set())
    return stop


def bay_of(config: Config, name: str) -> BayConfig:
    """The bay that is named, or a refusal that names those that there are."""
    for bay in config.bays:
        if bay.name == name:
            return bay
    names = ", ".join(bay.name for bay in config.bays)
    raise BadConfig(f"--bay {name}: not in the configuration; it has {names}")


# --- to begin with --------------------------------------------------------------------------


def _new(args: argparse.Namespace) -> int:
    bay = args.out.parent / "bay.toml"
    for path, text in ((bay, starter_bay()), (args.out, starter_config(bay.name))):
        try:
            with path.open("x", encoding="utf-8") as file:
                file.write(text)
        except FileExistsError:
            if path == args.out:
                raise BadConfig(f"{path}: is there already; it is left as it is") from None
            say(f"{path}: is there already, and is left as it is")
        except OSError as error:
            raise BadConfig(f"{path}: cannot be written ({error.strerror})") from None
        else:
            say(f"{path}: written; replace what is invented with your own")
    return 0


def _check(args: argparse.Namespace) -> int:
    config = read_config(args.config, inspect=_cannot_work)
    many = len(config.bays)
    say(f"{args.config}: sound; {many} bay{'s' if many > 1 else ''}")
    for bay in config.bays:
        for words in _thin(bay):
            say(f"warning: {bay.name}: {words}")
        no_outlook = forecast_problem(bay, time.time())
        if no_outlook:
            say(f"warning: {bay.name}: no outlook: {no_outlook}")
    if args.no_broker:
        return 0
    served = is_served(config.bridge.data)
    lines = try_broker(config, served=served, needed=REQUIRED)
    if args.user:
        if served:
            raise BadConfig("--as: stop the bridge first; its controllers hear what is tried")
        lines = try_user(_as_user(config, args.user, args.password_file))
    bad = False
    for level, line in lines:
        say(f"{level}: {line}")
        bad |= level == "problem"
    return 1 if bad else 0


def _as_user(config: Config, user: str, password_file: Path | None) -> Config:
    """The same configuration with another name and password for the broker."""
    try:
        password = "" if password_file is None else password_file.read_text().rstrip("\r\n")
    except (OSError, UnicodeError) as error:
        raise BadConfig(f"--password-file {password_file}: cannot be read ({error})") from None
    broker = replace(config.broker, username=user, password=password)
    return replace(config, broker=broker)


def _cannot_work(bay: BayConfig) -> list[str]:
    """Why a bay could never be advised, whatever is heard."""
    problems: list[str] = []
    try:
        new_bay(bay, 1)
    except BadConfig as error:
        problems += error.problems
    if bay.mapping is not None:
        given, keys = _given(bay), {one.key for one in bay.mapping.readings}
        problems += [
            f'ignore has "{key}", which is no key of the mapping'
            for key in bay.ignore
            if key not in keys
        ]
        problems += [
            f"no mapping gives {kind}, and there is no advice without it; add a "
            f"[[bays.mapping.readings]] with this kind and unit {units_of(kind)}"
            for kind in REQUIRED
            if kind not in given
        ]
    return problems


def _given(bay: BayConfig) -> set[str]:
    """Kinds that the mapping of a plain controller gives."""
    readings = () if bay.mapping is None else bay.mapping.readings
    return {one.kind for one in readings if one.key not in bay.ignore}


def _thin(bay: BayConfig) -> list[str]:
    """What a plain controller does not give or take, and what that means."""
    if bay.mapping is None:
        return []
    given, to = _given(bay), bay.mapping.advice
    found = []
    for kinds, meaning in _MEANS.items():
        lacks = [kind for kind in kinds if kind not in given]
        if lacks:
            found.append(f"nothing gives {' or '.join(lacks)}; {meaning}")
    if to is not None and to.fan and not to.door and bay.mode in ("confirm", "bounded"):
        found.append(
            "advice has fan and no door: fans run as advised, and the door by the controller's "
            "own program, whatever frost or warmth it lets in"
        )
    return found


_MEANS = {
    ("outside_temperature", "outside_relative_humidity"): "the door stays shut",
    ("co2",): "fresh air comes by the clock, and there is no alarm by CO2",
    ("fan_speed", "door_opening"): "nobody sees whether advice is followed",
}
"""Kinds that are not needed for advice, and what it means to do without."""


def _listen(args: argparse.Namespace) -> int:
    if not (args.every > 0.0 and args.seconds > 0.0):
        raise BadConfig("--every and --seconds must be above 0")
    ear = Ear(config=read_config(args.config), also=tuple(args.also))
    stop, end = stop_on_signals(), time.monotonic() + args.seconds
    clear = "\x1b[H\x1b[J" if sys.stdout.isatty() else ""

    def show(lines: list[str]) -> None:
        sys.stdout.write(clear)
        for line in lines:
            say(line)

    listen(ear, show, lambda: stop.is_set() or time.monotonic() >= end, args.every)
    return 1 if ear.missing(time.monotonic()) else 0


# --- what people on this machine ask ---------------------------------------------------------


def _tell(args: argparse.Namespace) -> int:
    given = {key: getattr(args, key) for key in _TELLS if getattr(args, key) is not None}
    return _ask(args, "tell", {key: _told_value(key, text) for key, text in given.items()})


def _trust_clock(args: argparse.Namespace) -> int:
    config = read_config(args.config)
    say(ask(config.bridge.data, Request(do="trust-clock", bay="", by=args.by)))
    return 0


def _acknowledge(args: argparse.Namespace) -> int:
    return _ask(args, "acknowledge", {"alarm": args.alarm})


def _try_alarms(args: argparse.Namespace) -> int:
    config = read_config(args.config)
    ways = channels(config.alarms, config.bridge.name)
    if not ways:
        raise BadConfig("nothing to send alarms by; write a table [alarms.hook] or [alarms.mail]")
    now = datetime.now().astimezone().isoformat(timespec="seconds")
    text, first = "this is a trial, nothing is wrong", "Nothing; now you know that alarms get here."
    trial = Notice(
        bay="", kind="trial", level=3, what="new", at=now, since=now, text=text, first=first
    )
    bad = False
    for name, send in ways.items():
        try:
            send([trial])
        except Exception as error:  # whatever a server does
            say(f"{name}: not sent: {error}")
            bad = True
        else:
            say(f"{name}: sent")
    return 1 if bad else 0


def _release(args: argparse.Namespace) -> int:
    return _ask(args, "release", {})


_TELLS = {
    "people_inside": "yes or no; yes until told no",
    "out_of_order": "fans,door,humidifier,refrigeration,heater; none takes it back",
    "stage": "as cool_down; calendar leaves it to the bay file",
    "loaded_t": "crop in the bay, t; unknown leaves it to the calendar",
    "crop_wet": "yes or no; over by itself after three days",
    "rot_share": "part of the crop that rots, 0 to 1",
}
"""What can be told, as in a file of readings."""


def _ask(args: argparse.Namespace, do: str, told: dict[str, object]) -> int:
    config = read_config(args.config)
    bay = bay_of(config, args.bay)
    say(ask(config.bridge.data, Request(do=do, bay=bay.name, by=args.by, told=told)))
    return 0


def _told_value(key: str, text: str) -> object:
    """The value as a file of readings has it; what it may be is judged there."""
    if text in ("", "none", "calendar", "unknown"):
        return None
    if text in ("yes", "true", "no", "false"):
        return text in ("yes", "true")
    if key == "out_of_order":
        return [name.strip() for name in text.split(",")]
    try:
        return float(text)
    except ValueError:
        return text
