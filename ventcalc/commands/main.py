"""
The command line, ``ventcalc COMMAND``: each command is a module beside this one, with what it
``SAYS`` of itself, an ``EXAMPLE``, its ``options``, and ``run``, which gives the text to print.

Leaves with 0 when done, 2 after bad input (one line a problem), 130 after Ctrl-C, 141 when the
reader of a pipe has gone.
"""

from __future__ import annotations

import errno
import io
import os
import re
import sys
from argparse import Namespace
from collections.abc import Sequence
from importlib import import_module
from typing import NoReturn

from ventcalc import __version__
from ventcalc.commands.words import Parser, add_command
from ventcalc.errors import VentcalcError

__all__ = ["leave", "main"]

_DESCRIPTION = """\
Advice on the ventilation and climate of bulk potato storages, from the physics of moist air.

Advice only: the controller's own interlocks stay in charge. Lock out the fans and test the air
before anyone goes into a bay; never alone."""
_EPILOG = """\
example:
  ventcalc advise seed_bay --readings examples/readings_cold_night.json
`ventcalc COMMAND --help` shows an example of each command."""


INTERRUPTED = 130
"""Exit status after Ctrl-C."""
_COMMANDS = (
    "check", "size", "advise", "season", "log", "loads", "lots", "diagnose", "fit", "outage",
    "outlook", "plan", "stages", "unload", "board", "record", "trial", "air", "new", "page",
    "demo",
)  # fmt: skip


def _parser(words: Sequence[str]) -> Parser:
    """With all commands, or the one that is asked for: importing the others takes its time."""
    import argparse

    parser = Parser(
        prog="ventcalc",
        description=_DESCRIPTION,
        epilog=_EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    parser.add_argument("--version", action="version", version=f"ventcalc {__version__}")
    commands = parser.add_subparsers(dest="command", metavar="COMMAND", required=True)
    for name in [word for word in words[:1] if word in _COMMANDS] or _COMMANDS:
        add_command(commands, name, import_module(f"ventcalc.commands.{name}"))
    return parser


def main(argv: Sequence[str] | None = None) -> int:
    """Run the command line."""
    words = list(sys.argv[1:] if argv is None else argv)
    try:
        args = _parsed(words)
        _say(args.run(args))
    except SystemExit as leaving:  # --help and --version
        return leaving.code if isinstance(leaving.code, int) else 0
    except VentcalcError as error:
        for line in str(error).splitlines():
            print(f"ventcalc: {line}", file=sys.stderr)
        return 2
    except KeyboardInterrupt:
        return INTERRUPTED
    except BrokenPipeError:
        _drop_output()
        return 141
    except OSError as error:
        if error.errno != errno.ENOSPC:
            raise
        _drop_output()
        print("ventcalc: the disk is full; make room and run it again", file=sys.stderr)
        return 2
    return 0


def leave() -> NoReturn:
    """Run the command line and end; after Ctrl-C at once, whatever machine code still runs."""
    status = main()
    if status == INTERRUPTED:
        os._exit(status)
    sys.exit(status)


def _drop_output() -> None:
    """Python flushes standard output once more at its end, and would complain again."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _parsed(words: list[str]) -> Namespace:
    """Words of a list may stand before and after options, which argparse does not do by itself."""
    parser = _parser(words)
    args, more = parser.parse_known_args(_with_signs(words))
    if more and (not hasattr(args, "words") or any(word.startswith("-") for word in more)):
        parser.error(f"unrecognized arguments: {' '.join(more)}")
    if more:
        args.words += more
    return args


def _with_signs(words: list[str]) -> list[str]:
    """``--temp -5degC`` -> ``--temp=-5degC``, which argparse would take for an option."""
    result: list[str] = []
    for word in words:
        if re.match(r"-\.?\d", word) and result and re.fullmatch(r"--[a-z-]+", result[-1]):
            result[-1] += f"={word}"
        else:
            result.append(word)
    return result


def _say(text: str) -> None:
    if isinstance(sys.stdout, io.TextIOWrapper):
        sys.stdout.reconfigure(errors="replace")  # a terminal without the degree sign
    print(text)
    sys.stdout.flush()
