"""Columns and lists of plain text."""

from __future__ import annotations

import csv
import io
import textwrap
from collections.abc import Iterable, Sequence
from typing import Any

__all__ = ["bullets", "csv_text", "first_of", "numbered", "table"]

_PAGE = 96
_MOST = 20


def table(rows: Iterable[Sequence[str]], indent: int = 2, left: int = 1) -> list[str]:
    """Rows with their columns aligned: the first ones to the left, the others to the right."""
    rows = list(rows)
    widths = [max(len(row[k]) for row in rows if k < len(row)) for k in range(len(rows[0]))]
    return [
        (
            " " * indent
            + "  ".join(
                cell.ljust(width) if k < left else cell.rjust(width)
                for k, (cell, width) in enumerate(zip(row, widths, strict=False))
            )
        ).rstrip()
        for row in rows
    ]


def first_of(lines: Sequence[str], rest: str) -> list[str]:
    """Not thousands of alike lines: the first, how many more there are, and how to see the rest."""
    left = len(lines) - _MOST
    return [*lines] if left <= 0 else [*lines[:_MOST], f"and {left:,} more: {rest}"]


def bullets(sentences: Iterable[str]) -> list[str]:
    """Sentences as a list, folded to the width of a page."""
    fold = textwrap.TextWrapper(width=_PAGE, initial_indent="  - ", subsequent_indent="    ")
    return [line for sentence in sentences for line in fold.wrap(sentence)]


def numbered(sentences: Iterable[str]) -> list[str]:
    """The same with numbers from 1 on."""
    lines = []
    for k, sentence in enumerate(sentences, start=1):
        head = f"  {k}. "
        lines += textwrap.wrap(
            sentence, _PAGE, initial_indent=head, subsequent_indent=" " * len(head)
        )
    return lines


def csv_text(rows: Iterable[Iterable[Any]]) -> str:
    """Rows as CSV; empty for None."""
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerows(rows)
    return out.getvalue()
