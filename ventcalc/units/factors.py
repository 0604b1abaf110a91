"""
What units are worth in each other, by pint.

Loading pint takes longer than most commands take altogether, so what it has answered once is kept
in the user's cache folder, for these definitions, this code and this copy of pint only.
"""

from __future__ import annotations

import functools
import json
import sys
from contextlib import suppress
from importlib.util import find_spec
from pathlib import Path
from typing import Any
from zlib import crc32

from ventcalc.compiled.kept import user_cache
from ventcalc.units.definitions import DEFINITIONS

__all__ = ["factor", "readable"]

_MOST = 500
"""Answers kept; a store needs some thirty."""


@functools.cache
def readable(words: str) -> bool:
    """Whether pint reads it as a unit."""
    try:
        factor(words, "")
    except Exception:  # pint lets many kinds through, from the tokenizer upwards
        return False
    return True


@functools.cache
def factor(words: str, unit: str) -> float | None:
    """How many ``unit`` one of ``words`` is; None where they measure different things."""
    kept = _kept()
    if (words, unit) in kept:
        return kept[words, unit]
    registry = _registry()
    given = registry.Quantity(1.0, registry.parse_units(words))
    wanted = registry.parse_units(unit)
    worth = float(given.to(wanted).magnitude) if given.is_compatible_with(wanted) else None
    if len(kept) < _MOST:
        kept[words, unit] = worth
        with suppress(OSError, RuntimeError):  # one line at once: nothing of others is lost
            place = _place()
            place.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
            with place.open("a", encoding="utf-8") as file:
                file.write(json.dumps([words, unit, worth]) + "\n")
    return worth


@functools.cache
def _kept() -> dict[tuple[str, str], float | None]:
    """What was answered before; a torn or strange line is none."""
    found: dict[tuple[str, str], float | None] = {}
    with suppress(OSError, RuntimeError):
        for line in _place().read_text("utf-8", "replace").splitlines():
            with suppress(ValueError, TypeError):
                words, unit, worth = json.loads(line)
                found[str(words), str(unit)] = None if worth is None else float(worth)
    return found


def _place() -> Path:
    """The file, by all that an answer hangs on."""
    pint = find_spec("pint")
    copy = "" if pint is None else f"{pint.origin} {Path(str(pint.origin)).stat().st_mtime_ns}"
    key = crc32(Path(__file__).read_bytes() + (DEFINITIONS + copy).encode())
    return user_cache() / "ventcalc" / f"units-{key:08x}.jsonl"


@functools.cache
def _registry() -> Any:
    # Pint loads Dask wherever that is installed: a third of a second that no unit needs.
    modules: dict[str, Any] = sys.modules
    hidden = modules.setdefault("dask", None) is None
    try:
        import pint
    finally:
        if hidden:
            del modules["dask"]
    registry: Any = pint.UnitRegistry(None)
    registry.load_definitions([line for line in DEFINITIONS.split("\n") if line])
    return registry
