"""Plan against actual as a page: dates, the pulp of every day, healing, sprouting."""

from __future__ import annotations

from typing import Any

import numpy as np

from ventcalc.bay.description import Bay
from ventcalc.report.pages import Figure, Glance, Part, Verdict, page
from ventcalc.report.season_days import noon
from ventcalc.report.stages_text import UNMEASURED, plain, stage_parts, stage_rows
from ventcalc.stages.dormancy import SOURCES
from ventcalc.stages.progress import Progress
from ventcalc.units import UnitSystem, convert, show, shown_unit
from ventcalc.web.chart import Line, chart

__all__ = ["stages_page"]

DAY = 86400.0


def stages_page(bay: Bay, told: Progress, units: UnitSystem = "metric") -> str:
    """One page for a bay."""
    rows = stage_rows(told)
    rows[0] = ["stage", "planned from", "planned to", "actual from", "actual to"]
    return page(
        "parts.html",
        kind="Plan against actual",
        title=f"{bay.name}, {told.today:%d %b %Y}",
        lead="Where the season stands, and what is to be expected of it.",
        facts=SOURCES,
        verdict=_verdict(bay, told, units),
        glances=_glances(told, units),
        figure=_figure(bay, told, units),
        words="Mean pulp of each day as the bay file plans it, the band about it, and as measured.",
        parts=[
            Part("Stages", rows, "Dates as planned and as they came", ()),
            *(Part(title, (), "", lines) for title, lines in stage_parts(bay, told, units)),
        ],
    )


def _verdict(bay: Bay, told: Progress, units: UnitSystem) -> Verdict:
    if not told.measured:
        return Verdict("watch", "Not measured:", f"{UNMEASURED[0].lower()}{UNMEASURED[1:]}.")
    off = told.pulp - told.target
    if abs(off) <= bay.limits.band:
        return Verdict("good", "On its plan:", f"{plain(told.stage)}, pulp in its band.")
    words = f"{show(abs(off), 'delta_degC', units)} {'warmer' if off > 0.0 else 'colder'}"
    return Verdict("watch", "Off its plan:", f"{plain(told.stage)}, pulp {words} than planned.")


def _glances(told: Progress, units: UnitSystem) -> list[Glance]:
    earliest = told.sprouts.earliest
    ramp = show(told.ramp, "delta_degC/s", units, unknown="not measured")
    return [
        Glance("Pulp", show(told.pulp, "degC", units),
               f"planned {show(told.target, 'degC', units)}"),
        Glance("Cooling", ramp, "over the last week"),
        Glance("Healed", f"{told.healed / DAY:.1f} days",
               f"worth at {show(12.8, 'degC', units)}; planned {told.healing_wanted / DAY:.1f}"),
        Glance("Sprouts", f"from {earliest:%d %b}" if earliest else "not this season",
               f"{told.sprouts.used_most:.0%} of a short dormancy is past"),
    ]  # fmt: skip


def _figure(bay: Bay, told: Progress, units: UnitSystem) -> Figure:
    band = bay.limits.band
    planned, measured = (
        np.array([getattr(one, name) for one in told.course]) for name in ("target", "pulp")
    )

    def shown(values: Any) -> Any:
        return convert(values, "degC", units)[0]

    unit = shown_unit("degC", units)
    picture = chart(
        "pulp",
        "Pulp as planned and as measured",
        [noon(one.day) for one in told.course],
        [
            Line(label="planned and band", y=shown(planned + band), color="--quiet",
                 base=shown(planned - band), width=0.0),
            Line(label="measured", y=shown(measured), color="--c0", marks=0 < told.measured < 60),
        ],
        unit=unit,
        y_label=f"pulp, {unit}",
        time=True,
        daily=True,
    )  # fmt: skip
    rows = [["week from", "planned", "measured"]]
    rows += [
        [
            f"{one.day:%d %b %Y}",
            show(one.target, "degC", units),
            show(one.pulp, "degC", units, unknown=""),
        ]
        for one in told.course[::7]
    ]
    return Figure(picture, [rows])
