"""A trial taken apart: parcels of seasons alike but for the crop's parameters, each with a key."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, fields, replace
from functools import cache
from itertools import product
from pathlib import Path
from typing import Any

import numpy as np

from ventcalc.bay.description import Bay
from ventcalc.errors import BadInput
from ventcalc.season.likely import RANGES, crop_points
from ventcalc.trial.faults import check_fault
from ventcalc.trial.methods import NOISY, source_of
from ventcalc.weather import Weather, zone

__all__ = ["Parcel", "Trial", "parcels_of", "placed", "sources"]

SEASONS = 20
"""Most seasons of a parcel: what an interruption can lose is over in seconds."""
SEA_LEVEL, SCALE_HEIGHT, EXPONENT = 101325.0, 44330.0, 5.255
"""Of the standard atmosphere. [Pa, m, 1]"""
BOOK = (float("nan"),) * len(RANGES)
"""A crop as the tables have it."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Trial:
    """What is crossed with what."""

    bays: tuple[Bay, ...]
    weathers: tuple[tuple[str, Weather], ...]
    """Each with its name."""
    methods: tuple[str, ...]
    faults: tuple[str, ...]
    draws: int
    """Draws of the crop's parameters; 1 is the crop of the tables. [1]"""
    seed: int
    """Of draws, forecasts that err and bootstrap. [1]"""
    layers: int


@dataclass(frozen=True, kw_only=True, eq=False)
class Parcel:
    """Some seasons of one bay, climate, fault and method; it goes to whoever runs it."""

    key: str
    bay: Bay
    climate: str
    weather: Weather
    fault: str
    method: str
    draws: tuple[int, ...]
    points: tuple[tuple[float, ...], ...]
    """Parameters of each draw, in the order of ``RANGES``; [any]."""
    chance: int
    """Seed of forecasts that err; 0 for methods without."""
    layers: int
    sources: str
    """Of the library that made it."""


def placed(bay: Bay, weather: Weather) -> Bay:
    """
    A bay where a climate is: its altitude by the air pressure, its clock by the zone, but its own
    zone at a place of the same time, for that knows summer time.
    """
    pressure = float(np.mean(weather.pressure))
    altitude = SCALE_HEIGHT * (1.0 - (pressure / SEA_LEVEL) ** (1.0 / EXPONENT))
    noon = weather.time[0].astype("datetime64[s]").item()
    there, here = (zone(name).utcoffset(noon) for name in (weather.time_zone, bay.site.time_zone))
    name = bay.site.time_zone
    if there is not None and here is not None and there != here:
        hours = round(there.total_seconds() / 3600.0)
        name = f"Etc/GMT{-hours:+d}" if hours else "Etc/GMT"
    return replace(bay, site=replace(bay.site, altitude=max(altitude, 0.0), time_zone=name))


def parcels_of(trial: Trial) -> list[Parcel]:
    """
    The seasons of a trial, in parcels: bay by bay, climate by climate, fault by fault, method by
    method.
    """
    for name in trial.faults:
        check_fault(name)
    if not (trial.bays and trial.weathers and trial.methods and trial.faults):
        raise BadInput("a trial needs at least one bay, weather, control method and fault")
    if trial.draws < 1:
        raise BadInput(f"draws is {trial.draws}; at least 1, the crop of the tables")
    owns = {name: source_of(name) for name in trial.methods}
    digests = {name: _digest_of_weather(weather) for name, weather in trial.weathers}
    points = _points(trial.draws, trial.seed)
    blocks = [range(k, min(k + SEASONS, trial.draws)) for k in range(0, trial.draws, SEASONS)]
    found = []
    for bay, (climate, weather) in product(trial.bays, trial.weathers):
        there = placed(bay, weather)
        for fault, method, block in product(trial.faults, trial.methods, blocks):
            some = tuple(points[k] for k in block)
            chance = trial.seed if method == NOISY else 0
            words = (
                there, digests[climate], fault, method, owns[method], some, trial.layers, chance,
            )  # fmt: skip
            found.append(
                Parcel(
                    key=hashlib.sha256(repr((*words, sources())).encode()).hexdigest()[:24],
                    bay=there,
                    climate=climate,
                    weather=weather,
                    fault=fault,
                    method=method,
                    draws=tuple(block),
                    points=some,
                    chance=chance,
                    layers=trial.layers,
                    sources=sources(),
                )
            )
    return found


def _points(draws: int, seed: int) -> list[tuple[float, ...]]:
    if draws == 1:
        return [BOOK]
    shift = np.random.default_rng(seed).random(len(RANGES))
    return [tuple(row) for row in crop_points(draws, shift.tolist()).tolist()]


def _digest_of_weather(weather: Weather) -> str:
    digest = hashlib.sha256()
    for part in fields(weather):
        value: Any = getattr(weather, part.name)
        digest.update(value.tobytes() if isinstance(value, np.ndarray) else repr(value).encode())
    return digest.hexdigest()


@cache
def sources() -> str:
    """Hash of the library: every source, its version among them, and every table."""
    home = Path(__file__).parents[1]
    digest = hashlib.sha256()
    for path in sorted(home.rglob("*")):
        if path.suffix in (".py", ".csv", ".json", ".toml"):
            digest.update(path.relative_to(home).as_posix().encode())
            digest.update(path.read_bytes())
    return digest.hexdigest()[:24]
