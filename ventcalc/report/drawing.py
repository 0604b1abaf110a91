"""What all drawings of the reports share, and the way to SVG; the only door to matplotlib."""

from __future__ import annotations

import html
import io
import re
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from ventcalc.errors import VentcalcError

__all__ = [
    "BLUE",
    "GREEN",
    "GREY",
    "PLOT_STYLE",
    "RED",
    "WIDTH",
    "Drawing",
    "drawing",
    "inline",
    "legend",
    "need_matplotlib",
    "note",
]

# Okabe and Ito's colours, each with a line style of its own: readable without colour too.
BLUE, RED, GREEN, GREY = "#0072B2", "#D55E00", "#009E73", "#555555"
PLOT_STYLE = {
    "font.size": 10,
    "font.family": "sans-serif",
    "svg.fonttype": "none",
    "svg.hashsalt": "ventcalc",
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.grid": True,
    "axes.axisbelow": True,
    "grid.color": "#dddddd",
    "grid.linewidth": 0.6,
    "hatch.linewidth": 0.5,
    "legend.frameon": False,
    "figure.facecolor": "white",
}
WIDTH = 10.0


def need_matplotlib() -> Any:
    """matplotlib, or an error that says how to install it."""
    try:
        import matplotlib
        import matplotlib.dates
        import matplotlib.figure
    except ImportError:
        raise VentcalcError(
            'plots need matplotlib, which is not installed: pip install "ventcalc[report]"'
        ) from None
    return matplotlib


def inline(svg: str, name: str, title: str, text: str) -> str:
    """An SVG that may stand in a page beside others: own ids, a title, a description."""
    svg = svg[svg.index("<svg") :]
    svg = re.sub(r"<metadata>.*?</metadata>", "", svg, flags=re.S)
    svg = re.sub(r'\bid="', f'id="{name}-', svg)
    svg = re.sub(r"url\(#", f"url(#{name}-", svg)
    svg = re.sub(r'href="#', f'href="#{name}-', svg)
    opening, rest = svg.split(">", 1)
    opening = re.sub(r'\s(?:width|height|version)="[^"]*"', "", opening)
    return (
        f'{opening} role="img" aria-labelledby="{name}-t {name}-d">'
        f'<title id="{name}-t">{html.escape(title)}</title>'
        f'<desc id="{name}-d">{html.escape(text)}</desc>{rest}'
    )


class Drawing:
    """A figure, and its SVG once it is finished."""

    def __init__(self, height: float) -> None:
        make = need_matplotlib().figure.Figure
        self.figure: Any = make(figsize=(WIDTH, height), layout="constrained")
        self.svg = ""


@contextmanager
def drawing(name: str, title: str, text: str, height: float) -> Iterator[Drawing]:
    """A figure as wide as the page and ``height`` inches high, in the looks of the reports."""
    with need_matplotlib().rc_context(PLOT_STYLE):
        sheet = Drawing(height)
        yield sheet
        out = io.StringIO()
        sheet.figure.savefig(out, format="svg", metadata={"Date": None})
    sheet.svg = inline(out.getvalue(), name, title, text)


def note(axes: Any, words: str, x: Any, y: float, up: float) -> None:
    """A few words beside a point, on white so that lines do not run through them."""
    axes.annotate(
        words,
        (x, y),
        xytext=(0.0, up),
        textcoords="offset points",
        va="bottom" if up > 0 else "top",
        fontsize=9,
        bbox={"facecolor": "white", "edgecolor": "none", "pad": 1.0, "alpha": 0.85},
    )


def legend(axes: Any, columns: int = 4) -> None:
    """The legend of a plot, in the upper right corner."""
    axes.legend(loc="upper right", ncols=columns, fontsize=9, handlelength=3.2)
