"""What the supply of a bay is set to, and what its fans, ceiling and sensors make of it."""

from __future__ import annotations

import math

from ventcalc.air.plain import KELVIN, air_density, saturated
from ventcalc.bay.description import Bay
from ventcalc.bay.hourly import HourlyBay

__all__ = [
    "CEILING_RESISTANCE",
    "ceiling_temperature",
    "coldest_doubt",
    "coldest_supply",
    "cooling_speed",
    "crop_mass",
    "dew_point_uncertainty",
    "dry_air_flow",
    "fan_power",
    "humidity_setpoint",
    "lowest_supply",
    "supply_setpoint",
    "vapour_limit",
    "wetting_margin",
]

CEILING_RESISTANCE = 0.10
"""Inside surface resistance, heat flowing up (ISO 6946). [m² K/W]"""
HUMIDIFIER_RESERVE = 1.05
"""The humidifier keeps a little more from the coldest tuber than the verdict asks for. [1]"""
ENOUGH_PROBES, FEW_DOUBT = 3, 0.25
"""
Pulp probes (bottom, middle, top) that show the coldest tuber; each that lacks leaves it so much
colder than the coldest probe; common practice, no source. [1, K]
"""
LAGS_FROM = 0.2
"""Mean pulp above its target from which on the supply follows it down. [K]"""
UNEVEN_FROM = 0.8
"""Part of the spread limit from which on the fans run faster; at the limit at full speed. [1]"""
LEAST_CROP = 0.05
"""Part of a full bay that crop is reckoned with at the least. [0-1]"""
VAPOUR_GAS_CONSTANT = 461.5
"""[J/(kg K)]"""
LATENT_HEAT = 2.49e6
"""Of evaporation near 5 °C. [J/kg]"""


def dry_air_flow(bay: Bay | HourlyBay, fan_speed: float, pressure: float) -> float:
    """Dry air through the fans, at 5 °C. [kg/s]"""
    return bay.fans.airflow * fan_speed * air_density(pressure)


def crop_mass(bay: HourlyBay, loaded: float) -> float:
    """Crop in the bay, as much of it as is told to be in [0-1]; else all of it. [kg]"""
    return bay.mass * max(loaded, LEAST_CROP) if loaded > 0.0 else bay.mass


def fan_power(bay: Bay | HourlyBay, fan_speed: float) -> float:
    """Electrical power of the fans by the cube law; all of it warms the air. [W]"""
    full = bay.fans.airflow * bay.fans.static_pressure / bay.fans.efficiency
    return full * fan_speed * fan_speed * fan_speed


def cooling_speed(bay: HourlyBay, excess: float, spread: float) -> float:
    """
    Fan speed for cooling and equalizing: slow when little is to be done, power goes with the cube.

    Full for a kelvin above the target [K], or for a pile as uneven as its limit allows [K]. [0-1]
    """
    slow = bay.fans.minimum_speed
    uneven = (spread / bay.limits.spread - UNEVEN_FROM) / (1.0 - UNEVEN_FROM)
    return slow + (1.0 - slow) * min(max(max(excess, uneven), 0.0), 1.0)


def lowest_supply(bay: HourlyBay) -> float:
    """Coldest plenum set: the floor, and the sensors' uncertainty above it. [°C]"""
    return bay.limits.plenum_floor + bay.control.confidence * bay.sensors.temperature


def supply_setpoint(bay: HourlyBay, target: float, pulp_coldest: float, excess: float) -> float:
    """
    Plenum to cool with: below target, not far below the coldest pulp nor near the floor. [°C]

    Colder the more the pile lags behind its target [K]: else one that reads a kelvin too warm,
    whose target waits for it, would never be cooled any further.
    """
    below = target - bay.control.supply_below - max(excess - LAGS_FROM, 0.0)
    return max(below, coldest_supply(bay, pulp_coldest))


def coldest_supply(bay: HourlyBay, pulp_coldest: float) -> float:
    """Neither far below the coldest pulp nor near the floor. [°C]"""
    return max(pulp_coldest - bay.limits.supply_difference, lowest_supply(bay))


def humidity_setpoint(bay: HourlyBay) -> float:
    """Relative humidity that the humidifier works up to; 0 without one. [0-1]"""
    return bay.limits.plenum_humidity if bay.humidifier.capacity > 0.0 else 0.0


def coldest_doubt(probes: int) -> float:
    """
    Coldest tuber below the coldest of so many pulp probes, beyond their own uncertainty. [K]

    0 probes stand for a pile that is known without them.
    """
    return FEW_DOUBT * (ENOUGH_PROBES - probes) if 0 < probes < ENOUGH_PROBES else 0.0


def wetting_margin(bay: HourlyBay, pulp_coldest: float, probes: int) -> float:
    """
    Coldest tuber above the dew point of any supply air, so that the sensors leave no doubt. [K]

    One margin for cooling, fresh air, warming and the humidifier: about 0.86 K with the usual
    sensors (0.2 K, 2 %) and three pulp probes; fewer probes widen it.
    """
    sigma = dew_point_uncertainty(bay, pulp_coldest, bay.limits.plenum_humidity)
    sigma = math.sqrt(sigma * sigma + bay.sensors.temperature**2)
    return HUMIDIFIER_RESERVE * bay.control.confidence * sigma + coldest_doubt(probes)


def vapour_limit(bay: HourlyBay, pulp_coldest: float, probes: int, pressure: float) -> float:
    """
    Humidity ratio up to which a humidifier may go without a doubt about the coldest tuber.

    Saturated at the coldest tuber less the margin that the sensors ask for. [kg/kg dry air]
    """
    return saturated(pulp_coldest - wetting_margin(bay, pulp_coldest, probes), pressure)


def dew_point_uncertainty(bay: HourlyBay, temperature: float, relative_humidity: float) -> float:
    """
    Standard uncertainty of a dew point found from a temperature and a humidity probe. [K]

    First-order propagation, dTd/dRH = R T² / (L RH).
    """
    kelvin = temperature + KELVIN
    slope = VAPOUR_GAS_CONSTANT * kelvin * kelvin / LATENT_HEAT / relative_humidity
    part = slope * bay.sensors.humidity
    return math.sqrt(bay.sensors.temperature**2 + part * part)


def ceiling_temperature(
    bay: HourlyBay, headspace_temperature: float, outside_temperature: float
) -> float:
    """Inside surface of the ceiling at its worst purlin or joint (ISO 6946, Rsi 0.10). [°C]"""
    share = bay.envelope.ceiling_u * bay.envelope.bridge_factor * CEILING_RESISTANCE
    return headspace_temperature - share * (headspace_temperature - outside_temperature)
