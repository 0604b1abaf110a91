"""What a bay carries from step to step, and what is kept of a step."""

from __future__ import annotations

from typing import NamedTuple

from ventcalc.air.plain import humidity_ratio
from ventcalc.bay.description import Bay
from ventcalc.bay.hourly import HourlyBay
from ventcalc.pile.crop import CO2_OUTSIDE, crop_for
from ventcalc.pile.layers import Bed, Layer

__all__ = [
    "BayState", "SensorErrors", "StepRecord", "bed_of", "first_layers", "first_state", "full_state",
]  # fmt: skip

EMPTY_SHARE = 1e-3
"""Part of the crop that a bay begins with: nothing divides by zero. [1]"""
FIRST_HUMIDITY = 0.9
"""Of the air over the first loads. [0-1]"""


class BayState(NamedTuple):
    """Air and crop of a bay; its layers stand beside it."""

    share: float
    """Part of the floor that carries crop. [1]"""
    loaded: float
    """Part of the crop loaded so far. [1]"""
    exit_temperature: float
    """Air that left the top of the pile in the last step. [°C]"""
    exit_humidity_ratio: float
    """[kg/kg dry air]"""
    return_temperature: float
    """Air above the pile, as a probe reads it. [°C]"""
    return_humidity_ratio: float
    """[kg/kg dry air]"""
    plenum_temperature: float
    """[°C]"""
    co2: float
    """Volume fraction. [1]"""
    curing: float
    """Wound healing done, as time at the reference temperature. [s]"""


class SensorErrors(NamedTuple):
    """What probes read less what is true; the policy sees it, the bay does not feel it."""

    outside_temperature: float = 0.0
    """[K]"""
    outside_relative_humidity: float = 0.0
    """[0-1]"""
    return_temperature: float = 0.0
    """[K]"""
    return_relative_humidity: float = 0.0
    """[0-1]"""
    plenum_temperature: float = 0.0
    """[K]"""
    pulp: float = 0.0
    """Of every pulp probe. [K]"""
    co2: float = 0.0
    """Volume fraction. [1]"""


class StepRecord:
    """What is kept of one step; powers are means over it, for the whole bay. [W]"""

    __slots__ = (
        "action",
        "ceiling_temperature",
        "co2",
        "coil_heat",
        "coil_power",
        "coil_water",
        "condensed",
        "door_opening",
        "drip",
        "dry_matter_loss",
        "fan_power",
        "fan_speed",
        "film",
        "fog",
        "fresh_air",
        "frost_stage",
        "heater",
        "heater_power",
        "humidifier_power",
        "humidity_wanted",
        "now",
        "planned",
        "plenum_humidity_ratio",
        "plenum_temperature",
        "pulp_coldest",
        "pulp_mean",
        "refrigeration",
        "respiration",
        "return_humidity_ratio",
        "return_temperature",
        "runs",
        "share",
        "stage",
        "target",
        "water_added",
        "water_loss",
        "wettest",
    )
    now: float
    """Start of the step, since the first load. [s]"""
    target: float
    """Pulp temperature that the policy worked to. [°C]"""
    planned: float
    """Pulp temperature that the calendar asks for. [°C]"""
    frost_stage: float
    """Code of the stage of freeze protection that the policy was in."""
    stage: float
    """Code of the stage."""
    pulp_mean: float
    """At the start of the step. [°C]"""
    pulp_coldest: float
    """At the start of the step. [°C]"""
    action: float
    """Code of what the policy did."""
    fan_speed: float
    """[0-1]"""
    door_opening: float
    """[0-1]"""
    humidity_wanted: float
    """[0-1]"""
    refrigeration: float
    """[0-1]"""
    heater: float
    """[0-1]"""
    film: float
    """Mean of the layers after the step. [kg/kg crop]"""
    wettest: float
    """Film of the wettest layer. [kg/kg crop]"""
    water_loss: float
    """[kg/kg crop]"""
    dry_matter_loss: float
    """[kg/kg crop]"""
    condensed: float
    """Water that lay down on the tubers. [kg/(m² s)]"""
    respiration: float
    """Heat of respiration. [W/m²]"""
    share: float
    """Part of the floor that carries crop. [1]"""
    return_temperature: float
    """[°C]"""
    return_humidity_ratio: float
    """[kg/kg dry air]"""
    co2: float
    """Volume fraction. [1]"""
    runs: float
    """1 where the fans ran."""
    plenum_temperature: float
    """NaN where they did not. [°C]"""
    plenum_humidity_ratio: float
    """[kg/kg dry air]"""
    fog: float
    """Liquid water carried by the supply. [kg/s]"""
    fresh_air: float
    """Dry air from outside. [kg/s]"""
    fan_power: float
    """[W]"""
    coil_heat: float
    """Taken from the air by the coil, sensible, latent and for freezing. [W]"""
    coil_water: float
    """Condensed or frozen on it. [kg/s]"""
    coil_power: float
    """Electrical power of the refrigeration, defrosting included. [W]"""
    heater_power: float
    """[W]"""
    humidifier_power: float
    """[W]"""
    water_added: float
    """[kg/s]"""
    ceiling_temperature: float
    """Inside surface at its coldest spots. [°C]"""
    drip: float
    """Water condensing on the ceiling. [kg/s]"""


def bed_of(bay: Bay | HourlyBay, pressure: float, layers: int) -> Bed:
    """The pile of a bay as the bed model sees it; its height follows from the mass loaded."""
    pile = bay.pile
    return Bed(
        height=bay.mass / (pile.bulk_density * pile.floor_area),
        bulk_density=pile.bulk_density,
        tuber_diameter=pile.tuber_diameter,
        pressure=pressure,
        crop=crop_for(bay.use),
        maturity=bay.immature_share,
        layers=layers,
    )


def first_layers(bay: Bay | HourlyBay, layers: int) -> list[Layer]:
    """The first loads, at their pulp temperature."""
    return [Layer(bay.loading_temperature) for _ in range(layers)]


def full_state(
    temperature: float, moist: float, curing: float, co2: float = CO2_OUTSIDE
) -> BayState:
    """A full bay at rest with air of one temperature and humidity ratio."""
    return BayState(
        share=1.0,
        loaded=1.0,
        exit_temperature=temperature,
        exit_humidity_ratio=moist,
        return_temperature=temperature,
        return_humidity_ratio=moist,
        plenum_temperature=temperature,
        co2=co2,
        curing=curing,
    )


def first_state(bay: Bay | HourlyBay, pressure: float) -> BayState:
    """An empty bay at its first load: air as warm as the crop, 90 % relative humidity."""
    warm = bay.loading_temperature
    moist = humidity_ratio(warm, FIRST_HUMIDITY, pressure)
    return BayState(
        share=EMPTY_SHARE,
        loaded=EMPTY_SHARE,
        exit_temperature=warm,
        exit_humidity_ratio=moist,
        return_temperature=warm,
        return_humidity_ratio=moist,
        plenum_temperature=warm,
        co2=CO2_OUTSIDE,
        curing=0.0,
    )
