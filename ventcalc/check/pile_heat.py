"""Heat and water of a full pile at its design states, before there is any weather."""

from __future__ import annotations

import math
from dataclasses import dataclass, fields
from typing import Any, NamedTuple

import numpy as np

from ventcalc import air
from ventcalc.air.plain import AIR_HEAT, EVAPORATION, dry_bulb, enthalpy
from ventcalc.bay.description import Bay
from ventcalc.check.crop_state import crop_states
from ventcalc.equipment import plenum
from ventcalc.pile.crop import (
    crop_for,
    respiration_heat,
    transpiration_coefficient,
)

__all__ = [
    "Outside",
    "Passage",
    "State",
    "Supply",
    "cooling_rate",
    "design_states",
    "heat_taken",
    "humidifier_need",
    "passage",
]

DAY = 86400.0
STEPS = 24
HOTTEST = 50.0
SETTLED_AGE = 90 * DAY
"""Age from which the skin counts as cured. [s]"""
ENOUGH_WATER = 100.0
"""That no bay needs, to ask what is needed. [kg/s]"""
SEA_LEVEL = 101325.0
"""What is per mass of crop is the same at any air pressure. [Pa]"""


class Outside(NamedTuple):
    """Air outside before there is any weather (common practice, no source)."""

    winter_temperature: float = -20.0
    """Design winter. [°C]"""
    winter_humidity: float = 0.8
    """[0-1]"""
    warm_temperature: float = 18.0
    """Mean of the warm day that refrigeration is judged by. [°C]"""
    warm_humidity: float = 0.6
    """[0-1]"""
    autumn_temperature: float = 10.0
    """At fill and in wound healing. [°C]"""
    autumn_humidity: float = 0.4
    """[0-1]"""


@dataclass(frozen=True, kw_only=True, slots=True)
class State:
    """A stage of the season as the designer sees it."""

    key: str
    name: str
    pulp_temperature: float
    """Bottom of the pile, as cold as the supply. [°C]"""
    respiration_heat: float
    """Per mass of crop. [W/kg]"""
    transpiration_coefficient: float
    """Water lost per mass of crop, time and vapour pressure difference. [kg/(kg s Pa)]"""
    outside_temperature: float
    """Assumed. [°C]"""
    outside_relative_humidity: float
    """Assumed. [0-1]"""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Passage:
    """Air through the pile in a steady state; what is per mass is per kg of crop."""

    inlet_temperature: float
    """[°C]"""
    inlet_humidity_ratio: float
    """[kg/kg dry air]"""
    outlet_temperature: Any
    """[°C]"""
    outlet_humidity_ratio: Any
    """[kg/kg dry air]"""
    mass_flow: Any
    """Dry air through the whole pile. [kg/s]"""
    spread: Any
    """Top less bottom. [K]"""
    dry_spread: Any
    """The same with evaporation left out: the most it can be. [K]"""
    water: Any
    """Evaporated from the crop. [kg/s]"""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Supply:
    """What makes the supply of a state from return and outside air."""

    fresh_fraction: Any
    """NaN where outside air alone cannot make the supply. [0-1]"""
    mixed_temperature: Any
    """After the doors. [°C]"""
    mixed_humidity_ratio: Any
    """[kg/kg dry air]"""
    supply_temperature: Any
    """[°C]"""
    supply_humidity_ratio: Any
    """[kg/kg dry air]"""
    water: Any
    """To be evaporated by the humidifier. [kg/s]"""


def design_states(bay: Bay, outside: Outside | None = None) -> tuple[State, State, State]:
    """Fill (last load in), wound healing (half over) and holding, as in ``crop_states``."""
    crops = crop_states(bay, SEA_LEVEL)
    there = outside or Outside()
    autumn, winter = there[4:], there[:2]
    rows = (
        ("fill", "fill", crops["filling"], autumn),
        ("healing", "wound healing", crops["healing"], autumn),
        ("holding", "holding", crops["holding"], winter),
    )
    first, second, third = (
        State(
            key=key,
            name=name,
            pulp_temperature=crop.temperature,
            respiration_heat=crop.respiration_heat,
            transpiration_coefficient=crop.transpiration_coefficient,
            outside_temperature=air_outside[0],
            outside_relative_humidity=air_outside[1],
        )
        for key, name, crop, air_outside in rows
    )
    return first, second, third


def passage(bay: Bay, state: State, *, airflow: Any, mass: Any, pressure: float) -> Passage:
    """
    Air that takes up heat and water of the crop; tubers as warm as the air (within 0.1 K).

    Per kg of crop passed, m (cp dT + r dw) = q and m dw = k p/0.622 (0.98 w_sat(T) - w), in 24
    layers each solved exactly for a straight saturation line, which no airflow upsets. Above
    50 °C saturation is taken at 50: such a pile has no air to speak of.
    """
    crop, inlet = crop_for(bay.use), state.pulp_temperature
    humid = float(air.humidity_ratio(inlet, bay.limits.plenum_humidity, pressure))
    flow = airflow / float(air.specific_volume(inlet, humid, pressure))
    each = np.divide(flow, mass)
    heat = state.respiration_heat / each / AIR_HEAT
    pull = state.transpiration_coefficient * pressure / air.MASS_RATIO / each
    t, w = inlet + 0.0 * each, humid + 0.0 * each
    for _ in range(STEPS):
        warm, gain = _layer(t, w, heat / STEPS, pull / STEPS, pressure, crop.water_activity)
        t, w = t + warm, w + gain
    return Passage(
        inlet_temperature=inlet,
        inlet_humidity_ratio=humid,
        outlet_temperature=t,
        outlet_humidity_ratio=w,
        mass_flow=flow,
        spread=t - inlet,
        dry_spread=heat,
        water=(w - humid) * flow,
    )


def _layer(
    t: Any, w: Any, heat: Any, pull: Any, pressure: float, activity: float
) -> tuple[Any, Any]:
    """
    Rise of temperature and humidity ratio across one layer.

    With D = a w_sat(T) - w and D' = s T' - w', where T' = heat - r/cp w' and w' = pull D, D
    relaxes at the rate pull (1 + s r/cp) towards what heating opens.
    """
    lower = np.minimum(t, HOTTEST)
    full = activity * air.saturation_humidity_ratio(lower, pressure)
    above = activity * air.saturation_humidity_ratio(lower + 0.01, pressure)
    slope = (above - full) / 0.01
    ratio = EVAPORATION / AIR_HEAT
    rate = pull * (1.0 + slope * ratio)
    small = rate < 1e-4
    safe = np.where(small, 1.0, rate)
    first = np.where(small, 1.0 - rate / 2.0, -np.expm1(-safe) / safe)
    second = np.where(small, 0.5 - rate / 6.0, (1.0 - first) / safe)
    gain = pull * ((full - w) * first + slope * heat * second)
    return heat - ratio * gain, gain


def heat_taken(
    bay: Bay, *, top: float, cold: float, curing: float, airflow: Any, mass: Any, pressure: float
) -> Any:
    """
    What air carries off that enters at ``cold`` and leaves as warm as the ``top`` [°C]. [W/kg]

    It takes up the water that skin gives off which has healed for ``curing`` [s].
    """
    crop = crop_for(bay.use)
    humid = float(air.humidity_ratio(cold, bay.limits.plenum_humidity, pressure))
    each = airflow / float(air.specific_volume(cold, humid, pressure)) / mass
    skin = transpiration_coefficient(curing, crop) * pressure / air.MASS_RATIO
    full = crop.water_activity * float(air.saturation_humidity_ratio(top, pressure))
    wet = humid + (full - humid) * (1.0 - np.exp(-skin / each))
    return each * (enthalpy(top, wet) - enthalpy(cold, humid))


def cooling_rate(bay: Bay, *, airflow: Any, mass: Any, pressure: float) -> Any:
    """
    How fast the pile cools, midway between healing and holding temperature. [K/s]

    Air enters ``limits.supply_difference`` below the bottom of the pile and leaves as warm as
    its top, which is ``limits.spread`` warmer than the bottom, with the water that cured skin
    gives off; the respiration of the weeks after healing is taken off.
    """
    crop, plan = crop_for(bay.use), bay.schedule
    middle = 0.5 * (plan.healing_temperature + plan.holding_temperature)
    top = middle + 0.5 * bay.limits.spread
    cold = middle - 0.5 * bay.limits.spread - bay.limits.supply_difference
    flow = {"airflow": airflow, "mass": mass, "pressure": pressure}
    taken = heat_taken(bay, top=top, cold=cold, curing=SETTLED_AGE, **flow)
    age = plan.fill_days / 2.0 + plan.healing_days + 0.5 * DAY * 30.0
    own = float(respiration_heat(middle, age, crop, bay.immature_share))
    return (taken - own) / crop.specific_heat


def humidifier_need(
    bay: Bay, state: State, through: Passage, *, pressure: float, colder_by: float = 0.0
) -> Supply:
    """
    Fresh air and water that hold the pile, or cool it by ``colder_by`` [K], at full speed.

    The fans' own heat is left out: it would only save water from freezing air.
    """
    outside = float(
        air.humidity_ratio(state.outside_temperature, state.outside_relative_humidity, pressure)
    )
    wanted = state.pulp_temperature - colder_by
    cases = np.broadcast(
        through.mass_flow, through.outlet_temperature, through.outlet_humidity_ratio
    )
    made = [
        _supply(
            wanted,
            bay.limits.plenum_humidity,
            mass_flow=float(flow),
            outside_temperature=state.outside_temperature,
            outside_humidity_ratio=outside,
            return_temperature=float(warm),
            return_humidity_ratio=float(wet),
            pressure=pressure,
        )
        for flow, warm, wet in cases
    ]
    return Supply(
        **{
            field.name: np.reshape([getattr(one, field.name) for one in made], cases.shape)[()]
            for field in fields(Supply)
        }
    )


def _supply(temperature: float, humidity: float, **given: float) -> Supply:
    """The supply wanted, from one return air and the outside air; NaN where they cannot make it."""
    fresh = math.nan
    if given["mass_flow"] > 0.0 and given["return_temperature"] <= HOTTEST:
        fresh = plenum.fresh_fraction_for(
            wanted_temperature=temperature,
            wanted_humidity=humidity,
            water_capacity=ENOUGH_WATER,
            **given,
        )
    if not 0.0 <= fresh <= 1.0:
        return Supply(**dict.fromkeys((field.name for field in fields(Supply)), math.nan))
    made = plenum.supply(
        fresh_fraction=fresh, humidity_wanted=humidity, water_capacity=ENOUGH_WATER, **given
    )
    back, outside = given["return_humidity_ratio"], given["outside_humidity_ratio"]
    h_back, water = enthalpy(given["return_temperature"], back), back + fresh * (outside - back)
    h_outside = enthalpy(given["outside_temperature"], outside)
    mixed = dry_bulb(h_back + fresh * (h_outside - h_back), water)
    full = air.saturation_humidity_ratio(mixed, given["pressure"])
    return Supply(
        fresh_fraction=fresh,
        mixed_temperature=mixed,
        mixed_humidity_ratio=min(water, full),
        supply_temperature=made.temperature,
        supply_humidity_ratio=made.humidity_ratio,
        water=made.water_added,
    )
