"""The one door to CoolProp: loaded at first use, broadcasting, NaN handed on."""

from __future__ import annotations

from functools import cache
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from ventcalc.errors import VentcalcError

__all__ = ["humid_air", "humid_air_auxiliary", "load", "pure_fluid"]


@cache
def load() -> Any:
    """The module ``CoolProp.CoolProp``; importing it takes a second or two, so only on demand."""
    try:
        from CoolProp import CoolProp
    except ImportError:
        raise VentcalcError(
            "this calculation needs CoolProp, which is not installed; "
            "mend it with: pip install 'ventcalc[refrigeration]'"
        ) from None
    return CoolProp


def _spread(call: Any, *values: ArrayLike) -> np.ndarray | float:
    """Broadcast ``values``, call on the elements without NaN, put the results in place."""
    arrays = np.broadcast_arrays(*(np.asarray(v, dtype=float) for v in values))
    shape = arrays[0].shape
    flat = [a.ravel() for a in arrays]
    known = ~np.any([np.isnan(a) for a in flat], axis=0)
    result = np.full(known.shape, np.nan)
    if known.any():
        try:
            result[known] = call(*(np.ascontiguousarray(a[known]) for a in flat))
        except ValueError as error:
            raise VentcalcError(f"CoolProp refused: {' '.join(str(error).split())}") from None
    return result.reshape(shape) if shape else float(result[0])


def humid_air(
    output: str,
    name_1: str,
    value_1: ArrayLike,
    name_2: str,
    value_2: ArrayLike,
    name_3: str,
    value_3: ArrayLike,
) -> np.ndarray | float:
    """
    ``HAPropsSI`` for whole arrays of moist-air states, NaN where an input is NaN. [SI, K]

    Source: Bell et al., CoolProp, 2014, doi:10.1021/ie4033999.
    """
    haprops = load().HAPropsSI

    def call(a: Any, b: Any, c: Any) -> Any:
        return haprops(output, name_1, a, name_2, b, name_3, c)

    return _spread(call, value_1, value_2, value_3)


def humid_air_auxiliary(output: str, temperature: ArrayLike, pressure: ArrayLike) -> Any:
    """``HAProps_Aux`` for whole arrays [K, Pa]: of ice and vapour, such as ``"h_Ice"``."""
    auxiliary = load().HAProps_Aux

    def call(a: Any, b: Any) -> Any:
        return [auxiliary(output, float(t), float(p), 0.0)[0] for t, p in zip(a, b, strict=True)]

    return _spread(call, temperature, pressure)


def pure_fluid(
    output: str, name_1: str, value_1: ArrayLike, name_2: str, value_2: ArrayLike, fluid: str
) -> np.ndarray | float:
    """``PropsSI`` of one fluid for whole arrays of states, NaN where an input is NaN. [SI, K]"""
    props = load().PropsSI

    def call(a: Any, b: Any) -> Any:
        return props(output, name_1, a, name_2, b, fluid)

    return _spread(call, value_1, value_2)
