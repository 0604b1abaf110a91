"""What a season was worth: band, ramp, spread, shrink, wet hours, frost, energy, CO2, money."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Any

import numpy as np

from ventcalc._ops import Ops
from ventcalc.decisions.calendar import COOL_DOWN, EMPTY, HOLDING, UNLOADING
from ventcalc.physics.bed import layer_mean
from ventcalc.storage import Bay
from ventcalc.studies.bay_model import BayState, Hour

__all__ = ["Kpi", "Tally"]

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
    """Sums up a season step by step; the one place in the library that counts in place."""

    def __init__(self, bay: Bay, ops: Ops, zero: Any) -> None:
        self.bay, self.ops, self.zero = bay, ops, zero
        self.sums: dict[str, Any] = dict.fromkeys((f.name for f in fields(Kpi)), zero)
        self.sums["coldest_plenum"] = self.sums["coldest_tuber"] = zero + 99.0
        self.sums["hottest_tuber"] = zero - 99.0
        self.worst: Any = 0.0
        self.holding_time: Any = zero
        self.last_fan: Any = zero > 1.0
        self.last_door: Any = zero
        self.day: list[Any] = []

    def add(
        self,
        state: BayState,
        hour: Hour,
        positions: Any,
        target: Any,
        stage: Any,
        now: float,
        step: float,
    ) -> None:
        """Count one step; ``now`` is the time since the first load. [s]"""
        in_use = stage != EMPTY
        time = self.ops.where(in_use, step, 0.0)
        hours = time / 3600.0
        self._temperatures(state, target, stage, hours, step)
        self._losses(state, stage, now)
        self._wetness(state, hour, hours, time)
        self._energy(hour, positions, hours, time, in_use)
        over = self.ops.maximum(state.co2 - self.bay.limits.co2, 0.0)
        self._sum("co2_excess", over * 1e6 * hours)
        self._most("co2_highest", self.ops.where(in_use, state.co2, 0.0))

    def _sum(self, name: str, value: Any) -> None:
        self.sums[name] = self.sums[name] + value

    def _most(self, name: str, value: Any) -> None:
        self.sums[name] = self.ops.maximum(self.sums[name], value)

    def _least(self, name: str, value: Any) -> None:
        self.sums[name] = self.ops.minimum(self.sums[name], value)

    def _flag(self, condition: Any) -> Any:
        return self.ops.where(condition, 1.0, 0.0)

    def _temperatures(
        self, state: BayState, target: Any, stage: Any, hours: Any, step: float
    ) -> None:
        pulp = state.bed.temperature
        off = np.maximum(np.abs(pulp - target) - self.bay.limits.band, 0.0)
        held = self._flag(stage == HOLDING)
        counted = self._flag((stage == HOLDING) | (stage == COOL_DOWN))
        self._sum("band_kelvin_hours", held * layer_mean(off) * hours)
        self.worst = self.worst + held * off * hours
        spread = pulp[-1] - pulp[0]
        self._sum("spread_hours", counted * self._flag(spread > self.bay.limits.spread) * hours)
        self._sum("mean_spread", held * spread * hours)
        self.holding_time = self.holding_time + held * hours
        mean = layer_mean(pulp)
        per_day = round(86400.0 / step)
        self.day.append(mean)
        if len(self.day) > per_day:
            fell = self.day.pop(0) - mean
            fast = fell > 1.25 * self.bay.schedule.ramp * 86400.0
            self._sum("ramp_hours", self._flag(fast & (stage == COOL_DOWN)) * hours)
        low = self.ops.where(stage == EMPTY, 99.0, np.minimum.reduce(pulp))
        self._least("coldest_tuber", low)
        high = self.ops.where(stage == EMPTY, -99.0, np.maximum.reduce(pulp))
        self._most("hottest_tuber", high)
        self._sum("frozen_minutes", self._flag(low < FREEZING_TUBER) * hours * 60.0)

    def _losses(self, state: BayState, stage: Any, now: float) -> None:
        until = stage < UNLOADING
        where, sums = self.ops.where, self.sums
        water = layer_mean(state.bed.water_loss)
        solids = layer_mean(state.bed.dry_matter_loss)
        sums["water_loss"] = where(until, water, sums["water_loss"])
        sums["dry_matter_loss"] = where(until, solids, sums["dry_matter_loss"])
        sums["mass_loss"] = sums["water_loss"] + sums["dry_matter_loss"]
        if now <= MONTH:
            sums["mass_loss_month_one"] = sums["mass_loss"]

    def _wetness(self, state: BayState, hour: Hour, hours: Any, step: Any) -> None:
        tonnes = self.bay.mass / 1000.0
        area = self.bay.pile.floor_area * state.share
        if state.bed.wet:
            wet = state.bed.film.max(axis=0) > WET_FILM
            self._sum("wet_crop_hours", self._flag(wet) * hours)
        self._sum("condensed_on_crop", hour.step.condensed * area * step / tonnes)
        self._sum("ceiling_drip_hours", self._flag(hour.drip > 0.0) * hours)
        self._sum("ceiling_drip", hour.drip * step / tonnes)
        self._sum("fog", hour.fog * step / tonnes)

    def _energy(self, hour: Hour, positions: Any, hours: Any, step: Any, in_use: Any) -> None:
        ops, tonnes = self.ops, self.bay.mass / 1000.0
        total = hour.fan_power + hour.coil_power + hour.heater_power + hour.humidifier_power
        for name, power in (
            ("fan_energy", hour.fan_power),
            ("refrigeration_energy", hour.coil_power),
            ("heater_energy", hour.heater_power),
            ("humidifier_energy", hour.humidifier_power),
        ):
            self._sum(name, power * step / JOULE_PER_KWH / tonnes)
        self._sum("cost_energy", total * step * self.bay.costs.electricity / tonnes)
        self._most("peak_power", ops.where(in_use, total, 0.0))
        self._sum("humidifier_water", hour.water_added * step / tonnes)
        runs = hour.runs & in_use
        plenum = ops.where(runs, hour.plenum_temperature, 99.0)
        self._least("coldest_plenum", plenum)
        self._sum("plenum_below_zero_minutes", self._flag(plenum < 0.0) * hours * 60.0)
        self._sum("fan_hours", self._flag(runs) * hours)
        self._sum("fan_starts", self._flag(runs & ops.negate(self.last_fan)))
        door = ops.where(runs, positions.door_opening, 0.0)
        self._sum("door_travel", ops.where(in_use, abs(door - self.last_door), 0.0))
        self.last_fan = runs
        self.last_door = ops.where(in_use, door, self.last_door)

    def result(self) -> Kpi:
        """The season's results so far."""
        done = dict(self.sums)
        held = self.ops.maximum(self.holding_time, 1e-9)
        done["mean_spread"] = done["mean_spread"] / held
        worst = np.max(self.worst, axis=0) + self.zero
        done["band_worst_layer_kelvin_hours"] = worst
        never = done["coldest_plenum"] >= 99.0
        done["coldest_plenum"] = self.ops.where(never, float("nan"), done["coldest_plenum"])
        done["cost_shrink"] = done["mass_loss"] * 1000.0 * self.bay.costs.crop
        plain = isinstance(self.zero, float)
        return Kpi(**{k: float(v) if plain else v + self.zero for k, v in done.items()})
