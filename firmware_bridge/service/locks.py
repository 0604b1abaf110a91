"""One bridge a bay: locks that end with the process that holds them."""

from __future__ import annotations

import fcntl
import os
import re
import uuid
from contextlib import ExitStack
from pathlib import Path

from firmware_bridge.config import Config
from firmware_bridge.errors import LinkError

__all__ = ["Locks", "client_id", "free_mb", "is_served"]


class Locks:
    """Locks of the data folder, and of every bay where bridges of one machine share a folder."""

    def __init__(self, config: Config) -> None:
        """Take all locks; ``LinkError`` if another process on this machine holds one."""
        self._files = ExitStack()
        own = config.bridge
        names = [(own.data / "lock", f"the data folder {own.data}")]
        # A folder that everybody may write to would let anybody keep the bridge from starting:
        # bays have locks only where somebody has named a folder for them.
        if own.locks is not None:
            place = f"{config.broker.host}-{config.broker.port}-{own.root}"
            for bay in config.bays:
                name = re.sub(r"[^A-Za-z0-9.-]", "_", f"{place}-{bay.name}")
                names.append((own.locks / f"{name}.lock", f"bay {bay.name}"))
        try:
            for path, what in names:
                self._take(path, what)
        except BaseException:
            self.release()
            raise

    def _take(self, path: Path, what: str) -> None:
        try:
            path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
            # No link is followed: who laid one there would have us write elsewhere.
            number = os.open(path, os.O_RDWR | os.O_CREAT | os.O_NOFOLLOW, 0o600)
        except OSError as error:
            raise LinkError(f"{path}: no lock can be taken ({error.strerror})") from None
        self._files.callback(os.close, number)
        try:
            fcntl.flock(number, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            raise LinkError(
                f"another bridge on this machine serves {what}; stop it, or give each its own bays"
            ) from None

    def release(self) -> None:
        """Let all locks go."""
        self._files.close()


def is_served(data: Path) -> bool:
    """Whether a bridge holds the lock of a data folder now."""
    try:
        with (data / "lock").open("rb") as file:
            fcntl.flock(file, fcntl.LOCK_SH | fcntl.LOCK_NB)
    except BlockingIOError:
        return True
    except PermissionError:
        raise LinkError(f"{data}: may not be read; run it as the bridge's own user") from None
    except OSError:
        return False
    return False


def client_id(config: Config) -> str:
    """
    A name for the broker that no other bridge has: drawn once, kept in the data folder.

    At most 23 characters, as old brokers want it.
    """
    path = config.bridge.data / "instance"
    kept = path.read_text(encoding="ascii").strip() if path.is_file() else ""
    if not re.fullmatch(r"[0-9a-f]{7}", kept):
        kept = uuid.uuid4().hex[:7]
        path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        path.write_text(kept + "\n", encoding="ascii")
    return f"fb-{config.bridge.name}-{kept}"


def free_mb(path: Path) -> float:
    """Free disk for this user under a folder. [MB]"""
    found = os.statvfs(path)
    return found.f_bavail * found.f_frsize / 1e6
