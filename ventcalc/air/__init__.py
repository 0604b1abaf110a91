"""Moist air: its properties, and what mixing, heating, cooling and wetting make of it."""

from ventcalc.air.heat import (
    density,
    enthalpy,
    specific_volume,
    standard_pressure,
    temperature_from_enthalpy,
)
from ventcalc.air.moist import (
    FREEZING,
    MASS_RATIO,
    dew_point,
    enhancement_factor,
    humidity_ratio,
    humidity_ratio_from_wet_bulb,
    relative_humidity,
    relative_humidity_over_ice,
    saturation_humidity_ratio,
    saturation_pressure,
    vapour_pressure,
    wet_bulb,
)
from ventcalc.air.state import AirState, state

__all__ = [
    "FREEZING",
    "MASS_RATIO",
    "AirState",
    "density",
    "dew_point",
    "enhancement_factor",
    "enthalpy",
    "humidity_ratio",
    "humidity_ratio_from_wet_bulb",
    "relative_humidity",
    "relative_humidity_over_ice",
    "saturation_humidity_ratio",
    "saturation_pressure",
    "specific_volume",
    "standard_pressure",
    "state",
    "temperature_from_enthalpy",
    "vapour_pressure",
    "wet_bulb",
]
