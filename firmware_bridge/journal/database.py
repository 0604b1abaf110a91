"""SQLite as journal and audit log use it: WAL, FULL, one writer, errors as one line."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from firmware_bridge.errors import JournalError

__all__ = ["open_database", "reading", "writing"]


def open_database(path: Path, script: str, *, read_only: bool = False) -> sqlite3.Connection:
    """
    Open a database, and make its tables where they are missing.

    Parameters
    ----------
    path : Path
        The file; its folder is made.
    script : str
        Statements that make the tables.
    read_only : bool
        Nothing can be written.

    Returns
    -------
    sqlite3.Connection
        Transactions are begun by ``writing`` alone.

    Raises
    ------
    JournalError
        If it cannot be opened.
    """
    try:
        if read_only:
            if not path.is_file():
                raise JournalError(f"{path}: no such file")
            uri = f"{path.resolve().as_uri()}?mode=ro"
            return sqlite3.connect(uri, uri=True, isolation_level=None)
        path.parent.mkdir(parents=True, exist_ok=True)
        database = sqlite3.connect(path, isolation_level=None, timeout=2.0)
        # FULL: a power cut loses no committed row; NORMAL would lose all since the checkpoint.
        database.execute("PRAGMA journal_mode = WAL")
        database.execute("PRAGMA synchronous = FULL")
        database.execute("PRAGMA journal_size_limit = 16000000")
        # Half a megabyte of pages: rows are only added, and memory levels off within minutes.
        database.execute("PRAGMA cache_size = -512")
        database.executescript(script)
    except (sqlite3.Error, OSError) as error:
        raise JournalError(f"{path}: {error}") from None
    return database


@contextmanager
def writing(database: sqlite3.Connection, what: str) -> Iterator[sqlite3.Connection]:
    """One transaction: all of it, or nothing and ``JournalError``."""
    try:
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
