"""What checks of the probes did to the advice, as plain text and for JSON."""

from __future__ import annotations

from typing import Any

from ventcalc.bay.description import Sensors
from ventcalc.diagnose.margin import LogMargin
from ventcalc.logbook.checked_sensors import CheckedSensors
from ventcalc.units import UnitSystem, show

__all__ = ["checks_data", "checks_lines"]

LEAST_WARM, LEAST_HUMID = 0.05, 0.005
"""Corrections less than these are made and not told. [K, 0-1]"""


def checks_lines(
    trust: CheckedSensors, shipped: Sensors, units: UnitSystem, learnt: LogMargin | None = None
) -> list[str]:
    """
    How far the probes are trusted by their checks, and what was corrected; empty without any check.

    ``learnt`` is what a log did to the margin, where the site asked for it.
    """
    lines = []
    if trust.checked and (learnt is None or learnt.why_not):
        lines.append(_trusted(trust, shipped, units))
    if learnt is not None:
        lines.append(_by_log(learnt, units))
    off = []
    for key, offset in trust.offsets.items():
        humid = key.endswith("_rh")
        if abs(offset) >= (LEAST_HUMID if humid else LEAST_WARM):
            size = show(abs(offset), "1 percent" if humid else "delta_degC", units)
            off.append(f"{_name(key)} {size} too {'high' if offset > 0.0 else 'low'}")
    if off:
        lines.append(f"Corrected by their checks, reading {', '.join(off)}.")
    return [*lines, *(f"Sensor checks: {remark}." for remark in trust.remarks)]


def _trusted(trust: CheckedSensors, shipped: Sensors, units: UnitSystem) -> str:
    now, parts = trust.sensors, []
    for value, usual, unit in (
        (now.temperature, shipped.temperature, "delta_degC"),
        (now.humidity, shipped.humidity, "1 percent"),
    ):
        if value < usual:
            digits = 2 if unit == "delta_degC" else 1
            parts.append(f"{show(value, unit, units, digits)} in place of "
                         f"{show(usual, unit, units, digits)}")  # fmt: skip
    lacks = f"not checked: {', '.join(trust.unchecked)}" if trust.unchecked else ""
    if not parts:
        return (
            "Sensor checks: the margin stays as without them; "
            f"{lacks or 'they are too old, check anew'}."
        )
    return f"Sensors are trusted to {' and '.join(parts)} by their checks{lacks and f'; {lacks}'}."


def _by_log(learnt: LogMargin, units: UnitSystem) -> str:
    usual = show(learnt.usual_margin, "delta_degC", units)
    if learnt.why_not:
        return f"Margin against wetting {usual}, not changed by the log: {learnt.why_not}."
    size, known = (
        show(abs(value), "delta_degC", units)
        for value in (learnt.difference, learnt.standard_uncertainty)
    )
    way = "nearer to the pulp" if learnt.difference < 0.0 else "farther from the pulp"
    return (
        f"Margin against wetting {show(learnt.margin, 'delta_degC', units)} in place of {usual}: "
        f"by the log the plenum's dew point lies {size} {way} than read, known to {known}."
    )


def _name(key: str) -> str:
    return key.replace("pulp probe", "pulp").removesuffix("_temp_c").replace("_rh", " humidity")


def checks_data(trust: CheckedSensors, learnt: LogMargin | None = None) -> dict[str, Any]:
    """For JSON: standard uncertainties, offsets by key, what counts and what lacks."""
    by_log = {}
    if learnt is not None:
        by_log["by_log"] = {
            "margin_k": round(learnt.margin, 3),
            "usual_margin_k": round(learnt.usual_margin, 3),
            "not_changed": learnt.why_not or None,
        }
    return {
        **by_log,
        "standard_uncertainty_k": round(trust.sensors.temperature, 4),
        "standard_uncertainty_rh": round(trust.sensors.humidity, 5),
        "checked": list(trust.checked),
        "not_checked": list(trust.unchecked),
        "taken_off": {
            key.replace("pulp probe ", "pulp_").removesuffix("_c"): round(offset, 5)
            for key, offset in trust.offsets.items()
        },
        "remarks": list(trust.remarks),
    }
