"""A whole bay for one time step: plenum, pile, headspace, CO2, loading and unloading."""

from __future__ import annotations

import math
from collections.abc import Sequence

from ventcalc.advice.policies import Positions
from ventcalc.advice.readings import Readings
from ventcalc.advice.setpoints import dry_air_flow, fan_power
from ventcalc.air.plain import air_density, relative_humidity
from ventcalc.bay.calendar import Calendar, calendar_at
from ventcalc.bay.description import fresh_fraction_at
from ventcalc.bay.hourly import HourlyBay
from ventcalc.equipment.plant import hourly_performance
from ventcalc.equipment.plenum import Supply
from ventcalc.pile.air_path import natural_velocity
from ventcalc.pile.crop import CO2_DENSITY, CO2_OUTSIDE, co2_rate
from ventcalc.pile.layers import Bed, Layer, layer_mean, least
from ventcalc.season.bay_state import EMPTY_SHARE, BayState, SensorErrors, StepRecord
from ventcalc.season.circuit import Air, Setting, round_trip
from ventcalc.season.faults import (
    COLDEST_PULP,
    NO_FAULT,
    PULP,
    WARMEST_PULP,
    wrong_position,
)
from ventcalc.season.headspace import free_air, leak_share
from ventcalc.season.surroundings import Ground, Outside, floor_heat

__all__ = ["readings_of", "step_bay"]

NO_ERRORS = SensorErrors()
LEAST_AIR_CHANGE = 1e-9
"""Keeps a bay without leaks from dividing by zero. [kg/s]"""


def readings_of(
    state: BayState,
    layers: Sequence[Layer],
    outside: Outside,
    pressure: float,
    errors: SensorErrors = NO_ERRORS,
) -> Readings:
    """What the probes read: pulp at bottom and top, mean and coldest of all layers."""
    above, pulp = state.return_temperature, errors.pulp
    relative = min(relative_humidity(above, state.return_humidity_ratio, pressure), 1.0)
    relative += errors.return_relative_humidity
    around = outside.relative_humidity + errors.outside_relative_humidity
    return Readings(
        time=outside.time,
        outside_temperature=outside.temperature + errors.outside_temperature,
        outside_relative_humidity=min(max(around, 0.0), 1.0),
        return_temperature=above + errors.return_temperature,
        return_relative_humidity=min(max(relative, 0.0), 1.0),
        plenum_temperature=state.plenum_temperature + errors.plenum_temperature,
        plenum_relative_humidity=math.nan,
        pulp_bottom=layers[0].temperature + pulp,
        pulp_top=layers[-1].temperature + pulp,
        pulp_mean=layer_mean(layers) + pulp,
        pulp_coldest=least(layers) + pulp,
        ceiling_temperature=math.nan,
        co2=max(state.co2 + errors.co2, 0.0),
        pressure=pressure,
        pulp_odd=math.nan,
        pulp_odd_place=0,
        pulp_probes=0,
        loaded=math.nan,
        stage_told=-1,
        rot_share=0.0,
        crop_wet=False,
        people_inside=False,
        co2_at_least=False,
        out_of_order=0,
        doubted=0,
    )


def load_and_unload(
    bay: HourlyBay, layers: Sequence[Layer], state: BayState, when: Calendar
) -> tuple[float, float, float]:
    """
    Bring in or take out crop; the pile keeps its height and takes more or less floor.

    New loads are mixed into every layer at their own temperature, unhealed. Gives share of the
    floor, part loaded and healing done.
    """
    loaded = min(max(when.now / when.filled, EMPTY_SHARE), 1.0)
    left = 1.0 - (when.now - when.unloading) / (when.emptied - when.unloading)
    share = loaded * min(max(left, EMPTY_SHARE), 1.0)
    new = max(loaded - state.loaded, 0.0) / loaded
    if not new > 0.0:
        return share, state.loaded, state.curing
    keep = 1.0 - new
    for layer in layers:
        layer.temperature = keep * layer.temperature + new * bay.loading_temperature
        layer.film *= keep
        layer.water_loss *= keep
        layer.dry_matter_loss *= keep
    return share, loaded, keep * state.curing


def step_bay(
    bay: HourlyBay,
    bed: Bed,
    ground: Ground,
    layers: Sequence[Layer],
    state: BayState,
    positions: Positions,
    outside: Outside,
    step: float,
    record: StepRecord,
) -> tuple[BayState, int, float]:
    """Move the bay one step on under given positions."""
    fault, value = wrong_position(positions)
    if fault != NO_FAULT:
        return state, fault, value
    when = calendar_at(bay, outside.time)
    share, loaded, curing = load_and_unload(bay, layers, state, when)
    runs = positions.fan_speed > 0.0
    speed, floor, shell = positions.fan_speed, bay.pile.floor_area, bay.envelope
    fan = fan_power(bay, speed) * share if runs else 0.0
    heater = positions.heater * bay.heater.capacity * share if runs else 0.0
    mean = layer_mean(layers)
    if runs:
        velocity = bay.fans.airflow * speed / floor
        flow = dry_air_flow(bay, speed, bed.pressure) * share
    else:
        velocity = natural_velocity(bed, mean, state.return_temperature)
        flow = velocity * air_density(bed.pressure) * floor * share
    inside = free_air(bay, bed, share, state.return_temperature, state.return_humidity_ratio)
    gain = shell.wall_u * shell.wall_area * (outside.temperature - mean)
    gain += floor_heat(ground, outside, mean)
    here = Setting(
        runs=runs,
        velocity=velocity,
        flow=flow,
        leak=inside * leak_share(bay, share, loaded),
        fresh_fraction=fresh_fraction_at(bay.doors, positions.door_opening),
        heat=fan + heater,
        share=share,
        pulp_mean=mean,
        top=layers[-1].temperature,
        roof_temperature=outside.temperature
        + shell.roof_absorptance * outside.solar_rise
        - shell.roof_emittance * outside.sky_drop,
        heat_gain=gain / floor,
        age=max(when.now - 0.5 * min(when.now, when.filled), 0.0),
    )
    air, stepped, curing, fault, value = round_trip(
        bay,
        bed,
        layers,
        positions,
        outside,
        here,
        curing,
        state.exit_temperature,
        state.exit_humidity_ratio,
        step,
    )
    if fault != NO_FAULT:
        return state, fault, value
    fresh_air = here.fresh_fraction * flow if runs else 0.0
    made = co2_rate(stepped.respiration, bed.crop) * floor * share
    after = BayState(
        share=share,
        loaded=loaded,
        exit_temperature=stepped.outlet_temperature,
        exit_humidity_ratio=stepped.outlet_humidity_ratio,
        return_temperature=air.over.temperature,
        return_humidity_ratio=air.over.humidity_ratio,
        plenum_temperature=air.end.temperature if runs else layers[0].temperature,
        co2=_co2(bed, made, state.co2, fresh_air + here.leak, inside, step),
        curing=curing,
    )
    record.condensed = stepped.condensed
    record.respiration = stepped.respiration
    record.fresh_air = fresh_air
    record.fan_power = fan
    record.heater_power = heater
    record.coil_heat = air.end.coil_heat
    record.coil_water = air.end.coil_water
    record.coil_power = _plant_power(bay, air.end, outside, share)
    _keep(bay, record, after, air, flow, runs, layers)
    mean = layer_mean(layers)
    if not COLDEST_PULP <= mean <= WARMEST_PULP:
        return after, PULP, mean
    return after, NO_FAULT, 0.0


def _plant_power(bay: HourlyBay, end: Supply, outside: Outside, share: float) -> float:
    """Electrical power of compressor, condenser and defrosting; the plant serves its share. [W]"""
    plant, heat = bay.refrigeration, end.coil_heat
    if not heat > 0.0:
        return 0.0
    load = min(heat / max(plant.capacity * share, 1.0), 1.0)
    performance = hourly_performance(
        bay.plant, plant.performance, end.coil_temperature, outside.temperature, load
    )
    return heat / performance + end.defrost_power


def _co2(bed: Bed, made: float, before: float, change: float, inside: float, step: float) -> float:
    """CO2 of the bay's air, well mixed, exact over the step; masses in kg, flows in kg/s. [1]"""
    density = CO2_DENSITY * bed.pressure / 101325.0 / air_density(bed.pressure)
    change = max(change, LEAST_AIR_CHANGE)
    settled = CO2_OUTSIDE + made / (density * change)
    return settled + (before - settled) * math.exp(-change * step / inside)


def _keep(
    bay: HourlyBay,
    record: StepRecord,
    after: BayState,
    air: Air,
    flow: float,
    runs: bool,
    layers: Sequence[Layer],
) -> None:
    """Write down where the step has led."""
    end = air.end
    film = wettest = water = dry = 0.0
    for layer in layers:
        film += layer.film
        if layer.film > wettest:
            wettest = layer.film
        water += layer.water_loss
        dry += layer.dry_matter_loss
    record.film = film / len(layers)
    record.wettest = wettest
    record.water_loss = water / len(layers)
    record.dry_matter_loss = dry / len(layers)
    record.share = after.share
    record.return_temperature = after.return_temperature
    record.return_humidity_ratio = after.return_humidity_ratio
    record.co2 = after.co2
    record.ceiling_temperature = air.over.ceiling
    record.drip = air.over.drip
    record.runs = 1.0 if runs else 0.0
    record.plenum_temperature = end.temperature if runs else math.nan
    record.plenum_humidity_ratio = end.humidity_ratio if runs else math.nan
    record.fog = end.fog * flow if runs else 0.0
    record.water_added = end.water_added if runs else 0.0
    most = bay.humidifier.capacity
    sprays = record.water_added / most if most > 0.0 else 0.0
    record.humidifier_power = sprays * bay.humidifier.power
