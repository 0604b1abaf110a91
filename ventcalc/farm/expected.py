"""
Shrink that is to be expected of a bay, by the hours of its log.

Water: air that passes the pile comes nearer to the humidity of the skin by 1 - exp(-NTU), with the
skin's transpiration and the airflow per mass of crop. Dry matter: respiration at the age and
temperature of each hour. What the crop loses while the fans rest is left out.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ventcalc import air
from ventcalc.bay.description import Bay
from ventcalc.diagnose.hours import HOUR, Hours, hours_of
from ventcalc.diagnose.log import Log
from ventcalc.farm.folder import FarmBay
from ventcalc.logbook.weights import shrink_of
from ventcalc.pile.crop import (
    crop_for,
    curing_rate,
    dry_matter_rate,
    respiration_heat,
    transpiration_coefficient,
)
from ventcalc.pile.crop_data import Crop
from ventcalc.season.installed import as_installed
from ventcalc.season.likely import RANGES

__all__ = ["ExpectedLoss", "expected_loss"]

Array = NDArray[np.float64]
UNIFORM = 1.0 / math.sqrt(12.0)
"""Standard uncertainty of a range whose values are all equally likely, per its width. [1]"""
LEAST_HEARD = 0.8
"""Part of the hours in which all that is needed must have been read. [0-1]"""


@dataclass(frozen=True, kw_only=True)
class ExpectedLoss:
    """Shrink by the log, of the crop that came in."""

    water_loss: float
    """[1]"""
    dry_matter_loss: float
    """[1]"""
    doubt: float
    """Standard uncertainty of their sum: published ranges of the crop, and the probes of pulp and
    plenum, whose error is one for all hours. [1]"""
    begin: float
    """First hour that counts, UTC since 1970-01-01. [s]"""
    end: float
    """End of the last. [s]"""
    covered: float
    """Part of the time in which crop lay in the bay that these hours make up. [0-1]"""

    @property
    def mass_loss(self) -> float:
        """Water and dry matter. [1]"""
        return self.water_loss + self.dry_matter_loss


def expected_loss(place: FarmBay) -> ExpectedLoss | None:
    """
    Shrink of a bay by its log; None without one, or where pulp or plenum humidity were hardly read.
    """
    if place.log is None or not _read(place.log):
        return None
    hours = hours_of(place.log)
    content = _content(place, hours.time)
    used = np.isfinite(hours.pulp).any(axis=1) & (content > 0.0)
    if np.count_nonzero(used) < LEAST_HEARD * np.count_nonzero(content > 0.0) or not used.any():
        return None
    bay, crop = as_installed(place.bay), crop_for(place.bay.use)

    def lost(crop: Crop, *probes_off: tuple[float, float]) -> tuple[float, float]:
        return _lost(bay, crop, hours, content, used, *probes_off)

    water, dry = lost(crop)
    warm, humid = math.sqrt(2.0) * bay.sensors.temperature, bay.sensors.humidity
    parts = [lost(crop, (warm, 0.0))[0] - water, lost(crop, (0.0, humid))[0] - water]
    for name, ends in RANGES.items():
        both = [math.fsum(lost(_with(crop, name, end))) for end in ends]
        parts.append((both[1] - both[0]) * UNIFORM)
    return ExpectedLoss(
        water_loss=water,
        dry_matter_loss=dry,
        doubt=math.hypot(*parts),
        begin=float(hours.time[used][0]),
        end=float(hours.time[used][-1]) + HOUR,
        covered=min(float(np.count_nonzero(used)) * HOUR / _stay(place, hours), 1.0),
    )


def _stay(place: FarmBay, hours: Hours) -> float:
    """From the first load to the last truck, or as far as the log tells. [s]"""
    times = [float(hours.time[0]), float(hours.time[-1]) + HOUR]
    if place.book is not None:
        loads, out = place.book.lines("loads"), place.book.lines("weights_out")
        times[0] = min((x.time for x in loads), default=times[0])
        gone = shrink_of(place.book).complete
        times[1] = max(x.time for x in out) if gone and out else times[1]
    return max(times[1] - times[0], HOUR)


def _with(crop: Crop, name: str, value: float) -> Crop:
    changed: dict[str, Any] = {name: value}
    return replace(crop, **changed)


def _read(log: Log) -> bool:
    return log.pulp.shape[1] > 0 and {"plenum_temperature", "plenum_relative_humidity"} <= set(
        log.values
    )


def _content(place: FarmBay, time: Array) -> Array:
    """Part of the crop that came in that lies in the bay at each hour, by its weights. [0-1]"""
    book = place.book
    loads = book.lines("loads") if book is not None else ()
    if book is None or not loads:
        return np.ones(len(time))
    came = _total([(x.time, x.entry.net) for x in loads], time)
    went = _total([(x.time, x.entry.net) for x in book.lines("weights_out")], time)
    content: Array = np.maximum(came - went, 0.0) / sum(x.entry.net for x in loads)
    return content


def _total(weighed: Sequence[tuple[float, float]], time: Array) -> Array:
    """Sum of what was weighed up to each time. [kg]"""
    if not weighed:
        return np.zeros(len(time))
    at, mass = np.array(sorted(weighed)).T
    total: Array = np.concatenate([[0.0], np.cumsum(mass)])[np.searchsorted(at, time, "right")]
    return total


def _lost(
    bay: Bay,
    crop: Crop,
    hours: Hours,
    content: Array,
    used: NDArray[np.bool_],
    probes_off: tuple[float, float] = (0.0, 0.0),
) -> tuple[float, float]:
    """
    Water and dry matter of the crop that came in. [1]

    ``probes_off``: what the plenum reads too high [K, 0-1].
    """
    pulp = np.nanmean(hours.pulp[used], axis=1)
    share, running = content[used], np.nan_to_num(hours.running[used])
    speed = np.nan_to_num(hours.mean_of("fan_speed")[used]) / np.maximum(running, 1e-9)
    warm, humidity = (
        hours.blown[f"plenum_{x}"][used] for x in ("temperature", "relative_humidity")
    )
    blows = (running > 0.0) & np.isfinite(warm) & np.isfinite(humidity) & (speed > 0.0)
    pressure = float(air.standard_pressure(bay.site.altitude))
    supply = np.clip(np.nan_to_num(humidity, nan=0.5) - probes_off[1], 0.01, 1.0)
    wet = air.humidity_ratio(np.where(blows, warm, pulp) - probes_off[0], supply, pressure)
    per_mass = bay.fans.airflow * speed / (bay.mass * air.specific_volume(pulp, wet, pressure))
    vapour = (1.0 + wet / air.MASS_RATIO) ** 2 * air.MASS_RATIO / pressure
    curing = np.cumsum(np.asarray(curing_rate(pulp, crop)) * HOUR)
    reached = np.asarray(transpiration_coefficient(curing, crop))
    units = reached / np.maximum(per_mass * vapour, 1e-30)
    leaving = wet
    probes = hours.pulp.shape[1]
    for probe in hours.pulp[used].T:
        warmth = np.where(np.isfinite(probe), probe, pulp)
        skin = air.humidity_ratio(warmth, crop.water_activity, pressure)
        leaving = skin + (leaving - skin) * np.exp(-units / probes)
    water = per_mass * (leaving - wet) * running * HOUR
    heat = respiration_heat(pulp, np.arange(len(pulp)) * HOUR, crop, bay.immature_share)
    dry = np.asarray(dry_matter_rate(heat, crop)) * HOUR
    return float(np.sum(np.where(blows, water, 0.0) * share)), float(np.sum(dry * share))
