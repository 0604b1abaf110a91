"""The humidifier: water for the hours in which outside air cools the pile."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ventcalc import air
from ventcalc.air.plain import air_density
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
    usable_hours: float
    """Hours of the season in which outside air could cool. [h]"""


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
    hours = np.count_nonzero(usable) * states.step / 3600.0
    winter = _plenum(
        bay,
        states,
        design,
        outside_temperature=np.array([states.winter_temperature]),
        outside_humidity_ratio=np.array([states.winter_humidity_ratio]),
        target=np.array([bay.schedule.holding_temperature]),
    )
    rows = [winter]
    if usable.any():
        season = _plenum(
            bay,
            states,
            design,
            outside_temperature=states.temperature[usable],
            outside_humidity_ratio=states.humidity_ratio[usable],
            target=states.target[usable],
        )
        place = int(np.argsort(season[0])[int((len(season[0]) - 1) * WATER_PERCENTILE / 100.0)])
        rows.append(season[:, place : place + 1])
    water, fresh, supply, outside, ratio = max(rows, key=lambda row: float(row[0, 0]))[:, 0]
    return WaterDesign(
        capacity=float(water) * (1.0 + RESERVE),
        water=float(water),
        outside_temperature=float(outside),
        outside_relative_humidity=float(
            air.relative_humidity(float(outside), float(ratio), states.pressure)
        ),
        supply_temperature=float(supply),
        fresh_fraction=float(fresh),
        winter_water=float(winter[0, 0]),
        usable_hours=float(hours),
    )


def _until(states: DesignStates) -> float:
    """The warm-up and unloading are not cooled. [s]"""
    late = states.now[states.stage > 3]
    return float(late[0]) if late.size else float("inf")


def _plenum(
    bay: Bay,
    states: DesignStates,
    design: AirDesign,
    *,
    outside_temperature: np.ndarray,
    outside_humidity_ratio: np.ndarray,
    target: np.ndarray,
) -> np.ndarray:
    """Rows: water [kg/s], fresh fraction, supply [°C], outside [°C] and its humidity ratio."""
    pressure = states.pressure
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
    wanted = np.maximum(target - bay.limits.supply_difference, bay.limits.plenum_floor)
    fresh = plenum.fresh_fraction_for(
        wanted_temperature=wanted, wanted_humidity=bay.limits.plenum_humidity, **common
    )
    fresh = np.clip(fresh, bay.doors.leakage_fraction, bay.doors.largest_fraction)
    made = plenum.supply(fresh_fraction=fresh, humidity_wanted=bay.limits.plenum_humidity, **common)
    return np.stack(
        [made.water_added, fresh, made.temperature, outside_temperature, outside_humidity_ratio]
    )
