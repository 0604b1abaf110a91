"""The season's record as rows: for the whole farm, a bay, its lots, its months, what was done."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import fields
from typing import Any

from ventcalc.farm.record import BayRecord, farm_shrink
from ventcalc.logbook.columns import stem
from ventcalc.logbook.probe_checks import probe_offset
from ventcalc.logbook.weights import Shrink
from ventcalc.report.diagnose_text import WORDS
from ventcalc.report.logbook_text import day_and_time, entry_data, offset_text
from ventcalc.report.season_days import local
from ventcalc.units import UnitSystem, show

__all__ = ["departure_rows", "farm_rows", "followed_lines", "found_rows", "lot_rows", "money_lines",
           "month_rows", "share_words", "surprise_words", "told_data", "told_rows"]  # fmt: skip

DEPARTURES = 20
"""So many stretches without following are told, the longest."""
SURPRISE = 2.0
"""Standard uncertainties beyond which weight and expectation do not agree (about 95 %)."""


def share_words(value: float, doubt: float) -> str:
    """A share with its standard uncertainty."""
    digits = 1 if doubt >= 5e-4 else 2
    return f"{100 * value:.{digits}f}% ± {100 * doubt:.{digits}f}%"


def _weight(mass: float, units: UnitSystem) -> str:
    return show(mass, "kg", units) if mass > 0.0 else "none"


def shrink_words(shrink: Shrink) -> str:
    """What was lost, with its standard uncertainty."""
    if shrink.mass_in <= 0.0:
        return "not weighed"
    return share_words(shrink.mass_loss, shrink.doubt) if shrink.complete else "not all out"


def _expected_words(one: BayRecord) -> str:
    if one.expected is None:
        return "not known"
    return share_words(one.expected.mass_loss, one.expected.doubt)


def surprise_words(one: BayRecord) -> str:
    """Whether weight and expectation agree."""
    if one.expected is None:
        return (
            "What was to be expected cannot be told: that takes a log of pulp, plenum temperature "
            "and plenum humidity."
        )
    span = " to ".join(
        f"{local(one.place.bay, t):%d %b %Y}" for t in (one.expected.begin, one.expected.end)
    )
    words = (
        f"By the log from {span} {_expected_words(one)} was to be expected: water "
        f"{100 * one.expected.water_loss:.1f}%, dry matter "
        f"{100 * one.expected.dry_matter_loss:.1f}%"
    )
    if one.total.complete and math.isnan(one.surprise):
        return (
            f"{words}; the log covers {one.expected.covered:.0%} of the time that crop lay in the "
            "bay, too little to hold it against the weights."
        )
    if math.isnan(one.surprise):
        weighed = "is not all out yet" if one.total.mass_in > 0.0 else "was not weighed"
        return f"{words}; the crop {weighed}."
    if abs(one.surprise) <= SURPRISE:
        return f"{words}; the weights agree with it within their uncertainty."
    more = "more" if one.surprise > 0.0 else "less"
    return (
        f"{words}; by weight {more} was lost, by {abs(one.surprise):.1f} standard uncertainties: "
        "look for rot, soil, a scale, trucks not written down."
    )


def farm_rows(records: Sequence[BayRecord], units: UnitSystem) -> list[list[str]]:
    """A row a bay and one for all, the heading first."""
    rows = [["bay", "weight in", "weight out", "shrink by weight", "expected by log",
             "electricity", "treatments", "inspections", "findings"]]  # fmt: skip
    for one in records:
        kinds = [kind for kind, _ in one.told]
        rows.append(
            [
                one.place.bay.name,
                _weight(one.total.mass_in, units),
                _weight(one.total.mass_out, units),
                shrink_words(one.total),
                _expected_words(one),
                _energy(one.energy),
                str(kinds.count("treatments")),
                str(kinds.count("inspections")),
                str(len(one.diagnosis.findings)) if one.diagnosis else "no log",
            ]
        )
    if len(records) > 1:
        loss, doubt = farm_shrink(records)
        logged = [one.energy for one in records if not math.isnan(one.energy)]
        rows.append(
            [
                "Whole farm",
                show(sum(one.total.mass_in for one in records), "kg", units),
                show(sum(one.total.mass_out for one in records), "kg", units),
                "not all out" if math.isnan(loss) else share_words(loss, doubt),
                "",
                _energy(math.fsum(logged) if logged else math.nan),
                *(str(sum(int(row[k]) for row in rows[1:])) for k in (6, 7)),
                "",
            ]
        )
    return rows


def _energy(energy: float) -> str:
    return "not logged" if math.isnan(energy) else f"{energy / 3.6e6:,.0f} kWh"


def money_lines(one: BayRecord, units: UnitSystem) -> list[str]:
    """What electricity and shrink cost, at the prices of the bay file."""
    costs, lines = one.place.bay.costs, []
    if not math.isnan(one.energy):
        line = f"Electricity: {_energy(one.energy)}"
        if one.total.mass_in > 0.0:
            line += f", {one.energy / 3.6e6 / (one.total.mass_in / 1000.0):.1f} kWh per tonne in"
        lines.append(f"{line}; {costs.currency} {costs.electricity * one.energy:,.0f}.")
    if one.total.complete:
        lost = one.total.mass_in - one.total.mass_out
        lines.append(
            f"Lost weight: {show(lost, 'kg', units)}; {costs.currency} {costs.crop * lost:,.0f}."
        )
    return lines


def lot_rows(one: BayRecord, units: UnitSystem) -> list[list[str]]:
    """A row a lot, the heading first."""
    rows = [["lot", "variety", "field", "in", "out", "shrink", "pulp at loading", "rot seen",
             "speaks against it"]]  # fmt: skip
    for state, shrink in one.lots:
        entry = state.entry
        rows.append(
            [
                entry.lot,
                " ".join(filter(None, (entry.variety, entry.seed_class))),
                entry.field or "",
                show(shrink.mass_in, "kg", units),
                show(shrink.mass_out, "kg", units),
                shrink_words(shrink),
                show(state.pulp_mean, "degC", units, unknown="not read"),
                show(state.rot_share, "1 percent", units),
                ", ".join(state.against),
            ]
        )
    told = [k for k in range(len(rows[0])) if any(row[k] for row in rows[1:])]
    return [[row[k] for k in told] for row in rows] if told else rows


def month_rows(one: BayRecord, units: UnitSystem) -> list[list[str]]:
    """A row a month of the log, the heading first."""
    rows = [["month", "coldest pulp", "mean pulp", "warmest pulp", "coldest supply", "highest CO2",
             "fans ran", "electricity"]]  # fmt: skip
    for month in one.months:
        warmths = (
            month.pulp_coldest,
            month.pulp_mean,
            month.pulp_warmest,
            month.least_plenum_temperature,
        )
        rows.append(
            [
                f"{local(one.place.bay, month.begin):%b %Y}",
                *(show(t, "degC", units, unknown="") for t in warmths),
                "" if math.isnan(month.co2) else f"{month.co2 * 1e6:,.0f} ppm",
                f"{month.fan_time / 3600.0:,.0f} h",
                "" if math.isnan(month.energy) else _energy(month.energy),
            ]
        )
    return rows


def found_rows(one: BayRecord) -> list[list[str]]:
    """A row for each thing that the log shows to be wrong, the heading first."""
    rows = [["since", "until", "level", "what", "how sure"]]
    for finding in one.diagnosis.findings if one.diagnosis else ():
        rows.append(
            [finding.since[:10], finding.until[:10], WORDS[finding.level], finding.text,
             finding.sure]
        )  # fmt: skip
    return rows


def followed_lines(one: BayRecord) -> list[str]:
    """How much of the advice was followed, and what stood in its way."""
    if one.followed is None:
        return []
    if math.isnan(one.followed.share):
        return ["Advice: none stood while the log knows what was done."]
    hours = one.followed.advised_time / 3600.0
    lines = [
        f"Advice was followed in {one.followed.share:.0%} of {hours:,.0f} h in which it stood."
    ]
    away = {k: t for k, t in one.followed.device_time.items() if t > 0.0}
    if away:
        told = ", ".join(f"{k.replace('_', ' ')} {t / 3600.0:,.0f} h" for k, t in away.items())
        lines.append(f"Something else was done by: {told}.")
    if one.followed.silent_time:
        silent = one.followed.silent_time.items()
        told = ", ".join(f"{reason} {t / 3600.0:,.0f} h" for reason, t in silent)
        lines.append(f"Nothing was advised: {told}.")
    return lines


def departure_rows(one: BayRecord) -> list[list[str]]:
    """A row for each of the longest stretches in which something else was done, by time."""
    rows = [["from", "hours", "what was done otherwise", "why"]]
    longest = one.followed.departures[:DEPARTURES] if one.followed else ()
    for part in sorted(longest, key=lambda part: part.begin):
        begin = day_and_time(one.place.bay, part.begin)
        devices = ", ".join(name.replace("_", " ") for name in part.devices)
        hours = f"{(part.end - part.begin) / 3600.0:.0f}"
        rows.append([begin, hours, devices, part.why or "no reason written down"])
    return rows


def told_rows(one: BayRecord, units: UnitSystem) -> list[list[str]]:
    """A row for each thing that was done, checked or seen, by time, the heading first."""
    rows = [["time", "kind", "what", "who"]]
    for kind, line in one.told:
        words = _words(kind, line, units)
        note = f" ({line.note})" if line.note else ""
        when = day_and_time(one.place.bay, line.time)
        rows.append([when, kind.replace("_", " ").removesuffix("s"), f"{words}{note}", line.who])
    return rows


def _words(kind: str, line: Any, units: UnitSystem) -> str:
    entry = line.entry
    if kind == "sensor_checks":
        return offset_text(probe_offset(entry, line.time), units)
    if kind == "settings":
        before = f" from {entry.before}" if entry.before else ""
        return f"{entry.what}{before} to {entry.after}{f': {entry.why}' if entry.why else ''}"
    parts = []
    for field in fields(entry):
        value, unit = getattr(entry, field.name), field.metadata["unit"]
        if isinstance(value, float):
            value = show(value, "1 percent" if unit == "1" else unit, units)
        if value:
            words = "" if field.name == "what" else f"{stem(field.name)} "
            parts.append(f"{words}{value}".replace("_", " "))
    return ", ".join(parts)


def told_data(one: BayRecord) -> list[dict[str, Any]]:
    """What was done, checked or seen, for JSON."""
    return [
        {
            "kind": kind,
            "time": local(one.place.bay, line.time).isoformat(),
            "who": line.who,
            "note": line.note,
            **entry_data(line.entry),
        }
        for kind, line in one.told
    ]
