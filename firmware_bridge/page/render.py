"""Templates to HTML, every text from outside escaped; the only door to jinja2."""

from __future__ import annotations

import math

from jinja2 import Environment, PackageLoader, StrictUndefined

from firmware_bridge.page.words import age_text

__all__ = ["render"]


def _seconds(age: float) -> str:
    """An age for the page's script; empty where it never was."""
    return f"{age:.1f}" if math.isfinite(age) else ""


_TEMPLATES = Environment(
    loader=PackageLoader("firmware_bridge.page"),
    autoescape=True,
    undefined=StrictUndefined,
    trim_blocks=True,
    lstrip_blocks=True,
    auto_reload=False,
)
_TEMPLATES.globals |= {"zip": zip}
_TEMPLATES.filters |= {"age": age_text, "seconds": _seconds}


def render(template: str, **values: object) -> str:
    """
    Fill in a template.

    Parameters
    ----------
    template : str
        Its file, in the folder ``templates``.
    **values
        What it names.

    Returns
    -------
    str
        HTML.
    """
    return _TEMPLATES.get_template(template).render(values)
