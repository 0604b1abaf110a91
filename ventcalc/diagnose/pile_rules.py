"""Rules on the pile: hot spot, blocked lateral, weak airflow, an uneven pile, CO2 that stays."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from ventcalc.bay.description import Bay
from ventcalc.diagnose.days import DAY, Days, days_of
from ventcalc.diagnose.findings import Signal, signal
from ventcalc.diagnose.scene import Scene

__all__ = ["pile_signals"]

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

HOT_RATE = 0.3
"""Rise of one probe in a day against the model and its neighbours (S9). [K]"""
NEIGHBOURS = 3
"""Probes below which none stands out."""
AIR_SHOWS = 0.3
"""Change in a day by air alone from which on a probe shows whether air comes. [K]"""
NO_AIR_PART, WEAK_PART, AIR_PART = 0.35, 0.75, 0.6
"""Parts of that change: below which none comes, too little does, above which it comes. [1]"""
LEARNED_SHOWS, SCATTERS, LEAST_SCATTER = 0.4, 3.0, 0.02
"""Where the usual follow of a pile is known: change in two days that shows it [K], and by how many
times its usual scatter it must fall short [1], at least so much [K]."""
LESS_PART, ALL_PART, LOWEST_PART = 0.20, 0.3, 0.5
"""Parts of the usual that lack; of that which each upper probe must lack, and the lowest may."""
UNKNOWN_RATE = 0.6
"""The same as ``HOT_RATE`` while it is not known how a probe usually drifts. [K]"""
RECENT, LEARNED = 3 * DAY, 14 * DAY
"""Days from which a probe's usual drift is not learned, and before them those from which. [s]"""
ENOUGH_DAYS = 5
"""To learn it from."""
MOST_USUAL = 0.6
"""Drift that may be called usual. [K]"""
MODEL_DOUBT = 0.25
"""Part of swing and respiration by which the model may be wrong: crops differ. [1]"""
UNEVEN_FOR = 48.0
"""Of holding, after which top and bottom must have met (S8). [h]"""
PURGED = 2
"""Hours of fresh air after which CO2 must have come down (S10). [h]"""
PURGE_DOOR = 0.1
"""Door opening that counts as fresh air. [0-1]"""
STAYED = 0.9
"""Part of the CO2 before that must be left to call it standing. [1]"""


def pile_signals(bay: Bay, scene: Scene, heights: tuple[float, ...] | None) -> list[Signal]:
    """What the pulp probes and CO2 say."""
    days = days_of(bay, scene, heights)
    found = [uneven(scene), co2_stays(scene)]
    if len(days.time):
        known = usual(days)
        found.append(airflow_low(days, known))
        for k in range(days.measured_rise.shape[1]):
            found += [hot_spot(days, known, k), lateral_blocked(days, known, k)]
    return found


def usual(days: Days) -> Array:
    """
    What each probe drifts from the model in a usual day: calibration and the model's error. [K]

    The middle of the two weeks before, but for the last days; NaN where there are too few.
    """
    off = days.measured_rise - days.modelled_rise
    found = np.full(off.shape, math.nan)
    for k in range(len(off)):
        rows = _learned_from(days, k)
        heard = (~np.isnan(off[rows])).sum(axis=0) >= ENOUGH_DAYS
        if heard.any():
            found[k, heard] = np.nanmedian(off[rows][:, heard], axis=0)
    clipped: Array = np.clip(found, -MOST_USUAL, MOST_USUAL)
    return clipped


def _others(values: Array, probe: int) -> Array:
    """Median over the other probes; NaN where fewer than two are heard."""
    rest = np.delete(values, probe, axis=1)
    enough = (~np.isnan(rest)).sum(axis=1) >= NEIGHBOURS - 1
    found = np.full(len(values), math.nan)
    if enough.any():
        found[enough] = np.nanmedian(rest[enough], axis=1)
    return found


def _two_days(days: Days, values: Array) -> Array:
    """Sum of each day and the one before; NaN where that is not there."""
    found = np.full(values.shape, math.nan)
    follows = np.flatnonzero(np.diff(days.time) == DAY) + 1
    found[follows] = values[follows] + values[follows - 1]
    return found


def doubt(days: Days) -> Array:
    """What the model may be wrong by in two days, with what it went through and breathed. [K]"""
    return MODEL_DOUBT * _two_days(days, days.swing + np.abs(days.still_rise))


def hot_spot(days: Days, known: Array, probe: int) -> Signal:
    """S9: one probe rises for two days against the model while its neighbours keep to it."""
    off = days.measured_rise - days.modelled_rise - np.nan_to_num(known)
    excess = _two_days(days, off[:, probe] - _others(off, probe))
    above_still = _two_days(days, days.measured_rise[:, probe] - days.still_rise[:, probe])
    limit = np.where(np.isnan(known[:, probe]), UNKNOWN_RATE, HOT_RATE)
    limit = 2.0 * limit + doubt(days)[:, probe]
    rise = days.measured_rise[:, probe] - _others(days.measured_rise, probe)
    return signal(
        "hot_spot",
        time=days.time,
        able=~np.isnan(excess),
        shows=(excess > limit) & (above_still > HOT_RATE),
        size=_two_days(days, rise) / 2.0,
        need=24.0,
        place=f"pulp probe {probe + 1}",
        height=float(days.heights[probe]),
        hours=24.0,
    )


def lateral_blocked(days: Days, known: Array, probe: int) -> Signal:
    """S4: one probe does not follow the cooling air for two days while the others do."""
    due, got = _due_and_got(days, known)
    enough = due <= -2.0 * AIR_SHOWS - doubt(days)
    part = np.where(enough, got / np.minimum(due, -AIR_SHOWS), math.nan)
    follows = _others(part, probe)
    heats = _two_days(days, days.measured_rise - days.still_rise)[:, probe] > HOT_RATE
    return signal(
        "lateral_blocked",
        time=days.time,
        able=~np.isnan(part[:, probe] + follows) & ~np.isnan(known[:, probe]),
        shows=(part[:, probe] < NO_AIR_PART) & (follows > AIR_PART) & ~heats,
        size=-due[:, probe] / 2.0,
        need=24.0,
        place=f"pulp probe {probe + 1}",
        height=float(days.heights[probe]),
        hours=24.0,
    )


def _due_and_got(days: Days, known: Array) -> tuple[Array, Array]:
    """What the air alone should have changed in two days, and what it has. [K]"""
    due = days.modelled_rise - days.still_rise
    got = days.measured_rise - np.nan_to_num(known) - days.still_rise
    return _two_days(days, due), _two_days(days, got)


def airflow_low(days: Days, known: Array) -> Signal:
    """
    S4: the whole pile follows the cooling air much less than its fans should make it, or less than
    it did: the upper probes fall short, while the lowest still takes the supply's temperature.
    """
    due, got = _due_and_got(days, known)
    heard = ~np.isnan(got) & ~np.isnan(known)
    asked, taken = (_mean_heard(x, heard) for x in (due, got))
    part = taken / np.minimum(asked, -1e-9)
    clear = asked <= -2.0 * AIR_SHOWS - doubt(days).mean(axis=1)
    learned, less = _falls_short(days, due, got, heard)
    return signal(
        "airflow_low",
        time=days.time,
        able=clear | learned,
        shows=(clear & (part < WEAK_PART)) | (learned & less),
        size=part,
        need=24.0,
        hours=24.0,
    )


def _mean_heard(values: Array, heard: Flags) -> Array:
    found: Array = np.where(heard, values, 0.0).sum(axis=1) / np.maximum(heard.sum(axis=1), 1)
    return found


def _falls_short(days: Days, due: Array, got: Array, heard: Flags) -> tuple[Flags, Flags]:
    """Days on which the usual follow of two weeks is known, and those that fall far short of it."""
    upper = heard.copy()
    upper[:, :1] = False
    usable = heard[:, :1].any(axis=1) & (upper.sum(axis=1) >= NEIGHBOURS - 1)
    asked, taken = _mean_heard(due, upper), _mean_heard(got, upper)
    learned, less = np.zeros((2, len(asked)), dtype=bool)
    for k in np.flatnonzero(usable & (asked < -LEARNED_SHOWS)).tolist():
        rows = usable & _learned_from(days, k)
        if np.count_nonzero(rows) <= ENOUGH_DAYS:
            continue
        follows = float(taken[rows] @ asked[rows]) / max(float(asked[rows] @ asked[rows]), 1e-9)
        follows = min(max(follows, AIR_PART), 2.0 - AIR_PART)
        scatter = math.sqrt(float(np.mean((taken[rows] - follows * asked[rows]) ** 2)))
        short = got[k] - follows * due[k]
        all_short = float(taken[k] - follows * asked[k])
        learned[k] = True
        less[k] = (
            all_short > SCATTERS * max(scatter, LEAST_SCATTER)
            and all_short > -LESS_PART * follows * asked[k]
            and short[upper[k]].min() > ALL_PART * all_short
            and short[0] < LOWEST_PART * all_short
        )
    return learned, less


def _learned_from(days: Days, k: int) -> Flags:
    """The two weeks before a day, but for the last days."""
    since = days.time[k] - RECENT
    found: Flags = (days.time < since) & (days.time > since - LEARNED)
    return found


def uneven(scene: Scene) -> Signal:
    """S8: top and bottom of the pile stay apart while it is held."""
    pulp = scene.hours.pulp
    nothing = np.full(len(pulp), math.nan)
    spread = np.abs(pulp[:, -1] - pulp[:, 0]) if pulp.shape[1] > 1 else nothing
    limit = scene.bay.limits.spread + math.sqrt(2.0) * scene.bay.sensors.temperature
    return signal(
        "uneven",
        time=scene.hours.time,
        able=scene.stored & scene.holding & ~np.isnan(spread),
        shows=spread > limit,
        size=spread,
        need=UNEVEN_FOR,
        forgets=3.0,
    )


def co2_stays(scene: Scene) -> Signal:
    """S10: CO2 stays over its limit although fresh air is being given."""
    hours = scene.hours
    co2 = hours.means.get("co2", np.full(len(hours.time), math.nan))
    fresh = (np.nan_to_num(scene.door) >= PURGE_DOOR) & (hours.running > 0.9)
    able = scene.stored & ~np.isnan(co2)
    before = np.full(len(co2), math.nan)
    for back in range(min(PURGED, len(co2))):
        able[:back] = False
        able[back:] &= fresh[: len(fresh) - back]
    before[PURGED - 1 :] = co2[: max(len(co2) - PURGED + 1, 0)]
    return signal(
        "co2_stays",
        time=hours.time,
        able=able & ~np.isnan(before),
        shows=(co2 > scene.bay.limits.co2) & (co2 > STAYED * before),
        size=co2 * 1e6,
        need=3.0,
    )
