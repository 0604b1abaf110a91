"""Plan against actual as plain text, for JSON and as a page."""

from __future__ import annotations

import math
from datetime import date
from typing import Any

import numpy as np

from ventcalc.bay.description import Bay
from ventcalc.logbook.judge import FROST, FROZEN, ROT
from ventcalc.report.numbers import known
from ventcalc.report.pages import Figure, Glance, Part, Verdict, page
from ventcalc.report.season_days import noon
from ventcalc.report.table import bullets, table
from ventcalc.stages.dormancy import SOURCES
from ventcalc.stages.progress import Progress
from ventcalc.units import UnitSystem, convert, show, shown_unit
from ventcalc.web.chart import Line, chart

__all__ = ["stages_data", "stages_page", "stages_text"]

DAY = 86400.0
UNMEASURED = "No pulp was measured: everything below takes the plan for what happened"
_EARLY = ("filling", "wound_healing", "cool_down")


def stages_text(bay: Bay, told: Progress, units: UnitSystem) -> str:
    """All that can be said today."""
    pulp, target = (show(x, "degC", units) for x in (told.pulp, told.target))
    head = [
        f"{bay.name}, {told.today:%d %b %Y}: {plain(told.stage)} by the calendar, pulp {pulp}"
        f"{_old(told)}, planned {target}"
    ]
    if not told.measured:
        head.append(UNMEASURED)
    parts = ["\n".join([*head, *table(stage_rows(told))])]
    for title, lines in stage_parts(bay, told, units):
        parts.append("\n".join([f"{title}:", *bullets(lines)]))
    parts.append("From:\n" + "\n".join(bullets(SOURCES)))
    return "\n\n".join(parts)


def stage_rows(told: Progress) -> list[list[str]]:
    """A row a stage, the heading first."""
    rows = [["stage", "planned", "", "actual", ""]]
    rows += [
        [
            plain(row.stage),
            *(_day(d) for d in (row.planned_begin, row.planned_end)),
            *(_day(d) for d in (row.actual_begin, row.actual_end)),
        ]
        for row in told.stages
    ]
    return rows


def stage_parts(bay: Bay, told: Progress, units: UnitSystem) -> list[tuple[str, list[str]]]:
    """Titles, and what stands below each."""
    parts = [
        ("Healing and cooling", _way_lines(bay, told, units)),
        ("Sprouting, without any inhibitor", _sprout_lines(told, units)),
    ]
    if told.stage in _EARLY:
        parts.append(("To heal or to cool at once", _choice_lines(told, units)))
    if told.reconditioning:
        parts.append(("Reconditioning", _recondition_lines(told, units)))
    return parts


def plain(stage: str) -> str:
    """A stage in words."""
    return stage.replace("_", " ")


def _old(told: Progress) -> str:
    """The day of a pulp that nobody has measured since."""
    day = told.pulp_day
    return "" if day is None or (told.today - day).days < 2 else f" as measured on {day:%d %b}"


def _degree_days(amount: float, units: UnitSystem) -> str:
    """Warmth above 4 °C by days. [K days]"""
    number, unit = (amount, "K") if units == "metric" else (1.8 * amount, "°F")
    return f"{number:,.0f} {unit} days above {show(4.0, 'degC', units)}"


def _day(day: date | None) -> str:
    return f"{day:%d %b}" if day else "-"


def _way_lines(bay: Bay, told: Progress, units: UnitSystem) -> list[str]:
    least, plan, most = told.healed_by
    ramp = show(told.ramp, "delta_degC/s", units, unknown="not measured")
    sure, likely = told.holding_from
    lines = [
        f"healed {told.healed / DAY:.1f} of {told.healing_wanted / DAY:.1f} days' worth at "
        f"{show(12.8, 'degC', units)}: done on {_day(plan)}; one to three weeks' worth (Univ. of "
        f"Nebraska) {_day(least)} to {_day(most)}",
        f"cooling {ramp} over the last week, planned at most "
        f"{show(bay.schedule.ramp, 'delta_degC/s', units)}",
    ]
    if told.stage in _EARLY:
        lines.append(
            f"holding at the planned ramp from today: {_day(sure)}; at the measured one: "
            f"{_day(likely)}"
        )
    off = told.pulp - told.target
    if abs(off) > bay.limits.band:
        lines.append(
            f"pulp is {show(abs(off), 'delta_degC', units)} "
            f"{'warmer' if off > 0 else 'colder'} than planned"
        )
    return lines


def _sprout_lines(told: Progress, units: UnitSystem) -> list[str]:
    one = told.sprouts
    when = (
        "not before the bay is empty"
        if one.earliest is None
        else f"from {one.earliest:%d %b} (a short dormancy) "
        + (
            f"to {one.latest:%d %b} (a long one)"
            if one.latest
            else "on; a long one not this season"
        )
    )
    due = one.earliest is not None and one.earliest <= told.today
    return [
        f"sprouts may show {when}; buds peep two to four weeks before"
        + ("; look for them now" if due else ""),
        f"{one.used_least:.0%} to {one.used_most:.0%} of dormancy is past; "
        f"{_degree_days(one.degree_days, units)}",
        "a warm week counts more than a cold month: look at tubers of every depth, not at the "
        "door; the variety's own days (--dormancy) narrow the span",
    ]


def _choice_lines(told: Progress, units: UnitSystem) -> list[str]:
    both = told.healing
    lines = [
        f"{name}: shrink until re-warming {show(one.mass_loss, '1 percent', units)}, wounds closed "
        f"as planned after {_days(closes)}, {_degree_days(one.degree_days, units)} "
        f"in which rot spreads"
        for name, one, closes in (
            ("heal as planned", both.heal, both.heal_closes),
            ("cool at once", both.cool, both.cool_closes),
        )
    ]
    saves = (
        f"healing saves {100.0 * both.gain:.2f}% of weight; it has cost more if rot then stands "
        f"above {100.0 * both.break_even:.2f}%"
        if both.gain > 0.0
        else "healing saves no weight here, as skin closes during a slow cool-down too"
    )
    lines.append(
        f"rot {show(told.rot_share, '1 percent', units)}, frost "
        f"{show(told.frost_share, '1 percent', units)}: {saves}. Its use is that wounds close "
        "sooner; the rot that this keeps out is not in the model"
    )
    if told.rot_share > ROT[1] or told.frost_share > FROST[1]:
        lines.append(
            f"above {show(ROT[1], '1 percent', units)} rotten or frosted (common practice, no "
            f"source): do not heal; dry it, cool it, and first out ({FROZEN})"
        )
    elif told.rot_share > ROT[0] or told.frost_share > FROST[0]:
        lines.append(
            "doubtful: dry it first, then heal at the cool end, and sample again within a week"
        )
    return lines


def _days(time: float) -> str:
    return f"{time / DAY:.0f} days" if time < math.inf else "more than the season"


def _recondition_lines(told: Progress, units: UnitSystem) -> list[str]:
    one = told.reconditioning
    assert one is not None
    more = one.warm.mass_loss - one.held.mass_loss
    return [
        f"warm from {_day(one.begins)}, at {show(one.temperature, 'degC', units)} from "
        f"{_day(one.warm_from)} to the first truck on {_day(one.until)} (AHDB, Mar 2013: 12 to "
        "15 °C, sampling often)",
        f"costs {100.0 * more:.2f}% of weight more than holding, and "
        f"{one.dormancy_used[0]:.0%} to {one.dormancy_used[1]:.0%} of a dormancy; rot spreads "
        "faster too",
        "fry samples decide when it is done: sugars are not modelled, and old crop may not turn",
    ]


def stages_data(bay: Bay, told: Progress) -> dict[str, Any]:
    """The same for JSON, keys with units."""
    both, again = told.healing, told.reconditioning
    return {
        "bay": bay.name,
        "today": told.today.isoformat(),
        "stage": told.stage,
        "measured_days": told.measured,
        "pulp_temp_c": told.pulp,
        "planned_temp_c": told.target,
        "stages": [
            {
                "stage": row.stage,
                "planned_begin": _iso(row.planned_begin),
                "planned_end": _iso(row.planned_end),
                "actual_begin": _iso(row.actual_begin),
                "actual_end": _iso(row.actual_end),
            }
            for row in told.stages
        ],
        "healed_days": told.healed / DAY,
        "healing_wanted_days": told.healing_wanted / DAY,
        "healed_by": [_iso(day) for day in told.healed_by],
        "ramp_k_per_day": known(told.ramp * DAY),
        "holding_from": [_iso(day) for day in told.holding_from],
        "sprouting": {
            "earliest": _iso(told.sprouts.earliest),
            "latest": _iso(told.sprouts.latest),
            "dormancy_used_least": told.sprouts.used_least,
            "dormancy_used_most": told.sprouts.used_most,
            "degree_days_above_4_c": told.sprouts.degree_days,
            "sources": list(SOURCES),
        },
        "healing_choice": {
            "rot_share": told.rot_share,
            "frost_share": told.frost_share,
            "gain": both.gain,
            "break_even_rot_share": both.break_even,
            **{
                name: {
                    "mass_loss": one.mass_loss,
                    "closed_after_days": known(closes / DAY),
                    "degree_days_above_4_c": one.degree_days,
                }
                for name, one, closes in (
                    ("heal", both.heal, both.heal_closes),
                    ("cool", both.cool, both.cool_closes),
                )
            },
        },
        "reconditioning": None
        if again is None
        else {
            "begin_to_warm": _iso(again.begins),
            "warm_from": _iso(again.warm_from),
            "first_truck": _iso(again.until),
            "temp_c": again.temperature,
            "mass_loss": again.warm.mass_loss,
            "mass_loss_held": again.held.mass_loss,
            "dormancy_used": list(again.dormancy_used),
        },
    }


def _iso(day: date | None) -> str | None:
    return day.isoformat() if day else None


def stages_page(bay: Bay, told: Progress, units: UnitSystem = "metric") -> str:
    """One page for a bay."""
    rows = stage_rows(told)
    rows[0] = ["stage", "planned from", "planned to", "actual from", "actual to"]
    return page(
        "parts.html",
        kind="Plan against actual",
        title=f"{bay.name}, {told.today:%d %b %Y}",
        lead="Where the season stands, and what is to be expected of it.",
        facts=SOURCES,
        verdict=_verdict(bay, told, units),
        glances=_glances(told, units),
        figure=_figure(bay, told, units),
        words="Mean pulp of each day as the bay file plans it, the band about it, and as measured.",
        parts=[
            Part("Stages", rows, "Dates as planned and as they came", ()),
            *(Part(title, (), "", lines) for title, lines in stage_parts(bay, told, units)),
        ],
    )


def _verdict(bay: Bay, told: Progress, units: UnitSystem) -> Verdict:
    if not told.measured:
        return Verdict("watch", "Not measured:", f"{UNMEASURED[0].lower()}{UNMEASURED[1:]}.")
    off = told.pulp - told.target
    if abs(off) <= bay.limits.band:
        return Verdict("good", "On its plan:", f"{plain(told.stage)}, pulp in its band.")
    words = f"{show(abs(off), 'delta_degC', units)} {'warmer' if off > 0.0 else 'colder'}"
    return Verdict("watch", "Off its plan:", f"{plain(told.stage)}, pulp {words} than planned.")


def _glances(told: Progress, units: UnitSystem) -> list[Glance]:
    earliest = told.sprouts.earliest
    ramp = show(told.ramp, "delta_degC/s", units, unknown="not measured")
    return [
        Glance("Pulp", show(told.pulp, "degC", units),
               f"planned {show(told.target, 'degC', units)}"),
        Glance("Cooling", ramp, "over the last week"),
        Glance("Healed", f"{told.healed / DAY:.1f} days",
               f"worth at {show(12.8, 'degC', units)}; planned {told.healing_wanted / DAY:.1f}"),
        Glance("Sprouts", f"from {earliest:%d %b}" if earliest else "not this season",
               f"{told.sprouts.used_most:.0%} of a short dormancy is past"),
    ]  # fmt: skip


def _figure(bay: Bay, told: Progress, units: UnitSystem) -> Figure:
    band = bay.limits.band
    planned, measured = (
        np.array([getattr(one, name) for one in told.course]) for name in ("target", "pulp")
    )

    def shown(values: Any) -> Any:
        return convert(values, "degC", units)[0]

    unit = shown_unit("degC", units)
    picture = chart(
        "pulp",
        "Pulp as planned and as measured",
        [noon(one.day) for one in told.course],
        [
            Line(label="planned and band", y=shown(planned + band), color="--quiet",
                 base=shown(planned - band), width=0.0),
            Line(label="measured", y=shown(measured), color="--c0", marks=0 < told.measured < 60),
        ],
        unit=unit,
        y_label=f"pulp, {unit}",
        time=True,
        daily=True,
    )  # fmt: skip
    rows = [["week from", "planned", "measured"]]
    rows += [
        [
            f"{one.day:%d %b %Y}",
            show(one.target, "degC", units),
            show(one.pulp, "degC", units, unknown=""),
        ]
        for one in told.course[::7]
    ]
    return Figure(picture, [rows])
