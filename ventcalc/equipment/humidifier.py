"""
Humidifiers in the plenum: wetted pad and spray.

Both evaporate water with the heat of the air: the air gets damper and colder, along its
wet bulb. They cannot pass saturation, and what does not evaporate is carried into the pile or
drains. Free water on tubers invites rot: mind the carry-over. Standing water and spray can
spread bacteria that harm people (Legionella): clean, drain and treat as local rules ask.

Mass flows of air are of dry air, humidity ratios per kg of dry air.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from ventcalc import air
from ventcalc.air import process as air_process
from ventcalc.equipment._arrays import plain
from ventcalc.errors import check_range

__all__ = ["Humidified", "pad", "pad_effectiveness", "spray"]


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Humidified:
    """Air leaving a humidifier, the water it took and the way to freezing."""

    temperature: Any
    """[°C]"""
    humidity_ratio: Any
    """[kg/kg dry air]"""
    relative_humidity: Any
    """[0-1]"""
    effectiveness: Any
    """Humidity added over that to saturation. [0-1]"""
    approach: Any
    """Leaving dry bulb less entering wet bulb; with water warmer than that it stays. [K]"""
    evaporated: Any
    """[kg/s]"""
    carry_over: Any
    """Droplets that leave with the air; free water in the pile. [kg/s]"""
    drained: Any
    """Run-off and bleed. [kg/s]"""
    water_used: Any
    """Evaporated, carried over and drained. [kg/s]"""
    cooling: Any
    """Sensible heat that the air loses to evaporation. [W]"""
    freezing_margin: Any
    """Wet bulb entering above 0 °C: the water takes the wet bulb, not the dry bulb. [K]"""
    freezes: Any
    """Whether that margin is below the reserve, or unknown: shut off and drain."""


def pad(
    *,
    temperature: Any,
    humidity_ratio: Any,
    pressure: Any,
    mass_flow: Any,
    effectiveness: Any,
    cycles_of_concentration: float = 3.0,
    carry_over_share: Any = 0.0,
    freezing_reserve: float = 1.0,
) -> Humidified:
    """
    Air through a wetted pad with recirculated water.

    Parameters
    ----------
    temperature : array-like
        Dry bulb entering. [°C]
    humidity_ratio : array-like
        Humidity ratio entering. [kg/kg dry air]
    pressure : array-like
        Air pressure. [Pa]
    mass_flow : array-like
        Dry air. [kg/s]
    effectiveness : array-like
        Saturation effectiveness, from the maker or `pad_effectiveness`. [0-1]
    cycles_of_concentration : float
        Salts in the sump over those in the supply, above 1; sets the bleed. [1]
    carry_over_share : array-like
        Droplets carried off per water evaporated; none below about 2.5 m/s face velocity
        (common practice, no source). [0-1]
    freezing_reserve : float
        Wet bulb above 0 °C that is asked for (common practice, no source). [K]

    Returns
    -------
    Humidified
        As if the water did not freeze; ``freezes`` says where it would.

    Raises
    ------
    OutOfRange
        If a value is out of range.

    Notes
    -----
    Recirculated water settles at the wet bulb. Air of +3 °C and 50 % has a wet bulb below
    0 °C and ices a pad although a thermometer in the air shows no frost.
    """
    check_range("cycles_of_concentration", cycles_of_concentration, 1.05, 20.0)
    check_range("carry_over_share", carry_over_share, 0.0, 1.0, "", "percent?")
    evaporated = mass_flow * _room(temperature, humidity_ratio, pressure, None) * effectiveness
    return _leaving(
        temperature=temperature,
        humidity_ratio=humidity_ratio,
        pressure=pressure,
        mass_flow=mass_flow,
        effectiveness=effectiveness,
        water_temperature=None,
        carry_over=evaporated * carry_over_share,
        drained=evaporated / (cycles_of_concentration - 1.0),
        reserve=freezing_reserve,
    )


def spray(
    *,
    temperature: Any,
    humidity_ratio: Any,
    pressure: Any,
    mass_flow: Any,
    water_flow: Any,
    evaporated_share: Any = 0.8,
    most_effectiveness: Any = 0.95,
    carried_share: Any = 0.5,
    water_temperature: Any = 10.0,
    freezing_reserve: float = 1.0,
) -> Humidified:
    """
    Water sprayed into the air, used once.

    Parameters
    ----------
    temperature : array-like
        Dry bulb entering. [°C]
    humidity_ratio : array-like
        Humidity ratio entering. [kg/kg dry air]
    pressure : array-like
        Air pressure. [Pa]
    mass_flow : array-like
        Dry air, above zero. [kg/s]
    water_flow : array-like
        Water sprayed. [kg/s]
    evaporated_share : array-like
        Share that evaporates in time where the air has room; finer drops, more. Site value,
        no source. [0-1]
    most_effectiveness : array-like
        Part of the way to saturation that the spray can reach at most. [0-1]
    carried_share : array-like
        Of the water not evaporated, the share that goes with the air; the rest drains. [0-1]
    water_temperature : array-like
        Water sprayed, 0 to 60. [°C]
    freezing_reserve : float
        Wet bulb above 0 °C that is asked for (common practice, no source). [K]

    Returns
    -------
    Humidified
        Water balance exact: all water sprayed evaporates, is carried over or drains.

    Raises
    ------
    OutOfRange
        If a value is out of range.

    Notes
    -----
    Nearly saturated air takes little: more nozzles then only wet the pile. Small drops reach
    the wet bulb within a fraction of a second, so the freezing limit is that of a pad.
    """
    check_range("water_flow", water_flow, 0.0, 100.0, "kg/s", "per hour?")
    check_range("mass_flow", mass_flow, 1e-9, 1e5, "kg/s", "no air, no evaporation")
    for name, share in (
        ("evaporated_share", evaporated_share),
        ("most_effectiveness", most_effectiveness),
        ("carried_share", carried_share),
    ):
        check_range(name, share, 0.0, 1.0, "", "percent?")
    room = mass_flow * _room(temperature, humidity_ratio, pressure, water_temperature)
    evaporated = np.minimum(water_flow * evaporated_share, room * most_effectiveness)
    rest = water_flow - evaporated
    return _leaving(
        temperature=temperature,
        humidity_ratio=humidity_ratio,
        pressure=pressure,
        mass_flow=mass_flow,
        # In full air nothing evaporates, and any divisor will do.
        effectiveness=evaporated / np.where(room == 0.0, 1.0, room),
        water_temperature=water_temperature,
        carry_over=rest * carried_share,
        drained=rest * (1.0 - carried_share),
        reserve=freezing_reserve,
    )


def _room(temperature: Any, humidity_ratio: Any, pressure: Any, water_temperature: Any) -> Any:
    """Water that the air can take up to saturation; none if it is there. [kg/kg dry air]"""
    _, full = air_process.humidify_adiabatic(
        temperature,
        humidity_ratio,
        pressure,
        effectiveness=1.0,
        water_temperature=water_temperature,
    )
    return np.maximum(full - humidity_ratio, 0.0)


def _leaving(
    *,
    temperature: Any,
    humidity_ratio: Any,
    pressure: Any,
    mass_flow: Any,
    effectiveness: Any,
    water_temperature: Any,
    carry_over: Any,
    drained: Any,
    reserve: float,
) -> Humidified:
    """The air after the evaporation, with the water accounts that the caller has made."""
    leaving, water = air_process.humidify_adiabatic(
        temperature,
        humidity_ratio,
        pressure,
        effectiveness=effectiveness,
        water_temperature=water_temperature,
    )
    wet_bulb = air.wet_bulb(temperature, humidity_ratio, pressure)
    warm = air.enthalpy(temperature, humidity_ratio, pressure)
    evaporated = mass_flow * (water - humidity_ratio)
    return Humidified(
        temperature=leaving,
        humidity_ratio=water,
        relative_humidity=air.relative_humidity(leaving, water, pressure),
        effectiveness=effectiveness,
        approach=leaving - wet_bulb,
        evaporated=evaporated,
        carry_over=carry_over,
        drained=drained,
        water_used=evaporated + carry_over + drained,
        cooling=mass_flow * (warm - air.enthalpy(leaving, humidity_ratio, pressure)),
        freezing_margin=wet_bulb,
        freezes=plain(np.logical_not(wet_bulb >= reserve)),
    )


def pad_effectiveness(
    face_velocity: Any,
    *,
    rated_effectiveness: Any,
    rated_velocity: Any,
    exponent: float = 0.35,
) -> Any:
    """
    Saturation effectiveness of a pad at another face velocity.

    Parameters
    ----------
    face_velocity : array-like
        Airflow over pad area, above 0 to 5. [m/s]
    rated_effectiveness : array-like
        At the rated velocity, 0-0.999. [0-1]
    rated_velocity : array-like
        Face velocity of the rating. [m/s]
    exponent : float
        The transfer units fall with velocity to this power; 0.2-0.5 by pad (from memory, low
        confidence): take it from two points of the maker's curve. [1]

    Returns
    -------
    array
        Effectiveness 1 - exp(-NTU). [0-1]

    Raises
    ------
    OutOfRange
        If a value is out of range.
    """
    check_range("face_velocity", face_velocity, 0.05, 5.0, "m/s", "ft/min?")
    check_range("rated_velocity", rated_velocity, 0.05, 5.0, "m/s", "ft/min?")
    check_range("rated_effectiveness", rated_effectiveness, 0.0, 0.999, "", "percent?")
    check_range("exponent", exponent, 0.0, 1.0)
    untouched = 1.0 - rated_effectiveness
    return 1.0 - untouched ** ((rated_velocity / face_velocity) ** exponent)
