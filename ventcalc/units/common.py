"""
The units that people write most, worked out beforehand.

Loading pint takes longer than many a command takes altogether; any other spelling is left to it.
The tests hold every number here against pint.
"""

from __future__ import annotations

__all__ = ["COMMON"]

COMMON: dict[str, dict[str, float]] = {
    "1": {"percent": 0.01, "ppm": 1e-06},
    "delta_degC": {"K": 1.0, "delta_degC": 1.0, "delta_degF": 0.5555555555555556},
    "delta_degC/s": {
        "K/day": 1.1574074074074073e-05,
        "degC/day": 1.1574074074074073e-05,
        "degF/day": 6.430041152263374e-06,
    },
    "m": {"cm": 0.01, "ft": 0.3048, "in": 0.0254, "inch": 0.0254, "m": 1.0, "mm": 0.001},
    "m2": {"cm**2": 0.0001, "ft**2": 0.09290304, "in**2": 0.00064516, "m**2": 1.0},
    "m3": {"ft**3": 0.028316846592000004, "m**3": 1.0},
    "kg": {
        "cwt": 45.359237,
        "kg": 1.0,
        "lb": 0.45359237,
        "t": 1000.0,
        "ton": 907.18474,
        "tons": 907.18474,
    },
    "kg/m3": {"kg/m**3": 1.0, "lb/ft**3": 16.018463373960138},
    "m3/kg": {"ft**3/lb": 0.062427960576144616, "m**3/kg": 1.0},
    "s": {
        "day": 86400.0,
        "days": 86400.0,
        "h": 3600.0,
        "hour": 3600.0,
        "min": 60.0,
        "s": 1.0,
        "week": 604800.0,
        "weeks": 604800.0,
    },
    "m/s": {"ft/min": 0.00508, "m/s": 1.0},
    "m3/s": {"cfm": 0.00047194744320000004, "m**3/h": 0.0002777777777777778, "m**3/s": 1.0},
    "m3/(s kg)": {"cfm/ton": 5.202330048012052e-07, "m**3/(h t)": 2.7777777777777776e-07},
    "deg": {"deg": 1.0, "degrees": 1.0},
    "N": {"kN": 1000.0, "lbf": 4.4482216152605},
    "N/m": {"kN/m": 1000.0, "lbf/ft": 14.593902937206362},
    "Pa": {
        "Pa": 1.0,
        "hPa": 100.0,
        "inH2O": 249.08891,
        "inHg": 3386.389,
        "kPa": 1000.0,
        "mbar": 100.0,
        "psf": 47.88025898033584,
        "psi": 6894.757293168362,
    },
    "W": {
        "Btu/h": 0.2930710701722222,
        "W": 1.0,
        "hp": 745.6998715822702,
        "kW": 1000.0,
        "ton_refrigeration": 3516.8528420666667,
    },
    "W/kg": {"Btu/(h ton)": 0.0003230555555555556, "W/t": 0.001},
    "J": {"MJ": 1000000.0, "kWh": 3600000.0},
    "J/kg": {"Btu/lb": 2326.0, "kJ/kg": 1000.0},
    "kg/s": {
        "kg/h": 0.0002777777777777778,
        "kg/hour": 0.0002777777777777778,
        "lb/h": 0.00012599788055555556,
        "lb/hour": 0.00012599788055555556,
    },
    "W/(m2 K)": {"Btu/(h ft**2 degF)": 5.678263341113487, "W/(m**2 K)": 1.0},
    "1/s": {
        "1/day": 1.1574074074074073e-05,
        "1/h": 0.0002777777777777778,
        "1/hour": 0.0002777777777777778,
    },
    "money/J": {"money/MJ": 1e-06, "money/kWh": 2.7777777777777776e-07},
    "money/kg": {"money/cwt": 0.022046226218487758, "money/t": 0.001},
}
"""Internal unit: how much of it one of each spelling is, as pint reads it."""
