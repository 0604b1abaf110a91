"""Loads of a season as text and for JSON: what each was, how the bay fills, what heat came in."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from ventcalc.bay.description import Bay
from ventcalc.logbook.filling import FillDay, Filling, FillPlan
from ventcalc.logbook.folder import Logbook
from ventcalc.logbook.judge import Judgement, Reason, Take
from ventcalc.logbook.kinds import Line
from ventcalc.report.logbook_text import day_and_time, problem_lines
from ventcalc.report.numbers import known
from ventcalc.report.table import bullets, table
from ventcalc.units import UnitSystem, reworded, show

__all__ = ["as_loaded_text", "judgement_data", "judgement_text", "loads_data", "loads_text",
           "plan_text"]  # fmt: skip

TAKE_WORDS = {
    Take.YES: "taken",
    Take.WARNING: "taken with a warning",
    Take.WAIT: "advised to wait",
}
_WORDS = {
    "frozen": "pulp {value}, and tubers freeze at {limit}: not into the bay; let it thaw apart "
    "and look at it again",
    "too_cold": "pulp {value} is below {limit}, where handling injures more: wait until the sun "
    "has warmed it",
    "too_warm": "pulp {value} is above {limit}, where decay in storage threatens: wait for the "
    "cool of the morning",
    "cool": "pulp {value} is below the best, {limit} and up: handle it gently",
    "warm": "pulp {value} is above the best, {limit} and down: air under it at once",
    "sweats": "{value} colder than the pile it falls on, more than {limit}: moist air from below "
    "will wet it; give it air of its own temperature, or wait",
    "uneven": "{value} warmer than the pile it falls on, more than {limit}: open the laterals "
    "under it first",
    "rot": "rot {value}, more than {limit}: keep it apart, dry, near the door, and first out",
    "frost": "frosted {value}, more than {limit}: keep it apart, dry, near the door, first out",
    "soil": "soil makes it {value} times as hard to blow through: clean it better, and keep it "
    "from falling in one heap",
    "fall": "fell {value}, more than {limit}: lower the boom, or bruises let rot in",
    "wet": "wet: much air and no humidifier until the skin is dry",
    "not_measured": "pulp not measured: probe the middle of every load",
}

HOW_TO_LOG = (
    '`ventcalc log BAY loads lot=A gross="84000 lb" tare="24000 lb" pulp="57 degF"` writes one'
)


def reason_words(reason: Reason, units: UnitSystem) -> str:
    """Why a load is not simply taken, with its numbers."""
    value, limit = (
        f"{x:.2f}" if reason.unit == "1" else show(x, reason.unit, units)
        for x in (reason.value, reason.limit)
    )
    return _WORDS[reason.key].format(value=value, limit=limit)


def judgement_text(judgement: Judgement, units: UnitSystem) -> str:
    """One load: what is advised, why, and by whom."""
    words = TAKE_WORDS[judgement.take]
    lines = [f"{words[0].upper()}{words[1:]}{':' if judgement.reasons else ''}"]
    lines += bullets(
        f"{reason_words(reason, units)} ({reworded(reason.source, units)})"
        for reason in judgement.reasons
    )
    return "\n".join(lines)


def loads_text(
    bay: Bay,
    book: Logbook,
    filling: Filling,
    judged: Sequence[tuple[Line[Any], Judgement]],
    units: UnitSystem,
    last: int | None,
) -> str:
    """The fill so far, and every load that is not simply taken."""
    if not judged:
        return "\n".join(
            [f"{bay.name}: no loads in {book.folder}; {HOW_TO_LOG}", *problem_lines(book)]
        )
    count = f"{len(judged):,} load{'s' if len(judged) > 1 else ''}"
    head = f"{bay.name}: {count}, {show(filling.content, 'kg', units)} in the bay"
    lines = [f"{head}, {filling.share:.0%} of a full one", *_pace(filling, units), ""]
    lines += table([_heads(bay, units), *(_day(bay, day, units) for day in filling.days)])
    lines += ["", *_heat_words(bay, units)]
    counts = {take: sum(1 for _, one in judged if one.take == take) for take in Take}
    told = ", ".join(f"{count:,} {TAKE_WORDS[take]}" for take, count in counts.items())
    lines += ["", f"Loads: {told}"]
    doubtful = [(line, one) for line, one in judged if one.take != Take.YES]
    groups = _alike(doubtful, units)
    some = groups if last is None else groups[-last:]
    older = len(doubtful) - sum(map(len, some))
    if older:
        lines.append(f"  ({older} older ones; --all shows them)")
    lines += bullets(_load_words(bay, alike, units) for alike in some)
    sources = dict.fromkeys(r.source for alike in some for _, one in alike for r in one.reasons)
    if sources:
        lines += ["", "Limits from:", *bullets(reworded(one, units) for one in sources)]
    return "\n".join([*lines, *problem_lines(book)])


def _alike(
    some: Sequence[tuple[Line[Any], Judgement]], units: UnitSystem
) -> list[list[tuple[Line[Any], Judgement]]]:
    """Loads of which the same is said one after the other, together."""
    found: list[list[tuple[Line[Any], Judgement]]] = []
    last: Any = None
    for line, one in some:
        words = (line.entry.lot, one.take, _why(one, units))
        if found and words == last and line.row == found[-1][-1][0].row + 1:
            found[-1].append((line, one))
        else:
            found.append([(line, one)])
        last = words
    return found


def _why(one: Judgement, units: UnitSystem) -> str:
    return "; ".join(reason_words(reason, units) for reason in one.reasons)


def _load_words(bay: Bay, alike: Sequence[tuple[Line[Any], Judgement]], units: UnitSystem) -> str:
    (line, one), (last, _) = alike[0], alike[-1]
    name = f"line {line.number}" if line.number else f"row {line.row}"
    when = day_and_time(bay, line.time)
    lot = line.entry.lot
    if len(alike) > 1:
        name = f"{name.replace(' ', 's ', 1)} to {last.number or last.row}"
        when = f"{when} to {day_and_time(bay, last.time)}"
        lot = f"{len(alike)} loads of {lot}"
    return f"{name}, {when}, {lot}, {TAKE_WORDS[one.take]}: {_why(one, units)}"


def _pace(filling: Filling, units: UnitSystem) -> list[str]:
    if math.isnan(filling.rate):
        return []
    more = f"{filling.days_left:.1f} more days at that rate"
    left = more if filling.days_left >= 0.05 else "the bay is full"
    days = (filling.days[-1].day - filling.days[0].day).days + 1
    return [
        f"Lately {show(filling.rate, 'kg', units)} a day: {left}; day {days} of "
        f"{filling.planned_days:.0f} planned"
    ]


def _heads(bay: Bay, units: UnitSystem) -> list[str]:
    plant = ["plant"] if bay.refrigeration else []
    return ["day", "loads", "crop", "pulp", "field heat", "respiration", "fans, h", *plant]


def _day(bay: Bay, day: FillDay, units: UnitSystem) -> list[str]:
    fans = f"{24.0 * day.fan_share:.1f}" if day.fan_share <= 1.0 else "over 24"
    plant = [f"{day.refrigeration_share:.0%}"] if bay.refrigeration else []
    return [
        f"{day.day:%a %d %b}",
        str(day.loads),
        show(day.mass, "kg", units),
        show(day.pulp_mean, "degC", units),
        show(day.field_heat, "W", units, 0),
        show(day.respiration, "W", units, 0),
        fans,
        *plant,
    ]


def _heat_words(bay: Bay, units: UnitSystem) -> list[str]:
    colder = show(bay.limits.supply_difference, "delta_degC", units)
    healing = show(bay.schedule.healing_temperature, "degC", units)
    plant = (
        " Plant: this heat and the fans' own over what refrigeration takes out in 20 h of a day."
        if bay.refrigeration
        else " The bay has no refrigeration."
    )
    return bullets(
        [
            f"Heat, mean of the day: each day's loads brought to {healing} within it, and the "
            "respiration of all that is in; walls, ceiling, leaks and fresh air come on top.",
            f"Fans: hours at full speed that carry it off with air {colder} colder than the pulp."
            f"{plant}",
        ]
    )


def plan_text(plan: FillPlan, mass: float, units: UnitSystem) -> str:
    """How fast a bay could be filled, and what sets the rate."""
    slow = {
        "harvester": "the harvester sets the rate: trucks wait for it",
        "trucks": f"the trucks set the rate: {plan.enough_trucks} keep harvester or piler busy",
        "piler": "the piler sets the rate: trucks queue at the bay",
    }[plan.binds]
    return (
        f"{show(mass, 'kg', units)} at {plan.loads_per_day:.0f} loads a day: {plan.days:.1f} days; "
        f"{slow}"
    )


def as_loaded_text(bay: Bay, units: UnitSystem) -> str:
    """What a season begins from where it is what was weighed in."""
    part, days = bay.mass / bay.pile.capacity, bay.schedule.fill_days / 86400.0
    return (
        f"As loaded: {show(bay.mass, 'kg', units)}, {part:.0%} of a full pile, at "
        f"{show(bay.loading_temperature, 'degC', units)}, in {days:.1f} days "
        f"from {bay.schedule.fill_start} on. The season takes it as one level column, filled "
        "evenly at that temperature; `ventcalc loads BAY --zones` follows the pile zone by zone."
    )


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
