"""Fans, doors, plenum, laterals and ports for an airflow per tonne of crop."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from ventcalc import air
from ventcalc.bay.description import Bay, Ducts, Fans
from ventcalc.check.air_system import MOTOR_EFFICIENCY, STANDARD_DENSITY, pile_pressure
from ventcalc.check.cold_load import speed_for_heat
from ventcalc.check.crop_state import CropState
from ventcalc.equipment import duct, fan_curve
from ventcalc.equipment.lateral import Lateral
from ventcalc.equipment.shared_plenum import SharedPlenum, along_plenum, shared_plenum
from ventcalc.errors import BadInput
from ventcalc.pile.air_path import AIR_VISCOSITY
from ventcalc.units import UnitSystem

__all__ = ["AirDesign", "design_air", "ducts_for", "fans_for", "holding_speed"]

FAN_AIRFLOW = 6.0
"""Most of one fan, 12 700 cfm (common practice, no source). [m³/s]"""
FEWEST_FANS = 2
"""So that half the air is left when one fails (common practice, no source)."""
MOTOR_RESERVE = 0.15
"""Motor over shaft power: winter air is a tenth denser (common practice, no source). [1]"""
MOTORS = (
    0.75, 1.1, 1.5, 2.2, 3.0, 4.0, 5.5, 7.5, 11.0, 15.0, 18.5, 22.0, 30.0, 37.0, 45.0, 55.0,
    75.0, 90.0, 110.0, 132.0, 160.0, 200.0,
)  # fmt: skip
"""Rated outputs of IEC 60072-1 (from memory). [kW]"""
HORSEPOWERS = (
    1.0, 1.5, 2.0, 3.0, 5.0, 7.5, 10.0, 15.0, 20.0, 25.0, 30.0, 40.0, 50.0, 60.0, 75.0, 100.0,
    125.0, 150.0, 200.0, 250.0,
)  # fmt: skip
"""Rated outputs of NEMA MG 1 (from memory). [hp]"""
HORSEPOWER = 745.69987
"""Of 550 ft lbf/s (NIST SP 811). [W]"""
LATERAL_SPACING = 3.05
"""Most between laterals: 8-10 ft (from memory). [m]"""
PORT_SPACING = 0.30
"""Between the places with ports along a lateral (common practice, no source). [m]"""
DIAMETER_STEPS = {"metric": 0.05, "us": 2 * 0.0254}
"""Laterals come in these steps (common practice, no source). [m]"""
PLENUM_STEPS = {"metric": 0.1, "us": 0.5 * 0.3048}
"""Of width and height of the plenum; our own. [m]"""
OUTLET_SPARE = 0.03
"""Ports beyond the rule, for fans that give a little more than rated (common practice, no
source). [1]"""
PLENUM_SPARE = 0.01
"""Plenum beyond the rule, for rounding. [1]"""
PLENUM_HEIGHTS = (2.4, 3.0, 3.6)
"""Of a plenum that one can walk in, 8 to 12 ft (common practice, no source). [m]"""
WIDEST_PLENUM = 6.0
"""That takes its floor from the pile and its roof from a carpenter, 20 ft (common practice, no
source). [m]"""
FEEDS = (1, 2, 4)
"""A plenum fed at one end, at its middle, or divided in two halves fed so (common practice, no
source)."""
DOOR_VELOCITY = 5.08
"""Through doors and exhaust, 1000 ft/min, low end of 1000-1400 (from memory). [m/s]"""
ROUGHNESS = 0.001
"""Of a lateral's wall where the bay says nothing, 1 mm. [m]"""
OPENING = 0.65
"""Discharge coefficient of doors and exhaust, as of sharp-edged ports. [1]"""
PAD_PRESSURE = 25.0
"""Of a wetted pad or its drift eliminator, 0.1 inH2O (common practice, no source). [Pa]"""
COIL_PRESSURE = 50.0
"""Of a cooling coil, 0.2 inH2O (common practice, no source). [Pa]"""
PRESSURE_RESERVE = 0.30
"""For what is not drawn: turns, dust, soil in the pile (common practice, no source). [1]"""
CFM_PER_TON = 0.3048**3 / 60.0 / 0.90718474
"""[m³/(s t)]"""
REFERENCE_TEMPERATURE = 5.0
"""Of the air for which density is taken. [°C]"""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class AirDesign:
    """An air system; every area is of all parallel parts together unless it says of one."""

    airflow: float
    """All fans. [m³/s]"""
    airflow_per_tonne: float
    """Per tonne of crop in a full pile. [m³/(s t)]"""
    density: float
    """Of the air in the fans. [kg/m³]"""
    fans: int
    pressure_parts: Mapping[str, float]
    """Static pressure lost by each part on the way of the air. [Pa]"""
    static_pressure: float
    """Sum of the parts and the reserve, in the air of the site. [Pa]"""
    standard_pressure: float
    """The same in air of 1.2 kg/m³, for the maker's curve. [Pa]"""
    power: float
    """Electrical, all fans at full speed. [W]"""
    shaft_power_per_fan: float
    """In the air of the site. [W]"""
    standard_shaft_power: float
    """Of one fan in air of 1.2 kg/m³. [W]"""
    motor_rating: float
    """Of one fan, next size in kW. [W]"""
    motor_horsepower: float
    """The same where motors come in horsepower. [hp]"""
    motor_power: float
    """That of the two which is written into the bay. [W]"""
    laterals: int
    lateral_length: float
    """[m]"""
    lateral_spacing: float
    """[m]"""
    lateral_diameter: float
    """Next size up. [m]"""
    lateral_diameter_needed: float
    """For the rule of velocities. [m]"""
    lateral_step: float
    """Between nominal sizes. [m]"""
    lateral_shape: str
    duct_area: float
    """[m²]"""
    ports: int
    """Places along one lateral."""
    port_area: float
    """Of one place. [m²]"""
    outlet_area: float
    """All ports. [m²]"""
    outlet_area_needed: float
    """For the rule of velocities. [m²]"""
    plenum_width: float
    """[m]"""
    plenum_height: float
    """[m]"""
    plenum_feeds: int
    """Streams of air: 1 from one end, 2 from the middle, 4 in two halves."""
    plenum_area_needed: float
    """For the rule of velocities, by the laterals as they come; of one stream. [m²]"""
    plenum_uniformity: float
    """Airflow from lateral to lateral, Christiansen. [1]"""
    plenum_least_share: float
    """Of the lateral that gets least, over the mean. [1]"""
    lateral_volume: float
    """Room that the laterals take from the pile. [m³]"""
    door_area: float
    """Fresh-air doors; the exhaust has as much. [m²]"""
    uniformity: float
    """Airflow of the ports of a lateral, Christiansen. [1]"""
    plenum_along: str
    """Side of the pile along which the plenum runs."""
    other_static_pressure: float
    """Doors, pad, coil, turns and reserve, in air of 1.2 kg/m³. [Pa]"""


def design_air(
    bay: Bay,
    *,
    airflow_per_tonne: float,
    pressure: float,
    coil: bool = False,
    units: UnitSystem = "metric",
) -> AirDesign:
    """
    Size the air system of a full pile, the air passing a ``coil`` or not.

    Ducts and motors come in nominal sizes of these units.

    Areas by the chain of velocities 1000, 850 and 722 ft/min from port to plenum: R. Brook,
    Michigan State University, New York Vegetable Conference, 13 Feb 2001.
    """
    flow = airflow_per_tonne * bay.pile.capacity / 1000.0
    density = float(
        air.density(
            REFERENCE_TEMPERATURE,
            air.humidity_ratio(REFERENCE_TEMPERATURE, 0.95, pressure),
            pressure,
        )
    )
    areas = duct.areas_for(flow)
    way = _laterals(bay, areas.outlet * (1.0 + OUTLET_SPARE), DIAMETER_STEPS[units])
    # The plenum must be slow against the laterals as they come, not as they were wanted.
    plenum = way["duct_area"] / duct.PLENUM_SHARE
    feeds, height, width = _plenum(
        plenum * (1.0 + PLENUM_SPARE), airflow_per_tonne, PLENUM_STEPS[units]
    )
    even = _one_lateral(bay, way, flow, density)
    along = along_plenum(
        duct.rectangular_section(width, height),
        length=way["lateral_spacing"] * way["laterals"] / feeds,
        laterals=math.ceil(way["laterals"] / feeds),
        airflow=flow / way["laterals"],
        lateral_pressure=float(even.plenum_pressure),
        roughness=bay.ducts.roughness if bay.ducts else ROUGHNESS,
        density=density,
        viscosity=AIR_VISCOSITY,
    )
    own = {
        "plenum, laterals and ports": even.plenum_pressure,
        "pile": pile_pressure(bay, flow, bay.pile.height, density),
    }
    other = _other_parts(density, coil)
    reserve = PRESSURE_RESERVE * (sum(own.values()) + sum(other.values()))
    parts = {**other, **own, "reserve": reserve}
    static = sum(parts.values())
    power = flow * static / bay.fans.efficiency
    count = max(FEWEST_FANS, math.ceil(flow / FAN_AIRFLOW - 1e-9))
    shaft = power * MOTOR_EFFICIENCY / count
    needed = shaft * (1.0 + MOTOR_RESERVE)
    kilowatts = _next_size(needed / 1000.0, MOTORS)
    horsepower = _next_size(needed / HORSEPOWER, HORSEPOWERS)
    return AirDesign(
        airflow=flow,
        airflow_per_tonne=airflow_per_tonne,
        density=density,
        fans=count,
        pressure_parts=parts,
        static_pressure=static,
        standard_pressure=static * STANDARD_DENSITY / density,
        power=power,
        shaft_power_per_fan=shaft,
        standard_shaft_power=shaft * STANDARD_DENSITY / density,
        motor_rating=1000.0 * kilowatts,
        motor_horsepower=horsepower,
        motor_power=1000.0 * kilowatts if units == "metric" else HORSEPOWER * horsepower,
        outlet_area_needed=areas.outlet,
        plenum_width=width,
        plenum_height=height,
        plenum_feeds=feeds,
        plenum_area_needed=plenum / feeds,
        plenum_uniformity=along[0],
        plenum_least_share=along[1],
        lateral_volume=way["duct_area"] * way["lateral_length"],
        door_area=flow / DOOR_VELOCITY,
        uniformity=even.uniformity,
        other_static_pressure=(sum(other.values()) + reserve) * STANDARD_DENSITY / density,
        **way,
    )


def _laterals(bay: Bay, outlet: float, step: float) -> dict[str, Any]:
    """Laterals across the pile from a plenum along its longer side, unless the bay says other."""
    floor = bay.pile
    along = "length" if floor.length >= floor.width else "width"
    along = bay.ducts.plenum_along if bay.ducts else along
    shape = bay.ducts.lateral_shape if bay.ducts else "round"
    run, across = (floor.length, floor.width) if along == "length" else (floor.width, floor.length)
    count = math.ceil(run / LATERAL_SPACING - 1e-9)
    share = math.pi / (4.0 if shape == "round" else 8.0)
    needed = math.sqrt(outlet / duct.DUCT_SHARE / count / share)
    diameter = step * math.ceil(needed / step - 1e-9)
    ports = max(1, round(across / PORT_SPACING))
    return {
        "plenum_along": along,
        "lateral_shape": shape,
        "laterals": count,
        "lateral_length": across,
        "lateral_spacing": run / count,
        "lateral_diameter_needed": needed,
        "lateral_diameter": round(diameter, 6),
        "lateral_step": step,
        "duct_area": count * share * diameter * diameter,
        "outlet_area": outlet,
        "ports": ports,
        "port_area": outlet / (count * ports),
    }


def _plenum(area: float, airflow_per_tonne: float, step: float) -> tuple[int, float, float]:
    """Feeds, height and width, up to the next step: the plainest that is no hall."""

    def up(length: float) -> float:
        return round(step * math.ceil(length / step - 1e-9), 9)

    for feeds in FEEDS:
        for tall in PLENUM_HEIGHTS:
            each = area / feeds
            # A small one is square.
            height = min(up(tall), up(math.sqrt(each)))
            width = up(each / height)
            if width <= WIDEST_PLENUM:
                return feeds, height, width
    most = FEEDS[-1] * PLENUM_HEIGHTS[-1] * WIDEST_PLENUM
    raise BadInput(
        f"plenum: {area:.0f} m2 are needed, and one divided in two halves fed at their middle, "
        f"{PLENUM_HEIGHTS[-1]:g} m high and {WIDEST_PLENUM:g} m wide, has {most:.0f} m2; divide "
        f"the bay in {math.ceil(area / most)}, each sized by itself, or lower the target to "
        f"{airflow_per_tonne * 3600.0 * most / area:.0f} m3/(h t) "
        f"({airflow_per_tonne / CFM_PER_TON * most / area:.0f} cfm/ton)"
    )


def _one_lateral(bay: Bay, way: Mapping[str, Any], flow: float, density: float) -> SharedPlenum:
    """One lateral with its share of the air: all of them are alike."""
    make = duct.round_section if way["lateral_shape"] == "round" else duct.half_round_section
    one = Lateral(
        length=way["lateral_length"],
        section=make(way["lateral_diameter"]),
        ports=way["ports"],
        port_area=way["port_area"],
        roughness=bay.ducts.roughness if bay.ducts else ROUGHNESS,
        discharge_coefficient=bay.ducts.discharge_coefficient if bay.ducts else OPENING,
    )
    return shared_plenum(
        one,
        airflow=flow / way["laterals"],
        open_ports=np.ones((one.ports, 1)),
        density=density,
        viscosity=AIR_VISCOSITY,
    )


def _other_parts(density: float, coil: bool) -> dict[str, float]:
    """What the air passes before the plenum and after the pile, in the order it meets it."""
    opening = 0.5 * density * (DOOR_VELOCITY / OPENING) ** 2
    turn = 0.5 * density * (duct.OUTLET_VELOCITY * duct.DUCT_SHARE * duct.PLENUM_SHARE) ** 2
    thin = density / STANDARD_DENSITY
    return {
        "fresh-air door": opening,
        **({"cooling coil": COIL_PRESSURE * thin} if coil else {}),
        "humidifier": PAD_PRESSURE * thin,
        "turn into the plenum": turn,
        "exhaust": opening,
    }


def _next_size(needed: float, sizes: Sequence[float]) -> float:
    """Next rated output; above the largest, the need itself. [as given]"""
    return next((size for size in sizes if size >= needed), needed)


def holding_speed(bay: Bay, design: AirDesign, holding: CropState) -> float:
    """Fan speed that carries the crop's heat within the limit of spread; it may exceed 1. [1]"""
    found = speed_for_heat(bay, heat=holding.heat, airflow=design.airflow, density=design.density)
    return float(found)


def fans_for(design: AirDesign, bay: Bay) -> Fans:
    """
    The fans of a design as a table of the bay file, in air of 1.2 kg/m³.

    Their curve is assumed about the one known point: to be replaced by the maker's.
    """
    one = design.airflow / design.fans
    curve = fan_curve.assumed_curve(
        one,
        design.standard_pressure,
        fan_efficiency=min(bay.fans.efficiency / MOTOR_EFFICIENCY, 0.95),
    )
    return Fans(
        count=design.fans,
        airflow=design.airflow,
        static_pressure=design.static_pressure,
        efficiency=bay.fans.efficiency,
        minimum_speed=bay.fans.minimum_speed,
        motor_power=design.motor_power,
        curve_airflow=tuple(curve.airflow),
        curve_static_pressure=tuple(curve.static_pressure),
    )


def ducts_for(design: AirDesign, bay: Bay) -> Ducts:
    """The ducts of a design as a table of the bay file."""
    had = bay.ducts
    return Ducts(
        plenum_along=design.plenum_along,
        plenum_width=design.plenum_width,
        plenum_height=design.plenum_height,
        plenum_feeds=design.plenum_feeds,
        laterals=design.laterals,
        lateral_length=design.lateral_length,
        lateral_diameter=design.lateral_diameter,
        lateral_shape=design.lateral_shape,
        ports=design.ports,
        port_area=design.port_area,
        roughness=had.roughness if had else ROUGHNESS,
        discharge_coefficient=had.discharge_coefficient if had else OPENING,
        other_static_pressure=design.other_static_pressure,
    )
