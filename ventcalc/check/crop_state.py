"""What a full pile gives off at the stages of a season: heat, CO2, and the fresh air it needs."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from ventcalc.bay.description import Bay
from ventcalc.pile.crop import CO2_DENSITY, CO2_OUTSIDE, co2_rate, crop_for, respiration_heat

__all__ = ["CropState", "crop_states"]


@dataclass(frozen=True, kw_only=True, slots=True)
class CropState:
    """A full pile at one stage; for the whole pile unless it says per mass."""

    temperature: float
    """Of the pulp. [°C]"""
    age: float
    """Mean, since harvest. [s]"""
    respiration_heat: float
    """Per mass of crop. [W/kg]"""
    heat: Any
    """Of respiration. [W]"""
    field_heat: Any
    """Mean heat flow that the planned cooling takes out. [W]"""
    fresh_airflow: Any
    """That keeps CO2 at its limit. [m³/s]"""


def crop_states(bay: Bay, pressure: float, mass: Any = None) -> Mapping[str, CropState]:
    """
    The full pile when it gives off most, at each stage; ``mass`` [kg] if not full, or many.

    ``filling``: the last load is in, the warmest lot's temperature is brought to wound healing
    within a day of loading. ``cool_down`` and ``holding``: the first day, the former at the ramp.
    """
    plan = bay.schedule
    full = bay.pile.capacity if mass is None else mass
    crop = crop_for(bay.use)
    warmest = max(lot.loading_temperature for lot in bay.lots)
    drop = max(warmest - plan.healing_temperature, 0.0)
    fall = max(plan.healing_temperature - plan.holding_temperature, 0.0)
    healed = 0.5 * plan.fill_days + plan.healing_days
    loads = plan.fill_days * (np.arange(24) + 0.5) / 24.0
    return {
        "filling": _state(
            bay,
            pressure,
            full,
            temperature=plan.healing_temperature,
            ages=loads,
            field_heat=full / plan.fill_days * crop.specific_heat * drop,
        ),
        "cool_down": _state(
            bay,
            pressure,
            full,
            temperature=plan.healing_temperature,
            ages=np.array([healed]),
            field_heat=full * crop.specific_heat * (plan.ramp if fall > 0.0 else 0.0),
        ),
        "holding": _state(
            bay,
            pressure,
            full,
            temperature=plan.holding_temperature,
            ages=np.array([healed + fall / plan.ramp]),
            field_heat=0.0 * full,
        ),
    }


def _state(
    bay: Bay, pressure: float, mass: Any, *, temperature: float, ages: np.ndarray, field_heat: Any
) -> CropState:
    crop = crop_for(bay.use)
    each = respiration_heat(temperature, ages, crop, bay.immature_share)
    per_mass = float(np.mean(each))
    made = co2_rate(per_mass * mass, crop) / (CO2_DENSITY * pressure / 101325.0)
    return CropState(
        temperature=temperature,
        age=float(np.mean(ages)),
        respiration_heat=per_mass,
        heat=per_mass * mass,
        field_heat=field_heat,
        fresh_airflow=made / (bay.limits.co2 - CO2_OUTSIDE),
    )
