"""What the air should have done in each hour, by the library's own formulas, and what it did."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from ventcalc import air
from ventcalc.advice.setpoints import dry_air_flow, fan_power
from ventcalc.air.plain import AIR_HEAT, enthalpy
from ventcalc.bay.calendar import HOLDING, calendar_at, planned_target, stage_of
from ventcalc.bay.description import Bay, fresh_fraction_at
from ventcalc.bay.hourly import HourlyBay, hourly
from ventcalc.diagnose.hours import Hours
from ventcalc.equipment.plenum import supply

__all__ = ["Scene", "scene_of"]

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

USUAL = {"outside_relative_humidity": 0.8, "return_relative_humidity": 0.95}
"""Where a log has no such probe; the supply's temperature hardly depends on it. [0-1]"""
SPRAYED = 0.999
"""Humidity that stops a humidifier whatever it is told. [0-1]"""
OFF = 0.02
"""Position up to which a part counts as off, or a door as shut. [0-1]"""
DAY = 86400.0
NOON, MIDNIGHT = (10, 16), (22, 5)
"""Local hours of sun, and of none. [h]"""


@dataclass(frozen=True, kw_only=True, eq=False)
class Scene:
    """Each hour of a log beside what it should have been; NaN where the fans had not settled."""

    bay: HourlyBay
    hours: Hours
    pressure: float
    """[Pa]"""
    stored: Flags
    """Whether the bay is full and shut: after the last load, before the first truck."""
    holding: Flags
    """Whether its plan is to hold."""
    outside_temperature: Array
    """[°C]"""
    return_temperature: Array
    """Return air. [°C]"""
    plenum_temperature: Array
    """[°C]"""
    outside_water: Array
    """Humidity ratios: NaN without a humidity probe. [kg/kg dry air]"""
    back_water: Array
    """[kg/kg dry air]"""
    plenum_water: Array
    """[kg/kg dry air]"""
    door: Array
    """Told. [0-1]"""
    humidifier: Array
    """[0-1]"""
    refrigeration: Array
    """[0-1]"""
    heater: Array
    """[0-1]"""
    fresh: Array
    """Part of fresh air at that door. [0-1]"""
    fan_rise: Array
    """Heating of the air by fans and heater. [K]"""
    expected_temperature: Array
    """Supply that should have come. [°C]"""
    dry_temperature: Array
    """The same without the humidifier. [°C]"""
    uncooled_temperature: Array
    """The same without the coil. [°C]"""
    expected_water: Array
    """[kg/kg dry air]"""
    dry_water: Array
    """[kg/kg dry air]"""

    @cached_property
    def back_all(self) -> Array:
        """Return air, running or not. [°C]"""
        return self.hours.mean_of("return_temperature")

    @cached_property
    def outside_all(self) -> Array:
        """Outside air, running or not. [°C]"""
        return self.hours.mean_of("outside_temperature")

    @cached_property
    def supplied(self) -> Array:
        """Plenum while the fans ran, settled or not. [°C]"""
        return np.where(
            np.isnan(self.plenum_temperature),
            self.hours.blown["plenum_temperature"],
            self.plenum_temperature,
        )

    @cached_property
    def supplied_water(self) -> Array:
        """Its humidity ratio, as measured or as expected; NaN if neither. [kg/kg dry air]"""
        relative = self.hours.blown.get("plenum_relative_humidity")
        water = self.plenum_water
        if relative is not None:
            blown = air.humidity_ratio(self.supplied, relative, self.pressure)
            water = np.where(np.isnan(water), blown, water)
        return np.where(np.isnan(water), self.expected_water, water)

    @property
    def local_days(self) -> Array:
        """Days since 1970-01-01 by the local winter clock. [days]"""
        found: Array = (self.hours.time + self.bay.dates.utc_offsets[0]) / DAY
        return found

    @property
    def sunny(self) -> Flags:
        """Hours around noon."""
        clock = self.local_days % 1.0 * 24.0
        return (clock >= NOON[0]) & (clock < NOON[1])

    @property
    def dark(self) -> Flags:
        """Hours without sun."""
        clock = self.local_days % 1.0 * 24.0
        return (clock >= MIDNIGHT[0]) | (clock < MIDNIGHT[1])

    @property
    def error(self) -> Array:
        """Plenum less what should have come. [K]"""
        return self.plenum_temperature - self.expected_temperature

    @property
    def span(self) -> Array:
        """Outside less return air. [K]"""
        return self.outside_temperature - self.return_temperature

    def implied_fresh(self) -> Array:
        """
        Part of fresh air that the plenum shows. [1]

        By dry bulb, or on enthalpy where the humidifier sprays, which does not move it.
        """
        by_heat = self.fresh + self.error / self.span
        warm = [
            enthalpy(t, w)  # type: ignore[arg-type]  # a sum of products, for arrays as for floats
            for t, w in (
                (self.plenum_temperature - self.fan_rise, self.plenum_water),
                (self.return_temperature, self.back_water),
                (self.outside_temperature, self.outside_water),
            )
        ]
        by_enthalpy = (warm[0] - warm[1]) / (warm[2] - warm[1])
        return np.where(self.humidifier > OFF, by_enthalpy, by_heat)


def scene_of(bay: Bay, hours: Hours) -> Scene:
    """What should have come in every settled hour."""
    found = hours.get("pressure")
    pressure = float(air.standard_pressure(bay.site.altitude))
    if not np.isnan(found).all():
        pressure = float(np.nanmedian(found))
    one = hourly(bay, float(hours.time[len(hours.time) // 2]))
    outside, back, plenum = (
        hours.get(f"{name}_temperature") for name in ("outside", "return", "plenum")
    )
    told = {name: _told(hours, name) for name in ("door_opening", *PARTS)}
    water = {
        name: _water(hours, name, pressure, usual=False) for name in ("outside", "return", "plenum")
    }
    usual = {name: _water(hours, name, pressure, usual=True) for name in ("outside", "return")}
    fresh = np.asarray(fresh_fraction_at(bay.doors, told["door_opening"]))
    speed = np.cbrt(hours.cube / np.maximum(hours.running, 1e-9))
    supplies = _supplies(one, pressure, speed, fresh, outside, back, usual, told)
    stored, holding = _stages(bay, hours)
    return Scene(
        bay=one,
        hours=hours,
        pressure=pressure,
        stored=stored,
        holding=holding,
        outside_temperature=outside,
        return_temperature=back,
        plenum_temperature=plenum,
        outside_water=water["outside"],
        back_water=water["return"],
        plenum_water=water["plenum"],
        door=told["door_opening"],
        humidifier=told["humidifier"],
        refrigeration=told["refrigeration"],
        heater=told["heater"],
        fresh=fresh,
        fan_rise=supplies[5],
        expected_temperature=supplies[0],
        expected_water=supplies[1],
        dry_temperature=supplies[2],
        dry_water=supplies[3],
        uncooled_temperature=supplies[4],
    )


PARTS = ("humidifier", "refrigeration", "heater")


def _told(hours: Hours, name: str) -> Array:
    """Positions; a column that the log lacks is a part that the bay does not use."""
    found = hours.get(name)
    return np.zeros(len(found)) if name not in hours.settled else found


def _water(hours: Hours, name: str, pressure: float, *, usual: bool) -> Array:
    relative = hours.get(f"{name}_relative_humidity")
    if usual:
        relative = np.where(np.isnan(relative), USUAL[f"{name}_relative_humidity"], relative)
    found: Array = air.humidity_ratio(hours.get(f"{name}_temperature"), relative, pressure)
    return found


def _supplies(
    bay: HourlyBay,
    pressure: float,
    speed: Array,
    fresh: Array,
    outside: Array,
    back: Array,
    usual: dict[str, Array],
    told: dict[str, Array],
) -> list[Array]:
    """Supply with everything as told, without humidifier, without coil; and the fans' heating."""
    found = np.full((6, len(fresh)), math.nan)
    heard = ~np.isnan(fresh + outside + back + sum(told.values()))
    for k in np.flatnonzero(heard & (speed > 0.0)).tolist():
        turns = float(speed[k])
        flow = dry_air_flow(bay, turns, pressure)
        heat = fan_power(bay, turns) + float(told["heater"][k]) * bay.heater.capacity
        spray, cool = float(told["humidifier"][k]), float(told["refrigeration"][k])
        mix = (flow, float(fresh[k]), float(outside[k]), float(usual["outside"][k]),
               float(back[k]), float(usual["return"][k]), pressure, heat)  # fmt: skip
        plant = bay.refrigeration
        coil = (cool * plant.capacity, plant.coil_temperature_difference, plant.bypass_factor)
        mist = (SPRAYED if spray > OFF else 0.0, spray * bay.humidifier.capacity)
        dry = supply(*mix, *coil)
        full = supply(*mix, *coil, *mist) if mist[0] > 0.0 else dry
        bare = supply(*mix, 0.0, *coil[1:], *mist) if cool > 0.0 else full
        found[:, k] = (full.temperature, full.humidity_ratio, dry.temperature, dry.humidity_ratio,
                       bare.temperature, heat / flow / AIR_HEAT)  # fmt: skip
    return list(found)


def _stages(bay: Bay, hours: Hours) -> tuple[Flags, Flags]:
    """Whether each hour lies between last load and first truck, and whether the plan holds."""
    stored = np.zeros(len(hours.time), dtype=bool)
    holding = np.zeros(len(hours.time), dtype=bool)
    days, which = np.unique(hours.time // DAY, return_inverse=True)
    for k, day in enumerate(days.tolist()):
        noon = (day + 0.5) * DAY
        one = hourly(bay, noon)
        when = calendar_at(one, noon)
        rows = which == k
        stored[rows] = when.filled <= when.now < when.unloading
        holding[rows] = stage_of(one, when, planned_target(one, when)) == HOLDING
    return stored, holding
