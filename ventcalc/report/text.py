"""Results as plain text for a terminal: advice, season, comparison, air."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import groupby

from ventcalc.advice.advise import Action, Advice
from ventcalc.advice.alarms import alarms
from ventcalc.advice.outside_air import Binding, Verdict
from ventcalc.advice.readings import Memory
from ventcalc.advice.readings_file import ReadingsFile
from ventcalc.advice.reasons import reasons
from ventcalc.air import AirState
from ventcalc.bay.calendar import STAGES
from ventcalc.bay.checks import bay_notes
from ventcalc.bay.description import Bay
from ventcalc.report.season_days import local, stamps
from ventcalc.report.season_rows import (
    ROWS,
    control_words,
    equipment_lines,
    published_lines,
)
from ventcalc.report.table import bullets, table
from ventcalc.season.run import Season
from ventcalc.units import UnitSystem, reworded, show

__all__ = [
    "advice_text",
    "air_text",
    "compare_text",
    "expected_supply",
    "margin_rows",
    "outside_words",
    "position_rows",
    "season_text",
]

# --- advice ------------------------------------------------------------------------------

_OUTRANKED = (Action.PROTECT, Action.PEOPLE_INSIDE)
"""What outranks any verdict on outside air."""


def advice_text(
    bay: Bay, given: ReadingsFile, advice: Advice, memory: Memory, units: UnitSystem = "metric"
) -> str:
    """Write one piece of advice."""
    now = advice.situation
    start, end = local(bay, now.readings.time), local(bay, now.readings.time + advice.valid_for)
    stage = STAGES[int(now.stage)].replace("_", " ")
    lines = [f"{bay.name}, {stage}, {start:%a %d %b %Y %H:%M %Z}"]
    lines += [given.note] if given.note else []
    for alarm in alarms(advice, bay, memory, units):
        lines += ["", f"ALARM: {alarm.text}", f"  First: {alarm.first}"]
    doubts = [f"Not believed: {reworded(doubt, units)}." for doubt in given.doubts]
    lines += ["", *doubts] if doubts else []
    lines += ["", f"Advice until {end:%H:%M %Z}; ask again then:"]
    lines += table(_positions(bay, advice, units), left=2)
    lines += ["", "Why:"]
    lines += bullets(reasons(advice, bay, units))
    if advice.action != Action.HANDS_OFF:
        lines += ["", *_outside(advice, bay, units)]
    seen = given.readings.plenum_relative_humidity
    if seen == seen:
        lines += ["", f"Plenum humidity as measured: {show(seen, '1 percent', units, 0)}."]
    return "\n".join(lines)


def position_rows(bay: Bay, advice: Advice) -> list[tuple[str, str, float]]:
    """Each device of the bay with its position, in words and as a part of full."""
    parts = (
        ("Fans", advice.fan_speed, "off", True),
        ("Fresh-air door", advice.door_opening, "closed", True),
        ("Humidifier", advice.humidifier, "off", bay.humidifier is not None),
        ("Refrigeration", advice.refrigeration, "off", bay.refrigeration is not None),
        ("Heater", advice.heater, "off", bay.heater is not None),
    )
    return [
        (name, zero if value <= 0.0 else f"{value:.0%}", float(value))
        for name, value, zero, installed in parts
        if installed
    ]


def expected_supply(advice: Advice, units: UnitSystem) -> str:
    """The plenum that the advice leads to; empty while the fans stand."""
    if advice.fan_speed <= 0.0 or math.isnan(advice.plenum_temperature):
        return ""
    humidity = show(advice.plenum_relative_humidity, "1 percent", units, 0)
    dew = show(advice.plenum_dew_point, "degC", units)
    warm = show(advice.plenum_temperature, "degC", units)
    foggy = advice.plenum_dew_point > advice.plenum_temperature + 0.01
    drops = " with fog, dew point of air and fog" if foggy else ", dew point"
    return f"{warm}, {humidity} RH{drops} {dew}"


def _positions(bay: Bay, advice: Advice, units: UnitSystem) -> list[tuple[str, str]]:
    if advice.action == Action.HANDS_OFF:
        return [("All", "leave it to the controller's own program")]
    rows = [(name, words) for name, words, _ in position_rows(bay, advice)]
    supply = expected_supply(advice, units)
    return [*rows, ("Plenum expected", supply)] if supply else rows


def outside_words(advice: Advice) -> str:
    """Whether outside air may cool, and why not."""
    air = advice.outside
    if advice.action in _OUTRANKED:
        return "not for cooling now"
    verdict = {
        Verdict.ALLOWED: "may cool the pile",
        Verdict.FORBIDDEN: "not for cooling",
        Verdict.UNKNOWN: "cannot tell",
    }[Verdict(int(air.verdict))]
    binding = Binding(int(air.binding))
    why = "" if binding == Binding.NONE else f" ({binding.name.lower().replace('_', ' ')})"
    chosen = "; what the next hour would bring was reckoned instead" if _chosen(advice) else ""
    return f"{verdict}{why}{chosen}"


def _chosen(advice: Advice) -> bool:
    """Whether what is advised goes beyond the verdict, whose margins are those of another door."""
    return advice.action == Action.CHOSEN and advice.outside.verdict != Verdict.ALLOWED


def margin_rows(advice: Advice, bay: Bay, units: UnitSystem) -> list[tuple[str, str]]:
    """Margins of the outside air, positive is safe; none where it is not judged."""
    air = advice.outside
    if math.isnan(air.cold_margin) or advice.action in _OUTRANKED or _chosen(advice):
        return []
    unsure = show(bay.control.confidence * air.wetting_uncertainty, "delta_degC", units)

    def kelvin(value: float) -> str:
        return show(value, "delta_degC", units)

    return [
        ("pulp above the coldest supply available", kelvin(air.cold_margin)),
        ("plenum above its low limit", kelvin(air.floor_margin)),
        ("coldest pulp above plenum dew point", f"{kelvin(air.wetting_margin)} ± {unsure}"),
        ("ceiling above plenum dew point", kelvin(air.drip_margin)),
    ]


def _outside(advice: Advice, bay: Bay, units: UnitSystem) -> list[str]:
    told, rows = f"Outside air: {outside_words(advice)}.", margin_rows(advice, bay, units)
    return [f"{told} Margins, positive is safe:", *table(rows, left=2)] if rows else [told]


# --- season ------------------------------------------------------------------------------


def _heading(season: Season, units: UnitSystem) -> list[str]:
    bay = season.bay
    times = stamps(season)
    first, last = local(bay, times[0]), local(bay, times[-1])
    lines = [
        f"{bay.name}: {show(bay.mass, 'kg', units)} of {bay.use} potatoes, "
        f"{first:%d %b %Y} to {last:%d %b %Y}",
        f"Weather: {season.weather_name}",
    ]
    lines += [f"  note: {reworded(note, units)}" for note in season.notes]
    return lines + [f"Note on the bay: {reworded(remark, units)}" for remark in bay_notes(bay)]


def season_text(season: Season, units: UnitSystem = "metric", likely: Sequence[str] = ()) -> str:
    """Write the summary of one season."""
    cells = table([row.words, row.text(season, units)] for row in ROWS)
    lines = [*_heading(season, units), f"Control: {control_words(season.policy)}"]
    for group, some in groupby(zip(ROWS, cells, strict=True), lambda pair: pair[0].group):
        lines += ["", group, *(line for _, line in some)]
    return "\n".join([*lines, *_remarks(season, units, likely)])


def compare_text(
    seasons: Sequence[Season], units: UnitSystem = "metric", likely: Sequence[str] = ()
) -> str:
    """Write several control methods side by side."""
    head = ["", *(control_words(season.policy) for season in seasons)]
    rows = [[row.words, *(row.text(season, units) for season in seasons)] for row in ROWS]
    top, *cells = table([head, *rows])
    lines = [*_heading(seasons[0], units), "", top]
    for group, some in groupby(zip(ROWS, cells, strict=True), lambda pair: pair[0].group):
        lines += [group, *(line for _, line in some)]
    return "\n".join([*lines, *_remarks(seasons[0], units, likely, f" ({head[1]})")])


def _remarks(
    season: Season, units: UnitSystem, likely: Sequence[str], which: str = ""
) -> list[str]:
    return [
        *("", f"How sure this is{which}"),
        *bullets(likely or [NO_RANGE]),
        *("", f"Compared with published figures{which}"),
        *bullets(published_lines(season, units)),
        *("", f"Fans and electricity{which}"),
        *bullets(equipment_lines(season, units)),
    ]


NO_RANGE = (
    "No likely range: it takes 16 seasons over published values of the crop, a second or two with "
    "the extra fast and --fast."
)


# --- air ---------------------------------------------------------------------------------


def air_text(state: AirState, units: UnitSystem = "metric", where: str = "") -> str:
    """Every property of a state of moist air, one a line; ``where`` says whose the pressure is."""
    pressure = show(state.pressure, "Pa air", units)
    frost = state.dew_point < 0.01
    rows = [
        ("Temperature (dry bulb)", show(state.temperature, "degC", units)),
        (
            "Relative humidity" + (" (over ice)" if state.temperature < 0.01 else ""),
            show(state.relative_humidity, "1 percent", units),
        ),
        ("Frost point" if frost else "Dew point", show(state.dew_point, "degC", units)),
        ("Wet bulb", show(state.wet_bulb, "degC", units)),
        ("Humidity ratio, per dry air", show(state.humidity_ratio, "kg/kg", units)),
        ("Enthalpy, per dry air", show(state.enthalpy, "J/kg dry air", units)),
        ("Specific volume, per dry air", show(state.specific_volume, "m3/kg", units)),
        ("Density, of moist air", show(state.density, "kg/m3 air", units)),
        ("Air pressure", f"{pressure}{where and f' ({where})'}"),
    ]
    return "\n".join(table(rows, left=2))
