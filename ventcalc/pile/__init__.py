"""The pile of tubers: its shape and pushes, its crop, its transient heat and moisture."""

from ventcalc.pile.pile import (
    SOIL_FACTOR_AGRIA,
    SOIL_FACTOR_MARFONA,
    PileShape,
    pile_shape,
    porosity,
    pressure_drop_ergun,
    soil_factor,
)

__all__ = [
    "SOIL_FACTOR_AGRIA",
    "SOIL_FACTOR_MARFONA",
    "PileShape",
    "pile_shape",
    "porosity",
    "pressure_drop_ergun",
    "soil_factor",
]
