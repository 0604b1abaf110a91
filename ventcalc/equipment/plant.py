"""A cooling plant by the hour: how much power its cooling takes on this day at this load."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from ventcalc._ops import Ops
from ventcalc.equipment.refrigerant_cycle import condensing_temperature, evaporating_temperature
from ventcalc.equipment.refrigerant_map import performance, shipped_map
from ventcalc.equipment.refrigeration import part_load_factor

__all__ = ["AUXILIARIES", "PLANT_REFRIGERANTS", "UNNAMED", "Rating", "hourly_performance"]

UNNAMED = "unnamed"
"""For a plant whose refrigerant the bay file does not name."""
PLANT_REFRIGERANTS = (
    UNNAMED, "R717", "R290", "R1270", "R134a", "R32", "R1234yf", "R1234ze(E)", "R404A", "R407C",
    "R410A", "R507A",
)  # fmt: skip
"""Those with a map that ships, and none named."""
HIGHEST_EVAPORATING = 10.0
"""A valve holds the suction pressure below it; common practice, no source. [°C]"""
AUXILIARIES = 0.03
"""Condenser fans and pumps per cooling; common practice, no source. [W/W]"""
KELVIN = 273.15


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Rating:
    """What is known of a plant at its design point; numbers or arrays over bays."""

    refrigerant: str
    """One of ``PLANT_REFRIGERANTS``."""
    capacity: Any
    """Total cooling. [W]"""
    performance: Any
    """Cooling per electrical power of compressor and condenser. [1]"""
    surface: Any
    """Of the coil. [°C]"""
    outside_temperature: Any
    """At the condenser. [°C]"""


def hourly_performance(
    rating: Rating, *, surface: Any, outside_temperature: Any, heat: Any, ops: Ops
) -> Any:
    """
    Cooling per electrical power of an hour.

    Parameters
    ----------
    rating : Rating
        The plant at its design point.
    surface : array-like
        Coil surface now. [°C]
    outside_temperature : array-like
        At the condenser, up to 48. [°C]
    heat : array-like
        Mean cooling of the hour, at most the capacity. [W]
    ops : Ops
        Carrier.

    Returns
    -------
    array
        Performance. [1]

    Raises
    ------
    OutOfRange
        If coil or condenser leave the range of the map: a surface below -18, outside above 48.

    Notes
    -----
    The compressor's part of the rated performance changes with the ratio of two cycles, now and
    at the design point: those of the refrigerant's map or, where it is not named, of the ideal
    cycle between the same two temperatures; 0.03 W/W for condenser fans and pumps stay.
    Evaporating 2 K below the surface and at most 10 °C, condensing 12 K above outside and at
    least 20 °C (common practice, no source); at part load the plant switches on and off.
    """
    now = _cycle(rating.refrigerant, surface, outside_temperature, ops)
    design = _cycle(rating.refrigerant, rating.surface, rating.outside_temperature, ops)
    load = ops.minimum(heat / ops.maximum(rating.capacity, 1.0), 1.0)
    compressor = (1.0 / rating.performance - AUXILIARIES) * (design / now)
    return part_load_factor(load) / (compressor + AUXILIARIES)


def _cycle(refrigerant: str, surface: Any, outside_temperature: Any, ops: Ops) -> Any:
    evaporating = ops.minimum(evaporating_temperature(surface), HIGHEST_EVAPORATING)
    condensing = condensing_temperature(outside_temperature)
    if refrigerant == UNNAMED:
        return (evaporating + KELVIN) / (condensing - evaporating)
    return performance(shipped_map(refrigerant), evaporating, condensing)
