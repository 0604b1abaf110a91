"""Where a trial's seasons are kept: a part for each parcel, and one table of them all."""

from __future__ import annotations

import csv
import io
import os
import tempfile
from pathlib import Path

import numpy as np

from ventcalc.errors import BadInput
from ventcalc.trial.seasons import COLUMNS, TEXTS, Table

__all__ = ["open_folder", "read_part", "write_part", "write_table"]

PARTS = "parts"
MARK = "trial of ventcalc: parts are seasons done, each named by all that it hangs on\n"
"""In the file that tells a result folder from any other."""


def open_folder(name: str) -> Path:
    """A result folder, made where there is none."""
    folder = Path(name)
    note = folder / "README.txt"
    try:
        if folder.is_dir() and any(folder.iterdir()) and not _ours(note):
            raise BadInput(
                f"{name}: is not empty and no result folder of a trial; give a new folder"
            )
        (folder / PARTS).mkdir(parents=True, exist_ok=True)
        note.write_text(MARK, encoding="utf-8")
    except OSError as error:
        raise BadInput(f"{name}: cannot be written ({error.strerror})") from None
    return folder


def _ours(note: Path) -> bool:
    return note.is_file() and note.read_text(encoding="utf-8", errors="replace") == MARK


def write_part(folder: Path, key: str, table: Table) -> None:
    """Keep a parcel's seasons, whole or not at all; a float reads back as the very same."""
    _replace(folder / PARTS / f"{key}.csv", _csv(table).encode())


def read_part(folder: Path, key: str, seasons: int) -> Table | None:
    """A parcel's seasons; None where they are not there whole."""
    try:
        text = (folder / PARTS / f"{key}.csv").read_text(encoding="utf-8")
        heading, *rows = csv.reader(io.StringIO(text, newline=""))
        if tuple(heading) != COLUMNS or len(rows) != seasons:
            return None
        columns = zip(*rows, strict=True)
        return {
            name: np.array(column, dtype=object)
            if name in TEXTS
            else np.array([float(cell) for cell in column])
            for name, column in zip(heading, columns, strict=True)
        }
    except (OSError, ValueError):
        return None


def write_table(folder: Path, table: Table) -> Path:
    """All seasons as one table, Parquet where pyarrow is installed, else CSV."""
    try:
        import pyarrow
        from pyarrow import parquet
    except ImportError:
        path = folder / "seasons.csv"
        _replace(path, _csv(table).encode())
        return path
    path = folder / "seasons.parquet"
    held = io.BytesIO()
    parquet.write_table(
        pyarrow.table({n: v.tolist() if n in TEXTS else v for n, v in table.items()}), held
    )
    _replace(path, held.getvalue())
    return path


def _csv(table: Table) -> str:
    text = io.StringIO()
    out = csv.writer(text, lineterminator="\n")
    out.writerow(table)
    out.writerows(zip(*(column.tolist() for column in table.values()), strict=True))
    return text.getvalue()


def _replace(path: Path, data: bytes) -> None:
    handle, temporary = tempfile.mkstemp(dir=path.parent, prefix=".")
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(data)
        os.chmod(temporary, 0o644)
        os.replace(temporary, path)
    except BaseException:
        Path(temporary).unlink(missing_ok=True)
        raise
