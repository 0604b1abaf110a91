"""SQLite as journal and audit log use it: WAL, FULL, one writer, errors as one line."""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from firmware_bridge.errors import JournalError

__all__ = ["open_database", "reading", "writing"]


def open_database(path: Path, script: str, *, read_only: bool = False) -> sqlite3.Connection:
    """Open a database, make missing tables; only ``writing`` begins transactions."""
    try:
        if read_only:
            if not path.is_file():
                raise JournalError(f"{path}: no such file")
            uri = f"{path.resolve().as_uri()}?mode=ro"
            return sqlite3.connect(uri, uri=True, isolation_level=None)
        path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        _own(path)
        database = sqlite3.connect(path, isolation_level=None, timeout=2.0)
        database.execute("PRAGMA journal_mode = WAL")
        database.execute("PRAGMA journal_size_limit = 16000000")
        # Half a megabyte of pages: rows are only added, and memory levels off within minutes.
        database.execute("PRAGMA cache_size = -512")
        database.executescript(script)
    except (sqlite3.Error, OSError) as error:
        raise JournalError(f"{path}: {error}") from None
    return database


def _own(path: Path) -> None:
    """Nobody else's to read or write; the files that SQLite lays beside it become alike."""
    with suppress(FileExistsError):
        os.close(os.open(path, os.O_RDWR | os.O_CREAT | os.O_EXCL, 0o600))
    # Files of an older version; by name, since to close one would free SQLite's locks on it.
    for file in (path, *(path.with_name(f"{path.name}-{part}") for part in ("wal", "shm"))):
        if file.exists() and file.stat().st_mode & 0o077:
            file.chmod(0o600)


@contextmanager
def writing(
    database: sqlite3.Connection, what: str, *, lasting: bool = True
) -> Iterator[sqlite3.Connection]:
    """
    One transaction: all of it, or nothing and ``JournalError``.

    ``lasting``: on the disk at the end; else with the operating system, which outlives the process,
    and a power cut may take all that was written since the last one that lasted.
    """
    try:
        database.execute(f"PRAGMA synchronous = {'FULL' if lasting else 'NORMAL'}")
        database.execute("BEGIN IMMEDIATE")
        yield database
        database.execute("COMMIT")
    except sqlite3.Error as error:
        _roll_back(database)
        raise JournalError(f"{what} not written: {error}") from None
    except BaseException:
        _roll_back(database)
        raise


@contextmanager
def reading(what: str) -> Iterator[None]:
    """Turn what SQLite says into ``JournalError``."""
    try:
        yield
    except sqlite3.Error as error:
        raise JournalError(f"{what} cannot be read: {error}") from None


def _roll_back(database: sqlite3.Connection) -> None:
    try:
        if database.in_transaction:
            database.execute("ROLLBACK")
    except sqlite3.Error:
        pass  # the transaction is gone already; what matters is told by the first error
