"""What moves and conditions the air of a bay, as its file describes it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from ventcalc.bay.fields import quantity, text
from ventcalc.equipment.duct import Section, half_round_section, round_section
from ventcalc.equipment.plant import PLANT_REFRIGERANTS, UNNAMED

__all__ = [
    "Doors",
    "Ducts",
    "Fans",
    "Heater",
    "Humidifier",
    "Refrigeration",
    "capacity_of",
    "coil_of",
    "door_opening_at",
    "fresh_fraction_at",
    "lateral_section",
    "lateral_volume",
]


@dataclass(frozen=True, kw_only=True)
class Fans:
    """The ventilation fans, all of them together."""

    count: int = quantity("1", 1, 100, "number of fans", like="4")
    airflow: float = quantity(
        "m3/s",
        0.01,
        1000,
        "airflow of all fans at full speed, or per mass of crop in a full pile",
        like="20 cfm/ton",
        also="m3/(s kg)",
    )
    static_pressure: float = quantity(
        "Pa", 10, 2500, "static pressure at full speed", like="1.0 inH2O"
    )
    efficiency: float = quantity(
        "1", 0.05, 0.9, "air power per electrical power, fan and motor", 0.5, like="0.5"
    )
    minimum_speed: float = quantity(
        "1", 0.1, 1, "lowest speed that still puts pressure in every lateral", 0.5, like="0.5"
    )
    motor_power: float | None = quantity(
        "W",
        1,
        1e6,
        "rated shaft power of the motor of one fan",
        None,
        like="5 kW",
        shown="W electrical",
    )
    curve_airflow: tuple[float, ...] | None = quantity(
        "m3/s",
        0,
        1000,
        "fan curve: airflow of one fan, at full speed, rising",
        None,
        like="8000 cfm",
        many=True,
    )
    curve_static_pressure: tuple[float, ...] | None = quantity(
        "Pa",
        0,
        5000,
        "fan curve: static pressure at those airflows, air of 1.2 kg/m3",
        None,
        like="1.2 inH2O",
        many=True,
    )


@dataclass(frozen=True, kw_only=True)
class Ducts:
    """The plenum, the laterals under the pile and their ports."""

    plenum_along: str = text(
        "side of the pile along which the plenum runs; laterals lie across",
        "length",
        like="length",
        choices=("length", "width"),
    )
    plenum_width: float = quantity("m", 0.2, 15, "width of the plenum", like="8 ft")
    plenum_height: float = quantity("m", 0.2, 10, "height of the plenum", like="8 ft")
    plenum_feeds: int = quantity(
        "1",
        1,
        8,
        "streams of air along the plenum: 1 fed at one end, 2 at its middle, 4 two such halves",
        1,
        like="1",
    )
    laterals: int = quantity("1", 1, 500, "number of laterals", like="12")
    lateral_length: float = quantity(
        "m", 0.5, 200, "length of a lateral, from the plenum to its dead end", like="48 ft"
    )
    lateral_diameter: float = quantity(
        "m",
        0.05,
        3,
        "inside diameter of a lateral, of a half-round one its width at the floor",
        like="28 inch",
        shown="m small",
    )
    lateral_shape: str = text(
        "cross-section of a lateral",
        "round",
        like="round",
        choices=("round", "half_round"),
    )
    ports: int = quantity("1", 1, 2000, "places with ports along one lateral", like="50")
    port_area: float = quantity(
        "m2",
        1e-5,
        1,
        "open area of all holes at one such place",
        like="10 in2",
        shown="m2 small",
    )
    roughness: float = quantity(
        "m",
        0,
        0.05,
        "equivalent roughness of a lateral's wall, more if corrugated",
        0.001,
        like="1 mm",
        shown="m small",
    )
    discharge_coefficient: float = quantity(
        "1", 0.3, 1, "airflow of a port over area times ideal velocity", 0.65, like="0.65"
    )
    other_static_pressure: float = quantity(
        "Pa",
        0,
        1500,
        "taken by doors, humidifier, turns and exhaust at fans.airflow, air of 1.2 kg/m3 "
        "(common practice, no source)",
        125.0,
        like="0.5 inH2O",
    )


@dataclass(frozen=True, kw_only=True)
class Doors:
    """The fresh-air door and what leaks when it is shut."""

    largest_fraction: float = quantity(
        "1", 0.05, 1, "part of the fans' air that is fresh with the door wide open", 1.0, like="1.0"
    )
    leakage_fraction: float = quantity(
        "1", 0, 0.3, "part of the fans' air that is fresh with the door shut", 0.005, like="0.005"
    )


@dataclass(frozen=True, kw_only=True)
class Humidifier:
    """Spray or wetted pad in the plenum."""

    capacity: float = quantity("kg/s", 0, 1, "most water it can evaporate", like="300 lb/hour")
    power: float = quantity(
        "W", 0, 1e5, "electrical power when running", 1500.0, like="1.5 kW", shown="W electrical"
    )


@dataclass(frozen=True, kw_only=True)
class Refrigeration:
    """A cooling coil in the plenum with its compressor."""

    capacity: float = quantity(
        "W",
        0,
        5e6,
        "total cooling at the design point",
        like="40 ton_refrigeration",
        shown="W refrigeration",
    )
    coil_temperature_difference: float = quantity(
        "delta_degC",
        0.5,
        15,
        "entering air less coil surface at full duty",
        4.0,
        like="4 delta_degC",
    )
    performance: float = quantity(
        "1",
        0.5,
        10,
        "cooling per electrical power at the design point, compressor and condenser",
        3.0,
        like="3.0",
    )
    refrigerant: str = text(
        "refrigerant (licensed technicians only); unnamed follows the ideal cycle",
        UNNAMED,
        like="R290",
        choices=PLANT_REFRIGERANTS,
    )
    design_outside_temperature: float = quantity(
        "degC", 0, 48, "outside air at the design point", 30.0, like="86 degF"
    )
    bypass_factor: float = quantity(
        "1",
        0,
        0.6,
        "share of the air that passes the coil untouched (common practice, no source)",
        0.2,
        like="0.2",
    )


@dataclass(frozen=True, kw_only=True)
class Heater:
    """A heater in the headspace or plenum."""

    capacity: float = quantity("W", 0, 1e6, "heat output", like="30 kW", shown="W electrical")


def capacity_of(equipment: Humidifier | Refrigeration | Heater | None) -> Any:
    """
    Capacity of a piece of equipment that a bay may lack.

    Parameters
    ----------
    equipment : Humidifier, Refrigeration, Heater or None
        The equipment.

    Returns
    -------
    float or array
        0 where there is none. [unit of the equipment's capacity]
    """
    return 0.0 if equipment is None else equipment.capacity


def coil_of(refrigeration: Refrigeration | None) -> dict[str, Any]:
    """
    What ``plenum`` must know of the coil of a bay that may lack one.

    Parameters
    ----------
    refrigeration : Refrigeration or None
        The plant.

    Returns
    -------
    dict
        ``coil_temperature_difference`` and ``bypass_factor``; empty where there is no coil.
    """
    if refrigeration is None:
        return {}
    return {
        "coil_temperature_difference": refrigeration.coil_temperature_difference,
        "bypass_factor": refrigeration.bypass_factor,
    }


def fresh_fraction_at(doors: Doors, door_opening: Any) -> Any:
    """
    Part of the fans' air that is fresh at a door opening.

    Parameters
    ----------
    doors : Doors
        The doors.
    door_opening : float or array
        [0-1]

    Returns
    -------
    float or array
        What leaks with the door shut, up to what the wide-open door gives. [0-1]
    """
    leak = doors.leakage_fraction
    return leak + door_opening * (doors.largest_fraction - leak)


def door_opening_at(doors: Doors, fresh_fraction: Any) -> Any:
    """
    Door opening that gives a fresh fraction; the inverse of ``fresh_fraction_at``.

    Parameters
    ----------
    doors : Doors
        The doors.
    fresh_fraction : float or array
        Part of the fans' air that is fresh. [0-1]

    Returns
    -------
    float or array
        Below 0 or above 1 where no opening gives it. [0-1]
    """
    leak = doors.leakage_fraction
    return (fresh_fraction - leak) / (doors.largest_fraction - leak)


def lateral_section(ducts: Ducts) -> Section:
    """
    Cross-section of a lateral.

    Parameters
    ----------
    ducts : Ducts
        The ducts.

    Returns
    -------
    Section
        Round, or half-round and closed by the floor.
    """
    shape = half_round_section if ducts.lateral_shape == "half_round" else round_section
    return shape(ducts.lateral_diameter)


def lateral_volume(ducts: Ducts | None) -> float:
    """
    Room that the laterals take from the pile.

    Parameters
    ----------
    ducts : Ducts or None
        The ducts.

    Returns
    -------
    float
        By their inside section; 0 without ducts. [m³]
    """
    if ducts is None:
        return 0.0
    return float(ducts.laterals * ducts.lateral_length * lateral_section(ducts).area)
