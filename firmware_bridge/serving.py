"""``firmware-bridge run``: the service, its log, its page, and its health for machines."""

from __future__ import annotations

import argparse
import logging
import os
from collections.abc import Collection
from contextlib import ExitStack
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from firmware_bridge.config import Config, is_loopback, read_config
from firmware_bridge.errors import BadConfig
from firmware_bridge.journal.journal import Event
from firmware_bridge.local import stop_on_signals
from firmware_bridge.logs import LEVELS, level_of, log, start_log
from firmware_bridge.page.board import Board
from firmware_bridge.service.run import run
from firmware_bridge.service.service import Service
from firmware_bridge.wire.client import Link

__all__ = ["add_run"]


def add_run(commands: Any) -> None:
    """Add it to the parser."""
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
    one.add_argument(
        "--health",
        nargs="?",
        const="127.0.0.1:8471",
        default="",
        metavar="HOST:PORT",
        help="/health, /ready and /metrics for machines (127.0.0.1:8471; needs the extra [page])",
    )
    one.add_argument("--log-format", choices=("text", "json"), default="text")
    one.add_argument("--log-level", choices=LEVELS, default="info")
    one.set_defaults(do=_run)


def _run(args: argparse.Namespace) -> int:
    os.umask(0o077)  # what it writes is nobody else's
    config = read_config(args.config)
    start_log(args.log_format, args.log_level)
    stop = stop_on_signals()
    board = Board()
    last = {"problem": ""}

    def show(service: Service, link: Link) -> None:
        while service.told:
            _say(service.told.popleft(), config.bridge.name)
        if link.problem != last["problem"]:
            last["problem"] = link.problem
            _log("broker", f"broker: {link.problem or 'connected'}", bool(link.problem))
        if servers:
            board.hand_over(service.acknowledge)
            problem = service.problem(link.problem)
            board.post(service.views, service.clock.wall(), problem, service.view)

    for bay in config.bays:
        set_by = f", set by {bay.set_by}" if bay.set_by else ""
        _log("mode", f"{bay.name}: mode {bay.mode}{set_by}")
    servers: Collection[Any] = ()
    with ExitStack() as stack:
        servers = _servers(args, config, board)
        for server in servers:
            stack.enter_context(server)
        run(config, stop, each_turn=show)
    return 0


def _say(event: Event, own: str) -> None:
    at = datetime.fromtimestamp(event.t, UTC)
    text = event.text or "advice is given"
    fields = {"day": f"{at:%Y-%m-%dT%H:%M:%SZ}", "bay": event.bay, "code": event.code, "text": text}
    line = f"{event.bay or own} {event.code} {text}"
    log.log(level_of(event.code), line, extra={"fields": fields})


def _log(code: str, text: str, warns: bool = False) -> None:
    level = logging.WARNING if warns else logging.INFO
    log.log(level, text, extra={"fields": {"code": code, "text": text}})


def _servers(args: argparse.Namespace, config: Config, board: Board) -> Collection[Any]:
    """Page and health, where they are wanted; their ports are taken before anything starts."""
    found: list[Any] = []
    names = config.bridge.page_names
    if args.page:
        host, port = _place("--page", args.page)
        try:
            from firmware_bridge.page.server import PageServer
        except ModuleNotFoundError as error:
            raise _missing("--page", error) from None
        page = PageServer(board, config.bridge.data / "journal.db", host, port, names=names)
        found.append(page)
        _log("page", f"page: {page.address}")
        if not is_loopback(host):
            words = "page: everybody on the network can read it; it asks for no password"
            _log("page", words, warns=True)
    if args.health:
        host, port = _place("--health", args.health)
        try:
            from firmware_bridge.page.health import HealthServer
        except ModuleNotFoundError as error:
            raise _missing("--health", error) from None
        health = HealthServer(board, host, port, names)
        found.append(health)
        _log("health", f"health: {health.address}health, /ready and /metrics")
    return found


def _missing(option: str, error: ModuleNotFoundError) -> BadConfig:
    return BadConfig(f"{option} needs {error.name}; pip install 'ventcalc[page]'")


def _place(option: str, where: str) -> tuple[str, int]:
    host, _, port = where.rpartition(":")
    if not host or not port.isdecimal():
        raise BadConfig(f"{option} is {where!r}; write host and port, 127.0.0.1:8470")
    return host.strip("[]"), int(port)
