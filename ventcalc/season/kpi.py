"""What a season was worth: band, ramp, spread, shrink, wet hours, frost, energy, CO2, money."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ventcalc.advice.fresh_air import PEOPLE_CO2
from ventcalc.bay.calendar import COOL_DOWN, EMPTY, HOLDING, UNLOADING
from ventcalc.bay.description import Bay, Limits
from ventcalc.bay.hourly import HourlyBay
from ventcalc.pile.crop import CARBON_PER_DRY_MATTER, WATER_PER_DRY_MATTER, crop_for

__all__ = ["Kpi", "key_figures"]

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

JOULE_PER_KWH = 3.6e6
FAST = 1.25
"""Times the ramp that counts as cooled too fast. [1]"""
NOTHING = 99.0
"""Temperature of a bay that never held a crop. [°C]"""
POWERS = ("fan_power", "coil_power", "heater_power", "humidifier_power")
USES = ("fan", "refrigeration", "heater", "humidifier")
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
    off_plan_kelvin_hours: Any
    """Mean pulp off the calendar's plan, from the end of healing to the warm-up. [K h]"""
    late_hours: Any
    """From the planned to the real arrival at holding; to the warm-up where it never came. [h]"""
    holding_missed: Any
    """1 where the mean pulp never came to holding before the warm-up, else 0. [1]"""
    latched_hours: Any
    """Hours with the fans held off by freeze protection. [h]"""
    people_co2_hours: Any
    """Hours with CO2 over the limit of a working day (5 000 ppm). [h]"""
    ramp_hours: Any
    """Hours in which the mean pulp had cooled 1.25 times the ramp or more in a day. [h]"""
    spread_hours: Any
    """Hours with top less bottom beyond the limit, cool-down and holding. [h]"""
    mean_spread: Any
    """Mean of top less bottom, a tenth of the pile each, while holding. [K]"""
    mass_loss: Any
    """Water and dry matter, of the mass loaded, until unloading. [1]"""
    water_loss: Any
    """Net: transpired less metabolic water. [1]"""
    dry_matter_loss: Any
    """Burned; its carbon leaves, its water stays. [1]"""
    transpired_water: Any
    """Gross: all that left through the skin. [1]"""
    metabolic_water: Any
    """Made by respiration, and left in the tuber or transpired. [1]"""
    carbon_loss: Any
    """Carbon of the dry matter burned; with the transpired water it makes the mass loss. [1]"""
    mass_loss_month_one: Any
    """In the 30 days after the first load. [1]"""
    mass_loss_later: Any
    """In 30 days, mean of the time from then until unloading. [1]"""
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
    """Time with any layer below the crop's freezing injury (-0.8 °C). [min]"""
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


def key_figures(
    bay: Bay | HourlyBay,
    records: NDArray[Any],
    pulp: Array,
    step: float,
    limits: Limits | None = None,
) -> Kpi:
    """What a season was worth."""
    limits = bay.limits if limits is None else limits
    in_use = records["stage"] != EMPTY
    return Kpi(
        **_temperatures(bay, limits, records, pulp, step),
        **_losses(bay, records),
        **_wetness(bay, records, np.where(in_use, step, 0.0)),
        **_energy(bay, records, in_use, step),
        **_carbon(limits, records, in_use, step),
    )


def _temperatures(
    bay: Bay | HourlyBay, limits: Limits, records: NDArray[Any], pulp: Array, step: float
) -> dict[str, float]:
    stage, hours = records["stage"], step / 3600.0
    low, high = pulp.min(axis=1), pulp.max(axis=1)
    held, cooled, in_use = stage == HOLDING, stage == COOL_DOWN, stage != EMPTY
    off = np.abs(pulp[held] - records["target"][held, None]) - limits.band
    by_layer = np.maximum(off, 0.0, out=off).sum(axis=0) * hours
    tenth = max(round(pulp.shape[1] / 10), 1)
    spread = pulp[:, -tenth:].mean(axis=1) - pulp[:, :tenth].mean(axis=1)
    mean = pulp.mean(axis=1)
    day = round(86400.0 / step)
    fast = mean[:-day] - mean[day:] > FAST * bay.schedule.ramp * 86400.0
    frozen = in_use & (low < crop_for(bay.use).injury_temperature)
    cooling = in_use & (records["planned"] < bay.schedule.healing_temperature)
    cooling &= records["now"] < _warm_up(records[in_use], bay)
    arrived = mean <= bay.schedule.holding_temperature + limits.band
    due = cooling & (records["planned"] <= bay.schedule.holding_temperature)
    here = np.flatnonzero(due & arrived)
    late = (due[: here[0]] if here.size else due).sum() * hours
    return {
        "off_plan_kelvin_hours": float(np.abs(mean - records["planned"])[cooling].sum() * hours),
        "late_hours": float(late),
        "holding_missed": float(due.any() and not here.size),
        "latched_hours": float((in_use & (records["frost_stage"] >= 2.0)).sum() * hours),
        "band_kelvin_hours": float(by_layer.mean()),
        "band_worst_layer_kelvin_hours": float(by_layer.max()),
        "ramp_hours": float((fast & cooled[day:]).sum() * hours),
        "spread_hours": float(((spread > limits.spread) & (cooled | held)).sum() * hours),
        "mean_spread": float(spread[held].mean()) if held.any() else 0.0,
        "coldest_tuber": float(low[in_use].min(initial=NOTHING)),
        "hottest_tuber": float(high[in_use].max(initial=-NOTHING)),
        "frozen_minutes": float(frozen.sum() * step / 60.0),
    }


def _warm_up(records: NDArray[Any], bay: Bay | HourlyBay) -> float:
    """Beginning of the warm-up: the plan is at holding for the last time. [s]"""
    held = records["planned"] <= bay.schedule.holding_temperature
    return float(records["now"][held].max(initial=0.0))


def _losses(bay: Bay | HourlyBay, records: NDArray[Any]) -> dict[str, float]:
    """Until the first truck leaves, and in the 30 days after the first load."""
    stays = records["stage"] < UNLOADING
    water, dry = (_last(records[name], stays) for name in ("water_loss", "dry_matter_loss"))
    month = stays & (records["now"] <= MONTH)
    first = _last(records["water_loss"], month) + _last(records["dry_matter_loss"], month)
    rest = _last(records["now"], stays) - MONTH
    metabolic = dry * WATER_PER_DRY_MATTER
    return {
        "transpired_water": water + metabolic,
        "metabolic_water": metabolic,
        "carbon_loss": dry * CARBON_PER_DRY_MATTER,
        "mass_loss_later": (water + dry - first) * MONTH / rest if rest > 0.0 else 0.0,
        "mass_loss": water + dry,
        "water_loss": water,
        "dry_matter_loss": dry,
        "mass_loss_month_one": first,
        "cost_shrink": (water + dry) * 1000.0 * bay.costs.crop,
    }


def _last(values: Array, where: Flags) -> float:
    """The last value where a condition holds; 0 where it never does."""
    found = np.flatnonzero(where)
    return float(values[found[-1]]) if found.size else 0.0


def _wetness(bay: Bay | HourlyBay, records: NDArray[Any], time: Array) -> dict[str, float]:
    tonnes = bay.mass / 1000.0
    area = bay.pile.floor_area * records["share"]
    return {
        "wet_crop_hours": float(time[records["wettest"] > WET_FILM].sum() / 3600.0),
        "condensed_on_crop": float((records["condensed"] * area * time).sum() / tonnes),
        "ceiling_drip_hours": float(time[records["drip"] > 0.0].sum() / 3600.0),
        "ceiling_drip": float((records["drip"] * time).sum() / tonnes),
        "fog": float((records["fog"] * time).sum() / tonnes),
        "humidifier_water": float((records["water_added"] * time).sum() / tonnes),
    }


def _energy(
    bay: Bay | HourlyBay, records: NDArray[Any], in_use: Flags, step: float
) -> dict[str, float]:
    tonnes = bay.mass / 1000.0
    total = sum(records[name] for name in POWERS) * in_use
    energies = {
        f"{use}_energy": float((records[name] * in_use).sum() * step / JOULE_PER_KWH / tonnes)
        for use, name in zip(USES, POWERS, strict=True)
    }
    runs = (records["runs"] > 0.0) & in_use
    plenum = records["plenum_temperature"][runs]
    door = np.where(runs, records["door_opening"], 0.0)
    moved = np.abs(np.diff(door, prepend=0.0))
    starts = runs & ~np.concatenate([[False], runs[:-1]])
    return {
        **energies,
        "cost_energy": float(total.sum() * step * bay.costs.electricity / tonnes),
        "peak_power": float(total.max(initial=0.0)),
        "coldest_plenum": float(plenum.min()) if plenum.size else float("nan"),
        "plenum_below_zero_minutes": float((plenum < 0.0).sum() * step / 60.0),
        "fan_hours": float(runs.sum() * step / 3600.0),
        "fan_starts": float(starts.sum()),
        "door_travel": float(moved[in_use].sum()),
    }


def _carbon(limits: Limits, records: NDArray[Any], in_use: Flags, step: float) -> dict[str, float]:
    co2 = records["co2"][in_use]
    return {
        "people_co2_hours": float((co2 > PEOPLE_CO2).sum() * step / 3600.0),
        "co2_excess": float(np.maximum(co2 - limits.co2, 0.0).sum() * 1e6 * step / 3600.0),
        "co2_highest": float(co2.max(initial=0.0)),
    }
