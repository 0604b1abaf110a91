"""The pile of tubers: its shape and pushes, its crop, its transient heat and moisture."""

from ventcalc.pile.pile import (
    SOIL_FACTOR_AGRIA,
    SOIL_FACTOR_MARFONA,
    PileShape,
    pile_shape,
    pile_shape_for_mass,
    porosity,
    pressure_drop_d272,
    pressure_drop_ergun,
    soil_factor,
    specific_surface,
)

__all__ = [
    "SOIL_FACTOR_AGRIA",
    "SOIL_FACTOR_MARFONA",
    "PileShape",
    "pile_shape",
    "pile_shape_for_mass",
    "porosity",
    "pressure_drop_d272",
    "pressure_drop_ergun",
    "soil_factor",
    "specific_surface",
]
