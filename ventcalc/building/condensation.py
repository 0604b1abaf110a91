"""
Whether water settles on a surface, and how sure that is: the top of the pile above all.

The air of a potato store is so close to saturation that its dew point lies within the error
of the sensors. Every verdict therefore carries its margin and the standard uncertainty of
that margin, and may say that it cannot tell.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from ventcalc import air
from ventcalc.errors import check_range

__all__ = [
    "Uncertainty",
    "Verdict",
    "judge",
    "surface_check",
]


@dataclass(frozen=True, kw_only=True, slots=True)
class Uncertainty:
    """
    Standard uncertainties of what goes into a check, and how sure a verdict must be.

    The defaults are common practice, no source; put in those of your own sensors.
    """

    temperature: float = 0.2
    """Of a reading of air temperature. [K]"""
    surface_temperature: float = 0.2
    """Of a reading of surface or tuber temperature. [K]"""
    relative_humidity: float = 0.02
    """Of a reading of relative humidity, drift included. [1]"""
    outside_temperature: float = 1.0
    """Of the outside (sol-air) temperature at the roof. [K]"""
    u: float = 0.15
    """Of a heat transmittance, as part of it: wet insulation, joints. [1]"""
    surface_resistance: float = 0.2
    """Of an inside surface resistance, as part of it: air movement. [1]"""
    coverage: float = 2.0
    """Standard uncertainties that a margin must have to be believed. [1]"""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Verdict:
    """Whether a surface stays dry, and how sure that is."""

    margin: Any
    """Surface less dew point; positive is dry. [K]"""
    standard_uncertainty: Any
    """Of the margin. [K]"""
    verdict: Any
    """``clear``, ``condenses`` or ``cannot tell``; below 0 °C condensing is frosting."""
    surface_temperature: Any
    """[°C]"""
    dew_point: Any
    """Of the air at the surface, frost point below 0.01 °C. [°C]"""
    parts: Mapping[str, Any]
    """Standard uncertainty of the margin by cause: which sensor to better first. [K]"""

    @property
    def z(self) -> Any:
        """Margin in standard uncertainties; the more the safer. [1]"""
        spread = self.standard_uncertainty
        return self.margin / np.where(spread > 0.0, spread, np.nan)


def judge(margin: Any, standard_uncertainty: Any, coverage: Any = 2.0) -> Any:
    """
    Turn a margin and its uncertainty into a verdict.

    Parameters
    ----------
    margin : array-like
        Surface less dew point. [K]
    standard_uncertainty : array-like
        Of the margin, not negative. [K]
    coverage : array-like
        Standard uncertainties needed to be sure, 0 to 10. [1]

    Returns
    -------
    str or array of str
        ``clear``, ``condenses`` or ``cannot tell``; the last also where a value is NaN.

    Raises
    ------
    OutOfRange
        If a value lies outside its range.

    Notes
    -----
    With ``coverage`` 2 and errors as stated, a wrong ``clear`` comes about once in 40.
    """
    check_range("standard_uncertainty", standard_uncertainty, 0.0, 100.0, "K")
    check_range("coverage", coverage, 0.0, 10.0)
    band = coverage * standard_uncertainty
    verdict = np.where(margin <= -band, "condenses", "cannot tell")
    verdict = np.where(margin > band, "clear", verdict)
    return verdict if verdict.ndim else str(verdict)


def check_air(temperature: Any, relative_humidity: Any, name: str) -> None:
    """Refuse air outside the range of the checks, its temperature under the caller's ``name``."""
    check_range(name, temperature, -40.0, 60.0, "°C", "kelvin or °F?")
    hint = "a percentage, or a wet probe that reads above 1?"
    check_range("relative_humidity", relative_humidity, 0.01, 1.0, "", hint)


def dew_point_of(temperature: Any, relative_humidity: Any, pressure: Any) -> Any:
    """Dew point of air read by temperature and relative humidity. [°C]"""
    return air.dew_point(air.humidity_ratio(temperature, relative_humidity, pressure), pressure)


def _saturation_slope(temperature: Any) -> Any:
    step = 0.01
    upper = air.saturation_pressure(temperature + step)
    return (upper - air.saturation_pressure(temperature - step)) / (2.0 * step)


def dew_point_slopes(temperature: Any, relative_humidity: Any, dew_point: Any) -> tuple[Any, Any]:
    """
    Change of the dew point with temperature [K/K] and with relative humidity [K per 1].

    From p = RH p_s(T) = p_s(T_d); the enhancement factor cancels but for 0.1 %.
    """
    slope = _saturation_slope(dew_point)
    by_temperature = relative_humidity * _saturation_slope(temperature) / slope
    return by_temperature, air.saturation_pressure(temperature) / slope


def verdict_from(
    surface: Any, dew_point: Any, parts: dict[str, Any], uncertainty: Uncertainty
) -> Verdict:
    """Join surface and dew point [°C]; ``parts`` are what is uncertain, each on its own. [K]"""
    spread = np.sqrt(sum(part * part for part in parts.values()))
    margin = surface - dew_point
    return Verdict(
        margin=margin,
        standard_uncertainty=spread,
        verdict=judge(margin, spread, uncertainty.coverage),
        surface_temperature=surface,
        dew_point=dew_point,
        parts=parts,
    )


def surface_check(
    *,
    surface_temperature: Any,
    air_temperature: Any,
    relative_humidity: Any,
    pressure: Any,
    uncertainty: Uncertainty | None = None,
) -> Verdict:
    """
    Whether air wets a surface whose temperature is measured.

    Parameters
    ----------
    surface_temperature : array-like
        Coldest surface that the air meets, -40 to 60. [°C]
    air_temperature : array-like
        Air where the humidity is measured, -40 to 60. [°C]
    relative_humidity : array-like
        Of that air, 0.01 to 1. [0-1]
    pressure : array-like
        Air pressure. [Pa]
    uncertainty : Uncertainty, optional
        Of the readings.

    Returns
    -------
    Verdict
        Margin, its uncertainty, and the verdict.

    Raises
    ------
    OutOfRange
        If a value lies outside its range.

    Notes
    -----
    First order, errors independent: at 95 % humidity 0.01 of humidity moves the dew point by
    0.15 K, and an error of air temperature moves it one to one.

    References
    ----------
    .. [1] JCGM 100:2008, Guide to the expression of uncertainty in measurement, 5.1.2.
    """
    check_air(air_temperature, relative_humidity, "air_temperature")
    check_range("surface_temperature", surface_temperature, -40.0, 60.0, "°C", "kelvin or °F?")
    doubt = uncertainty or Uncertainty()
    dew_point = dew_point_of(air_temperature, relative_humidity, pressure)
    by_temperature, by_humidity = dew_point_slopes(air_temperature, relative_humidity, dew_point)
    parts = {
        "surface_temperature": doubt.surface_temperature + 0.0 * surface_temperature,
        "air_temperature": by_temperature * doubt.temperature,
        "relative_humidity": by_humidity * doubt.relative_humidity,
    }
    return verdict_from(surface_temperature, dew_point, parts, doubt)
