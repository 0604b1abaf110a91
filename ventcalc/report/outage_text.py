"""An outage as text, for JSON and as a sheet to hang up: hours to each limit, what to do first."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import UTC, datetime
from typing import Any

from ventcalc.bay.description import Bay
from ventcalc.outage.limits import Limit
from ventcalc.outage.outage import HOURS, Case, Outage
from ventcalc.report.numbers import known
from ventcalc.report.pages import page
from ventcalc.report.season_days import local
from ventcalc.report.table import bullets, numbered, table
from ventcalc.units import UnitSystem, show

__all__ = ["outage_data", "outage_page", "outage_text"]

CAUTIONS = (
    "People: nobody goes in before the air is tested for CO2 and oxygen at the door, high and low; "
    "never alone, somebody stays outside. CO2 lies in pits, ducts and plenum the longest.",
    "Lock out fans and humidifier before anyone goes in: they start by themselves when power "
    "comes back.",
    "Generator: outdoors, away from doors and air inlets (carbon monoxide), connected through a "
    "transfer switch by an electrician. No unvented heater, grill or engine in a bay.",
    "Refrigerant: on smell, hiss or gas alarm everybody leaves; only a licensed technician goes "
    "to the plant. Nobody climbs a pile or stands below its face or a wall under load.",
    "Advice by a model: what thermometer and gas meter read counts more; the controller's own "
    "interlocks stay in charge.",
)
BEFORE = 0.25
"""Of the time to the first limit of the crop, after which one reads by hand again. [1]"""


def span(hours: float) -> str:
    """A time to a limit, for people; rounded down."""
    if math.isnan(hours):
        return "not reached"
    if hours <= 0.0:
        return "now"
    if hours < 2.0:
        return f"{max(math.floor(hours * 60.0), 1)} min"
    return f"{math.floor(hours)} h" if hours < 72.0 else f"{math.floor(hours / 24.0)} days"


def _limit(limit: Limit, units: UnitSystem) -> str:
    if math.isnan(limit.value):
        return limit.why
    if limit.unit in ("kg/m2", "kg/kg"):
        return limit.why
    return show(limit.value, limit.unit, units)


def limit_rows(found: Outage, units: UnitSystem) -> list[tuple[str, ...]]:
    """Heading and a row for each limit."""
    rows: list[tuple[str, ...]] = [("", "limit", "doors closed", "door open")]
    for k, limit in enumerate(found.limits):
        closed = "-" if limit.key == "draught" else span(found.closed.hours[k])
        opened = span(found.open.hours[k])
        rows.append((limit.name, _limit(limit, units), closed, opened))
    return [*rows, ("Looked ahead", "", _looked(found.closed), _looked(found.open))]


def _looked(case: Case) -> str:
    """Until the pile is frozen through or the model ends, at most."""
    return span(HOURS if math.isnan(case.ended) else case.ended)


def title(bay: Bay, found: Outage) -> str:
    """Which bay, from when on."""
    return f"{bay.name}, no power from {local(bay, found.start.time):%a %d %b %Y %H:%M %Z}"


def weather_line(found: Outage, units: UnitSystem) -> str:
    """What is taken of the air outside and of the door."""
    now, cold, warm = (show(t, "degC", units) for t in found.outside_temperature)
    air = f"Outside {now} and staying so" if cold == warm else f"Outside {now}, {cold} to {warm}"
    width, height = (show(x, "m", units) for x in found.doorway)
    first = found.closed.traces[0]
    return (
        f"{air}. Pulp {show(first.pulp_coldest, 'degC', units)} to "
        f"{show(first.warmest_pulp, 'degC', units)}, CO2 {show(first.co2, '1 ppm', units)}. Fans, "
        f"plant and heater off. Door open: one door, {width} by {height}, all the time, no wind."
    )


def _hours(found: Outage, case: Case, *keys: str) -> float:
    """To the first of some limits; infinite for none."""
    known = [
        hours
        for limit, hours in zip(found.limits, case.hours, strict=True)
        if limit.key in keys and not math.isnan(hours)
    ]
    return min(known, default=math.inf)


def _said(found: Outage, case: Case, key: str) -> str:
    hours = _hours(found, case, key)
    return span(math.nan if math.isinf(hours) else hours)


def steps(bay: Bay, found: Outage, units: UnitSystem) -> list[str]:
    """What to do, the first thing first."""
    fans = bay.fans
    one = fans.airflow * fans.static_pressure / fans.efficiency / fans.count
    people = _said(found, found.closed, "co2_people")
    look = _hours(found, found.closed, "freezing", "heat", "dripping") * BEFORE
    every = min(max(math.floor(look) if math.isfinite(look) else 12, 1), 12)
    return [
        f"People out, doors marked. CO2 passes the limit of a working day: {people}.",
        "Go by hand to the fresh-air door and the exhaust louvres: they may have stopped open. "
        + _door(bay, found, units),
        "Call the power supplier, then whoever brings the generator. One fan takes about "
        f"{show(one, 'W electrical', units)} while it runs, more to start; one fan on "
        "recirculation is worth more than all lights and heaters.",
        *_pressing(found),
        f"Every {every} h write down, from outside or with tested air: pulp at bottom, top, outer "
        "walls and door; CO2; wet spots of the ceiling. Run this again with them.",
        "Power back: nobody inside, door shut, one fan after the other on recirculation; fresh "
        f"air only when the plenum is above {show(bay.limits.plenum_floor, 'degC', units)}; "
        "no heat on wet or cold potatoes before air moves. Then ask `ventcalc advise`.",
    ]


def _door(bay: Bay, found: Outage, units: UnitSystem) -> str:
    """Whether to open or to shut, by the air outside."""
    now, cold, _ = found.outside_temperature
    pulp, floor = found.closed.traces[0].pulp_mean, bay.limits.plenum_floor
    if cold < floor:
        words = "Shut and cover them. "
        if math.isfinite(_hours(found, found.open, "draught")):
            words += f"With a door open: {_frozen(found)}. Cover what lies in its draught first. "
    elif now > pulp - bay.control.outside_offset:
        words = (
            "Shut them while it is warmer outside than "
            f"{show(pulp - bay.control.outside_offset, 'degC', units)}; at night open what is "
            "high and what is low. "
        )
    else:
        words = "Open them, high and low: this air cools the crop and clears the CO2. "
    return words + _airing(found, units)


def _frozen(found: Outage) -> str:
    """What frost does behind an open door."""
    words = f"potatoes in its draught freeze in {_said(found, found.open, 'draught')}"
    if math.isinf(_hours(found, found.open, "freezing")):
        return words
    return f"{words}, the first of the pile in {_said(found, found.open, 'freezing')}"


def _airing(found: Outage, units: UnitSystem) -> str:
    """How long an open door takes to change the air above the pile."""
    bay, flow = found.start.bay, found.open.traces[1].airflow
    minutes = 2.0 * bay.envelope.headspace_volume / flow / 60.0
    return (
        f"To air for people: about {math.ceil(minutes):d} min with the door open "
        f"({show(flow, 'm3/s', units)}) change the air above the pile twice; that in pile, ducts "
        "and plenum stays longer."
    )


ACTIONS = {
    "freezing": "Cold comes first at outer walls and joints: straw, tarps or boards on the cold "
    "side outside, never heat without moving air.",
    "heat": "Heat: a fan on a generator at night, outside air colder than the pulp.",
    "co2_crop": "CO2 of the crop: air as in 2.",
    "wet": "Potatoes sweat: straw on the pile takes the water; doors shut while the dew point "
    "outside is above the pulp.",
    "dripping": "Dripping from the ceiling: wet potatoes are dried first when air moves again.",
}
"""What helps against each limit of the crop."""


def _pressing(found: Outage) -> list[str]:
    """Limits of the crop that come within the time looked at, the first one first."""
    coming = sorted(
        (hours, limit.key)
        for limit, hours in zip(found.limits, found.closed.hours, strict=True)
        if limit.key in ACTIONS and not math.isnan(hours)
    )
    return [f"In {span(h)}: {ACTIONS[key]}".replace("In now", "Now")
            for h, key in coming]  # fmt: skip


def sources() -> Sequence[str]:
    """Where the hours come from."""
    return (
        "Pile, headspace and CO2: the model of `ventcalc season` with everything off; air well "
        "mixed, respiration by temperature and age (published rates differ by a factor of 1.7, so "
        "hours to CO2 and heat do). Looked ahead 14 days, or until the pile is frozen through.",
        "Coldest place: the coldest layer, or crop against an outer wall at its worst joint "
        "(semi-infinite solid, Carslaw and Jaeger 1959), heat of the crop left out: the earliest.",
        "Open door: Gosney and Olama 1975 (ASHRAE Refrigeration, from memory), one opening; wind "
        "and a second opening add to it. No heat through the floor unless a year of weather is "
        "given.",
        "Limits: freezing Suslow and Voss; CO2 OSHA and NIOSH, the crop's by the bay file; heat "
        "(target and 5 K), dripping (0.1 kg/m²) and what to do: common practice, no source.",
    )


def outage_text(bay: Bay, found: Outage, units: UnitSystem = "metric") -> str:
    """Hours, steps, cautions."""
    parts = [
        title(bay, found),
        weather_line(found, units),
        "",
        *table(limit_rows(found, units)),
        "",
        "What to do, in this order:",
        *numbered(steps(bay, found, units)),
        "",
        *([*bullets(found.notes), ""] if found.notes else []),
        "Where the hours come from:",
        *bullets(sources()),
        "",
        "Caution:",
        *bullets(CAUTIONS),
    ]
    return "\n".join(parts)


def outage_data(bay: Bay, found: Outage, units: UnitSystem = "metric") -> dict[str, Any]:
    """Everything for JSON; hours are null where a limit is not reached in the time looked at."""
    return {
        "bay": bay.name,
        "time": datetime.fromtimestamp(found.start.time, UTC).isoformat(),
        "outside_temp_c": dict(
            zip(("first", "coldest", "warmest"), found.outside_temperature, strict=True)
        ),
        "doorway_m": list(found.doorway),
        "looked_ahead_h": HOURS,
        "limits": [
            {
                "key": limit.key,
                "name": limit.name,
                "limit": None if math.isnan(limit.value) else limit.value,
                "unit": "1" if limit.unit == "1 ppm" else limit.unit,
                "source": limit.source,
                "closed_h": known(found.closed.hours[k], 2),
                "open_h": known(found.open.hours[k], 2),
            }
            for k, limit in enumerate(found.limits)
        ],
        "crop_lost_h": {
            "closed": known(found.closed.ended, 2), "open": known(found.open.ended, 2),
        },
        "door_airflow_m3_s": found.open.traces[1].airflow,
        "steps": steps(bay, found, units),
        "notes": list(found.notes),
        "cautions": list(CAUTIONS),
    }  # fmt: skip


def outage_page(bay: Bay, found: Outage, units: UnitSystem = "metric") -> str:
    """The sheet, one A4 page."""
    return page(
        "outage.html",
        title=title(bay, found),
        caution="Nobody goes in before the air is tested; never alone; fans locked out.",
        cautions=CAUTIONS,
        facts=sources(),
        weather=weather_line(found, units),
        rows=limit_rows(found, units),
        steps=steps(bay, found, units),
        notes=found.notes,
    )
