"""Kinds of channel: their units, and how the journal packs them."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["KINDS", "QUANTITIES", "Quantity", "to_internal"]


@dataclass(frozen=True, kw_only=True, slots=True)
class Quantity:
    """One kind of channel; numbers in the internal unit (°C, 0-1, volume fraction, Pa, W)."""

    units: dict[str, tuple[float, float]]
    """UCUM code to (factor, offset): internal = factor x value + offset."""
    packing: float
    """Smallest step that the journal keeps."""
    low: float = 0.0
    high: float = 1.0
    """Limits of belief, where the library has none: it knows probes only."""


_CELSIUS = {
    "Cel": (1.0, 0.0),
    "[degF]": (1 / 1.8, -32 / 1.8),
    "K": (1.0, -273.15),
}
_PART = {"1": (1.0, 0.0), "%": (0.01, 0.0)}
_ONE = {"1": (1.0, 0.0)}
_TEMPERATURE = Quantity(units=_CELSIUS, packing=0.01)
_SHARE = Quantity(units=_PART, packing=1e-4)
_FLAG = Quantity(units=_ONE, packing=1.0)
_TONNES = {"t": (1.0, 0.0), "kg": (1e-3, 0.0), "[lb_av]": (4.5359237e-4, 0.0)}
_GASES = {"[ppm]": (1e-6, 0.0), "%": (0.01, 0.0), "1": (1.0, 0.0)}
_POWERS = {"W": (1.0, 0.0), "kW": (1000.0, 0.0)}
_PRESSURES = {"Pa": (1.0, 0.0), "hPa": (100.0, 0.0), "kPa": (1000.0, 0.0)}

QUANTITIES: dict[str, Quantity] = {
    "pulp_temperature": _TEMPERATURE,
    "plenum_temperature": _TEMPERATURE,
    "return_temperature": _TEMPERATURE,
    "outside_temperature": _TEMPERATURE,
    "ceiling_temperature": _TEMPERATURE,
    "plenum_relative_humidity": _SHARE,
    "return_relative_humidity": _SHARE,
    "outside_relative_humidity": _SHARE,
    "co2": Quantity(units=_GASES, packing=2e-6),
    "pressure": Quantity(units=_PRESSURES, packing=5.0),
    "fan_speed": _SHARE,
    "door_opening": _SHARE,
    "humidifier": _SHARE,
    "refrigeration": _SHARE,
    "heater": _SHARE,
    "people_inside": _FLAG,
    "crop_wet": _FLAG,
    "rot_share": _SHARE,
    "loaded_t": Quantity(units=_TONNES, packing=1.0, high=20_000.0),
    "stage": Quantity(units=_ONE, packing=1.0, high=6.0),
    "out_of_order": Quantity(units=_ONE, packing=1.0, high=31.0),
    "power": _FLAG,
    "electric_power": Quantity(units=_POWERS, packing=20.0, high=600e3),
    "other": Quantity(units={}, packing=0.01, low=-1e9, high=1e9),
}
"""By kind of channel."""
KINDS = tuple(QUANTITIES)
"""What a channel measures; ``other`` is stored and never used."""


def to_internal(kind: str, unit: str) -> tuple[float, float] | None:
    """Factor and offset from a declared unit to the internal one; None where it does not fit."""
    if kind == "other":
        return 1.0, 0.0
    return QUANTITIES[kind].units.get(unit)
