"""What the supply of a bay is aimed at, and what its fans, ceiling and sensors make of it."""

from __future__ import annotations

from typing import Any

from ventcalc._ops import Ops
from ventcalc.air import plain as plain_air
from ventcalc.air.plain import air_density
from ventcalc.bay.description import Bay, capacity_of

__all__ = [
    "CEILING_RESISTANCE",
    "ceiling_temperature",
    "dew_point_uncertainty",
    "dry_air_flow",
    "fan_power",
    "humidity_aim",
    "lowest_supply",
    "supply_aim",
    "vapour_limit",
]

CEILING_RESISTANCE = 0.10
"""Inside surface resistance, heat flowing up (ISO 6946). [m² K/W]"""


def dry_air_flow(bay: Bay, fan_speed: Any, pressure: Any) -> Any:
    """
    Dry air through the fans.

    Parameters
    ----------
    bay : Bay
        The bay.
    fan_speed : array-like
        [0-1]
    pressure : array-like
        Air pressure. [Pa]

    Returns
    -------
    array
        At 5 °C. [kg/s]
    """
    return bay.fans.airflow * fan_speed * air_density(pressure)


def fan_power(bay: Bay, fan_speed: Any) -> Any:
    """
    Electrical power of the fans, all of which warms the air.

    Parameters
    ----------
    bay : Bay
        The bay.
    fan_speed : array-like
        [0-1]

    Returns
    -------
    array
        By the cube law. [W]
    """
    full = bay.fans.airflow * bay.fans.static_pressure / bay.fans.efficiency
    return full * fan_speed * fan_speed * fan_speed


def lowest_supply(bay: Bay) -> Any:
    """
    Coldest plenum that is aimed at: the floor and the sensors' uncertainty above it.

    Parameters
    ----------
    bay : Bay
        The bay.

    Returns
    -------
    array
        [°C]
    """
    return bay.limits.plenum_floor + bay.control.confidence * bay.sensors.temperature


def supply_aim(bay: Bay, target: Any, pulp_coldest: Any, ops: Ops) -> Any:
    """
    Plenum temperature to cool with.

    Parameters
    ----------
    bay : Bay
        The bay.
    target : array-like
        Pulp temperature wanted. [°C]
    pulp_coldest : array-like
        Coldest exposed tuber. [°C]
    ops : Ops
        Carrier.

    Returns
    -------
    array
        Below the target, but neither far below the coldest tuber nor near the floor. [°C]
    """
    below = target - bay.control.supply_below
    return ops.maximum(
        ops.maximum(below, pulp_coldest - bay.limits.supply_difference), lowest_supply(bay)
    )


def humidity_aim(bay: Bay, ops: Ops) -> Any:
    """
    Relative humidity that the humidifier works up to.

    Parameters
    ----------
    bay : Bay
        The bay.
    ops : Ops
        Carrier.

    Returns
    -------
    array
        0 without a humidifier. [0-1]
    """
    return ops.where(capacity_of(bay.humidifier) > 0.0, bay.limits.plenum_humidity, 0.0)


def vapour_limit(bay: Bay, pulp_coldest: Any, pressure: Any, ops: Ops) -> Any:
    """
    Humidity ratio up to which a humidifier may go without a doubt about the coldest tuber.

    Parameters
    ----------
    bay : Bay
        Its sensors and the confidence asked for.
    pulp_coldest : array-like
        Coldest exposed tuber. [°C]
    pressure : array-like
        Air pressure. [Pa]
    ops : Ops
        Carrier.

    Returns
    -------
    array
        Saturated at the coldest tuber less the margin that is asked for. [kg/kg dry air]
    """
    sigma = dew_point_uncertainty(bay, pulp_coldest, bay.limits.plenum_humidity)
    sigma = (sigma * sigma + bay.sensors.temperature**2) ** 0.5
    margin = 1.05 * bay.control.confidence * sigma
    return plain_air.saturated(pulp_coldest - margin, pressure, ops)


def dew_point_uncertainty(bay: Bay, temperature: Any, relative_humidity: Any) -> Any:
    """
    Standard uncertainty of a dew point found from a temperature and a humidity probe.

    Parameters
    ----------
    bay : Bay
        Its sensors.
    temperature : array-like
        Dry bulb. [°C]
    relative_humidity : array-like
        [0-1]

    Returns
    -------
    array
        First-order propagation, dTd/dRH = R T² / (L RH). [K]
    """
    kelvin = temperature + 273.15
    slope = 461.5 * kelvin * kelvin / 2.49e6 / relative_humidity
    part = slope * bay.sensors.humidity
    return (bay.sensors.temperature**2 + part * part) ** 0.5


def ceiling_temperature(bay: Bay, headspace_temperature: Any, outside_temperature: Any) -> Any:
    """
    Inside surface of the ceiling at its worst purlin or joint.

    Parameters
    ----------
    bay : Bay
        The bay.
    headspace_temperature : array-like
        Air under the ceiling. [°C]
    outside_temperature : array-like
        Air outside. [°C]

    Returns
    -------
    array
        Surface temperature. [°C]

    References
    ----------
    .. [1] ISO 6946, Rsi 0.10 m² K/W for heat flowing up.
    """
    share = bay.envelope.ceiling_u * bay.envelope.bridge_factor * CEILING_RESISTANCE
    return headspace_temperature - share * (headspace_temperature - outside_temperature)
