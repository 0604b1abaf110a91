"""Pages laid out by the templates beside this module; the only door to jinja2."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple

from ventcalc import __version__
from ventcalc.errors import VentcalcError
from ventcalc.report.drawing import Drawing, need_matplotlib

__all__ = ["Figure", "Table", "need_jinja2", "need_page_libraries", "page"]

Table = Sequence[Sequence[str]]
"""Rows of cells, the heading first; the first cell of each names its row."""


class Figure(NamedTuple):
    """A drawing and the tables that hold its numbers."""

    drawing: Drawing
    tables: Sequence[Table]


def need_jinja2() -> Any:
    """jinja2, or an error that says how to install it."""
    try:
        import jinja2
    except ImportError:
        raise VentcalcError(
            'jinja2 lays out the pages and is not installed: pip install "ventcalc[report]"'
        ) from None
    return jinja2


def need_page_libraries() -> None:
    """Refuse before any long work where what draws and lays out a page is missing."""
    need_matplotlib()
    need_jinja2()


def page(template: str, **shown: Any) -> str:
    """
    One self-contained page, nothing fetched from elsewhere.

    Parameters
    ----------
    template : str
        A file in ``templates``.
    **shown : object
        Texts, tables and figures that the template asks for; text is escaped.

    Returns
    -------
    str
        HTML.

    Raises
    ------
    VentcalcError
        If jinja2 is not installed.
    """
    jinja2 = need_jinja2()
    environment = jinja2.Environment(
        loader=jinja2.PackageLoader("ventcalc.report"),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    text: str = environment.get_template(template).render(version=__version__, **shown)
    return text
