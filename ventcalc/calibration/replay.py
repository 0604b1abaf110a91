"""The bay model run with a log's own positions and outside air, beside what its probes read."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ventcalc import air
from ventcalc.advice.policies import Positions
from ventcalc.bay.calendar import calendar_at
from ventcalc.bay.description import Bay
from ventcalc.bay.hourly import HourlyBay, hourly
from ventcalc.diagnose.hours import HOUR, Hours, hours_of
from ventcalc.diagnose.log import Log
from ventcalc.errors import BadInput, OutOfRange
from ventcalc.pile.crop import Crop, curing_rate
from ventcalc.pile.layers import Layer
from ventcalc.season.bay_model import step_bay
from ventcalc.season.bay_state import BayState, StepRecord, bed_of, first_layers, full_state
from ventcalc.season.faults import FAULTS, NO_FAULT
from ventcalc.season.guest import when
from ventcalc.season.plan import weather_of_season
from ventcalc.season.surroundings import Ground, Outside, ground_of
from ventcalc.season.surroundings import hours_of as outside_hours
from ventcalc.weather import Weather

__all__ = ["Told", "outside_less", "pressure_in", "replayed", "run_through", "told_by"]

Array = NDArray[np.float64]

LONGEST_GAP = 3 * HOUR
"""Of missing rows that are bridged; a longer one parts the log. [s]"""
LEAST = 10 * 24
"""Hours that a fit needs. [h]"""
MOST = 60 * 24
"""Of a longer stretch the last hours are taken: a fit runs the bay a dozen times. [h]"""
DAYLIGHT = 0.2
"""Part of the hours with sun, below which nobody told of it. [1]"""
OFF, FULL = 0.02, 0.999
"""A position that counts as off; a humidity that no spray stops at. [0-1]"""
NEEDED = ("outside_temperature", "outside_relative_humidity", "door_opening")


@dataclass(frozen=True, kw_only=True, eq=False)
class Told:
    """Hours of a log in which the bay was full and shut."""

    hours: Sequence[Outside]
    positions: dict[str, Array]
    """Means over each hour. [0-1]"""
    seen: dict[str, Array]
    """What probes read at the end of each hour, by channel; [°C, 0-1, J]."""
    heights: tuple[float, ...]
    """Of the pulp probes, as part of the height of the pile. [0-1]"""
    pulp: Array
    """At the start, by probe. [°C]"""
    pressure: float
    """[Pa]"""
    ground: Ground
    sunlit: bool
    """Whether the sun on the roof is known in most hours."""
    notes: tuple[str, ...]


def told_by(bay: Bay, log: Log, weather: Weather | None, least: int = LEAST) -> Told:
    """What a log tells, of so many hours or more."""
    lacks = [name.replace("_", " ") for name in NEEDED if name not in log.values]
    lacks += [] if log.pulp.shape[1] else ["pulp"]
    for part in ("humidifier", "refrigeration", "heater"):
        if getattr(bay, part) is not None and part not in log.values:
            lacks.append(part)
    if lacks:
        raise BadInput(f"the log lacks {', '.join(lacks)}; the bay cannot be run by it")
    hours = hours_of(log)
    rows = _stretch(bay, hours)
    if len(rows) < least:
        raise BadInput(
            f"{len(rows)} h in a row of a full bay with crop at rest; {least} or more are needed"
        )
    rows = rows[-MOST:]
    time = np.arange(hours.time[rows[0]], hours.time[rows[-1]] + 1.0, HOUR)

    def column(values: Array) -> Array:
        known = rows[np.isfinite(values[rows])]
        if not len(known):
            return np.full(len(time), np.nan)
        found: Array = np.interp(time, hours.time[known], values[known])
        return found

    pressure = pressure_in(log)
    pressure = float(air.standard_pressure(bay.site.altitude)) if pressure is None else pressure
    warm, wet = (column(hours.mean_of(f"outside_{x}"))
                 for x in ("temperature", "relative_humidity"))  # fmt: skip
    outside, notes = _outside(bay, time, warm, wet, pressure, weather)
    placed = np.searchsorted(time, hours.time[rows])
    runs = np.nan_to_num(hours.running) > 0.99
    seen = {f"pulp {k}": x for k, x in enumerate(hours.pulp.T, start=1)}
    seen["return"] = hours.mean_of("return_temperature")
    seen["return humidity"] = hours.mean_of("return_relative_humidity")
    seen["plenum"] = np.where(runs, hours.mean_of("plenum_temperature"), np.nan)
    seen["plenum humidity"] = np.where(runs, hours.mean_of("plenum_relative_humidity"), np.nan)
    seen["energy"] = hours.totals.get("energy", np.full(len(hours.time), np.nan))
    for name in ("refrigeration", "heater"):  # their power is not what is fitted
        seen["energy"] = np.where(np.nan_to_num(hours.mean_of(name)) > OFF, np.nan, seen["energy"])
    probes = log.pulp.shape[1]
    heights = (np.arange(probes) + 0.5) / probes if log.heights is None else np.array(log.heights)
    return Told(
        hours=outside[1:],
        positions={
            name: np.clip(np.nan_to_num(column(hours.mean_of(name))), 0.0, 1.0)[1:]
            for name in ("fan_speed", "door_opening", "humidifier", "refrigeration", "heater")
        },
        seen={name: _at(len(time), placed, x[rows])[1:] for name, x in seen.items()},
        heights=tuple((heights / (1.0 if log.heights is None else bay.pile.height)).tolist()),
        pulp=np.array([column(x)[0] for x in hours.pulp.T]),
        pressure=pressure,
        ground=ground_of(bay, weather or _weather(
            bay, time, warm, wet, pressure, [np.full(len(time), np.nan)] * 3)),
        sunlit=float(np.mean([hour.solar_rise > 0.0 for hour in outside])) > DAYLIGHT,
        notes=notes,
    )  # fmt: skip


def pressure_in(log: Log) -> float | None:
    """Middle of what a log says of the air's pressure; None where it says nothing. [Pa]"""
    found = log.values.get("pressure", np.empty(0))
    return float(np.nanmedian(found)) if np.isfinite(found).any() else None


def _at(count: int, places: NDArray[np.int64], values: Array) -> Array:
    found = np.full(count, np.nan)
    found[places] = values
    return found


def _stretch(bay: Bay, hours: Hours) -> NDArray[np.int64]:
    """Rows of the longest stretch of a full bay without a long gap."""
    heard = np.isfinite(hours.pulp).any(axis=1) & np.isfinite(hours.mean_of("outside_temperature"))
    full = np.zeros(len(hours.time), dtype=bool)
    for k, time in enumerate(hours.time.tolist()):
        now = calendar_at(hourly(bay, time), time)
        full[k] = now.filled + HOUR <= now.now < now.unloading
    rows = np.flatnonzero(heard & full)
    if not len(rows):
        return rows
    cuts = np.flatnonzero(np.diff(hours.time[rows]) > LONGEST_GAP + HOUR) + 1
    return max(np.split(rows, cuts), key=len)


def _outside(
    bay: Bay,
    time: Array,
    temperature: Array,
    relative: Array,
    pressure: float,
    weather: Weather | None,
) -> tuple[list[Outside], tuple[str, ...]]:
    """Outside air of the log, under the sun and sky of the weather file."""
    unknown = np.full(len(time), np.nan)
    if weather is None:
        own = _weather(bay, time, temperature, relative, pressure, [unknown] * 3)
        return outside_hours(own, np.arange(len(time)), pressure)
    whole = weather_of_season(bay.schedule, weather)
    stamps = whole.time.astype("datetime64[s]").astype(np.int64)
    places = np.clip(np.searchsorted(stamps, time, "right") - 1, 0, len(stamps) - 1)
    match = np.abs(stamps[places] - time) < whole.step
    sky = [
        np.where(match, values[places], np.nan)
        for values in (whole.wind_speed, whole.global_radiation, whole.sky_temperature)
    ]
    own = _weather(bay, time, temperature, relative, pressure, sky)
    return outside_hours(own, np.arange(len(time)), pressure, weather)


def _weather(
    bay: Bay, time: Array, warm: Array, relative: Array, pressure: float, sky: Sequence[Array]
) -> Weather:
    """Outside air of the log; ``sky`` holds wind, sunlight and temperature of the sky."""
    relative = np.clip(relative, 0.01, 1.0)
    return Weather(
        time=time.astype("datetime64[s]"),
        temperature=warm,
        relative_humidity=relative,
        humidity_ratio=air.humidity_ratio(warm, relative, pressure),
        pressure=np.full(len(time), pressure),
        wind_speed=sky[0],
        global_radiation=sky[1],
        sky_temperature=sky[2],
        time_zone=bay.site.time_zone,
        step=HOUR,
        name="log",
    )


def outside_less(told: Told, temperature_difference: float, humidity_off: float) -> Told:
    """The same where the outside probe reads so much too high. [K, 0-1]"""
    warm = np.array([hour.temperature for hour in told.hours]) - temperature_difference
    relative = np.array([hour.relative_humidity for hour in told.hours]) - humidity_off
    relative = np.clip(relative, 0.01, 1.0)
    water = air.humidity_ratio(warm, relative, told.pressure)
    rows = zip(told.hours, warm.tolist(), relative.tolist(), water.tolist(), strict=True)
    hours = [hour._replace(temperature=t, relative_humidity=r, humidity_ratio=w)
             for hour, t, r, w in rows]  # fmt: skip
    return replace(told, hours=hours)


def replayed(bay: Bay, crop: Crop, told: Told, layers: int) -> dict[str, Array]:
    """What probes would have read in a bay with the positions of a log."""
    return run_through(bay, crop, told, layers)[0]


def run_through(
    bay: Bay, crop: Crop, told: Told, layers: int
) -> tuple[dict[str, Array], list[Layer]]:
    """The same, and the pile at the end; it begins with the pulp that the probes read then."""
    bed = replace(bed_of(bay, told.pressure, layers), crop=crop)
    middles = (np.arange(layers) + 0.5) / layers
    pile = first_layers(bay, layers)
    for layer, warm in zip(pile, np.interp(middles, told.heights, told.pulp), strict=True):
        layer.temperature = float(warm)
    state = _state(bay, crop, told)
    bays = _by_spray(bay, told)
    spray_power = bay.humidifier.power if bay.humidifier is not None else 0.0
    pulp = np.empty((len(told.hours), layers))
    warm, moist, plenum, wet, energy = np.empty((5, len(told.hours)))
    columns = [told.positions[name].tolist() for name in (
        "fan_speed", "door_opening", "humidifier", "refrigeration", "heater")]  # fmt: skip
    for k, (outside, fan, door, spray, cool, heat) in enumerate(
        zip(told.hours, *columns, strict=True)
    ):
        positions = Positions(
            fan_speed=fan if fan > OFF else 0.0,
            door_opening=door,
            humidity_wanted=FULL if spray > OFF else 0.0,
            refrigeration=cool,
            heater=heat,
        )
        record = StepRecord()
        state, fault, value = step_bay(
            bays[round(100 * spray)], bed, told.ground, pile, state, positions, outside, HOUR,
            record,
        )  # fmt: skip
        if fault != NO_FAULT:
            name, low, high, unit, slip = FAULTS[fault]
            raise OutOfRange(name, low, high, value, f" at {when(outside.time)}", unit, slip)
        pulp[k] = [layer.temperature for layer in pile]
        warm[k], moist[k] = state.return_temperature, state.return_humidity_ratio
        plenum[k], wet[k] = record.plenum_temperature, record.plenum_humidity_ratio
        energy[k] = (record.fan_power + spray * spray_power) * HOUR
    found = {
        f"pulp {k}": np.array([np.interp(height, middles, row) for row in pulp])
        for k, height in enumerate(told.heights, start=1)
    }
    runs = np.isfinite(plenum)
    supply = air.relative_humidity(
        np.where(runs, plenum, 5.0), np.where(runs, wet, 5e-3), told.pressure
    )
    found |= {
        "return": warm,
        "return humidity": np.minimum(air.relative_humidity(warm, moist, told.pressure), 1.0),
        "plenum": plenum,
        "plenum humidity": np.where(runs, np.minimum(supply, 1.0), np.nan),
        "energy": energy,
    }
    return found, pile


def _state(bay: Bay, crop: Crop, told: Told) -> BayState:
    """A full bay, its skin healed as far as its time and warmth have brought it."""
    time, warm = told.hours[0].time, float(np.mean(told.pulp))
    when_ = calendar_at(hourly(bay, time), time)
    age = max(when_.now - 0.5 * when_.filled, 0.0)
    moist = float(air.humidity_ratio(warm, 0.95, told.pressure))
    healed = float(curing_rate(min(max(warm, 10.0), 15.0), crop)) * age
    return full_state(warm, moist, healed)


def _by_spray(bay: Bay, told: Told) -> dict[int, HourlyBay]:
    """The bay with a humidifier that gives as much as it was told, by whole per cent."""
    one = hourly(bay, told.hours[0].time)
    return {
        share: replace(
            one, humidifier=replace(one.humidifier, capacity=0.01 * share * one.humidifier.capacity)
        )
        for share in np.unique(np.round(100 * told.positions["humidifier"]).astype(int)).tolist()
    }
