"""
Walls and roof as the air inside feels them: transmittance, heat, surfaces, leaks.

Everything is a plain formula on floats or numpy arrays, so a season of hours goes through
in one call. Heat counts as positive when it warms the store. Sun and sky are in
`ventcalc.building.sky`, the floor in `ventcalc.building.ground`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product
from typing import Any

from ventcalc.errors import BadInput, check_range

__all__ = [
    "OUTSIDE_RESISTANCE",
    "SURFACE_RESISTANCE",
    "Layer",
    "bridged_u_value",
    "conductance",
    "heat_gain",
    "layer",
    "leakage_mass_flow",
    "surface_temperature",
    "u_value",
]

SURFACE_RESISTANCE = {"up": 0.10, "horizontal": 0.13, "down": 0.17}
"""Inside surface resistance by direction of heat flow, ISO 6946. [m² K/W]"""
OUTSIDE_RESISTANCE = 0.04
"""Outside surface resistance, ISO 6946. [m² K/W]"""


@dataclass(frozen=True, kw_only=True, slots=True)
class Layer:
    """One layer of a wall or roof; also an air gap or a foil, given by its resistances."""

    resistance: float
    """Thermal resistance. [m² K/W]"""
    vapour_thickness: float = 0.0
    """Thickness of still air that holds back as much vapour; 0 where it is not needed. [m]"""


def layer(*, thickness: float, conductivity: float, vapour_factor: float = 1.0) -> Layer:
    """
    A layer of one material.

    Parameters
    ----------
    thickness : float
        Thickness, above 0 to 5. [m]
    conductivity : float
        Thermal conductivity, 0.005 to 500. [W/(m K)]
    vapour_factor : float
        Vapour resistance over that of still air, 1 to 1e7. [1]

    Returns
    -------
    Layer
        Its thermal and vapour resistance.

    Raises
    ------
    OutOfRange
        If a value lies outside its range.
    """
    check_range("thickness", thickness, 1e-6, 5.0, "m", "millimetres?")
    check_range("conductivity", conductivity, 0.005, 500.0, "W/(m K)")
    check_range("vapour_factor", vapour_factor, 1.0, 1e7)
    return Layer(resistance=thickness / conductivity, vapour_thickness=thickness * vapour_factor)


def u_value(
    layers: Sequence[Layer],
    *,
    inside_resistance: float = SURFACE_RESISTANCE["horizontal"],
    outside_resistance: float = OUTSIDE_RESISTANCE,
) -> float:
    """
    Heat transmittance of plain layers one behind the other.

    Parameters
    ----------
    layers : sequence of Layer
        The layers, in either direction.
    inside_resistance, outside_resistance : float
        Surface resistances; see `SURFACE_RESISTANCE`. [m² K/W]

    Returns
    -------
    float
        Heat transmittance per area of wall or roof. [W/(m² K)]

    References
    ----------
    .. [1] ISO 6946, homogeneous layers.
    """
    inner = sum(part.resistance for part in layers)
    return 1.0 / (inside_resistance + inner + outside_resistance)


def bridged_u_value(
    planes: Sequence[Sequence[tuple[float, float]]],
    *,
    inside_resistance: float = SURFACE_RESISTANCE["horizontal"],
    outside_resistance: float = OUTSIDE_RESISTANCE,
) -> float:
    """
    Heat transmittance where a layer is bridged, as insulation is by studs.

    Parameters
    ----------
    planes : sequence of sequences of (share, resistance)
        For each layer the materials that share its area, shares summing to 1, with the
        resistance of each. [1] and [m² K/W]
    inside_resistance, outside_resistance : float
        Surface resistances; see `SURFACE_RESISTANCE`. [m² K/W]

    Returns
    -------
    float
        Heat transmittance per area of wall or roof. [W/(m² K)]

    Raises
    ------
    BadInput
        If the shares of a layer do not sum to 1.

    Notes
    -----
    Mean of the upper limit of resistance (no heat flows sideways) and the lower (each plane
    is at one temperature). ISO 6946 excludes insulation bridged by metal: for steel purlins
    take a calculated or measured factor.

    References
    ----------
    .. [1] ISO 6946, inhomogeneous layers, the combined method.
    """
    for number, plane in enumerate(planes, start=1):
        whole = sum(share for share, _ in plane)
        if not math.isclose(whole, 1.0, abs_tol=1e-6):
            raise BadInput(f"shares of layer {number} sum to {whole:g}; they must sum to 1")
    films = inside_resistance + outside_resistance
    through = 0.0
    for path in product(*planes):
        share = math.prod(part for part, _ in path)
        through += share / (films + sum(resistance for _, resistance in path))
    lower = films + sum(
        1.0 / sum(share / resistance for share, resistance in plane) for plane in planes
    )
    return 2.0 / (1.0 / through + lower)


def conductance(area: Any, u: Any, *, bridge_allowance: Any = 0.0) -> Any:
    """
    Heat flow through a wall or roof per kelvin.

    Parameters
    ----------
    area : array-like
        Area. [m²]
    u : array-like
        Heat transmittance. [W/(m² K)]
    bridge_allowance : array-like
        Part by which joints, purlins and edges raise the loss of the whole area, 0 to 3. [1]

    Returns
    -------
    array
        Heat flow per kelvin. [W/K]

    Raises
    ------
    OutOfRange
        If a value lies outside its range.
    """
    check_range("area", area, 0.0, 1e6, "m²")
    check_range("u", u, 0.0, 10.0, "W/(m² K)")
    check_range("bridge_allowance", bridge_allowance, 0.0, 3.0, "", "an allowance, not a factor")
    return area * u * (1.0 + bridge_allowance)


def heat_gain(conductance: Any, outside_temperature: Any, inside_temperature: Any) -> Any:
    """
    Heat that comes in by conduction, steady.

    Parameters
    ----------
    conductance : array-like
        Heat flow per kelvin. [W/K]
    outside_temperature : array-like
        Outside air; the sol-air temperature for a roof in sun or under a clear sky. [°C]
    inside_temperature : array-like
        Air inside. [°C]

    Returns
    -------
    array
        Heat into the store, negative when it loses heat. [W]
    """
    return conductance * (outside_temperature - inside_temperature)


def surface_temperature(
    inside_temperature: Any,
    outside_temperature: Any,
    u: Any,
    *,
    surface_resistance: Any = SURFACE_RESISTANCE["horizontal"],
) -> Any:
    """
    Inside surface of a wall or ceiling, steady.

    Parameters
    ----------
    inside_temperature : array-like
        Air inside. [°C]
    outside_temperature : array-like
        Outside air; the sol-air temperature for a roof in sun or under a clear sky. [°C]
    u : array-like
        Heat transmittance at the place. [W/(m² K)]
    surface_resistance : array-like
        Inside surface resistance; 0.25 behind goods or in still corners. [m² K/W]

    Returns
    -------
    array
        Temperature of the surface. [°C]

    Raises
    ------
    OutOfRange
        If ``u * surface_resistance`` lies outside 0 to 1: then they do not belong together.

    References
    ----------
    .. [1] ISO 13788 (temperature factor at the internal surface).
    """
    share = u * surface_resistance
    check_range("u * surface_resistance", share, 0.0, 1.0, "", "U contains this resistance")
    return inside_temperature - share * (inside_temperature - outside_temperature)


def leakage_mass_flow(volume: Any, air_changes: Any, specific_volume: Any) -> Any:
    """
    Dry air that leaks in, as much as leaks out.

    Parameters
    ----------
    volume : array-like
        Free air in the store: headspace, plenum and the voids of the pile. [m³]
    air_changes : array-like
        Changes of that air per time, 0 to 0.01 (36 per hour). [1/s]
    specific_volume : array-like
        Of the air inside, per dry air, 0.5 to 2. [m³/kg dry air]

    Returns
    -------
    array
        Dry air. [kg/s]

    Raises
    ------
    OutOfRange
        If a value lies outside its range.
    """
    check_range("volume", volume, 0.0, 1e7, "m³")
    check_range("air_changes", air_changes, 0.0, 0.01, "1/s", "per hour?")
    check_range("specific_volume", specific_volume, 0.5, 2.0, "m³/kg dry air", "a density?")
    return volume * air_changes / specific_volume
