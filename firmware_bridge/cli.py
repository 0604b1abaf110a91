"""
The command line: ``firmware-bridge new | listen | check | run | tell | release | demo | simulate |
replay | verify | export``.

Leaves with 0 when done, 1 when the broker or a log is not as it should be, 2 after bad input
(one line a problem), 130 after Ctrl-C.
"""

from __future__ import annotations

import argparse
import math
import os
import signal
import sys
import threading
import time
from collections.abc import Sequence
from contextlib import AbstractContextManager, nullcontext
from datetime import UTC, datetime
from pathlib import Path
from typing import NoReturn

from firmware_bridge.bay.advisor import load_bay, starter_bay
from firmware_bridge.bay.replay import replay
from firmware_bridge.bay.state import Decision, new_bay
from firmware_bridge.config import BayConfig, BrokerConfig, Config, is_loopback, read_config
from firmware_bridge.demo.simulator import Simulator, plant_of
from firmware_bridge.errors import BadConfig, BridgeError
from firmware_bridge.journal.audit import verify
from firmware_bridge.journal.export import (
    samples_of_csv,
    samples_of_journal,
    write_csv,
    write_parquet,
)
from firmware_bridge.journal.journal import Journal
from firmware_bridge.page.board import Board
from firmware_bridge.service.clock import fast_clock
from firmware_bridge.service.listen import Ear, listen
from firmware_bridge.service.requests import Request, ask
from firmware_bridge.service.run import run
from firmware_bridge.service.service import Service
from firmware_bridge.starter import starter_config
from firmware_bridge.wire.client import Link
from firmware_bridge.wire.selftest import try_broker

__all__ = ["main"]

_DESCRIPTION = """\
Carry ventilation advice to the controllers of potato storages over MQTT.

Advice only: a controller's own limits and interlocks always win, and it runs its own program
when advice stops. Lock out the fans and test the air before anyone goes into a bay."""


class _Parser(argparse.ArgumentParser):
    def error(self, message: str) -> NoReturn:
        raise BadConfig(f"{message}; `{self.prog} --help` shows how")


def _parser() -> _Parser:
    parser = _Parser(
        prog="firmware-bridge",
        description=_DESCRIPTION,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    commands = parser.add_subparsers(dest="command", metavar="COMMAND", required=True)

    one = commands.add_parser("run", help="serve the bays of a configuration")
    one.add_argument("config", type=Path)
    one.add_argument(
        "--page",
        nargs="?",
        const="127.0.0.1:8470",
        default="",
        metavar="HOST:PORT",
        help="show the bays on a page to look at (127.0.0.1:8470; needs the extra [page])",
    )
    one.set_defaults(do=_run)

    one = commands.add_parser("check", help="check a configuration and try its broker")
    one.add_argument("config", type=Path)
    one.add_argument("--no-broker", action="store_true", help="the files only")
    one.set_defaults(do=_check)

    one = commands.add_parser("new", help="write a commented configuration to begin with")
    one.add_argument("out", type=Path, help="file to write, with bay.toml beside it")
    one.set_defaults(do=_new)

    one = commands.add_parser("listen", help="show what is heard now, topic by topic")
    one.add_argument("config", type=Path)
    one.add_argument("--seconds", type=float, default=math.inf, help="end after so long")
    one.add_argument("--every", type=float, default=2.0, help="seconds between two looks")
    one.add_argument("--also", action="append", default=[], metavar="TOPIC", help="as plc/#")
    one.set_defaults(do=_listen)

    one = commands.add_parser("demo", help="bridge, page, broker and two invented bays at once")
    one.add_argument("--days", type=float, default=math.inf, help="end after invented days")
    one.add_argument("--pace", type=float, default=300.0, help="invented seconds per second")
    one.add_argument("--page-port", type=int, default=0, help="of the page; any free one if left")
    one.set_defaults(do=_demo)

    one = commands.add_parser("simulate", help="a bay and its controller on a broker (invented)")
    one.add_argument("--host", default="127.0.0.1")
    one.add_argument("--port", type=int, default=1883)
    one.add_argument("--root", default="vent")
    one.add_argument("--bay", required=True, help="name in the topics")
    one.add_argument("--bay-file", type=Path, required=True)
    one.add_argument("--username", default="")
    one.add_argument("--password-env", default="", help="environment variable of the password")
    one.add_argument("--ca-file", type=Path)
    one.add_argument("--every", type=float, default=60.0, help="seconds between readings")
    one.add_argument("--integers", action="store_true", help="the scaled-integer form")
    one.add_argument("--pulp-c", type=float, help="pulp temperature at the start, °C")
    one.add_argument("--pace", type=float, default=1.0, help="simulated seconds per second")
    one.add_argument("--days", type=float, default=math.inf, help="end after simulated days")
    one.set_defaults(do=_simulate)

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

    one = commands.add_parser("replay", help="recorded readings through the adviser")
    one.add_argument("config", type=Path)
    one.add_argument("--bay", required=True)
    one.add_argument("--csv", type=Path, help="instead of the journal")
    one.set_defaults(do=_replay)

    one = commands.add_parser("verify", help="check the chain of the audit log")
    one.add_argument("config", type=Path)
    one.set_defaults(do=_verify)

    one = commands.add_parser("export", help="stored readings to CSV or Parquet")
    one.add_argument("config", type=Path)
    one.add_argument("--bay", required=True)
    one.add_argument("--out", type=Path, required=True, help="file ending in .csv or .parquet")
    one.add_argument("--since", default="1970-01-01", help="ISO date or time, UTC")
    one.add_argument("--until", default="2100-01-01", help="ISO date or time, UTC")
    one.set_defaults(do=_export)
    return parser


def _asks(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("config", type=Path)
    parser.add_argument("--bay", required=True)
    parser.add_argument("--by", required=True, metavar="NAME", help="who answers for it")


def main(argv: Sequence[str] | None = None) -> int:
    """
    Run the command line.

    Parameters
    ----------
    argv : sequence of str, optional
        Words after the program's name; those of the process by default.

    Returns
    -------
    int
        Exit status.
    """
    try:
        args = _parser().parse_args(argv)
        return int(args.do(args))
    except SystemExit as leaving:  # --help
        return leaving.code if isinstance(leaving.code, int) else 0
    except BridgeError as error:
        for line in str(error).splitlines():
            print(f"firmware-bridge: {line}", file=sys.stderr)
        return 2 if isinstance(error, BadConfig) else 1
    except KeyboardInterrupt:
        return 130
    except BrokenPipeError:
        # Python flushes standard output once more at its end, and would complain again.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 141


def _say(text: str) -> None:
    print(text, flush=True)


def _stamp(t: float) -> str:
    return datetime.fromtimestamp(t, UTC).strftime("%Y-%m-%d %H:%M:%SZ")


def _stop_on_signals() -> threading.Event:
    stop = threading.Event()
    for number in (signal.SIGINT, signal.SIGTERM):
        signal.signal(number, lambda *_: stop.set())
    return stop


def _bay(config: Config, name: str) -> BayConfig:
    for bay in config.bays:
        if bay.name == name:
            return bay
    names = ", ".join(bay.name for bay in config.bays)
    raise BadConfig(f"--bay {name}: not in the configuration; it has {names}")


# --- run and check ---------------------------------------------------------------------------


def _run(args: argparse.Namespace) -> int:
    config = read_config(args.config)
    stop = _stop_on_signals()
    last = {"problem": ""}

    def show(service: Service, link: Link) -> None:
        while service.told:
            event = service.told.popleft()
            _say(f"{_stamp(event.t)} {event.bay or config.bridge.name} {event.code} {event.text}")
        if link.problem != last["problem"]:
            last["problem"] = link.problem
            _say(f"broker: {link.problem or 'connected'}")
        if args.page:
            board.post(service.views, service.clock.wall(), link.problem)

    board = Board()
    for bay in config.bays:
        _say(f"{bay.name}: mode {bay.mode}{f', set by {bay.set_by}' if bay.set_by else ''}")
    with _page(args.page, config.bridge.data / "journal.db", board):
        run(config, stop, each_turn=show)
    return 0


def _page(where: str, journal: Path, board: Board) -> AbstractContextManager[object]:
    if not where:
        return nullcontext()
    host, _, port = where.rpartition(":")
    if not host or not port.isdecimal():
        raise BadConfig(f"--page is {where!r}; write host and port, 127.0.0.1:8470")
    try:
        from firmware_bridge.page.server import PageServer
    except ModuleNotFoundError as error:
        raise BadConfig(f"--page needs {error.name}; pip install 'ventcalc[page]'") from None
    host = host.strip("[]")
    page = PageServer(board, journal, host, int(port))
    _say(f"page: {page.address}")
    if not is_loopback(host):
        _say("page: everybody on the network can read it; it asks for no password")
    return page


def _check(args: argparse.Namespace) -> int:
    config = read_config(args.config)
    problems: list[str] = []
    for bay in config.bays:
        try:
            new_bay(bay, 1)
        except BadConfig as error:
            problems += [f"{bay.name}: {problem}" for problem in error.problems]
    if problems:
        raise BadConfig(problems)
    _say(f"{args.config}: sound; {len(config.bays)} bays")
    if args.no_broker:
        return 0
    bad = False
    for level, line in try_broker(config):
        _say(f"{level}: {line}")
        bad |= level == "problem"
    return 1 if bad else 0


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
            _say(f"{path}: is there already, and is left as it is")
        except OSError as error:
            raise BadConfig(f"{path}: cannot be written ({error.strerror})") from None
        else:
            _say(f"{path}: written; replace what is invented with your own")
    return 0


def _listen(args: argparse.Namespace) -> int:
    if not (args.every > 0.0 and args.seconds > 0.0):
        raise BadConfig("--every and --seconds must be above 0")
    ear = Ear(config=read_config(args.config), also=tuple(args.also))
    stop, end = _stop_on_signals(), time.monotonic() + args.seconds
    clear = "\x1b[H\x1b[J" if sys.stdout.isatty() else ""

    def show(lines: list[str]) -> None:
        _say(clear + "\n".join(lines))

    listen(ear, show, lambda: stop.is_set() or time.monotonic() >= end, args.every)
    return 1 if ear.missing(time.monotonic()) else 0


# --- what people on this machine ask ---------------------------------------------------------


def _tell(args: argparse.Namespace) -> int:
    given = {key: getattr(args, key) for key in _TELLS if getattr(args, key) is not None}
    return _ask(args, "tell", {key: _told_value(key, text) for key, text in given.items()})


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
    bay = _bay(config, args.bay)
    _say(ask(config.bridge.data, Request(do=do, bay=bay.name, by=args.by, told=told)))
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


# --- demo and simulate -------------------------------------------------------------------------


def _demo(args: argparse.Namespace) -> int:
    if not (1.0 <= args.pace <= 1e5 and args.days > 0.0):
        raise BadConfig("--pace must lie in 1 to 100000, and --days above 0")
    try:
        from firmware_bridge.demo.run import run_demo
    except ModuleNotFoundError as error:
        raise BadConfig(f"demo needs {error.name}; pip install 'ventcalc[demo]'") from None
    run_demo(_stop_on_signals(), _say, days=args.days, pace=args.pace, port=args.page_port)
    return 0


def _simulate(args: argparse.Namespace) -> int:
    if not is_loopback(args.host) and args.ca_file is None:
        raise BadConfig("--host is another machine; give --ca-file, or passwords go in the clear")
    broker = BrokerConfig(
        host=args.host,
        port=args.port,
        tls=args.ca_file is not None,
        ca_file=args.ca_file,
        username=args.username,
        password=os.environ.get(args.password_env, "") if args.password_env else "",
    )
    clock = fast_clock(args.pace)
    bay = load_bay(args.bay_file)
    simulator = Simulator(
        name=args.bay,
        root=args.root,
        plant=plant_of(bay, clock.wall(), args.pulp_c),
        clock=clock,
        every=args.every,
        form="integers" if args.integers else "object",
    )
    link = Link(
        broker,
        f"sim-{args.bay}-{simulator.boot % 10**6}",
        simulator.subscriptions(),
        clock.steady,
        will=simulator.will(),
        birth=simulator.births,
    )
    simulator.wire = link
    stop = _stop_on_signals()
    _say(f"{args.bay}: an invented bay and its controller, run {simulator.boot}")
    link.start()
    try:
        _simulate_until(stop, simulator, link, clock.steady() + args.days * 86400.0)
    finally:
        link.stop([simulator.will()])
    return 0


def _simulate_until(stop: threading.Event, simulator: Simulator, link: Link, end: float) -> None:
    shown = ""
    while not stop.is_set() and simulator.clock.steady() < end:
        link.tend()
        simulator.turn()
        advice = simulator.following
        line = "its own program" if advice is None else f"advice: {advice.why}"
        if line != shown:
            _say(f"{_stamp(simulator.clock.wall())} {simulator.name} {line}")
            shown = line
        link.wait(min(0.2, 0.5 * simulator.every / simulator.clock.pace))


# --- what was recorded -------------------------------------------------------------------------


def _replay(args: argparse.Namespace) -> int:
    config = read_config(args.config)
    bay = _bay(config, args.bay)
    if args.csv is not None:
        for t, decision, words in replay(bay, samples_of_csv(args.csv)):
            _say(_line(t, decision, words))
        return 0
    journal = Journal(config.bridge.data / "journal.db", read_only=True)
    try:
        for t, decision, words in replay(bay, samples_of_journal(journal, bay.name)):
            _say(_line(t, decision, words))
    finally:
        journal.close()
    return 0


def _line(t: float, decision: Decision, words: tuple[str, ...]) -> str:
    targets = decision.targets
    if targets is None:
        return f"{_stamp(t)} none ({decision.code}): {decision.text}"
    return (
        f"{_stamp(t)} {targets.why} fan {targets.fan:.0%} door {targets.door:.0%} "
        f"humidifier {targets.water:.0%} refrigeration {targets.cool:.0%} "
        f"heater {targets.heat:.0%}: {words[0] if words else ''}"
    )


def _verify(args: argparse.Namespace) -> int:
    config = read_config(args.config)
    data = config.bridge.data
    seal = None
    if (data / "journal.db").is_file():
        journal = Journal(data / "journal.db", read_only=True)
        try:
            seal = journal.seal()
        finally:
            journal.close()
    length, problem = verify(data / "audit.db", seal)
    _say(f"{length} entries are sound" + (f"; {problem}" if problem else ""))
    return 1 if problem else 0


def _export(args: argparse.Namespace) -> int:
    config = read_config(args.config)
    bay = _bay(config, args.bay)
    start, end = (_time(text) for text in (args.since, args.until))
    journal = Journal(config.bridge.data / "journal.db", read_only=True)
    try:
        if args.out.suffix == ".parquet":
            count = write_parquet(journal, bay.name, args.out, start, end)
        elif args.out.suffix == ".csv":
            with args.out.open("w", encoding="utf-8", newline="") as file:
                count = write_csv(journal, bay.name, file, start, end)
        else:
            raise BadConfig(f"--out {args.out}: must end in .csv or .parquet")
    except OSError as error:
        raise BadConfig(f"--out {args.out}: cannot be written ({error.strerror})") from None
    finally:
        journal.close()
    _say(f"{count} readings in {args.out}")
    return 0


def _time(text: str) -> float:
    try:
        time = datetime.fromisoformat(text)
    except ValueError:
        raise BadConfig(f"{text!r} is no date; write 2026-11-05 or 2026-11-05T06:00") from None
    return time.replace(tzinfo=time.tzinfo or UTC).timestamp()
