"""A cooling plant by the hour: how much power its cooling takes on this day at this load."""

from __future__ import annotations

from dataclasses import dataclass

from ventcalc.air.plain import KELVIN
from ventcalc.equipment.refrigerant_map import NODES, SPAN, chebyshev_sum, shipped_map

__all__ = [
    "AUXILIARIES",
    "COLDEST_SURFACE",
    "HOTTEST_OUTSIDE",
    "PLANT_REFRIGERANTS",
    "UNNAMED",
    "CoolingPlant",
    "cooling_plant",
    "cycle_performance",
    "hourly_performance",
]

UNNAMED = "unnamed"
"""For a plant whose refrigerant the bay file does not name."""
PLANT_REFRIGERANTS = (
    UNNAMED, "R717", "R290", "R1270", "R134a", "R32", "R1234yf", "R1234ze(E)", "R404A", "R407C",
    "R410A", "R507A",
)  # fmt: skip
"""Those with a map that ships, and none named."""
HIGHEST_EVAPORATING = 10.0
"""A valve holds the suction pressure below it; common practice, no source. [°C]"""
WALL_DIFFERENCE = 2.0
"""Coil surface above the boiling refrigerant; common practice, no source. [K]"""
CONDENSER_APPROACH = 12.0
"""Condensing above outside air; common practice, no source. [K]"""
LOWEST_CONDENSING = 20.0
"""Held by the head-pressure control; common practice, no source. [°C]"""
AUXILIARIES = 0.03
"""Condenser fans and pumps per cooling; common practice, no source. [W/W]"""
PART_LOAD_LOSS = 0.25
"""
Of a plant that switches on and off, at vanishing load; AHRI Standard 210/240, cyclic degradation
coefficient (from memory). [1]
"""
(COLDEST_EVAPORATING, WARMEST_EVAPORATING), (COLDEST_CONDENSING, WARMEST_CONDENSING) = SPAN
COLDEST_SURFACE = COLDEST_EVAPORATING + WALL_DIFFERENCE
"""Coil surface down to which the maps reach. [°C]"""
HOTTEST_OUTSIDE = WARMEST_CONDENSING - CONDENSER_APPROACH
"""Outside air up to which they do. [°C]"""


@dataclass(frozen=True, kw_only=True)
class CoolingPlant:
    """What an hour must know of a plant's cycle."""

    ideal: bool
    """Whether no refrigerant is named: the ideal cycle between the same two temperatures."""
    power_per_cooling: tuple[tuple[float, ...], ...]
    """The refrigerant's map, a Chebyshev sum; zeros for an ideal cycle. [1]"""
    design_surface_temperature: float
    """Coil surface of the rating. [°C]"""
    design_outside_temperature: float
    """Outside air of the rating. [°C]"""


def cooling_plant(
    refrigerant: str, *, design_surface_temperature: float, design_outside_temperature: float
) -> CoolingPlant:
    """A plant by its refrigerant and its rating point."""
    ideal = refrigerant == UNNAMED
    rows = ((0.0,) * NODES[1],) * NODES[0] if ideal else shipped_map(refrigerant).coefficients
    return CoolingPlant(
        ideal=ideal,
        power_per_cooling=rows,
        design_surface_temperature=design_surface_temperature,
        design_outside_temperature=design_outside_temperature,
    )


def cycle_performance(plant: CoolingPlant, surface: float, outside_temperature: float) -> float:
    """Cooling per compressor input (COP) of the cycle at a coil surface and an outside air. [1]"""
    evaporating = min(surface - WALL_DIFFERENCE, HIGHEST_EVAPORATING)
    condensing = max(outside_temperature + CONDENSER_APPROACH, LOWEST_CONDENSING)
    if plant.ideal:
        return (evaporating + KELVIN) / (condensing - evaporating)
    x = 2.0 * evaporating - COLDEST_EVAPORATING - WARMEST_EVAPORATING
    y = 2.0 * condensing - COLDEST_CONDENSING - WARMEST_CONDENSING
    return 1.0 / chebyshev_sum(
        plant.power_per_cooling,
        x / (WARMEST_EVAPORATING - COLDEST_EVAPORATING),
        y / (WARMEST_CONDENSING - COLDEST_CONDENSING),
    )


def hourly_performance(
    plant: CoolingPlant,
    rated_performance: float,
    surface: float,
    outside_temperature: float,
    load: float,
) -> float:
    """
    Cooling per electrical power of an hour. [1]

    The compressor's part of the rated performance changes with the ratio of two cycles, now and at
    the rating point; 0.03 W/W for condenser fans and pumps stay. At part load the plant switches on
    and off.
    """
    now = cycle_performance(plant, surface, outside_temperature)
    design = cycle_performance(
        plant, plant.design_surface_temperature, plant.design_outside_temperature
    )
    compressor = (1.0 / rated_performance - AUXILIARIES) * (design / now)
    return (1.0 - PART_LOAD_LOSS * (1.0 - load)) / (compressor + AUXILIARIES)
