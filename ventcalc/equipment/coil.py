"""
The cooling coil as the air sees it: what it takes out, how dry it leaves the air, frost.

A surface above the dew point takes no water: at 8 °C and 95 % that is the first 0.75 K of
difference. Beyond it the water taken per heat rises steeply and levels off at about 4 K, so
only a coil of 1 to 2 K really spares the crop; a narrow one is large and dear to buy.

Mass flows are of dry air, humidity ratios per kg of dry air.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from ventcalc import air
from ventcalc.air import process as air_process
from ventcalc.equipment.defrost import COLDEST
from ventcalc.errors import BadInput, check_range

__all__ = [
    "CoilAir",
    "bypass_factor",
    "coil",
    "coil_surface",
]


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class CoilAir:
    """Air leaving a coil, and what the coil took from it."""

    temperature: Any
    """[°C]"""
    humidity_ratio: Any
    """Vapour only. [kg/kg dry air]"""
    fog: Any
    """Droplets or ice carried along by nearly saturated air. [kg/kg dry air]"""
    relative_humidity: Any
    """[0-1]"""
    surface_temperature: Any
    """[°C]"""
    total_heat: Any
    """[W]"""
    sensible_heat: Any
    """[W]"""
    latent_heat: Any
    """[W]"""
    condensate: Any
    """Water or frost left on the coil; it comes from the crop in the end. [kg/s]"""
    frost: Any
    """The part of it that freezes: all of it below 0 °C, else none. [kg/s]"""


def coil(
    *,
    temperature: Any,
    humidity_ratio: Any,
    pressure: Any,
    mass_flow: Any,
    temperature_difference: Any,
    bypass_factor: Any = 0.2,
) -> CoilAir:
    """
    Air over a coil whose surface lies a given difference below the air entering.

    Parameters
    ----------
    temperature : array-like
        Dry bulb entering. [°C]
    humidity_ratio : array-like
        Humidity ratio entering. [kg/kg dry air]
    pressure : array-like
        Air pressure. [Pa]
    mass_flow : array-like
        Dry air over the coil. [kg/s]
    temperature_difference : array-like
        Entering air less coil surface, 0-25. [K]
    bypass_factor : array-like
        Share of the air that misses the surface, see `bypass_factor`. [0-1]

    Returns
    -------
    CoilAir
        Heat and water balances close to round-off.

    Raises
    ------
    OutOfRange
        If the difference is negative or beyond 25 K, or air is out of range.

    Notes
    -----
    Frost forms only where the surface is below both 0 °C and the frost point of the air. Air
    of 95 % and more may leave with fog: the line to the surface state crosses saturation.
    """
    check_range("temperature_difference", temperature_difference, 0.0, 25.0, "K", "in °F?")
    check_range("mass_flow", mass_flow, 0.0, 1e5, "kg/s")
    surface = temperature - temperature_difference
    leaving, water, condensed, total, sensible = air_process.cool_coil(
        temperature,
        humidity_ratio,
        pressure,
        surface_temperature=surface,
        bypass_factor=bypass_factor,
    )
    humidity = air.relative_humidity(leaving, water, pressure)
    fog = 0.0 * water
    if np.any(humidity > 1.0):
        left = air_process.saturated_split(air.enthalpy(leaving, water, pressure), water, pressure)
        leaving, water, fog = left.temperature, left.humidity_ratio, left.liquid
        humidity = air.relative_humidity(leaving, water, pressure)
    condensate = condensed * mass_flow
    return CoilAir(
        temperature=leaving,
        humidity_ratio=water,
        fog=fog,
        relative_humidity=humidity,
        surface_temperature=surface,
        total_heat=total * mass_flow,
        sensible_heat=sensible * mass_flow,
        latent_heat=(total - sensible) * mass_flow,
        condensate=condensate,
        frost=np.where(surface < air.FREEZING, condensate, 0.0 * condensate)[()],
    )


def coil_surface(
    *,
    temperature: Any,
    humidity_ratio: Any,
    pressure: Any,
    mass_flow: Any,
    heat: Any,
    bypass_factor: Any = 0.2,
) -> Any:
    """
    Surface temperature at which a coil takes a given total heat from the air.

    Parameters
    ----------
    temperature : array-like
        Dry bulb entering. [°C]
    humidity_ratio : array-like
        Humidity ratio entering. [kg/kg dry air]
    pressure : array-like
        Air pressure. [Pa]
    mass_flow : array-like
        Dry air over the coil, above zero. [kg/s]
    heat : array-like
        Total heat to take, not negative. [W]
    bypass_factor : array-like
        Share of the air that misses the surface. [0-1]

    Returns
    -------
    array
        Surface temperature; 0.01 °C where the heat lies in the gap that freezing the
        condensate leaves there. [°C]

    Raises
    ------
    BadInput
        If the air cannot give so much heat to a surface of -45 °C.
    OutOfRange
        If the heat is negative or the flow zero.
    """
    check_range("heat", heat, 0.0, 1e8, "W", "kW or ton of refrigeration?")
    check_range("mass_flow", mass_flow, 1e-9, 1e5, "kg/s", "no air, no heat")

    def surplus(surface: Any) -> Any:
        total = air_process.cool_coil(
            temperature, humidity_ratio, pressure,
            surface_temperature=surface, bypass_factor=bypass_factor,
        )[3]  # fmt: skip
        return total * mass_flow - heat

    coldest = 0.0 * (surplus(COLDEST) + temperature) + COLDEST
    if np.any(surplus(coldest) < 0.0):
        raise BadInput(
            f"heat: more than this air can give to a coil at {COLDEST:g} °C; more air or less heat"
        )
    return _falling_zero(surplus, coldest, temperature + 0.0 * coldest)


def _falling_zero(function: Callable[[Any], Any], low: Any, high: Any) -> Any:
    """Zero of a falling function, which may jump, by bisection: to 1e-12 of a span."""
    for _ in range(48):
        middle = 0.5 * (low + high)
        above = function(middle) > 0.0
        low, high = np.where(above, middle, low), np.where(above, high, middle)
    return 0.5 * (low + high)


def bypass_factor(conductance: Any, mass_flow: Any, specific_heat: float = 1010.0) -> Any:
    """
    Share of the air that passes a coil as if untouched.

    Parameters
    ----------
    conductance : array-like
        Air-side conductance UA of the coil. [W/K]
    mass_flow : array-like
        Dry air, above zero. [kg/s]
    specific_heat : float
        Of moist air, per dry air. [J/(kg K)]

    Returns
    -------
    array
        exp(-UA/(m c)): 1 less the effectiveness of a surface of one temperature. [0-1]

    Raises
    ------
    OutOfRange
        If a value is negative.
    """
    check_range("conductance", conductance, 0.0, 1e8, "W/K")
    check_range("mass_flow", mass_flow, 1e-9, 1e5, "kg/s", "no air, no bypass")
    return np.exp(-conductance / (mass_flow * specific_heat))
