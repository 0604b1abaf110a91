"""A pile check at a glance: verdict, what binds, four figures beside their limits."""

from __future__ import annotations

import math

from ventcalc.check.check import TALLEST_HEIGHT, PileCheck
from ventcalc.check.record import CANNOT_SAY, MARGINAL, NO, Check
from ventcalc.report.check_text import headline
from ventcalc.report.pages import Glance, Verdict
from ventcalc.units import UnitSystem, show

__all__ = ["ASSUMED", "CAUTION_LINE", "check_glances", "check_verdict"]

CAUTION_LINE = (
    "This is a calculation before fill, no check of the wall: a licensed structural engineer must "
    "check walls, anchors and floor. Test the air for CO2 and oxygen before anyone goes in; never "
    "alone."
)
"""The one line at the top; all of them stand at the end."""
ASSUMED = "Outside states are assumed, not taken from weather at the site."


def check_verdict(result: PileCheck, units: UnitSystem = "metric") -> Verdict:
    """May this bay be filled to this height, and what binds?"""
    verdicts = {check.verdict for check in result.checks}
    answer = headline(result, units)
    word, colon, rest = answer.partition(": ")
    if not colon:
        word, _, rest = answer.partition(", ")
        word, rest = (f"{word}.", f"{rest[:1].upper()}{rest[1:]}") if rest else (answer, "")
    else:
        word, rest = f"{word}:", rest
    state = "bad" if NO in verdicts else "good"
    if state == "good" and (CANNOT_SAY in verdicts or MARGINAL in verdicts):
        state = "watch"
    return Verdict(state, word, f"{rest} {_binding(result, units)}".strip())


def _binding(result: PileCheck, units: UnitSystem) -> str:
    if result.check("airflow").verdict == CANNOT_SAY and result.highest == 0.0:
        return ""
    if result.highest == 0.0:
        return "No height passes."
    if not result.binds:
        return f"No check fails up to {show(TALLEST_HEIGHT, 'm', units)}."
    return (
        f"The highest pile that passes is {show(result.highest, 'm', units)}; what binds is "
        f"{'; '.join(result.binds)}."
    )


def check_glances(result: PileCheck, units: UnitSystem = "metric") -> list[Glance]:
    """Height, crop, airflow and rise at fill, each beside its limit."""
    highest = "none" if result.highest == 0.0 else show(result.highest, "m", units)
    return [
        Glance("Highest pile that passes", highest, f"Asked: {show(result.height, 'm', units)}"),
        Glance("Crop at this height", show(result.mass, "kg", units),
               f"Planned: {show(result.bay.mass, 'kg', units)}"),
        _beside(result.check("airflow"), "Airflow of the crop", "at least", units),
        _beside(result.check("rise_fill"), "Rise through the pile, fill", "at most", units),
    ]  # fmt: skip


def _beside(check: Check, label: str, which: str, units: UnitSystem) -> Glance:
    if math.isnan(check.value):
        return Glance(label, "unknown", str(check.verdict))
    limit = show(check.limit, check.unit, units, unknown="no limit")
    return Glance(label, show(check.value, check.unit, units),
                  f"Wanted {which} {limit}: {check.verdict}")  # fmt: skip
