"""The air's way round in a step: out of the pile, under the ceiling, through plenum and pile."""

from __future__ import annotations

from collections.abc import Sequence
from math import inf, nan
from typing import NamedTuple

from ventcalc.advice.policies import Positions
from ventcalc.air.plain import (
    AIR_HEAT,
    EVAPORATION,
    WATER_HEAT,
    dry_bulb,
    enthalpy,
    fog_heat,
    saturated,
)
from ventcalc.bay.hourly import HourlyBay
from ventcalc.equipment.plenum import Supply, supply
from ventcalc.pile.layers import Bed, BedStep, Inflow, Layer, remember, restore
from ventcalc.pile.step import settle, step_layers, vapour_carry
from ventcalc.season.faults import NO_FAULT, PARTS, wrong_air
from ventcalc.season.headspace import Headspace, headspace
from ventcalc.season.surroundings import Outside

__all__ = ["Air", "Setting", "round_trip"]

NEAR = 10.0
"""
Enthalpy by which air that enters the pile may differ from the air that comes round to it; the
rest is brought to the lowest layer. 0.01 K, or 4e-6 kg/kg. [J/kg]
"""
MOST_TRIES = 12
FARTHEST = 20.0
"""Times its last change by which a try goes beyond its result, at most. [1]"""
STEEPEST = 0.95
"""Part of an error that a first try may be taken to leave. [1]"""
TRACE = 1e-9
"""Keeps the same air twice from dividing by zero. [kg/kg]"""
LEAST = 1e-9
"""Likewise the same error twice. [J²/kg²]"""


class Setting(NamedTuple):
    """What stays the same while the air of a step is sought."""

    runs: bool
    """Whether fans drive the air."""
    velocity: float
    """Upward over the pile floor. [m/s]"""
    flow: float
    """Dry air through the pile. [kg/s]"""
    leak: float
    """Dry air that leaks in. [kg/s]"""
    fresh_fraction: float
    """[0-1]"""
    heat: float
    """Of fans and heater. [W]"""
    share: float
    """Part of the floor under crop. [1]"""
    pulp_mean: float
    """Mean of the tubers at the start, as warm as the water that leaves them. [°C]"""
    top: float
    """Top tubers at the start. [°C]"""
    roof_temperature: float
    """Outside air as the roof feels it. [°C]"""
    heat_gain: float
    """Through walls and floor, per pile floor. [W/m²]"""
    age: float
    """Of the crop. [s]"""


class Miss(NamedTuple):
    """What came round to the pile in a try, and by how much it was not what had entered."""

    warm: float
    """Air before the pile. [°C]"""
    moist: float
    """[kg/kg dry air]"""
    heat: float
    """[J/kg]"""
    water: float
    """As heat of evaporation. [J/kg]"""


class Air(NamedTuple):
    """Air above, before and under the pile that belongs to one exit air."""

    over: Headspace
    end: Supply
    temperature: float
    """Entering the pile, fog evaporated into it on paper. [°C]"""
    humidity_ratio: float
    """[kg/kg dry air]"""


def _air(
    bay: HourlyBay,
    bed: Bed,
    positions: Positions,
    outside: Outside,
    here: Setting,
    curing: float,
    exit_temperature: float,
    exit_humidity_ratio: float,
) -> Air:
    """The air of an exit air; with the fans off it sinks back to the floor."""
    over = headspace(
        bay,
        bed,
        here.flow,
        here.leak,
        exit_temperature,
        exit_humidity_ratio,
        here.top,
        here.pulp_mean,
        curing,
        here.share,
        outside,
        here.roof_temperature,
    )
    if not here.runs:
        still = Supply(
            temperature=over.temperature,
            humidity_ratio=over.humidity_ratio,
            dry_temperature=over.temperature,
            fog=0.0,
            water_added=0.0,
            coil_heat=0.0,
            coil_water=0.0,
            coil_temperature=over.temperature,
            defrost_power=0.0,
        )
        return Air(over, still, over.temperature, over.humidity_ratio)
    end = supply(
        here.flow,
        here.fresh_fraction,
        outside.temperature,
        outside.humidity_ratio,
        over.temperature,
        over.humidity_ratio,
        bed.pressure,
        here.heat,
        positions.refrigeration * bay.refrigeration.capacity * here.share,
        bay.refrigeration.coil_temperature_difference,
        bay.refrigeration.bypass_factor,
        positions.humidity_wanted,
        bay.humidifier.capacity,
        1.0,
    )
    if not end.fog > 0.0:
        return Air(over, end, end.temperature, end.humidity_ratio)
    water = end.humidity_ratio + end.fog
    carried = enthalpy(end.temperature, end.humidity_ratio) + end.fog * fog_heat(end.temperature)
    return Air(over, end, dry_bulb(carried, water), water)


def round_trip(
    bay: HourlyBay,
    bed: Bed,
    layers: Sequence[Layer],
    positions: Positions,
    outside: Outside,
    here: Setting,
    curing: float,
    exit_temperature: float,
    exit_humidity_ratio: float,
    step: float,
) -> tuple[Air, BedStep, float, int, float]:
    """
    Move the pile one step on in air that has gone through it, found by trial from an exit air.

    What the last try leaves open is brought to the outer layers: water and heat close whatever
    the number of tries. Natural draught is too slow for a second one to matter. Gives air, means
    of the pile, healing, and what went wrong as ``step_bay`` does.
    """
    air = _air(bay, bed, positions, outside, here, curing, exit_temperature, exit_humidity_ratio)
    start, over, warm, moist = air.humidity_ratio, air.over, air.temperature, air.humidity_ratio
    healed, means, tries = curing, BedStep(inf, nan, nan, nan, nan, nan), 0
    last = Miss(warm=0.0, moist=0.0, heat=0.0, water=0.0)
    if here.runs:
        remember(layers)
    else:  # sinking, it passes colder and colder skins, which take what they do not hold in balance
        bottom = layers[0].temperature
        warm = min(warm, bottom)
        moist = min(moist, bed.crop.water_activity * saturated(bottom, bed.pressure))
    while True:
        fault, value = wrong_air(here.velocity, warm, moist, air.end, outside.temperature)
        if fault != NO_FAULT:
            return air, means, curing, fault, value
        given = Inflow(warm, moist, here.age, here.heat_gain, over.top_heat, 0.0, here.pulp_mean)
        means, healed = step_layers(bed, layers, curing, here.velocity, step, given)
        if means.outlet_temperature == inf:
            return air, means, curing, PARTS, inf
        leaves, carries = means.outlet_temperature, means.outlet_humidity_ratio
        air = _air(bay, bed, positions, outside, here, curing, leaves, carries)
        miss = Miss(
            warm=air.temperature,
            moist=air.humidity_ratio,
            heat=AIR_HEAT * (air.temperature - warm),
            water=EVAPORATION * (air.humidity_ratio - moist),
        )
        tries += 1
        if not here.runs or tries == MOST_TRIES or abs(miss.heat) + abs(miss.water) <= NEAR:
            break
        restore(layers)
        over = air.over
        if tries == 1:
            carry = vapour_carry(bed, curing, here.velocity, moist)
            rise = carry * (miss.moist - start) / _apart(carries - exit_humidity_ratio)
            warm = miss.warm
            moist += miss.water / EVAPORATION / (1.0 - min(max(rise, 0.0), STEEPEST))
        else:
            warm, moist = _secant(miss, last)
        last = miss
    _bring_rest(bay, bed, layers, here, step, air, over, warm, moist)
    return air, means, healed, NO_FAULT, 0.0


def _secant(miss: Miss, last: Miss) -> tuple[float, float]:
    """Where two tries say that the error ends (Anderson's mixing with one step kept)."""
    heat, water = miss.heat - last.heat, miss.water - last.water
    share = (miss.heat * heat + miss.water * water) / max(heat * heat + water * water, LEAST)
    share = min(max(share, -FARTHEST), 1.0)
    warm = miss.warm - share * (miss.warm - last.warm)
    return warm, max(miss.moist - share * (miss.moist - last.moist), 0.0)


def _apart(difference: float) -> float:
    """A divisor kept off zero. [kg/kg]"""
    return TRACE if abs(difference) < TRACE else difference


def _bring_rest(
    bay: HourlyBay,
    bed: Bed,
    layers: Sequence[Layer],
    here: Setting,
    step: float,
    air: Air,
    over: Headspace,
    warm: float,
    moist: float,
) -> None:
    """Give the outer layers what the air brings beyond what the pile was told."""
    per_floor = here.flow / (bay.pile.floor_area * here.share)
    water = per_floor * (air.humidity_ratio - moist)
    heat = per_floor * (enthalpy(air.temperature, air.humidity_ratio) - enthalpy(warm, moist))
    settle(
        bed,
        layers,
        step,
        heat - water * WATER_HEAT * here.pulp_mean,
        water,
        air.over.top_heat - over.top_heat,
        air.over.from_top,
    )
