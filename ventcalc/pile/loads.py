"""
What a pile weighs: on walls, on the floor, and on its own lowest tubers.

Every figure is an indication. Standards exist for the walls of potato storages (ANSI/ASAE
EP446); they are not reproduced here. A licensed structural engineer must check the wall.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from ventcalc.errors import check_range

__all__ = [
    "BRUISE_THRESHOLD",
    "SILO_RATIO",
    "SILO_RATIO_SPREAD",
    "SILO_WALL_FRICTION",
    "STRUCTURAL_NOTE",
    "Flattening",
    "WallLoad",
    "WallLoads",
    "at_rest_ratio",
    "flattening",
    "floor_pressure",
    "rankine_ratio",
    "wall_load",
    "wall_load_janssen",
    "wall_loads",
]

STRUCTURAL_NOTE = (
    "an indication; a licensed structural engineer must check the wall: surcharge of conveyors, "
    "filling from one side, wet crop and trucks against the wall come on top"
)
GRAVITY = 9.80665
FRICTION_ANGLE = 34.0
"""Potatoes, angle of repose in EN 1991-4 Annex E, from memory. [degrees]"""
SILO_RATIO = 0.54
"""Horizontal over vertical pressure of potatoes, EN 1991-4 Annex E, from memory. [1]"""
SILO_RATIO_SPREAD = 1.11
"""Factor from that mean to its upper value, EN 1991-4 Annex E, from memory. [1]"""
SILO_WALL_FRICTION = 0.38
"""Wall friction of potatoes, wall type D2, EN 1991-4 Annex E, from memory. [1]"""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class WallLoad:
    """Load of the pile on one metre of vertical wall; an indication (STRUCTURAL_NOTE)."""

    ratio: Any
    """Horizontal over vertical pressure. [1]"""
    base_pressure: Any
    """Horizontal pressure at the foot of the wall. [Pa]"""
    thrust: Any
    """Horizontal force per metre of wall. [N/m]"""
    moment: Any
    """Overturning moment about the foot, per metre of wall. [N m/m]"""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class WallLoads:
    """The same wall by several methods side by side; an indication."""

    active: WallLoad
    """Rankine: a wall that gives way enough for the pile to shear."""
    at_rest: WallLoad
    """Jaky: a wall that does not move."""
    silo: WallLoad
    """Ratio of the silo standard, without wall friction."""
    silo_upper: WallLoad
    """The same with the upper value of the ratio."""
    janssen: WallLoad
    """Silo ratio with friction on two walls ``width`` apart: shows how little it relieves."""
    spread: Any
    """Thrust by the silo ratio over thrust by Rankine: what the choice of method is worth. [1]"""
    note: str = STRUCTURAL_NOTE
    """Who must check the wall."""


def rankine_ratio(friction_angle: Any) -> Any:
    """
    Horizontal over vertical pressure on a wall that gives way (active, level top, smooth wall).

    Parameters
    ----------
    friction_angle : array-like
        Angle of internal friction, 15-50. [degrees]

    Returns
    -------
    array
        (1 - sin phi) / (1 + sin phi). [1]

    Raises
    ------
    OutOfRange
        If the angle is out of range.

    References
    ----------
    .. [1] W. J. M. Rankine, On the stability of loose earth, Phil. Trans. 147 (1857) 9-27.
    """
    check_range("friction_angle", friction_angle, 15.0, 50.0, "degrees", "radians?")
    sine = np.sin(np.radians(friction_angle))
    return (1.0 - sine) / (1.0 + sine)


def at_rest_ratio(friction_angle: Any) -> Any:
    """
    Horizontal over vertical pressure on a wall that does not move.

    Parameters
    ----------
    friction_angle : array-like
        Angle of internal friction, 15-50. [degrees]

    Returns
    -------
    array
        1 - sin phi. [1]

    Raises
    ------
    OutOfRange
        If the angle is out of range.

    References
    ----------
    .. [1] J. Jaky, The coefficient of earth pressure at rest, J. Soc. Hung. Eng. Arch. 78
       (1944) 355-358.
    """
    check_range("friction_angle", friction_angle, 15.0, 50.0, "degrees", "radians?")
    return 1.0 - np.sin(np.radians(friction_angle))


def _unit_weight(bulk_density: Any, height: Any, surcharge: Any) -> Any:
    check_range("bulk_density", bulk_density, 300.0, 1000.0, "kg/m3", "lb/ft3?")
    check_range("height", height, 0.0, 12.0, "m", "feet?")
    check_range("surcharge", surcharge, 0.0, 1e5, "Pa", "kPa?")
    return bulk_density * GRAVITY


def floor_pressure(height: Any, *, bulk_density: Any, surcharge: Any = 0.0) -> Any:
    """
    Weight of the pile on the floor; an indication for slab and ducts, not a check of either.

    Parameters
    ----------
    height : array-like
        Depth of the pile, 0-12. [m]
    bulk_density : array-like
        Mass of crop per volume of pile. [kg/m³]
    surcharge : array-like
        Anything on top. [Pa]

    Returns
    -------
    array
        Vertical pressure. [Pa]

    Raises
    ------
    OutOfRange
        If an input is out of range.
    """
    return _unit_weight(bulk_density, height, surcharge) * height + surcharge


def wall_load(height: Any, *, bulk_density: Any, ratio: Any, surcharge: Any = 0.0) -> WallLoad:
    """
    Load on a wall when horizontal pressure is a fixed part of the weight above.

    An indication; a licensed structural engineer must check the wall.

    Parameters
    ----------
    height : array-like
        Depth of crop at the wall, 0-12. [m]
    bulk_density : array-like
        Mass of crop per volume of pile. [kg/m³]
    ratio : array-like
        Horizontal over vertical pressure, 0.1-1. [1]
    surcharge : array-like
        Vertical pressure on top of the pile. [Pa]

    Returns
    -------
    WallLoad
        Per metre of wall. Thrust grows with height², the moment with height³.

    Raises
    ------
    OutOfRange
        If an input is out of range.
    """
    return _wall_load(height, bulk_density, ratio, surcharge, (1.0, 1.0 / 2.0, 1.0 / 6.0))


def _wall_load(
    height: Any, bulk_density: Any, ratio: Any, surcharge: Any, shares: tuple[Any, Any, Any]
) -> WallLoad:
    """``shares`` of weight and height count for pressure, thrust and moment. [1]"""
    check_range("ratio", ratio, 0.1, 1.0)
    weight = _unit_weight(bulk_density, height, surcharge) * height
    return WallLoad(
        ratio=ratio,
        base_pressure=ratio * (weight * shares[0] + surcharge),
        thrust=ratio * (weight * shares[1] + surcharge) * height,
        moment=ratio * (weight * shares[2] + surcharge / 2.0) * height * height,
    )


def wall_load_janssen(
    height: Any,
    *,
    bulk_density: Any,
    width: Any,
    ratio: Any = SILO_RATIO,
    wall_friction: Any = SILO_WALL_FRICTION,
    surcharge: Any = 0.0,
) -> WallLoad:
    """
    Load on the long walls of a bay when the crop hangs on both by friction.

    An indication; a licensed structural engineer must check the wall.

    Parameters
    ----------
    height, bulk_density : array-like
        As for ``wall_load``. [m, kg/m³]
    width : array-like
        Between the two walls, 0.5-300. [m]
    ratio : array-like
        Horizontal over vertical pressure, 0.1-1. [1]
    wall_friction : array-like
        Friction coefficient of crop on wall, 0.05-1. [1]
    surcharge : array-like
        Vertical pressure on top; no relief is counted for it. [Pa]

    Returns
    -------
    WallLoad
        Per metre of wall, never above that of ``wall_load``.

    Raises
    ------
    OutOfRange
        If an input is out of range.

    Notes
    -----
    p(z) = K g rho z0 (1 - exp(-z/z0)) with z0 = width / (2 K mu). With a bay as wide as three
    times its depth the relief is a few per cent, and shaking or slip takes it away.

    References
    ----------
    .. [1] H. A. Janssen, Versuche über Getreidedruck in Silozellen, Z. VDI 39 (1895) 1045-1049.
    """
    check_range("width", width, 0.5, 300.0, "m")
    check_range("wall_friction", wall_friction, 0.05, 1.0)
    relief = _relief(height * 2.0 * ratio * wall_friction / width)
    return _wall_load(height, bulk_density, ratio, surcharge, relief)


def _relief(x: Any) -> tuple[Any, Any, Any]:
    """
    (1 - e^-x)/x and its two integrals over depth: 1, 1/2 and 1/6 at x = 0.

    The closed forms cancel at small x, where the series of the last one is summed instead.
    """
    near = np.minimum(x, 1.0)
    series, term = 0.0, 1.0 / 6.0
    for n in range(4, 22):
        series, term = series + term, -term * near / n
    far = np.maximum(x, 1.0)
    one = (1.0 - np.exp(-far)) / far
    two = (1.0 - one) / far
    three = np.where(x < 1.0, series, (0.5 - two) / far)
    two = 0.5 - x * three
    return 1.0 - x * two, two, three


def wall_loads(
    height: Any,
    *,
    bulk_density: Any,
    width: Any,
    friction_angle: Any = FRICTION_ANGLE,
    silo_ratio: Any = SILO_RATIO,
    wall_friction: Any = SILO_WALL_FRICTION,
    surcharge: Any = 0.0,
) -> WallLoads:
    """
    Load of the pile on its side wall, by every method here side by side.

    An indication; a licensed structural engineer must check the wall.

    Parameters
    ----------
    height, bulk_density, surcharge : array-like
        As for ``wall_load``. [m, kg/m³, Pa]
    width : array-like
        Between the side walls, for Janssen. [m]
    friction_angle : array-like
        Angle of internal friction (34 from memory of EN 1991-4 Annex E). [degrees]
    silo_ratio : array-like
        Horizontal over vertical pressure (0.54 from memory of EN 1991-4 Annex E). [1]
    wall_friction : array-like
        Friction of crop on wall (0.38 from memory of EN 1991-4 Annex E). [1]

    Returns
    -------
    WallLoads
        Per metre of wall. Methods differ by a factor of about 1.9 (``spread``): a wall that
        passes by one and fails by another has not passed.

    Raises
    ------
    OutOfRange
        If an input is out of range.
    """
    given = {"height": height, "bulk_density": bulk_density, "surcharge": surcharge}
    active = rankine_ratio(friction_angle)
    return WallLoads(
        active=wall_load(ratio=active, **given),
        at_rest=wall_load(ratio=at_rest_ratio(friction_angle), **given),
        silo=wall_load(ratio=silo_ratio, **given),
        silo_upper=wall_load(ratio=silo_ratio * SILO_RATIO_SPREAD, **given),
        janssen=wall_load_janssen(
            width=width, ratio=silo_ratio, wall_friction=wall_friction, **given
        ),
        spread=silo_ratio / active,
    )


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Flattening:
    """Pressure flattening of the worst-placed tubers; an indication from one trial."""

    area: Any
    """Mean area of the largest flat on a tuber. [m²]"""
    relative: Any
    """That area over the area in a pile 2.5 m deep. [1]"""
    extrapolated: Any
    """Whether the height lies outside the two heights of the trial, 2.5 and 5 m."""
    above_threshold: Any
    """Whether it is above 3.5 m, from where stacking can cause or worsen pressure bruise."""


TRIAL_HEIGHTS = (2.5, 5.0)
TRIAL_AREAS = (328e-6, 413e-6)
BRUISE_THRESHOLD = 3.5
"""From here on stacking can cause or worsen pressure bruise, INRA. [m]"""


def flattening(height: Any) -> Flattening:
    """
    Size of pressure flats at the bottom of a pile, by depth alone: an indication.

    Parameters
    ----------
    height : array-like
        Depth of the pile, 0.5-8. [m]

    Returns
    -------
    Flattening
        Power law through the two published points: area grows as height to the 0.33.

    Raises
    ------
    OutOfRange
        If the height is out of range.

    Notes
    -----
    Two heights, one store at 4 °C for 7 months, four cultivars. Water lost early, air drier
    than 90 % and months in store count for more than depth, and no modern table of heights by
    cultivar was found: compare piles with it, do not predict losses.

    References
    ----------
    .. [1] Z. Czerko, IHAR, simulated 2.5 m and 5.0 m piles: 328 and 413 mm²
       (ojs.ihar.edu.pl article 2095).
    .. [2] INRA ephytia, page C/23700: stacks above 3.5 m.
    """
    check_range("height", height, 0.5, 8.0, "m", "feet?")
    exponent = math.log2(TRIAL_AREAS[1] / TRIAL_AREAS[0])
    relative = (height / TRIAL_HEIGHTS[0]) ** exponent
    return Flattening(
        area=TRIAL_AREAS[0] * relative,
        relative=relative,
        extrapolated=(height < TRIAL_HEIGHTS[0]) | (height > TRIAL_HEIGHTS[1]),
        above_threshold=height > BRUISE_THRESHOLD,
    )
