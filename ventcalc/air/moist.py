"""
Moist air: saturation, humidity, dew point, wet bulb, enthalpy and volume at any pressure.

Real-gas properties at the speed of polynomials: the coefficients are fitted to the ASHRAE
RP-1485 model as CoolProp computes it. Humidity ratio, enthalpy and specific volume are per
kilogram of *dry* air. Pressure is always explicit.

Range: -50 to 60 °C, 60 to 110 kPa, up to 0.1 kg/kg. Against CoolProp over -30 to 45 °C, 1 to
100 % and 75 to 101 kPa: humidity ratio 3e-5 relative, dew point 0.9 mK, wet bulb 0.4 mK,
enthalpy 0.4 J/kg, volume 9e-6 relative. Worse outside (in humidity ratio 3e-4 at 60 °C, in frost
points below -65 °C 2 mK) and between 0.00 and 0.01 °C (1.1e-4; 1.5 mK), where CoolProp steps
from ice to water and this does not. Enthalpy is zero for dry air at 0 °C and 1 atm and for liquid
water at the triple point.
"""

from __future__ import annotations

from typing import Any

from ventcalc.air import fit, kernel
from ventcalc.air.border import check, evaluate

__all__ = [
    "FREEZING",
    "MASS_RATIO",
    "dew_point",
    "enhancement_factor",
    "humidity_ratio",
    "humidity_ratio_from_wet_bulb",
    "relative_humidity",
    "relative_humidity_over_ice",
    "saturation_humidity_ratio",
    "saturation_pressure",
    "vapour_pressure",
    "wet_bulb",
]

FREEZING = kernel.FREEZING
"""Triple point of water: ice below, water above. [°C]"""
MASS_RATIO = fit.MASS_RATIO
"""Molar mass of water over that of dry air. [-]"""


def saturation_pressure(temperature: Any) -> Any:
    """
    Saturation pressure of pure water vapour, over ice below 0.01 °C and over water above.

    Parameters
    ----------
    temperature : array-like
        Temperature, -75 to 60. [°C]

    Returns
    -------
    float or array
        Saturation pressure, without the effect of air (see `enhancement_factor`). [Pa]

    Raises
    ------
    OutOfRange
        If ``temperature`` lies outside -75 to 60 °C.

    Notes
    -----
    Within 1e-5 relative of IAPWS-IF97 above and of IAPWS R14-08 down to -60 °C below 0.01 °C.

    References
    ----------
    .. [1] IAPWS R7-97(2012), Industrial Formulation 1997 for water and steam, eq. 30.
    .. [2] IAPWS R14-08(2011), Pressure along the melting and sublimation curves, eq. 6.
    """
    check(saturated_temperature=temperature)
    return evaluate(kernel.saturation_pressure, temperature)


def enhancement_factor(temperature: Any, pressure: Any) -> Any:
    """
    Saturated vapour pressure in air over that of pure water vapour at the same temperature.

    Parameters
    ----------
    temperature : array-like
        Temperature, -75 to 60. [°C]
    pressure : array-like
        Air pressure, 60 000 to 110 000. [Pa]

    Returns
    -------
    float or array
        Enhancement factor, 1.003 to 1.008. [-]

    Notes
    -----
    Ice and water have equal vapour pressure at the freezing point in air (0.00 °C at 1 atm).
    The factor therefore bends between there and the triple point, 0.01 K higher.

    References
    ----------
    .. [1] Herrmann, Kretzschmar, Gatley, HVAC&R Research 15 (2009) 961 (ASHRAE RP-1485).
    """
    check(saturated_temperature=temperature, pressure=pressure)
    return evaluate(kernel.enhancement_factor, temperature, pressure)


def saturation_humidity_ratio(temperature: Any, pressure: Any) -> Any:
    """
    Humidity ratio of saturated air, over ice below freezing.

    Parameters
    ----------
    temperature : array-like
        Temperature, -75 to 60. [°C]
    pressure : array-like
        Air pressure, 60 000 to 110 000. [Pa]

    Returns
    -------
    float or array
        Humidity ratio at saturation. [kg/kg dry air]
    """
    check(saturated_temperature=temperature, pressure=pressure)
    return evaluate(kernel.saturated, temperature, pressure)


def humidity_ratio(temperature: Any, relative_humidity: Any, pressure: Any) -> Any:
    """
    Humidity ratio from relative humidity.

    Parameters
    ----------
    temperature : array-like
        Dry-bulb temperature, -50 to 60. [°C]
    relative_humidity : array-like
        Vapour pressure over that of saturated air, over ice below freezing. [0-1]
    pressure : array-like
        Air pressure, 60 000 to 110 000. [Pa]

    Returns
    -------
    float or array
        Humidity ratio. [kg/kg dry air]

    Raises
    ------
    OutOfRange
        If an input lies outside its range (a percentage, perhaps).
    """
    check(temperature=temperature, relative_humidity=relative_humidity, pressure=pressure)
    return evaluate(kernel.humidity_ratio, temperature, relative_humidity, pressure)


def humidity_ratio_from_wet_bulb(temperature: Any, wet_bulb: Any, pressure: Any) -> Any:
    """
    Humidity ratio from dry and wet bulb.

    Parameters
    ----------
    temperature : array-like
        Dry-bulb temperature, -50 to 60. [°C]
    wet_bulb : array-like
        Thermodynamic wet bulb, of ice below 0.01 and of water from there on. [°C]
    pressure : array-like
        Air pressure, 60 000 to 110 000. [Pa]

    Returns
    -------
    float or array
        Humidity ratio; negative where no air can have so low a wet bulb. [kg/kg dry air]
    """
    check(temperature=temperature, wet_bulb=wet_bulb, pressure=pressure)
    return evaluate(kernel.humidity_ratio_from_wet_bulb, temperature, wet_bulb, pressure)


def relative_humidity(temperature: Any, humidity_ratio: Any, pressure: Any) -> Any:
    """
    Relative humidity from humidity ratio, over ice below freezing.

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
        Relative humidity; above 1 for supersaturated input, which is not clamped. [0-1]
    """
    check(temperature=temperature, humidity_ratio=humidity_ratio, pressure=pressure)
    return evaluate(kernel.relative_humidity, temperature, humidity_ratio, pressure)


def relative_humidity_over_ice(temperature: Any, relative_humidity_over_water: Any) -> Any:
    """
    Relative humidity over ice from one over supercooled water, as many probes report below 0 °C.

    Parameters
    ----------
    temperature : array-like
        Temperature, -50 to 60; from 0.01 up nothing changes. [°C]
    relative_humidity_over_water : array-like
        Relative humidity with water as the reference at every temperature. [0-1]

    Returns
    -------
    float or array
        Relative humidity over ice; may exceed 1. [0-1]

    References
    ----------
    .. [1] Murphy and Koop, Q. J. R. Meteorol. Soc. 131 (2005) 1539, eq. 10 (supercooled water).
    """
    check(temperature=temperature, relative_humidity=relative_humidity_over_water)
    return evaluate(kernel.over_ice, temperature, relative_humidity_over_water)


def vapour_pressure(humidity_ratio: Any, pressure: Any) -> Any:
    """
    Partial pressure of water vapour: its mole fraction times the air pressure.

    Parameters
    ----------
    humidity_ratio : array-like
        Humidity ratio. [kg/kg dry air]
    pressure : array-like
        Air pressure, 60 000 to 110 000. [Pa]

    Returns
    -------
    float or array
        Vapour pressure. [Pa]
    """
    check(humidity_ratio=humidity_ratio, pressure=pressure)
    return evaluate(kernel.vapour_pressure, humidity_ratio, pressure)


def dew_point(humidity_ratio: Any, pressure: Any) -> Any:
    """
    Dew point; frost point below freezing.

    Parameters
    ----------
    humidity_ratio : array-like
        Humidity ratio, 1e-6 to 0.1. [kg/kg dry air]
    pressure : array-like
        Air pressure, 60 000 to 110 000. [Pa]

    Returns
    -------
    float or array
        Temperature at which air of this humidity ratio is saturated. [°C]

    Raises
    ------
    OutOfRange
        If an input lies outside its range; dry air has no dew point.
    """
    check(moisture=humidity_ratio, pressure=pressure)
    return evaluate(kernel.dew_point, humidity_ratio, pressure)


def wet_bulb(temperature: Any, humidity_ratio: Any, pressure: Any) -> Any:
    """
    Thermodynamic wet bulb.

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
        Wet bulb; above ``temperature`` for supersaturated input. [°C]

    Notes
    -----
    Near 0 °C a wick of water and one of ice can both be in balance, at temperatures up to
    0.8 K apart. The convention here: the wick is water as long as the balance over water lies
    at 0.01 °C or above, otherwise ice. The wet bulb therefore jumps from 0.01 °C to a value
    below it as the air gets colder or drier. In supersaturated air close to 0 °C, where fog
    would be half frozen, the wick counts as ice even a little above 0.01 °C.
    """
    check(temperature=temperature, humidity_ratio=humidity_ratio, pressure=pressure)
    return evaluate(kernel.wet_bulb, temperature, humidity_ratio, pressure)
