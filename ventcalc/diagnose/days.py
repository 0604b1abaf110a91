"""
The pile by the day: how far each pulp probe came, and how far the model would have come.

Each day begins with what the probes read and follows the plenum as it was logged, once with the
air and once without, through the library's own bed.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ventcalc.air.plain import saturated
from ventcalc.bay.calendar import calendar_at
from ventcalc.bay.description import Bay
from ventcalc.diagnose.hours import HOUR, RUNS
from ventcalc.diagnose.scene import Scene
from ventcalc.pile.layers import Bed, Inflow, Layer, layer_mean
from ventcalc.pile.step import step_layers
from ventcalc.season.bay_state import bed_of
from ventcalc.season.headspace import TOP_EXCHANGE

__all__ = ["DAY", "Days", "days_of"]

Array = NDArray[np.float64]

DAY = 86400.0
LAYERS = 16
"""Of the model; a bed of 16 ft has about 30 transfer units."""
STILL_AIR = 2e-4
"""Air that moves through a pile with the fans off; common practice, no source. [m/s]"""
DAY_HOURS = 24
LONGEST_REST = 6
"""Hours without air that are taken in one step."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Days:
    """Whole days of a stored bay; changes from their first hour to that of the next."""

    time: Array
    """Start of each, UTC since 1970-01-01. [s]"""
    heights: Array
    """Of the probes above the floor. [m]"""
    measured_rise: Array
    """Change of each probe: (days, probes). [K]"""
    modelled_rise: Array
    """Change that the model finds with the air that was logged. [K]"""
    still_rise: Array
    """Change that it finds without air. [K]"""
    swing: Array
    """Greatest less least of the day in the model with air: what it has to get right. [K]"""


def days_of(bay: Bay, scene: Scene, heights: tuple[float, ...] | None) -> Days:
    """
    Measured and modelled days, those of which all hours are there; probes without heights [m] stand
    evenly from the lowest to the highest layer.
    """
    hours = scene.hours
    bed = bed_of(bay, scene.pressure, LAYERS)
    count = hours.pulp.shape[1]
    layers = (np.arange(LAYERS) + 0.5) * bed.thickness
    places = np.linspace(layers[0], layers[-1], count) if heights is None else np.array(heights)
    rows: list[tuple[float, Array]] = []
    first = 0 if count else len(hours.time)
    while first + DAY_HOURS < len(hours.time):
        last = first + DAY_HOURS
        whole = hours.time[last] - hours.time[first] == DAY
        if not (whole and scene.stored[first] and scene.stored[last]):
            first += 1
            continue
        start, end = hours.pulp[first], hours.pulp[last]
        heard = ~np.isnan(start)
        if heard.any():
            order = np.argsort(places[heard], kind="stable")
            profile = np.interp(layers, places[heard][order], start[heard][order])
            course = _course(scene, bay, bed, first, profile, True)
            calm = _course(scene, bay, bed, first, profile, False)
            found = (course[-1] - profile, calm[-1] - profile, np.ptp(course, axis=0))
            there = [np.interp(places, layers, x) for x in found]
            rows.append((float(hours.time[first]), np.array([end - start, *there])))
        first = last
    table = np.array([row[1] for row in rows]).reshape(len(rows), 4, count)
    return Days(
        time=np.array([row[0] for row in rows]),
        heights=places,
        measured_rise=table[:, 0],
        modelled_rise=table[:, 1],
        still_rise=table[:, 2],
        swing=table[:, 3],
    )


def _course(scene: Scene, bay: Bay, bed: Bed, first: int, profile: Array, blown: bool) -> Array:
    """Layers through a day: (steps, layers); hours without air are taken in one step. [°C]"""
    hours, floor, one = scene.hours, bay.pile.floor_area, scene.bay
    course = [profile]
    layers = [Layer(warm) for warm in profile.tolist()]
    when = calendar_at(one, float(hours.time[first]))
    curing, age = min(when.now, when.healed), max(when.now - 0.5 * when.filled, 0.0)
    shell, mean = bay.envelope, float(profile.mean())
    for begin, end in _stretches(scene, first, blown):
        here = slice(begin, end)
        back, outside = _heard(scene.back_all[here], mean), _heard(scene.outside_all[here], mean)
        velocity, inlet, water = STILL_AIR, min(back, layers[0].temperature), math.nan
        if blown and hours.running[begin] > RUNS:
            speed = float(hours.means["fan_speed"][begin])
            velocity = max(bay.fans.airflow * speed / floor, STILL_AIR)
            inlet, water = float(scene.supplied[begin]), float(scene.supplied_water[begin])
        if math.isnan(water):
            water = bed.crop.water_activity * saturated(inlet, bed.pressure)
        given = Inflow(
            temperature=inlet,
            humidity_ratio=water,
            age=age,
            heat_gain=shell.wall_u * shell.wall_area * (outside - mean) / floor,
            top_heat=TOP_EXCHANGE * (back - layers[-1].temperature),
            top_water=0.0,
            pulp_mean=layer_mean(layers),
        )
        _, curing = step_layers(bed, layers, curing, velocity, (end - begin) * HOUR, given)
        course.append(np.array([layer.temperature for layer in layers]))
    return np.array(course)


def _stretches(scene: Scene, first: int, blown: bool) -> list[tuple[int, int]]:
    """The hours of a day one by one while the fans run, and otherwise as far as they stand."""
    runs = scene.hours.running[first : first + DAY_HOURS] > RUNS
    runs &= ~np.isnan(scene.supplied[first : first + DAY_HOURS])
    if not blown:
        runs[:] = False
    found: list[tuple[int, int]] = []
    for k, on in enumerate(runs.tolist()):
        if found and not on and not runs[k - 1] and k % LONGEST_REST:
            found[-1] = (found[-1][0], first + k + 1)
        else:
            found.append((first + k, first + k + 1))
    return found


def _heard(values: Array, otherwise: float) -> float:
    heard = values[~np.isnan(values)]
    return float(heard.mean()) if len(heard) else otherwise
