"""
The command line: ``firmware-bridge new | listen | check | run | tell | release | acknowledge |
try-alarms | trust-clock | demo | simulate | replay | diagnose | verify | export``.

Leaves with 0 when done, 1 when the broker or a log is not as it should be, 2 after bad input
(one line a problem), 130 after Ctrl-C.
"""

from __future__ import annotations

import argparse
import math
import os
import sys
import threading
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import NoReturn

from firmware_bridge import __version__
from firmware_bridge.bay.advisor import load_bay
from firmware_bridge.bay.decision import Decision
from firmware_bridge.bay.diagnosis import DAYS, EVERY, diagnosis_report
from firmware_bridge.bay.replay import replay
from firmware_bridge.config import BrokerConfig, is_loopback, read_config
from firmware_bridge.demo.plant import plant_of
from firmware_bridge.demo.simulator import Simulator
from firmware_bridge.errors import BadConfig, BridgeError
from firmware_bridge.journal.audit import pruned, verify
from firmware_bridge.journal.export import (
    samples_of_csv,
    samples_of_journal,
    write_csv,
    write_parquet,
)
from firmware_bridge.journal.journal import Journal
from firmware_bridge.journal.proof import write_log
from firmware_bridge.local import add_commands, bay_of, say, stop_on_signals
from firmware_bridge.logs import escaped
from firmware_bridge.service.clock import fast_clock
from firmware_bridge.serving import add_run
from firmware_bridge.wire.client import Link

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
    parser.add_argument("--version", action="version", version=f"firmware-bridge {__version__}")
    commands = parser.add_subparsers(dest="command", metavar="COMMAND", required=True)

    add_run(commands)

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

    add_commands(commands)

    one = commands.add_parser("replay", help="recorded readings through the adviser")
    one.add_argument("config", type=Path)
    one.add_argument("--bay", required=True)
    one.add_argument("--csv", type=Path, help="instead of the journal")
    one.set_defaults(do=_replay)

    one = commands.add_parser("diagnose", help="what is wrong with a bay, by its stored readings")
    one.add_argument("config", type=Path)
    one.add_argument("--bay", required=True)
    one.add_argument("--days", type=float, default=DAYS, help="so far back from the last reading")
    one.add_argument("--units", choices=("metric", "us"), default="metric")
    one.set_defaults(do=_diagnose)

    one = commands.add_parser("verify", help="check the chain of the audit log")
    one.add_argument("config", type=Path)
    one.set_defaults(do=_verify)

    one = commands.add_parser("export", help="stored readings to CSV or Parquet")
    one.add_argument("config", type=Path)
    one.add_argument("--bay", required=True)
    one.add_argument(
        "--what",
        choices=("readings", "advice"),
        default="readings",
        help="stored readings, or advice with what it rests on, answers and what was done (CSV)",
    )
    one.add_argument("--out", type=Path, required=True, help="file ending in .csv or .parquet")
    one.add_argument("--since", default="1970-01-01", help="ISO date or time, UTC")
    one.add_argument("--until", default="2100-01-01", help="ISO date or time, UTC")
    one.set_defaults(do=_export)
    return parser


def main(argv: Sequence[str] | None = None) -> int:
    """Run the command line."""
    try:
        args = _parser().parse_args(argv)
        return int(args.do(args))
    except SystemExit as leaving:  # --help
        return leaving.code if isinstance(leaving.code, int) else 0
    except BridgeError as error:
        for line in str(error).splitlines():
            print(f"firmware-bridge: {escaped(line)}", file=sys.stderr)
        return 2 if isinstance(error, BadConfig) else 1
    except KeyboardInterrupt:
        return 130
    except BrokenPipeError:
        # Python flushes standard output once more at its end, and would complain again.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 141


def _stamp(t: float) -> str:
    return datetime.fromtimestamp(t, UTC).strftime("%Y-%m-%d %H:%M:%SZ")


# --- demo and simulate -------------------------------------------------------------------------


def _demo(args: argparse.Namespace) -> int:
    if not (1.0 <= args.pace <= 1e5 and args.days > 0.0):
        raise BadConfig("--pace must lie in 1 to 100000, and --days above 0")
    try:
        from firmware_bridge.demo.run import run_demo
    except ModuleNotFoundError as error:
        raise BadConfig(f"demo needs {error.name}; pip install 'ventcalc[demo]'") from None
    run_demo(stop_on_signals(), say, days=args.days, pace=args.pace, port=args.page_port)
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
    stop = stop_on_signals()
    say(f"{args.bay}: an invented bay and its controller, run {simulator.boot}")
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
            say(f"{_stamp(simulator.clock.wall())} {simulator.name} {line}")
            shown = line
        link.wait(min(0.2, 0.5 * simulator.every / simulator.clock.pace))


# --- what was recorded -------------------------------------------------------------------------


def _replay(args: argparse.Namespace) -> int:
    config = read_config(args.config)
    bay = bay_of(config, args.bay)
    if args.csv is not None:
        for t, decision, words in replay(bay, samples_of_csv(args.csv)):
            say(_line(t, decision, words))
        return 0
    journal = Journal(config.bridge.data / "journal.db", read_only=True)
    try:
        for t, decision, words in replay(bay, samples_of_journal(journal, bay.name)):
            say(_line(t, decision, words))
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


def _diagnose(args: argparse.Namespace) -> int:
    config = read_config(args.config)
    bay = bay_of(config, args.bay)
    if not args.days >= 1.0:
        raise BadConfig("--days must be 1 or more")
    journal = Journal(config.bridge.data / "journal.db", read_only=True)
    try:
        last = journal.last(bay.name)
        start = last - args.days * 86400.0
        rows = list(samples_of_journal(journal, bay.name, start, last + 1.0, EVERY))
    finally:
        journal.close()
    say(diagnosis_report(load_bay(bay.bay_file), rows, bay.ignore, args.units))
    return 0


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
    gone = pruned(data / "audit.db")[0]
    text = f"{length - gone} entries are sound"
    text += f", {gone + 1} to {length}; those before were pruned" if gone else ""
    say(text + (f"; {problem}" if problem else ""))
    return 1 if problem else 0


def _export(args: argparse.Namespace) -> int:
    config = read_config(args.config)
    bay = bay_of(config, args.bay)
    start, end = (_time(text) for text in (args.since, args.until))
    if args.what == "advice":
        return _export_log(args, config.bridge.data / "audit.db", bay.name, start, end)
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
    say(f"{count} readings in {args.out}")
    return 0


def _export_log(args: argparse.Namespace, log: Path, bay: str, start: float, end: float) -> int:
    if args.out.suffix != ".csv":
        raise BadConfig(f"--out {args.out}: advice is written as .csv")
    try:
        with args.out.open("w", encoding="utf-8", newline="") as file:
            count = write_log(log, bay, file, start, end)
    except OSError as error:
        raise BadConfig(f"--out {args.out}: cannot be written ({error.strerror})") from None
    say(f"{count} entries in {args.out}")
    return 0


def _time(text: str) -> float:
    try:
        time = datetime.fromisoformat(text)
    except ValueError:
        raise BadConfig(f"{text!r} is no date; write 2026-11-05 or 2026-11-05T06:00") from None
    return time.replace(tzinfo=time.tzinfo or UTC).timestamp()
