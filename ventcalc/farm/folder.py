"""
What lies in a folder of bays: each bay file with its season, its newest readings and its log.

Beside ``north.toml`` stand ``north.season``, ``north.readings.json`` (one time),
``north.readings.csv`` (a log); each of them may be missing.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

from ventcalc.advice.json_values import json_object
from ventcalc.bay.description import Bay
from ventcalc.bay.file import read_bay
from ventcalc.diagnose.log import Log, read_log
from ventcalc.errors import BadInput
from ventcalc.farm.followed import GivenAdvice, read_advice
from ventcalc.logbook.folder import Logbook, read_logbook, season_folder

__all__ = ["SHARED", "FarmBay", "bay_files", "farm_bay"]

Found = TypeVar("Found")
SHARED = "farm.toml"
"""What the bays of a folder share; no bay."""


@dataclass(frozen=True, kw_only=True, eq=False)
class FarmBay:
    """A bay with everything that lies beside its file."""

    name: str
    """Of its file, without the ending."""
    bay: Bay
    book: Logbook | None
    """The season; None where a file of it cannot be read at all."""
    given: Mapping[str, Any] | None
    """Readings of one time, as in their file."""
    log: Log | None
    problems: tuple[str, ...]
    """What could not be read or was left out, one line each."""
    advice: GivenAdvice | None = None
    """What was advised, as it was given."""


def bay_files(named: Iterable[str]) -> list[Path]:
    """
    Bay files that are meant by names of files and folders, each once, those of a folder by name.
    """
    found: list[Path] = []
    wrong = []
    for name in named:
        path = Path(name)
        inside = [path]
        if path.is_dir():
            inside = [file for file in sorted(path.glob("*.toml")) if _describes_bay(file)]
            if not inside:
                wrong.append(f"{name}: no bay file in it; `ventcalc new {name}/north.toml` begins")
        found += [file for file in inside if file not in found]
    if wrong:
        raise BadInput(wrong)
    return found


def _describes_bay(path: Path) -> bool:
    """Whether a file is meant as a bay; one that is no TOML is, so that somebody mends it."""
    try:
        return path.name != SHARED and "pile" in tomllib.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError, RecursionError):
        return True


def farm_bay(path: Path) -> FarmBay:
    """
    Read a bay and all that lies beside its file; what is wrong there is told in ``problems``, for
    one bay must not hide the others.
    """
    bay = read_bay(path)
    problems: list[str] = []

    def tried(read: Callable[[], Found]) -> Found | None:
        try:
            return read()
        except FileNotFoundError:
            return None
        except BadInput as error:
            problems.extend(error.problems)
        return None

    book = tried(lambda: read_logbook(season_folder(path), bay))
    given = tried(lambda: _json(path.with_name(f"{path.stem}.readings.json")))
    log = tried(lambda: _log(path.with_name(f"{path.stem}.readings.csv")))
    advice = tried(lambda: _advice(path.with_name(f"{path.stem}.advice.csv")))
    problems += advice.remarks if advice is not None else ()
    if book is not None:
        problems += [problem.text for problem in book.problems]
    if log is not None:
        problems += [f"{path.stem}.readings.csv: {remark}" for remark in log.remarks]
    return FarmBay(
        name=path.stem,
        bay=bay,
        book=book,
        given=given,
        log=log,
        advice=advice,
        problems=tuple(problems),
    )


def _json(path: Path) -> Mapping[str, Any]:
    text = _text(path)
    try:
        return json_object(text)
    except BadInput as error:
        raise BadInput(f"{path.name}: {problem}" for problem in error.problems) from None


def _log(path: Path) -> Log:
    return read_log(_text(path), path.name)


def _advice(path: Path) -> GivenAdvice:
    return read_advice(_text(path), path.name)


def _text(path: Path) -> str:
    try:
        return path.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError:
        raise BadInput(f"{path.name}: is not a text in UTF-8; save it as UTF-8") from None
    except FileNotFoundError:
        raise
    except OSError as error:
        raise BadInput(f"{path.name}: cannot be read ({error.strerror})") from None
