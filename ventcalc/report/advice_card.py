"""One piece of advice as a card of a page."""

from __future__ import annotations

from typing import Any

from ventcalc.advice.advise import Action, Advice
from ventcalc.advice.alarms import alarms
from ventcalc.advice.readings import Memory
from ventcalc.advice.readings_file import ReadingsFile
from ventcalc.advice.reasons import reasons
from ventcalc.bay.calendar import STAGES
from ventcalc.bay.description import Bay
from ventcalc.report.season_days import local
from ventcalc.report.text import expected_supply, margin_rows, outside_words, position_rows
from ventcalc.units import UnitSystem, reworded

__all__ = ["advice_card"]


def advice_card(
    title: str,
    bay: Bay,
    given: ReadingsFile,
    advice: Advice,
    memory: Memory,
    units: UnitSystem = "metric",
) -> dict[str, Any]:
    """What stands on the card, as ``season.html`` names it."""
    now = advice.situation
    start, end = local(bay, now.readings.time), local(bay, now.readings.time + advice.valid_for)
    stage = STAGES[int(now.stage)].replace("_", " ")
    first, *others = reasons(advice, bay, units)
    headline, colon, rest = first.partition(":")
    known = advice.action != Action.HANDS_OFF
    return {
        "title": title,
        "note": given.note or "",
        "when": f"{start:%a} {start.day} {start:%b %Y, %H:%M %Z}, {stage}",
        "until": f"{end:%H:%M %Z}",
        "headline": headline.rstrip("."),
        "alarms": [(alarm.text, alarm.first) for alarm in alarms(advice, bay, memory, units)],
        "doubts": [reworded(doubt, units) for doubt in given.doubts],
        "positions": position_rows(bay, advice) if known else (),
        "supply": expected_supply(advice, units) if known else "",
        "why": [line for line in (_sentence(rest) if colon else "", *others) if line],
        "outside": outside_words(advice) if known else "",
        "margins": margin_rows(advice, bay, units) if known else (),
    }


def _sentence(text: str) -> str:
    text = text.strip()
    return text[:1].upper() + text[1:]
