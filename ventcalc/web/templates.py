"""Templates to HTML, every text from outside escaped; the only door to jinja2."""

from __future__ import annotations

import functools
from collections.abc import Callable
from typing import Any

from ventcalc.errors import VentcalcError
from ventcalc.web.files import inline

__all__ = ["environment", "need_jinja2", "render"]


def need_jinja2() -> Any:
    """jinja2, or an error that names the extra to install."""
    try:
        import jinja2
    except ImportError:
        raise VentcalcError(
            'jinja2 lays out the pages and is not installed: pip install "ventcalc[report]"'
        ) from None
    return jinja2


@functools.cache
def environment(package: str, **filters: Callable[[Any], str]) -> Any:
    """Templates of a package, and beside them ``web_parts.html``, which all pages share."""
    jinja2 = need_jinja2()
    found = jinja2.Environment(
        loader=jinja2.ChoiceLoader(
            [jinja2.PackageLoader(package), jinja2.PackageLoader("ventcalc.web")]
        ),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
        auto_reload=False,
    )
    found.globals |= {"zip": zip, "inline": inline}
    found.filters |= filters
    return found


def render(package: str, template: str, **values: object) -> str:
    """Fill in a template."""
    text: str = environment(package).get_template(template).render(values)
    return text
