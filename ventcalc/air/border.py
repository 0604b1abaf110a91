"""What stands between a public function of moist air and its kernel: limits and blocks."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np

from ventcalc.errors import check_range

__all__ = ["check", "evaluate"]

BLOCK = 8192
"""Elements worked on at a time: the intermediate results of a block stay in the cache."""

_KELVIN = "in kelvin or Fahrenheit, perhaps?"
_GRAMS = "in g/kg, perhaps? give kg/kg"
_FLOW = (0.0, 1e5, "kg/s", "the flow of dry air must not be negative")
_LIMITS = {
    "temperature": (-50.0, 60.0, "°C", _KELVIN),
    "surface_temperature": (-50.0, 60.0, "°C", _KELVIN),
    "water_temperature": (0.0, 60.0, "°C", _KELVIN),
    "dew_point": (-75.0, 60.0, "°C", _KELVIN),
    "wet_bulb": (-50.0, 60.0, "°C", _KELVIN),
    "relative_humidity": (0.0, 1.0, "", "a percentage, perhaps? give a fraction"),
    "humidity_ratio": (0.0, 0.1, "kg/kg dry air", _GRAMS),
    "moisture": (1e-6, 0.1, "kg/kg dry air", "too dry for a dew point, or in g/kg?"),
    "some_humidity": (1e-6, 1.0, "", "dry air has no dew point"),
    "saturated_temperature": (-75.0, 60.0, "°C", _KELVIN),
    "water": (0.0, 0.1, "kg/kg dry air", _GRAMS),
    "pressure": (60e3, 110e3, "Pa", "in kPa or hPa, perhaps? give Pa"),
    "enthalpy": (-60e3, 350e3, "J/kg dry air", "in another unit, perhaps? give J/kg"),
    "altitude": (-500.0, 5000.0, "m", "in feet, perhaps? give metres"),
    "mass_flow_1": _FLOW,
    "mass_flow_2": _FLOW,
    "temperature_1": (-50.0, 60.0, "°C", _KELVIN),
    "temperature_2": (-50.0, 60.0, "°C", _KELVIN),
    "humidity_ratio_1": (0.0, 0.1, "kg/kg dry air", _GRAMS),
    "humidity_ratio_2": (0.0, 0.1, "kg/kg dry air", _GRAMS),
    "effectiveness": (0.0, 1.0, "", "a percentage, perhaps? give a fraction"),
    "bypass_factor": (0.0, 1.0, "", "a percentage, perhaps? give a fraction"),
    "flow": (1e-9, 1e5, "kg/s", "the flow of dry air must be above zero"),
    "heat_flow": (-1e8, 1e8, "W", ""),
}
_SHOWN = {
    "moisture": "humidity_ratio",
    "some_humidity": "relative_humidity",
    "saturated_temperature": "temperature",
    "flow": "mass_flow",
}
"""Stricter or wider limits of a quantity that the caller knows by another name."""


def check(**values: Any) -> None:
    """Raise ``OutOfRange`` for the first value outside the limits of its name."""
    for name, value in values.items():
        low, high, unit, hint = _LIMITS[name]
        if type(value) is float:
            within = low <= value <= high
        else:  # the two extremes are far cheaper than the full check
            array = np.asarray(value, dtype=float)
            within = array.size > 0 and low <= array.min() and array.max() <= high
        if not within:
            check_range(_SHOWN.get(name, name), value, low, high, unit, hint)


def _carry(value: Any) -> Any:
    return float(value) if isinstance(value, float | int) else np.asarray(value, dtype=float)


def evaluate(kernel: Callable[..., Any], *values: Any) -> Any:
    """
    ``kernel(*values)`` on floats, or on arrays in blocks; a tuple of results stays a tuple.
    """
    if all(isinstance(value, float | int) for value in values):
        return kernel(*map(float, values))
    carried = [_carry(v) for v in values]
    shape = np.broadcast_shapes(*(np.shape(v) for v in carried))
    size = math.prod(shape)
    flat = [_flatten(v, shape) for v in carried]
    out: Any = None
    for start in range(0, max(size, 1), BLOCK):
        part = slice(start, start + BLOCK)
        piece = kernel(*(v[part] if isinstance(v, np.ndarray) else v for v in flat))
        if out is None:
            several = isinstance(piece, tuple)
            out = tuple(np.empty(size) for _ in range(len(piece) if several else 1))
        for whole, result in zip(out, piece if several else (piece,), strict=True):
            whole[part] = result
    shaped = tuple(whole.reshape(shape) for whole in out)
    return shaped if several else shaped[0]


def _flatten(value: Any, shape: tuple[int, ...]) -> Any:
    """One-dimensional view where possible; a single number stays a number."""
    if not isinstance(value, np.ndarray):
        return value
    if value.size == 1 and math.prod(shape) > 1:
        return float(value.reshape(()))
    return np.broadcast_to(value, shape).reshape(-1)
