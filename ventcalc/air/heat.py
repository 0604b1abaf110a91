"""Moist air: enthalpy, volume and density, and the pressure of the standard atmosphere."""

from __future__ import annotations

from typing import Any

from ventcalc.air import kernel, plain
from ventcalc.air.border import check, evaluate

__all__ = [
    "density",
    "enthalpy",
    "specific_volume",
    "standard_pressure",
    "temperature_from_enthalpy",
]


def enthalpy(temperature: Any, humidity_ratio: Any, pressure: Any) -> Any:
    """
    Enthalpy of moist air per kilogram of dry air.

    Parameters
    ----------
    temperature : array-like
        Dry-bulb temperature, -50 to 60. [°C]
    humidity_ratio : array-like
        Humidity ratio, as vapour. [kg/kg dry air]
    pressure : array-like
        Air pressure, 60 000 to 110 000. [Pa]

    Returns
    -------
    float or array
        Enthalpy: zero for dry air at 0 °C and for liquid water at 0.01 °C. [J/kg dry air]
    """
    check(temperature=temperature, humidity_ratio=humidity_ratio, pressure=pressure)
    return evaluate(kernel.enthalpy, temperature, humidity_ratio, pressure)


def temperature_from_enthalpy(enthalpy: Any, humidity_ratio: Any, pressure: Any) -> Any:
    """
    Dry-bulb temperature from enthalpy: the inverse of `enthalpy`.

    Parameters
    ----------
    enthalpy : array-like
        Enthalpy of moist air. [J/kg dry air]
    humidity_ratio : array-like
        Humidity ratio, as vapour. [kg/kg dry air]
    pressure : array-like
        Air pressure, 60 000 to 110 000. [Pa]

    Returns
    -------
    float or array
        Dry-bulb temperature. [°C]
    """
    check(enthalpy=enthalpy, humidity_ratio=humidity_ratio, pressure=pressure)
    return evaluate(
        kernel.temperature_from_enthalpy,
        enthalpy,
        humidity_ratio,
        pressure,
    )


def specific_volume(temperature: Any, humidity_ratio: Any, pressure: Any) -> Any:
    """
    Volume of moist air that holds a kilogram of dry air.

    Parameters
    ----------
    temperature : array-like
        Dry-bulb temperature, -50 to 60. [°C]
    humidity_ratio : array-like
        Humidity ratio. [kg/kg dry air]
    pressure : array-like
        Air pressure, 60 000 to 110 000. [Pa]

    Returns
    -------
    float or array
        Specific volume. [m³/kg dry air]
    """
    check(temperature=temperature, humidity_ratio=humidity_ratio, pressure=pressure)
    return evaluate(kernel.volume, temperature, humidity_ratio, pressure)


def density(temperature: Any, humidity_ratio: Any, pressure: Any) -> Any:
    """
    Density of moist air, dry air and vapour together.

    Parameters
    ----------
    temperature : array-like
        Dry-bulb temperature, -50 to 60. [°C]
    humidity_ratio : array-like
        Humidity ratio. [kg/kg dry air]
    pressure : array-like
        Air pressure, 60 000 to 110 000. [Pa]

    Returns
    -------
    float or array
        Density. [kg moist air/m³]
    """
    check(temperature=temperature, humidity_ratio=humidity_ratio, pressure=pressure)
    return evaluate(
        lambda t, w, p: (1.0 + w) / kernel.volume(t, w, p), temperature, humidity_ratio, pressure
    )


def standard_pressure(altitude: Any) -> Any:
    """
    Air pressure of the standard atmosphere.

    Parameters
    ----------
    altitude : array-like
        Height above sea level, -500 to 5000. [m]

    Returns
    -------
    float or array
        Pressure. [Pa]

    References
    ----------
    .. [1] ASHRAE Handbook - Fundamentals (2017), ch. 1, eq. 3.
    """
    check(altitude=altitude)
    return evaluate(plain.standard_pressure, altitude)
