"""Air for what remains of a pile as laterals are shut, and CO2 for the people who work there."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from ventcalc import air
from ventcalc.advice.fresh_air import PEOPLE_CO2
from ventcalc.bay.description import Bay, fresh_fraction_at
from ventcalc.check.air_system import AirSystem, air_system
from ventcalc.check.pile_carbon import free_air
from ventcalc.logbook.judge import FREEZES
from ventcalc.pile.crop import CO2_DENSITY, CO2_OUTSIDE, co2_rate, crop_for, respiration_heat
from ventcalc.stages.warm_up import SETTLED
from ventcalc.weather import Weather

__all__ = [
    "People",
    "Remaining",
    "air_for_remains",
    "on_the_truck",
    "people_inside",
    "system_of_part",
]

SHARES = (1.0, 0.75, 0.5, 0.25, 0.1)
"""Of the crop, for which the air is told."""
TIGHT_CO2 = 0.03
"""CO2 found in tight stores, up to 3 %: AHDB, store atmosphere. [1]"""
DAYLIGHT = range(7, 19)
"""Local hours in which trucks are loaded (common practice, no source)."""
STANDARD_PRESSURE = 101325.0


@dataclass(frozen=True, kw_only=True, slots=True)
class Remaining:
    """Air of the fans at full speed when a share of the crop is left."""

    share: float
    """Of the crop that was there. [1]"""
    mass: float
    """[kg]"""
    laterals: int
    """Open ones, under crop; 0 where the bay file has no ducts."""
    airflow: float
    """All fans, empty laterals shut; NaN where the fan curve does not reach. [m³/s]"""
    airflow_per_mass: float
    """[m³/(s kg)]"""
    static_pressure: float
    """[Pa]"""
    fan_speed: float
    """That gives each tonne the air of the full bay at full speed. [0-1]"""
    kept_if_open: float
    """Part of the air that still reaches crop if empty laterals stay open; NaN without ducts.
    [0-1]"""
    remarks: tuple[str, ...]
    """What the fans' operating point calls for."""


def air_for_remains(bay: Bay, mass: float) -> list[Remaining]:
    """
    What air is left for what is left.

    Pile and laterals are shortened to what is left; door, humidifier and turns stay. A lateral
    under no crop lacks the pile's resistance: by the square law it takes the root of (laterals +
    pile) over laterals as much air as one under crop.
    """
    pressure = float(air.standard_pressure(bay.site.altitude))
    wanted = bay.schedule.warm_up_temperature
    full = system_of_part(bay, 1.0, pressure, wanted)
    per_mass = float(full.airflow) / mass
    unloaded = math.sqrt(
        (float(full.duct_pressure) + float(full.pile_pressure)) / float(full.duct_pressure)
    )
    rows = []
    for share in SHARES:
        system = system_of_part(bay, share, pressure, wanted)
        open_ones = _laterals(bay, share)
        flow, all_ones = float(system.airflow), bay.ducts.laterals if bay.ducts else 0
        idle = (all_ones - open_ones) * unloaded
        rows.append(
            Remaining(
                share=share,
                mass=mass * share,
                laterals=open_ones,
                airflow=flow,
                airflow_per_mass=flow / (mass * share),
                static_pressure=float(system.point.static_pressure),
                fan_speed=min(per_mass * mass * share / flow, 1.0),
                kept_if_open=open_ones / (open_ones + idle) if bay.ducts else math.nan,
                remarks=system.remarks,
            )
        )
    return rows


def _laterals(bay: Bay, share: float) -> int:
    return max(math.ceil(share * bay.ducts.laterals - 1e-9), 1) if bay.ducts else 0


def system_of_part(bay: Bay, share: float, pressure: float, temperature: float) -> AirSystem:
    """Fans on a share of the pile, with as many of its laterals. [share, Pa, °C]"""
    floor = bay.pile
    along_length = bay.ducts is None or bay.ducts.plenum_along == "length"
    side = {"length": floor.length * share} if along_length else {"width": floor.width * share}
    ducts = None if bay.ducts is None else replace(bay.ducts, laterals=_laterals(bay, share))
    part = replace(bay, pile=replace(floor, **side), ducts=ducts)
    return air_system(part, floor.height, pressure=pressure, temperature=temperature)


@dataclass(frozen=True, kw_only=True, slots=True)
class People:
    """CO2 where people load trucks, all doors shut; an open truck door only helps."""

    volume_flow: float
    """CO2 that the crop gives off, sprouting not counted. [m³/s]"""
    co2_climb: float
    """With the fans off. [1/s]"""
    time_to_limit: float
    """With the fans off, from the limit for the crop to that for people. [s]"""
    fresh_airflow: float
    """Outside air that keeps the limit for people. [m³/s]"""
    fresh_fraction: float
    """Of the fans' air at full speed. [0-1]"""
    purge_time: float
    """From a tight store's CO2 to the limit for people: full speed, fresh-air opening. [s]"""


def people_inside(bay: Bay, mass: float, temperature: float) -> People:
    """CO2 for whoever works in a bay: how fast it rises, and the fresh air that holds it."""
    crop = crop_for(bay.use)
    pressure = float(air.standard_pressure(bay.site.altitude))
    heat = mass * float(respiration_heat(temperature, SETTLED, crop, bay.immature_share))
    made = float(co2_rate(heat, crop)) / (CO2_DENSITY * pressure / STANDARD_PRESSURE)
    volume = float(free_air(bay, mass))
    system = air_system(bay, bay.pile.height, pressure=pressure, temperature=temperature)
    flow = float(system.airflow)
    needed = made / (PEOPLE_CO2 - CO2_OUTSIDE)
    leak = bay.envelope.leakage * volume
    fresh = flow * float(fresh_fraction_at(bay.doors, bay.control.fresh_air_opening)) + leak
    return People(
        volume_flow=made,
        co2_climb=made / volume,
        time_to_limit=_climb(volume, made, leak, bay.limits.co2, PEOPLE_CO2),
        fresh_airflow=needed,
        fresh_fraction=needed / flow,
        purge_time=_purge(volume, made, fresh, TIGHT_CO2, PEOPLE_CO2),
    )


def _climb(volume: float, made: float, fresh: float, low: float, high: float) -> float:
    """Time for well-mixed CO2 to rise; infinite where fresh air holds it. [s]"""
    if low >= high:
        return 0.0
    if fresh <= 0.0:
        return (high - low) * volume / made
    end = CO2_OUTSIDE + made / fresh
    return math.inf if end <= high else volume / fresh * math.log((end - low) / (end - high))


def _purge(volume: float, made: float, fresh: float, high: float, low: float) -> float:
    """Time for well-mixed CO2 to fall; infinite where the fresh air is too little. [s]"""
    end = CO2_OUTSIDE + made / fresh
    return math.inf if end >= low else volume / fresh * math.log((high - end) / (low - end))


def on_the_truck(
    weather: Weather, zone: str, *, pulp: float, first: date, days: float
) -> tuple[float, float]:
    """
    Shares of the working hours of daylight in which outside air wets tubers as they leave, or
    freezes them on the way; NaN where the weather lacks these days. [0-1]
    """
    wanted = {(first + timedelta(days=k)).timetuple()[1:3] for k in range(max(round(days), 1))}
    place = ZoneInfo(zone)
    stamps = [
        datetime.fromtimestamp(int(t), place)
        for t in weather.time.astype("datetime64[s]").astype(np.int64)
    ]
    rows = [k for k, t in enumerate(stamps) if (t.month, t.day) in wanted and t.hour in DAYLIGHT]
    if not rows:
        return math.nan, math.nan
    dew = air.dew_point(weather.humidity_ratio[rows], weather.pressure[rows])
    return float(np.mean(dew > pulp)), float(np.mean(weather.temperature[rows] < FREEZES))
