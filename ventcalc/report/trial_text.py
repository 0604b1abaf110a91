"""A trial as plain text and for JSON: how the methods stand, and where each is worst."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ventcalc.report.numbers import rounded
from ventcalc.report.season_rows import ROWS, control_words
from ventcalc.report.table import bullets, table
from ventcalc.trial.judge import FEWEST_PLACES, FIGURES, Standing
from ventcalc.trial.run import TrialResult
from ventcalc.units import UnitSystem, show

__all__ = ["case_rows", "fault_rows", "mean_of", "notes_of", "sentence", "standing_rows",
           "trial_data", "trial_text"]  # fmt: skip

ROW = {row.field: row for row in ROWS}
WORST = 3
"""Cases told of each method."""
_BESIDE = {"coldest_tuber": "lowest", "hottest_tuber": "highest", "frozen_minutes": "most"}


def trial_text(result: TrialResult, units: UnitSystem = "metric") -> str:
    """The whole trial in words."""
    lines = [sentence(result), "", _crossed(result), ""]
    lines += table(standing_rows(result, units))
    if len(result.trial.faults) > 1:
        lines += ["", "Mean regret under each fault, and seasons that disqualify:"]
        lines += table(fault_rows(result, units))
    lines += ["", "Worst cases of each method, what disqualifies first:"]
    lines += table(case_rows(result, units))
    lines += ["", *bullets(notes_of(result, units))]
    return "\n".join(lines)


def sentence(result: TrialResult) -> str:
    """Who did best, and how sure that is."""
    best, *others = result.judgement.standings
    words = control_words(best.method)
    if best.out:
        return f"No method qualifies: each harmed the crop in some case, {words} in the fewest."
    behind = next((one for one in others if not one.out), None)
    if behind is None:
        return f"{words}: the only method that harmed the crop in no case."
    apart = "their intervals overlap"
    if math.isnan(best.high) or math.isnan(behind.low):
        apart = "one case proves nothing"
    elif best.high < behind.low:
        apart = "their intervals lie apart"
    return (
        f"{words} does best of the methods that harmed the crop in no case; next is "
        f"{control_words(behind.method)} ({apart})."
    )


def _crossed(result: TrialResult) -> str:
    trial, seasons = result.trial, len(result.seasons["method"])
    crossed = (
        (trial.bays, "bay"), (trial.weathers, "climate"), (trial.faults, "fault"),
        (range(trial.draws), "crop"), (trial.methods, "method"),
    )  # fmt: skip
    words = " x ".join(f"{len(some)} {name}{'s' * (len(some) > 1)}" for some, name in crossed)
    kept = f"; {result.found:,} of them lay in the folder" if result.found else ""
    return f"{seasons:,} seasons, all simulated: {words}{kept}."


def standing_rows(result: TrialResult, units: UnitSystem = "metric") -> list[list[str]]:
    """A column a method, the best first."""
    standings, currency = result.judgement.standings, result.trial.bays[0].costs.currency
    rows = [
        ["", *(control_words(one.method) for one in standings)],
        ["Seasons that disqualify it", *(f"{one.out} of {one.seasons}" for one in standings)],
        ["Regret, mean", *(_money(one.regret, units) for one in standings)],
        ["  95 % interval", *(_interval(one, units) for one in standings)],
        ["  worst case", *(_money(one.worst, units) for one in standings)],
    ]
    for field in FIGURES:
        beside = f", {_BESIDE[field]}" if field in _BESIDE else ""
        rows.append(
            [
                f"{_name(field)}{beside}",
                *(_written(field, one.figures[field], units) for one in standings),
            ]
        )
    return [[row[0].replace("Regret", f"Regret, {currency}"), *row[1:]] for row in rows]


def _name(field: str) -> str:
    return "Electricity and shrink" if field == "cost" else ROW[field].words


def _written(field: str, value: float, units: UnitSystem) -> str:
    if math.isnan(value):
        return "unknown"
    return _money(value, units) if field == "cost" else ROW[field].write(value, units)


def _money(value: float, units: UnitSystem, unknown: str = "none") -> str:
    return show(value / 1000.0, "money/kg", units, 2 + (units == "us"), unknown)


def _interval(one: Standing, units: UnitSystem) -> str:
    if math.isnan(one.low):
        return "-"
    return f"{_money(one.low, units).split()[0]} to {_money(one.high, units)}"


def _case_words(result: TrialResult, k: int) -> str:
    """Which season, as far as it is not the same for all."""
    trial, seasons = result.trial, result.seasons
    parts = [
        (seasons["bay"][k], len(trial.bays)),
        (seasons["climate"][k], len(trial.weathers)),
        (seasons["fault"][k], len(trial.faults)),
        (f"crop {seasons['draw'][k] + 1:.0f}", trial.draws),
    ]
    return ", ".join(words for words, count in parts if count > 1) or seasons["climate"][k]


def _harm_words(result: TrialResult, k: int, units: UnitSystem) -> str:
    """What disqualifies a season, with its number."""
    harm, seasons = result.judgement.out[k], result.seasons
    if harm == "stopped":
        return f"stopped: {seasons['stopped'][k]}"
    fields = {"freezing": "coldest_tuber", "wetting": "condensed_on_crop", "heat": "hottest_tuber"}
    if harm not in fields:
        return "-"
    return f"{harm}: {_written(fields[harm], float(seasons[fields[harm]][k]), units)}"


def case_rows(result: TrialResult, units: UnitSystem = "metric") -> list[list[str]]:
    """The worst seasons of each method."""
    judged, seasons = result.judgement, result.seasons
    fields = ("off_plan_kelvin_hours", "cost", "mass_loss", "coldest_tuber")
    rows = [["Case", "Regret", "Off the calendar", "Cost", "Shrink", "Coldest", "Disqualified by"]]
    for one in judged.standings:
        mine = [int(k) for k in judged.worst_first if seasons["method"][k] == one.method]
        for k in mine[:WORST]:
            cells = [_written(field, float(seasons[field][k]), units) for field in fields]
            told = _money(float(judged.regret[k]), units, unknown="-")
            case = f"{control_words(one.method)}: {_case_words(result, k)}"
            rows.append([case, told, *cells, _harm_words(result, k, units)])
    return rows


def fault_rows(result: TrialResult, units: UnitSystem = "metric") -> list[list[str]]:
    """Mean regret under each fault, and how often it disqualified."""
    judged, seasons = result.judgement, result.seasons
    rows = [["Fault", *(control_words(one.method) for one in judged.standings)]]
    for fault in result.trial.faults:
        cells = []
        for one in judged.standings:
            mine = (seasons["method"] == one.method) & (seasons["fault"] == fault)
            out = int((judged.out[mine] != "").sum())
            mean = mean_of(judged.regret[mine])
            words = [] if math.isnan(mean) else [_money(mean, units)]
            cells.append(", ".join([*words, *([f"{out} out"] if out else [])]))
        rows.append([fault, *cells])
    return rows


def mean_of(values: NDArray[np.float64]) -> float:
    """Of what is known; NaN where nothing is. [as the values]"""
    known = values[np.isfinite(values)]
    return float(known.mean()) if known.size else math.nan


def notes_of(result: TrialResult, units: UnitSystem = "metric") -> list[str]:
    """What the figures mean, and what they hang on."""
    judged, price = result.judgement, result.off_plan_price
    drawn = (
        f"draws the {judged.places} pairs of bay and climate, with all their cases"
        if judged.places >= FEWEST_PLACES
        else "draws single cases: of these places only, it says nothing of others"
    )
    notes = [
        "Regret: electricity, shrink and what is off the calendar's plan "
        f"({price:g} per tonne and 1000 K h), less that of the best method of the same case that "
        "did no harm there. Seasons that harm have none.",
        f"The interval (bootstrap, seed {result.trial.seed}) {drawn}.",
        "Disqualified: a layer of the pile below 0 °C (potatoes freeze at -0.6 to -1 °C), more "
        "than 1 kg/t condensed on the crop, a layer above 30 °C, or a pile that left the range of "
        "the model.",
    ]
    if judged.hopeless:
        notes.append(f"In {judged.hopeless} of {judged.cases} cases every method did harm.")
    return notes


def trial_data(result: TrialResult) -> dict[str, Any]:
    """The trial for other programs; every season lies in the folder's table."""
    judged, seasons, trial = result.judgement, result.seasons, result.trial
    keys = {field: "cost_per_t" if field == "cost" else ROW[field].key for field in FIGURES}
    return {
        "seasons": len(seasons["method"]),
        "found_in_folder": result.found,
        "bays": [bay.name for bay in trial.bays],
        "climates": [name for name, _ in trial.weathers],
        "faults": list(trial.faults),
        "draws": trial.draws,
        "seed": trial.seed,
        "currency": trial.bays[0].costs.currency,
        "off_plan_price_per_t_1000_k_h": result.off_plan_price,
        "cases": judged.cases,
        "cases_without_qualified_method": judged.hopeless,
        "methods": [
            {
                "method": one.method,
                "seasons": one.seasons,
                "disqualified": one.out,
                "regret_per_t": rounded(one.regret),
                "regret_low_per_t": rounded(one.low),
                "regret_high_per_t": rounded(one.high),
                "regret_worst_per_t": rounded(one.worst),
                **{keys[field]: rounded(_scaled(field, one.figures[field])) for field in FIGURES},
            }
            for one in judged.standings
        ],
        "by_fault": [
            {
                "fault": fault,
                "method": one.method,
                "regret_per_t": rounded(mean_of(judged.regret[mine])),
                "disqualified": int((judged.out[mine] != "").sum()),
            }
            for fault in trial.faults
            for one in judged.standings
            for mine in [(seasons["method"] == one.method) & (seasons["fault"] == fault)]
        ],
        "worst": [_season_data(result, int(k), keys) for k in judged.worst_first[:20]],
        "table": None if result.path is None else str(result.path),
    }


def _scaled(field: str, value: float) -> float:
    return value if field == "cost" else value * ROW[field].scale


def _season_data(result: TrialResult, k: int, keys: dict[str, str]) -> dict[str, Any]:
    seasons = result.seasons
    return {
        **{name: seasons[name][k] for name in ("method", "bay", "climate", "fault")},
        "draw": int(seasons["draw"][k]) + 1,
        "regret_per_t": rounded(float(result.judgement.regret[k])),
        **{key: rounded(_scaled(field, float(seasons[field][k]))) for field, key in keys.items()},
        "disqualified_by": result.judgement.out[k] or None,
        "stopped": seasons["stopped"][k] or None,
    }
