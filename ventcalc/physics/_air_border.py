"""What stands between a public function of moist air and its kernel: limits and blocks."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from ventcalc._ops import ARRAY, SCALAR
from ventcalc.errors import check_range

__all__ = ["check", "evaluate"]

BLOCK = 4096
"""Elements worked on at a time: the intermediate results of a block stay in the cache."""

_KELVIN = "in kelvin or Fahrenheit, perhaps?"
_LIMITS = {
    "temperature": (-50.0, 60.0, "°C", _KELVIN),
    "surface_temperature": (-50.0, 60.0, "°C", _KELVIN),
    "water_temperature": (0.0, 60.0, "°C", _KELVIN),
    "dew_point": (-75.0, 60.0, "°C", _KELVIN),
    "wet_bulb": (-50.0, 60.0, "°C", _KELVIN),
    "relative_humidity": (0.0, 1.0, "", "a percentage, perhaps? give a fraction"),
    "humidity_ratio": (0.0, 0.2, "kg/kg dry air", "in g/kg, perhaps? give kg/kg"),
    "moisture": (1e-6, 0.2, "kg/kg dry air", "too dry for a dew point, or in g/kg?"),
    "water": (0.0, 0.2, "kg/kg dry air", "in g/kg, perhaps? give kg/kg"),
    "pressure": (60e3, 110e3, "Pa", "in kPa or hPa, perhaps? give Pa"),
    "enthalpy": (-60e3, 600e3, "J/kg dry air", "in another unit, perhaps? give J/kg"),
    "altitude": (-500.0, 5000.0, "m", "in feet, perhaps? give metres"),
    "effectiveness": (0.0, 1.0, "", "a percentage, perhaps? give a fraction"),
    "bypass_factor": (0.0, 1.0, "", "a percentage, perhaps? give a fraction"),
    "mass_flow": (0.0, 1e5, "kg/s", "the flow of dry air must not be negative"),
    "flow": (1e-9, 1e5, "kg/s", "the flow of dry air must be above zero"),
    "heat_flow": (-1e8, 1e8, "W", ""),
}


def check(**values: Any) -> None:
    """Raise ``OutOfRange`` for the first value outside the limits of its name."""
    for name, value in values.items():
        key = name.rstrip("_12")
        low, high, unit, hint = _LIMITS[key]
        if isinstance(value, np.ndarray) and value.size:
            if low <= value.min() and value.max() <= high:  # far cheaper than the full check
                continue
        elif isinstance(value, float) and low <= value <= high:
            continue
        check_range(name, value, low, high, unit, hint)


def _carry(value: Any) -> Any:
    return float(value) if isinstance(value, float | int) else np.asarray(value, dtype=float)


def evaluate(kernel: Callable[..., Any], *values: Any) -> Any:
    """
    ``kernel(ops, *values)`` on floats, or on arrays in blocks; a tuple of results stays a tuple.
    """
    if all(isinstance(v, float | int) for v in values):
        return kernel(SCALAR, *map(float, values))
    carried = [_carry(v) for v in values]
    shape = np.broadcast_shapes(*(np.shape(v) for v in carried))
    size = int(np.prod(shape))
    if size <= BLOCK:
        return kernel(ARRAY, *carried)
    flat = [_flatten(v, shape) for v in carried]
    out: Any = None
    for start in range(0, size, BLOCK):
        part = slice(start, start + BLOCK)
        piece = kernel(ARRAY, *(v[part] if isinstance(v, np.ndarray) else v for v in flat))
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
    if value.size == 1:
        return float(value.reshape(()))
    return np.broadcast_to(value, shape).reshape(-1)
