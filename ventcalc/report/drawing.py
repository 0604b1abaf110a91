"""What all drawings of the reports share, and the way to SVG; the only door to matplotlib."""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

from ventcalc.errors import VentcalcError

__all__ = [
    "BLUE",
    "GREEN",
    "GREY",
    "RED",
    "Drawing",
    "drawing",
    "legend",
    "months_below",
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
            'matplotlib draws the plots and is not installed: pip install "ventcalc[report]"'
        ) from None
    return matplotlib


@dataclass
class Drawing:
    """A figure under way; finished, it has the frame and shapes of an SVG for a page."""

    figure: Any
    name: str
    """Begins every id in it, so that several may stand in one page."""
    title: str
    frame: str = ""
    shapes: str = ""


@contextmanager
def drawing(name: str, title: str, height: float) -> Iterator[Drawing]:
    """A figure as wide as the page and ``height`` inches high, in the looks of the reports."""
    matplotlib = need_matplotlib()
    with matplotlib.rc_context(PLOT_STYLE):
        figure = matplotlib.figure.Figure(figsize=(WIDTH, height), layout="constrained")
        sheet = Drawing(figure, name, title)
        yield sheet
        out = io.StringIO()
        figure.savefig(out, format="svg", metadata={"Date": None})
    sheet.frame, sheet.shapes = _of_page(out.getvalue(), name)


def _of_page(svg: str, name: str) -> tuple[str, str]:
    """View box and contents of an SVG, with ids of its own."""
    svg = re.sub(r"<metadata>.*?</metadata>", "", svg, flags=re.S)
    svg = re.sub(r'(\bid="|url\(#|href="#)', rf"\g<1>{name}-", svg)
    frame = svg.partition('viewBox="')[2].partition('"')[0]
    return frame, svg[svg.index(">", svg.index("<svg")) + 1 : svg.rindex("</svg>")].strip()


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


def months_below(axes: Any, january: str = "%b\n%Y") -> None:
    """Months under a plot, with the year under January where it matters."""
    dates = need_matplotlib().dates
    locator = dates.MonthLocator()
    axes.xaxis.set_major_locator(locator)
    axes.xaxis.set_major_formatter(
        dates.ConciseDateFormatter(
            locator, formats=[january, "%b", "%d", "%H", "%M", "%S"], show_offset=False
        )
    )
