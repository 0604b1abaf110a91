"""What each kind of channel may read: units, limits of belief, speed of change, packing."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["KINDS", "QUANTITIES", "Quantity", "to_internal"]


@dataclass(frozen=True, kw_only=True, slots=True)
class Quantity:
    """One kind of channel; numbers in the internal unit (°C, 0-1, volume fraction, Pa)."""

    units: dict[str, tuple[float, float]]
    """UCUM code to (factor, offset): internal = factor x value + offset."""
    low: float
    high: float
    """A reading outside is not believed."""
    jump: float
    """Largest believable step between two readings, beside ``per_minute``."""
    per_minute: float
    """Fastest believable change. [internal unit/min]"""
    stuck_after: float
    """A reading that has not moved at all for so long is not believed; 0: never judged. [s]"""
    packing: float
    """Smallest step that the journal keeps."""


_TEMPERATURE = {
    "Cel": (1.0, 0.0),
    "[degF]": (1 / 1.8, -32 / 1.8),
    "K": (1.0, -273.15),
}
_SHARE = {"1": (1.0, 0.0), "%": (0.01, 0.0)}
_HOUR = 3600.0


def _temperature(low: float, high: float, jump: float, speed: float, stuck: float) -> Quantity:
    return Quantity(
        units=_TEMPERATURE,
        low=low,
        high=high,
        jump=jump,
        per_minute=speed,
        stuck_after=stuck,
        packing=0.01,
    )


def _humidity(stuck: float) -> Quantity:
    return Quantity(
        units=_SHARE,
        low=0.02,
        high=1.0,
        jump=0.1,
        per_minute=0.1,
        stuck_after=stuck,
        packing=1e-4,
    )


def _position() -> Quantity:
    return Quantity(
        units=_SHARE, low=0.0, high=1.0, jump=2.0, per_minute=60.0, stuck_after=0.0, packing=1e-4
    )


def _word(
    high: float, packing: float = 1.0, units: dict[str, tuple[float, float]] | None = None
) -> Quantity:
    """What people tell through a channel: it may jump, and stand still for ever."""
    return Quantity(
        units=units or {"1": (1.0, 0.0)}, low=0.0, high=high, jump=2.0 * high,
        per_minute=high, stuck_after=0.0, packing=packing,
    )  # fmt: skip


# Limits, speeds and stuck times below: common practice, no source. A pulp probe of 0.1 K
# resolution in a bay that is held may well stand still for a day; outside air does not.
QUANTITIES: dict[str, Quantity] = {
    "pulp_temperature": _temperature(-5, 30, 1.0, 0.1, 48 * _HOUR),
    "plenum_temperature": _temperature(-15, 30, 5.0, 5.0, 24 * _HOUR),
    "return_temperature": _temperature(-10, 30, 3.0, 2.0, 48 * _HOUR),
    "outside_temperature": _temperature(-50, 50, 3.0, 2.0, 6 * _HOUR),
    "ceiling_temperature": _temperature(-30, 45, 3.0, 2.0, 24 * _HOUR),
    "plenum_relative_humidity": _humidity(48 * _HOUR),
    "return_relative_humidity": _humidity(48 * _HOUR),
    "outside_relative_humidity": _humidity(24 * _HOUR),
    "co2": Quantity(
        units={"[ppm]": (1e-6, 0.0), "%": (0.01, 0.0), "1": (1.0, 0.0)},
        low=200e-6,
        high=0.06,
        jump=0.005,
        per_minute=0.005,
        stuck_after=24 * _HOUR,
        packing=2e-6,
    ),
    "pressure": Quantity(
        units={"Pa": (1.0, 0.0), "hPa": (100.0, 0.0), "kPa": (1000.0, 0.0)},
        low=60e3,
        high=110e3,
        jump=500.0,
        per_minute=200.0,
        stuck_after=0.0,
        packing=5.0,
    ),
    "fan_speed": _position(),
    "door_opening": _position(),
    "humidifier": _position(),
    "refrigeration": _position(),
    "heater": _position(),
    "people_inside": _word(1.0),
    "crop_wet": _word(1.0),
    "rot_share": _word(1.0, 1e-4, _SHARE),
    "loaded_t": _word(
        20_000.0, 1.0, {"t": (1.0, 0.0), "kg": (1e-3, 0.0), "[lb_av]": (4.5359237e-4, 0.0)}
    ),
    "stage": _word(6.0),
    "out_of_order": _word(31.0),
    "other": Quantity(
        units={},
        low=-1e9,
        high=1e9,
        jump=2e9,
        per_minute=2e9,
        stuck_after=0.0,
        packing=0.01,
    ),
}
"""By kind of channel."""
KINDS = tuple(QUANTITIES)
"""What a channel measures; ``other`` is stored and never used."""


def to_internal(kind: str, unit: str) -> tuple[float, float] | None:
    """
    Factor and offset from a declared unit to the internal one.

    Parameters
    ----------
    kind : str
        One of ``QUANTITIES``.
    unit : str
        UCUM code as the controller declares it.

    Returns
    -------
    tuple of float, or None
        None where the unit does not fit the kind; ``other`` takes any unit as it is.
    """
    if kind == "other":
        return 1.0, 0.0
    return QUANTITIES[kind].units.get(unit)
