"""What a season was worth: band, ramp, spread, shrink, wet hours, frost, energy, CO2, money."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ventcalc.advice.calendar import COOL_DOWN, EMPTY, HOLDING, UNLOADING
from ventcalc.bay.description import Bay
from ventcalc.season.record import Kept

__all__ = ["Kpi", "Tally"]

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

JOULE_PER_KWH = 3.6e6
FREEZING_TUBER = -0.8
"""Freezing injury of potatoes (Univ. of California Davis). [°C]"""
WET_FILM = 5e-5
"""Film that counts as wet, about half a micrometre of water on the skin. [kg/kg crop]"""
MONTH = 30 * 86400.0


@dataclass(frozen=True, kw_only=True, eq=False)
class Kpi:
    """
    Results of a season; floats, or arrays over bays. "Per tonne" is per tonne loaded.

    Band and spread count while the crop is held; ramp while it is cooled down.
    """

    band_kelvin_hours: Any
    """Mass-weighted time outside the band around the target, in holding. [K h]"""
    band_worst_layer_kelvin_hours: Any
    """The same for the worst layer. [K h]"""
    ramp_hours: Any
    """Hours in which the mean pulp had cooled 1.25 times the ramp or more in a day. [h]"""
    spread_hours: Any
    """Hours with top less bottom beyond the limit, cool-down and holding. [h]"""
    mean_spread: Any
    """Mean of top less bottom while holding. [K]"""
    mass_loss: Any
    """Water and dry matter, of the mass loaded, until unloading. [1]"""
    water_loss: Any
    """[1]"""
    dry_matter_loss: Any
    """[1]"""
    mass_loss_month_one: Any
    """In the 30 days after the first load. [1]"""
    wet_crop_hours: Any
    """Hours with more than a trace of free water on any layer. [h]"""
    condensed_on_crop: Any
    """Water that condensed on tubers. [kg/t]"""
    ceiling_drip_hours: Any
    """Hours with the plain ceiling below the dew point. [h]"""
    ceiling_drip: Any
    """Water condensed on the ceiling. [kg/t]"""
    fog: Any
    """Fog carried into the ducts. [kg/t]"""
    coldest_plenum: Any
    """Supply air, fans on. [°C]"""
    plenum_below_zero_minutes: Any
    """[min]"""
    hottest_tuber: Any
    """Any layer, until emptied; above 30 °C a crop is lost. [°C]"""
    coldest_tuber: Any
    """Any layer, until emptied. [°C]"""
    frozen_minutes: Any
    """Time with any layer below -0.8 °C. [min]"""
    fan_hours: Any
    """[h]"""
    fan_energy: Any
    """[kWh/t]"""
    refrigeration_energy: Any
    """[kWh/t]"""
    heater_energy: Any
    """[kWh/t]"""
    humidifier_energy: Any
    """[kWh/t]"""
    peak_power: Any
    """Largest mean of a step. [W]"""
    humidifier_water: Any
    """[kg/t]"""
    co2_excess: Any
    """Volume fraction above the limit times time. [ppm h]"""
    co2_highest: Any
    """Volume fraction. [1]"""
    fan_starts: Any
    """[1]"""
    door_travel: Any
    """Sum of door movements, full strokes. [1]"""
    cost_energy: Any
    """[money/t]"""
    cost_shrink: Any
    """[money/t]"""

    @property
    def energy(self) -> Any:
        """All electrical energy. [kWh/t]"""
        return (
            self.fan_energy
            + self.refrigeration_energy
            + self.heater_energy
            + self.humidifier_energy
        )

    @property
    def cost(self) -> Any:
        """Energy and shrink. [money/t]"""
        return self.cost_energy + self.cost_shrink


class Tally:
    """
    Sums up a season, block of steps by block; the one place in the library that counts in place.

    Parameters
    ----------
    bay : Bay
        The bay, or a stack of bays.
    zero : float or array
        0 for one bay; as many zeros as there are bays for a stack.
    step : float
        Length of a step. [s]
    """

    def __init__(self, bay: Bay, zero: Any, step: float) -> None:
        self.bay, self.zero, self.step = bay, zero, step
        self.sums: dict[str, Any] = dict.fromkeys((f.name for f in fields(Kpi)), zero)
        self.sums["coldest_plenum"] = self.sums["coldest_tuber"] = zero + 99.0
        self.sums["hottest_tuber"] = zero - 99.0
        self.worst: Any = 0.0
        self.holding_time: Any = zero
        self.last_fan: Any = zero > 1.0
        self.last_door: Any = zero
        self.day: Array = np.empty((0, *np.shape(zero)))

    def count(self, kept: Kept) -> None:
        """Take up some steps."""
        in_use = kept.stage != EMPTY
        time = np.where(in_use, self.step, 0.0)
        self._temperatures(kept, time / 3600.0)
        self._losses(kept)
        self._wetness(kept, time)
        self._energy(kept, time, in_use)
        over = np.maximum(kept.co2 - self.bay.limits.co2, 0.0)
        self._sum("co2_excess", over * 1e6 * time / 3600.0)
        self._most("co2_highest", np.where(in_use, kept.co2, 0.0))

    def _sum(self, name: str, value: Array) -> None:
        self.sums[name] = self.sums[name] + value.sum(axis=0)

    def _most(self, name: str, value: Array) -> None:
        self.sums[name] = np.maximum(self.sums[name], value.max(axis=0))

    def _least(self, name: str, value: Array) -> None:
        self.sums[name] = np.minimum(self.sums[name], value.min(axis=0))

    def _temperatures(self, kept: Kept, hours: Array) -> None:
        pulp, stage = kept.pulp, kept.stage
        layers = pulp.shape[1]
        held = np.where(stage == HOLDING, hours, 0.0)
        if held.any():
            off = np.maximum(np.abs(pulp - kept.target[:, None]) - self.bay.limits.band, 0.0)
            off *= held[:, None]
            by_layer = off.sum(axis=0)
            self.worst = self.worst + by_layer
            band = by_layer.sum(axis=0) / layers
            self.sums["band_kelvin_hours"] = self.sums["band_kelvin_hours"] + band
        cooled = stage == COOL_DOWN
        spread = pulp[:, -1] - pulp[:, 0]
        wide = (spread > self.bay.limits.spread) & (cooled | (stage == HOLDING))
        self._sum("spread_hours", np.where(wide, hours, 0.0))
        self._sum("mean_spread", held * spread)
        self.holding_time = self.holding_time + held.sum(axis=0)
        self._ramp(pulp.sum(axis=1) / layers, cooled, hours)
        low = np.where(stage == EMPTY, 99.0, pulp.min(axis=1))
        self._least("coldest_tuber", low)
        self._most("hottest_tuber", np.where(stage == EMPTY, -99.0, pulp.max(axis=1)))
        self._sum("frozen_minutes", np.where(low < FREEZING_TUBER, hours * 60.0, 0.0))

    def _ramp(self, mean: Array, cooled: Flags, hours: Array) -> None:
        """Hours of too fast cooling, by the means of a day before."""
        per_day = round(86400.0 / self.step)
        past = np.concatenate([self.day, mean])
        self.day = past[-per_day:]
        fell = past[:-per_day] - past[per_day:]
        fast = fell > 1.25 * self.bay.schedule.ramp * 86400.0
        first = len(mean) - len(fell)
        self._sum("ramp_hours", np.where(fast & cooled[first:], hours[first:], 0.0))

    def _losses(self, kept: Kept) -> None:
        until, month = kept.stage < UNLOADING, kept.now <= MONTH
        if month.any():
            self._lose(kept, until & month)
            self.sums["mass_loss_month_one"] = self.sums["mass_loss"]
        self._lose(kept, until)

    def _lose(self, kept: Kept, until: Flags) -> None:
        """What was lost up to the last step in which the crop was still there."""
        sums, last = self.sums, len(until) - 1 - np.argmax(until[::-1], axis=0)
        for name in ("water_loss", "dry_matter_loss"):
            lost = np.take_along_axis(getattr(kept, name), last[None], axis=0)[0]
            sums[name] = np.where(until.any(axis=0), lost, sums[name])
        sums["mass_loss"] = sums["water_loss"] + sums["dry_matter_loss"]

    def _wetness(self, kept: Kept, time: Array) -> None:
        tonnes, hours = self.bay.mass / 1000.0, time / 3600.0
        self._sum("wet_crop_hours", np.where(kept.wettest > WET_FILM, hours, 0.0))
        area = self.bay.pile.floor_area * kept.share
        self._sum("condensed_on_crop", kept.condensed * area * time / tonnes)
        self._sum("ceiling_drip_hours", np.where(kept.drip > 0.0, hours, 0.0))
        self._sum("ceiling_drip", kept.drip * time / tonnes)
        self._sum("fog", kept.fog * time / tonnes)

    def _energy(self, kept: Kept, time: Array, in_use: Flags) -> None:
        tonnes = self.bay.mass / 1000.0
        total = 0.0 * time
        for name, power in (
            ("fan_energy", kept.fan_power),
            ("refrigeration_energy", kept.coil_power),
            ("heater_energy", kept.heater_power),
            ("humidifier_energy", kept.humidifier_power),
        ):
            total = total + power
            self._sum(name, power * time / JOULE_PER_KWH / tonnes)
        self._sum("cost_energy", total * time * self.bay.costs.electricity / tonnes)
        self._most("peak_power", np.where(in_use, total, 0.0))
        self._sum("humidifier_water", kept.water_added * time / tonnes)
        runs = (kept.runs > 0.0) & in_use
        plenum = np.where(runs, kept.plenum_temperature, 99.0)
        self._least("coldest_plenum", plenum)
        self._sum("plenum_below_zero_minutes", np.where(plenum < 0.0, time / 60.0, 0.0))
        self._sum("fan_hours", np.where(runs, time / 3600.0, 0.0))
        before = np.concatenate([np.reshape(self.last_fan, (1, *runs.shape[1:])), runs[:-1]])
        self._sum("fan_starts", np.where(runs & ~before, 1.0, 0.0))
        self.last_fan = runs[-1]
        # A bay in use never was out of use before, so the step before is the last that counts.
        door = np.where(runs, kept.door_opening, 0.0)
        before = np.concatenate([np.reshape(self.last_door, (1, *door.shape[1:])), door[:-1]])
        self._sum("door_travel", np.where(in_use, np.abs(door - before), 0.0))
        self.last_door = door[-1]

    def result(self) -> Kpi:
        """The season's results so far."""
        done = dict(self.sums)
        done["mean_spread"] = done["mean_spread"] / np.maximum(self.holding_time, 1e-9)
        worst = np.max(self.worst, axis=0) + self.zero
        done["band_worst_layer_kelvin_hours"] = worst
        never = done["coldest_plenum"] >= 99.0
        done["coldest_plenum"] = np.where(never, np.nan, done["coldest_plenum"])
        done["cost_shrink"] = done["mass_loss"] * 1000.0 * self.bay.costs.crop
        plain = isinstance(self.zero, float)
        return Kpi(**{k: float(v) if plain else v + self.zero for k, v in done.items()})
