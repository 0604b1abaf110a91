"""Templates to HTML, every text from outside escaped."""

from __future__ import annotations

from functools import cache
from typing import Any

from ventcalc.report.pages import need_jinja2

__all__ = ["render"]


@cache
def _templates() -> Any:
    jinja2 = need_jinja2()
    return jinja2.Environment(
        loader=jinja2.PackageLoader("ventcalc.page"),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        auto_reload=False,
    )


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
    text: str = _templates().get_template(template).render(values)
    return text
