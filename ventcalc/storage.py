"""
One frozen description of a bay: site, pile, lots, equipment, envelope, calendar, limits.

Every class below is one table of the bay file, every field one key. The unit, the allowed
range and the sentence that explains the key stand beside the field, once: the reader, the
error messages and the commented starter file all take them from here.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from ventcalc._fields import quantity, text
from ventcalc.equipment.duct import Section, half_round_section, round_section
from ventcalc.equipment.plant import PLANT_REFRIGERANTS, UNNAMED

__all__ = [
    "Bay",
    "Control",
    "Costs",
    "Doors",
    "Ducts",
    "Envelope",
    "Fans",
    "Heater",
    "Humidifier",
    "Limits",
    "Lot",
    "Pile",
    "Refrigeration",
    "Schedule",
    "Sensors",
    "Site",
    "capacity_of",
    "door_opening_at",
    "fresh_fraction_at",
    "lateral_section",
]

SOIL_NAMES = ("clay", "sand", "rock")
"""Grounds with values of their own in ISO 13370."""
USES = ("seed", "table", "fries", "chips")
"""What the crop is kept for."""


@dataclass(frozen=True, kw_only=True)
class Site:
    """Where the bay stands."""

    altitude: float = quantity("m", -430, 4500, "height above sea level", like="4600 ft")
    time_zone: str = text("IANA name of the local time zone", like="America/Denver", kind="zone")


@dataclass(frozen=True, kw_only=True)
class Pile:
    """The pile and the tubers in it."""

    length: float = quantity("m", 1, 300, "length of the pile floor", like="125 ft")
    width: float = quantity("m", 1, 100, "width of the pile floor", like="50 ft")
    height: float = quantity("m", 0.3, 8, "depth of the pile", like="16 ft")
    bulk_density: float = quantity(
        "kg/m3", 500, 800, "mass of crop per volume of pile", like="40 lb/ft3"
    )
    tuber_diameter: float = quantity(
        "m",
        0.02,
        0.12,
        "diameter of a sphere as large as the mean tuber",
        0.06,
        like="2.4 inch",
        shown="m small",
    )
    angle_of_repose: float = quantity(
        "deg",
        20,
        45,
        "steepest slope of an open face (common practice, no source)",
        34.0,
        like="34 deg",
    )
    soil: float = quantity("1", 0, 0.1, "soil and trash per mass of load", 0.0, like="0.02")

    @property
    def floor_area(self) -> float:
        """Pile floor. [m²]"""
        return self.length * self.width

    @property
    def volume(self) -> float:
        """Space that the pile takes when the bay is full. [m³]"""
        return self.floor_area * self.height

    @property
    def capacity(self) -> float:
        """Mass of crop in a full pile. [kg]"""
        return self.volume * self.bulk_density


@dataclass(frozen=True, kw_only=True)
class Lot:
    """One lot of crop as it was loaded."""

    name: str = text("name of the lot", like="Lot A")
    mass: float = quantity(
        "kg", 1, 2e7, "mass of crop loaded, soil and stones taken off", like="2e6 lb"
    )
    loading_temperature: float = quantity(
        "degC", -2, 35, "pulp temperature of the loads", like="58 degF"
    )
    maturity: str = text(
        "skin and vine at harvest", "mature", like="mature", choices=("mature", "immature")
    )


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
        "refrigerant; unnamed follows the ideal cycle",
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


@dataclass(frozen=True, kw_only=True)
class Envelope:
    """Walls, ceiling, headspace and leaks."""

    ceiling_area: float = quantity("m2", 1, 1e5, "area of ceiling or roof", like="6250 ft2")
    ceiling_u: float = quantity(
        "W/(m2 K)", 0.02, 8, "heat transmittance of the ceiling", like="0.18 W/(m2 K)"
    )
    wall_area: float = quantity("m2", 1, 1e5, "outside walls", like="4000 ft2")
    wall_u: float = quantity(
        "W/(m2 K)", 0.02, 8, "heat transmittance of the walls", like="0.22 W/(m2 K)"
    )
    bridge_factor: float = quantity(
        "1",
        1,
        10,
        "heat loss at the worst purlin or joint over that of the plain ceiling",
        2.0,
        like="2.0",
    )
    wall_height: float | None = quantity(
        "m", 0.5, 15, "height of the walls, from floor to eave", None, like="20 ft"
    )
    headspace_volume: float = quantity("m3", 1, 1e6, "air above the full pile", like="50000 ft3")
    leakage: float = quantity(
        "1/s", 0, 1e-3, "air changes of the free air by leaks, fans off", like="0.1 /hour"
    )
    roof_absorptance: float = quantity(
        "1", 0, 1, "of the roof for sunlight: white 0.3, grey 0.6, dark 0.9", 0.6, like="0.6"
    )
    roof_emittance: float = quantity(
        "1", 0, 1, "of the roof for heat: painted 0.9, bare metal 0.25", 0.9, like="0.9"
    )
    soil: str = text(
        "ground under the floor, which is not insulated", "sand", like="sand", choices=SOIL_NAMES
    )


@dataclass(frozen=True, kw_only=True)
class Schedule:
    """The season's calendar."""

    fill_start: str = text("first load, month-day", like="09-18", kind="date")
    fill_days: float = quantity("s", 86400, 60 * 86400, "time to fill the bay", like="6 days")
    healing_days: float = quantity(
        "s", 0, 60 * 86400, "wound healing after the last load", like="14 days"
    )
    healing_temperature: float = quantity(
        "degC", 5, 22, "pulp temperature during wound healing", like="55 degF"
    )
    ramp: float = quantity(
        "delta_degC/s",
        0.02 / 86400,
        2 / 86400,
        "fastest planned cooling of the pulp",
        like="0.5 delta_degF/day",
    )
    holding_temperature: float = quantity("degC", 1, 15, "pulp temperature to hold", like="38 degF")
    warm_up_start: str = text("when re-warming begins, month-day", like="04-10", kind="date")
    warm_up_temperature: float = quantity(
        "degC", 1, 20, "pulp temperature wanted for unloading", like="45 degF"
    )
    unloading_start: str = text("first truck out, month-day", like="05-01", kind="date")
    unloading_days: float = quantity(
        "s", 86400, 120 * 86400, "time to empty the bay", like="20 days"
    )


@dataclass(frozen=True, kw_only=True)
class Limits:
    """What must not happen, and where advice stops."""

    plenum_floor: float = quantity(
        "degC", -0.5, 10, "coldest supply air that is ever advised", 1.0, like="34 degF"
    )
    supply_difference: float = quantity(
        "delta_degC",
        0.3,
        5,
        "coldest supply air below the coldest pulp",
        1.5,
        like="1.5 delta_degC",
    )
    warm_supply_difference: float = quantity(
        "delta_degC",
        0.2,
        4,
        "warmest supply air above the coldest pulp",
        1.5,
        like="1.5 delta_degC",
    )
    spread: float = quantity(
        "delta_degC",
        0.3,
        5,
        "top less bottom of the pile that is still even",
        1.5,
        like="1.5 delta_degC",
    )
    band: float = quantity(
        "delta_degC",
        0.2,
        3,
        "pulp above or below its target that still counts as held",
        0.6,
        like="0.6 delta_degC",
    )
    co2: float = quantity(
        "1",
        0.0006,
        0.03,
        "CO2 in the bay's air, volume fraction",
        0.004,
        like="4000 ppm",
        shown="1 ppm",
    )
    plenum_humidity: float = quantity(
        "1", 0.7, 0.99, "relative humidity wanted in the plenum", 0.95, like="0.95"
    )
    floor_load: float | None = quantity(
        "Pa",
        1000,
        2e5,
        "pressure that floor and ducts may bear, by their designer",
        None,
        like="1000 psf",
        shown="Pa load",
    )


@dataclass(frozen=True, kw_only=True)
class Control:
    """How the adviser behaves in time."""

    start_above: float = quantity(
        "delta_degC",
        0.05,
        2,
        "cooling starts when pulp is this far above target",
        0.3,
        like="0.3 delta_degC",
    )
    stop_above: float = quantity(
        "delta_degC",
        -1,
        2,
        "cooling stops when pulp is this far above target",
        0.0,
        like="0 delta_degC",
    )
    outside_offset: float = quantity(
        "delta_degC",
        0.2,
        5,
        "outside air must be this far below pulp to be worth it",
        1.0,
        like="1.0 delta_degC",
    )
    supply_below: float = quantity(
        "delta_degC",
        0.1,
        4,
        "supply air this far below the target when cooling",
        0.8,
        like="0.8 delta_degC",
    )
    confidence: float = quantity(
        "1", 0.5, 4, "standard uncertainties that a margin must have to be believed", 2.0, like="2"
    )
    minimum_on: float = quantity("s", 0, 86400, "shortest fan run", 3600.0, like="60 min")
    minimum_off: float = quantity("s", 0, 86400, "shortest fan rest", 1800.0, like="30 min")
    tail: float = quantity(
        "s",
        0,
        43200,
        "recirculation after cooling, so the top does not sweat",
        3600.0,
        like="60 min",
    )
    circulate_every: float = quantity(
        "s",
        3600,
        14 * 86400,
        "longest rest without a run for an even pile",
        8 * 3600.0,
        like="8 hours",
    )
    circulate_for: float = quantity(
        "s", 600, 86400, "length of a run for an even pile", 3600.0, like="60 min"
    )
    fresh_air_every: float = quantity(
        "s",
        3600,
        14 * 86400,
        "longest time without fresh air when CO2 is not measured",
        86400.0,
        like="24 hours",
    )
    fresh_air_for: float = quantity(
        "s", 60, 86400, "length of a fresh-air run", 3600.0, like="60 min"
    )
    fresh_air_opening: float = quantity(
        "1", 0.01, 1, "door opening of a fresh-air run", 0.10, like="0.10"
    )
    validity: float = quantity(
        "s", 60, 21600, "how long one piece of advice stands", 3600.0, like="60 min"
    )


@dataclass(frozen=True, kw_only=True)
class Sensors:
    """Standard uncertainty of the readings."""

    temperature: float = quantity(
        "delta_degC", 0, 3, "of a temperature", 0.2, like="0.2 delta_degC"
    )
    humidity: float = quantity("1", 0, 0.2, "of a relative humidity", 0.02, like="0.02")


@dataclass(frozen=True, kw_only=True)
class Costs:
    """Prices, in one currency."""

    currency: str = text("name of the currency", "USD", like="USD")
    electricity: float = quantity(
        "money/J", 0, 1e-5, "price of electrical energy", 0.09 / 3.6e6, like="0.09 /kWh"
    )
    crop: float = quantity("money/kg", 0, 100, "price of the crop", 0.22, like="10 /cwt")


@dataclass(frozen=True, kw_only=True)
class Bay:
    """Everything that ventcalc knows of one bay."""

    name: str
    use: str
    site: Site
    pile: Pile
    lots: tuple[Lot, ...]
    fans: Fans
    doors: Doors
    envelope: Envelope
    schedule: Schedule
    humidifier: Humidifier | None = None
    refrigeration: Refrigeration | None = None
    heater: Heater | None = None
    ducts: Ducts | None = None
    limits: Limits = Limits()
    control: Control = Control()
    sensors: Sensors = Sensors()
    costs: Costs = Costs()
    notes: str = ""

    @property
    def mass(self) -> float:
        """Mass of crop loaded. [kg]"""
        return sum(lot.mass for lot in self.lots)


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
