"""
What happens to moist air on its way to the pile: mixing, fog, humidifying, heating, cooling.

Humidity ratios, enthalpies and condensate are per kilogram of *dry* air, mass flows are of
dry air, as the dry air is what passes through a process unchanged.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from ventcalc.air import kernel, solve
from ventcalc.air.border import check, evaluate
from ventcalc.air.numbers import minimum

__all__ = [
    "Mixed",
    "cool_coil",
    "heat",
    "humidify_adiabatic",
    "humidify_to",
    "mix",
    "saturated_split",
]


@dataclass(frozen=True, kw_only=True, slots=True)
class Mixed:
    """
    Air that may carry fog.

    Attributes
    ----------
    temperature : float or array
        Dry bulb. [°C]
    humidity_ratio : float or array
        Water present as vapour. [kg/kg dry air]
    liquid : float or array
        Water present as fog: droplets, or ice crystals below 0.01 °C. [kg/kg dry air]
    enthalpy : float or array
        Of air, vapour and fog together. [J/kg dry air]
    """

    temperature: Any
    humidity_ratio: Any
    liquid: Any
    enthalpy: Any


def saturated_split(enthalpy: Any, water: Any, pressure: Any) -> Mixed:
    """
    Share the water of air between vapour and fog, given its total enthalpy and total water.

    Parameters
    ----------
    enthalpy : array-like
        Of air, vapour and fog together. [J/kg dry air]
    water : array-like
        Vapour and fog together. [kg/kg dry air]
    pressure : array-like
        Air pressure, 60 000 to 110 000. [Pa]

    Returns
    -------
    Mixed
        Without fog if the vapour fits, else saturated air and fog.

    Notes
    -----
    Fog is ice below 0.01 °C. At 0.01 °C the heat of freezing cannot be told from one
    temperature: within that gap the air stays at 0.01 °C and the fog is partly frozen.
    """
    check(enthalpy=enthalpy, water=water, pressure=pressure)
    t, w, fog, h = evaluate(_split, enthalpy, water, pressure)
    check(temperature=t)
    return Mixed(temperature=t, humidity_ratio=w, liquid=fog, enthalpy=h)


def _split(h: Any, w: Any, p: Any) -> tuple[Any, Any, Any, Any]:
    """Fog is rare and dear to solve for, so it is sought only where there is any."""
    t = kernel.temperature_from_enthalpy(h, w, p)
    water = w + 0.0 * t  # of full shape, NaN where the enthalpy is
    foggy = w > kernel.saturated(t, p)
    if type(t) is float:
        if not foggy:
            return t, water, water - water, h
        t = solve.fog_temperature(h, w, p)
        vapour = min(kernel.saturated(t, p), w)  # round-off is not less than no fog
        return t, vapour, w - vapour, h
    vapour = water.copy()
    if foggy.any():
        h_fog, w_fog, p_fog = (np.broadcast_to(x, t.shape)[foggy] for x in (h, w, p))
        t[foggy] = solve.fog_temperature(h_fog, w_fog, p_fog)
        vapour[foggy] = np.minimum(kernel.saturated(t[foggy], p_fog), w_fog)
    return t, vapour, water - vapour, h + 0.0 * t


def mix(
    mass_flow_1: Any,
    temperature_1: Any,
    humidity_ratio_1: Any,
    mass_flow_2: Any,
    temperature_2: Any,
    humidity_ratio_2: Any,
    pressure: Any,
) -> Mixed:
    """
    Two streams of air blended without loss of heat: water and enthalpy are conserved.

    Parameters
    ----------
    mass_flow_1, mass_flow_2 : array-like
        Flows of dry air, not both zero. [kg/s]
    temperature_1, temperature_2 : array-like
        Dry-bulb temperatures, -50 to 60. [°C]
    humidity_ratio_1, humidity_ratio_2 : array-like
        Humidity ratios. [kg/kg dry air]
    pressure : array-like
        Air pressure, 60 000 to 110 000. [Pa]

    Returns
    -------
    Mixed
        The blend; with fog, and warmer than without it, where it is supersaturated.
    """
    check(
        mass_flow_1=mass_flow_1,
        mass_flow_2=mass_flow_2,
        temperature_1=temperature_1,
        temperature_2=temperature_2,
        humidity_ratio_1=humidity_ratio_1,
        humidity_ratio_2=humidity_ratio_2,
        pressure=pressure,
    )
    check(flow=np.add(mass_flow_1, mass_flow_2))
    h, w = evaluate(
        _blend,
        mass_flow_1,
        temperature_1,
        humidity_ratio_1,
        mass_flow_2,
        temperature_2,
        humidity_ratio_2,
        pressure,
    )
    return saturated_split(h, w, pressure)


def _blend(m1: Any, t1: Any, w1: Any, m2: Any, t2: Any, w2: Any, p: Any) -> tuple[Any, Any]:
    share = m2 / (m1 + m2)
    h1 = kernel.enthalpy(t1, w1, p)
    return h1 + share * (kernel.enthalpy(t2, w2, p) - h1), w1 + share * (w2 - w1)


def humidify_adiabatic(
    temperature: Any,
    humidity_ratio: Any,
    pressure: Any,
    *,
    effectiveness: Any,
    water_temperature: Any = None,
) -> tuple[Any, Any]:
    """
    Air through a wetted pad or spray: it goes a part of the way to saturation.

    Parameters
    ----------
    temperature : array-like
        Dry-bulb temperature of the air entering. [°C]
    humidity_ratio : array-like
        Humidity ratio of the air entering. [kg/kg dry air]
    pressure : array-like
        Air pressure, 60 000 to 110 000. [Pa]
    effectiveness : array-like
        Humidity added over that needed for saturation. [0-1]
    water_temperature : array-like, optional
        Temperature of the water evaporated, 0 to 60; left out, that of the wet bulb, as in a
        recirculating pad. [°C]

    Returns
    -------
    temperature : float or array
        Dry-bulb temperature of the air leaving. [°C]
    humidity_ratio : float or array
        Humidity ratio of the air leaving. [kg/kg dry air]

    Notes
    -----
    All heat of evaporation comes from the air and the water; the air gains the enthalpy of
    the water that evaporated. A pad below freezing would ice up: its results there are those of
    evaporating ice.
    """
    check(
        temperature=temperature,
        humidity_ratio=humidity_ratio,
        pressure=pressure,
        effectiveness=effectiveness,
    )
    state = temperature, humidity_ratio, pressure, effectiveness
    if water_temperature is None:
        t, w = evaluate(_recirculated, *state)
    else:
        check(water_temperature=water_temperature)
        t, w = evaluate(_fed, *state, water_temperature)
    return t, w


def _recirculated(t: Any, w: Any, p: Any, effectiveness: Any) -> tuple[Any, Any]:
    end = kernel.wet_bulb(t, w, p)
    added = kernel.condensed_heat(end)
    return _add_water(t, w, p, effectiveness * (kernel.saturated(end, p) - w), added)


def _fed(t: Any, w: Any, p: Any, effectiveness: Any, tw: Any) -> tuple[Any, Any]:
    added = kernel.water_heat(tw)
    end = solve.humidity_on_line(t, w, p, added, 1.0)
    return _add_water(t, w, p, effectiveness * (end - w), added)


def _add_water(t: Any, w: Any, p: Any, water: Any, added: Any) -> tuple[Any, Any]:
    """Air after taking up ``water`` of enthalpy ``added`` as vapour."""
    h = kernel.enthalpy(t, w, p) + water * added
    return kernel.temperature_from_enthalpy(h, w + water, p), w + water


def humidify_to(
    temperature: Any,
    humidity_ratio: Any,
    pressure: Any,
    *,
    relative_humidity: Any,
    water_temperature: Any = 10.0,
) -> tuple[Any, Any, Any]:
    """
    Water to evaporate into air, without heat from outside, to reach a relative humidity.

    Parameters
    ----------
    temperature : array-like
        Dry-bulb temperature of the air entering. [°C]
    humidity_ratio : array-like
        Humidity ratio of the air entering. [kg/kg dry air]
    pressure : array-like
        Air pressure, 60 000 to 110 000. [Pa]
    relative_humidity : array-like
        Wanted relative humidity, not below that of the air entering. [0-1]
    water_temperature : array-like
        Temperature of the water, 0 to 60. [°C]

    Returns
    -------
    temperature : float or array
        Dry-bulb temperature of the air leaving. [°C]
    humidity_ratio : float or array
        Humidity ratio of the air leaving. [kg/kg dry air]
    water : float or array
        Water evaporated; negative where the air entering is more humid than wanted, which
        evaporation cannot mend. [kg/kg dry air]
    """
    check(
        temperature=temperature,
        humidity_ratio=humidity_ratio,
        pressure=pressure,
        relative_humidity=relative_humidity,
        water_temperature=water_temperature,
    )
    t, w, water = evaluate(
        _to_humidity, temperature, humidity_ratio, pressure, relative_humidity, water_temperature
    )
    return t, w, water


def _to_humidity(t: Any, w: Any, p: Any, rh: Any, water_temperature: Any) -> tuple[Any, Any, Any]:
    added = kernel.water_heat(water_temperature)
    water = solve.humidity_on_line(t, w, p, added, rh) - w
    return (*_add_water(t, w, p, water, added), water)


def heat(
    temperature: Any, humidity_ratio: Any, pressure: Any, *, heat_flow: Any, mass_flow: Any
) -> Any:
    """
    Air warmed or cooled without exchange of water: a heater, a fan, a dry wall.

    Parameters
    ----------
    temperature : array-like
        Dry-bulb temperature entering. [°C]
    humidity_ratio : array-like
        Humidity ratio, unchanged. [kg/kg dry air]
    pressure : array-like
        Air pressure, 60 000 to 110 000. [Pa]
    heat_flow : array-like
        Heat into the air; negative cools. [W]
    mass_flow : array-like
        Flow of dry air, above zero. [kg/s]

    Returns
    -------
    float or array
        Dry-bulb temperature leaving. [°C]
    """
    check(temperature=temperature, humidity_ratio=humidity_ratio, pressure=pressure)
    check(heat_flow=heat_flow, flow=mass_flow)
    return evaluate(_heat, temperature, humidity_ratio, pressure, heat_flow, mass_flow)


def _heat(t: Any, w: Any, p: Any, heat_flow: Any, mass_flow: Any) -> Any:
    h = kernel.enthalpy(t, w, p) + heat_flow / mass_flow
    return kernel.temperature_from_enthalpy(h, w, p)


def cool_coil(
    temperature: Any,
    humidity_ratio: Any,
    pressure: Any,
    *,
    surface_temperature: Any,
    bypass_factor: Any,
) -> tuple[Any, Any, Any, Any, Any]:
    """
    Air over a cold coil: a part passes untouched, the rest takes the state of the surface.

    Parameters
    ----------
    temperature : array-like
        Dry-bulb temperature entering. [°C]
    humidity_ratio : array-like
        Humidity ratio entering. [kg/kg dry air]
    pressure : array-like
        Air pressure, 60 000 to 110 000. [Pa]
    surface_temperature : array-like
        Effective temperature of the coil surface. [°C]
    bypass_factor : array-like
        Share of the air that misses the surface. [0-1]

    Returns
    -------
    temperature : float or array
        Dry-bulb temperature leaving. [°C]
    humidity_ratio : float or array
        Humidity ratio leaving. [kg/kg dry air]
    condensate : float or array
        Water, or frost below 0.01 °C, left on the coil. [kg/kg dry air]
    total_heat : float or array
        Heat taken by the coil, the condensate leaving at surface temperature. [J/kg dry air]
    sensible_heat : float or array
        Share of it that changes the temperature at the entering humidity. [J/kg dry air]

    Notes
    -----
    Water condenses only where the surface is below the dew point. Heat and water balances
    close exactly; the straight line between the two states may cross the saturation curve
    for a small bypass, in which case the leaving air carries fog (see `saturated_split`).

    References
    ----------
    .. [1] ASHRAE Handbook - HVAC Systems and Equipment (2016), ch. 23 (from memory).
    """
    check(temperature=temperature, humidity_ratio=humidity_ratio, pressure=pressure)
    check(surface_temperature=surface_temperature, bypass_factor=bypass_factor)
    t, w, condensate, total, sensible = evaluate(
        _coil, temperature, humidity_ratio, pressure, surface_temperature, bypass_factor
    )
    return t, w, condensate, total, sensible


def _coil(t: Any, w: Any, p: Any, ts: Any, bypass: Any) -> tuple[Any, ...]:
    met = minimum(w, kernel.saturated(ts, p))
    out = w - (1.0 - bypass) * (w - met)
    h_in = kernel.enthalpy(t, w, p)
    h_out = h_in - (1.0 - bypass) * (h_in - kernel.enthalpy(ts, met, p))
    leaving = kernel.temperature_from_enthalpy(h_out, out, p)
    condensate = w - out
    total = h_in - h_out - condensate * kernel.condensed_heat(ts)
    return leaving, out, condensate, total, h_in - kernel.enthalpy(leaving, w, p)
