"""The deep bed in data: what it is, its layers, what flows in, what a step did."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache, cached_property
from typing import NamedTuple

import numpy as np

from ventcalc.air import enhancement_factor, saturation_pressure
from ventcalc.pile.crop import Crop, fresh_respiration

__all__ = [
    "Bed",
    "BedStep",
    "Inflow",
    "Layer",
    "greatest",
    "layer_mean",
    "least",
    "remember",
    "restore",
]

VAPOUR_FIT_AT = 8.0
"""Temperature of the enhancement factor that the tubers' vapour pressure is given. [°C]"""


@dataclass(frozen=True, kw_only=True, eq=False)
class Bed:
    """
    A pile of tubers above a floor that lets air in evenly.

    Parameters
    ----------
    height : float
        Depth of the pile. [m]
    bulk_density : float
        Mass of crop per volume of pile. [kg/m³]
    tuber_diameter : float
        Diameter of a sphere as large as the mean tuber. [m]
    pressure : float
        Air pressure. [Pa]
    crop : Crop
        The crop.
    maturity : str or float
        ``mature`` or ``immature`` at harvest, or the part of the mass that was immature.
    layers : int
        Number of layers; at least half the number of transfer units of the bed.
    conductivity : float
        Effective conductivity of the pile at rest, conduction and radiation together
        (derived: 0.13 still bed + 0.26 radiation at 5 °C). [W/(m K)]
    """

    height: float
    bulk_density: float
    tuber_diameter: float
    pressure: float
    crop: Crop
    maturity: str | float = "mature"
    layers: int = 40
    conductivity: float = 0.35

    @cached_property
    def thickness(self) -> float:
        """Thickness of a layer. [m]"""
        return self.height / self.layers

    @cached_property
    def layer_mass(self) -> float:
        """Crop in a layer per floor area. [kg/m²]"""
        return self.bulk_density * self.thickness

    @cached_property
    def heat_capacity(self) -> float:
        """Heat capacity of a layer per floor area. [J/(m² K)]"""
        return self.layer_mass * self.crop.specific_heat

    @cached_property
    def porosity(self) -> float:
        """Air per volume of pile. [m³/m³]"""
        return 1.0 - self.bulk_density / self.crop.tuber_density

    @cached_property
    def area_density(self) -> float:
        """Tuber surface per volume of pile. [m²/m³]"""
        return 6.0 * (1.0 - self.porosity) / self.tuber_diameter

    @cached_property
    def fresh_respiration(self) -> float:
        """Heat of respiration of the crop just dug. [W/kg]"""
        return fresh_respiration(self.crop, self.maturity)

    @cached_property
    def vapour_fit(self) -> tuple[float, ...]:
        """Vapour pressure over the tubers' water in moist air, highest power first. [Pa]"""
        enhancement = float(enhancement_factor(VAPOUR_FIT_AT, self.pressure))
        return tuple(c * enhancement for c in _pressure_fit())


@cache
def _pressure_fit() -> tuple[float, ...]:
    """
    Coefficients, highest first, of a polynomial for the saturation pressure over water.

    Fitted to the full formula over 0.01-45 °C for the least relative error, 6e-6. It spares
    the bed most of its cost. The tubers' water is liquid down to their freezing point, so there
    is no ice branch, and the polynomial runs on below zero.
    """
    t = 22.505 + 22.495 * np.cos(np.pi * (np.arange(200) + 0.5) / 200)
    pressure = saturation_pressure(t)
    columns = np.vander(t, 6)
    fit = np.linalg.lstsq(columns / pressure[:, None], np.ones(200), rcond=None)[0]
    return tuple(fit.tolist())


class Layer:
    """One layer of tubers; a step changes it in place. Losses are per kg of crop loaded."""

    __slots__ = (
        "dry_matter_loss",
        "evaporated",
        "film",
        "from_film",
        "source",
        "temperature",
        "vapour_pressure",
        "was_dry_matter_loss",
        "was_film",
        "was_source",
        "was_temperature",
        "was_water_loss",
        "water_loss",
    )
    temperature: float
    """Mean of its tubers. [°C]"""
    film: float
    """Free water on them. [kg/kg crop]"""
    source: float
    """Net heat of the last step, the first guess of the next. [W/m²]"""
    water_loss: float
    """Lost through the skin, less the water that respiration makes. [kg/kg crop]"""
    dry_matter_loss: float
    """Burned. [kg/kg crop]"""
    vapour_pressure: float
    """Over its water, as warm as expected in the step. [Pa]"""
    evaporated: float
    """Into the air, negative where it condenses. [kg/(m² s)]"""
    from_film: float
    """The part of it that came from the film, or went into it. [kg/(m² s)]"""
    was_temperature: float
    """At the start of the step, as the other four of ``remember``. [°C]"""
    was_film: float
    """[kg/kg crop]"""
    was_source: float
    """[W/m²]"""
    was_water_loss: float
    """[kg/kg crop]"""
    was_dry_matter_loss: float
    """[kg/kg crop]"""

    def __init__(self, temperature: float) -> None:
        """Just loaded: dry, nothing lost."""
        self.temperature = temperature
        self.film = self.source = self.water_loss = self.dry_matter_loss = 0.0
        self.vapour_pressure = self.evaporated = self.from_film = 0.0
        self.was_temperature = temperature
        self.was_film = self.was_source = self.was_water_loss = self.was_dry_matter_loss = 0.0


class Inflow(NamedTuple):
    """What comes to the bed from outside in a step."""

    temperature: float
    """Air that enters. [°C]"""
    humidity_ratio: float
    """Air that enters. [kg/kg dry air]"""
    age: float
    """Time since harvest. [s]"""
    heat_gain: float
    """Through walls and floor, per pile floor. [W/m²]"""
    top_heat: float
    """Into the top layer, per pile floor. [W/m²]"""
    top_water: float
    """From the top layer into the air above, negative as a film on it. [kg/(m² s)]"""
    pulp_mean: float
    """Mean of the tubers at the start, as warm as the water that leaves them. [°C]"""


class BedStep(NamedTuple):
    """Means of one step, of all layers together, per m² of floor."""

    outlet_temperature: float
    """Air leaving the top; infinite where no number of parts was enough. [°C]"""
    outlet_humidity_ratio: float
    """Air leaving the top. [kg/kg dry air]"""
    evaporated: float
    """Water into the air, negative where it is taken up. [kg/(m² s)]"""
    condensed: float
    """Water that lay down as a film. [kg/(m² s)]"""
    respiration: float
    """Heat of respiration. [W/m²]"""
    latent_heat: float
    """From water in the crop to vapour, at the crop's mean temperature before. [J/kg]"""


def remember(layers: Sequence[Layer]) -> None:
    """Note where a step begins, for another try at it."""
    for layer in layers:
        layer.was_temperature = layer.temperature
        layer.was_film = layer.film
        layer.was_source = layer.source
        layer.was_water_loss = layer.water_loss
        layer.was_dry_matter_loss = layer.dry_matter_loss


def restore(layers: Sequence[Layer]) -> None:
    """Back to what was noted."""
    for layer in layers:
        layer.temperature = layer.was_temperature
        layer.film = layer.was_film
        layer.source = layer.was_source
        layer.water_loss = layer.was_water_loss
        layer.dry_matter_loss = layer.was_dry_matter_loss


def layer_mean(layers: Sequence[Layer]) -> float:
    """Mean temperature. [°C]"""
    total = 0.0
    for layer in layers:
        total += layer.temperature
    return total / len(layers)


def least(layers: Sequence[Layer]) -> float:
    """Coldest layer. [°C]"""
    low = math.inf
    for layer in layers:
        if layer.temperature < low:
            low = layer.temperature
    return low


def greatest(layers: Sequence[Layer]) -> float:
    """Warmest layer. [°C]"""
    high = -math.inf
    for layer in layers:
        if layer.temperature > high:
            high = layer.temperature
    return high
