"""
The pile as it grows: each day's loads of a lot are a zone of their own along the bay.

A zone is a column of the deep bed with its own temperature, age and lot. Air goes only where crop
lies: the fans blow against the floor that is filled so far, empty laterals shut.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from itertools import pairwise
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

import numpy as np

from ventcalc import air
from ventcalc.bay.description import Bay
from ventcalc.diagnose.log import Log
from ventcalc.logbook.folder import Logbook
from ventcalc.logbook.kinds import Line, Load
from ventcalc.pile.air_path import natural_velocity
from ventcalc.pile.bed import HOUR_LIMITS, Bed, BedState, fresh_bed, step
from ventcalc.season.bay_state import bed_of
from ventcalc.stages.emptying import system_of_part

__all__ = ["Filled", "Zone", "filled_zones"]

HOUR = 3600.0
LAYERS = 10
"""Of a column: bottom and top within 0.1 K of forty (ours)."""
RUNS = 0.05
"""Fan speed from which air moves (ours). [0-1]"""
LATE = 2 * HOUR
"""A row of the log counts for no longer (ours). [s]"""
TOUCH = 0.3
"""Between zones that still count as one beside the other (ours). [m]"""
AFTER = 10 * 86400.0
"""So long after the last load zones are followed; then they are one pile (ours). [s]"""


@dataclass(frozen=True, kw_only=True, slots=True)
class Zone:
    """A day's loads of a lot, and the crop in it now."""

    lot: str
    begin: float
    """First load, UTC since 1970-01-01. [s]"""
    start: float
    """Where it begins, from the back wall. [m]"""
    end: float
    """[m]"""
    mass: float
    """[kg]"""
    pulp: float
    """As it came in, by mass. [°C]"""
    age: float
    """Since it was loaded, by mass. [s]"""
    pulp_bottom: float
    """Now. [°C]"""
    pulp_mean: float
    """[°C]"""
    pulp_top: float
    """[°C]"""
    wettest: float
    """Most free water on a layer at any time. [kg/kg crop]"""
    mass_loss: float
    """Since it was loaded. [1]"""
    first_air: float
    """From its first load to the first hour with fans; NaN where no log tells. [s]"""


@dataclass(frozen=True, kw_only=True, slots=True)
class Filled:
    """All zones at one time."""

    time: float
    """UTC since 1970-01-01. [s]"""
    zones: tuple[Zone, ...]
    """From the back wall to the door."""
    logged: bool
    """Whether air is that of the log, not of what the bay allows."""
    unknown_time: float
    """In which the log says nothing; fans are taken to rest. [s]"""


class _Air(NamedTuple):
    """What the plenum gives in an hour."""

    fan_speed: float
    temperature: float
    """[°C]"""
    relative_humidity: float


@dataclass(kw_only=True, slots=True)
class _Column:
    """A zone while it is followed."""

    lot: str
    begin: float
    """First load. [s]"""
    middle: float
    """Mean time of its loads, by mass. [s]"""
    start: float
    """[m]"""
    length: float
    """[m]"""
    mass: float
    """[kg]"""
    loaded: float
    """Pulp. [°C]"""
    state: BedState
    wettest: float = 0.0
    first_air: float = math.nan
    """[s]"""


def filled_zones(
    bay: Bay, book: Logbook, log: Log | None = None, until: float = math.inf
) -> Filled | None:
    """
    Follow every zone of a bay from its loads on.

    Left out: walls, floor and headspace, the slope of the face, crop on top of
    other crop, loads of a day one by one; immature crop counts as the bay file mixes it.
    """
    pressure = float(air.standard_pressure(bay.site.altitude))
    bed = bed_of(bay, pressure, LAYERS)
    columns = _columns(bay, book, lambda pulp: fresh_bed(bed, pulp))
    if not columns:
        return None
    last = max(line.time for line in book.lines("loads"))
    end = min(until, float(log.time[-1]) if log else last + 24 * HOUR, last + AFTER)
    flows: dict[float, float] = {}

    def velocity(length: float, fan_speed: float) -> float:
        """Of the fans over the floor that is filled so far. [m/s]"""
        share = min(length / bay.pile.length, 1.0)
        if share not in flows:
            goal = bay.schedule.healing_temperature
            flows[share] = float(system_of_part(bay, share, pressure, goal).airflow)
        return flows[share] * fan_speed / (bay.pile.width * length)

    there: list[_Column] = []
    unknown, time = 0.0, min(one.middle for one in columns)
    while time + HOUR <= end:
        there = [one for one in columns if one.middle <= time]
        given = _planned(bay, there) if log is None else _logged(bay, log, time + HOUR)
        if given is None:
            unknown, given = unknown + HOUR, _Air(0.0, bay.schedule.healing_temperature, 0.95)
        fast = velocity(sum(one.length for one in there), given.fan_speed)
        if given.fan_speed > RUNS and log is not None:
            _note_first_air(columns, time)
        _blow(bed, there, given, fast, time)
        _share_heat(bed, there, time)
        time += HOUR
    if not there:
        return None
    return Filled(
        time=time,
        zones=tuple(_zone(one, time) for one in sorted(there, key=lambda one: one.start)),
        logged=log is not None,
        unknown_time=unknown,
    )


def _note_first_air(columns: Sequence[_Column], time: float) -> None:
    """Fans run in the hour from here on."""
    for one in columns:
        if math.isnan(one.first_air) and one.begin < time + HOUR:
            one.first_air = max(time - one.begin, 0.0)


def _blow(bed: Bed, there: Sequence[_Column], given: _Air, velocity: float, time: float) -> None:
    """One hour of every zone. [m/s, s]"""
    moisture = float(air.humidity_ratio(given.temperature, given.relative_humidity, bed.pressure))
    for one in there:
        mean = float(np.mean(one.state.temperature))
        speed = min(velocity, HOUR_LIMITS["superficial_velocity"][1])
        if given.fan_speed <= RUNS:
            speed = natural_velocity(bed, mean, given.temperature)
        one.state, _ = step(
            bed,
            one.state,
            step=HOUR,
            superficial_velocity=speed,
            inlet_temperature=given.temperature,
            inlet_humidity_ratio=moisture,
            age=time - one.middle,
        )
        one.wettest = max(one.wettest, float(np.max(one.state.film)))


def _share_heat(bed: Bed, there: Sequence[_Column], time: float) -> None:
    """
    One hour of conduction between zones that touch, layer by layer, through the depth that the
    difference has reached: k dT / (2 sqrt(pi a t)) of two half-spaces, in the end centre to centre.

    Carslaw and Jaeger, Conduction of Heat in Solids, 2nd ed., 2.5. [s]
    """
    capacity = bed.layer_mass / bed.thickness * bed.crop.specific_heat
    spread = math.pi * bed.conductivity / capacity
    row = sorted(there, key=lambda one: one.start)
    for one, other in pairwise(row):
        if other.start - (one.start + one.length) > TOUCH:
            continue
        age = max(time - max(one.middle, other.middle), 0.0)
        depth = HOUR * math.sqrt(spread) / (math.sqrt(age + HOUR) - math.sqrt(age))
        depth = min(depth, (one.length + other.length) / 2.0)
        warm, cold = one.state.temperature, other.state.temperature
        moved = bed.conductivity * (warm - cold) / depth * HOUR / capacity
        one.state = replace(one.state, temperature=warm - moved / one.length)
        other.state = replace(other.state, temperature=cold + moved / other.length)


def _columns(bay: Bay, book: Logbook, fresh: Callable[[float], BedState]) -> list[_Column]:
    """Zones in the order of time, laid from the back wall on unless their loads tell a place."""
    zone = ZoneInfo(bay.site.time_zone)
    per_metre = bay.pile.width * bay.pile.height * bay.pile.bulk_density
    runs: list[tuple[Any, list[Line[Load]]]] = []
    for line in sorted(book.lines("loads"), key=lambda line: float(line.time)):
        key = (line.entry.lot, datetime.fromtimestamp(line.time, zone).date())
        if not runs or runs[-1][0] != key:
            runs.append((key, []))
        runs[-1][1].append(line)
    found: list[_Column] = []
    filled = 0.0
    for (lot, _), lines in runs:
        mass = math.fsum(line.entry.net for line in lines)
        length = mass / per_metre
        places = [line.entry.place for line in lines if line.entry.place is not None]
        start = sum(places) / len(places) - length / 2.0 if places else filled
        start = max(min(start, bay.pile.length - length), 0.0) if places else start
        filled = max(filled, start + length)
        pulp = _mean([(line.entry.net, line.entry.pulp) for line in lines])
        if math.isnan(pulp) and not found:
            continue
        pulp = found[-1].loaded if math.isnan(pulp) else pulp
        middle = _mean([(line.entry.net, line.time) for line in lines])
        found.append(
            _Column(lot=lot, begin=lines[0].time, middle=middle, start=start, length=length,
                    mass=mass, loaded=pulp, state=fresh(pulp))
        )  # fmt: skip
    return found


def _mean(told: Sequence[tuple[float, float | None]]) -> float:
    """By mass, of those that are known."""
    known = [(mass, value) for mass, value in told if value is not None]
    total = math.fsum(mass for mass, _ in known)
    return math.fsum(mass * value for mass, value in known) / total if known else math.nan


def _planned(bay: Bay, there: Sequence[_Column]) -> _Air:
    coldest = min(float(np.mean(one.state.temperature)) for one in there)
    goal = bay.schedule.healing_temperature
    supply = max(coldest - bay.limits.supply_difference, min(coldest, goal))
    return _Air(1.0, supply, bay.limits.plenum_humidity)


def _logged(bay: Bay, log: Log, time: float) -> _Air | None:
    """The row that tells of the hour before; None where there is none."""
    row = int(np.searchsorted(log.time, time, "left"))
    if row == len(log.time) or log.time[row] - time > LATE:
        return None
    values = {name: float(x[row]) for name, x in log.values.items()}
    fan, plenum = values.get("fan_speed", math.nan), values.get("plenum_temperature", math.nan)
    if math.isnan(fan) or math.isnan(plenum):
        return None
    humidity = values.get("plenum_relative_humidity", math.nan)
    return _Air(fan, plenum, bay.limits.plenum_humidity if math.isnan(humidity) else humidity)


def _zone(one: _Column, time: float) -> Zone:
    pulp = one.state.temperature
    return Zone(
        lot=one.lot,
        begin=one.begin,
        start=one.start,
        end=one.start + one.length,
        mass=one.mass,
        pulp=one.loaded,
        age=max(time - one.middle, 0.0),
        pulp_bottom=float(pulp[0]),
        pulp_mean=float(np.mean(pulp)),
        pulp_top=float(pulp[-1]),
        wettest=one.wettest,
        mass_loss=float(np.mean(one.state.water_loss + one.state.dry_matter_loss)),
        first_air=one.first_air,
    )
