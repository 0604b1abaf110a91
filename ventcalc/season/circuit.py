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
from ventcalc.pile.step import settle, step_layers
from ventcalc.season.faults import NO_FAULT, PARTS, wrong_air
from ventcalc.season.headspace import Headspace, headspace
from ventcalc.season.surroundings import Outside

__all__ = ["Air", "Setting", "round_trip"]

NEAR = 5.0
"""
Enthalpy by which the air that enters the pile may differ from the air that comes round to it;
the difference is brought to the lowest layer. 0.005 K, or 2e-6 kg/kg. [J/kg]
"""
MOST_TRIES = 12
FARTHEST = 20.0
"""Most of its last change by which a try goes beyond its result. [1]"""
LEAST = 1e-9
"""Keeps two tries with the same error from dividing by zero. [J²/kg²]"""


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
    crop: float
    """Mean of the tubers at the start, as warm as the water that leaves them. [°C]"""
    top: float
    """Top tubers at the start. [°C]"""
    roof: float
    """Outside air as the roof feels it. [°C]"""
    heat_gain: float
    """Through walls and floor, per pile floor. [W/m²]"""
    age: float
    """Of the crop. [s]"""


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
        here.crop,
        curing,
        here.share,
        outside,
        here.roof,
    )
    if not here.runs:
        still = Supply(
            temperature=over.temperature,
            humidity_ratio=over.humidity_ratio,
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

    The pile answers warmth in hours but vapour at once, so a try may leave half of the error;
    two of them tell where it ends (a secant, as of Anderson's mixing with one step kept). What
    is still left is brought to the outer layers: water and heat close whatever the number of
    tries. Natural draught is too slow for a second one to matter. Gives air, means of the
    pile, healing, and what went wrong as ``step_bay`` does.
    """
    air = _air(bay, bed, positions, outside, here, curing, exit_temperature, exit_humidity_ratio)
    over, warm, moist = air.over, air.temperature, air.humidity_ratio
    heat = water = last_warm = last_moist = last_heat = last_water = 0.0
    means, healed = BedStep(nan, nan, nan, nan, nan, nan), curing
    if here.runs:
        remember(layers)
    else:  # sinking, it passes colder and colder skins, which take what they do not hold in balance
        bottom = layers[0].temperature
        warm = min(warm, bottom)
        moist = min(moist, bed.crop.water_activity * saturated(bottom, bed.pressure))
    for tries in range(MOST_TRIES):
        fault, value = wrong_air(here.velocity, warm, moist, air.end, outside.temperature)
        if fault != NO_FAULT:
            return air, means, curing, fault, value
        given = Inflow(warm, moist, here.age, here.heat_gain, over.top_heat, 0.0)
        means, healed = step_layers(bed, layers, curing, here.velocity, step, given)
        if means.outlet_temperature == inf:
            return air, means, curing, PARTS, inf
        exit_temperature, exit_humidity_ratio = (
            means.outlet_temperature,
            means.outlet_humidity_ratio,
        )
        air = _air(
            bay, bed, positions, outside, here, curing, exit_temperature, exit_humidity_ratio
        )
        heat, water = (
            AIR_HEAT * (air.temperature - warm),
            EVAPORATION * (air.humidity_ratio - moist),
        )
        if not here.runs or tries + 1 == MOST_TRIES or abs(heat) + abs(water) <= NEAR:
            break
        restore(layers)
        share = 0.0
        if tries > 0:
            off, wet = heat - last_heat, water - last_water
            share = (heat * off + water * wet) / max(off * off + wet * wet, LEAST)
            share = min(max(share, -FARTHEST), 1.0)
        over = air.over
        warm = air.temperature - share * (air.temperature - last_warm)
        moist = max(air.humidity_ratio - share * (air.humidity_ratio - last_moist), 0.0)
        last_warm, last_moist = air.temperature, air.humidity_ratio
        last_heat, last_water = heat, water
    per_floor = here.flow / (bay.pile.floor_area * here.share)
    lacking = per_floor * (air.humidity_ratio - moist)
    brought = per_floor * (enthalpy(air.temperature, air.humidity_ratio) - enthalpy(warm, moist))
    settle(
        bed,
        layers,
        step,
        brought - lacking * WATER_HEAT * here.crop,
        lacking,
        air.over.top_heat - over.top_heat,
        air.over.from_top,
    )
    return air, means, healed, NO_FAULT, 0.0
