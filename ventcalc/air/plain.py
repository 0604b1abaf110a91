"""
Moist air of one state, as every hour of a store needs it: plain numbers in, plain numbers out.

``air`` is the truth about moist air. Plenum, pile and headspace exchange air every hour, and
there it matters more that enthalpy is linear and the same everywhere, so that balances close and
solutions are closed forms: a mixture with constant heats. Temperatures after mixing, heating and
humidifying differ from those of ``air`` by less than 0.03 K between -30 and 30 °C (one found from
an enthalpy of ``air`` by up to 0.1 K). Saturation is that of ``air``, by the same polynomials.

Humidity ratios and enthalpies are per kg of dry air. Nothing here checks its input: callers do,
once. NaN in gives NaN out. Polynomials are written out: a call would cost more than the sum.
"""

from __future__ import annotations

import math

from ventcalc.air.fit import (
    ENHANCEMENT,
    ENHANCEMENT_P,
    FREEZING_STEP,
    ICE,
    ICE_INVERSE,
    INVERSE_ENHANCEMENT,
    INVERSE_ENHANCEMENT_P,
    LOG_TRIPLE,
    MASS_RATIO,
    OFFSET,
    WATER,
    WATER_INVERSE,
)
from ventcalc.air.formula import humidity_of_vapour, vapour_pressure

__all__ = [
    "AIR_HEAT",
    "EVAPORATION",
    "FREEZING",
    "FUSION_HEAT",
    "GAS_CONSTANT",
    "ICE_HEAT",
    "KELVIN",
    "VAPOUR_HEAT",
    "WATER_HEAT",
    "air_density",
    "at_humidity",
    "dew_point",
    "dry_bulb",
    "enthalpy",
    "fog_heat",
    "humidified",
    "humidity_ratio",
    "log_saturation",
    "relative_humidity",
    "saturated",
    "saturation_slope",
    "split",
    "standard_pressure",
]

AIR_HEAT = 1006.0
"""Specific heat of dry air. [J/(kg K)]"""
VAPOUR_HEAT = 1860.0
"""Specific heat of water vapour. [J/(kg K)]"""
EVAPORATION = 2.5009e6
"""Heat of evaporation at 0 °C. [J/kg]"""
WATER_HEAT = 4186.0
"""Specific heat of water. [J/(kg K)]"""
GAS_CONSTANT = 287.05
"""Of dry air. [J/(kg K)]"""
ICE_HEAT = 2100.0
"""Specific heat of ice. [J/(kg K)]"""
FUSION_HEAT = 333_550.0
"""Heat of melting ice at 0 °C. [J/kg]"""
KELVIN = 273.15
"""0 °C. [K]"""
STORE_TEMPERATURE = 5.0
"""At which volume flows of a store become mass flows. [°C]"""
DRIEST = 1e-6
"""Humidity ratio below which a dew point means nothing. [kg/kg]"""
LARGEST_EXPONENT = 709.0
"""Of what is still a float."""
CLOSE, MOST_STEPS = 1e-10, 12
"""Step of Newton's after which none is needed; steps at most. [K, 1]"""
FREEZING = 0.01
"""Triple point of water: ice below, water above. [°C]"""
FREEZING_PLACE = FREEZING / (FREEZING + OFFSET)
WATER_SLOPE = (WATER[1], 2.0 * WATER[2], 3.0 * WATER[3], 4.0 * WATER[4])
ICE_SLOPE = (ICE[0], 2.0 * ICE[1], 3.0 * ICE[2], 4.0 * ICE[3], 5.0 * ICE[4])


def standard_pressure(altitude: float) -> float:
    """Air pressure at a height above sea level [m]; ASHRAE Fundamentals 2017, ch. 1, eq. 3. [Pa]"""
    pressure: float = 101325.0 * (1.0 - 2.25577e-5 * altitude) ** 5.2559
    return pressure


def air_density(pressure: float) -> float:
    """Density of dry air at 5 °C, by which volume flows become mass flows. [kg/m³]"""
    return pressure / (GAS_CONSTANT * (KELVIN + STORE_TEMPERATURE))


def enthalpy(temperature: float, humidity_ratio: float) -> float:
    """Of air and vapour, from dry air and liquid water at 0 °C. [J/kg]"""
    return AIR_HEAT * temperature + humidity_ratio * (EVAPORATION + VAPOUR_HEAT * temperature)


def dry_bulb(enthalpy: float, humidity_ratio: float) -> float:
    """Temperature of air and vapour of an enthalpy. [°C]"""
    return (enthalpy - EVAPORATION * humidity_ratio) / (AIR_HEAT + VAPOUR_HEAT * humidity_ratio)


def log_saturation(temperature: float, pressure: float) -> float:
    """
    Logarithm of the saturated vapour pressure in air. [ln Pa]

    Ice below freezing: the stable phase is the one with the lower vapour pressure, hence ``min``.
    """
    t, x = temperature, 1.0 - OFFSET / (temperature + OFFSET)
    c0, c1, c2, c3, c4 = WATER
    value = (((c4 * x + c3) * x + c2) * x + c1) * x + c0
    u = x - FREEZING_PLACE
    if u < 0.0:
        c0, c1, c2, c3, c4 = ICE
        below = u * ((((c4 * u + c3) * u + c2) * u + c1) * u + c0)
        value += min(below + FREEZING_STEP * pressure, 0.0)
    c0, c1, c2, c3, c4 = ENHANCEMENT
    value += (((c4 * t + c3) * t + c2) * t + c1) * t + c0
    c0, c1, c2, c3, c4 = ENHANCEMENT_P
    value += pressure * ((((c4 * t + c3) * t + c2) * t + c1) * t + c0)
    return value


def saturation_slope(temperature: float) -> float:
    """Derivative of ``log_saturation`` to temperature, to 0.1 % from -40 to 45 °C. [1/K]"""
    x = 1.0 - OFFSET / (temperature + OFFSET)
    rest = 1.0 - x
    c0, c1, c2, c3 = WATER_SLOPE
    value = ((c3 * x + c2) * x + c1) * x + c0
    u = x - FREEZING_PLACE
    if u < 0.0:
        c0, c1, c2, c3, c4 = ICE_SLOPE
        value += (((c4 * u + c3) * u + c2) * u + c1) * u + c0
    return value * (rest * rest / OFFSET)


def saturated(temperature: float, pressure: float) -> float:
    """Humidity ratio at saturation, as ``air.saturation_humidity_ratio``. [kg/kg]"""
    vapour = _exp(log_saturation(temperature, pressure))
    full: float = humidity_of_vapour(vapour, pressure)
    return full


def humidity_ratio(temperature: float, relative_humidity: float, pressure: float) -> float:
    """As ``air.humidity_ratio``. [kg/kg]"""
    vapour = relative_humidity * _exp(log_saturation(temperature, pressure))
    ratio: float = humidity_of_vapour(vapour, pressure)
    return ratio


def relative_humidity(temperature: float, humidity_ratio: float, pressure: float) -> float:
    """As ``air.relative_humidity``; above 1 where supersaturated. [0-1]"""
    vapour: float = vapour_pressure(humidity_ratio, pressure)
    return vapour * _exp(-log_saturation(temperature, pressure))


def _exp(x: float) -> float:
    """Infinite beyond the largest float, where Python's would raise and compiled code's not."""
    return math.inf if x > LARGEST_EXPONENT else math.exp(x)


def dew_point(humidity_ratio: float, pressure: float) -> float:
    """Dew or frost point, as ``air.dew_point``; drier than 1e-6 counts as 1e-6. [°C]"""
    vapour: float = vapour_pressure(max(humidity_ratio, DRIEST), pressure)
    if not vapour > 0.0:  # no pressure, or an unknown one
        return math.nan
    wanted = math.log(vapour)
    y = wanted - LOG_TRIPLE
    c0, c1, c2, c3 = INVERSE_ENHANCEMENT
    d0, d1, d2, d3 = INVERSE_ENHANCEMENT_P
    y -= ((c3 * y + c2) * y + c1) * y + c0 + pressure * (((d3 * y + d2) * y + d1) * y + d0)
    u = y - FREEZING_STEP * pressure
    c0, c1, c2, c3, c4 = WATER_INVERSE
    d0, d1, d2, d3, d4 = ICE_INVERSE
    water = (((c4 * y + c3) * y + c2) * y + c1) * y + c0
    x = max(water, (((d4 * u + d3) * u + d2) * u + d1) * u + d0)
    t = OFFSET * x / (1.0 - x)  # within 2 mK; one Newton step does the rest
    return t - (log_saturation(t, pressure) - wanted) / saturation_slope(t)


def fog_heat(temperature: float) -> float:
    """Enthalpy of fog: water above 0 °C, ice below. [J/kg of fog]"""
    if temperature >= 0.0:
        return WATER_HEAT * temperature
    return ICE_HEAT * temperature - FUSION_HEAT


def split(enthalpy: float, water: float, pressure: float) -> tuple[float, float, float]:
    """Temperature, vapour and fog of air whose enthalpy and water (both forms) are known."""
    dry = dry_bulb(enthalpy, water)
    if water <= saturated(dry, pressure):
        return dry, water, 0.0
    # Fog of water, of ice, or, where neither fits, freezing at 0 °C.
    t = _fog_temperature(enthalpy, water, pressure, dry, WATER_HEAT, 0.0)
    if t < 0.0:
        t = min(_fog_temperature(enthalpy, water, pressure, dry, ICE_HEAT, FUSION_HEAT), 0.0)
    full = saturated(t, pressure)
    return t, full, water - full


def _fog_temperature(
    h: float, water: float, pressure: float, start: float, heat: float, melting: float
) -> float:
    """Newton from the unsaturated temperature, which is too low; the curve is convex."""
    t = start
    for _ in range(MOST_STEPS):
        full = saturated(t, pressure)
        fog, carried = water - full, heat * t - melting
        rise = full * saturation_slope(t)
        slope = AIR_HEAT + VAPOUR_HEAT * full + rise * (EVAPORATION - carried) + heat * fog
        change = (enthalpy(t, full) + fog * carried - h) / slope
        t -= change
        if abs(change) < CLOSE:
            break
    return t


def at_humidity(saturated_humidity_ratio: float, relative_humidity: float) -> float:
    """
    Humidity ratio at a relative humidity. [kg/kg]

    A little below the product of the two, since it is the pressures that are in this ratio.
    """
    lacking = 1.0 - relative_humidity
    return (
        relative_humidity
        * saturated_humidity_ratio
        / (1.0 + lacking * saturated_humidity_ratio / MASS_RATIO)
    )


def humidified(
    temperature: float,
    humidity_ratio: float,
    pressure: float,
    relative_humidity: float,
    water_temperature: float,
) -> float:
    """
    Humidity ratio at which evaporating water brings air to a relative humidity above 0. [kg/kg]

    Below the entering one where the air is more humid than that.
    """
    h = enthalpy(temperature, humidity_ratio)
    added = WATER_HEAT * water_temperature
    out = humidity_ratio
    for _ in range(3):  # within 2e-7 from 70 % RH on, 3e-6 from bone-dry air
        t = dry_bulb(h + (out - humidity_ratio) * added, out)
        goal = at_humidity(saturated(t, pressure), relative_humidity)
        fall = (EVAPORATION + VAPOUR_HEAT * t - added) / (AIR_HEAT + VAPOUR_HEAT * out)
        out -= (out - goal) / (1.0 + goal * saturation_slope(t) * fall)
    return out
