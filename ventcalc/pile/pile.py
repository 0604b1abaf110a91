"""
The pile as a body: its shape and its resistance to airflow.

What it weighs on walls and floor is in ``pile_loads``.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from ventcalc.errors import check_range

__all__ = [
    "SOIL_FACTOR_AGRIA",
    "SOIL_FACTOR_MARFONA",
    "PileShape",
    "pile_shape",
    "porosity",
    "pressure_drop_ergun",
    "soil_factor",
]

SOIL_FACTOR_AGRIA = 1.36
"""Resistance over that with 2 % less soil, cultivar Agria, Hamadan study: see soil_factor. [1]"""
SOIL_FACTOR_MARFONA = 1.33
"""The same for Marfona. [1]"""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class PileShape:
    """A pile against the back wall, level on top, its open face at the angle of repose."""

    volume: Any
    """[m³]"""
    mass: Any
    """Crop. [kg]"""
    floor_area: Any
    """Floor under crop. [m²]"""
    toe: Any
    """Foot of the face, from the back wall. [m]"""
    crest: Any
    """Upper edge of the face, from the back wall; 0 when only a wedge is left. [m]"""
    back_height: Any
    """Depth of crop at the back wall, below the full height for a wedge. [m]"""
    mean_height: Any
    """Volume over floor area. [m]"""


def _cotangent(angle: Any) -> Any:
    """Run of a slope over its rise; 90° gives a vertical face (6e-17, not 0)."""
    check_range(
        "face_angle", angle, 5.0, 90.0, "degrees", "degrees from the floor, 90 for a bulkhead"
    )
    return 1.0 / np.tan(np.radians(angle))


def _check_floor(width: Any, height: Any, bulk_density: Any) -> None:
    check_range("width", width, 0.1, 300.0, "m", "feet?")
    check_range("height", height, 0.05, 12.0, "m", "feet?")
    check_range("bulk_density", bulk_density, 300.0, 1000.0, "kg/m3", "lb/ft3?")


def pile_shape(
    *, toe: Any, width: Any, height: Any, bulk_density: Any, face_angle: Any = 90.0
) -> PileShape:
    """
    Volume and mass of a pile from the place of its foot.

    Parameters
    ----------
    toe : array-like
        Floor under crop, from the back wall to the foot of the face, 0-2000. [m]
    width : array-like
        Between the side walls. [m]
    height : array-like
        Depth of the level part. [m]
    bulk_density : array-like
        Mass of crop per volume of pile. [kg/m³]
    face_angle : array-like
        Angle of the open face from the floor: 90 behind a bulkhead, else the angle of repose
        (30-37 for potatoes, from memory, no source). [degrees]

    Returns
    -------
    PileShape
        A prism: level to the crest and sloping to the toe, or only a wedge when the run of
        the face is longer than the floor.

    Raises
    ------
    OutOfRange
        If a dimension, the density or the angle is out of range.
    """
    check_range("toe", toe, 0.0, 2000.0, "m", "feet?")
    _check_floor(width, height, bulk_density)
    run = _cotangent(face_angle)
    back = np.minimum(height, toe / run)
    crest = toe - back * run
    volume = width * back * (toe - 0.5 * back * run)
    area = width * toe
    return PileShape(
        volume=volume,
        mass=volume * bulk_density,
        floor_area=area,
        toe=toe,
        crest=np.maximum(crest, 0.0),
        back_height=back,
        mean_height=volume / np.where(area > 0.0, area, 1.0),
    )


def porosity(bulk_density: Any, tuber_density: Any) -> Any:
    """
    Air per volume of pile.

    Parameters
    ----------
    bulk_density : array-like
        Mass of crop per volume of pile, 300-1000. [kg/m³]
    tuber_density : array-like
        Mass per volume of a tuber, 1000-1200. [kg/m³]

    Returns
    -------
    array
        Porosity. [m³ air/m³ pile]

    Raises
    ------
    OutOfRange
        If a density is out of range.
    """
    check_range("bulk_density", bulk_density, 300.0, 1000.0, "kg/m3", "lb/ft3?")
    check_range("tuber_density", tuber_density, 1000.0, 1200.0, "kg/m3", "g/cm3?")
    return 1.0 - bulk_density / tuber_density


def _check_packing(porosity: Any, tuber_diameter: Any) -> None:
    check_range("porosity", porosity, 0.2, 0.7, "", "percent?")
    check_range("tuber_diameter", tuber_diameter, 0.01, 0.2, "m", "millimetres?")


def soil_factor(soil: Any, *, per_two_percent: float = SOIL_FACTOR_AGRIA) -> Any:
    """
    How much soil between the tubers raises the resistance to airflow: an indication.

    Parameters
    ----------
    soil : array-like
        Soil and trash per mass of load, 0-0.1. [0-1]
    per_two_percent : float
        Factor for each further 0.02 of soil: 1.36 (Agria), 1.33 (Marfona). [1]

    Returns
    -------
    array
        Resistance over that of a clean pile. [1]

    Raises
    ------
    OutOfRange
        If the soil is out of range.

    Notes
    -----
    The factor compounds: 6 % of soil multiplies by 1.36³ = 2.5. Measured on a small rig with
    two cultivars; soil that lies in a cone under the loading boom does far more than the same
    soil spread evenly, so take the figure as a sign and a size, not as a prediction.

    References
    ----------
    .. [1] Hamadan agricultural research centre, resistance of potato piles to airflow
       (abstract), fooder.areeo.ac.ir record 125712.
    """
    check_range("soil", soil, 0.0, 0.1, "", "percent?")
    check_range("per_two_percent", per_two_percent, 1.0, 2.0)
    return per_two_percent ** (soil / 0.02)


def pressure_drop_ergun(
    superficial_velocity: Any,
    *,
    height: Any,
    porosity: Any,
    tuber_diameter: Any,
    density: Any,
    viscosity: Any,
    factor: Any = 1.0,
) -> Any:
    """
    Pressure drop of air through the pile, from the size and packing of the tubers.

    Parameters
    ----------
    superficial_velocity : array-like
        Airflow over pile floor area, 0-5. [m/s]
    height : array-like
        Depth of pile that the air passes, 0-12. [m]
    porosity : array-like
        Air per volume of pile, 0.2-0.7. [m³/m³]
    tuber_diameter : array-like
        Diameter of a sphere as large as the mean tuber, 0.01-0.2. [m]
    density : array-like
        Density of the air, 0.5-2. [kg/m³]
    viscosity : array-like
        Dynamic viscosity of the air, 1e-5 to 3e-5. [Pa s]
    factor : array-like
        Multiplies the result: soil, packing (up to 1.5 is noted for grain). [1]

    Returns
    -------
    array
        Pressure drop of a clean pile of equal spheres times ``factor``. [Pa]

    Raises
    ------
    OutOfRange
        If an input is out of range.

    Notes
    -----
    150 mu (1-e)² v / (e³ d²) + 1.75 rho (1-e) v² / (e³ d), per metre. Tubers are no spheres
    and no two piles are packed alike: expect a factor of two. Ducts, ports and doors, not the
    clean pile, take most of the fans' pressure.

    References
    ----------
    .. [1] S. Ergun, Fluid flow through packed columns, Chem. Eng. Prog. 48 (1952) 89-94.
    """
    check_range("superficial_velocity", superficial_velocity, 0.0, 5.0, "m/s", "ft/min?")
    check_range("height", height, 0.0, 12.0, "m", "feet?")
    check_range("factor", factor, 0.1, 100.0)
    check_range("density", density, 0.5, 2.0, "kg/m3", "lb/ft3?")
    check_range("viscosity", viscosity, 1e-5, 3e-5, "Pa s", "dynamic viscosity, in Pa s?")
    _check_packing(porosity, tuber_diameter)
    void = porosity * porosity * porosity
    solid = (1.0 - porosity) / tuber_diameter
    viscous = 150.0 * viscosity * solid * solid / void
    inertial = 1.75 * density * solid / void
    v = superficial_velocity
    return factor * height * (viscous + inertial * v) * v
