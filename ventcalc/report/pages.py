"""Pages laid out by the templates beside this module."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple

from ventcalc import __version__
from ventcalc.report.cautions import CAUTION
from ventcalc.web.svg import Picture
from ventcalc.web.templates import render

__all__ = [
    "Figure",
    "Glance",
    "Part",
    "Table",
    "Verdict",
    "one_line",
    "page",
]

Table = Sequence[Sequence[str]]
"""Rows of cells, the heading first; the first cell of each names its row."""


class Figure(NamedTuple):
    """A picture and the tables that hold its numbers."""

    picture: Picture
    tables: Sequence[Table]


class Glance(NamedTuple):
    """One figure of the first screen."""

    label: str
    value: str
    beside: str
    """How it compares with a limit, or with what is published."""


class Part(NamedTuple):
    """A section of a report that is told in a table and in sentences; either may be empty."""

    title: str
    rows: Table
    caption: str
    """Of the table."""
    lines: Sequence[str]


class Verdict(NamedTuple):
    """The answer of a report in a sentence."""

    state: str
    """``good``, ``watch`` or ``bad``."""
    word: str
    sentence: str
    mind: tuple[str, ...] = ()
    """What the sentence leaves out, the gravest first."""


def one_line(caution: str) -> str:
    """A caution of the terminal as the line at the top of a page, which has the word already."""
    words = caution.removeprefix("Caution: ")
    return words[:1].upper() + words[1:]


def page(
    template: str,
    layout: str = "base.html",
    *,
    caution: str = one_line(CAUTION),
    cautions: Sequence[str] = (CAUTION,),
    **shown: Any,
) -> str:
    """One self-contained page, nothing fetched from elsewhere; its cautions at top and end."""
    told = {"caution": caution, "cautions": cautions, "version": __version__, **shown}
    return render("ventcalc.report", template, layout=layout, **told)
