"""The end of a season as a page: when to warm, when trucks come, what air and people need."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import timedelta

import numpy as np

from ventcalc.advice.fresh_air import PEOPLE_CO2
from ventcalc.report.lots_text import shrink_lines
from ventcalc.report.pages import Figure, Glance, Part, Verdict, page
from ventcalc.report.season_days import noon
from ventcalc.report.unload_text import (
    CAUTION,
    air_rows,
    air_words,
    head_line,
    known_by,
    people_lines,
    turn_rows,
    warm_lines,
)
from ventcalc.stages.unloading import Unloading
from ventcalc.units import UnitSystem, convert, show, shown_unit
from ventcalc.web.chart import DASHES, Line, chart

__all__ = ["unload_page"]

DAY = 86400.0
FACTS = (
    "Crop by the season folder where loads were written down, else by the bay file.",
    "CO2 for people: OSHA 29 CFR 1910.1000 table Z-1. Trucks, their load and the time to fill one: "
    "common practice, no source; yours count.",
)


def unload_page(bays: Sequence[Unloading], units: UnitSystem = "metric") -> str:
    """One page for all bays, in the order in which they are emptied."""
    names = ", ".join(one.bay.name for one in bays)
    return page(
        "parts.html",
        kind="Unloading",
        title=names,
        lead="When to begin warming, when trucks come, air for the rest, air for people.",
        caution="CO2 kills: test the air before anyone goes in; never alone; fans locked out.",
        cautions=[CAUTION],
        facts=FACTS,
        verdict=_verdict(bays[0]),
        glances=_glances(bays, units),
        figure=_figure(bays, units),
        words="Crop in each bay at the end of each day; level on days without trucks.",
        parts=list(_parts(bays, units)),
    )


def _verdict(one: Unloading) -> Verdict:
    if one.model is not None and not one.model.arrived:
        return Verdict(
            "bad", "Does not get warm in time:", "ask for colder pulp or a later first truck."
        )
    if one.lead_time == 0.0:
        return Verdict("good", "Warm enough:", "trucks may come.")
    return Verdict(
        "watch",
        f"Begin to warm on {one.turn.warm_up:%d %b %Y}:",
        f"{one.lead_time / DAY:.1f} days for {one.bay.name}.",
    )


def _glances(bays: Sequence[Unloading], units: UnitSystem) -> list[Glance]:
    first, last = bays[0], bays[-1]
    climb = show(max(one.people.co2_climb for one in bays) * 3600.0, "1 ppm", units)
    days = f"{first.turn.plan.days:.1f} days of work"
    return [
        Glance("First truck", f"{first.turn.first_truck:%d %b %Y}", head_line(first, units)),
        Glance(
            "Last truck",
            f"{last.turn.last_truck:%d %b %Y}",
            f"of {len(bays)} bays" if len(bays) > 1 else days,
        ),
        Glance(
            "CO2 with fans off",
            f"{climb} an hour",
            f"people: {show(PEOPLE_CO2, '1 ppm', units)} over a shift",
        ),
    ]


def _figure(bays: Sequence[Unloading], units: UnitSystem) -> Figure:
    """Crop left by day; a bay that still waits is full."""
    days = sorted({day for one in bays for day, _ in one.turn.left})
    days.insert(0, days[0] - timedelta(days=1))
    scale, prefix = (1.0, "") if units == "metric" else (1000.0, "1,000 ")
    unit = f"{prefix}{shown_unit('kg', units)}"
    columns = []
    for one in bays:
        left = dict(one.turn.left)
        mass = [left.get(day, one.mass if day < one.turn.first_truck else 0.0) for day in days]
        columns.append(convert(np.array(mass), "kg", units)[0] / scale)
    lines = [
        Line(label=one.bay.name, y=y, color=f"--c{k % 3}", dash=DASHES[k % len(DASHES)], marks=True)
        for k, (one, y) in enumerate(zip(bays, columns, strict=True))
    ]
    picture = chart(
        "left",
        "Crop left in each bay",
        [noon(day) for day in days],
        lines,
        unit=unit,
        y_label=f"crop left, {unit}",
        time=True,
        daily=True,
        digits=0,
    )
    rows = [["day", *(f"{one.bay.name}, {unit}" for one in bays)]]
    rows += [[f"{day:%a %d %b}", *(f"{y[k]:,.0f}" for y in columns)] for k, day in enumerate(days)]
    return Figure(picture, [rows])


def _parts(bays: Sequence[Unloading], units: UnitSystem) -> Iterator[Part]:
    yield Part("Bays in their order", turn_rows(bays, units), "Warming and trucks", ())
    for one in bays:
        yield Part(f"{one.bay.name}: warming", (), "", [known_by(one), *warm_lines(one, units)])
        if one.air:
            words = "Air for what remains, fans at full speed, empty laterals shut"
            yield Part(f"{one.bay.name}: air", air_rows(one, units), words, air_words(one))
        yield Part(f"{one.bay.name}: people inside", (), "", people_lines(one, units))
        if one.shrinks:
            lines = shrink_lines(one.shrinks, units)
            yield Part(f"{one.bay.name}: weight out against weight in", (), "", lines)
