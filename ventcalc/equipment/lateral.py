"""
Air from laterals under the pile: pressure along them, flow from every port, how even it is.

One starts at the dead end, where nothing moves, and goes port by port back to the plenum; the
pressure at the dead end is then found that gives the plenum's pressure.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ventcalc.equipment._arrays import plain, rising_root
from ventcalc.equipment.duct import Section, friction_gradient
from ventcalc.errors import BadInput, VentcalcError, check_range

__all__ = [
    "Lateral",
    "LateralFlow",
    "lateral_flow",
    "least_share",
    "problems",
    "uniformity",
]

Array = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True, eq=False)
class Lateral:
    """
    A duct under the pile, closed at its far end, with ports at even spacing.

    Parameters
    ----------
    length : float
        From plenum to dead end. [m]
    section : Section
        Cross-section, the same all along.
    ports : int
        Number of places with ports (two holes side by side are one place).
    port_area : float or sequence of float
        Open area of each place; a sequence runs from the plenum to the dead end. [m²]
    roughness : float
        Of the wall, an equivalent one if corrugated. [m]
    discharge_coefficient : float
        Airflow over area times ideal velocity; 0.65 [1]. [1]
    regain : float
        Part of the lost velocity pressure that comes back as static pressure where a port
        takes air off, 0-1; 1 [1]. [1]
    entry_loss : float
        Velocity pressures lost at the entry (0.5 sharp-edged, from memory, textbooks). [1]

    Raises
    ------
    BadInput
        With one line for each thing that is wrong.

    References
    ----------
    .. [1] K. El Moueddeb, S. Barrington, N. Barthakur, Perforated ventilation ducts: part 2,
       validation of an air distribution model, J. agric. Engng Res. 68 (1997) 29-37 (abstract:
       four wooden ducts, regain of unity, discharge coefficient 0.65).
    """

    length: float
    section: Section
    ports: int
    port_area: Any
    roughness: float
    discharge_coefficient: float = 0.65
    regain: float = 1.0
    entry_loss: float = 0.5

    def __post_init__(self) -> None:
        found = problems(self)
        if found:
            raise BadInput(found)

    @property
    def total_port_area(self) -> float:
        """All ports. [m²]"""
        return float(np.sum(np.broadcast_to(self.port_area, (self.ports,))))


def problems(lateral: Lateral, *, bay_length: float | None = None) -> list[str]:
    """
    What makes a lateral unusable, one plain line each.

    Parameters
    ----------
    lateral : Lateral
        The lateral.
    bay_length : float, optional
        Room for it in the bay. [m]

    Returns
    -------
    list of str
        Empty if nothing is wrong.
    """
    found = []
    limits = (
        ("length", lateral.length, 0.5, 200.0, "m"),
        ("ports", lateral.ports, 1, 2000, ""),
        ("roughness", lateral.roughness, 0.0, 0.05, "m"),
        ("discharge_coefficient", lateral.discharge_coefficient, 0.3, 1.0, ""),
        ("regain", lateral.regain, 0.0, 1.0, ""),
        ("entry_loss", lateral.entry_loss, 0.0, 3.0, ""),
    )
    for name, value, low, high, unit in limits:
        try:
            check_range(name, value, low, high, unit)
        except VentcalcError as error:
            found.append(str(error))
    if found:
        return found
    shape = np.shape(lateral.port_area)
    if shape not in ((), (lateral.ports,)):
        return [f"port_area has {shape[0]} values: give one, or one for each of {lateral.ports}"]
    if np.min(lateral.port_area) < 0.0:
        return ["port_area must not be below 0"]
    total, duct = lateral.total_port_area, float(np.min(lateral.section.area))
    if total > duct:
        found.append(
            f"ports total {total:.4g} m² but the duct has only {duct:.4g} m²: most air would "
            "leave at the dead end; use fewer or smaller ports or a larger duct"
        )
    if bay_length is not None and lateral.length > bay_length:
        found.append(
            f"lateral is {lateral.length:g} m long but the bay only {bay_length:g} m: "
            "shorten it, or correct the bay"
        )
    return found


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class LateralFlow:
    """Air along a lateral; port arrays run from plenum to dead end on their first axis."""

    airflow: Any
    """Into the lateral. [m³/s]"""
    plenum_pressure: Any
    """Static pressure in the plenum. [Pa]"""
    end_pressure: Any
    """Static pressure at the dead end. [Pa]"""
    port_airflow: Array
    """Negative where a port draws air in. [m³/s]"""
    static_pressure: Array
    """In the duct just past each port, which drives it. [Pa]"""
    velocity: Array
    """In the duct just before each port. [m/s]"""
    uniformity: Any
    """Over open ports: 1 less mean deviation over mean (Christiansen). [1]"""
    least_share: Any
    """Over open ports: least over mean airflow. [1]"""


def lateral_flow(
    lateral: Lateral,
    *,
    plenum_pressure: Any,
    density: Any,
    viscosity: Any,
    outlet_pressure: Any = 0.0,
    open_ports: Any = True,
) -> LateralFlow:
    """
    Flow along a lateral and out of each of its ports.

    Parameters
    ----------
    lateral : Lateral
        The lateral; its section may hold arrays over cases.
    plenum_pressure : array-like
        Static pressure in the plenum, where the air is slow. [Pa]
    density : array-like
        Of the air. [kg/m³]
    viscosity : array-like
        Dynamic, of the air. [Pa s]
    outlet_pressure : array-like
        Behind the ports, as under the pile; not above the plenum's. Ports first to differ by
        port (a single axis as long as the ports counts as that), else over cases. [Pa]
    open_ports : array-like
        Open part of each port, 0-1 or bool: one for all, one for each port, or ports first and
        then cases. [0-1]

    Returns
    -------
    LateralFlow
        Floats for one case (ports as arrays), arrays for many, all solved together.

    Raises
    ------
    OutOfRange
        If density or viscosity is out of range, the plenum's pressure below the outlets', or
        an open part outside 0-1.
    VentcalcError
        If no pressure at the dead end gives the plenum's.

    Notes
    -----
    From the dead end: friction between ports; at a port the static pressure past it drives
    Cd a sqrt(2 p / rho), and the pressure before it is lower by regain times the change in
    velocity pressure. At the entry (1 + entry_loss) velocity pressures come from the plenum.
    """
    check_range("density", density, 0.5, 2.0, "kg/m3", "lb/ft3?")
    check_range("viscosity", viscosity, 1e-5, 3e-5, "Pa s", "dynamic viscosity, in Pa s?")
    check_range("open_ports", np.asarray(open_ports, float), 0.0, 1.0, "", "percent?")
    case, areas, outlets = _cases(
        lateral, (plenum_pressure, density, viscosity), outlet_pressure, open_ports
    )
    target, lowest = np.broadcast_to(np.asarray(plenum_pressure, float), case), outlets.min(axis=0)
    check_range(
        "plenum_pressure less outlet_pressure", target - outlets.max(axis=0), 0.0, 1e5, "Pa",
        "static pressure, fan on",
    )  # fmt: skip

    def from_end(pressure: Array) -> tuple[Array, list[tuple[Array, Array, Array]]]:
        return _from_end(lateral, density, viscosity, areas, outlets, pressure)

    # The dead end never stands above the plenum, nor below the outlets, where nothing flows.
    end = rising_root(
        lambda pressure: from_end(pressure)[0] - target,
        lowest,
        target,
        1e-11 * (target - lowest) + 1e-15 * abs(target),
    )
    reached, rows = from_end(end)
    if np.any(abs(reached - target) > 1e-6 * (target - lowest) + 1e-12 * abs(target)):
        raise VentcalcError("lateral: no pressure at the dead end fits the plenum's")
    flow, pressure, velocity = (np.array(column[::-1]) for column in zip(*rows, strict=True))
    used = areas > 0.0
    return LateralFlow(
        airflow=plain(flow.sum(axis=0)),
        plenum_pressure=plain(target),
        end_pressure=plain(end),
        port_airflow=flow,
        static_pressure=pressure,
        velocity=velocity,
        uniformity=uniformity(flow, used=used),
        least_share=least_share(flow, used=used),
    )


def _from_end(
    lateral: Lateral, density: Any, viscosity: Any, areas: Array, outlets: Array, end: Array
) -> tuple[Array, list[tuple[Array, Array, Array]]]:
    """Plenum pressure from dead-end pressure; airflow, pressure, velocity of ports, far first."""
    spacing = lateral.length / lateral.ports
    section, pressure, airflow, velocity = lateral.section, end, 0.0 * end, 0.0 * end
    rows = []

    def friction() -> Any:
        return friction_gradient(
            velocity, section=section, roughness=lateral.roughness, density=density,
            viscosity=viscosity,
        )  # fmt: skip

    for opening, outside in zip(areas[::-1], outlets[::-1], strict=True):
        pressure = pressure + spacing * friction()
        head = pressure - outside
        ideal = np.copysign(np.sqrt(2.0 * abs(head) / density), head)
        flow = lateral.discharge_coefficient * opening * ideal
        airflow = airflow + flow
        faster = airflow / section.area
        driving = pressure
        pressure = pressure - lateral.regain * 0.5 * density * (faster**2 - velocity**2)
        velocity = faster
        rows.append((flow, driving, velocity))
    head = (1.0 + lateral.entry_loss) * 0.5 * density * velocity * abs(velocity)
    return pressure + 0.5 * spacing * friction() + head, rows


def _cases(
    lateral: Lateral, given: tuple[Any, ...], outlet_pressure: Any, open_ports: Any
) -> tuple[tuple[int, ...], Array, Array]:
    """Shape of the cases, port areas and outlet pressures with ports first."""
    own = (lateral.section.area, lateral.section.hydraulic_diameter)
    case = np.broadcast_shapes(*(np.shape(v) for v in (*given, *own)))
    open_, outside = np.asarray(open_ports, float), np.asarray(outlet_pressure, float)
    for value in (open_, outside):
        by_port = value.ndim > 0 and value.shape[0] == lateral.ports
        case = np.broadcast_shapes(case, value.shape[1:] if by_port else value.shape)
    full = (lateral.ports, *case)

    def spread(value: Array) -> Array:
        if value.ndim and value.shape[0] == lateral.ports:
            gap = (1,) * (len(case) - value.ndim + 1)
            value = value.reshape(value.shape[:1] + gap + value.shape[1:])
        return np.broadcast_to(value, full)

    holes = np.asarray(lateral.port_area, float)
    return case, spread(holes) * spread(open_), spread(outside)


def uniformity(airflow: Any, *, used: Any = True) -> Any:
    """
    How even airflows are, by Christiansen.

    Parameters
    ----------
    airflow : array-like
        First axis: ports, or laterals. [m³/s]
    used : array-like of bool
        Those that count.

    Returns
    -------
    array
        1 less the mean absolute deviation over the mean; 1 is perfectly even. [1]

    References
    ----------
    .. [1] J. E. Christiansen, Irrigation by sprinkling, Univ. of California Bull. 670 (1942).
    """
    flow, count, mean = _mean(airflow, used)
    off = np.where(np.broadcast_to(used, flow.shape), np.abs(flow - mean), 0.0).sum(axis=0) / count
    return plain(1.0 - off / mean)


def least_share(airflow: Any, *, used: Any = True) -> Any:
    """
    Least airflow over the mean.

    Parameters
    ----------
    airflow : array-like
        First axis: ports, or laterals. [m³/s]
    used : array-like of bool
        Those that count.

    Returns
    -------
    array
        1 is perfectly even. [1]
    """
    flow, _, mean = _mean(airflow, used)
    return plain(np.where(np.broadcast_to(used, flow.shape), flow, np.inf).min(axis=0) / mean)


def _mean(airflow: Any, used: Any) -> tuple[Array, Array, Array]:
    """Airflow as an array, how many count, and their mean: NaN where nothing flows."""
    flow = np.asarray(airflow, float)
    counted = np.broadcast_to(used, flow.shape)
    count = np.maximum(counted.sum(axis=0), 1).astype(float)
    mean = np.where(counted, flow, 0.0).sum(axis=0) / count
    return flow, count, np.where(mean == 0.0, np.nan, mean)
