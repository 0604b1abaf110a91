"""Words for people out of a table of ``data``, a row for each thing that is told."""

from __future__ import annotations

import csv
from functools import cache
from importlib.resources import files
from typing import Any

__all__ = ["table_words"]


@cache
def _table(name: str) -> dict[str, dict[str, str]]:
    path = files("ventcalc") / "data" / f"{name}.csv"
    return {row["key"]: row for row in csv.DictReader(path.read_text("utf-8").splitlines())}


def table_words(table: str, key: str, /, **values: Any) -> dict[str, Any]:
    """A row by its key, the braces in it filled with the values."""
    return {name: text.format(**values) for name, text in _table(table)[key].items()}
