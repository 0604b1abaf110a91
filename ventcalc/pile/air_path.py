"""How air passes a deep bed: heat transfer, natural draught, exchange of a layer in a step."""

from __future__ import annotations

from typing import NamedTuple

from ventcalc.air.plain import AIR_HEAT, GAS_CONSTANT, KELVIN, VAPOUR_HEAT, air_density
from ventcalc.pile.layers import Bed

__all__ = [
    "AIR_VISCOSITY",
    "AirPath",
    "air_path",
    "heat_transfer_coefficient",
    "natural_velocity",
]

AIR_CONDUCTIVITY = 0.0245
"""Air at about 5 °C (from memory, textbooks). [W/(m K)]"""
AIR_VISCOSITY = 1.76e-5
"""Dynamic, air at about 5 to 8 °C (from memory, textbooks). [Pa s]"""
PRANDTL = 0.71
LEWIS = 0.87
GRAVITY = 9.81
"""[m/s²]"""
LEAST_VELOCITY = 1e-4
"""Air that still creeps through a pile in stable layers. [m/s]"""
DRAUGHT_SHARE = 0.06
"""
Part of the free chimney flow that closed floor and walls leave; reproduces the published excess of
unventilated piles, 1.2-1.8 K per m. [1]
"""


class AirPath(NamedTuple):
    """How air passes the bed at one velocity in one time step."""

    step: float
    """[s]"""
    mass_flow: float
    """Dry air. [kg/(m² s)]"""
    air_capacity: float
    """Of the air that enters, with its vapour. [W/(m² K)]"""
    effectiveness: float
    """Heat exchange of one layer. [1]"""
    film_effectiveness: float
    """Vapour exchange of one wet layer. [1]"""
    weight: float
    """Share of the way to equilibrium of the layer's mean over the step. [1]"""
    carry: float
    """What a layer leaves of the difference that enters it. [1]"""
    hold: float
    """Share of the layer's own temperature in the air that leaves it. [1]"""
    gain: float
    """Warming of the leaving air per heat source. [K m²/W]"""
    reach: float
    """Change over the step per change of the mean. [1]"""
    conduction: float
    """Between neighbouring layers. [W/(m² K)]"""


def heat_transfer_coefficient(
    superficial_velocity: float, tuber_diameter: float, density: float
) -> float:
    """
    Air-side heat transfer coefficient in a packed bed.

    Parameters
    ----------
    superficial_velocity : float
        Air velocity over the whole floor. [m/s]
    tuber_diameter : float
        Sphere diameter. [m]
    density : float
        Air density. [kg/m³]

    Returns
    -------
    float
        Per tuber surface. [W/(m² K)]

    Notes
    -----
    Nu = 2 + 1.1 Re^0.6 Pr^(1/3), Reynolds number 15-8500 on superficial velocity.

    References
    ----------
    .. [1] Wakao and Kaguei, Heat and Mass Transfer in Packed Beds, 1982 (from memory).
    """
    reynolds = superficial_velocity * tuber_diameter * density / AIR_VISCOSITY
    nusselt: float = 2.0 + 1.1 * reynolds**0.6 * PRANDTL ** (1.0 / 3.0)
    return nusselt * AIR_CONDUCTIVITY / tuber_diameter


def natural_velocity(bed: Bed, mean_temperature: float, surrounding_temperature: float) -> float:
    """
    Upward superficial velocity that the pile's own warmth keeps up with the fans off. [m/s]

    Darcy flow under the chimney's own draught, permeability d² e³ / (150 (1-e)²)
    (Carman-Kozeny), times ``DRAUGHT_SHARE``.
    """
    porosity = bed.porosity
    permeability = bed.tuber_diameter**2 * porosity**3 / (150.0 * (1.0 - porosity) ** 2)
    density = bed.pressure / (GAS_CONSTANT * (surrounding_temperature + KELVIN))
    draught = density * GRAVITY / (surrounding_temperature + KELVIN)
    excess = mean_temperature - surrounding_temperature
    free = permeability / AIR_VISCOSITY * draught * excess
    return max(DRAUGHT_SHARE * free, LEAST_VELOCITY)


def air_path(
    bed: Bed, superficial_velocity: float, step: float, humidity_ratio: float = 0.0
) -> AirPath:
    """
    Exchange coefficients for a velocity [m/s], a time step [s] and the entering air [kg/kg].

    A layer of x transfer units is given the effectiveness x / (1 + x/2), which has the second
    moment of the true bed, so that a front spreads as it should (second order in the layer
    thickness). It is used up to x = 2. The tuber's own conduction adds d / (10 k).
    """
    density = air_density(bed.pressure)
    mass_flow = superficial_velocity * density
    air_capacity = mass_flow * (AIR_HEAT + VAPOUR_HEAT * humidity_ratio)
    film = heat_transfer_coefficient(superficial_velocity, bed.tuber_diameter, density)
    inner = bed.tuber_diameter / (10.0 * bed.crop.tuber_conductivity)
    surface = bed.area_density * bed.thickness
    units = surface / (1.0 / film + inner) / air_capacity
    effectiveness = min(units / (1.0 + units / 2.0), 1.0)
    film_units = film * surface / (mass_flow * AIR_HEAT) * LEWIS ** (-2.0 / 3.0)
    y = air_capacity * effectiveness * step / bed.heat_capacity
    half, whole = 0.5 + y / 6.0, 1.0 + 2.0 * y / 3.0 + y * y / 6.0
    weight = y * half / whole
    return AirPath(
        step=step,
        mass_flow=mass_flow,
        air_capacity=air_capacity,
        effectiveness=effectiveness,
        film_effectiveness=min(film_units / (1.0 + film_units / 2.0), 1.0),
        weight=weight,
        carry=1.0 - effectiveness * (1.0 - weight),
        hold=effectiveness * (1.0 - weight),
        gain=weight / air_capacity,
        reach=(1.0 - weight) * whole / half,
        conduction=bed.conductivity / bed.thickness,
    )
