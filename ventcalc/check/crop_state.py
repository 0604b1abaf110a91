"""What a full pile gives off at the stages of a season: heat, water, CO2, by which air it needs."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ventcalc.bay.description import Bay
from ventcalc.pile.crop import (
    CO2_DENSITY,
    CO2_OUTSIDE,
    co2_rate,
    crop_for,
    curing_rate,
    respiration_heat,
    transpiration_coefficient,
)

__all__ = ["CropState", "crop_states"]

Array = NDArray[np.float64]
DAY = 86400.0
LOADS = 240
"""Equal loads that a filling is taken as."""


@dataclass(frozen=True, kw_only=True, slots=True)
class CropState:
    """A full pile at one stage; for the whole pile unless it says per mass."""

    temperature: float
    """Of the pulp. [°C]"""
    age: float
    """Mean, since harvest. [s]"""
    respiration_heat: float
    """Per mass of crop. [W/kg]"""
    transpiration_coefficient: float
    """Water lost per mass of crop, time and vapour pressure difference. [kg/(kg s Pa)]"""
    heat: Any
    """Of respiration. [W]"""
    field_heat: Any
    """Mean heat flow that the planned cooling takes out. [W]"""
    co2_volume_flow: Any
    """Given off, at the air pressure of the bay. [m³/s]"""
    fresh_airflow: Any
    """That keeps CO2 at its limit. [m³/s]"""


def crop_states(bay: Bay, pressure: float, mass: Any = None) -> Mapping[str, CropState]:
    """
    The full pile at each stage; ``mass`` [kg] if not full, or many.

    ``filling``: the day of the last load; loads come evenly, each is brought to wound healing
    within a day, and the last day's are of the warmest lot. ``healing``: half over. ``cool_down``
    and ``holding``: the first day, the former at the ramp.
    """
    plan = bay.schedule
    full = bay.pile.capacity if mass is None else mass
    warm, cold = plan.healing_temperature, plan.holding_temperature
    specific_heat = crop_for(bay.use).specific_heat
    warmest = max(warm, *(lot.loading_temperature for lot in bay.lots))
    fall = max(warm - cold, 0.0)
    loads = plan.fill_days * (np.arange(LOADS) + 0.5) / LOADS
    half = 0.5 * plan.fill_days
    healed = half + plan.healing_days
    stages: dict[str, tuple[float, Any, Any, float]] = {
        # Pulp temperature, ages, temperatures at these ages, field heat per mass and time.
        "filling": (warm, loads, np.where(loads < DAY, warmest, warm),
                    specific_heat * (warmest - warm) / plan.fill_days),
        "healing": (warm, half + 0.5 * plan.healing_days, warm, 0.0),
        "cool_down": (warm, healed, warm, specific_heat * (plan.ramp if fall > 0.0 else 0.0)),
        "holding": (cold, healed + fall / plan.ramp, cold, 0.0),
    }  # fmt: skip
    return {
        name: _state(bay, pressure, full, pulp, np.ravel(ages), temperatures, field)
        for name, (pulp, ages, temperatures, field) in stages.items()
    }


def _state(
    bay: Bay, pressure: float, mass: Any, pulp: float, ages: Array, temperatures: Any, field: float
) -> CropState:
    crop, plan = crop_for(bay.use), bay.schedule
    each = respiration_heat(temperatures, ages, crop, bay.immature_share)
    per_mass = float(np.mean(each))
    # Skin heals at the healing temperature, and half way down to holding while it is cooled.
    warm, cooling = plan.healing_temperature, 0.5 * (plan.healing_temperature + pulp)
    at_warm = np.minimum(ages, 0.5 * plan.fill_days + plan.healing_days)
    cured = at_warm * curing_rate(warm, crop) + (ages - at_warm) * curing_rate(cooling, crop)
    made = co2_rate(per_mass * mass, crop) / (CO2_DENSITY * pressure / 101325.0)
    return CropState(
        temperature=pulp,
        age=float(np.mean(ages)),
        respiration_heat=per_mass,
        transpiration_coefficient=float(np.mean(transpiration_coefficient(cured, crop))),
        heat=per_mass * mass,
        field_heat=field * mass,
        co2_volume_flow=made,
        fresh_airflow=made / (bay.limits.co2 - CO2_OUTSIDE),
    )
