"""When a ceiling or wall drips, and how well it must be insulated so that it does not."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from ventcalc.building.condensation import (
    Uncertainty,
    Verdict,
    check_air,
    dew_point_of,
    dew_point_slopes,
    verdict_from,
)
from ventcalc.building.envelope import SURFACE_RESISTANCE
from ventcalc.errors import check_range

__all__ = [
    "Ceiling",
    "ceiling_check",
    "required_resistance",
]


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Ceiling:
    """A ceiling or wall at its worst place; numbers or arrays."""

    u: Any
    """Heat transmittance of the plain ceiling, 0.005 to 10. [W/(m² K)]"""
    surface_resistance: Any = SURFACE_RESISTANCE["up"]
    """Inside surface: 0.10 in moving air, 0.25 in still corners, 0.02 to 1. [m² K/W]"""
    bridge_factor: Any = 1.0
    """Heat loss at the worst purlin or joint over that of the plain ceiling, 1 to 10. [1]"""

    def __post_init__(self) -> None:
        check_range("u", self.u, 0.005, 10.0, "W/(m² K)", "a resistance?")
        _check_worst_place(self.surface_resistance, self.bridge_factor)
        hint = "U holds this resistance, so U times it cannot pass 1"
        name = "u * bridge_factor * surface_resistance"
        check_range(name, self.cold_share, 0.0, 1.0, "", hint)

    @property
    def cold_share(self) -> Any:
        """Part of the temperature difference that falls between air and surface. [1]"""
        return self.u * self.bridge_factor * self.surface_resistance


def _check_worst_place(surface_resistance: Any, bridge_factor: Any) -> None:
    check_range("surface_resistance", surface_resistance, 0.02, 1.0, "m² K/W")
    check_range("bridge_factor", bridge_factor, 1.0, 10.0)


def ceiling_check(
    ceiling: Ceiling,
    *,
    inside_temperature: Any,
    relative_humidity: Any,
    outside_temperature: Any,
    pressure: Any,
    uncertainty: Uncertainty | None = None,
) -> Verdict:
    """
    Whether a ceiling or wall drips, its temperature reckoned from outside.

    Parameters
    ----------
    ceiling : Ceiling
        The ceiling at its worst place.
    inside_temperature : array-like
        Air under the ceiling, -40 to 60. [°C]
    relative_humidity : array-like
        Of that air, 0.01 to 1. [0-1]
    outside_temperature : array-like
        Outside air, -70 to 90; at night under a clear sky the sol-air temperature, which is
        several kelvin lower. [°C]
    pressure : array-like
        Air pressure. [Pa]
    uncertainty : Uncertainty, optional
        Of the readings and of the building.

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
    Steady: a heavy roof lags behind the hour. An error of the air temperature moves surface
    and dew point alike and nearly cancels; that of humidity does not.

    References
    ----------
    .. [1] ISO 13788 (temperature factor); JCGM 100:2008, 5.1.2.
    """
    check_air(inside_temperature, relative_humidity, "inside_temperature")
    check_range("outside_temperature", outside_temperature, -70.0, 90.0, "°C", "kelvin or °F?")
    doubt = uncertainty or Uncertainty()
    share = ceiling.cold_share
    drop = share * (inside_temperature - outside_temperature)
    dew_point = dew_point_of(inside_temperature, relative_humidity, pressure)
    by_temperature, by_humidity = dew_point_slopes(inside_temperature, relative_humidity, dew_point)
    parts = {
        "air_temperature": abs(1.0 - share - by_temperature) * doubt.temperature,
        "relative_humidity": by_humidity * doubt.relative_humidity,
        "outside_temperature": share * doubt.outside_temperature,
        "u": abs(drop) * doubt.u,
        "surface_resistance": abs(drop) * doubt.surface_resistance,
    }
    return verdict_from(inside_temperature - drop, dew_point, parts, doubt)


def required_resistance(
    *,
    inside_temperature: Any,
    relative_humidity: Any,
    pressure: Any,
    outside_temperature: Any,
    surface_resistance: Any = SURFACE_RESISTANCE["up"],
    bridge_factor: Any = 1.0,
    keep: Any = 0.0,
) -> Any:
    """
    Least thermal resistance, surface films included, at which a ceiling does not drip.

    Parameters
    ----------
    inside_temperature : array-like
        Air under the ceiling, -40 to 60. [°C]
    relative_humidity : array-like
        Of that air, 0.01 to 1. [0-1]
    pressure : array-like
        Air pressure. [Pa]
    outside_temperature : array-like
        Coldest outside (sol-air) temperature to stand, -70 to 90. [°C]
    surface_resistance, bridge_factor : array-like
        As in `Ceiling`. [m² K/W] and [1]
    keep : array-like
        Margin above the dew point to keep, 0 to 10. [K]

    Returns
    -------
    array
        Total resistance of the plain ceiling, one over its required U; 0 where it is not
        colder outside, infinite where no insulation keeps that margin. [m² K/W]

    Raises
    ------
    OutOfRange
        If a value lies outside its range.
    """
    check_air(inside_temperature, relative_humidity, "inside_temperature")
    check_range("outside_temperature", outside_temperature, -70.0, 90.0, "°C", "kelvin or °F?")
    _check_worst_place(surface_resistance, bridge_factor)
    check_range("keep", keep, 0.0, 10.0, "K")
    dew_point = dew_point_of(inside_temperature, relative_humidity, pressure)
    spare = inside_temperature - dew_point - keep
    needed = bridge_factor * surface_resistance * (inside_temperature - outside_temperature)
    # NaN fails both comparisons and so reaches the division, which hands it on.
    hopeless = spare <= 1e-9
    value = np.where(hopeless, np.inf, needed / np.where(hopeless, 1.0, spare))
    return np.where(needed <= 0.0, 0.0 * spare, value)[()]
