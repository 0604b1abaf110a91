"""Opening and timer of the fresh-air runs that keep CO2 at its limit in this weather."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import product

import numpy as np
from numpy.typing import NDArray

from ventcalc.air.plain import AIR_HEAT
from ventcalc.bay.calendar import UNLOADING
from ventcalc.bay.description import Bay, Control, fresh_fraction_at
from ventcalc.check.crop_state import CropState
from ventcalc.check.pile_carbon import free_air, timer_peak
from ventcalc.pile.crop import CO2_DENSITY, co2_rate, crop_for, respiration_heat
from ventcalc.sizing.air import AirDesign
from ventcalc.sizing.outside import OutsideAir, mean_age
from ventcalc.sizing.water import dry_air_flow
from ventcalc.sizing.weather import DesignStates

__all__ = ["FreshAir", "design_fresh_air"]

Array = NDArray[np.float64]
RESERVE = 0.10
"""Of the limit, left for crop that breathes more (common practice, no source). [1]"""
RUN = 3600.0
"""Length of a fresh-air run: the shortest that fans should run. [s]"""
RESTS = tuple(3600.0 * hours for hours in (24.0, 12.0, 8.0, 6.0, 4.0, 3.0, 2.0, 1.0, 0.5, 0.25))
"""Between runs, the longest first. [s]"""
OPENINGS = tuple(np.round(np.arange(0.05, 0.501, 0.05), 2).tolist())
"""Of the door, the narrowest first; wider ones chill and dry the pile (common practice, no
source). [0-1]"""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class FreshAir:
    """Fresh-air runs by the timer, and what they make of CO2 in a season."""

    control: Control
    """The bay's, with the timer and the opening found."""
    highest: float
    """CO2 at its greatest hour. [1]"""
    hour: float
    """When that is, since the first load. [s]"""
    hours_above: float
    """Hours of the season above the limit. [h]"""
    keeps: bool
    """Whether there are none."""


def design_fresh_air(
    bay: Bay,
    states: DesignStates,
    design: AirDesign,
    filling: CropState,
    alone: OutsideAir,
    *,
    cooled: bool,
) -> FreshAir:
    """
    Rest longest and open least that keeps the limit in every hour of the season.

    Hour by hour the crop in the bay at its planned temperature, or at that which outside air
    leaves it where it is not ``cooled`` otherwise; a run takes no more outside air than the supply
    limits allow. Where no timer keeps every hour, the one that misses the fewest, of those that
    keep the day of the last load where the supply limits do not bind.
    """
    hours = _hours(bay, states, design, alone, cooled)
    tried: list[tuple[bool, float, FreshAir]] = []
    for rest, opening in product(RESTS, OPENINGS):
        control = replace(
            bay.control, fresh_air_every=rest, fresh_air_for=RUN, fresh_air_opening=opening
        )
        timed = replace(bay, control=control)
        last_load = timer_peak(
            timed,
            co2=filling.co2_volume_flow,
            airflow=design.airflow,
            volume=free_air(bay, bay.pile.capacity),
        )
        fits = bool(last_load <= (1.0 - RESERVE) * bay.limits.co2)
        found = _season(timed, states, hours)
        if fits and found.keeps:
            return found
        tried.append((not fits, found.hours_above, found))
    return min(tried, key=lambda one: one[:2])[2]


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class _Hours:
    """What each hour asks for and allows."""

    co2_volume_flow: Array
    """Given off. [m³/s]"""
    airflow: Array
    """Full speed, of the fans whose floor carries crop. [m³/s]"""
    volume: Array
    """Free air. [m³]"""
    widest: Array
    """Most fresh air in the supply. [0-1]"""


def _hours(
    bay: Bay, states: DesignStates, design: AirDesign, alone: OutsideAir, cooled: bool
) -> _Hours:
    crop, plan = crop_for(bay.use), bay.schedule
    now = states.now[states.stage < UNLOADING]
    count = now.size
    loaded = np.clip((now + 0.5 * states.step) / plan.fill_days, 1e-3, 1.0)
    pulp = states.target[:count]
    if not cooled:
        pulp = np.fmax(pulp, alone.pulp[:count])
    heat = respiration_heat(pulp, mean_age(now, plan.fill_days), crop, bay.immature_share)
    mass = bay.pile.capacity * loaded
    return _Hours(
        co2_volume_flow=co2_rate(heat, crop) * mass / (CO2_DENSITY * states.pressure / 101325.0),
        airflow=design.airflow * loaded,
        volume=free_air(bay, mass),
        widest=_widest(bay, states, design, pulp),
    )


def _widest(bay: Bay, states: DesignStates, design: AirDesign, pulp: Array) -> Array:
    """Fresh air that keeps the supply within its limits, by dry bulb at the lowest speed. [0-1]"""
    limits, outside = bay.limits, states.temperature[: pulp.size]
    speed = bay.fans.minimum_speed
    rise = design.power * speed**2 / (dry_air_flow(design, states.pressure) * AIR_HEAT)
    coldest = np.maximum(pulp - limits.supply_difference, limits.plenum_floor)
    room = np.where(outside < pulp, pulp + rise - coldest, limits.warm_supply_difference - rise)
    apart = np.maximum(np.abs(outside - pulp), 1e-9)
    return np.clip(room / apart, bay.doors.leakage_fraction, bay.doors.largest_fraction)


def _season(bay: Bay, states: DesignStates, hours: _Hours) -> FreshAir:
    told = fresh_fraction_at(bay.doors, bay.control.fresh_air_opening)
    share = np.minimum(told, hours.widest)
    peaks = np.asarray(
        timer_peak(
            bay, co2=hours.co2_volume_flow, airflow=hours.airflow, volume=hours.volume, share=share
        )
    )
    above = peaks > (1.0 - RESERVE) * bay.limits.co2
    worst = int(peaks.argmax())
    return FreshAir(
        control=bay.control,
        highest=float(peaks[worst]),
        hour=float(states.now[worst]),
        hours_above=float(np.count_nonzero(peaks > bay.limits.co2)) * states.step / 3600.0,
        keeps=not above.any(),
    )
