"""Potatoes as a store sees them: heat of respiration, CO2, curing, water loss."""

from __future__ import annotations

import math
from typing import Any

from ventcalc.air.broadcast import elementwise
from ventcalc.errors import check_range
from ventcalc.pile.crop_data import Crop, crop_for, crop_sources, other_crop

__all__ = [
    "CO2_DENSITY",
    "CO2_OUTSIDE",
    "Crop",
    "co2_rate",
    "crop_for",
    "crop_sources",
    "curing_rate",
    "dry_matter_rate",
    "metabolic_water_rate",
    "other_crop",
    "respiration_heat",
    "transpiration_coefficient",
]

DRY_MATTER_PER_CO2 = 180.16 / 264.06
"""Glucose burned per CO2 given off, C6H12O6 + 6 O2 -> 6 CO2 + 6 H2O. [kg/kg]"""
CO2_OUTSIDE = 420e-6
"""Volume fraction outside, near 2023. [1]"""
CO2_DENSITY = 1.95
"""At about 5 °C and 101 325 Pa. [kg/m³]"""
FAILING, DYING, DEAD = 30.0, 35.0, 45.0
"""
Respiration rises no further, falls, and has ended; what rots is not modelled. Common practice,
no source. [°C]
"""
HEALS_NO_FASTER = 20.0
"""Healing is said to gain nothing above it (common practice, no source). [°C]"""
WATER_PER_CO2 = 108.09 / 264.06
"""Water formed in the tuber per CO2 given off. [kg/kg]"""
WATER_PER_DRY_MATTER = WATER_PER_CO2 / DRY_MATTER_PER_CO2
CARBON_PER_DRY_MATTER = 72.066 / 180.16
"""Carbon that leaves as CO2 per glucose burned; the rest of it stays as water. [kg/kg]"""


def temperature_factor(temperature: float, crop: Crop) -> float:
    """
    Respiration at a pulp temperature [°C] over that at the temperature of least respiration. [1]

    1 + (dT / doubling)³, from there on along the tangent: twice the least 10 K above it, as the
    published Q10 of about 2 asks, and within 6 % of the least at every holding temperature, for
    which the settled rate is published without one. Rising again in the cold, where no numbers
    are published: the rise below 3 °C is called dramatic; this one is 7 % there, 37 % at 0 °C.
    Held constant above 30 °C, where tubers fail, and falling to nothing from 35 to 45 °C, where
    they die (common practice, no source).
    """
    fails = temperature > FAILING
    warm = FAILING if fails else temperature
    away = abs(warm - crop.respiration_least_at) / crop.respiration_doubling
    factor = 1.0 + (away * away * away if away < 1.0 else 3.0 * away - 2.0)
    if fails:
        factor *= min(max((DEAD - temperature) * (1.0 / (DEAD - DYING)), 0.0), 1.0)
    return factor


def respiration_heat(
    temperature: Any, age: Any, crop: Crop, maturity: str | float = "mature"
) -> Any:
    """
    Heat of respiration per mass of crop, by temperature and age.

    Parameters
    ----------
    temperature : array-like
        Pulp temperature, -5 to 45. [°C]
    age : array-like
        Time since harvest, not negative. [s]
    crop : Crop
        The crop.
    maturity : str or float
        ``mature`` or ``immature`` at harvest, or the part of the mass that was immature.

    Returns
    -------
    array
        Heat per kg of crop. [W/kg]

    Raises
    ------
    OutOfRange
        If a value lies outside its range.

    Notes
    -----
    Age matters as much as temperature: potatoes give off about 43 W/t when fresh and
    8.65-14.4 W/t once settled, so a correlation on temperature alone that tracks immature
    tubers is several times too high in mid-season. The excess of the fresh crop decays
    exponentially with ``respiration_settling_time``. Sprouting is not modelled.

    References
    ----------
    .. [1] Storage of ware potatoes in permanent buildings II, J. Agric. Sci. (Cambridge),
       abstract: 150, 30-50 and 250 Btu per long ton and hour.
    """
    check_range("temperature", temperature, -5.0, 45.0, "°C", "kelvin or °F?")
    check_range("age", age, 0.0, 1e9, "s")
    fresh = fresh_respiration(crop, maturity)

    def heat(temperature: float, age: float) -> float:
        factor = temperature_factor(temperature, crop) * age_factor(age, crop, fresh)
        return crop.respiration_settled * factor

    return elementwise(heat, temperature, age)


def fresh_respiration(crop: Crop, maturity: str | float) -> float:
    """Heat of respiration just dug, at ``respiration_fresh_at``; of lots, their mean. [W/kg]"""
    immature = float(maturity == "immature") if isinstance(maturity, str) else maturity
    return (1.0 - immature) * crop.respiration_fresh + immature * crop.respiration_immature


def age_factor(age: float, crop: Crop, fresh: float) -> float:
    """Respiration at an age [s] over the settled, of a crop that gave ``fresh`` [W/kg]. [1]"""
    reference = crop.respiration_settled * temperature_factor(crop.respiration_fresh_at, crop)
    return 1.0 + (fresh / reference - 1.0) * math.exp(-age / crop.respiration_settling_time)


def co2_rate(heat: Any, crop: Crop) -> Any:
    """
    CO2 given off with a heat of respiration.

    Parameters
    ----------
    heat : array-like
        Heat of respiration, per any mass of crop. [W/kg]
    crop : Crop
        The crop.

    Returns
    -------
    array
        CO2 per the same mass. [kg/(kg s)]

    References
    ----------
    .. [1] Stoichiometry of glucose oxidation, 2816 kJ per 264 g CO2: 10.7 J/mg.
    """
    return heat / crop.heat_per_co2


def dry_matter_rate(heat: Any, crop: Crop) -> Any:
    """
    Dry matter burned with a heat of respiration.

    Parameters
    ----------
    heat : array-like
        Heat of respiration, per any mass of crop. [W/kg]
    crop : Crop
        The crop.

    Returns
    -------
    array
        Glucose burned per the same mass. [kg/(kg s)]
    """
    return heat * (DRY_MATTER_PER_CO2 / crop.heat_per_co2)


def metabolic_water_rate(heat: Any, crop: Crop) -> Any:
    """
    Water formed in the tuber by respiration; it stays there until it transpires.

    Parameters
    ----------
    heat : array-like
        Heat of respiration, per any mass of crop. [W/kg]
    crop : Crop
        The crop.

    Returns
    -------
    array
        Water per the same mass. [kg/(kg s)]
    """
    return heat * (WATER_PER_CO2 / crop.heat_per_co2)


def curing_rate(temperature: Any, crop: Crop) -> Any:
    """
    Speed of wound healing over that at the reference temperature.

    Parameters
    ----------
    temperature : array-like
        Pulp temperature, -5 to 45. [°C]
    crop : Crop
        The crop.

    Returns
    -------
    array
        1 at ``curing_reference`` (12.8 °C); not higher than at 20 °C. [1]

    Raises
    ------
    OutOfRange
        If the temperature lies outside -5 to 45.

    Notes
    -----
    Doubles every ``curing_doubling`` kelvin, held constant above 20 °C, where healing
    is said not to gain any more (common practice, no source).
    """
    check_range("temperature", temperature, -5.0, 45.0, "°C", "kelvin or °F?")
    return elementwise(lambda t: healing_factor(t, crop), temperature)


def healing_factor(temperature: float, crop: Crop) -> float:
    """``curing_rate`` of one temperature, unchecked. [1]"""
    warm = min(temperature, HEALS_NO_FASTER) - crop.curing_reference
    return math.exp(warm * (math.log(2.0) / crop.curing_doubling))


def transpiration_coefficient(curing: Any, crop: Crop) -> Any:
    """
    Water lost through the skin per mass of crop, time and vapour pressure difference.

    Parameters
    ----------
    curing : array-like
        Healing done, as time at the reference temperature, not negative. [s]
    crop : Crop
        The crop.

    Returns
    -------
    array
        Falls from the uncured to the cured value. [kg/(kg s Pa)]

    Raises
    ------
    OutOfRange
        If the healing done is negative.

    References
    ----------
    .. [1] ASHRAE Refrigeration, transpiration coefficients (values from memory): Kennebec
       171 and 60, Sebago 158 and 38 ng/(kg s Pa), uncured and cured.
    """
    check_range("curing", curing, 0.0, 1e12, "s")
    return elementwise(lambda healed: skin_transpiration(healed, crop), curing)


def skin_transpiration(curing: float, crop: Crop) -> float:
    """``transpiration_coefficient`` of one skin, unchecked. [kg/(kg s Pa)]"""
    open_skin = crop.transpiration_uncured - crop.transpiration_cured
    return crop.transpiration_cured + open_skin * math.exp(-curing / crop.curing_time)
