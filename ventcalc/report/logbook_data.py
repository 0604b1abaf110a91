"""The season's lines as data for JSON, keys with units."""

from __future__ import annotations

import dataclasses
from typing import Any
from zoneinfo import ZoneInfo

from ventcalc.bay.description import Bay
from ventcalc.logbook.columns import local_text, stem
from ventcalc.logbook.folder import Logbook
from ventcalc.logbook.kinds import KINDS

__all__ = ["entry_data", "logbook_data"]

_ENDING = {"kg": "_kg", "degC": "_temp_c", "m": "_m", "m/s": "_m_s", "1": "_share"}


def entry_data(entry: Any) -> dict[str, Any]:
    """One entry, its keys with units; what nobody told is null."""
    found = {}
    for field in dataclasses.fields(entry):
        ending = _ENDING.get(field.metadata["unit"], "")
        word = stem(field.name)
        found[word if f"_{word}" == ending else word + ending] = getattr(entry, field.name)
    return found


def logbook_data(bay: Bay, book: Logbook, kind: str | None) -> dict[str, Any]:
    """All lines, or those of one kind."""
    zone = ZoneInfo(bay.site.time_zone)
    kinds = list(KINDS) if kind is None else [kind]
    return {
        "folder": str(book.folder),
        **{
            name: [
                {
                    "line": line.number,
                    "row": line.row,
                    "time": local_text(line.time, zone),
                    "who": line.who,
                    "note": line.note,
                    **entry_data(line.entry),
                }
                for line in book.lines(name)
            ]
            for name in kinds
        },
        "problems": [problem.text for problem in book.problems],
    }
