"""
How each quantity is printed, in metric and in US customary units.

Factors: NIST Special Publication 811 (2008), appendix B.8: foot, pound, Btu (International
Table), conventional inch of water and of mercury, ton of refrigeration = 12 000 Btu/h.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

__all__ = ["SHOWN", "Scale"]


@dataclass(frozen=True, kw_only=True, slots=True)
class Scale:
    """Shown number = value * factor + offset."""

    factor: float
    """[shown unit per internal unit]"""
    unit: str
    digits: int
    """Decimals to print."""
    offset: float = 0.0
    """[shown unit]"""


_POUND, _FOOT, _BTU = 0.45359237, 0.3048, 1055.05585262
_POUND_FORCE = 4.4482216152605
_CFM = _FOOT**3 / 60
_ZERO_F_AIR = 7.687
"""Dry air at 32 °F above dry air at 0 °F. [Btu/lb]"""


def _both(metric: tuple[Any, ...], us: tuple[Any, ...]) -> dict[str, Scale]:
    return {
        name: Scale(factor=row[0], unit=row[1], digits=row[2], offset=(*row, 0.0)[3])
        for name, row in (("metric", metric), ("us", us))
    }


SHOWN = {
    "1": _both((1, "", 3), (1, "", 3)),
    "1 percent": _both((100, "%", 1), (100, "%", 1)),
    "1 ppm": _both((1e6, "ppm", 0), (1e6, "ppm", 0)),
    "degC": _both((1, "°C", 1), (1.8, "°F", 1, 32.0)),
    "delta_degC": _both((1, "K", 2), (1.8, "delta_degF", 2)),
    "delta_degC/s": _both((86400, "K/day", 2), (86400 * 1.8, "°F/day", 2)),
    "m": _both((1, "m", 2), (1 / _FOOT, "ft", 1)),
    "m small": _both((1000, "mm", 1), (1 / 0.0254, "inch", 2)),
    "m2 small": _both((1e4, "cm²", 1), (1 / 0.0254**2, "in²", 2)),
    "m2": _both((1, "m²", 1), (_FOOT**-2, "ft²", 0)),
    "m3": _both((1, "m³", 0), (_FOOT**-3, "ft³", 0)),
    "kg": _both((1e-3, "t", 1), (1 / _POUND, "lb", 0)),
    "kg small": _both((1, "kg", 1), (1 / _POUND, "lb", 1)),
    "kg/m3": _both((1, "kg/m³", 1), (_FOOT**3 / _POUND, "lb/ft³", 2)),
    "kg/m3 air": _both((1, "kg/m³", 3), (_FOOT**3 / _POUND, "lb/ft³", 4)),
    "m3/kg": _both((1, "m³/kg", 4), (_POUND / _FOOT**3, "ft³/lb", 3)),
    "kg/kg": _both((1e3, "g/kg", 2), (7e3, "gr/lb", 1)),
    "J/kg": _both((1e-3, "kJ/kg", 2), (_POUND / _BTU, "Btu/lb", 2)),
    "J/kg dry air": _both((1e-3, "kJ/kg", 2), (_POUND / _BTU, "Btu/lb", 2, _ZERO_F_AIR)),
    "m/s": _both((1, "m/s", 2), (60 / _FOOT, "ft/min", 0)),
    "m3/s": _both((3600, "m³/h", 0), (1 / _CFM, "cfm", 0)),
    "m3/(s kg)": _both((3.6e6, "m³/(h t)", 1), (2000 * _POUND / _CFM, "cfm/ton", 1)),
    "m3/(s t)": _both((3600, "m³/(h t)", 1), (2 * _POUND / _CFM, "cfm/ton", 1)),
    "kg/s": _both((3600, "kg/h", 1), (3600 / _POUND, "lb/h", 1)),
    "Pa": _both((1, "Pa", 0), (1 / 249.08891, "inH2O", 2)),
    "Pa load": _both((1e-3, "kPa", 1), (_FOOT**2 / _POUND_FORCE, "psf", 0)),
    "N/m": _both((1e-3, "kN/m", 1), (_FOOT / _POUND_FORCE, "lbf/ft", 0)),
    "N m/m": _both((1e-3, "kN m/m", 1), (1 / _POUND_FORCE, "lbf ft/ft", 0)),
    "deg": _both((1, "deg", 0), (1, "deg", 0)),
    "Pa air": _both((1e-3, "kPa", 2), (1 / 3386.389, "inHg", 2)),
    "W": _both((1e-3, "kW", 2), (3600 / _BTU, "Btu/h", 0)),
    "W electrical": _both((1e-3, "kW", 2), (1e-3, "kW", 2)),
    "W shaft": _both((1e-3, "kW", 2), (1 / (550 * _FOOT * _POUND_FORCE), "hp", 2)),
    "W refrigeration": _both((1e-3, "kW", 1), (0.3 / _BTU, "ton_refrigeration", 1)),
    "W/kg": _both((1e3, "W/t", 1), (3600 * 2000 * _POUND / _BTU, "Btu/(h ton)", 0)),
    "W/(m2 K)": _both((1, "W/(m² K)", 3), (_FOOT**2 * 2000 / _BTU, "Btu/(h ft² °F)", 4)),
    "J": _both((1 / 3.6e6, "kWh", 1), (1 / 3.6e6, "kWh", 1)),
    "1/s": _both((3600, "/hour", 2), (3600, "/hour", 2)),
    "s": _both((1 / 3600, "h", 1), (1 / 3600, "h", 1)),
    "s days": _both((1 / 86400, "days", 1), (1 / 86400, "days", 1)),
    "money": _both((1, "", 0), (1, "", 0)),
    "money/J": _both((3.6e6, "/kWh", 3), (3.6e6, "/kWh", 3)),
    "money/kg": _both((1e3, "/t", 0), (100 * _POUND, "/cwt", 2)),
}
