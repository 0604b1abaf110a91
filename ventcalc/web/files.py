"""The style, script and plot library that all pages share, as files of this package."""

from __future__ import annotations

from importlib import resources

__all__ = ["TYPES", "inline", "read"]

TYPES = {
    "page.css": "text/css",
    "plot.js": "text/javascript",
    "uplot/uPlot.min.css": "text/css",
    "uplot/uPlot.iife.min.js": "text/javascript",
}
"""Every file that a page may ask for, with its media type."""


def read(name: str) -> bytes:
    """One of the shared files."""
    return resources.files("ventcalc.web").joinpath("static", *name.split("/")).read_bytes()


def inline(*names: str) -> str:
    """Shared files one after the other, to stand in a ``style`` or ``script`` of a lone page."""
    return "\n".join(read(name).decode() for name in names)
