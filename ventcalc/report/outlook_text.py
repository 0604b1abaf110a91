"""The days ahead as three sentences and a table by the day, and for JSON."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ventcalc.advice.action import COOL_BY_COIL, COOL_BY_OUTSIDE, Action
from ventcalc.outlook.ahead import Outlook, power_cost
from ventcalc.outlook.events import EVENTS, Event
from ventcalc.report.cautions import CAUTION
from ventcalc.report.season_days import local, stamps
from ventcalc.report.table import bullets, table
from ventcalc.season.kpi import POWERS
from ventcalc.units import UnitSystem, reworded, show

__all__ = ["day_rows", "event_rows", "outlook_data", "outlook_text", "sentences", "title"]

Array = NDArray[np.float64]
JOULE_PER_KWH = 3.6e6
POSITIONS = ("fan_speed", "door_opening", "refrigeration", "heater", "humidity_wanted")
RUNNING = {
    "fans": "fan_power", "refrigeration": "coil_power", "heater": "heater_power",
    "humidifier": "humidifier_power",
}  # fmt: skip


@dataclass(frozen=True, kw_only=True, eq=False)
class Hours:
    """What is shown of an outlook, by the hour."""

    wall: list[datetime]
    """Local time at which each step begins."""
    step_hours: float
    """[h]"""
    cools: NDArray[np.bool_]
    """Whether outside air cools."""
    kwh: Array
    """Electricity of each step; [kWh]."""
    cost: Array
    """Of each step; [currency]."""
    shrink: Array
    """Since the beginning, after each step. [kg/kg crop]"""


def hours_of_outlook(found: Outlook) -> Hours:
    """Local times and sums of an outlook."""
    season, records = found.season, found.season.records
    times = stamps(season)
    step = season.state.time - times[-1]
    power: Array = np.sum([records[name] for name in POWERS], axis=0)
    bed = found.state.season.bed
    begun = float(np.mean(bed.water_loss + bed.dry_matter_loss))
    return Hours(
        wall=[local(season.bay, time) for time in times],
        step_hours=step / 3600.0,
        cools=(records["action"] == COOL_BY_OUTSIDE)
        & (records["door_opening"] > 0.0) & (records["runs"] > 0.0),
        kwh=power * step / JOULE_PER_KWH,
        cost=power_cost(season.bay, records, step),
        shrink=records["water_loss"] + records["dry_matter_loss"] - begun,
    )  # fmt: skip


def title(found: Outlook) -> str:
    """Which bay, from when to when."""
    season = found.season
    begin = local(season.bay, found.state.season.time)
    return f"{season.bay.name}, {len(season.time)} h from {begin:%a %d %b %Y %H:%M %Z}"


def _places(pulp: Array) -> Array:
    """Bottom, middle and top layer: (3,). [°C]"""
    return pulp[[0, len(pulp) // 2, -1]]


def _between(low: str, high: str) -> str:
    """Two values with their unit written once."""
    number, _, unit = low.partition(" ")
    return f"{number} to {high}" if high.endswith(unit) else f"{low} to {high}"


def sentences(found: Outlook, units: UnitSystem = "metric") -> list[str]:
    """Pile, equipment and cost, limits: a sentence each."""
    season, hours = found.season, hours_of_outlook(found)
    end = local(season.bay, season.state.time)
    begun = float(np.mean(found.state.season.bed.temperature))
    last, target = float(season.pulp[-1].mean()), float(season.traces["target"][-1])
    pile = (
        f"Pulp goes from {show(begun, 'degC', units)} to {show(last, 'degC', units)} in the mean "
        f"by {end:%a %d %b %H:%M}{_sure(found, units)}; the target then is "
        f"{show(target, 'degC', units)}."
    )
    return [pile, _runs(found, hours), _watch(found)]


def _watch(found: Outlook) -> str:
    """Each kind of event once, the gravest first."""
    told = []
    for name, kind in EVENTS.items():
        events = [event for event in found.events if event.kind == name]
        if events:
            begin = local(found.season.bay, events[0].begin)
            hours = sum(event.hours for event in events)
            told.append(f"{kind.words} from {begin:%a %d %b} ({hours} h)")
    if not told:
        return "No limit of pile or air is met, and no warm spell, deep frost or fog comes."
    return f"To watch: {'; '.join(told)}."


def _sure(found: Outlook, units: UnitSystem) -> str:
    if not found.runs:
        return ""
    low, high = float(found.low_pulp_mean[-1]), float(found.high_pulp_mean[-1])
    return f" ({_between(show(low, 'degC', units), show(high, 'degC', units))})"


def _runs(found: Outlook, hours: Hours) -> str:
    records, step = found.season.records, hours.step_hours
    cools = hours.cools.sum() * step
    running = [
        f"{name} {(records[power] > 0.0).sum() * step:.0f} h"
        for name, power in RUNNING.items()
        if (records[power] > 0.0).any()
    ]
    money = found.season.bay.costs.currency
    low, cost, high = found.costs
    around = "" if math.isnan(low) else f" ({low:,.0f} to {high:,.0f})"
    runs = ", ".join(running) or "nothing runs"
    when = f", mostly {_usual(hours)}" if cools else ""
    return (
        f"Outside air cools in {cools:.0f} h{when}; {runs}: {hours.kwh.sum():,.0f} kWh, "
        f"{money} {cost:,.0f}{around}, shrink {100.0 * hours.shrink[-1]:.2f}%."
    )


def _usual(hours: Hours) -> str:
    """Hours of the day that hold most of the cooling."""
    by_hour = np.zeros(24)
    for wall, cools in zip(hours.wall, hours.cools.tolist(), strict=True):
        by_hour[wall.hour] += cools
    if by_hour.min() > 0.5 * by_hour.max():
        return "at any hour"
    sums = [np.roll(by_hour, -k)[:8].sum() for k in range(24)]
    first = int(np.argmax(sums))
    return f"{first:02d} to {(first + 8) % 24:02d} h"


def event_rows(found: Outlook, units: UnitSystem = "metric") -> list[tuple[str, ...]]:
    """Heading and a row for each kind of event: from, to, hours of it, the worst, in which runs."""
    bay, runs = found.season.bay, found.runs + 1
    rows: list[tuple[str, ...]] = [("to watch", "from", "to", "hours", "worst", "in runs")]
    for name, kind in EVENTS.items():
        events = [event for event in found.events if event.kind == name]
        often = f"{found.met_in.get(name, 0)} of {runs}"
        if events:
            begin, end = local(bay, events[0].begin), local(bay, events[-1].end)
            hours = sum(event.hours for event in events)
            when = (f"{begin:%a %d %b %H:%M}", f"{end:%a %d %b %H:%M}", f"{hours}")
            rows.append((kind.words, *when, _worst(events, units), often))
        elif name in found.met_in:
            rows.append((kind.words, "not by the forecast", "", "", "", often))
    return rows


def _worst(events: list[Event], units: UnitSystem) -> str:
    kind = EVENTS[events[0].kind]
    value = kind.worst(np.array([event.value for event in events]))
    if kind.unit == "1" and events[0].kind == "wet":
        return f"{1e6 * value:.0f} g per t"
    if kind.unit == "1":
        return f"{100.0 * value:.0f}% humidity"
    return show(value, kind.unit, units)


def _days(hours: Hours) -> list[tuple[date, NDArray[np.int64]]]:
    days = np.array([wall.date().toordinal() for wall in hours.wall])
    return [(date.fromordinal(int(day)), np.flatnonzero(days == day)) for day in np.unique(days)]


def day_rows(found: Outlook, units: UnitSystem = "metric") -> list[tuple[str, ...]]:
    """Heading and a row for each local day; pulp at its end."""
    hours, bay = hours_of_outlook(found), found.season.bay
    coil = ("refrig.",) if bay.refrigeration is not None else ()
    heading = (
        *("", "outside", "target", "pulp bottom, middle, top"),
        *(("mean 10-90 %",) if found.runs else ()),
        *("cools", "fans", *coil, "kWh", bay.costs.currency, "shrink %"),
    )
    return [heading, *(_day_row(found, hours, day, at, units) for day, at in _days(hours))]


def _day_row(
    found: Outlook, hours: Hours, day: date, at: NDArray[np.int64], units: UnitSystem
) -> tuple[str, ...]:
    season, last, step = found.season, int(at[-1]), hours.step_hours
    traces, records = season.traces, season.records

    def shown(value: float) -> str:
        return show(float(value), "degC", units)

    def lasted(flags: NDArray[np.bool_]) -> str:
        return f"{flags[at].sum() * step:.0f} h"

    outside = traces["outside_temperature"][at]
    before = float(hours.shrink[at[0] - 1]) if at[0] else 0.0
    band = _between(shown(found.low_pulp_mean[last]), shown(found.high_pulp_mean[last]))
    bottom, middle, top = (shown(t) for t in _places(season.pulp[last]))
    coil = season.bay.refrigeration is not None
    return (
        f"{day:%a %d %b}",
        _between(shown(outside.min()), shown(outside.max())),
        shown(traces["target"][last]),
        f"{bottom.partition(' ')[0]}, {middle.partition(' ')[0]}, {top}",
        *((band,) if found.runs else ()),
        lasted(hours.cools),
        lasted(records["fan_power"] > 0.0),
        *((lasted(records["coil_power"] > 0.0),) if coil else ()),
        f"{hours.kwh[at].sum():,.0f}",
        f"{hours.cost[at].sum():,.0f}",
        f"{100.0 * (hours.shrink[last] - before):.3f}",
    )


def band_words(found: Outlook) -> str:
    """What the band is."""
    if not found.runs:
        return "No band: one run, by the forecast as it stands."
    if found.chosen:
        return (
            "The band is rough, of two chosen runs: outside air and dew point warmer and the crop "
            "breathing more, or colder and less, each as far as one time in ten; how well the pile "
            "is known, and chance in when cooling starts, are added. Of the model's own error it "
            "says nothing."
        )
    return (
        f"10 to 90 % of {found.runs} runs over errors of forecast and probes and over what crop "
        "and fans may do; of the model's own error it says nothing."
    )


def credit(found: Outlook) -> str:
    """Where the forecast comes from, and when it was made."""
    made = local(found.season.bay, found.forecast.issued)
    source = found.forecast.weather.source or found.forecast.weather.name or "no source told"
    return f"Forecast: {source}; issued {made:%a %d %b %Y %H:%M %Z}."


def outlook_text(found: Outlook, units: UnitSystem = "metric") -> str:
    """Sentences, days, what was assumed, caution."""
    watch = event_rows(found, units)
    parts = [
        title(found),
        "",
        *sentences(found, units),
        "",
        *table(day_rows(found, units)),
        "",
        *([*table(watch), ""] if len(watch) > 1 else []),
        "Pulp at the end of the day; cooling, fans and refrigeration in hours.",
        *bullets(
            [band_words(found), credit(found), *(reworded(one, units) for one in found.notes)]
        ),
        "",
        CAUTION,
    ]
    return "\n".join(parts)


def outlook_data(found: Outlook, units: UnitSystem = "metric") -> dict[str, Any]:
    """Everything for JSON; rows of hours hold the state after their step."""
    season, hours = found.season, hours_of_outlook(found)
    records = season.records
    low, cost, high = (None if math.isnan(one) else round(one, 2) for one in found.costs)
    return {
        "bay": season.bay.name,
        "time": local(season.bay, found.state.season.time).isoformat(),
        "said": sentences(found, units),
        "band": {
            "runs": found.runs, "chosen": found.chosen,
            "pulp_uncertainty_k": found.state.standard_uncertainty,
        },
        "cost": {
            "currency": season.bay.costs.currency, "low": low, "expected": cost, "high": high,
        },
        "energy_kwh": round(float(hours.kwh.sum()), 2),
        "shrink": round(float(hours.shrink[-1]), 6),
        "events": [_event(found, event) for event in found.events],
        "met_in_runs": found.met_in,
        "hours": [
            {
                "time": hours.wall[k].isoformat(),
                "outside_temp_c": round(float(season.traces["outside_temperature"][k]), 2),
                "target_c": round(float(season.traces["target"][k]), 3),
                **_pulp(found, k),
                "action": Action(int(records["action"][k])).name.lower(),
                **{name: round(float(records[name][k]), 3) for name in POSITIONS},
                "co2_ppm": round(1e6 * float(records["co2"][k])),
                "energy_kwh": round(float(hours.kwh[k]), 3),
            }
            for k in range(len(hours.wall))
        ],
        "forecast": {
            "source": found.forecast.weather.source,
            "issued": local(season.bay, found.forecast.issued).isoformat(),
        },
        "notes": [band_words(found), *found.notes],
        "caution": CAUTION,
    }  # fmt: skip


def _pulp(found: Outlook, k: int) -> dict[str, list[float]]:
    """Bottom, middle, top."""
    return {
        key: [round(float(t), 3) for t in _places(pulp[k])]
        for key, pulp in (
            ("pulp_temps_c", found.season.pulp),
            ("pulp_low_c", found.low_pulp),
            ("pulp_high_c", found.high_pulp),
        )
    }


def _event(found: Outlook, event: Event) -> dict[str, Any]:
    bay = found.season.bay
    return {
        "kind": event.kind,
        "begin": local(bay, event.begin).isoformat(),
        "end": local(bay, event.end).isoformat(),
        "hours": event.hours,
        "value": round(event.value, 6),
        "unit": "1" if EVENTS[event.kind].unit == "1 ppm" else EVENTS[event.kind].unit,
    }


def cools_by(found: Outlook) -> list[tuple[float, float, bool]]:
    """Stretches in which outside air (true) or refrigeration cools: begin, end [s]."""
    action, season = found.season.records["action"], found.season
    times = [*stamps(season), season.state.time]
    spans = []
    for code, outside in ((COOL_BY_OUTSIDE, True), (COOL_BY_COIL, False)):
        edges = np.flatnonzero(np.diff((action == code).astype(int), prepend=0, append=0))
        spans += [
            (times[a], times[b], outside) for a, b in zip(edges[::2], edges[1::2], strict=True)
        ]
    return sorted(spans)
