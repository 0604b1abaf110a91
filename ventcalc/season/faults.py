"""What may leave the range of the models in a step, and how it is found."""

from __future__ import annotations

from ventcalc.advice.policies import Positions
from ventcalc.equipment.plant import COLDEST_SURFACE, HOTTEST_OUTSIDE
from ventcalc.equipment.plenum import Supply
from ventcalc.errors import OutOfRange
from ventcalc.pile.bed import HOUR_LIMITS
from ventcalc.pile.step import MOST_PARTS

__all__ = ["FAULTS", "NO_FAULT", "WrongPosition", "wrong_air", "wrong_position"]

FAULTS = (
    ("", 0.0, 0.0, "", ""),
    ("fan_speed", 0.0, 1.0, "", "percent?"),
    ("door_opening", 0.0, 1.0, "", "percent?"),
    ("humidity_wanted", 0.0, 1.0, "", "percent?"),
    ("refrigeration", 0.0, 1.0, "", "percent?"),
    ("heater", 0.0, 1.0, "", "percent?"),
    ("superficial_velocity", *HOUR_LIMITS["superficial_velocity"]),
    ("inlet_temperature", *HOUR_LIMITS["inlet_temperature"]),
    ("inlet_humidity_ratio", *HOUR_LIMITS["inlet_humidity_ratio"]),
    ("coil surface", COLDEST_SURFACE, 60.0, "°C", "outside the refrigerant's map"),
    ("outside_temperature", -60.0, HOTTEST_OUTSIDE, "°C", "outside the refrigerant's map"),
    ("parts", 1.0, MOST_PARTS, "", "a long step, or very moist air?"),
    ("temperature", *HOUR_LIMITS["temperature"]),
)
"""What may leave the range of the model: name, least, greatest, unit, likely slip."""
NO_FAULT, SPEED, DOOR, HUMIDITY, COOLING, HEATING = range(6)
VELOCITY, INLET, INLET_WATER, COIL, CONDENSER, PARTS, PULP = range(6, 13)
SLOWEST, FASTEST = HOUR_LIMITS["superficial_velocity"][:2]
COLDEST_INLET, WARMEST_INLET = HOUR_LIMITS["inlet_temperature"][:2]
MOIST_INLET = HOUR_LIMITS["inlet_humidity_ratio"][1]
COLDEST_PULP, WARMEST_PULP = HOUR_LIMITS["temperature"][:2]


class WrongPosition(OutOfRange):
    """A position outside 0 to 1: a slip of whoever wrote the policy, not of the season."""


def wrong_position(positions: Positions) -> tuple[int, float]:
    """The first position outside 0 to 1."""
    if not 0.0 <= positions.fan_speed <= 1.0:
        return SPEED, positions.fan_speed
    if not 0.0 <= positions.door_opening <= 1.0:
        return DOOR, positions.door_opening
    if not 0.0 <= positions.humidity_wanted <= 1.0:
        return HUMIDITY, positions.humidity_wanted
    if not 0.0 <= positions.refrigeration <= 1.0:
        return COOLING, positions.refrigeration
    if not 0.0 <= positions.heater <= 1.0:
        return HEATING, positions.heater
    return NO_FAULT, 0.0


def wrong_air(
    velocity: float, inlet: float, vapour: float, end: Supply, outside: float
) -> tuple[int, float]:
    """The first quantity of the air that leaves the range of the models."""
    if not SLOWEST <= velocity <= FASTEST:
        return VELOCITY, velocity
    if not COLDEST_INLET <= inlet <= WARMEST_INLET:
        return INLET, inlet
    if not 0.0 <= vapour <= MOIST_INLET:
        return INLET_WATER, vapour
    if end.coil_heat > 0.0:
        if not end.coil_temperature >= COLDEST_SURFACE:
            return COIL, end.coil_temperature
        if not outside <= HOTTEST_OUTSIDE:
            return CONDENSER, outside
    return NO_FAULT, 0.0
