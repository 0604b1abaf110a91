"""What a bay carries from step to step, and what a step did."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from ventcalc import air
from ventcalc._ops import SCALAR
from ventcalc.bay.description import Bay
from ventcalc.pile import bed
from ventcalc.pile.crop import CO2_OUTSIDE, crop_for

__all__ = ["BayState", "Hour", "bed_of", "first_state", "layer_of"]


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class BayState:
    """What a bay carries from step to step."""

    bed: bed.BedState
    share: Any
    """Part of the floor that carries crop. [1]"""
    loaded: Any
    """Part of the crop loaded so far. [1]"""
    exit_temperature: Any
    """Air that left the top of the pile in the last step. [°C]"""
    exit_humidity_ratio: Any
    """[kg/kg dry air]"""
    return_temperature: Any
    """Air above the pile, as a probe reads it. [°C]"""
    return_humidity_ratio: Any
    """[kg/kg dry air]"""
    plenum_temperature: Any
    """[°C]"""
    co2: Any
    """Volume fraction. [1]"""
    top_heat: Any
    """Heat into the top of the pile from the headspace and the ceiling. [W/m²]"""
    top_water: Any
    """Water from the top tubers into the headspace, negative where they sweat. [kg/(m² s)]"""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Hour:
    """What happened in one step; powers are means over the step, for the whole bay. [W]"""

    plenum_temperature: Any
    """[°C]"""
    plenum_humidity_ratio: Any
    """[kg/kg dry air]"""
    fog: Any
    """Liquid water carried by the supply. [kg/s]"""
    fan_power: Any
    """[W]"""
    coil_power: Any
    """Electrical power of the refrigeration, defrosting included. [W]"""
    heater_power: Any
    """[W]"""
    humidifier_power: Any
    """[W]"""
    water_added: Any
    """[kg/s]"""
    ceiling_temperature: Any
    """Inside surface. [°C]"""
    drip: Any
    """Water condensing on the ceiling. [kg/s]"""
    fresh_air: Any
    """Dry air from outside. [kg/s]"""
    runs: Any
    """Whether the fans ran."""
    step: bed.BedStep


def bed_of(bay: Bay, pressure: Any, layers: int) -> bed.Bed:
    """
    The pile of a bay as the bed model sees it.

    Parameters
    ----------
    bay : Bay
        The bay, or a stack of bays.
    pressure : array-like
        Air pressure. [Pa]
    layers : int
        Layers of the model.

    Returns
    -------
    Bed
        Its height follows from the mass loaded.
    """
    pile = bay.pile
    return bed.Bed(
        height=bay.mass / (pile.bulk_density * pile.floor_area),
        bulk_density=pile.bulk_density,
        tuber_diameter=pile.tuber_diameter,
        pressure=pressure,
        crop=crop_for(bay.use),
        maturity=bay.lots[0].maturity,
        layers=layers,
    )


def first_state(bay: Bay, model: bed.Bed, bays: int | None) -> BayState:
    """
    An empty bay at its first load.

    Parameters
    ----------
    bay : Bay
        The bay, or a stack of bays.
    model : Bed
        Its pile.
    bays : int or None
        Number of bays in a stack.

    Returns
    -------
    BayState
        The first loads at their pulp temperature, air as warm, 90 % relative humidity.
    """
    warm = sum(lot.mass * lot.loading_temperature for lot in bay.lots) / bay.mass
    return BayState(
        bed=bed.fresh_bed(model, warm, bays),
        share=0.0 * warm + 1e-3,
        loaded=0.0 * warm + 1e-3,
        exit_temperature=warm,
        exit_humidity_ratio=air.humidity_ratio(warm, 0.9, model.pressure),
        return_temperature=warm,
        return_humidity_ratio=air.humidity_ratio(warm, 0.9, model.pressure),
        plenum_temperature=warm,
        co2=0.0 * warm + CO2_OUTSIDE,
        top_heat=0.0 * warm,
        top_water=0.0 * warm,
    )


def layer_of(layers: Any, place: int) -> Any:
    """
    One layer of the pile.

    Parameters
    ----------
    layers : array
        Layers first. [any]
    place : int
        Which, from the bottom; -1 for the top.

    Returns
    -------
    float or array
        For one bay a plain float. [as given]
    """
    one = layers[place]
    return float(one) if bed.carrier(layers) is SCALAR else one
