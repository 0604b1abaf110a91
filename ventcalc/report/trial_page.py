"""A trial as a page: who did best, regret and its spread, the worst cases, each fault."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ventcalc.report.pages import Figure, Verdict, page
from ventcalc.report.season_page import CAUTIONS
from ventcalc.report.season_rows import control_words
from ventcalc.report.trial_text import (
    case_rows,
    fault_rows,
    mean_of,
    notes_of,
    sentence,
    standing_rows,
)
from ventcalc.trial.run import TrialResult
from ventcalc.units import UnitSystem, convert, shown_unit
from ventcalc.web.bars import bars
from ventcalc.web.chart import DASHES, Line, chart
from ventcalc.web.svg import Picture

__all__ = ["trial_page"]

COLORS = ("--c0", "--c1", "--c2", "--c3", "--c4", "--c5", "--c6")


def trial_page(
    result: TrialResult, units: UnitSystem = "metric", remarks: Sequence[str] = ()
) -> str:
    """The report of a trial."""
    best = result.judgement.standings[0]
    return page(
        "trial.html",
        title="Trial of control methods",
        lead=f"{len(result.seasons['method']):,} simulated seasons.",
        verdict=Verdict(
            "bad" if best.out else "good", "None." if best.out else "Best.", sentence(result)
        ),
        standings=standing_rows(result, units),
        cost=Figure(_cost(result, units), []),
        regret=Figure(_regret(result, units), []),
        faults=fault_rows(result, units),
        worst=case_rows(result, units),
        notes=notes_of(result, units),
        cautions=CAUTIONS,
        facts=[
            *(f"Climate: {name}. {weather.source}" for name, weather in result.trial.weathers),
            *(note for _, weather in result.trial.weathers for note in weather.notes),
            *remarks,
        ],
    )


def _money(values: object, units: UnitSystem) -> list[float]:
    return [
        float(v) for v in np.atleast_1d(convert(np.asarray(values) / 1000.0, "money/kg", units)[0])
    ]


def _unit(result: TrialResult, units: UnitSystem) -> str:
    return f"{result.trial.bays[0].costs.currency} {shown_unit('money/kg', units)}"


def _cost(result: TrialResult, units: UnitSystem) -> Picture:
    """What a mean season costs, in parts."""
    seasons, names = result.seasons, [one.method for one in result.judgement.standings]
    off = result.off_plan_price * seasons["off_plan_kelvin_hours"] / 1000.0
    values = {
        "electricity": seasons["cost_energy"],
        "shrink": seasons["cost_shrink"],
        "off the calendar": off,
    }
    parts = {
        part: _money(
            np.nan_to_num([mean_of(column[seasons["method"] == name]) for name in names]), units
        )
        for part, column in values.items()
    }
    return bars(
        "cost",
        "Mean cost of each control method",
        [control_words(name) for name in names],
        parts,
        label=lambda value: f"{value:.2f}",
        x_label=_unit(result, units),
    )


def _regret(result: TrialResult, units: UnitSystem) -> Picture:
    """Every case of each method, from its best to its worst."""
    judged, seasons = result.judgement, result.seasons
    lines = []
    for k, one in enumerate(judged.standings):
        found = judged.regret[seasons["method"] == one.method]
        found = np.sort(found[np.isfinite(found)])
        if found.size == 0:
            continue
        places = np.linspace(0.0, 100.0, max(found.size, 2))
        lines.append(
            Line(
                label=control_words(one.method),
                x=places,
                y=_money(found if found.size > 1 else np.repeat(found, 2), units),
                color=COLORS[k % len(COLORS)],
                dash=DASHES[k % len(DASHES)],
            )
        )
    return chart(
        "regret",
        "Regret of each control method over the cases, from the best to the worst",
        [0.0, 100.0],
        lines,
        unit=_unit(result, units),
        y_label=f"regret, {_unit(result, units)}",
        x_label="cases, %",
        digits=2,
        live=False,
    )
