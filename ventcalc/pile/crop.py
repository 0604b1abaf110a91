"""Potatoes as a store sees them: heat of respiration, water loss, curing, limits by use."""

from __future__ import annotations

import csv
import math
from dataclasses import dataclass, fields
from functools import cache
from importlib.resources import files
from typing import Any

from ventcalc.broadcast import elementwise
from ventcalc.errors import BadInput, check_range

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
    "respiration_heat",
    "respiration_temperature_factor",
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


@dataclass(frozen=True, kw_only=True)
class Crop:
    """
    Properties of the crop for one use; every value's source stands in ``data/crop.csv``.

    Units are those of the file: SI, °C, fractions. ``respiration_*`` per kg of crop [W/kg],
    ``transpiration_*`` per kg of crop [kg/(kg s Pa)], ``specific_heat`` per kg of crop.
    """

    use: str
    specific_heat: float
    """Per mass of crop. [J/(kg K)]"""
    water_fraction: float
    """Water per mass of crop. [kg/kg]"""
    freezing_temperature: float
    """[°C]"""
    injury_temperature: float
    """Frozen below it. [°C]"""
    latent_heat_of_freezing: float
    """Per mass of crop. [J/kg]"""
    tuber_density: float
    """Of one tuber. [kg/m³]"""
    tuber_conductivity: float
    """Of one tuber. [W/(m K)]"""
    bulk_density: float
    """Crop per volume of pile. [kg/m³]"""
    water_activity: float
    """Of the tuber surface. [1]"""
    transpiration_uncured: float
    """Water lost per mass of crop, freshly dug. [kg/(kg s Pa)]"""
    transpiration_cured: float
    """Water lost per mass of crop, skin set. [kg/(kg s Pa)]"""
    curing_time: float
    """To 1/e, at the temperature of ``curing_reference``. [s]"""
    curing_reference: float
    """[°C]"""
    curing_doubling: float
    """Warmer by this much, skin cures twice as fast. [K]"""
    respiration_settled: float
    """Heat per mass of crop, weeks after harvest. [W/kg]"""
    respiration_fresh: float
    """Heat per mass of crop, mature and just dug. [W/kg]"""
    respiration_immature: float
    """Heat per mass of crop, immature and just dug. [W/kg]"""
    respiration_fresh_at: float
    """Temperature of the fresh values. [°C]"""
    respiration_least_at: float
    """Temperature of least respiration. [°C]"""
    respiration_doubling: float
    """From the least to twice the least. [K]"""
    respiration_settling_time: float
    """To 1/e. [s]"""
    heat_per_co2: float
    """Heat of respiration per CO2 given off. [J/kg]"""
    holding_low: float
    """[°C]"""
    holding_high: float
    """[°C]"""
    holding_temperature: float
    """[°C]"""


def _rows() -> list[dict[str, str]]:
    path = files("ventcalc") / "data" / "crop.csv"
    return list(csv.DictReader(path.read_text(encoding="utf-8").splitlines()))


@cache
def crop_for(use: str) -> Crop:
    """
    Properties of potatoes kept for one use.

    Parameters
    ----------
    use : str
        ``seed``, ``table``, ``fries`` or ``chips``.

    Returns
    -------
    Crop
        Values with their sources in ``data/crop.csv``.

    Raises
    ------
    BadInput
        If the use is unknown.
    """
    rows = _rows()
    uses = sorted({row["use"] for row in rows} - {"all"})
    if use not in uses:
        raise BadInput(f"use = {use!r}: unknown; write one of {', '.join(uses)}")
    values: dict[str, Any] = {
        row["name"]: float(row["value"]) for row in rows if row["use"] in ("all", use)
    }
    return Crop(use=use, **{f.name: values[f.name] for f in fields(Crop) if f.name != "use"})


def crop_sources(use: str) -> dict[str, tuple[float, str, str]]:
    """
    Where the values of a use come from.

    Parameters
    ----------
    use : str
        ``seed``, ``table``, ``fries`` or ``chips``.

    Returns
    -------
    dict
        Name to (value, unit, source).
    """
    return {
        row["name"]: (float(row["value"]), row["unit"], row["source"])
        for row in _rows()
        if row["use"] in ("all", use)
    }


def respiration_temperature_factor(temperature: Any, crop: Crop) -> Any:
    """
    Respiration at a temperature over that at the temperature of least respiration.

    Parameters
    ----------
    temperature : array-like
        Pulp temperature, -2 to 40. [°C]
    crop : Crop
        The crop.

    Returns
    -------
    array
        1 at the least, rising to both sides of it. [1]

    Raises
    ------
    OutOfRange
        If the temperature lies outside -5 to 45.

    Notes
    -----
    1 + (dT / doubling)²: twice the least 10 K above it, as the published Q10 of about 2 asks,
    flat at the least, rising again in the cold, where no numbers are published. The published
    rise below 3 °C is called dramatic; this one is 18 % there. Held constant above 30 °C,
    where tubers fail, and falling to nothing from 35 to 45 °C, where they die (common practice,
    no source).
    """
    check_range("temperature", temperature, -5.0, 45.0, "°C", "kelvin or °F?")
    return elementwise(lambda t: temperature_factor(t, crop), temperature)


def temperature_factor(temperature: float, crop: Crop) -> float:
    """``respiration_temperature_factor`` of one temperature, unchecked. [1]"""
    away = min(temperature, FAILING) - crop.respiration_least_at
    factor = away * away * crop.respiration_doubling**-2 + 1.0
    if temperature > FAILING:
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


def respiration_age_factor(age: Any, crop: Crop, maturity: str | float = "mature") -> Any:
    """
    Respiration at an age over that of the settled crop at the same temperature.

    Parameters
    ----------
    age : array-like
        Time since harvest, not negative. [s]
    crop : Crop
        The crop.
    maturity : str or float
        ``mature`` or ``immature`` at harvest, or the part of the mass that was immature.

    Returns
    -------
    array
        Falls towards 1. [1]

    Raises
    ------
    OutOfRange
        If the age is negative.
    """
    check_range("age", age, 0.0, 1e9, "s")
    fresh = fresh_respiration(crop, maturity)
    return elementwise(lambda t: age_factor(t, crop, fresh), age)


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
