"""What stands on the first screen of a bay: its figures, its alarms, whether advice is followed."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from firmware_bridge.bay.advisor import Season
from firmware_bridge.bay.decision import BayView
from firmware_bridge.codes import TARGETS
from firmware_bridge.page.pulp import PulpHours, trend
from firmware_bridge.page.words import FAULT_WORDS, TARGET_NAMES, Units, in_units, reading_text
from firmware_bridge.sensors.sample import Sample, mean_of, pulps_of
from firmware_bridge.wire.messages import Alarm

__all__ = [
    "AlarmText",
    "Figure",
    "alarm_texts",
    "doubted",
    "figures",
    "followed",
    "season_words",
]

APART = 0.15
"""A position that differs by more is not as advised; common practice, no source. [0-1]"""
FEW_DOUBTED = 4
"""Readings that are named on the first screen."""
LEVELS = {1: "Danger", 2: "Equipment", 3: "To be looked at"}


@dataclass(frozen=True, kw_only=True, slots=True)
class Figure:
    """One number with what it is measured by."""

    key: str
    label: str
    value: str
    beside: str


@dataclass(frozen=True, kw_only=True, slots=True)
class AlarmText:
    """One alarm in words."""

    kind: str
    """Its id; with it the alarm is acknowledged."""
    level: int
    head: str
    text: str
    since: str
    first: str
    seen: str
    """Who has acknowledged it, and when; empty for nobody."""
    ours: bool
    """Whether it is the bridge's, and so can be acknowledged there."""


# --- alarms --------------------------------------------------------------------------------------


def alarm_texts(view: BayView, units: Units) -> tuple[AlarmText, ...]:
    """Those of bridge and adviser, then those of the controller; the gravest first."""
    ours = sorted(view.complaints, key=lambda alarm: (bool(alarm.seen_by), alarm.level))
    theirs = sorted(view.alarms, key=lambda alarm: (alarm.level, alarm.id))
    return (
        *(_alarm_text(one, view, units, ours=True) for one in ours),
        *(_alarm_text(one, view, units, ours=False) for one in theirs),
    )


def _alarm_text(alarm: Alarm, view: BayView, units: Units, *, ours: bool) -> AlarmText:
    text = in_units(alarm.text or alarm.id, units)
    since, seen = (_stamp(at, view.zone) for at in (alarm.since, alarm.seen_at))
    return AlarmText(
        kind=alarm.id,
        level=alarm.level,
        head=LEVELS[alarm.level] if ours else f"Controller, {LEVELS[alarm.level].lower()}",
        text=f"{text[:1].upper()}{text[1:]}",
        since=f"since {since}" if since else "",
        first=in_units(alarm.first, units),
        seen=f"Seen by {alarm.seen_by}, {seen}" if alarm.seen_by else "",
        ours=ours,
    )


def _stamp(at: str, zone: str) -> str:
    """Local day and time of an ISO 8601 time; empty for one that cannot be read."""
    try:
        local = datetime.fromisoformat(at).astimezone(ZoneInfo(zone))
    except ValueError:
        return ""
    return f"{local.day} {local:%b %H:%M %Z}"


# --- is it followed? -----------------------------------------------------------------------------


def followed(view: BayView) -> tuple[str, str]:
    """Whether the equipment does what is advised: ``yes``, ``no``, empty, ``none``; in words."""
    targets = view.decision.targets
    if targets is None:
        return "none", ""
    pairs = [(name, getattr(targets, name), getattr(view.actual, name)) for name in TARGETS]
    known = [pair for pair in pairs if not math.isnan(pair[2])]
    if not known:
        return "", "Whether it is followed is not known: the controller reports no positions."
    apart = [pair for pair in known if abs(pair[1] - pair[2]) > APART]
    if not apart:
        return "yes", "Followed: the equipment does as advised."
    differ = ", ".join(
        f"{TARGET_NAMES[name].lower()} at {actual:.0%} in place of {said:.0%}"
        for name, said, actual in apart
    )
    if view.mode == "confirm" and (view.offer or _only_shown(view)):
        number = f" (number {view.offer})" if view.offer else ""
        return "", f"Waits to be confirmed at the controller{number}: {differ}."
    own = "; the controller runs its own program" if view.mode in ("observe", "advise") else ""
    return "no", f"Not followed: {differ}{own}."


def _only_shown(view: BayView) -> bool:
    return view.accepted is not None and view.accepted.code == "shown"


def doubted(sample: Sample | None) -> str:
    """Which readings are doubted, and why, from the first moment on; empty where none is."""
    found = {} if sample is None else sample.faults
    named = [
        f"{key} ({FAULT_WORDS.get(fault, fault)})"
        for key, fault in found.items()
        if sample is not None and key not in sample.ignore and sample.kinds[key] != "other"
    ]
    more = f" and {len(named) - FEW_DOUBTED} more" if len(named) > FEW_DOUBTED else ""
    return f"Doubted: {', '.join(named[:FEW_DOUBTED])}{more}." if named else ""


# --- figures -------------------------------------------------------------------------------------


def season_words(view: BayView) -> str:
    """Stage and day of the season."""
    season = view.season
    stage = season.stage.replace("_", " ").capitalize()
    return f"{stage}, day {season.day}" if season.day else stage


def figures(
    view: BayView, hours: PulpHours | None, margin: Figure | None, units: Units
) -> tuple[Figure, ...]:
    """The few numbers that are looked at first; none before the first reading."""
    sample = view.sample
    if sample is None:
        return ()
    pulps = pulps_of(sample) or [math.nan]
    season = view.season
    found = []
    for key, label, end in (("cold", "Coldest pulp", min), ("warm", "Warmest pulp", max)):
        value, past = end(pulps), hours.ends(end) if hours is not None else ()
        moved = trend(hours.times if hours is not None else (), past, value, units)
        found.append((key, label, reading_text(value, "temperature", units), moved))
    if not math.isnan(season.target):
        off = reading_text(
            math.fsum(pulps) / len(pulps) - season.target, "difference", units, sign=True
        )
        target = reading_text(season.target, "temperature", units)
        found.append(("target", "Target", target, f"pile {off}; {season_words(view).lower()}"))
    co2 = mean_of(sample, "co2")
    if not math.isnan(co2):
        found.append(("co2", "CO2", reading_text(co2, "co2", units), _co2_words(co2, season)))
    humidity = mean_of(sample, "return_relative_humidity")
    found.append(("rh", "Humidity", reading_text(humidity, "share", units), "return air"))
    made = [Figure(key=a, label=b, value=c, beside=d) for a, b, c, d in found]
    return (*made, margin) if margin is not None else tuple(made)


def _co2_words(co2: float, season: Season) -> str:
    if co2 > season.people_co2:
        return "nobody enters before it is aired"
    if math.isnan(season.crop_co2):
        return ""
    limit = reading_text(season.crop_co2, "co2", "metric")
    return f"above the crop's {limit}" if co2 > season.crop_co2 else f"crop's limit {limit}"
