"""The humidifier: water for the hours in which outside air cools the pile."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

from ventcalc import air
from ventcalc.air.plain import air_density
from ventcalc.bay.calendar import HOLDING
from ventcalc.bay.description import Bay
from ventcalc.equipment import plenum
from ventcalc.pile.crop import crop_for
from ventcalc.sizing.air import AirDesign
from ventcalc.sizing.weather import DesignStates

__all__ = ["WATER_PERCENTILE", "WaterDesign", "design_humidifier", "dry_air_flow"]

WATER_PERCENTILE = 99.0
"""Of the hours in which outside air cools; in the others the plenum is drier than wanted (common
practice, no source). [%]"""
RESERVE = 0.10
"""For nozzles that clog (common practice, no source). [1]"""
PLENTY = 10.0
"""Water that no bay needs, to ask what is needed. [kg/s]"""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class WaterDesign:
    """A humidifier, and the state it is sized for."""

    capacity: float
    """Water evaporated, with the reserve. [kg/s]"""
    water: float
    """Needed in the design hour. [kg/s]"""
    outside_temperature: float
    """Of the design hour. [°C]"""
    outside_relative_humidity: float
    """Of the design hour. [0-1]"""
    supply_temperature: float
    """Of the design hour. [°C]"""
    fresh_fraction: float
    """Of the air in the design hour that is from outside. [0-1]"""
    winter_water: float
    """Needed at the winter temperature. [kg/s]"""


def dry_air_flow(design: AirDesign, pressure: float) -> float:
    """Dry air through all fans at full speed, at 5 °C. [kg/s]"""
    return float(design.airflow * air_density(pressure))


def design_humidifier(bay: Bay, states: DesignStates, design: AirDesign) -> WaterDesign:
    """
    Size the humidifier for fans at full speed, supply as cold as the limits allow.

    The greater of winter and the 99 % hour, and a reserve.
    """
    cool = states.target - bay.control.outside_offset
    usable = (states.temperature < cool) & (states.now < _until(states))
    winter = _hour(
        bay,
        states.pressure,
        design,
        states.winter_temperature,
        states.winter_humidity_ratio,
        bay.schedule.holding_temperature,
    )
    columns = (states.temperature, states.humidity_ratio, states.target)
    season = sorted(
        (
            _hour(bay, states.pressure, design, *row)
            for row in zip(*(column[usable].tolist() for column in columns), strict=True)
        ),
        key=lambda hour: hour.water,
    )
    usual = season[int((len(season) - 1) * WATER_PERCENTILE / 100.0)] if season else winter
    worst = max(winter, usual, key=lambda hour: hour.water)
    return WaterDesign(
        capacity=worst.water * (1.0 + RESERVE),
        water=worst.water,
        outside_temperature=worst.outside_temperature,
        outside_relative_humidity=float(
            air.relative_humidity(
                worst.outside_temperature, worst.outside_humidity_ratio, states.pressure
            )
        ),
        supply_temperature=worst.supply_temperature,
        fresh_fraction=worst.fresh_fraction,
        winter_water=winter.water,
    )


def _until(states: DesignStates) -> float:
    """The warm-up and unloading are not cooled. [s]"""
    late = states.now[states.stage > HOLDING]
    return float(late[0]) if late.size else float("inf")


class _Hour(NamedTuple):
    """Water [kg/s] that makes the supply of an hour, and what it is made from."""

    water: float
    fresh_fraction: float
    supply_temperature: float
    outside_temperature: float
    outside_humidity_ratio: float


def _hour(
    bay: Bay,
    pressure: float,
    design: AirDesign,
    outside_temperature: float,
    outside_humidity_ratio: float,
    target: float,
) -> _Hour:
    limits, doors = bay.limits, bay.doors
    activity = crop_for(bay.use).water_activity
    common = {
        "mass_flow": dry_air_flow(design, pressure),
        "outside_temperature": outside_temperature,
        "outside_humidity_ratio": outside_humidity_ratio,
        "return_temperature": target,
        "return_humidity_ratio": activity * air.saturation_humidity_ratio(target, pressure),
        "pressure": pressure,
        "heat": design.power,
        "water_capacity": PLENTY,
    }
    fresh = plenum.fresh_fraction_for(
        wanted_temperature=max(target - limits.supply_difference, limits.plenum_floor),
        wanted_humidity=limits.plenum_humidity,
        **common,
    )
    fresh = min(max(fresh, doors.leakage_fraction), doors.largest_fraction)
    made = plenum.supply(fresh_fraction=fresh, humidity_wanted=limits.plenum_humidity, **common)
    return _Hour(
        made.water_added, fresh, made.temperature, outside_temperature, outside_humidity_ratio
    )
