"""Heat through a floor on the ground, steady and with the season."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from ventcalc.building.envelope import OUTSIDE_RESISTANCE, SURFACE_RESISTANCE
from ventcalc.errors import check_range

__all__ = [
    "SOILS",
    "Floor",
    "GroundResponse",
    "Soil",
    "ground_heat_gain",
    "ground_response",
    "ground_u_value",
]

YEAR = 3.15e7
"""As ISO 13370 rounds it. [s]"""


@dataclass(frozen=True, kw_only=True, slots=True)
class Soil:
    """The ground under the floor."""

    conductivity: float
    """[W/(m K)]"""
    heat_capacity: float
    """Per volume. [J/(m³ K)]"""


SOILS = {
    "clay": Soil(conductivity=1.5, heat_capacity=3.0e6),
    "sand": Soil(conductivity=2.0, heat_capacity=2.0e6),
    "rock": Soil(conductivity=3.5, heat_capacity=2.0e6),
}
"""ISO 13370, table of ground properties: clay or silt, sand or gravel, homogeneous rock.
The penetration depths printed with them (2.2, 3.2, 4.2 m) follow from these values."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Floor:
    """A slab on the ground; the numbers may be arrays."""

    area: Any
    """[m²]"""
    perimeter: Any
    """Edge towards the outside. [m]"""
    insulation: Any = 0.0
    """Resistance of the slab's insulation, all over. [m² K/W]"""
    wall_thickness: Any = 0.3
    """[m]"""
    soil: Soil = SOILS["sand"]


def _equivalent_thickness(floor: Floor) -> Any:
    check_range("area", floor.area, 1.0, 1e6, "m²")
    check_range("perimeter", floor.perimeter, 0.1, 1e4, "m")
    check_range("insulation", floor.insulation, 0.0, 20.0, "m² K/W")
    check_range("wall_thickness", floor.wall_thickness, 0.0, 2.0, "m", "millimetres?")
    films = SURFACE_RESISTANCE["down"] + OUTSIDE_RESISTANCE
    return floor.wall_thickness + floor.soil.conductivity * (films + floor.insulation)


def ground_u_value(floor: Floor) -> Any:
    """
    Steady heat transmittance of a slab on the ground, edge losses included.

    Parameters
    ----------
    floor : Floor
        The slab.

    Returns
    -------
    array
        Heat transmittance per area of floor, towards the yearly mean outside. [W/(m² K)]

    Raises
    ------
    OutOfRange
        If a value lies outside its range.

    References
    ----------
    .. [1] ISO 13370, slab on ground. From memory, checked against the published table of
       the Scottish building standards, annex 6.C.
    """
    depth = _equivalent_thickness(floor)
    width = 2.0 * floor.area / floor.perimeter
    soil = floor.soil.conductivity
    around = math.pi * width
    slab = 2.0 * soil / (around + depth) * np.log(around / depth + 1.0)
    return np.where(depth >= width, soil / (0.457 * width + depth), slab)[()]


@dataclass(frozen=True, kw_only=True, slots=True)
class GroundResponse:
    """What a floor lets through per kelvin, by what drives it."""

    steady: Any
    """Yearly mean outside less inside. [W/K]"""
    inner: Any
    """Inside above its own yearly mean; this heat is lost. [W/K]"""
    outer: Any
    """Outside above its yearly mean, a month later. [W/K]"""


def ground_response(floor: Floor) -> GroundResponse:
    """
    Conductances of a slab for the yearly mean and for the season inside and outside.

    Parameters
    ----------
    floor : Floor
        The slab.

    Returns
    -------
    GroundResponse
        For ``ground_heat_gain``, or for a loop that asks every hour.

    Raises
    ------
    OutOfRange
        If a value lies outside its range.

    References
    ----------
    .. [1] ISO 13370, annex on periodic heat flow.
    """
    depth = _equivalent_thickness(floor)
    soil = floor.soil
    penetration = math.sqrt(YEAR * soil.conductivity / (math.pi * soil.heat_capacity))
    ratio = penetration / depth
    share = np.sqrt(2.0 / ((1.0 + ratio) * (1.0 + ratio) + 1.0))
    return GroundResponse(
        steady=floor.area * ground_u_value(floor),
        inner=floor.area * soil.conductivity / depth * share,
        outer=0.37 * floor.perimeter * soil.conductivity * np.log(ratio + 1.0),
    )


def ground_heat_gain(
    floor: Floor,
    *,
    inside_temperature: Any,
    inside_mean: Any,
    outside_mean: Any,
    outside_swing: Any = 0.0,
    year_phase: Any = 0.0,
) -> Any:
    """
    Heat that comes in through the floor, yearly mean and season.

    Parameters
    ----------
    floor : Floor
        The slab.
    inside_temperature : array-like
        Air on the floor, as a mean over about a month. [°C]
    inside_mean : array-like
        The same over the year. [°C]
    outside_mean : array-like
        Outside air over the year. [°C]
    outside_swing : array-like
        Half the difference between the warmest and the coldest monthly mean. [K]
    year_phase : array-like
        Part of a year since the warmest day outside. [1]

    Returns
    -------
    array
        Heat into the store, negative when it loses heat. [W]

    Raises
    ------
    OutOfRange
        If a value lies outside its range.

    Notes
    -----
    For months and seasons, not for single hours. The ground answers the season outside one
    month late and the air inside at once. No ground water. The tests hold it against the heat
    equation in two dimensions: seasonal flow within 4 %, lag within half a month.

    References
    ----------
    .. [1] ISO 13370, annex on periodic heat flow; the lag of one month from memory.
    """
    check_range("outside_swing", outside_swing, 0.0, 40.0, "K")
    through = ground_response(floor)
    season = outside_swing * np.cos((year_phase - 1.0 / 12.0) * (2.0 * math.pi))
    return (
        through.steady * (outside_mean - inside_mean)
        - through.inner * (inside_temperature - inside_mean)
        + through.outer * season
    )
