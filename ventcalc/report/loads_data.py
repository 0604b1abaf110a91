"""Loads of a season as data for JSON, keys with units."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from ventcalc.bay.description import Bay
from ventcalc.logbook.filling import Filling
from ventcalc.logbook.folder import Logbook
from ventcalc.logbook.judge import Judgement
from ventcalc.logbook.kinds import Line
from ventcalc.report.loads_text import TAKE_WORDS, reason_words
from ventcalc.report.logbook_text import day_and_time
from ventcalc.report.numbers import known

__all__ = ["judgement_data", "loads_data"]


def judgement_data(judgement: Judgement) -> dict[str, Any]:
    """What is advised for a load, and why."""
    return {
        "advice": TAKE_WORDS[judgement.take],
        "reasons": [
            {"key": r.key, "text": reason_words(r, "metric"), "source": r.source}
            for r in judgement.reasons
        ],
    }


def loads_data(
    bay: Bay, book: Logbook, filling: Filling, judged: Sequence[tuple[Line[Any], Judgement]]
) -> dict[str, Any]:
    """The fill so far, and what every load was."""
    return {
        "bay": bay.name,
        "content_kg": filling.content,
        "capacity_kg": filling.full_mass,
        "rate_kg_per_day": known(filling.rate),
        "days_left": known(filling.days_left),
        "planned_days": filling.planned_days,
        "days": [
            {
                "day": day.day.isoformat(),
                "loads": day.loads,
                "mass_kg": day.mass,
                "content_kg": day.content,
                "pulp_temp_c": known(day.pulp_mean),
                "field_heat_w": day.field_heat,
                "respiration_w": day.respiration,
                "fans_w": day.fans,
                "fan_share": known(day.fan_share),
                "refrigeration_share": known(day.refrigeration_share),
            }
            for day in filling.days
        ],
        "loads": [
            {
                "line": line.number,
                "row": line.row,
                "time": day_and_time(bay, line.time),
                "lot": line.entry.lot,
                "net_kg": line.entry.net,
                **judgement_data(one),
            }
            for line, one in judged
        ],
        "problems": [problem.text for problem in book.problems],
    }
