"""The deep bed in data: what it is, where it stands, what a step does to it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property, reduce
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ventcalc._ops import SCALAR, Ops, ops_for
from ventcalc.errors import check_range
from ventcalc.pile.crop import Crop

__all__ = ["Bed", "BedState", "BedStep", "Inflow", "Passage", "fresh_bed", "layer_mean"]

Array = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True, eq=False)
class Bed:
    """
    A pile of tubers above a floor that lets air in evenly.

    ``height``, ``bulk_density``, ``tuber_diameter`` and ``pressure`` may be arrays over bays.

    Parameters
    ----------
    height : float or array
        Depth of the pile. [m]
    bulk_density : float or array
        Mass of crop per volume of pile. [kg/m³]
    tuber_diameter : float or array
        Diameter of a sphere as large as the mean tuber. [m]
    pressure : float or array
        Air pressure. [Pa]
    crop : Crop
        The crop.
    maturity : str
        ``mature`` or ``immature`` at harvest.
    layers : int
        Number of layers; at least half the number of transfer units of the bed.
    conductivity : float
        Effective conductivity of the pile at rest, conduction and radiation together
        (derived: 0.13 still bed + 0.26 radiation at 5 °C). [W/(m K)]
    """

    height: Any
    bulk_density: Any
    tuber_diameter: Any
    pressure: Any
    crop: Crop
    maturity: str = "mature"
    layers: int = 40
    conductivity: float = 0.35

    @cached_property
    def thickness(self) -> Any:
        """Thickness of a layer. [m]"""
        return self.height / self.layers

    @cached_property
    def layer_mass(self) -> Any:
        """Crop in a layer per floor area. [kg/m²]"""
        return self.bulk_density * self.thickness

    @cached_property
    def heat_capacity(self) -> Any:
        """Heat capacity of a layer per floor area. [J/(m² K)]"""
        return self.layer_mass * self.crop.specific_heat

    @cached_property
    def porosity(self) -> Any:
        """Air per volume of pile. [m³/m³]"""
        return 1.0 - self.bulk_density / self.crop.tuber_density

    @cached_property
    def area_density(self) -> Any:
        """Tuber surface per volume of pile. [m²/m³]"""
        return 6.0 * (1.0 - self.porosity) / self.tuber_diameter

    def worked_out(self) -> Bed:
        """The same bed, its derived numbers known: none is left to be found inside a branch."""
        _ = self.heat_capacity, self.area_density
        return self


@dataclass(frozen=True, kw_only=True, eq=False)
class BedState:
    """What the bed remembers from step to step; losses are per kg of crop loaded."""

    temperature: Array
    """Mean tuber temperature of each layer. [°C]"""
    film: Array
    """Free water on the tubers. [kg/kg crop]"""
    wet: bool
    """Whether any layer carries a film."""
    source: Array
    """Net heat source of the last step, the first guess of the next. [W/m²]"""
    water_loss: Array
    """Water lost through the skin, less the water that respiration makes. [kg/kg crop]"""
    dry_matter_loss: Array
    """Dry matter burned. [kg/kg crop]"""
    curing: Any
    """Wound healing done, as time at the reference temperature, mean of the bed. [s]"""


@dataclass(frozen=True, kw_only=True, eq=False)
class BedStep:
    """Means of one step, per m² of floor."""

    outlet_temperature: Any
    """Air leaving the top. [°C]"""
    outlet_humidity_ratio: Any
    """Air leaving the top. [kg/kg dry air]"""
    evaporated: Array
    """Water from each layer into the air, negative where it is taken up. [kg/(m² s)]"""
    condensed: Any
    """Water that lay down as a film, all layers. [kg/(m² s)]"""
    respiration: Array
    """Heat of respiration of each layer. [W/m²]"""
    co2: Any
    """CO2 given off by the bed. [kg/(m² s)]"""
    latent_heat: Any
    """Heat of evaporation that the step used. [J/kg]"""


@dataclass(frozen=True, kw_only=True, eq=False)
class Passage:
    """How air passes the bed at one velocity in one time step; scalars, or arrays over bays."""

    step: float
    """Length of the time step. [s]"""
    mass_flow: Any
    """Dry air. [kg/(m² s)]"""
    air_capacity: Any
    """[W/(m² K)]"""
    effectiveness: Any
    """Heat exchange of one layer. [1]"""
    film_effectiveness: Any
    """Vapour exchange of one wet layer. [1]"""
    weight: Any
    """Share of the way to equilibrium of the layer's mean over the step. [1]"""
    carry: Any
    """What a layer leaves of the difference that enters it. [1]"""
    hold: Any
    """Share of the layer's own temperature in the air that leaves it. [1]"""
    gain: Any
    """Warming of the leaving air per heat source. [K m²/W]"""
    inverse: Any
    """1 / effectiveness. [1]"""
    reach: Any
    """Change over the step per change of the mean. [1]"""
    conduction: Any
    """Between neighbouring layers. [W/(m² K)]"""
    conduction_parts: int
    """Parts into which conduction cuts the step to stay stable."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Inflow:
    """What comes to the bed from outside in a step; scalars, or arrays over bays."""

    temperature: Any
    """Air that enters. [°C]"""
    humidity_ratio: Any
    """Air that enters. [kg/kg dry air]"""
    age: Any
    """Time since harvest. [s]"""
    heat_gain: Any
    """Through walls and floor, per pile floor. [W/m²]"""
    top_heat: Any
    """Into the top layer, per pile floor. [W/m²]"""
    top_water: Any
    """From the top layer into the air above. [kg/(m² s)]"""


def carrier(values: Array) -> Ops:
    """
    How the numbers of one layer are worked with.

    Parameters
    ----------
    values : array
        Layers first. [any]

    Returns
    -------
    Ops
        For one bay its plain numbers, else arrays over bays.
    """
    return ops_for(values) if values.dtype == object or values.ndim > 1 else SCALAR


def layer_total(values: Array) -> Any:
    """
    Sum over the layers; for one bay a plain float.

    Parameters
    ----------
    values : array
        Layers first. [any]

    Returns
    -------
    float or array
        Sum, one element per bay. [as given]
    """
    total = np.add.reduce(values)
    return float(total) if carrier(values) is SCALAR else total


def layer_least(values: Array) -> Any:
    """
    Least of the layers; for one bay a plain float.

    Parameters
    ----------
    values : array
        Layers first. [any]

    Returns
    -------
    float or array
        One element per bay. [as given]
    """
    return _layer_extreme(values, np.minimum)


def layer_greatest(values: Array) -> Any:
    """
    Greatest of the layers; for one bay a plain float.

    Parameters
    ----------
    values : array
        Layers first. [any]

    Returns
    -------
    float or array
        One element per bay. [as given]
    """
    return _layer_extreme(values, np.maximum)


def _layer_extreme(values: Array, extreme: np.ufunc) -> Any:
    ops = carrier(values)
    if values.dtype == object:
        return reduce(getattr(ops, extreme.__name__), values)
    found = extreme.reduce(values)
    return float(found) if ops is SCALAR else found


def flagged_once(state: BedState) -> BedState:
    """
    The state with one flag for all bays; compiled steps tell of each whether it is wet.

    Parameters
    ----------
    state : BedState
        As compiled steps leave it.

    Returns
    -------
    BedState
        As ``march`` leaves it.
    """
    return replace(state, wet=bool(np.any(state.wet)))


def layer_mean(values: Array) -> Any:
    """
    Mean over the layers; for one bay a plain float.

    Parameters
    ----------
    values : array
        Layers first. [any]

    Returns
    -------
    float or array
        Mean, one element per bay. [as given]
    """
    return layer_total(values) / len(values)


def fresh_bed(bed: Bed, temperature: Any, bays: int | None = None) -> BedState:
    """
    A bed just loaded: dry, unhealed, nothing lost.

    Parameters
    ----------
    bed : Bed
        The pile.
    temperature : array-like
        Pulp temperature, one value or one per layer (first axis). [°C]
    bays : int, optional
        Number of bays for a batch; without it, one bay.

    Returns
    -------
    BedState
        The state to start from.

    Raises
    ------
    OutOfRange
        If a temperature lies outside -5 to 45.
    """
    check_range("temperature", temperature, -5.0, 45.0, "°C", "kelvin or °F?")
    shape = (bed.layers,) if bays is None else (bed.layers, bays)
    zeros = np.zeros(shape)
    return BedState(
        temperature=np.broadcast_to(np.asarray(temperature, dtype=float), shape).copy(),
        film=zeros,
        wet=False,
        source=zeros,
        water_loss=zeros,
        dry_matter_loss=zeros,
        curing=0.0 if bays is None else np.zeros(bays),
    )
