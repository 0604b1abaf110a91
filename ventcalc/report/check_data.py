"""A pile check as data for programs."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from ventcalc.check.check import PileCheck
from ventcalc.check.record import CANNOT_SAY, MARGINAL, NO, OK, Check
from ventcalc.report.check_text import CHECK_CAUTIONS

__all__ = ["check_data"]

_JSON = {
    "1": ("", 1.0),
    "1 percent": ("", 1.0),
    "1 ppm": ("_ppm", 1e6),
    "kg": ("_t", 1e-3),
    "kg/s": ("_kg_h", 3600.0),
    "m": ("_m", 1.0),
    "m2 small": ("_mm2", 1e6),
    "m/s": ("_m_s", 1.0),
    "m3/s": ("_m3_s", 1.0),
    "m3/(s kg)": ("_m3_s_t", 1e3),
    "N/m": ("_n_m", 1.0),
    "N m/m": ("_nm_m", 1.0),
    "Pa": ("_pa", 1.0),
    "Pa load": ("_pa", 1.0),
    "W electrical": ("_w", 1.0),
    "W shaft": ("_w", 1.0),
    "W refrigeration": ("_w", 1.0),
    "W/kg": ("_w_t", 1e3),
    "degC": ("_c", 1.0),
    "delta_degC": ("_k", 1.0),
    "s": ("_h", 1.0 / 3600.0),
    "s days": ("_days", 1.0 / 86400.0),
}
"""Ending of a JSON key and factor, for each unit of a check."""


def _number(value: Any) -> Any:
    array = np.asarray(value, float)
    numbers = [round(float(x), 9) if math.isfinite(x) else None for x in array.ravel()]
    return numbers if array.ndim else numbers[0]


def _figures(unit: str, **named: Any) -> dict[str, Any]:
    ending, factor = _JSON[unit]
    return {f"{name}{ending}": _number(np.asarray(v, float) * factor) for name, v in named.items()}


def _check_data(check: Check) -> dict[str, Any]:
    figures = _figures(
        check.unit,
        value=check.value,
        limit=check.limit,
        margin=check.margin,
        uncertainty=check.uncertainty,
    )
    verdict = check.verdict if isinstance(check.verdict, str) else check.verdict.tolist()
    beside: dict[str, Any] = {}
    for aside in check.asides:
        beside.update(_figures(aside.unit, **{aside.key: aside.value}))
    return {
        "key": check.key,
        "name": check.name,
        **figures,
        "verdict": verdict,
        "formula": check.formula,
        "source": check.source,
        "note": check.note,
        "figures": beside,
    }


def check_data(result: PileCheck, sweep: PileCheck | None = None) -> dict[str, Any]:
    """A check as JSON data, SI units in its keys."""
    pounds = result.mass / 0.45359237
    data: dict[str, Any] = {
        "bay": result.bay.name,
        "height_m": _number(result.height),
        "capacity_t": _number(result.mass / 1000.0),
        "capacity_cwt": _number(pounds / 100.0),
        "capacity_lb": _number(pounds),
        "lots_t": _number(result.bay.mass / 1000.0),
        "lots_height_m": _number(result.least_for_lots),
        "highest_that_passes_m": _number(result.highest),
        "binds": list(result.binds),
        "no_at_any_height": list(result.whatever_height),
        "reaches": [{"name": r.name, "height_m": _number(r.height)} for r in result.reaches],
        "verdict": _overall(result),
        "checks": [_check_data(check) for check in result.checks],
        "cautions": list(CHECK_CAUTIONS),
    }
    if sweep is not None:
        data["sweep"] = {
            "height_m": _number(sweep.height),
            "capacity_t": _number(np.asarray(sweep.mass) / 1000.0),
            "checks": [_check_data(check) for check in sweep.checks],
        }
    return data


def _overall(result: PileCheck) -> str:
    verdicts = {check.verdict for check in result.checks}
    return next(v for v in (NO, MARGINAL, CANNOT_SAY, OK) if v in verdicts)
