"""Fans, ducts and pile together: what air a pile of a given height gets."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ventcalc import air
from ventcalc.bay.description import Bay, Ducts, lateral_section
from ventcalc.equipment.duct import VelocityChain, rectangular_section, velocity_chain
from ventcalc.equipment.fan import (
    FanCurve,
    Motor,
    OperatingPoint,
    SystemCurve,
    assumed_curve,
    operating_point,
    remarks,
)
from ventcalc.equipment.lateral import Lateral, lateral_flow
from ventcalc.equipment.shared_plenum import along_plenum
from ventcalc.errors import check_range
from ventcalc.pile import pile
from ventcalc.pile.air_path import AIR_VISCOSITY
from ventcalc.pile.crop import crop_for

__all__ = [
    "MOTOR_EFFICIENCY",
    "STANDARD_DENSITY",
    "AirSystem",
    "air_system",
    "fan_curve_of",
    "lateral_of",
    "pile_pressure",
    "plenum_run",
]

Array = NDArray[np.float64]

STANDARD_DENSITY = 1.2
"""Of the air for which fan curves and other losses are given. [kg/m³]"""
MOTOR_EFFICIENCY = 0.9
"""Shaft over electrical power, drive included (common practice, no source). [0-1]"""
BEST_FAN_EFFICIENCY = 0.85
"""Above it the bay's fan and motor efficiency leaves no room for the motor. [0-1]"""
PLENUM_RELATIVE_HUMIDITY = 0.95
CURVE_POINTS = 12


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class AirSystem:
    """Where the fans of a bay work against its ducts and a pile; one height or many."""

    height: Any
    """Depth of the pile. [m]"""
    density: float
    """Of the air. [kg/m³]"""
    curve: FanCurve
    curve_assumed: bool
    """Whether the bay file has no fan curve, so that one was assumed about the rated point."""
    ducts_assumed: bool
    """Whether it has no ducts, so that the rated pressure at the rated airflow stands for them."""
    point: OperatingPoint
    electrical_power: Any
    """All fans. [W]"""
    pile_pressure: Any
    """Lost in the pile, soil counted. [Pa]"""
    duct_pressure: Any
    """Lost in laterals and ports; NaN without ducts in the bay file. [Pa]"""
    other_pressure: Any
    """Doors, humidifier, turns and exhaust; all but the pile without ducts. [Pa]"""
    chain: VelocityChain | None
    uniformity: Any
    """Of the ports along a lateral, Christiansen; NaN without ducts in the bay file. [1]"""
    plenum_uniformity: Any
    """From lateral to lateral along the plenum, Christiansen; NaN without ducts. [1]"""
    plenum_least_share: Any
    """Airflow of the lateral that gets least over the mean; NaN without ducts. [1]"""
    system: Callable[[Any], Any]
    """Airflow of all fans to static pressure. [m³/s to Pa]"""
    remarks: tuple[str, ...]

    @property
    def airflow(self) -> Any:
        """All fans; NaN where the fan curve does not reach. [m³/s]"""
        return self.point.airflow


def fan_curve_of(bay: Bay) -> tuple[FanCurve, bool]:
    """
    Curve of one fan in air of 1.2 kg/m³, and whether it had to be assumed about the rated point.

    Shaft power is taken constant along the curve.
    """
    fans = bay.fans
    efficiency = min(fans.efficiency / MOTOR_EFFICIENCY, BEST_FAN_EFFICIENCY)
    flow, static = fans.curve_airflow, fans.curve_static_pressure
    if flow is None or static is None:
        each = fans.airflow / fans.count
        return assumed_curve(each, fans.static_pressure, fan_efficiency=efficiency), True
    # Air power peaks between points too, so the greatest of a fine walk along the curve counts.
    curve = FanCurve(airflow=flow, static_pressure=static, density=STANDARD_DENSITY)
    walk = np.linspace(flow[0], flow[-1], 200)
    power = float(np.max(walk * curve.pressure_at(walk))) / efficiency
    return replace(curve, shaft_power=(power,) * len(flow)), False


def air_system(bay: Bay, height: Any, *, pressure: float, temperature: float) -> AirSystem:
    """
    Operating point of the fans for a full pile; ``height`` may be an array. [m, Pa, °C]

    Pressures in series: laterals with their ports (from the dead end), the pile (Ergun times the
    soil factor), and all else as given in the bay file, with the square of the airflow. Every one
    of them and the fan's pressure scale with the density of the air.
    """
    check_range("height", height, 0.05, 12.0, "m", "feet?")
    humidity = air.humidity_ratio(temperature, PLENUM_RELATIVE_HUMIDITY, pressure)
    density = float(air.density(temperature, humidity, pressure))
    curve, assumed = fan_curve_of(bay)
    most = 1.05 * bay.fans.count * curve.airflow[-1]

    strongest = 3.0 * max(curve.static_pressure) * density / STANDARD_DENSITY
    ducts = None
    if bay.ducts is not None:
        ducts = _duct_curve(bay.ducts, plenum_run(bay), most, strongest, density)
    others = _other_losses(bay, density)

    def system(airflow: Any) -> Any:
        own = 0.0 if ducts is None else ducts.pressure_at(airflow)
        return pile_pressure(bay, airflow, height, density) + own + others(airflow)

    rating = bay.fans.motor_power
    motor = None if rating is None else Motor(rating=rating, efficiency=MOTOR_EFFICIENCY)
    point = operating_point(curve, system, density=density, count=bay.fans.count, motor=motor)
    flow = point.airflow
    return AirSystem(
        height=height,
        density=density,
        curve=curve,
        curve_assumed=assumed,
        ducts_assumed=ducts is None,
        point=point,
        electrical_power=point.shaft_power / MOTOR_EFFICIENCY,
        pile_pressure=pile_pressure(bay, flow, height, density),
        duct_pressure=np.nan * flow if ducts is None else ducts.pressure_at(flow),
        other_pressure=others(flow),
        chain=_chain(bay, flow),
        uniformity=np.nan * flow if ducts is None else ducts.uniformity_at(flow),
        plenum_uniformity=0.0 * flow + (ducts.along[0] if ducts else np.nan),
        plenum_least_share=0.0 * flow + (ducts.along[1] if ducts else np.nan),
        system=system,
        remarks=remarks(point),
    )


def pile_pressure(bay: Bay, airflow: Any, height: Any, density: float) -> Any:
    """Lost in the pile, with the soil in it. [Pa]"""
    floor = bay.pile
    return pile.pressure_drop_ergun(
        airflow / floor.floor_area,
        height=height,
        porosity=pile.porosity(floor.bulk_density, crop_for(bay.use).tuber_density),
        tuber_diameter=floor.tuber_diameter,
        density=density,
        viscosity=AIR_VISCOSITY,
        factor=pile.soil_factor(floor.soil),
    )


def _other_losses(bay: Bay, density: float) -> SystemCurve:
    """Doors, humidifier and turns; without ducts all but the pile of the bay file."""
    fans, rated = bay.fans, bay.fans.airflow
    if bay.ducts is not None:
        loss = bay.ducts.other_static_pressure
    else:
        own = pile_pressure(bay, rated, bay.pile.height, STANDARD_DENSITY)
        loss = max(fans.static_pressure - own, 0.0)
    return SystemCurve(coefficient=loss * density / STANDARD_DENSITY / rated**2)


@dataclass(frozen=True, kw_only=True, eq=False)
class _DuctCurve:
    """Laterals of a bay at a row of airflows, solved all at once."""

    log_airflow: Array
    log_pressure: Array
    uniformity: Array
    along: tuple[float, float]
    """Evenness and least share of the laterals along the plenum; at any airflow, as all losses go
    with its square."""

    def pressure_at(self, airflow: Any) -> Any:
        """Almost a square: straight between points in logarithms, a square beyond them."""
        x = np.log(np.where(airflow > 0.0, airflow, 1.0))
        first, last = self.log_airflow[0], self.log_airflow[-1]
        inside = np.interp(x, self.log_airflow, self.log_pressure)
        inside = inside + 2.0 * (np.minimum(x - first, 0.0) + np.maximum(x - last, 0.0))
        return np.where(airflow > 0.0, np.exp(inside), np.where(airflow == 0.0, 0.0, np.nan))[()]

    def uniformity_at(self, airflow: Any) -> Any:
        x = np.log(np.where(airflow > 0.0, airflow, np.nan))
        return np.interp(x, self.log_airflow, self.uniformity)


@lru_cache(maxsize=16)
def _duct_curve(
    ducts: Ducts, run: float, most: float, strongest: float, density: float
) -> _DuctCurve:
    """
    Pressure in the plenum for airflows up to ``most`` or pressures up to ``strongest``.

    Following a lateral is dear and the curve smooth: a few points serve a whole sweep.
    """
    lateral = lateral_of(ducts)
    ports = ducts.discharge_coefficient * ducts.laterals * lateral.total_port_area
    # At the head of the lateral the air has its own velocity too, and friction adds some.
    top = min(3.0 * 0.5 * density * (most / ports) ** 2, strongest)
    points = top * np.geomspace(3e-4, 1.0, CURVE_POINTS)
    found = lateral_flow(lateral, plenum_pressure=points, density=density, viscosity=AIR_VISCOSITY)
    flow = np.asarray(found.airflow) * ducts.laterals
    return _DuctCurve(
        along=along_plenum(
            rectangular_section(ducts.plenum_width, ducts.plenum_height),
            length=run / ducts.plenum_feeds,
            laterals=math.ceil(ducts.laterals / ducts.plenum_feeds),
            airflow=float(flow[-1]) / ducts.laterals,
            lateral_pressure=float(points[-1]),
            roughness=ducts.roughness,
            density=density,
            viscosity=AIR_VISCOSITY,
        ),
        log_airflow=np.log(flow),
        log_pressure=np.log(points),
        uniformity=np.asarray(found.uniformity),
    )


def plenum_run(bay: Bay) -> float:
    """Side of the pile along which the plenum lies. [m]"""
    along = bay.ducts.plenum_along if bay.ducts else "length"
    return bay.pile.length if along == "length" else bay.pile.width


def lateral_of(ducts: Ducts) -> Lateral:
    """One lateral of a bay."""
    return Lateral(
        length=ducts.lateral_length,
        section=lateral_section(ducts),
        ports=ducts.ports,
        port_area=ducts.port_area,
        roughness=ducts.roughness,
        discharge_coefficient=ducts.discharge_coefficient,
    )


def _chain(bay: Bay, airflow: Any) -> VelocityChain | None:
    """Velocities from plenum to port."""
    ducts = bay.ducts
    if ducts is None:
        return None
    return velocity_chain(
        airflow,
        outlet_area=ducts.laterals * ducts.ports * ducts.port_area,
        duct_area=ducts.laterals * lateral_section(ducts).area,
        plenum_area=ducts.plenum_feeds * ducts.plenum_width * ducts.plenum_height,
    )
