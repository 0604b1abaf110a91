"""What two ways would come to: to heal or to cool at once; to recondition or to hold."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from ventcalc import air
from ventcalc.bay.description import Bay
from ventcalc.pile.crop import (
    crop_for,
    dry_matter_rate,
    healing_factor,
    metabolic_water_rate,
    respiration_heat,
    skin_transpiration,
)

__all__ = ["Healing", "Outcome", "healing_choice", "outcome_of"]

DAY = 86400.0


@dataclass(frozen=True, kw_only=True, slots=True)
class Outcome:
    """A crop after a row of days."""

    mass_loss: float
    """Of the crop at their beginning. [1]"""
    healed: float
    """Wound healing done, as time at 12.8 °C. [s]"""
    degree_days: float
    """Above 4 °C, in which rot spreads and buds wake. [K days]"""


def outcome_of(
    bay: Bay, temperatures: Sequence[float], *, age: float = 0.0, healed: float = 0.0
) -> Outcome:
    """
    Shrink of sound crop, as if air of ``limits.plenum_humidity`` and the pulp's temperature always
    stood around the tubers: for comparison, not as a forecast.
    """
    crop = crop_for(bay.use)
    pull = max(crop.water_activity - bay.limits.plenum_humidity, 0.0)
    lost = 0.0
    for k, pulp in enumerate(temperatures):
        heat = float(respiration_heat(pulp, age + (k + 0.5) * DAY, crop, bay.immature_share))
        healed += DAY * healing_factor(pulp, crop)
        water = skin_transpiration(healed, crop) * pull * float(air.saturation_pressure(pulp))
        burned = float(dry_matter_rate(heat, crop)) - float(metabolic_water_rate(heat, crop))
        lost += DAY * (water + burned)
    return Outcome(
        mass_loss=lost,
        healed=healed,
        degree_days=sum(max(pulp - 4.0, 0.0) for pulp in temperatures),
    )


@dataclass(frozen=True, kw_only=True, slots=True)
class Healing:
    """Healing against cooling at once, from the last load to re-warming."""

    heal: Outcome
    cool: Outcome
    heal_closes: float
    """When wounds are as closed as the bay file plans; infinite where not in time. [s]"""
    cool_closes: float
    """The same without healing. [s]"""
    gain: float
    """Shrink that healing saves, of all crop: rotten and frosted tubers gain nothing. [1]"""
    break_even: float
    """Rot after healing above which it has cost more crop than it saved. [0-1]"""


def healing_choice(bay: Bay, *, rot_share: float, frost_share: float, days: int) -> Healing:
    """
    Compare a healing as planned with none, and how far rot may spread before healing has cost more
    than it saves.
    """
    plan = bay.schedule
    fall = plan.ramp * DAY

    def course(warm_days: int) -> list[float]:
        return [
            max(
                plan.healing_temperature - fall * max(k - warm_days, 0),
                min(plan.holding_temperature, plan.healing_temperature),
            )
            for k in range(days)
        ]

    warm = round(plan.healing_days / DAY)
    heal = outcome_of(bay, course(warm))
    cool = outcome_of(bay, course(0))
    gain = (cool.mass_loss - heal.mass_loss) * max(1.0 - rot_share - frost_share, 0.0)
    return Healing(
        heal=heal,
        cool=cool,
        heal_closes=_closes(bay, course(warm)),
        cool_closes=_closes(bay, course(0)),
        gain=gain,
        break_even=rot_share + max(gain, 0.0),
    )


def _closes(bay: Bay, pulps: Sequence[float]) -> float:
    """Time until a course has healed as much as the plan's healing. [s]"""
    crop, plan = crop_for(bay.use), bay.schedule
    left = plan.healing_days * healing_factor(plan.healing_temperature, crop)
    for k, pulp in enumerate(pulps):
        today = DAY * healing_factor(pulp, crop)
        if left <= today * (1.0 + 1e-9):
            return k * DAY + DAY * left / today
        left -= today
    return math.inf
