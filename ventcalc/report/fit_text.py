"""A fitted bay as plain text, for JSON, and as a bay file."""

from __future__ import annotations

from typing import Any

from ventcalc.bay.starter import bay_to_toml
from ventcalc.calibration.fit import FittedBay
from ventcalc.calibration.least_squares import PRIORS, Residual
from ventcalc.report.table import bullets, table
from ventcalc.units import UnitSystem, show

__all__ = ["fit_data", "fit_text", "fitted_file", "verdict"]

WORDS = {
    "airflow": "airflow through the pile",
    "transpiration": "transpiration of the skin",
    "respiration": "respiration",
    "envelope": "heat through walls and ceiling",
    "fan_power": "power of the fans",
}
"""Of each factor for people."""
IN_CROP = ("transpiration", "respiration")
JOULE_PER_KWH = 3.6e6


def fit_text(found: FittedBay, units: UnitSystem = "metric") -> str:
    """Factors, what cannot be told, and misses before and after on hours that were not fitted."""
    rows = [["", "times what is described", "likely range"]]
    for one in found.factors:
        times = f"{one.factor:.2f}" if one.identified else "1 (kept)"
        rows.append([WORDS[one.name], times, f"{one.low:.2f} to {one.high:.2f}"])
    lines = [
        f"{found.bay.name}: fitted to {found.fitted_hours} h of its log",
        "",
        *table(rows),
    ]
    if remarks := [*_remarks(found), *_drift_lines(found, units)]:
        lines += ["", *bullets(remarks)]
    misses = [["", "as described", "as fitted"]]
    misses += [[one.what, *_miss(one, units)] for one in found.residuals]
    lines += [
        "",
        f"Misses in the {found.checked_hours} h after them, which were not fitted:",
        *table(misses),
    ]
    lines += ["", verdict(found)] if verdict(found) else []
    return "\n".join([*lines, "", *(f"Note: {note}." for note in found.notes)])


def verdict(found: FittedBay) -> str:
    """Why the fit is of no use; empty where it is."""
    if not found.differs:
        return "The log shows nothing that differs from the description."
    if not found.better:
        return "The fit is no better on hours that it has not seen: do not use it."
    return ""


def _remarks(found: FittedBay) -> list[str]:
    remarks = [
        f"{WORDS[one.name].capitalize()} cannot be told from this log: ± {one.doubt:.0%} with it, "
        f"± {PRIORS[one.name]:.0%} before. It stays as described."
        for one in found.factors
        if not one.identified
    ]
    remarks += [
        f"{WORDS[one].capitalize()} and {WORDS[other]} can hardly be told apart; believe them "
        "only together."
        for one, other in found.tied
    ]
    return remarks


ALIKE = 4
"""Thermometers that drift the same way, from which on it is rather the one that they share."""


def _drift_lines(found: FittedBay, units: UnitSystem) -> list[str]:
    warm = [one.change for one in found.drifts if not one.what.endswith("humidity")]
    lines = []
    if max(sum(x > 0.0 for x in warm), sum(x < 0.0 for x in warm)) >= ALIKE:
        lines.append(
            "Most thermometers of the bay drift the same way: rather the outside probe does, the "
            "other way, or all were moved or changed. Check the outside probe first."
        )
    for one in found.drifts:
        unit = "1 percent" if one.what.endswith("humidity") else "delta_degC"
        size, doubt = (show(x, unit, units, 2) for x in (abs(one.change), one.doubt))
        way = "higher" if one.change > 0.0 else "lower"
        like = f", as far as it can be told from {WORDS[one.like]}" if one.like else ""
        lines.append(
            f"{one.what.capitalize()} probe drifts: at the end of the fitted hours it reads {size} "
            f"± {doubt} {way} against the others than at their start. That is taken off{like}; "
            "check the probe."
        )
    return lines


def _miss(one: Residual, units: UnitSystem) -> list[str]:
    if one.what == "energy":
        return [f"{x / JOULE_PER_KWH:.2f} kWh in an hour" for x in (one.before, one.after)]
    humid = one.what.endswith("humidity")
    unit = "1 percent" if humid else "delta_degC"
    end = " RH" if humid else ""
    return [f"{show(x, unit, units, 2)}{end}" for x in (one.before, one.after)]


def fit_data(found: FittedBay) -> dict[str, Any]:
    """A fit for JSON."""
    return {
        "bay": found.bay.name,
        "factors": {
            one.name: {
                "factor": round(one.factor, 4),
                "low": round(one.low, 4),
                "high": round(one.high, 4),
                "identified": one.identified,
            }
            for one in found.factors
        },
        "tied": [list(pair) for pair in found.tied],
        "drifts": [
            {
                "channel": one.what,
                "change": round(one.change, 4),
                "standard_uncertainty": round(one.doubt, 4),
                "like": one.like or None,
            }
            for one in found.drifts
        ],
        "singular_values": [round(value, 3) for value in found.strengths],
        "misses": {
            f"{one.what.replace(' ', '_')}_{_unit(one.what)}": {
                "as_described": round(one.before / _scale(one.what), 4),
                "as_fitted": round(one.after / _scale(one.what), 4),
            }
            for one in found.residuals
        },
        "fitted_h": found.fitted_hours,
        "checked_h": found.checked_hours,
        "better": found.better,
        "differs": found.differs,
        "notes": list(found.notes),
    }


def _unit(what: str) -> str:
    return "kwh" if what == "energy" else "rh" if what.endswith("humidity") else "k"


def _scale(what: str) -> float:
    return JOULE_PER_KWH if what == "energy" else 1.0


def fitted_file(found: FittedBay, units: UnitSystem = "metric") -> str:
    """The bay as fitted, as the text of a bay file; what no key holds stands in its first lines."""
    head = [
        "# Made with ventcalc fit: airflow, fan efficiency and U-values are as fitted to a log."
    ]
    head += [
        f"# {WORDS[one.name]}: {one.factor:.2f} times the crop data; no key of a bay file holds it."
        for one in found.factors
        if one.name in IN_CROP and one.identified
    ]
    return "\n".join([*head, bay_to_toml(found.bay, units)])
