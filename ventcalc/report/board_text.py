"""All bays today as rows, as plain text, for JSON and as a page."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from ventcalc.advice.action import Action
from ventcalc.advice.reasons import reasons
from ventcalc.bay.calendar import STAGES
from ventcalc.farm.shared import SharedUse
from ventcalc.farm.today import BayToday
from ventcalc.report.data import advice_data
from ventcalc.report.diagnose_text import WORDS
from ventcalc.report.numbers import known
from ventcalc.report.pages import Verdict, page
from ventcalc.report.record_rows import share_words
from ventcalc.report.season_days import local
from ventcalc.report.sensor_text import checks_data, checks_lines
from ventcalc.report.table import bullets, table
from ventcalc.report.text import position_rows
from ventcalc.units import UnitSystem, show

__all__ = ["board_data", "board_page", "board_text"]

_UNITS = {"refrigeration": "W refrigeration", "humidifier": "kg/s", "heater": "W electrical"}


def board_rows(today: Sequence[BayToday], units: UnitSystem) -> list[list[str]]:
    """A row a bay, the heading first; what nobody read says so."""
    rows = [["bay", "read", "stage", "target", "coldest pulp", "warmest pulp", "CO2", "in store",
             "shrink so far", "alarms"]]  # fmt: skip
    for one in today:
        rows.append([one.place.bay.name, *_cells(one, units)])
    return rows


def _cells(one: BayToday, units: UnitSystem) -> list[str]:
    if one.advised is None:
        seen = ["no readings", "", "", "", "", ""]
    else:
        now = one.advised.advice.situation
        read = local(one.place.bay, now.readings.time)
        co2 = now.readings.co2
        seen = [
            f"{read:%d %b %H:%M}",
            STAGES[int(now.stage)].replace("_", " "),
            show(now.target, "degC", units),
            show(one.pulp_coldest, "degC", units, unknown="not known"),
            show(one.pulp_warmest, "degC", units, unknown="not known"),
            "not known" if math.isnan(co2) else f"{co2 * 1e6:,.0f} ppm",
        ]
    return [*seen, *_weight_cells(one, units), _alarm_cell(one)]


def _weight_cells(one: BayToday, units: UnitSystem) -> list[str]:
    weights, lost = one.weights, "not known"
    if one.expected is not None:
        lost = f"{share_words(one.expected.mass_loss, one.expected.doubt)} (log)"
    if weights is None:
        return ["not weighed", lost]
    if weights.complete:
        return ["all out", share_words(weights.mass_loss, weights.doubt)]
    return [show(max(weights.mass_in - weights.mass_out, 0.0), "kg", units), lost]


def log_lines(today: Sequence[BayToday]) -> list[str]:
    """Since when the shrink that is told by a log counts."""
    lines = []
    for one in today:
        weighed = one.weights is not None and one.weights.complete
        if one.expected is not None and not weighed:
            since = f"{local(one.place.bay, one.expected.begin):%d %b %Y}"
            lines.append(f"{one.place.bay.name}: shrink by its log, since {since}.")
    return lines


def sensor_lines(today: Sequence[BayToday], units: UnitSystem) -> list[str]:
    """What checks of the probes are worth in each bay that has some."""
    return [
        f"{one.place.bay.name}: {line}"
        for one in today
        if one.advised is not None and one.advised.checks is not None
        for line in checks_lines(one.advised.checks, one.place.bay.sensors, units)
    ]


def _alarm_cell(one: BayToday) -> str:
    return str(len(one.alarms)) if one.alarms else "none" if one.advised else "not known"


def worst_first(today: Sequence[BayToday]) -> list[BayToday]:
    """All bays: danger first, then what is wrong or not read, then those in order."""

    def rank(one: BayToday) -> int:
        if one.alarms:
            return one.alarms[0].level
        return 2 if one.advised is None or one.lapsed else 3 if one.problems else 4

    return sorted(today, key=rank)


def first_line(one: BayToday, units: UnitSystem) -> str:
    """What to do first in a bay."""
    if one.advised is None:
        return "Read the bay: nothing can be said without readings."
    old = ""
    if one.lapsed:
        hours = one.age / 3600.0
        since = f"{hours:.0f} h" if hours < 48.0 else f"{hours / 24.0:.0f} days"
        old = f"Read it anew: these readings are {since} old, and advice on them has lapsed. "
    if one.alarms:
        return f"{old}{one.alarms[0].text} {one.alarms[0].first}"
    advice, bay = one.advised.advice, one.place.bay
    if advice.action == Action.HANDS_OFF:
        return f"{old}Leave it to the controller's own program. {reasons(advice, bay, units)[0]}"
    if old:
        return old.rstrip()
    told = ", ".join(f"{name.lower()} {words}" for name, words, _ in position_rows(bay, advice))
    return f"{told[:1].upper()}{told[1:]}. {reasons(advice, bay, units)[0]}"


def shared_lines(shared: Sequence[SharedUse], units: UnitSystem) -> list[str]:
    """What is asked of each shared machine against what it can."""
    lines = []
    for use in shared:
        machine, unit = use.machine, _UNITS[use.machine.what]
        words = (
            f"{machine.name} ({machine.what}): {show(use.asked, unit, units)} asked of "
            f"{show(machine.capacity, unit, units)}"
        )
        parts = ", ".join(f"{bay} {show(amount, unit, units)}" for bay, amount in use.by_bay)
        words += f" ({parts})" if parts else ""
        if not use.enough:
            words += f": not enough for all at once; serve {use.by_bay[0][0]} first, it is the "
            words += "furthest above its target"
        if use.unknown:
            words += f"; without {', '.join(use.unknown)}, where no advice stands"
        lines.append(f"{words}.")
    return lines


def board_text(
    today: Sequence[BayToday], shared: Sequence[SharedUse], units: UnitSystem = "metric"
) -> str:
    """One table, then what to do first in each bay."""
    rows = board_rows(today, units)
    lines = [*table(rows, 0), "", "First:"]
    for one in worst_first(today):
        lines += bullets([f"{one.place.bay.name}: {first_line(one, units)}"])
        for alarm in one.alarms[1:]:
            lines += [f"    {line.strip()}" for line in bullets([f"{alarm.text} {alarm.first}"])]
    notes = [*log_lines(today), *sensor_lines(today, units)]
    lines += ["", *bullets(notes)] if notes else []
    if shared:
        lines += ["", "Shared equipment:", *bullets(shared_lines(shared, units))]
    wrong = [f"{one.place.name}: {problem}" for one in today for problem in one.problems]
    if wrong:
        lines += ["", "To be mended:", *bullets(wrong)]
    return "\n".join(lines)


def board_data(
    today: Sequence[BayToday], shared: Sequence[SharedUse], units: UnitSystem = "metric"
) -> dict[str, Any]:
    """All bays for JSON; null where nothing is known."""
    return {
        "bays": [_bay_data(one, units) for one in today],
        "shared": [
            {
                "name": use.machine.name,
                "what": use.machine.what,
                f"capacity_{_key(use)}": use.machine.capacity * _factor(use),
                f"asked_{_key(use)}": use.asked * _factor(use),
                "enough": use.enough,
                "unknown": list(use.unknown),
            }
            for use in shared
        ],
    }


def _key(use: SharedUse) -> str:
    return "kg_h" if use.machine.what == "humidifier" else "kw"


def _factor(use: SharedUse) -> float:
    return 3600.0 if use.machine.what == "humidifier" else 1e-3


def _bay_data(one: BayToday, units: UnitSystem) -> dict[str, Any]:
    weights = one.weights
    advice = None
    if one.advised is not None:
        given, found, memory, trust = one.advised
        advice = advice_data(one.place.bay, given, found, memory, units)
        if trust is not None:
            advice["sensor_checks"] = checks_data(trust)
        del advice["memory"], advice["caution"]
    return {
        "file": one.place.name,
        "bay": one.place.bay.name,
        "age_h": known(one.age / 3600.0, 6),
        "lapsed": one.lapsed,
        "pulp_coldest_c": known(one.pulp_coldest, 6),
        "pulp_warmest_c": known(one.pulp_warmest, 6),
        "co2_ppm": known(one.advised.given.readings.co2 * 1e6, 6) if one.advised else None,
        "mass_in_kg": weights.mass_in if weights else None,
        "mass_out_kg": weights.mass_out if weights else None,
        "mass_loss": known(weights.mass_loss, 6) if weights else None,
        "mass_loss_by_log": known(one.expected.mass_loss, 6) if one.expected else None,
        "mass_loss_by_log_uncertainty": known(one.expected.doubt, 6) if one.expected else None,
        "first": first_line(one, units),
        "advice": advice,
        "problems": list(one.problems),
    }


def board_page(
    today: Sequence[BayToday],
    shared: Sequence[SharedUse],
    units: UnitSystem = "metric",
    when: str = "",
) -> str:
    """One page for all bays; ``when`` is the time from which ages are counted."""
    alarmed = [
        [one.place.bay.name, WORDS[alarm.level], alarm.text, alarm.first]
        for one in worst_first(today)
        for alarm in one.alarms
    ]
    return page(
        "board.html",
        title=f"All bays, {when}",
        facts=[
            "Readings, logs and season folders that lie beside the bay files. Advice stands for "
            "the time that each bay file says, and lapses after it. ± is a standard uncertainty.",
            *log_lines(today),
            *sensor_lines(today, units),
        ],
        verdict=_verdict(today),
        rows=board_rows(today, units),
        do_first=[["bay", "do first"]]
        + [[one.place.bay.name, first_line(one, units)] for one in worst_first(today)],
        alarms=[["bay", "level", "what", "first"], *alarmed] if alarmed else [],
        shared=shared_lines(shared, units),
        problems=[f"{one.place.name}: {problem}" for one in today for problem in one.problems],
        bold=[row[2] for row in alarmed if row[1] == WORDS[1]],
    )


def _verdict(today: Sequence[BayToday]) -> Verdict:
    def named(bays: list[BayToday]) -> str:
        return ", ".join(one.place.bay.name for one in bays)

    danger = [one for one in today if one.alarms and one.alarms[0].level == 1]
    if danger:
        return Verdict("bad", "Go there first:", f"{named(danger)}.")
    alarmed = [one for one in today if one.alarms]
    if alarmed:
        return Verdict(
            "watch", "Look at", f"{named(alarmed)}; no danger to people or crop is seen."
        )
    dark = [one for one in today if one.advised is None or one.lapsed]
    if dark:
        return Verdict("watch", "Read anew:", f"{named(dark)}; what is read elsewhere is in order.")
    return Verdict("good", "No alarm", f"in {len(today)} bays.")
