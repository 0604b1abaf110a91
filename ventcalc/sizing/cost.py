"""What a kilowatt-hour of cooling costs in the autumn: by outside air, by refrigeration."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from ventcalc import air
from ventcalc.bay.calendar import COOL_DOWN
from ventcalc.bay.description import Bay
from ventcalc.equipment import coil, refrigerant_cycle, refrigerant_map
from ventcalc.equipment.refrigeration import cooling_cost
from ventcalc.pile.crop import crop_for
from ventcalc.sizing.air import AirDesign
from ventcalc.sizing.cooling import REFERENCE_REFRIGERANT, CoolingDesign, plant_performance
from ventcalc.sizing.outside import OutsideAir
from ventcalc.sizing.water import dry_air_flow
from ventcalc.sizing.weather import DesignStates

__all__ = ["HUMIDIFIER_POWER", "AutumnCost", "WayOfCooling", "autumn_cost"]

HUMIDIFIER_POWER = 1500.0
"""Where the bay has none (common practice, no source). [W]"""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class WayOfCooling:
    """One way of cooling through an autumn; money in the bay's currency, means by heat taken."""

    energy_cost: float
    """Electricity; NaN where it never cools. [money/J]"""
    water_cost: float
    """Crop that evaporates, at its price. [money/J]"""
    cooling: float
    """Heat taken from the crop at full fan speed, mean of the hours counted. [W]"""
    power: float
    """Electrical, at that. [W]"""
    hours: float
    """Hours counted. [h]"""

    @property
    def total_cost(self) -> float:
        """Electricity and crop. [money/J]"""
        return self.energy_cost + self.water_cost


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class AutumnCost:
    """Both ways side by side."""

    outside_air: WayOfCooling
    """In the hours in which it cooled."""
    refrigeration: WayOfCooling
    """In every hour from the first load to the end of cool-down."""


def autumn_cost(
    bay: Bay,
    states: DesignStates,
    design: AirDesign,
    alone: OutsideAir,
    plant: CoolingDesign,
) -> AutumnCost:
    """
    Outside air and refrigeration per unit of cooling, fans at full speed both ways.

    Running cost only: no capital, no wear, no repairs. The coil's difference is that of cool-down.
    """
    autumn = states.stage <= COOL_DOWN
    return AutumnCost(
        outside_air=_by_outside_air(bay, states, design, alone, autumn),
        refrigeration=_by_refrigeration(bay, states, design, plant, autumn),
    )


def _by_outside_air(
    bay: Bay, states: DesignStates, design: AirDesign, alone: OutsideAir, autumn: Any
) -> WayOfCooling:
    cools = autumn & (alone.used > 0.0)
    if not cools.any():
        return _summary(np.empty(0), np.empty(0), np.empty(0), np.empty(0), 0.0, states.step)
    supply, pulp = alone.supply_temperature[cools], alone.pulp[cools]
    humidifier = bay.humidifier.power if bay.humidifier else HUMIDIFIER_POWER
    power = design.power + humidifier
    cost = cooling_cost(
        supply_temperature=supply,
        supply_humidity_ratio=bay.limits.plenum_humidity
        * air.saturation_humidity_ratio(supply, states.pressure),
        power=power,
        **_return(bay, states, design, pulp),
    )
    return _summary(
        cost.cooling, cost.energy_cost, cost.water_cost, alone.used[cools], power, states.step
    )


def _by_refrigeration(
    bay: Bay, states: DesignStates, design: AirDesign, plant: CoolingDesign, autumn: Any
) -> WayOfCooling:
    pulp = states.target[autumn]
    back = _return(bay, states, design, pulp)
    case = plant.cases.get("cool_down", plant.cases[plant.stage])
    made = coil.coil(
        temperature=pulp,
        humidity_ratio=back["return_humidity_ratio"],
        pressure=states.pressure,
        mass_flow=back["mass_flow"],
        temperature_difference=case.coil_temperature_difference,
    )
    condensing = refrigerant_cycle.condensing_temperature(states.temperature[autumn])
    evaporating = refrigerant_cycle.evaporating_temperature(made.surface_temperature)
    cycles = [
        refrigerant_map.usual_performance(REFERENCE_REFRIGERANT, *pair)
        for pair in zip(evaporating.tolist(), condensing.tolist(), strict=True)
    ]
    power = design.power + made.total_heat / plant_performance(np.array(cycles))
    warmed = air.temperature_from_enthalpy(
        air.enthalpy(made.temperature, made.humidity_ratio, states.pressure)
        + design.power / back["mass_flow"],
        made.humidity_ratio,
        states.pressure,
    )
    cost = cooling_cost(
        supply_temperature=warmed,
        supply_humidity_ratio=made.humidity_ratio + made.fog,
        power=power,
        **back,
    )
    share = np.ones(np.shape(pulp))
    return _summary(cost.cooling, cost.energy_cost, cost.water_cost, share, power, states.step)


def _return(bay: Bay, states: DesignStates, design: AirDesign, pulp: Any) -> dict[str, Any]:
    """Air out of the pile, and what is common to both ways."""
    activity = crop_for(bay.use).water_activity
    return {
        "mass_flow": dry_air_flow(design, states.pressure),
        "return_temperature": pulp,
        "return_humidity_ratio": activity * air.saturation_humidity_ratio(pulp, states.pressure),
        "pressure": states.pressure,
        "electricity_price": bay.costs.electricity,
        "crop_price": bay.costs.crop,
    }


def _summary(
    cooling: Any, energy: Any, water: Any, used: Any, power: Any, step: float
) -> WayOfCooling:
    """Means weighted by the heat taken; hours that do not cool count for nothing."""
    cools = np.isfinite(energy) & (cooling > 0.0)
    if not cools.any():
        nothing = float("nan")
        return WayOfCooling(
            energy_cost=nothing, water_cost=nothing, cooling=0.0, power=0.0, hours=0.0
        )
    heat = (cooling * used)[cools]
    part = used[cools]
    return WayOfCooling(
        energy_cost=float(np.average(energy[cools], weights=heat)),
        water_cost=float(np.average(water[cools], weights=heat)),
        cooling=float(heat.sum() / part.sum()),
        power=float(np.average(np.broadcast_to(power, np.shape(cooling))[cools], weights=part)),
        hours=float(part.sum()) * step / 3600.0,
    )
