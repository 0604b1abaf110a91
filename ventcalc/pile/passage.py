"""How air passes a deep bed: heat transfer, natural draught, exchange of a layer in a step."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from ventcalc._ops import ARRAY, SCALAR, ops_for
from ventcalc.air.plain import AIR_HEAT, GAS_CONSTANT, air_density
from ventcalc.errors import check_range
from ventcalc.pile.state import Bed, Passage

__all__ = [
    "AIR_VISCOSITY",
    "conduction_parts",
    "heat_transfer_coefficient",
    "natural_velocity",
    "passage",
]

AIR_CONDUCTIVITY = 0.0245
AIR_VISCOSITY = 1.76e-5
"""Dynamic, air at about 5 to 8 °C (from memory, textbooks). [Pa s]"""
PRANDTL = 0.71
LEWIS = 0.87
GRAVITY = 9.81
MOST_CONDUCTION = 0.4
"""Conduction between neighbouring layers in a step, over what they hold, that stays stable. [1]"""
LEAST_VELOCITY = 1e-4
"""Air that still creeps through a pile in stable layers. [m/s]"""


def heat_transfer_coefficient(superficial_velocity: Any, tuber_diameter: Any, density: Any) -> Any:
    """
    Air-side heat transfer coefficient in a packed bed.

    Parameters
    ----------
    superficial_velocity : array-like
        Air velocity over the whole floor. [m/s]
    tuber_diameter : array-like
        Sphere diameter. [m]
    density : array-like
        Air density. [kg/m³]

    Returns
    -------
    array
        Per tuber surface. [W/(m² K)]

    Notes
    -----
    Nu = 2 + 1.1 Re^0.6 Pr^(1/3), Reynolds number 15-8500 on superficial velocity.

    References
    ----------
    .. [1] Wakao and Kaguei, Heat and Mass Transfer in Packed Beds, 1982 (from memory).
    """
    reynolds = superficial_velocity * tuber_diameter * density / AIR_VISCOSITY
    nusselt = 2.0 + 1.1 * reynolds**0.6 * PRANDTL ** (1.0 / 3.0)
    return nusselt * AIR_CONDUCTIVITY / tuber_diameter


def natural_velocity(
    bed: Bed, mean_temperature: Any, surrounding_temperature: Any, share: float = 0.06
) -> Any:
    """
    Air velocity that the warmth of the pile itself keeps up with the fans off.

    Parameters
    ----------
    bed : Bed
        The pile.
    mean_temperature : array-like
        Mean of the pile. [°C]
    surrounding_temperature : array-like
        Air around the pile. [°C]
    share : float
        Part of the free chimney flow that the closed floor and walls leave; the default
        reproduces the published excess of unventilated piles, 1.2-1.8 K per m. [1]

    Returns
    -------
    array
        Upward superficial velocity, at least 0.0001. [m/s]

    Notes
    -----
    Darcy flow under the chimney's own draught, permeability d² e³ / (150 (1-e)²)
    (Carman-Kozeny).
    """
    porosity = bed.porosity
    permeability = bed.tuber_diameter**2 * porosity**3 / (150.0 * (1.0 - porosity) ** 2)
    density = bed.pressure / (GAS_CONSTANT * (surrounding_temperature + 273.15))
    draught = density * GRAVITY / (surrounding_temperature + 273.15)
    excess = mean_temperature - surrounding_temperature
    free = permeability / AIR_VISCOSITY * draught * excess
    return ops_for(free).maximum(share * free, LEAST_VELOCITY)


def passage(bed: Bed, superficial_velocity: Any, step: float) -> Passage:
    """
    Exchange coefficients for a velocity and a time step.

    Parameters
    ----------
    bed : Bed
        The pile.
    superficial_velocity : float or array
        Air velocity over the whole floor, 0.00001 to 0.5. [m/s]
    step : float
        Time step. [s]

    Returns
    -------
    Passage
        Scalars, or arrays over bays.

    Raises
    ------
    OutOfRange
        If the velocity lies outside its range.

    Notes
    -----
    A layer of x transfer units is given the effectiveness x / (1 + x/2), which has the second
    moment of the true bed, so that a front spreads as it should (second order in the layer
    thickness). It is used up to x = 2. The tuber's own conduction adds d / (10 k).
    """
    check_range("superficial_velocity", superficial_velocity, 1e-5, 0.5, "m/s", "m³/h per m²?")
    minimum = ops_for(superficial_velocity, bed.height).minimum
    density = air_density(bed.pressure)
    mass_flow = superficial_velocity * density
    air_capacity = mass_flow * AIR_HEAT
    film = heat_transfer_coefficient(superficial_velocity, bed.tuber_diameter, density)
    inner = bed.tuber_diameter / (10.0 * bed.crop.tuber_conductivity)
    surface = bed.area_density * bed.thickness
    units = surface / (1.0 / film + inner) / air_capacity
    effectiveness = minimum(units / (1.0 + units / 2.0), 1.0)
    film_units = film * surface / air_capacity * LEWIS ** (-2.0 / 3.0)
    film_effectiveness = minimum(film_units / (1.0 + film_units / 2.0), 1.0)
    y = air_capacity * effectiveness * step / bed.heat_capacity
    half, whole = 0.5 + y / 6.0, 1.0 + 2.0 * y / 3.0 + y * y / 6.0
    weight = y * half / whole
    conduction = bed.conductivity / bed.thickness
    return Passage(
        step=step,
        mass_flow=mass_flow,
        air_capacity=air_capacity,
        effectiveness=effectiveness,
        film_effectiveness=film_effectiveness,
        weight=weight,
        carry=1.0 - effectiveness * (1.0 - weight),
        hold=effectiveness * (1.0 - weight),
        gain=weight / air_capacity,
        inverse=1.0 / effectiveness,
        reach=(1.0 - weight) * whole / half,
        conduction=conduction,
        conduction_parts=conduction_parts(bed, step),
    )


def conduction_parts(bed: Bed, step: Any) -> int:
    """
    Parts into which conduction between layers cuts a step to stay stable.

    Parameters
    ----------
    bed : Bed
        The pile.
    step : float
        Time step. [s]

    Returns
    -------
    int
        1 but for very thin layers or very long steps. [1]
    """
    stiffness = bed.conductivity / bed.thickness * step / bed.heat_capacity
    if ops_for(stiffness) in (SCALAR, ARRAY):
        return max(1, math.ceil(float(np.max(stiffness)) / MOST_CONDUCTION))
    # A traced bed is one for which this was 1 when it was a plain one.
    stiffness.require(0.0, MOST_CONDUCTION)
    return 1
