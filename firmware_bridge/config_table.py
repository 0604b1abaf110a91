"""Read one TOML table into a frozen dataclass; say everything that is wrong with it."""

from __future__ import annotations

import dataclasses
import difflib
import ipaddress
import math
import re
import stat
from collections.abc import Callable
from dataclasses import MISSING, fields
from pathlib import Path
from typing import Any, TypeVar

__all__ = ["entry", "is_loopback", "read_table", "text_of"]

Table = TypeVar("Table")
Check = Callable[[Any, str, Path, list[str]], Any]


def entry(meaning: str, default: Any = MISSING, **rule: Any) -> Any:
    """
    A field that is one key of a table; it must be given where it has no default.

    The rule: ``low`` and ``high``, ``choices``, ``pattern``, or ``kind``.
    """
    metadata = {"meaning": meaning, **rule}
    if default is MISSING:
        return dataclasses.field(metadata=metadata)
    return dataclasses.field(default=default, metadata=metadata)


def read_table(
    cls: type[Table], given: Any, where: str, folder: Path, problems: list[str]
) -> Table | None:
    """Read one table into a class made of ``entry``; None if anything was wrong."""
    if not isinstance(given, dict):
        problems.append(f"{where}: must be a table")
        return None
    before = len(problems)
    known = {f.name: f for f in fields(cls) if "internal" not in f.metadata}  # type: ignore[arg-type]
    for name in given:
        if name not in known:
            close = difflib.get_close_matches(name, known, n=1, cutoff=0.5)
            hint = f"did you mean {close[0]}?" if close else f"known are {', '.join(known)}"
            problems.append(f"{where}.{name}: unknown key; {hint}")
    values: dict[str, Any] = {}
    for name, f in known.items():
        place = f"{where}.{name}"
        if name in given:
            if "table" in f.metadata:
                nested = f.metadata["table"]
                values[name] = read_table(nested, given[name], place, folder, problems)
            else:
                values[name] = _value(f, given[name], place, folder, problems)
        elif f.default is MISSING and f.default_factory is MISSING:
            problems.append(f"{place} is missing: {f.metadata['meaning']}")
    return None if len(problems) > before else cls(**values)


def _value(f: Any, given: Any, place: str, folder: Path, problems: list[str]) -> Any:
    rule = f.metadata
    if "kind" in rule:
        return _KINDS[rule["kind"]](given, place, folder, problems)
    if "low" in rule:
        return _number(given, place, rule["low"], rule["high"], f.type == "int", problems)
    if not isinstance(given, str) or not given:
        problems.append(f"{place} is {given!r}; write a text in quotes")
    elif "choices" in rule and given not in rule["choices"]:
        problems.append(f'{place} is "{given}"; write one of {", ".join(rule["choices"])}')
    elif "pattern" in rule and not rule["pattern"].fullmatch(given):
        problems.append(
            f'{place} is "{given}"; small letters and digits (a name also takes "-"), short: '
            f"{rule['pattern'].pattern}"
        )
    return given


def _number(
    given: Any, place: str, low: float, high: float, whole: bool, problems: list[str]
) -> Any:
    right = int if whole else int | float
    if isinstance(given, bool) or not isinstance(given, right) or not math.isfinite(given):
        kind = "a whole number" if whole else "a number"
        problems.append(f"{place} is {given!r}; write {kind}, {low:g} to {high:g}")
        return given
    if not low <= given <= high:
        problems.append(f"{place} is {given:g}; it must lie in {low:g} to {high:g}")
    return given if whole else float(given)


def _bool(given: Any, place: str, folder: Path, problems: list[str]) -> Any:
    if not isinstance(given, bool):
        problems.append(f"{place} is {given!r}; write true or false")
    return given


def _path(given: Any, place: str, folder: Path, problems: list[str]) -> Any:
    if not isinstance(given, str) or not given or "\0" in given:
        problems.append(f"{place} is {given!r}; write a path in quotes")
        return None
    return folder / Path(given).expanduser()


def _file(given: Any, place: str, folder: Path, problems: list[str]) -> Any:
    path = _path(given, place, folder, problems)
    if path is not None and not path.is_file():
        problems.append(f"{place}: {path} is not a file")
    return path


def _secret(given: Any, place: str, folder: Path, problems: list[str]) -> Any:
    before = len(problems)
    path = _file(given, place, folder, problems)
    if len(problems) == before and stat.S_IMODE(path.stat().st_mode) & 0o077:
        problems.append(f"{place}: others may read {path}; run chmod 600 on it")
    return path


def _topic(given: Any, place: str, folder: Path, problems: list[str]) -> Any:
    good = isinstance(given, str) and 0 < len(given.encode()) <= 200
    if not good or re.search(r"[+#\0$]", given):
        problems.append(f"{place} is {given!r}; write one topic, without + # $")
    return given


def _key(given: Any, place: str, folder: Path, problems: list[str]) -> Any:
    if not isinstance(given, str) or not re.fullmatch(r"[a-z][a-z0-9_]{0,23}", given):
        problems.append(f"{place} is {given!r}; small letters, digits and _, at most 24")
    return given


def _names(given: Any, place: str, folder: Path, problems: list[str]) -> Any:
    if not isinstance(given, list) or not all(isinstance(name, str) for name in given):
        problems.append(f'{place} is {given!r}; write a list of names, ["pulp_3"]')
        return ()
    return tuple(given)


def _hour(given: Any, place: str, folder: Path, problems: list[str]) -> Any:
    if not isinstance(given, str) or not re.fullmatch(r"([01]\d|2[0-3]):[0-5]\d", given):
        problems.append(f'{place} is {given!r}; write local time as "21:30"')
    return given


def is_loopback(host: str) -> bool:
    """Whether a host (name or address) is this machine."""
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


def text_of(path: Path | None, place: str, problems: list[str]) -> str:
    """What a file of one secret holds, without its last line end; empty for no file."""
    if path is None:
        return ""
    try:
        return path.read_text(encoding="utf-8").rstrip("\r\n")
    except (OSError, ValueError) as error:
        problems.append(f"{place}: cannot be read ({error})")
        return ""


_KINDS: dict[str, Check] = {
    "bool": _bool,
    "path": _path,
    "file": _file,
    "secret": _secret,
    "topic": _topic,
    "key": _key,
    "names": _names,
    "hour": _hour,
}
