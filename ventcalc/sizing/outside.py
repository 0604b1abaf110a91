"""Does outside air alone hold the pile in this weather? A pile of one temperature, by the hour."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ventcalc import air
from ventcalc.air import plain as plain_air
from ventcalc.bay.calendar import COOL_DOWN, FILLING, HOLDING, STAGES, UNLOADING
from ventcalc.bay.description import Bay
from ventcalc.building.envelope import conductance
from ventcalc.equipment import plenum
from ventcalc.pile.crop import crop_for, respiration_heat, temperature_factor
from ventcalc.sizing.air import AirDesign
from ventcalc.sizing.shell import ShellDesign
from ventcalc.sizing.water import WaterDesign, dry_air_flow
from ventcalc.sizing.weather import DesignStates

__all__ = ["LATE_SHARES", "OutsideAir", "mean_age", "outside_air_alone"]

Array = NDArray[np.float64]
DAY = 86400.0

LATE_SHARES = (0.01, 0.05)
"""Of the hours from the first load to the end of holding in which the pile may stand too warm: up
to the first outside air is enough, up to the second nearly (common practice, no source). [1]"""
MEAN_LAG = 0.28
"""A day of the usual ramp of 0.5 °F: the pile may follow its plan a day late. [K]"""
LOST = 35.0
"""Pulp at which the crop is given up: it heats itself, and the model ends. [°C]"""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class OutsideAir:
    """A season on outside air alone; autumn runs from the first load to the end of cool-down."""

    verdict: str
    """``enough``, ``nearly enough`` or ``not enough``, by the share of late hours."""
    autumn_hours: float
    """[h]"""
    hours_below_target: float
    """Autumn hours in which outside air is cold enough to cool to the planned target. [h]"""
    fan_hours: float
    """Full-speed hours that cooling took in autumn. [h]"""
    largest_lag: float
    """Pulp above plan at the worst hour up to the end of holding; NaN if the crop is lost. [K]"""
    too_warm: Mapping[str, tuple[float, float]]
    """For each stage up to holding, hours with the pulp above its band, and all its hours. [h]"""
    cooling: float
    """Heat taken out in autumn. [J]"""
    late_hours: float
    """Hours with the pulp above its band, all those stages. [h]"""
    counted_hours: float
    """All their hours. [h]"""
    pulp: Array
    """Of the whole pile, at the end of each step; NaN from when it is lost. [°C]"""
    used: Array
    """Part of each step in which the fans cool at full speed. [0-1]"""
    supply_temperature: Array
    """While they do; NaN where outside air cannot cool. [°C]"""
    outside_temperature: Array
    """[°C]"""
    outside_humidity_ratio: Array
    """[kg/kg dry air]"""


def outside_air_alone(
    bay: Bay, states: DesignStates, design: AirDesign, shell: ShellDesign, water: WaterDesign
) -> OutsideAir:
    """
    Follow the pile through the season with outside air as the only cooling: an indication.

    One temperature for the pile, fans at full speed whenever outside air, humidified and warmed by
    the fan, is colder than the pulp by the bay's offset. Air leaves the pile at the pulp's
    temperature and the tubers' water activity, which a deep bed nearly reaches.
    """
    hours = _hours(bay, states, design, water)
    pulp, used, supply, moved = _run_steps(bay, states, shell, hours)
    held = states.stage <= HOLDING
    lag = pulp - _wanted(bay, states)
    late = ~(lag <= bay.limits.band + MEAN_LAG)  # a lost pile is late
    autumn = states.stage <= COOL_DOWN
    hour = states.step / 3600.0
    too_warm = {}
    for code, name in enumerate(STAGES[: HOLDING + 1]):
        here = states.stage == code
        too_warm[name] = (hour * np.count_nonzero(late & here), hour * np.count_nonzero(here))
    late_hours, counted = (sum(pair) for pair in zip(*too_warm.values(), strict=True))
    below = states.temperature < states.target - bay.control.outside_offset
    return OutsideAir(
        verdict=_verdict(late_hours / max(counted, 1.0)),
        autumn_hours=np.count_nonzero(autumn) * hour,
        hours_below_target=np.count_nonzero(below & autumn) * hour,
        fan_hours=float(used[autumn].sum()) * hour,
        largest_lag=float(lag[held].max()) if held.any() else 0.0,
        too_warm=too_warm,
        late_hours=late_hours,
        counted_hours=counted,
        cooling=float(moved[autumn].sum()),
        pulp=pulp,
        used=used,
        supply_temperature=supply,
        outside_temperature=states.temperature,
        outside_humidity_ratio=states.humidity_ratio,
    )


def _wanted(bay: Bay, states: DesignStates) -> Array:
    """Pulp planned; while filling, the last day's loads may still be as warm as they came. [°C]"""
    warmer = max(bay.loading_temperature - bay.schedule.healing_temperature, 0.0)
    recent = np.minimum(DAY / np.maximum(states.now, 1.0), 1.0)
    return states.target + np.where(states.stage == FILLING, warmer * recent, 0.0)


def _verdict(share: float) -> str:
    good, fair = LATE_SHARES
    return "enough" if share <= good else "nearly enough" if share <= fair else "not enough"


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class _Hours:
    """What each step offers, as lists: the steps are run one float at a time."""

    coldest: list[float]
    """Supply with the door wide open. [°C]"""
    respiration: list[float]
    """Per mass over its temperature factor. [W/kg]"""
    loaded: list[float]
    """Part of the crop that is in. [1]"""
    flow: float
    grid: Array
    leaving: Array
    """Enthalpy less that of the liquid, of air from pulp at the grid's temperatures. [J/kg]"""
    entering: Array
    """Enthalpy of plenum air at the grid's temperatures. [J/kg]"""


def _hours(bay: Bay, states: DesignStates, design: AirDesign, water: WaterDesign) -> _Hours:
    crop, pressure = crop_for(bay.use), states.pressure
    flow = dry_air_flow(design, pressure)
    back = 0.95 * air.saturation_humidity_ratio(states.target, pressure)
    columns = (states.temperature, states.humidity_ratio, states.target, back)
    coldest = [
        plenum.supply(
            mass_flow=flow,
            fresh_fraction=bay.doors.largest_fraction,
            outside_temperature=outside,
            outside_humidity_ratio=humid,
            return_temperature=target,
            return_humidity_ratio=wet,
            pressure=pressure,
            heat=design.power,
            humidity_wanted=bay.limits.plenum_humidity,
            water_capacity=water.capacity,
        ).temperature
        for outside, humid, target, wet in zip(*(c.tolist() for c in columns), strict=True)
    ]
    grid = np.linspace(-15.0, 40.0, 221)
    full = air.saturation_humidity_ratio(grid, pressure)
    fill = bay.schedule.fill_days
    age = mean_age(states.now, fill)
    at_least = respiration_heat(
        crop.respiration_least_at + 0.0 * age, age, crop, bay.immature_share
    )
    return _Hours(
        coldest=coldest,
        respiration=at_least.tolist(),
        loaded=np.clip((states.now + 0.5 * states.step) / fill, 1e-3, 1.0).tolist(),
        flow=flow,
        grid=grid,
        leaving=_heat_carried(grid, crop.water_activity * full),
        entering=_heat_carried(grid, bay.limits.plenum_humidity * full),
    )


def mean_age(now: Array, fill_days: float) -> Array:
    """Of the loads that are in, which come evenly; times since the first load. [s]"""
    return np.maximum(now - 0.5 * np.minimum(now, fill_days), 0.0)


def _heat_carried(temperature: Array, humidity_ratio: Array) -> Array:
    """Enthalpy less that of the liquid: water lost was liquid in the tuber. [J/kg dry air]"""
    return np.array(
        [
            plain_air.enthalpy(t, w) - w * plain_air.WATER_HEAT * t
            for t, w in zip(temperature.tolist(), humidity_ratio.tolist(), strict=True)
        ]
    )


def _run_steps(
    bay: Bay, states: DesignStates, shell: ShellDesign, hours: _Hours
) -> tuple[Array, Array, Array, Array]:
    """Pulp, part of the step used, supply temperature, heat moved [J]; step by step."""
    crop, step, mass = crop_for(bay.use), states.step, bay.pile.capacity
    load = bay.loading_temperature
    leaks = conductance(bay.envelope.wall_area, shell.wall_u) + conductance(
        bay.envelope.ceiling_area, shell.ceiling_u
    )
    targets, outside = states.target.tolist(), states.temperature.tolist()
    stages = states.stage.tolist()
    pulp, share, rows = load, hours.loaded[0], []
    for k, target in enumerate(targets):
        grown = hours.loaded[k]
        pulp = (pulp * share + load * (grown - share)) / grown if grown > share else pulp
        share = grown
        heat = mass * share * crop.specific_heat
        gain = mass * share * hours.respiration[k] * temperature_factor(pulp, crop)
        gain += leaks * (outside[k] - pulp)
        pulp += gain * step / heat
        pulp = pulp if pulp < LOST else float("nan")
        used, supply, moved = 0.0, float("nan"), 0.0
        coldest = hours.coldest[k]
        if stages[k] < UNLOADING and coldest < pulp - bay.control.outside_offset:
            supply = max(coldest, bay.limits.plenum_floor, pulp - bay.limits.supply_difference)
            wanted = (pulp - target) * heat
            most = hours.flow * share * step * _drop(hours, pulp, supply)
            if wanted > 0.0 and most > 0.0:  # false too for a pile that is lost
                moved = min(wanted, most)
                used = moved / most
                pulp -= moved / heat
        rows.append((pulp, used, supply, moved))
    result = np.array(rows)
    return result[:, 0], result[:, 1], result[:, 2], result[:, 3]


def _drop(hours: _Hours, pulp: float, supply: float) -> float:
    """Heat that a kilogram of dry air takes from the crop. [J/kg dry air]"""
    return float(
        np.interp(pulp, hours.grid, hours.leaving) - np.interp(supply, hours.grid, hours.entering)
    )
