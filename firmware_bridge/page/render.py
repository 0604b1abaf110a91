"""Templates to HTML by the door that all pages share."""

from __future__ import annotations

import math

from firmware_bridge.page.words import age_text
from ventcalc.errors import VentcalcError
from ventcalc.web.templates import environment

__all__ = ["render"]


def _seconds(age: float) -> str:
    """An age for the page's script; empty where it never was."""
    return f"{age:.1f}" if math.isfinite(age) else ""


try:
    _TEMPLATES = environment("firmware_bridge.page", age=age_text, seconds=_seconds)
except VentcalcError:  # the command names the bridge's own extra
    raise ModuleNotFoundError("jinja2 is not installed", name="jinja2") from None


def render(template: str, **values: object) -> str:
    """Fill in a template."""
    text: str = _TEMPLATES.get_template(template).render(values)
    return text
