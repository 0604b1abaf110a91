"""Stored readings to CSV and Parquet, and back from CSV."""

from __future__ import annotations

import csv
import math
import re
from collections.abc import Iterator, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import TextIO

from firmware_bridge.errors import JournalError
from firmware_bridge.journal.journal import Journal
from firmware_bridge.journal.packing import FAULTS, values_of
from firmware_bridge.quantities import KINDS, QUANTITIES
from firmware_bridge.sensors.sample import Sample

__all__ = ["samples_of_csv", "samples_of_journal", "write_csv", "write_parquet"]

_FIXED = ("time_utc", "boot", "seq", "faults")


def samples_of_journal(
    journal: Journal, bay: str, start: float = 0.0, end: float = math.inf, every: float = 0.0
) -> Iterator[tuple[float, Sample]]:
    """
    Wall clock and sample of stored readings, one in ``every`` seconds; late ones come with
    ``fresh`` false.
    """
    due = -math.inf
    for layout, row in journal.rows(bay, start, end):
        if row.t < due:
            continue
        due = row.t + every
        codes = {key: FAULTS[row.faults[k]] for k, key in enumerate(layout.keys)}
        values = values_of(layout.kinds, row.counts)
        yield (
            row.t,
            Sample(
                boot=row.boot,
                seq=row.seq,
                received=row.t,
                delay=0.0,
                kinds=dict(zip(layout.keys, layout.kinds, strict=True)),
                values=dict(zip(layout.keys, values, strict=True)),
                faults={key: code for key, code in codes.items() if code not in ("", "late")},
                told=row.told,
                fresh="late" not in codes.values(),
            ),
        )


def _columns(journal: Journal, bay: str) -> list[tuple[str, str]]:
    """Kind and key of every channel that the bay has ever had."""
    found: dict[tuple[str, str], None] = {}
    for layout in journal.layouts(bay):
        found.update(dict.fromkeys(zip(layout.kinds, layout.keys, strict=True)))
    if not found:
        raise JournalError(f"the journal holds nothing of bay {bay!r}")
    return list(found)


def _row(t: float, sample: Sample, columns: Sequence[tuple[str, str]]) -> list[str]:
    marks = ";".join(f"{key}={fault}" for key, fault in sample.faults.items())
    marks = marks if sample.fresh else ";".join(filter(None, ["late", marks]))
    cells = []
    for kind, key in columns:
        value = sample.values.get(key, math.nan) if sample.kinds.get(key) == kind else math.nan
        digits = max(0, math.ceil(-math.log10(QUANTITIES[kind].packing)))
        cells.append("" if math.isnan(value) else f"{value:.{digits}f}")
    time = datetime.fromtimestamp(t, UTC).isoformat(timespec="milliseconds")
    return [time, str(sample.boot), str(sample.seq), marks, *cells]


def write_csv(journal: Journal, bay: str, file: TextIO, start: float, end: float) -> int:
    """
    Write the readings of a bay as CSV.

    Columns are named ``kind:key``; units are °C, 0-1, volume fraction, Pa. Doubtful values are
    written and named in ``faults``.
    """
    columns = _columns(journal, bay)
    writer = csv.writer(file, lineterminator="\n")
    writer.writerow([*_FIXED, *(f"{kind}:{key}" for kind, key in columns)])
    count = 0
    for t, sample in samples_of_journal(journal, bay, start, end):
        writer.writerow(_row(t, sample, columns))
        count += 1
    return count


def write_parquet(journal: Journal, bay: str, path: Path, start: float, end: float) -> int:
    """Write the readings of a bay as Parquet; needs ``pyarrow`` (extra ``parquet``)."""
    try:
        import pyarrow as pa
        import pyarrow.parquet as pq
    except ImportError:
        raise JournalError(
            'pyarrow is not installed; pip install "ventcalc[parquet]", or export CSV'
        ) from None
    columns = _columns(journal, bay)
    names = [f"{kind}:{key}" for kind, key in columns]
    schema = pa.schema(
        [
            ("time_utc", pa.timestamp("ms", tz="UTC")),
            ("boot", pa.int64()),
            ("seq", pa.int64()),
            ("faults", pa.string()),
            *((name, pa.float64()) for name in names),
        ]
    )
    count = 0
    with pq.ParquetWriter(path, schema, compression="zstd") as writer:
        batch: list[dict[str, object]] = []
        for t, sample in samples_of_journal(journal, bay, start, end):
            batch.append(_record(t, sample, columns))
            count += 1
            if len(batch) >= 5000:
                writer.write_table(pa.Table.from_pylist(batch, schema))
                batch = []
        writer.write_table(pa.Table.from_pylist(batch, schema))
    return count


def _record(t: float, sample: Sample, columns: Sequence[tuple[str, str]]) -> dict[str, object]:
    cells = _row(t, sample, columns)
    record: dict[str, object] = {
        "time_utc": round(1000.0 * t),
        "boot": sample.boot,
        "seq": sample.seq,
        "faults": cells[3],
    }
    for (kind, key), cell in zip(columns, cells[4:], strict=True):
        record[f"{kind}:{key}"] = float(cell) if cell else None
    return record


def samples_of_csv(path: Path) -> Iterator[tuple[float, Sample]]:
    """Recorded readings from a CSV file as of ``write_csv``; boot, seq and faults may lack."""
    try:
        with path.open(encoding="utf-8-sig", newline="") as file:
            yield from _csv_rows(path, csv.DictReader(file))
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        raise JournalError(f"{path}: cannot be read ({error})") from None


def _csv_rows(path: Path, reader: csv.DictReader[str]) -> Iterator[tuple[float, Sample]]:
    kinds: dict[str, str] = {}
    for name in reader.fieldnames or ():
        if name in _FIXED:
            continue
        kind, _, key = name.partition(":")
        if kind not in KINDS or not re.fullmatch(r"[a-z][a-z0-9_]{0,23}", key):
            raise JournalError(
                f"{path}: column {name!r}; write kind:key, such as pulp_temperature:pulp_1"
            )
        kinds[key] = kind
    if "time_utc" not in (reader.fieldnames or ()):
        raise JournalError(f"{path}: no column time_utc")
    for number, row in enumerate(reader, start=1):
        yield _csv_sample(path, number, row, kinds)


def _csv_sample(
    path: Path, number: int, row: dict[str, str], kinds: dict[str, str]
) -> tuple[float, Sample]:
    try:
        time = datetime.fromisoformat(row["time_utc"])
        t = time.replace(tzinfo=time.tzinfo or UTC).timestamp()
        values = {
            key: float(cell) if (cell := row[f"{kind}:{key}"]) else math.nan
            for key, kind in kinds.items()
        }
        marks = (row.get("faults") or "").split(";")
        boot, seq = int(row.get("boot") or 1), int(row.get("seq") or number)
    except (ValueError, TypeError) as error:
        raise JournalError(f"{path}: row {number}: {error}") from None
    faults = dict(mark.split("=", 1) for mark in marks if "=" in mark)
    return t, Sample(
        boot=boot,
        seq=seq,
        received=t,
        delay=0.0,
        kinds=kinds,
        values=values,
        faults=faults,
        fresh="late" not in marks,
    )
