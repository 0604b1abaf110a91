"""Rules on machines: hunting, energy beyond what the positions take, weak fans, outside probe."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ventcalc.advice.setpoints import fan_power
from ventcalc.diagnose.findings import Signal, signal
from ventcalc.diagnose.scene import OFF, Scene
from ventcalc.equipment.plant import hourly_performance

__all__ = ["machine_signals"]

Array = NDArray[np.float64]

MOST_MOVES = 7.0
"""An hour, of fans and door (S11; fault condition 4 of ASHRAE Guideline 36). [1]"""
TOO_MUCH = 1.5
"""Times the energy that the positions should take (S12). [1]"""
SHOWS_ENERGY = 0.1
"""Part of the fans' full power from which on energy shows anything. [1]"""
FANS_WEAK = 0.75
"""Part of the power that the fans should draw; common practice, no source. [1]"""
SUNNY = 3.0
"""Outside probe above the forecast by day, less the same by night (S14). [K]"""
JOULE_PER_KWH = 3.6e6


def machine_signals(scene: Scene) -> list[Signal]:
    """What moves, energy and the outside probe say."""
    with np.errstate(invalid="ignore", divide="ignore"):
        return [hunting(scene), energy_high(scene), fans_weak(scene), *outside_probe(scene)]


def hunting(scene: Scene) -> Signal:
    """S11: door or fans change more often than anything in a pile asks for."""
    moves = scene.hours.moves
    return signal(
        "hunting",
        time=scene.hours.time,
        able=~np.isnan(moves) & (scene.hours.running > 0.0),
        shows=moves > MOST_MOVES,
        size=moves,
        need=4.0,
    )


def expected_power(scene: Scene) -> tuple[Array, Array]:
    """Mean power of every hour by its positions, and the fans' part of it. [W]"""
    bay, hours = scene.bay, scene.hours
    fans = np.nan_to_num(hours.cube) * fan_power(bay, 1.0)
    means = {
        name: np.nan_to_num(hours.means.get(name, np.zeros(len(hours.time))))
        for name in ("humidifier", "refrigeration", "heater")
    }
    power = fans + means["humidifier"] * bay.humidifier.power
    power = power + means["heater"] * bay.heater.capacity * hours.running
    cool = means["refrigeration"]
    for k in np.flatnonzero(cool > OFF).tolist():
        outside, surface = float(scene.outside_temperature[k]), float(scene.uncooled_temperature[k])
        if math.isnan(outside + surface):
            power[k] = math.nan
            continue
        surface -= bay.refrigeration.coil_temperature_difference
        performance = hourly_performance(
            bay.plant, bay.refrigeration.performance, surface, outside, float(cool[k])
        )
        power[k] += cool[k] * bay.refrigeration.capacity / performance
    return power, fans


def energy_high(scene: Scene) -> Signal:
    """S12: more energy than fans, humidifier, coil and heater can take at these positions."""
    power, _ = expected_power(scene)
    used = scene.hours.totals.get("energy", np.full(len(power), math.nan)) / 3600.0
    least = SHOWS_ENERGY * fan_power(scene.bay, 1.0)
    return signal(
        "energy_high",
        time=scene.hours.time,
        able=scene.stored & ~np.isnan(used + power) & (np.maximum(power, used) > least),
        shows=used > TOO_MUCH * power + least,
        size=(used - power) * 86400.0 / JOULE_PER_KWH,
        need=12.0,
    )


def fans_weak(scene: Scene) -> Signal:
    """The fans draw less than they should: a slipping belt, or one that stands."""
    power, fans = expected_power(scene)
    used = scene.hours.totals.get("energy", np.full(len(power), math.nan)) / 3600.0
    alone = (fans > 0.8 * power) & (scene.hours.running > 0.99)
    return signal(
        "fans_weak",
        time=scene.hours.time,
        able=scene.stored & alone & ~np.isnan(used),
        shows=used - (power - fans) < FANS_WEAK * fans,
        size=(used - (power - fans)) / fans,
        need=6.0,
    )


def outside_probe(scene: Scene) -> list[Signal]:
    """S14: the outside probe reads warm by day against the forecast and not by night."""
    hours = scene.hours
    if not {"forecast_temperature", "outside_temperature"} <= hours.means.keys():
        return []
    off = hours.means["outside_temperature"] - hours.means["forecast_temperature"]
    days, which = np.unique(np.floor(scene.local_days), return_inverse=True)
    by_day, by_night = (_means(off, which, len(days), x) for x in (scene.sunny, scene.dark))
    excess = by_day - by_night
    excess[1:] = 0.5 * (excess[1:] + excess[:-1])  # a forecast errs by 1.6 K
    excess[:1] = math.nan
    return [
        signal(
            "outside_probe",
            time=days * 86400.0 - scene.bay.dates.utc_offsets[0],
            able=~np.isnan(excess),
            shows=excess > SUNNY,
            size=excess,
            need=24.0,
            hours=24.0,
        )
    ]


def _means(values: Array, which: NDArray[Any], count: int, rows: NDArray[np.bool_]) -> Array:
    """Mean of each day over some of its hours."""
    heard = rows & ~np.isnan(values)
    total = np.bincount(which[heard], values[heard], count)
    found: Array = total / np.bincount(which[heard], minlength=count)
    return found
