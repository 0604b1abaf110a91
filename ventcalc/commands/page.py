"""``ventcalc page``: plan a bay in a browser, without writing a file."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import Any

from ventcalc.commands.files import read_text
from ventcalc.commands.words import about, as_json, whole_number
from ventcalc.errors import VentcalcError

__all__ = ["EXAMPLE", "SAYS", "options", "run"]

SAYS = "Plan a bay in a browser on this machine: check, sizes, season, alternatives."
EXAMPLE = "ventcalc page seed_bay --units us --open"


def options(parser: argparse.ArgumentParser) -> None:
    """What it takes."""
    parser.add_argument(
        "bay",
        metavar="BAY",
        nargs="?",
        default="seed_bay",
        help="bay file to begin with, or seed_bay or fry_bay (invented)",
    )
    parser.add_argument(
        "--port",
        metavar="N",
        type=whole_number(0, 65535),
        default=0,
        help="port of this machine (any free one)",
    )
    parser.add_argument("--open", action="store_true", help="open it in the browser")


def run(args: argparse.Namespace) -> str:
    """Serve until Ctrl-C."""
    server_class, form = _server(), _form(args)
    with server_class(form, args.units, args.port) as server:
        words = as_json({"address": server.address}) if args.json else _words(server.address)
        sys.stdout.write(f"{words}\n")
        sys.stdout.flush()
        if args.open:
            import webbrowser

            webbrowser.open(server.address)
        try:
            server.wait()
        except KeyboardInterrupt:
            return "" if args.json else "The page has ended."
    return ""


def _words(address: str) -> str:
    return (
        f"Open {address} in a browser of this machine; Ctrl-C ends it.\n"
        "It keeps nothing: save the bay as a file before you leave it."
    )


def _server() -> Any:
    try:
        from ventcalc.page.server import PageServer
    except ImportError as error:
        if (error.name or "").partition(".")[0] not in ("starlette", "uvicorn"):
            raise
        raise VentcalcError(
            f'{error.name} serves the page and is not installed: pip install "ventcalc[page]"'
        ) from None
    return PageServer


def _form(args: argparse.Namespace) -> Any:
    from ventcalc.page.answers import example_form
    from ventcalc.page.form import form_of_toml

    if args.bay in ("seed_bay", "fry_bay") and not Path(args.bay).exists():
        return example_form(args.bay, args.units)
    text = read_text(args.bay, "a bay")
    with about(f"{Path(args.bay).name}:"):
        form = form_of_toml(text)
    return form
