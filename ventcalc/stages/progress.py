"""Plan against actual: what the calendar of the bay file says, and how far the crop has come."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from itertools import pairwise
from typing import NamedTuple
from zoneinfo import ZoneInfo

from ventcalc.bay.calendar import STAGES, calendar_at, planned_target, stage_of
from ventcalc.bay.dates import season_dates
from ventcalc.bay.description import Bay
from ventcalc.bay.hourly import hourly
from ventcalc.logbook.folder import Logbook
from ventcalc.pile.crop import Crop, crop_for, healing_factor
from ventcalc.stages.dormancy import Outlook, dormancy_outlook
from ventcalc.stages.outcomes import Healing, Outcome, healing_choice, outcome_of
from ventcalc.stages.pulp_days import between, pulp_days

__all__ = ["HEALING_SPAN", "Progress", "PulpDay", "Reconditioning", "StageDates", "progress_of"]

DAY = 86400.0
HEALING_SPAN = (7 * DAY, 21 * DAY)
"""One to three weeks at 50-60 °F: Univ. of Nebraska CropWatch; as time at its middle. [s]"""
TREND = 7
"""Days over which cooling is measured (common practice, no source)."""
RECONDITION = (12.0, 15.0)
"""Reconditioning of processing stock: AHDB Storage Bulletin, Mar 2013. [°C]"""


@dataclass(frozen=True, kw_only=True, slots=True)
class StageDates:
    """One stage as planned, and as far as it is known."""

    stage: str
    planned_begin: date
    planned_end: date
    actual_begin: date | None
    actual_end: date | None


@dataclass(frozen=True, kw_only=True, slots=True)
class Reconditioning:
    """Processing stock held warm before it leaves, against held on as it is."""

    begins: date
    """Of warming, at the plan's ramp."""
    warm_from: date
    """At its temperature."""
    until: date
    """First truck."""
    temperature: float
    """[°C]"""
    warm: Outcome
    held: Outcome
    dormancy_used: tuple[float, float]
    """Part of a long and of a short dormancy that these days take. [1]"""


class PulpDay(NamedTuple):
    """Mean pulp of a day."""

    day: date
    target: float
    """By the calendar. [°C]"""
    pulp: float
    """As measured; NaN where it was not. [°C]"""


@dataclass(frozen=True, kw_only=True, slots=True)
class Progress:
    """Where a season stands against its plan."""

    today: date
    stage: str
    stages: tuple[StageDates, ...]
    measured: int
    """Days with a measured pulp until today; without any the plan's is taken for all."""
    pulp: float
    """Last measured, or planned. [°C]"""
    pulp_day: date | None
    """When it was last measured."""
    target: float
    """By the calendar, today. [°C]"""
    course: tuple[PulpDay, ...]
    """From the first load to the first truck, as planned and as it came."""
    healed: float
    """Since the last load, as time at 12.8 °C. [s]"""
    healing_wanted: float
    """As the bay file plans, the same way. [s]"""
    healed_by: tuple[date | None, date | None, date | None]
    """After one week's worth, the plan's, three weeks' worth."""
    ramp: float
    """Cooling over the last week; NaN where it was not measured. [K/s]"""
    holding_from: tuple[date | None, date | None]
    """Pulp in the band about holding: at the ramp as planned, at the ramp as it is."""
    sprouts: Outlook
    healing: Healing
    rot_share: float
    """[0-1]"""
    frost_share: float
    """[0-1]"""
    reconditioning: Reconditioning | None


def progress_of(
    bay: Bay,
    book: Logbook,
    *,
    today: date,
    logged: tuple[tuple[float, float], ...] = (),
    dormancy: float | None = None,
    rot_share: float | None = None,
    frost_share: float | None = None,
    recondition_days: int = 0,
    recondition_temperature: float = RECONDITION[1],
) -> Progress:
    """
    Hold a season against its plan; rot and frost are as last seen, else of the loads, if not given.
    Spans where nobody can know better.
    """
    zone, crop, plan = ZoneInfo(bay.site.time_zone), crop_for(bay.use), bay.schedule
    now = datetime(today.year, today.month, today.day, 12, tzinfo=zone).timestamp()
    dates = season_dates(plan, bay.site.time_zone, now)
    plans = _planned(bay, dates.fill_start, dates.warm_up_start, dates.unloading_start)
    loads = sorted(line.time for line in book.lines("loads"))
    fill = [datetime.fromtimestamp(loads[k], zone).date() for k in (0, -1)] if loads else None
    first, last = fill or (plans[0][0], plans[0][1])
    found = {
        day: pulp
        for day, pulp in pulp_days(book, bay.site.time_zone, logged).items()
        if first <= day <= today
    }
    year = hourly(bay, now)
    when = calendar_at(year, now)
    target = planned_target(year, when)
    past = between(found, first, today) if found else _course(bay, plans, first, today)
    pulp = found[max(found)] if found else target
    since = past[max((last - first).days, 0) :] if today > last else []
    healed = DAY * math.fsum(healing_factor(x, crop) for x in since)
    wanted = plan.healing_days * healing_factor(plan.healing_temperature, crop)
    days_left = _course(bay, plans, today, plans[-1][1])
    begin = min(first, plans[0][0])
    whole = _course(bay, plans, begin, plans[-1][0])
    ramp = _ramp(found, today)
    rot = _share(book, "rot") if rot_share is None else rot_share
    frost = _share(book, "frost") if frost_share is None else frost_share
    ends = [
        _healed_by(last, since, healed, goal, healing_factor(pulp, crop), crop, today)
        for goal in (HEALING_SPAN[0], wanted, HEALING_SPAN[1])
    ]
    return Progress(
        today=today,
        stage=STAGES[stage_of(year, when, target)],
        stages=_stages(bay, plans, fill, found, today),
        measured=len(found),
        pulp=pulp,
        pulp_day=max(found, default=None),
        target=target,
        course=tuple(
            PulpDay(day := begin + timedelta(days=k), goal, found.get(day, math.nan))
            for k, goal in enumerate(whole)
        ),
        healed=healed,
        healing_wanted=wanted,
        healed_by=(ends[0], ends[1], ends[2]),
        ramp=ramp,
        holding_from=(_holding(bay, pulp, plan.ramp, today), _holding(bay, pulp, ramp, today)),
        sprouts=dormancy_outlook(
            first, [*past, *days_left], days_past=len(past), dormancy=dormancy
        ),
        healing=healing_choice(
            bay,
            rot_share=rot,
            frost_share=frost,
            days=max(round((dates.warm_up_start - dates.fill_start - plan.fill_days) / DAY), 1),
        ),
        rot_share=rot,
        frost_share=frost,
        reconditioning=_recondition(
            bay, plans[-1][0], recondition_days, recondition_temperature, dormancy
        )
        if recondition_days > 0
        else None,
    )


def _planned(bay: Bay, start: float, warm: float, out: float) -> list[tuple[date, date]]:
    """Begin and end of every stage but the empty one, in their order."""
    plan, zone = bay.schedule, ZoneInfo(bay.site.time_zone)
    filled = start + plan.fill_days
    healed = filled + plan.healing_days
    fall = max(plan.healing_temperature - plan.holding_temperature, 0.0) / plan.ramp
    held = min(healed + fall, warm)
    times = (start, filled, healed, held, warm, out, out + plan.unloading_days)
    # Noon, so that a change of the clock moves no day.
    days = [datetime.fromtimestamp(time + DAY / 2.0, zone).date() for time in times]
    return list(pairwise(days))


def _course(bay: Bay, plans: list[tuple[date, date]], first: date, last: date) -> list[float]:
    """Pulp by the calendar, every day from the first to before the last. [°C]"""
    zone, values = ZoneInfo(bay.site.time_zone), []
    begin = datetime.combine(plans[0][0], datetime.min.time(), zone).timestamp()
    year = hourly(bay, begin + DAY)
    for k in range((last - first).days):
        time = begin + ((first - plans[0][0]).days + k + 0.5) * DAY
        values.append(planned_target(year, calendar_at(year, time)))
    return values


def _stages(
    bay: Bay,
    plans: list[tuple[date, date]],
    fill: list[date] | None,
    found: Mapping[date, float],
    today: date,
) -> tuple[StageDates, ...]:
    """What pulp and loads tell of the first four stages."""
    plan, crop = bay.schedule, crop_for(bay.use)
    actual: list[tuple[date | None, date | None]] = [(None, None)] * len(plans)
    if fill:
        wanted = plan.healing_days * healing_factor(plan.healing_temperature, crop)
        done, healed = 0.0, None
        later = between(found, fill[1], today) if found else []
        for k, pulp in enumerate(later):
            done += DAY * healing_factor(pulp, crop)
            if done >= wanted * (1.0 - 1e-9):
                healed = fill[1] + timedelta(days=k + 1)
                break
        top = plan.holding_temperature + bay.limits.band
        held = next((d for d, pulp in found.items() if d > fill[1] and pulp <= top), None)
        ended = healed if held is None or healed is None else min(healed, held)
        actual[:4] = [(fill[0], fill[1]), (fill[1], ended), (ended, held), (held, None)]
    return tuple(
        StageDates(
            stage=stage,
            planned_begin=begin,
            planned_end=end,
            actual_begin=seen[0],
            actual_end=seen[1],
        )
        for stage, (begin, end), seen in zip(STAGES, plans, actual, strict=False)
    )


def _healed_by(
    last: date, since: list[float], healed: float, goal: float, rate: float, crop: Crop, today: date
) -> date | None:
    """Day on which so much is healed: found in what was, or at today's rate from now on."""
    done = 0.0
    for k, pulp in enumerate(since):
        done += DAY * healing_factor(pulp, crop)
        if done >= goal * (1.0 - 1e-9):
            return last + timedelta(days=k + 1)
    start = max(today, last)
    return start + timedelta(days=math.ceil((goal - healed) / (rate * DAY) - 1e-9))


def _ramp(found: Mapping[date, float], today: date) -> float:
    """Cooling over the last days, first to last of them. [K/s]"""
    late = [(day, pulp) for day, pulp in found.items() if (today - day).days <= TREND]
    if len(late) < 2:
        return math.nan
    (one, warm), (other, cold) = late[0], late[-1]
    return (warm - cold) / ((other - one).days * DAY)


def _holding(bay: Bay, pulp: float, ramp: float, today: date) -> date | None:
    top = bay.schedule.holding_temperature + bay.limits.band
    if pulp <= top:
        return today
    if math.isnan(ramp) or ramp <= 0.0:
        return None
    days = math.ceil((pulp - top) / (ramp * DAY) - 1e-9)
    return today + timedelta(days=days) if days < 365 else None


def _share(book: Logbook, name: str) -> float:
    """Last seen in the pile, else the mean of the loads on which it was looked for. [0-1]"""
    seen = [x for x in book.lines("observations") if x.entry.what == name]
    seen = [x for x in seen if x.entry.share is not None]
    if seen:
        return float(max(seen, key=lambda x: x.time).entry.share)
    told = [(x.net, getattr(x, f"{name}_share")) for x in book.entries("loads")]
    looked = [(net, share) for net, share in told if share is not None]
    total = math.fsum(net for net, _ in looked)
    return math.fsum(net * share for net, share in looked) / total if total > 0.0 else 0.0


def _recondition(
    bay: Bay, until: date, days: int, temperature: float, dormancy: float | None
) -> Reconditioning:
    plan = bay.schedule
    low = plan.holding_temperature
    rise = max(math.ceil((temperature - low) / (plan.ramp * DAY) - 1e-9), 0)
    course = [min(low + plan.ramp * DAY * (k + 0.5), temperature) for k in range(rise)]
    course += [temperature] * days
    begins = until - timedelta(days=len(course))
    age, healed = 180 * DAY, 60 * DAY
    used = dormancy_outlook(begins, course, days_past=len(course), dormancy=dormancy)
    return Reconditioning(
        begins=begins,
        warm_from=until - timedelta(days=days),
        until=until,
        temperature=temperature,
        warm=outcome_of(bay, course, age=age, healed=healed),
        held=outcome_of(bay, [low] * len(course), age=age, healed=healed),
        dormancy_used=(used.used_least, used.used_most),
    )
