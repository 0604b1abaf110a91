"""Rules on the air: door, probes, humidifier, coil and fans against what the plenum should be."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from ventcalc import air
from ventcalc.advice.alarms import HUMID_OFF
from ventcalc.advice.learning import (
    CLEAR_SPAN,
    DOOR_MOVES,
    FELT,
    MIST_MISSED,
    MIST_SHOWS,
)
from ventcalc.advice.setpoints import dew_point_uncertainty
from ventcalc.diagnose.findings import Signal, signal
from ventcalc.diagnose.scene import OFF, Scene

__all__ = ["air_signals"]

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

DOOR_PLAY = 0.15
"""Fresh fraction that a door's own curve may explain; common practice, no source. [0-1]"""
FRESH_SHOWS = 1.5
"""Change of the supply by outside air from which on the plenum must show it. [K]"""
HALF = 0.5
"""Part of that change below which the door does not open (S3). [1]"""
COOLED = 0.8
"""Cooling of the supply by outside air, mist or coil from which on a swap would show. [K]"""
COIL_SHOWS = 1.0
"""Cooling by the coil from which on the plenum shows it. [K]"""
COIL_MISSED = 0.4
"""Part of that cooling which must be missing; common practice, no source. [1]"""
SATURATED, FLAT = 0.995, 0.002
"""A probe that reads as much and moves no more is wet or dead. [0-1]"""
FLAT_HOURS, DEAD_HOURS = 24, 72
"""For so long: at saturation (S7), or anywhere. [h]"""
HUMID_WET = 0.06
"""Plenum humidity above what can be; twice the 2 % of two probes and some. [0-1]"""
STILL_PART = 0.4
"""Of the way from the bottom tubers to the expected supply that is no way; learned or not, two
probes differ by 0.3 K. [1]"""
FEW_HOURS, SOME_HOURS = 4.0, 6.0
"""Of evidence, where one hour leaves little doubt, or more. [h]"""


def doubt(scene: Scene) -> float:
    """Difference of two temperature probes that calibration alone may make. [K]"""
    return scene.bay.control.confidence * scene.bay.sensors.temperature * math.sqrt(2.0)


def air_signals(scene: Scene) -> list[Signal]:
    """What the air says of door, probes, humidifier, coil and fans."""
    with np.errstate(invalid="ignore", divide="ignore"):
        stands = fans_no_air(scene)
        moved = replace(scene, stored=scene.stored & ~(stands.able & stands.shows))
        return [stands, *(look(moved) for look in _LOOKS)]


def _mixes(scene: Scene) -> Flags:
    """Settled, and neither coil nor heater hides what the door does."""
    found: Flags = scene.stored & (scene.refrigeration <= OFF) & (scene.heater <= OFF)
    return found & ~np.isnan(scene.error)


def _leaks(scene: Scene) -> Flags:
    """Whether outside air beyond what the door is told to let in explains the plenum."""
    share = scene.implied_fresh()
    limit = np.where(scene.door <= OFF, DOOR_MOVES, DOOR_PLAY) + doubt(scene) / np.abs(scene.span)
    found: Flags = (np.abs(scene.span) >= CLEAR_SPAN) & (share - scene.fresh > limit)
    return found & (share < 1.0)


def door_leaks(scene: Scene) -> Signal:
    """S2: the plenum shows more outside air than the door is told to let in."""
    share = scene.implied_fresh()
    able = _mixes(scene) & (np.abs(scene.span) >= CLEAR_SPAN) & ~np.isnan(share)
    return signal(
        "door_leaks",
        time=scene.hours.time,
        able=able,
        shows=_leaks(scene),
        size=share,
        need=FEW_HOURS,
    )


def door_shut(scene: Scene) -> Signal:
    """S3: told open, but hardly any outside air comes."""
    due = scene.fresh * scene.span
    got = due + scene.error
    able = _mixes(scene) & (np.abs(due) >= FRESH_SHOWS) & (scene.door > OFF)
    return signal(
        "door_shut",
        time=scene.hours.time,
        able=able,
        shows=got / due < HALF - doubt(scene) / np.abs(due),
        size=scene.fresh,
        need=FEW_HOURS,
    )


def plenum_probe(scene: Scene) -> Signal:
    """S1: the plenum is warmer than all air that goes into it, or colder."""
    able = _mixes(scene)
    off = doubt(scene) + 0.5 * scene.bay.sensors.temperature
    high = np.maximum(scene.outside_temperature, scene.return_temperature) + scene.fan_rise
    low = np.minimum(scene.outside_temperature, scene.return_temperature)
    near = (scene.door <= OFF) & (np.abs(scene.span) < CLEAR_SPAN / 2.0)
    high = np.where(near, scene.expected_temperature, high)
    low = np.where(near, scene.expected_temperature, low)
    low = np.where(scene.humidifier <= OFF, low, -np.inf)  # mist cools, and never warms
    beyond = np.maximum(scene.plenum_temperature - high, low - scene.plenum_temperature)
    return signal(
        "plenum_probe",
        time=scene.hours.time,
        able=able,
        shows=beyond > off,
        size=np.where(beyond > 0.0, beyond, 0.0),
        need=SOME_HOURS,
    )


def probes_swapped(scene: Scene) -> Signal:
    """S5: the plenum is warmer than the return air while the supply is being cooled."""
    by_door = (
        -scene.span * scene.fresh + scene.dry_temperature - scene.expected_temperature >= COOLED
    )
    able = scene.stored & ~np.isnan(scene.error) & (scene.heater <= OFF)
    able &= by_door | (scene.uncooled_temperature - scene.expected_temperature >= COIL_SHOWS)
    warmer = scene.plenum_temperature - scene.return_temperature - scene.fan_rise
    return signal(
        "probes_swapped",
        time=scene.hours.time,
        able=able,
        shows=warmer > doubt(scene),
        size=scene.plenum_temperature - scene.return_temperature,
        need=FEW_HOURS,
    )


def fans_no_air(scene: Scene) -> Signal:
    """S4: the plenum stays at the bottom tubers' temperature while the fans should run."""
    bottom = scene.hours.lowest
    due = np.abs(scene.expected_temperature - bottom)
    able = scene.stored & (due > FELT) & ~np.isnan(scene.plenum_temperature)
    # A shut or leaking door and swapped probes bring other air, which the bottom follows in time.
    recirculated = np.abs(
        scene.plenum_temperature - scene.return_temperature - scene.fan_rise
    ) < doubt(scene)
    other = recirculated | (scene.return_temperature < bottom - doubt(scene)) | _leaks(scene)
    return signal(
        "fans_no_air",
        time=scene.hours.time,
        able=able,
        shows=(np.abs(scene.plenum_temperature - bottom) < STILL_PART * due) & ~other,
        size=np.abs(scene.error),
        need=FEW_HOURS,
    )


def return_humidity(scene: Scene) -> Signal:
    """S6: the return air is moister than any tuber could make it."""
    bay = scene.bay
    warmest = _warmest(scene)
    dew = air.dew_point(np.maximum(scene.back_water, 1e-6), scene.pressure)
    able = scene.stored & ~np.isnan(dew) & ~np.isnan(warmest)
    typical = float(np.nanmedian(scene.return_temperature[able])) if able.any() else 5.0
    sigma = math.hypot(dew_point_uncertainty(bay, typical, 0.95), bay.sensors.temperature)
    return signal(
        "return_humidity",
        time=scene.hours.time,
        able=able,
        shows=dew - warmest > bay.control.confidence * sigma,
        size=dew - warmest,
        need=SOME_HOURS,
    )


def _warmest(scene: Scene) -> Array:
    pulp = scene.hours.pulp
    if not pulp.shape[1]:
        return np.full(len(pulp), math.nan)
    found: Array = np.max(np.where(np.isnan(pulp), -np.inf, pulp), axis=1)
    return np.where(np.isinf(found), math.nan, found)


def flat_humidity(scene: Scene) -> Signal:
    """S7: the return humidity probe does not move, at saturation or anywhere."""
    relative = scene.hours.mean_of("return_relative_humidity")
    wet = _flat(relative, FLAT_HOURS) & (relative >= SATURATED)
    ran = np.convolve(scene.hours.running, np.ones(FLAT_HOURS))[: len(relative)]
    return signal(
        "flat_humidity",
        time=scene.hours.time,
        able=scene.stored & ~np.isnan(relative) & (ran >= SOME_HOURS),
        shows=wet | _flat(relative, DEAD_HOURS),
        size=relative,
        need=SOME_HOURS,
    )


def plenum_humidity(scene: Scene) -> Signal:
    """S7: the plenum's humidity probe reads saturated where the air cannot be."""
    full = air.saturation_humidity_ratio(scene.plenum_temperature, scene.pressure)
    relative = scene.plenum_water / full
    due = scene.expected_water / air.saturation_humidity_ratio(
        scene.expected_temperature, scene.pressure
    )
    able = scene.stored & ~np.isnan(relative + due) & (due < SATURATED - HUMID_WET)
    return signal(
        "plenum_humidity",
        time=scene.hours.time,
        able=able,
        shows=(relative >= SATURATED) & (relative - due > HUMID_WET),
        size=relative,
        need=SOME_HOURS,
    )


def _flat(values: Array, hours: int) -> Flags:
    """Whether the last so many hours were all the same."""
    flat = np.zeros(len(values), dtype=bool)
    if len(values) >= hours:
        windows = np.lib.stride_tricks.sliding_window_view(values, hours)
        flat[hours - 1 :] = windows.max(axis=1) - windows.min(axis=1) <= FLAT
    return flat


def humidity_differs(scene: Scene) -> Signal:
    """Plenum and return humidity probe disagree where both must have the same water."""
    full = air.saturation_humidity_ratio(scene.expected_temperature, scene.pressure)
    off = (scene.plenum_water - scene.expected_water) / full
    shut = (scene.door <= OFF) & (scene.humidifier <= OFF)
    able = _mixes(scene) & shut & ~np.isnan(off)
    return signal(
        "humidity_differs",
        time=scene.hours.time,
        able=able,
        shows=np.abs(off) > HUMID_OFF,
        size=np.abs(off),
        need=SOME_HOURS,
    )


def humidifier_short(scene: Scene) -> Signal:
    """The plenum lacks the water, or the cooling, that the humidifier should give."""
    full = air.saturation_humidity_ratio(scene.expected_temperature, scene.pressure)
    effect = (scene.expected_water - scene.dry_water) / full
    missing = (scene.expected_water - scene.plenum_water) / full
    drop = scene.dry_temperature - scene.expected_temperature
    by_water = (effect > HUMID_OFF) & ~np.isnan(missing)
    by_heat = (drop > MIST_SHOWS) & ~np.isnan(scene.error)
    shows = np.where(by_water, missing > MIST_MISSED * effect, True)
    shows &= np.where(by_heat, scene.error > MIST_MISSED * drop, True)
    return signal(
        "humidifier_short",
        time=scene.hours.time,
        able=scene.stored & (scene.humidifier > OFF) & (by_water | by_heat),
        shows=shows,
        size=np.where(by_water, missing, 0.0),
        need=FEW_HOURS,
    )


def coil_weak(scene: Scene) -> Signal:
    """The coil cools the supply much less than it is told to."""
    due = scene.uncooled_temperature - scene.expected_temperature
    got = scene.uncooled_temperature - scene.plenum_temperature
    able = scene.stored & (due >= COIL_SHOWS) & ~np.isnan(got)
    return signal(
        "coil_weak",
        time=scene.hours.time,
        able=able,
        shows=(got < (1.0 - COIL_MISSED) * due) & (scene.error > doubt(scene)),
        size=due - got,
        need=FEW_HOURS,
    )


def coil_not_needed(scene: Scene) -> Signal:
    """S13: refrigeration runs with the door shut while outside air would do."""
    bay = scene.bay
    coldest = (
        np.min(scene.hours.pulp, axis=1) if scene.hours.pulp.shape[1] else scene.plenum_temperature
    )
    limit = air.saturation_humidity_ratio(coldest, scene.pressure)
    colder = scene.expected_temperature - scene.outside_temperature - scene.fan_rise
    usable = (colder > bay.control.outside_offset) & (scene.outside_water < limit)
    return signal(
        "coil_not_needed",
        time=scene.hours.time,
        able=scene.stored & (scene.refrigeration > OFF) & ~np.isnan(colder),
        shows=usable & (scene.door <= OFF),
        size=colder,
        need=SOME_HOURS,
    )


_LOOKS = (
    door_leaks,
    door_shut,
    plenum_probe,
    probes_swapped,
    return_humidity,
    flat_humidity,
    plenum_humidity,
    humidity_differs,
    humidifier_short,
    coil_weak,
    coil_not_needed,
)
"""In hours in which the plenum feels the fans: without air, everything else looks broken."""
