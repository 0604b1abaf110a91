"""Frost on a coil, and what it costs to be rid of it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from ventcalc.air.plain import FUSION_HEAT, ICE_HEAT, WATER_HEAT
from ventcalc.errors import check_range

__all__ = ["COLDEST", "Defrost", "defrost", "melting_heat", "melting_heat_to_store"]

COLDEST = -45.0
"""Coldest coil surface. [°C]"""
DRAIN_TEMPERATURE = 5.0
"""At which the melted water leaves. [°C]"""
HEATER_EFFICIENCY = 0.5
"""Share of the heat of an electric heater that warms and melts frost (from memory). [0-1]"""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Defrost:
    """One defrost."""

    energy: Any
    """Heat to be supplied. [J]"""
    heat_to_store: Any
    """The part that stays in coil and store and must be cooled away again. [J]"""


def defrost(
    frost: Any,
    *,
    surface_temperature: Any,
    drain_temperature: float = DRAIN_TEMPERATURE,
    efficiency: float = HEATER_EFFICIENCY,
) -> Defrost:
    """
    Heat to melt the frost off a coil.

    The heat of freezing is no second load: the coil has taken it when the frost formed. Air above
    about 4 °C can defrost a coil for the fan's power alone and gives the water back.
    """
    check_range("frost", frost, 0.0, 1e5, "kg")
    check_range("surface_temperature", surface_temperature, COLDEST, 0.0, "°C", "no frost above 0")
    check_range("drain_temperature", drain_temperature, 0.0, 40.0, "°C")
    check_range("efficiency", efficiency, 0.05, 1.0, "", "percent?")
    energy = frost * _heat_per_mass(surface_temperature, drain_temperature) / efficiency
    return Defrost(energy=energy, heat_to_store=energy * (1.0 - efficiency))


def _heat_per_mass(surface_temperature: Any, drain_temperature: Any) -> Any:
    """To warm frost, melt it and warm the water. [J/kg]"""
    return FUSION_HEAT - ICE_HEAT * surface_temperature + WATER_HEAT * drain_temperature


def melting_heat(frost: float, surface_temperature: float) -> float:
    """Energy of ``defrost`` by its usual heater, unchecked. [J, or J/kg dry air]"""
    heat: float = frost * _heat_per_mass(surface_temperature, DRAIN_TEMPERATURE)
    return heat / HEATER_EFFICIENCY


def melting_heat_to_store(frost: float, surface_temperature: float) -> float:
    """The part of ``melting_heat`` that stays in coil and store. [J, or J/kg dry air]"""
    return melting_heat(frost, surface_temperature) * (1.0 - HEATER_EFFICIENCY)
