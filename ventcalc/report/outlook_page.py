"""The days ahead as a page with one picture."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import numpy as np

from ventcalc.outlook.ahead import Outlook
from ventcalc.report.outlook_text import (
    band_words,
    cools_by,
    credit,
    day_rows,
    event_rows,
    sentences,
    title,
)
from ventcalc.report.pages import Verdict, page
from ventcalc.report.season_days import local, stamps
from ventcalc.units import UnitSystem, convert, reworded, shown_unit
from ventcalc.web.chart import Line, chart
from ventcalc.web.svg import Picture

__all__ = ["outlook_page"]


def outlook_page(found: Outlook, units: UnitSystem = "metric") -> str:
    """One page."""
    said = sentences(found, units)
    events = {event.kind for event in found.events}
    watch = event_rows(found, units)
    state = "bad" if "freezing" in events else "watch" if events else "good"
    word = {"bad": "Danger.", "watch": "Watch.", "good": "Quiet."}[state]
    return page(
        "outlook.html",
        title=title(found),
        facts=[credit(found), band_words(found), *(reworded(one, units) for one in found.notes)],
        verdict=Verdict(state, word, one_sentence(said[2])),
        watch=watch,
        said=said[:2],
        rows=day_rows(found, units),
        drawn=_pile(found, units),
    )


def one_sentence(said: str) -> str:
    """A sentence behind a word that says what kind it is."""
    words = said.removeprefix("To watch: ")
    return words[:1].upper() + words[1:]


def _pile(found: Outlook, units: UnitSystem) -> Picture:
    """Pulp by height with its band, and when outside air cools."""
    season = found.season
    times = np.array(stamps(season))
    shift = (local(season.bay, times[0]).utcoffset() or timedelta()).total_seconds()

    def temperature(values: Any) -> Any:
        return convert(np.asarray(values), "degC", units)[0]

    unit, middle = shown_unit("degC", units), season.pulp.shape[1] // 2
    rows = (
        ("top", -1, "--c1", ()),
        ("middle", middle, "--c2", (7, 3)),
        ("bottom", 0, "--c0", (2, 2)),
    )
    bands = [
        Line(label="", y=temperature(found.high_pulp[:, k]), base=temperature(found.low_pulp[:, k]),
             color=color, width=0.0)
        for _, k, color, _ in rows if found.runs
    ]  # fmt: skip
    lines = [
        Line(label=name, y=temperature(season.pulp[:, k]), color=color, dash=dash)
        for name, k, color, dash in rows
    ]
    target = Line(
        label="target", y=temperature(season.traces["target"]), color="--quiet", width=1.5
    )
    return chart(
        "pile",
        "Pulp by height in the days ahead",
        times + shift,
        (*bands, target, *lines),
        unit=unit,
        y_label=f"pulp, {unit}",
        time=True,
        spans=[(a + shift, b + shift, "") for a, b, outside in cools_by(found) if outside],
        size=(960.0, 380.0),
    )
