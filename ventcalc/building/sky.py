"""
What a roof meets outside: wind, sun and the cold of a clear sky.

On a clear calm night a roof is several kelvin colder than the air, and it is then that
ceilings drip.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from ventcalc.building.envelope import OUTSIDE_RESISTANCE
from ventcalc.errors import check_range

__all__ = [
    "cloud_cover_from_radiation",
    "outside_resistance",
    "sky_temperature",
    "sol_air_temperature",
]

STEFAN_BOLTZMANN = 5.670374419e-8
"""CODATA 2018. [W/(m² K⁴)]"""
ZERO_CELSIUS = 273.15
"""[K]"""
LOW_CLOUD = 0.784
"""Part of the gap to a black sky that full cloud closes. [1]"""


def outside_resistance(wind_speed: Any, *, temperature: Any = 0.0, emittance: Any = 0.9) -> Any:
    """
    Outside surface resistance by wind.

    Parameters
    ----------
    wind_speed : array-like
        Wind along the surface, 0 to 60. [m/s]
    temperature : array-like
        Mean of surface and surroundings, -60 to 80. [°C]
    emittance : array-like
        Longwave emittance of the surface, 0 to 1. [1]

    Returns
    -------
    array
        0.04 at 4 m/s; three times that in calm air. [m² K/W]

    Raises
    ------
    OutOfRange
        If a value lies outside its range.

    References
    ----------
    .. [1] ISO 6946, annex on surface resistances: 4 + 4 v by convection, and radiation.
       From memory.
    """
    check_range("wind_speed", wind_speed, 0.0, 60.0, "m/s", "km/h?")
    check_range("temperature", temperature, -60.0, 80.0, "°C", "kelvin or °F?")
    check_range("emittance", emittance, 0.0, 1.0)
    absolute = temperature + ZERO_CELSIUS
    radiation = 4.0 * emittance * STEFAN_BOLTZMANN * absolute * absolute * absolute
    return 1.0 / (4.0 + 4.0 * wind_speed + radiation)


def sky_temperature(
    outside_temperature: Any,
    dew_point: Any,
    *,
    pressure: Any,
    cloud_cover: Any = 0.0,
    hour: Any = 0.0,
) -> Any:
    """
    Temperature of the sky as a black body, for longwave radiation.

    Parameters
    ----------
    outside_temperature : array-like
        Outside air, -60 to 60. [°C]
    dew_point : array-like
        Of the outside air, -40 to 40; the data behind the formula lie in -20 to 30. [°C]
    pressure : array-like
        Air pressure, 40 000 to 110 000. [Pa]
    cloud_cover : array-like
        Part of the sky covered, 0 to 1. [1]
    hour : array-like
        Solar time since midnight, 0 to 24. [h]

    Returns
    -------
    array
        10 to 25 K below the air when the sky is clear. [°C]

    Raises
    ------
    OutOfRange
        If a value lies outside its range.

    Notes
    -----
    Clouds close 0.784 of the gap to a black sky, the value for low cloud that the 2013
    manual of the Californian building energy code takes.

    References
    ----------
    .. [1] Berdahl and Martin, Emissivity of clear skies, Solar Energy 32 (1984) 663-664.
    .. [2] Martin and Berdahl, Characteristics of infrared sky radiation in the United
       States, Solar Energy 33 (1984) 321-336.
    """
    check_range("outside_temperature", outside_temperature, -60.0, 60.0, "°C", "kelvin or °F?")
    check_range("dew_point", dew_point, -40.0, 40.0, "°C", "kelvin or °F?")
    check_range("pressure", pressure, 4e4, 1.1e5, "Pa", "kPa or mbar?")
    check_range("cloud_cover", cloud_cover, 0.0, 1.0, "", "tenths, eighths or per cent?")
    check_range("hour", hour, 0.0, 24.0, "h")
    warm = 0.01 * dew_point
    clear = (
        0.711
        + warm * (0.56 + 0.73 * warm)
        + 0.013 * np.cos(hour * (math.pi / 12.0))
        + 0.00012 * (0.01 * pressure - 1000.0)
    )
    emittance = clear + (1.0 - clear) * LOW_CLOUD * cloud_cover
    return (outside_temperature + ZERO_CELSIUS) * emittance**0.25 - ZERO_CELSIUS


def cloud_cover_from_radiation(global_radiation: Any, clear_radiation: Any) -> Any:
    """
    Cloud cover of a day from its sunlight.

    Parameters
    ----------
    global_radiation : array-like
        On a horizontal surface, mean of the day, 0 to 600. [W/m²]
    clear_radiation : array-like
        The same under a clear sky, above zero. [W/m²]

    Returns
    -------
    array
        Part of the sky covered; 1 where the day is darker than full cloud makes it, 0 where it
        is brighter than the clear day. [1]

    Raises
    ------
    OutOfRange
        If a value lies outside its range.

    References
    ----------
    .. [1] Kasten and Czeplak, Solar and terrestrial radiation dependent on the amount and type
       of cloud, Solar Energy 24 (1980) 177-189: G/G0 = 1 - 0.75 N^3.4 (from memory).
    """
    check_range("global_radiation", global_radiation, 0.0, 600.0, "W/m²", "an hour's, not a day's?")
    check_range("clear_radiation", clear_radiation, 1.0, 600.0, "W/m²", "an hour's, not a day's?")
    missing = 1.0 - global_radiation / clear_radiation
    return np.clip(missing / 0.75, 0.0, 1.0) ** (1.0 / 3.4)


def sol_air_temperature(
    outside_temperature: Any,
    *,
    surface_resistance: Any = OUTSIDE_RESISTANCE,
    solar: Any = 0.0,
    absorptance: Any = 0.6,
    sky_temperature: Any = None,
    emittance: Any = 0.9,
    sky_view: Any = 1.0,
) -> Any:
    """
    Outside air temperature that would pass the same heat as air, sun and sky together.

    Parameters
    ----------
    outside_temperature : array-like
        Outside air, -60 to 60. [°C]
    surface_resistance : array-like
        Outside surface resistance, 0.004 (a storm) to 0.3; see `outside_resistance`. [m² K/W]
    solar : array-like
        Solar irradiance on the surface, 0 to 1500. [W/m²]
    absorptance : array-like
        For sunlight, 0 to 1: about 0.3 when white, 0.6 when grey, 0.9 when dark. [1]
    sky_temperature : array-like, optional
        Black-body temperature of the sky; without it the sky is as warm as the air. [°C]
    emittance : array-like
        For longwave radiation, 0 to 1: 0.9 when painted, 0.2 to 0.3 for bare metal. [1]
    sky_view : array-like
        Part of what the surface sees that is sky, 0 to 1: 1 for a flat roof, 0.5 for a
        wall. [1]

    Returns
    -------
    array
        Sol-air temperature; under a clear night sky it lies below the air. [°C]

    Raises
    ------
    OutOfRange
        If a value lies outside its range.

    References
    ----------
    .. [1] ASHRAE Handbook of Fundamentals, chapter on nonresidential cooling loads:
       t_o + (a I - e dR) / h_o.
    """
    check_range("outside_temperature", outside_temperature, -60.0, 60.0, "°C", "kelvin or °F?")
    check_range("surface_resistance", surface_resistance, 0.004, 0.3, "m² K/W")
    check_range("solar", solar, 0.0, 1500.0, "W/m²")
    for name, share in (
        ("absorptance", absorptance),
        ("emittance", emittance),
        ("sky_view", sky_view),
    ):
        check_range(name, share, 0.0, 1.0)
    gain = absorptance * solar
    if sky_temperature is not None:
        check_range("sky_temperature", sky_temperature, -120.0, 60.0, "°C", "kelvin?")
        warm = (outside_temperature + ZERO_CELSIUS) ** 4 - (sky_temperature + ZERO_CELSIUS) ** 4
        gain = gain - emittance * sky_view * STEFAN_BOLTZMANN * warm
    return outside_temperature + gain * surface_resistance
