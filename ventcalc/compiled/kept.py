"""
Where machine code is kept: in the user's cache folder, under a hash of all that it hangs on.

Numba itself would not notice that a function changed in another file. A folder that cannot be
written, or that others may write to, is not used.
"""

from __future__ import annotations

import hashlib
import os
import platform
import sys
from contextlib import suppress
from functools import cache
from importlib.util import find_spec
from pathlib import Path

import numpy as np

__all__ = ["available", "folder", "mark_ready", "ready", "user_cache"]

_PACKAGE = Path(__file__).parent.parent


@cache
def available() -> bool:
    """Whether numba is installed; nothing is imported to find out."""
    return find_spec("numba") is not None


@cache
def folder() -> Path | None:
    """
    Folder of the cache, by the habit of the system; None where there is none that is safe.

    What lies there is run: it must be ours, and nobody else may write into it, nor put another
    in its place. (A user's private group, which often may write everywhere, is not feared there.)
    """
    try:
        base = user_cache() / "ventcalc"
        place = base / _key()
        if not place.is_absolute():
            return None
        for part, others in ((base.parent, 0o002), (base, 0o022), (place, 0o022)):
            part.mkdir(mode=0o700, parents=True, exist_ok=True)
            seen = part.stat()
            if sys.platform != "win32" and (seen.st_uid != os.getuid() or seen.st_mode & others):
                return None
        return place if os.access(place, os.W_OK) else None
    except (OSError, RuntimeError, ImportError):
        return None


def user_cache() -> Path:
    """Where programs keep what they can make anew, by the habit of the system."""
    if sys.platform == "win32":
        return Path(os.environ.get("LOCALAPPDATA") or Path.home() / "AppData" / "Local")
    if sys.platform == "darwin":
        return Path.home() / "Library" / "Caches"
    found = Path(os.environ.get("XDG_CACHE_HOME", ""))
    return found if found.is_absolute() else Path.home() / ".cache"


def _key() -> str:
    """What machine code hangs on: every source of the package, versions, processor."""
    from importlib.metadata import version

    digest = hashlib.sha256()
    for path in sorted(_PACKAGE.rglob("*.py")):
        digest.update(path.read_bytes())
    words = (sys.version, np.__version__, version("numba"), version("llvmlite"), platform.machine())
    digest.update("\n".join(words).encode())
    return digest.hexdigest()[:24]


def ready(name: str) -> bool:
    """
    Whether the machine code of a job, once compiled, waits in the cache (or in this process).

    Parameters
    ----------
    name : str
        Of the job, as it was noted by ``mark_ready``.

    Returns
    -------
    bool
        True where nothing would have to be compiled.
    """
    place = folder() if available() else None
    return name in _MADE or (place is not None and note_of(place, name).exists())


def mark_ready(name: str) -> None:
    """
    Note that all machine code of a job is there.

    Parameters
    ----------
    name : str
        Of the job.
    """
    _MADE.add(name)
    place = folder()
    if place is not None:
        with suppress(OSError):
            note_of(place, name).touch(mode=0o600)


def note_of(place: Path, name: str) -> Path:
    """
    The file that says so, for this copy of the package only.

    Numba looks for machine code by path and time of a source: another copy of the same sources,
    or the same installed anew, is compiled anew.
    """
    return place / f"{name}-{_copy()}.ready"


@cache
def _copy() -> str:
    times = [path.stat().st_mtime_ns for path in sorted(_PACKAGE.rglob("*.py"))]
    return hashlib.sha256(f"{_PACKAGE.resolve()} {times}".encode()).hexdigest()[:12]


_MADE: set[str] = set()
