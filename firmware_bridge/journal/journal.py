"""
The journal: stored readings, hours of them, events, and the adviser's memory.

Rows of the running hour stand one by one, so that a power cut loses none. A finished hour is
packed into one block with its roll-up beside it, and the rows go: a season of 200 channels a
minute takes less than 250 MB a bay.
"""

from __future__ import annotations

import json
import math
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from firmware_bridge.journal import packing
from firmware_bridge.journal.database import open_database, reading, writing
from firmware_bridge.journal.packing import FAULTS, Row
from firmware_bridge.sensors.sample import Sample

__all__ = ["Event", "Journal", "Layout", "Roll"]

_TABLES = """
CREATE TABLE IF NOT EXISTS layout (id INTEGER PRIMARY KEY, bay TEXT, spec TEXT, UNIQUE(bay, spec));
CREATE TABLE IF NOT EXISTS sample (
  bay TEXT, t REAL, told REAL, boot INTEGER, seq INTEGER, layout INTEGER, data BLOB,
  UNIQUE (bay, boot, seq));
CREATE TABLE IF NOT EXISTS block (
  bay TEXT, hour INTEGER, layout INTEGER, part INTEGER, n INTEGER, data BLOB,
  PRIMARY KEY (bay, hour, layout, part)) WITHOUT ROWID;
CREATE TABLE IF NOT EXISTS hourly (
  bay TEXT, hour INTEGER, layout INTEGER, part INTEGER, n INTEGER, data BLOB,
  PRIMARY KEY (bay, hour, layout, part)) WITHOUT ROWID;
CREATE TABLE IF NOT EXISTS event (t REAL, bay TEXT, code TEXT, text TEXT);
CREATE INDEX IF NOT EXISTS event_t ON event (t);
CREATE TABLE IF NOT EXISTS memory (bay TEXT PRIMARY KEY, t REAL, text TEXT);
CREATE TABLE IF NOT EXISTS note (name TEXT PRIMARY KEY, value TEXT);
"""
HOUR = 3600


@dataclass(frozen=True, kw_only=True, slots=True)
class Layout:
    """Channels of stored rows."""

    id: int
    keys: tuple[str, ...]
    kinds: tuple[str, ...]


@dataclass(frozen=True, kw_only=True, slots=True)
class Event:
    """Something to be told to people."""

    t: float
    """Wall clock, UTC. [s]"""
    bay: str
    code: str
    text: str


@dataclass(frozen=True, kw_only=True, slots=True)
class Roll:
    """One hour of one channel; sound values only."""

    hour: float
    """Its start, UTC. [s]"""
    key: str
    kind: str
    low: float
    mean: float
    high: float


class Journal:
    """The open journal; one process writes it."""

    def __init__(self, path: Path, *, read_only: bool = False) -> None:
        self._database = open_database(path, _TABLES, read_only=read_only)
        self._layouts: dict[tuple[str, str], Layout] = {}

    # --- writing -----------------------------------------------------------------------

    def store(
        self,
        samples: Sequence[tuple[float, str, Sample]] = (),
        events: Sequence[Event] = (),
        memories: Sequence[tuple[str, float, str]] = (),
        seal: tuple[int, bytes] | None = None,
    ) -> None:
        """Write what one turn brought, in one transaction; stored samples stay as they are."""
        if not (samples or events or memories):
            return
        self._layouts.clear()  # a layout of a transaction that failed is not there
        with writing(self._database, "journal") as database:
            rows = [self._row_of(wall, bay, sample) for wall, bay, sample in samples]
            database.executemany("INSERT OR IGNORE INTO sample VALUES (?, ?, ?, ?, ?, ?, ?)", rows)
            database.executemany(
                "INSERT INTO event VALUES (?, ?, ?, ?)",
                [(event.t, event.bay, event.code, event.text) for event in events],
            )
            database.executemany("INSERT OR REPLACE INTO memory VALUES (?, ?, ?)", memories)
            if seal is not None:
                text = json.dumps([seal[0], seal[1].hex()])
                database.execute("INSERT OR REPLACE INTO note VALUES ('audit', ?)", (text,))

    def _row_of(self, wall: float, bay: str, sample: Sample) -> tuple[object, ...]:
        layout = self._layout(bay, tuple(sample.kinds.items()))
        counts = packing.counts_of(layout.kinds, [sample.values[key] for key in layout.keys])
        row = Row(
            t=wall,
            told=sample.told,
            boot=sample.boot,
            seq=sample.seq,
            counts=counts,
            faults=bytes(
                FAULTS.index(_fault(sample, key, count))
                for key, count in zip(layout.keys, counts, strict=True)
            ),
        )
        told = None if math.isnan(row.told) else row.told
        return bay, wall, told, row.boot, row.seq, layout.id, packing.pack_row(row)

    def _layout(self, bay: str, channels: tuple[tuple[str, str], ...]) -> Layout:
        spec = json.dumps(channels)
        if (bay, spec) not in self._layouts:
            self._database.execute(
                "INSERT OR IGNORE INTO layout (bay, spec) VALUES (?, ?)", (bay, spec)
            )
            found = self._database.execute(
                "SELECT id FROM layout WHERE bay = ? AND spec = ?", (bay, spec)
            ).fetchone()[0]
            self._layouts[bay, spec] = _layout_of(found, spec)
        return self._layouts[bay, spec]

    def pack_hours(self, wall: float, most: int = 1_000_000) -> int:
        """Pack hours that have ended, at most so many; gives how many."""
        before = wall // HOUR * HOUR
        with reading("journal"):
            found = self._database.execute(
                "SELECT DISTINCT bay, CAST(t / 3600 AS INTEGER), layout FROM sample WHERE t < ? "
                "LIMIT ?",
                (before, most),
            ).fetchall()
        for bay, hour, layout in found:
            self._pack(bay, hour, layout)
        return len(found)

    def prune(self, before: float) -> None:
        """Forget readings and events older than a time; hourly roll-ups stay."""
        with writing(self._database, "journal") as database:
            database.execute("DELETE FROM block WHERE hour < ?", (before // HOUR,))
            database.execute("DELETE FROM sample WHERE t < ?", (before // HOUR * HOUR,))
            database.execute("DELETE FROM event WHERE t < ?", (before,))

    def _pack(self, bay: str, hour: int, layout: int) -> None:
        span = (bay, layout, hour * HOUR, (hour + 1) * HOUR)
        where = "bay = ? AND layout = ? AND t >= ? AND t < ?"
        with writing(self._database, "journal") as database:
            rows = [
                _row(found)
                for found in database.execute(
                    f"SELECT t, told, boot, seq, data FROM sample WHERE {where} ORDER BY t", span
                )
            ]
            # A second part of an hour comes when the wall clock went back.
            part = database.execute(
                "SELECT count(*) FROM block WHERE bay = ? AND hour = ? AND layout = ?",
                (bay, hour, layout),
            ).fetchone()[0]
            key = (bay, hour, layout, part, len(rows))
            for table, data in (("block", packing.pack_block(rows)), ("hourly", _roll(rows))):
                database.execute(f"INSERT INTO {table} VALUES (?, ?, ?, ?, ?, ?)", (*key, data))
            database.execute(f"DELETE FROM sample WHERE {where}", span)

    # --- reading -----------------------------------------------------------------------

    def layouts(self, bay: str) -> list[Layout]:
        """Channel layouts that a bay has had, oldest first."""
        with reading("journal"):
            found = self._database.execute(
                "SELECT id, spec FROM layout WHERE bay = ? ORDER BY id", (bay,)
            ).fetchall()
        return [_layout_of(*row) for row in found]

    def rows(
        self, bay: str, start: float = -math.inf, end: float = math.inf
    ) -> Iterator[tuple[Layout, Row]]:
        """Stored readings of a bay in the order of time; the end is not included."""
        layouts = {layout.id: layout for layout in self.layouts(bay)}
        span = (bay, max(start, 0.0) // HOUR, min(end, 1e11) // HOUR)
        with reading("journal"):
            for hour in self._hours(span):
                for layout, row in hour:
                    if start <= row.t < end:
                        yield layouts[layout], row
            for layout, *found in self._database.execute(
                "SELECT layout, t, told, boot, seq, data FROM sample WHERE bay = ? AND t >= ? "
                "AND t < ? ORDER BY t",
                (bay, max(start, -1e11), min(end, 1e11)),
            ):
                yield layouts[layout], _row(found)

    def _hours(self, span: tuple[str, float, float]) -> Iterator[list[tuple[int, Row]]]:
        """Rows of each packed hour, its parts and layouts sorted into one."""
        hours: Iterable[tuple[int]] = self._database.execute(
            "SELECT DISTINCT hour FROM block WHERE bay = ? AND hour >= ? AND hour <= ? "
            "ORDER BY hour",
            span,
        ).fetchall()
        for (hour,) in hours:
            found = self._database.execute(
                "SELECT layout, n, data FROM block WHERE bay = ? AND hour = ?", (span[0], hour)
            )
            rows = [
                (layout, row) for layout, n, data in found for row in packing.unpack_block(data, n)
            ]
            yield sorted(rows, key=lambda pair: pair[1].t)

    def last(self, bay: str) -> float:
        """End of the last hour in which something of a bay was stored; 0 for never. [s]"""
        with reading("journal"):
            hours = [
                self._database.execute(sql, (bay,)).fetchone()[0]
                for sql in (
                    "SELECT MAX(hour) FROM block WHERE bay = ?",
                    "SELECT MAX(CAST(t / 3600 AS INTEGER)) FROM sample WHERE bay = ?",
                )
            ]
        return float(HOUR * max((hour + 1 for hour in hours if hour is not None), default=0))

    def rolls(self, bay: str, start: float = -math.inf, end: float = math.inf) -> list[Roll]:
        """Hourly lowest, mean and highest values of a bay, of hours that have ended."""
        layouts = {layout.id: layout for layout in self.layouts(bay)}
        with reading("journal"):
            found = self._database.execute(
                "SELECT hour, layout, data FROM hourly WHERE bay = ? AND hour >= ? AND hour < ? "
                "ORDER BY hour, part",
                (bay, max(start, 0.0) / HOUR, min(end, 1e11) / HOUR),
            ).fetchall()
        result = []
        for hour, layout, data in found:
            result += _rolls_of(hour * HOUR, layouts[layout], data)
        return result

    def events(self, start: float = 0.0, bay: str | None = None) -> list[Event]:
        """Events since a time of the wall clock, of one bay or all, oldest first."""
        with reading("journal"):
            found = self._database.execute(
                "SELECT t, bay, code, text FROM event WHERE t >= ? ORDER BY t, rowid", (start,)
            ).fetchall()
        made = [Event(t=t, bay=name, code=code, text=text) for t, name, code, text in found]
        return [event for event in made if bay is None or event.bay == bay]

    def memory(self, bay: str) -> str | None:
        """The adviser's memory of a bay as it was last stored."""
        with reading("journal"):
            row = self._database.execute("SELECT text FROM memory WHERE bay = ?", (bay,)).fetchone()
        return None if row is None else str(row[0])

    def note(self, name: str) -> str | None:
        """A short text that was kept under a name."""
        with reading("journal"):
            row = self._database.execute(
                "SELECT value FROM note WHERE name = ?", (name,)
            ).fetchone()
        return None if row is None else str(row[0])

    def set_note(self, name: str, text: str) -> None:
        """Keep a short text under a name; raises ``JournalError`` where it cannot be."""
        self.set_notes({name: text})

    def set_notes(self, notes: Mapping[str, str]) -> None:
        """Keep several, all of them or none."""
        with writing(self._database, "journal") as database:
            database.executemany("INSERT OR REPLACE INTO note VALUES (?, ?)", notes.items())

    def seal(self) -> tuple[int, bytes] | None:
        """Length and head of the audit log as last noted."""
        text = self.note("audit")
        if text is None:
            return None
        length, head = json.loads(text)
        return length, bytes.fromhex(head)

    def close(self) -> None:
        """Close the file."""
        self._database.close()


def _fault(sample: Sample, key: str, count: int) -> str:
    if key in sample.faults:
        return sample.faults[key]
    if count == packing.MISSING and not math.isnan(sample.values[key]):
        return "beyond"
    return "" if sample.fresh else "late"


def _layout_of(number: int, spec: str) -> Layout:
    channels = json.loads(spec)
    keys = tuple(key for key, _ in channels)
    return Layout(id=number, keys=keys, kinds=tuple(kind for _, kind in channels))


def _row(found: Sequence[object]) -> Row:
    t, told, boot, seq, data = found
    assert isinstance(data, bytes)
    counts, faults = packing.unpack_row(data)
    return Row(
        t=float(t),  # type: ignore[arg-type]
        told=math.nan if told is None else float(told),  # type: ignore[arg-type]
        boot=int(boot),  # type: ignore[call-overload]
        seq=int(seq),  # type: ignore[call-overload]
        counts=counts,
        faults=faults,
    )


def _roll(rows: Sequence[Row]) -> bytes:
    """Lowest, mean and highest count of each channel, sound values only."""
    result: list[int] = []
    missing = packing.MISSING
    for k in range(len(rows[0].counts)):
        sound = [row.counts[k] for row in rows if not row.faults[k] and row.counts[k] != missing]
        if sound:
            result += [min(sound), round(sum(sound) / len(sound)), max(sound)]
        else:
            result += [missing] * 3
    return packing.pack_counts(result)


def _rolls_of(hour: float, layout: Layout, data: bytes) -> list[Roll]:
    grouped: dict[int, list[float]] = defaultdict(list)
    kinds = [kind for kind in layout.kinds for _ in range(3)]
    for place, value in enumerate(packing.values_of(kinds, packing.unpack_counts(data))):
        grouped[place // 3].append(value)
    return [
        Roll(hour=hour, key=layout.keys[k], kind=layout.kinds[k], low=low, mean=mean, high=high)
        for k, (low, mean, high) in grouped.items()
        if not math.isnan(mean)
    ]
