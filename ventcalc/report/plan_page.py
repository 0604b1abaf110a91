"""A plan of the days ahead as a page with one picture."""

from __future__ import annotations

from datetime import timedelta

import numpy as np

from ventcalc.plan.reduced import REST
from ventcalc.plan.week import WeekPlan
from ventcalc.report.pages import Verdict, page
from ventcalc.report.plan_text import (
    model_rows,
    plan_remarks,
    plan_sentences,
    stretch_rows,
    stretches,
    title,
)
from ventcalc.report.season_days import local
from ventcalc.units import UnitSystem, convert, reworded, shown_unit
from ventcalc.web.chart import Line, chart
from ventcalc.web.svg import Picture

__all__ = ["plan_page"]


def plan_page(plan: WeekPlan, units: UnitSystem = "metric") -> str:
    """One page."""
    does, whole, proof = plan_sentences(plan, units)
    saves = plan.planned.money.total < plan.present.money.total
    return page(
        "plan.html",
        title=title(plan),
        facts=[reworded(note, units) for note in plan.notes],
        verdict=Verdict(
            "good" if saves else "watch", "Worth it." if saves else "Follow the advice.", whole
        ),
        said=[does, proof, *plan_remarks(plan)],
        rows=stretch_rows(plan, units),
        models=model_rows(plan, units),
        drawn=_pile(plan, units),
    )


def _pile(plan: WeekPlan, units: UnitSystem) -> Picture:
    """Mean pulp by the plan's own model and by the whole one, shaded where the plan cools."""
    times = np.array([hour.time for hour in plan.hours])
    shift = (local(plan.bay, plan.hours[0].time).utcoffset() or timedelta()).total_seconds()
    lines = [
        ("target", [hour.target for hour in plan.hours], "--quiet", ()),
        ("plan, one temperature", [hour.does.pulp_mean for hour in plan.hours], "--c1", (7, 3)),
        ("plan, whole model", plan.planned.pulp_mean, "--c2", ()),
        ("advice, whole model", plan.present.pulp_mean, "--c0", (2, 2)),
    ]
    unit = shown_unit("degC", units)
    spans = [
        (some[0].time + shift, some[-1].time + plan.step + shift, "")
        for some in stretches(plan)
        if some[0].action.kind != REST
    ]
    return chart(
        "plan",
        "Mean pulp in the days ahead",
        times + shift,
        tuple(
            Line(label=name, y=convert(np.asarray(y), "degC", units)[0], color=color, dash=dash)
            for name, y, color, dash in lines
        ),
        unit=unit,
        y_label=f"mean pulp, {unit}",
        time=True,
        spans=spans,
        size=(960.0, 380.0),
    )
