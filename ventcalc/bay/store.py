"""Where a bay stands, its pile and lots, what is around them, and the season's calendar."""

from __future__ import annotations

from dataclasses import dataclass

from ventcalc.bay.fields import quantity, text
from ventcalc.building.ground import SOILS

__all__ = ["Envelope", "Lot", "Pile", "Schedule", "Site"]


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
    internal_friction: float = quantity(
        "deg",
        20,
        45,
        "angle of internal friction of the crop, usually 30-40 (34: EN 1991-4, from memory)",
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
    wall_friction: float = quantity(
        "1",
        0.05,
        1,
        "friction of crop on the walls, usually 0.3-0.6 (0.38: EN 1991-4, from memory)",
        0.38,
        like="0.38",
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
        "ground under the floor, which is not insulated", "sand", like="sand", choices=tuple(SOILS)
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
