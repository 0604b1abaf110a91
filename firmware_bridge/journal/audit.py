"""
The audit log: what was seen, advised, sent and answered, in a file of its own that only grows.

Each entry carries the SHA-256 of itself and of the entry before, so that a change anywhere shows
in all that follows. The boot numbers of the bridge live here too: they are committed before the
first message goes out, and never come twice.
"""

from __future__ import annotations

import hashlib
import sqlite3
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from firmware_bridge.errors import JournalError
from firmware_bridge.journal.database import open_database, reading, writing

__all__ = ["AuditLog", "Entry", "entries", "verify"]

_TABLES = """
CREATE TABLE IF NOT EXISTS entry (
  n INTEGER PRIMARY KEY, t REAL NOT NULL, bay TEXT NOT NULL, kind TEXT NOT NULL,
  body BLOB NOT NULL, hash BLOB NOT NULL);
CREATE TABLE IF NOT EXISTS session (boot INTEGER PRIMARY KEY, t REAL NOT NULL);
CREATE TRIGGER IF NOT EXISTS entry_stays BEFORE UPDATE ON entry
  BEGIN SELECT RAISE(ABORT, 'the audit log only grows'); END;
CREATE TRIGGER IF NOT EXISTS entry_kept BEFORE DELETE ON entry
  BEGIN SELECT RAISE(ABORT, 'the audit log only grows'); END;
CREATE TRIGGER IF NOT EXISTS session_stays BEFORE UPDATE ON session
  BEGIN SELECT RAISE(ABORT, 'the audit log only grows'); END;
CREATE TRIGGER IF NOT EXISTS session_kept BEFORE DELETE ON session
  BEGIN SELECT RAISE(ABORT, 'the audit log only grows'); END;
"""
_START = hashlib.sha256(b"firmware_bridge audit 1").digest()


@dataclass(frozen=True, kw_only=True, slots=True)
class Entry:
    """One thing that happened."""

    t: float
    """Wall clock, UTC. [s]"""
    bay: str
    kind: str
    body: bytes


def _hash(before: bytes, n: int, entry: Entry) -> bytes:
    head = f"{n}|{entry.t!r}|{entry.bay}|{entry.kind}|".encode()
    return hashlib.sha256(before + head + entry.body).digest()


class AuditLog:
    """The open log; one process writes it."""

    def __init__(self, path: Path) -> None:
        self._database = open_database(path, _TABLES)
        with reading(str(path)):
            row = self._database.execute(
                "SELECT n, hash FROM entry ORDER BY n DESC LIMIT 1"
            ).fetchone()
        self.length: int = row[0] if row else 0
        self.head: bytes = bytes(row[1]) if row else _START

    def next_boot(self, wall: float) -> int:
        """
        A boot number that was never used, committed before it is returned.

        Parameters
        ----------
        wall : float
            Wall clock, UTC; a log restored from an old copy is overtaken by it. [s]

        Returns
        -------
        int

        Raises
        ------
        JournalError
            If it cannot be written.
        """
        with writing(self._database, "boot number") as database:
            last = database.execute("SELECT max(boot) FROM session").fetchone()[0] or 0
            boot = int(max(last + 1, min(max(wall, 0.0) // 60, 90e6)))
            database.execute("INSERT INTO session VALUES (?, ?)", (boot, wall))
        return boot

    def write(self, found: Sequence[Entry]) -> None:
        """
        Append entries, all of them or none.

        Parameters
        ----------
        found : sequence of Entry
            In their order.

        Raises
        ------
        JournalError
            If they cannot be written; nothing may be advised then.
        """
        if not found:
            return
        n, head, rows = self.length, self.head, []
        for entry in found:
            n, head = n + 1, _hash(head, n + 1, entry)
            rows.append((n, entry.t, entry.bay, entry.kind, entry.body, head))
        with writing(self._database, "audit log") as database:
            database.executemany("INSERT INTO entry VALUES (?, ?, ?, ?, ?, ?)", rows)
        self.length, self.head = n, head

    def close(self) -> None:
        """Close the file."""
        self._database.close()


def entries(path: Path) -> Iterator[tuple[int, Entry, bytes]]:
    """
    Read a log.

    Parameters
    ----------
    path : Path
        The file.

    Yields
    ------
    tuple
        Number, entry, hash as stored.

    Raises
    ------
    JournalError
        If it cannot be read.
    """
    database = open_database(path, "", read_only=True)
    try:
        for n, t, bay, kind, body, stored in database.execute(
            "SELECT n, t, bay, kind, body, hash FROM entry ORDER BY n"
        ):
            yield n, Entry(t=t, bay=bay, kind=kind, body=bytes(body)), bytes(stored)
    except sqlite3.Error as error:
        raise JournalError(f"{path}: {error}") from None
    finally:
        database.close()


def verify(path: Path, seal: tuple[int, bytes] | None = None) -> tuple[int, str]:
    """
    Check the chain of a log.

    Parameters
    ----------
    path : Path
        The file.
    seal : tuple, optional
        Number and hash of an entry as noted elsewhere (in the journal); it shows entries that
        were cut off at the end.

    Returns
    -------
    length : int
        Sound entries from the first on.
    problem : str
        What is wrong with the next one; empty where all is sound.
    """
    head, length = _START, 0
    sealed = seal is None or seal[0] == 0
    for n, entry, stored in entries(path):
        if n != length + 1:
            return length, f"entry {length + 1} is missing"
        if _hash(head, n, entry) != stored:
            return length, f"entry {n} does not fit the one before; it was changed"
        head, length = stored, n
        if seal is not None and n == seal[0]:
            if stored != seal[1]:
                return n - 1, f"entry {n} is not the one that the journal saw"
            sealed = True
    if not sealed and seal is not None:
        return length, f"entries from {length + 1} to {seal[0]} were cut off"
    return length, ""
