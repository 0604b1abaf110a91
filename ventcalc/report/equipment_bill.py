"""What a bay needs, as one would order it."""

from __future__ import annotations

from collections.abc import Sequence

from ventcalc.bay.description import Bay
from ventcalc.report.size_text import shown_size
from ventcalc.units import UnitSystem, show

__all__ = ["bill"]

Row = Sequence[str]


def bill(bay: Bay, units: UnitSystem = "metric", doors: str = "") -> list[Row]:
    """The equipment of a bay, with the point at which each is rated."""
    rows: list[Row] = [["Item", "Number", "Size", "Rated at, or how"], _fans(bay, units)]
    rows += _ducts(bay, units)
    share = f"up to {bay.doors.largest_fraction:.0%} fresh air"
    rows.append(["Fresh-air doors and exhaust", "", doors or "not in the bay file", share])
    rows += _machines(bay, units)
    return [*rows, *_insulation(bay, units)]


def _fans(bay: Bay, units: UnitSystem) -> Row:
    fans = bay.fans
    each = f"{show(fans.airflow / fans.count, 'm3/s', units)} each"
    rating = f"{show(fans.static_pressure, 'Pa', units)} static pressure"
    if fans.motor_power is not None:
        rating += f"; motor {show(fans.motor_power, 'W shaft', units)} shaft power"
    return ["Fans", str(fans.count), each, rating]


def _ducts(bay: Bay, units: UnitSystem) -> list[Row]:
    ducts = bay.ducts
    if ducts is None:
        return [["Plenum and laterals", "", "not in the bay file", ""]]

    def metres(*lengths: float) -> str:
        return " x ".join(show(length, "m", units) for length in lengths)

    shape = ducts.lateral_shape.replace("_", "-")
    ports = f"{ducts.ports} places with ports of {show(ducts.port_area, 'm2 small', units)} each"
    return [
        ["Plenum", "1", f"{metres(ducts.plenum_width, ducts.plenum_height)} high",
         f"along the {ducts.plenum_along} of the pile"],
        [f"Laterals, {shape}", str(ducts.laterals),
         f"{show(ducts.lateral_diameter, 'm small', units)}, "
         f"{metres(ducts.lateral_length)} long", ports],
    ]  # fmt: skip


def _machines(bay: Bay, units: UnitSystem) -> list[Row]:
    rows: list[Row] = []
    if bay.humidifier is None:
        rows.append(["Humidifier", "none", "", ""])
    else:
        water = show(bay.humidifier.capacity, "kg/s", units)
        rows.append(["Humidifier", "1", f"{water} of water", "evaporated, not only sprayed"])
    cold = bay.refrigeration
    if cold is None:
        rows.append(["Refrigeration", "none", "", "outside air alone"])
    else:
        named = "" if cold.refrigerant == "unnamed" else f"{cold.refrigerant}, "
        rating = (
            f"coil {show(cold.coil_temperature_difference, 'delta_degC', units)} below the "
            f"entering air, {show(cold.design_outside_temperature, 'degC', units)} outside, "
            f"{named}{cold.performance:.1f} of cooling per electricity"
        )
        rows.append(["Refrigeration and coil", "1",
                     show(cold.capacity, "W refrigeration", units), rating])  # fmt: skip
    if bay.heater is not None:
        heat = show(bay.heater.capacity, "W electrical", units)
        rows.append(["Heater", "1", heat, "heat output"])
    return rows


def _insulation(bay: Bay, units: UnitSystem) -> list[Row]:
    shell = bay.envelope
    parts = (
        ("walls", shell.wall_area, shell.wall_u), ("ceiling", shell.ceiling_area, shell.ceiling_u)
    )  # fmt: skip
    return [
        [
            f"Insulation, {name}",
            "",
            f"{shown_size(1.0 / u, 'm2 K/W', units)}, {show(area, 'm2', units)}",
            "thermal resistance with surface films",
        ]
        for name, area, u in parts
    ]
