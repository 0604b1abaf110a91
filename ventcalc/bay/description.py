"""
One frozen description of a bay: site, pile, lots, equipment, envelope, calendar, limits.

Every class here, in ``store`` and in ``equipment`` is one table of the bay file, every field one
key. The unit, the allowed range and the sentence that explains the key stand beside the field,
once: the reader, the error messages and the commented starter file all take them from here.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from ventcalc.bay.equipment import (
    Doors,
    Ducts,
    Fans,
    Heater,
    Humidifier,
    Refrigeration,
    capacity_of,
    coil_of,
    door_opening_at,
    fresh_fraction_at,
    lateral_section,
    lateral_volume,
)
from ventcalc.bay.fields import quantity, text
from ventcalc.bay.store import Envelope, Lot, Pile, Schedule, Site

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
    "coil_of",
    "door_opening_at",
    "fresh_fraction_at",
    "lateral_section",
    "lateral_volume",
]

USES = ("seed", "table", "fries", "chips")
"""What the crop is kept for."""


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
        600,
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
    freeze_latch: float = quantity(
        "1",
        0,
        1,
        "1 holds the last stage of freeze protection until a person releases it",
        0.0,
        like="0",
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
        return math.fsum(lot.mass for lot in self.lots)

    @property
    def loading_temperature(self) -> float:
        """Mean pulp temperature of the loads, by mass. [°C]"""
        return math.fsum(lot.mass * lot.loading_temperature for lot in self.lots) / self.mass

    @property
    def immature_share(self) -> float:
        """Part of the mass loaded that was immature at harvest. [1]"""
        return math.fsum(lot.mass for lot in self.lots if lot.maturity == "immature") / self.mass

    @cached_property
    def by_season(self) -> dict[float, Any]:
        """What was worked out of this bay for the hours of a season, by its first load. [s]"""
        return {}
