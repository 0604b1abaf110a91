"""
The audit log: what was seen, advised, sent and answered, in a file of its own that only grows.

Each entry carries the SHA-256 of itself and of the entry before, so that a change anywhere shows
in all that follows. Older entries are packed by the hundred; their hashes follow from what they
say, and the last one is kept. What is pruned leaves its last hash, and an entry that names it. The
boot numbers of the bridge live here too: they are committed before the first message goes out,
and never come twice.
"""

from __future__ import annotations

import hashlib
import sqlite3
import zlib
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import msgspec
from msgspec import Struct

from firmware_bridge.errors import JournalError
from firmware_bridge.journal.database import open_database, reading, writing

__all__ = ["AuditLog", "Entry", "entries", "pruned", "verify"]

_TABLES = """
CREATE TABLE IF NOT EXISTS entry (
  n INTEGER PRIMARY KEY, t REAL NOT NULL, bay TEXT NOT NULL, kind TEXT NOT NULL,
  body BLOB NOT NULL, hash BLOB NOT NULL);
CREATE TABLE IF NOT EXISTS pack (
  last INTEGER PRIMARY KEY, newest REAL NOT NULL, hash BLOB NOT NULL, data BLOB NOT NULL);
CREATE TABLE IF NOT EXISTS pruned (last INTEGER PRIMARY KEY, hash BLOB NOT NULL);
CREATE TABLE IF NOT EXISTS session (boot INTEGER PRIMARY KEY, t REAL NOT NULL);
DROP TRIGGER IF EXISTS entry_kept;
CREATE TRIGGER IF NOT EXISTS entry_packed BEFORE DELETE ON entry
  WHEN OLD.n > (SELECT ifnull(max(last), 0) FROM pack)
  BEGIN SELECT RAISE(ABORT, 'the audit log only grows'); END;
CREATE TRIGGER IF NOT EXISTS pack_pruned BEFORE DELETE ON pack
  WHEN OLD.last > (SELECT ifnull(max(last), 0) FROM pruned)
  BEGIN SELECT RAISE(ABORT, 'the audit log only grows'); END;
"""
_TABLES += "".join(
    f"CREATE TRIGGER IF NOT EXISTS {table}_stays_{what} BEFORE {what} ON {table} "
    "BEGIN SELECT RAISE(ABORT, 'the audit log only grows'); END;"
    for table, what in (
        ("entry", "update"),
        ("pack", "update"),
        ("pruned", "update"),
        ("pruned", "delete"),
        ("session", "update"),
        ("session", "delete"),
    )
)
_START = hashlib.sha256(b"firmware_bridge audit 1").digest()
LOOSE = 1000
"""Newest entries that stand one by one."""
PACK = 500
"""Entries packed at once: a few milliseconds of work."""


class Entry(Struct, frozen=True, kw_only=True):
    """One thing that happened."""

    t: float
    """Wall clock, UTC. [s]"""
    bay: str
    kind: str
    body: bytes


def _hash(before: bytes, n: int, t: float, entry: Entry) -> bytes:
    head = f"{n}|{t!r}|{entry.bay}|{entry.kind}|".encode()
    return hashlib.sha256(before + head + entry.body).digest()


class AuditLog:
    """The open log; one process writes it."""

    def __init__(self, path: Path) -> None:
        self._database = open_database(path, _TABLES)
        with reading(str(path)):
            ends = [
                self._database.execute(
                    f"SELECT {n}, hash FROM {table} ORDER BY {n} DESC LIMIT 1"
                ).fetchone()
                or (0, _START)
                for table, n in (("pruned", "last"), ("pack", "last"), ("entry", "n"))
            ]
        self._packed: int = max(ends[0][0], ends[1][0])
        self.length, self.head = max((n, bytes(head)) for n, head in ends)
        self.seal = self.length, self.head
        """Number and hash of the last that no power cut takes."""

    def next_boot(self, wall: float) -> int:
        """
        A boot number that was never used, committed before it is returned.

        Not below the wall clock: that overtakes a log restored from an old copy.
        """
        with writing(self._database, "boot number") as database:
            last = database.execute("SELECT max(boot) FROM session").fetchone()[0] or 0
            boot = int(max(last + 1, min(max(wall, 0.0) // 60, 90e6)))
            database.execute("INSERT INTO session VALUES (?, ?)", (boot, wall))
        return boot

    def write(self, found: Sequence[Entry], *, lasting: bool = True) -> None:
        """
        Append entries, all of them or none; ``JournalError``: nothing may be advised then.

        ``lasting``: on the disk, and with them all before; a power cut may take the others.
        """
        if not found:
            return
        with writing(self._database, "audit log", lasting=lasting) as database:
            n, head = self._append(database, found)
        self.length, self.head = n, head
        self.seal = (n, head) if lasting else self.seal

    def _append(self, database: sqlite3.Connection, found: Sequence[Entry]) -> tuple[int, bytes]:
        n, head, rows = self.length, self.head, []
        for one in found:
            t = round(one.t, 3)  # packs well, and nobody needs more
            n, head = n + 1, _hash(head, n + 1, t, one)
            rows.append((n, t, one.bay, one.kind, one.body, head))
        database.executemany("INSERT INTO entry VALUES (?, ?, ?, ?, ?, ?)", rows)
        return n, head

    def pack(self) -> bool:
        """Pack the oldest entries where many stand one by one; False where there was nothing to."""
        first, last = self._packed + 1, self._packed + PACK
        if self.length - last < LOOSE:
            return False
        span = (first, last)
        with writing(self._database, "audit log") as database:
            rows = database.execute(
                "SELECT t, bay, kind, body, hash FROM entry WHERE n BETWEEN ? AND ? ORDER BY n",
                span,
            ).fetchall()
            if len(rows) == PACK:  # else it was damaged; verify says so
                packed = (last, max(row[0] for row in rows), rows[-1][4], _packed(rows))
                database.execute("INSERT INTO pack VALUES (?, ?, ?, ?)", packed)
                database.execute("DELETE FROM entry WHERE n BETWEEN ? AND ?", span)
        self._packed = last if len(rows) == PACK else self._packed
        return len(rows) == PACK

    def prune(self, before: float, now: float) -> int:
        """Forget old packed entries, and say so in an entry; number of the last that went."""
        with writing(self._database, "audit log") as database:
            newer = "SELECT min(last) FROM pack WHERE newest >= ?"
            found = database.execute(
                f"SELECT last, hash FROM pack WHERE last < ifnull(({newer}), 1e18) "
                "ORDER BY last DESC LIMIT 1",
                (before,),
            ).fetchone()
            if found is None:
                return 0
            body = msgspec.json.encode([found[0], bytes(found[1]).hex()])
            n, head = self._append(database, [Entry(t=now, bay="", kind="pruned", body=body)])
            database.execute("INSERT INTO pruned VALUES (?, ?)", found)
            database.execute("DELETE FROM pack WHERE last <= ?", (found[0],))
        self.length, self.head = n, head
        return int(found[0])

    def close(self) -> None:
        """Close the file."""
        self._database.close()


def _packed(rows: Sequence[Any]) -> bytes:
    """Column by column: times as steps in ms, texts beside each other."""
    times, bays, kinds, bodies, _ = zip(*rows, strict=True)
    whole = [round(1000.0 * t) for t in times]
    steps = [now - before for now, before in zip(whole, (0, *whole[:-1]), strict=True)]
    exact = all(ms / 1000.0 == t for ms, t in zip(whole, times, strict=True))
    found = [steps if exact else [], [] if exact else times, bays, kinds]
    texts = [bytes(body).decode("latin-1") for body in bodies]
    return zlib.compress(msgspec.json.encode([*found, texts]), 6)


def _unpacked(last: int, data: bytes) -> Iterator[tuple[int, Entry]]:
    steps, times, bays, kinds, texts = msgspec.json.decode(zlib.decompress(data))
    total = 0
    for step in steps:
        total += step
        times.append(total / 1000.0)
    first = last - len(times) + 1
    for n, (t, bay, kind, text) in enumerate(zip(times, bays, kinds, texts, strict=True), first):
        yield n, Entry(t=float(t), bay=bay, kind=kind, body=text.encode("latin-1"))


def pruned(path: Path) -> tuple[int, bytes]:
    """Number and hash of the last entry that was pruned; 0 and the first hash for none."""
    database = open_database(path, "", read_only=True)
    try:
        with reading(str(path)):
            row = database.execute("SELECT last, hash FROM pruned ORDER BY last DESC").fetchone()
    finally:
        database.close()
    return (row[0], bytes(row[1])) if row else (0, _START)


def entries(path: Path) -> Iterator[tuple[int, Entry, bytes]]:
    """Number, entry and hash; the hash is empty inside a pack, whose last one is stored."""
    database = open_database(path, "", read_only=True)
    try:
        database.execute("BEGIN")  # one state of the file, whatever is packed meanwhile
        for last, stored, data in database.execute(
            "SELECT last, hash, data FROM pack ORDER BY last"
        ):
            for n, entry in _unpacked(last, data):
                yield n, entry, bytes(stored) if n == last else b""
        for n, t, bay, kind, body, stored in database.execute(
            "SELECT n, t, bay, kind, body, hash FROM entry ORDER BY n"
        ):
            yield n, Entry(t=t, bay=bay, kind=kind, body=bytes(body)), bytes(stored)
    except (sqlite3.Error, zlib.error, msgspec.DecodeError, ValueError, TypeError) as error:
        raise JournalError(f"{path}: {error}") from None
    finally:
        database.close()


def verify(path: Path, seal: tuple[int, bytes] | None = None) -> tuple[int, str]:
    """
    Number of the last sound entry, and what is wrong with the next; empty for nothing.

    ``seal``: number and hash as noted elsewhere show entries that were cut off at the end.
    """
    length, head = begin = pruned(path)
    told = msgspec.json.encode([begin[0], begin[1].hex()])
    attested = begin[0] == 0
    sealed = seal is None or seal[0] == 0 or seal[0] < begin[0]
    try:
        for n, entry, stored in entries(path):
            if n != length + 1:
                return length, f"entry {length + 1} is missing"
            found = _hash(head, n, entry.t, entry)
            if stored not in (b"", found):
                return length, f"entry {n} does not fit those before; one was changed"
            if seal is not None and n == seal[0]:
                if found != seal[1]:
                    return n - 1, f"entry {n} is not the one that the journal saw"
                sealed = True
            head, length = found, n
            attested = attested or (entry.kind == "pruned" and entry.body == told)
    except JournalError as error:
        return length, f"after entry {length}: {error}"
    if not attested:
        return begin[0], f"no entry tells that those up to {begin[0]} were pruned"
    if not sealed and seal is not None:
        return length, f"entries from {length + 1} to {seal[0]} were cut off"
    return length, ""
