"""Walls, ceiling, floor and sky: heat through them and water on them."""

from ventcalc.building.envelope import (
    OUTSIDE_RESISTANCE,
    SURFACE_RESISTANCE,
    Layer,
    bridged_u_value,
    conductance,
    heat_gain,
    layer,
    leakage_mass_flow,
    surface_temperature,
    u_value,
)

__all__ = [
    "OUTSIDE_RESISTANCE",
    "SURFACE_RESISTANCE",
    "Layer",
    "bridged_u_value",
    "conductance",
    "heat_gain",
    "layer",
    "leakage_mass_flow",
    "surface_temperature",
    "u_value",
]
