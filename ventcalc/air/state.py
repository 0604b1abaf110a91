"""All properties of a state of moist air, from any two that fix it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from ventcalc.air import kernel, solve
from ventcalc.air.border import check, evaluate
from ventcalc.errors import BadInput

__all__ = ["AirState", "state"]


@dataclass(frozen=True, kw_only=True, slots=True)
class AirState:
    """
    Moist air, floats or arrays of one shape.

    Attributes
    ----------
    temperature : float or array
        Dry bulb. [°C]
    humidity_ratio : float or array
        Water per dry air. [kg/kg dry air]
    pressure : float or array
        Air pressure. [Pa]
    relative_humidity : float or array
        Over ice below freezing; above 1 if supersaturated. [0-1]
    dew_point : float or array
        Dew point, frost point below freezing. [°C]
    wet_bulb : float or array
        Thermodynamic wet bulb. [°C]
    enthalpy : float or array
        Per dry air. [J/kg dry air]
    specific_volume : float or array
        Per dry air. [m³/kg dry air]
    density : float or array
        Dry air and vapour together. [kg moist air/m³]
    """

    temperature: Any
    humidity_ratio: Any
    pressure: Any
    relative_humidity: Any
    dew_point: Any
    wet_bulb: Any
    enthalpy: Any
    specific_volume: Any
    density: Any


def state(
    *,
    pressure: Any,
    temperature: Any = None,
    humidity_ratio: Any = None,
    relative_humidity: Any = None,
    dew_point: Any = None,
    wet_bulb: Any = None,
) -> AirState:
    """
    The state of moist air from its pressure and exactly two other properties.

    Parameters
    ----------
    pressure : array-like
        Air pressure, 60 000 to 110 000. [Pa]
    temperature : array-like, optional
        Dry-bulb temperature, -50 to 60. [°C]
    humidity_ratio : array-like, optional
        Humidity ratio, 1e-6 to 0.1. [kg/kg dry air]
    relative_humidity : array-like, optional
        Relative humidity, over ice below freezing. [0-1]
    dew_point : array-like, optional
        Dew point, frost point below freezing. [°C]
    wet_bulb : array-like, optional
        Thermodynamic wet bulb, of ice below 0.01 °C. [°C]

    Returns
    -------
    AirState
        Every property, from the same formulas as the single functions.

    Raises
    ------
    BadInput
        If not exactly two are given, or if the two fix the same thing.
    OutOfRange
        If an input, or the state that follows from the inputs, lies outside its range.
    """
    usual = temperature is not None and relative_humidity is not None
    if usual and humidity_ratio is dew_point is wet_bulb is None:
        return _from_relative_humidity(temperature, relative_humidity, pressure)
    known = {
        "temperature": temperature,
        "humidity_ratio": humidity_ratio,
        "relative_humidity": relative_humidity,
        "dew_point": dew_point,
        "wet_bulb": wet_bulb,
    }
    given = {name: value for name, value in known.items() if value is not None}
    if len(given) != 2:
        raise BadInput(
            f"state needs exactly two of {', '.join(known)} (got {', '.join(given) or 'none'})"
        )
    if given.keys() == {"dew_point", "humidity_ratio"}:
        raise BadInput("dew_point and humidity_ratio fix the same thing: give a temperature too")
    check(pressure=pressure, **given)
    if relative_humidity is not None:
        check(some_humidity=relative_humidity)
    t, w = _dry_bulb_and_humidity(given, pressure)
    check(temperature=t, moisture=w)
    return _bundle(t, w, pressure, *evaluate(kernel.of_humidity_ratio, t, w, pressure))


def _from_relative_humidity(t: Any, rh: Any, p: Any) -> AirState:
    """The usual pair, without the detours of the others."""
    check(temperature=t, some_humidity=rh, pressure=p)
    w, *rest = evaluate(kernel.of_relative_humidity, t, rh, p)
    check(moisture=w)
    return _bundle(t, w, p, rh, *rest)


def _bundle(t: Any, w: Any, p: Any, rh: Any, dew: Any, wet: Any, h: Any, v: Any) -> AirState:
    if isinstance(v, float):
        t, p, rh = float(t), float(p), float(rh)
    else:
        t, w, p, rh = (np.broadcast_to(np.asarray(a, dtype=float), v.shape) for a in (t, w, p, rh))
    return AirState(
        temperature=t,
        humidity_ratio=w,
        pressure=p,
        relative_humidity=rh,
        dew_point=dew,
        wet_bulb=wet,
        enthalpy=h,
        specific_volume=v,
        density=(1.0 + w) / v,
    )


def _dry_bulb_and_humidity(given: dict[str, Any], p: Any) -> tuple[Any, Any]:
    """Dry bulb and humidity ratio from the two given properties."""
    given = dict(given)
    if "dew_point" in given:
        given["humidity_ratio"] = evaluate(kernel.saturated, given.pop("dew_point"), p)
    t, w = given.get("temperature"), given.get("humidity_ratio")
    rh, wet = given.get("relative_humidity"), given.get("wet_bulb")
    if t is None:
        if w is not None and rh is not None:
            t = evaluate(solve.temperature_from_humidities, w, rh, p)
        elif w is not None:
            t = evaluate(solve.temperature_from_wet_bulb, wet, w, p)
        else:
            t = evaluate(solve.temperature_from_wet_bulb_and_humidity, wet, rh, p)
    if w is None and rh is not None:
        w = evaluate(kernel.humidity_ratio, t, rh, p)
    elif w is None:
        w = evaluate(kernel.humidity_ratio_from_wet_bulb, t, wet, p)
    return t, w
