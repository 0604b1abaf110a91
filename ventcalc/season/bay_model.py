"""A whole bay for one time step: plenum, pile, headspace, CO2, loading and unloading."""

from __future__ import annotations

import math
from collections.abc import Sequence

from ventcalc.advice.policies import Positions
from ventcalc.advice.readings import Readings
from ventcalc.advice.setpoints import dry_air_flow, fan_power
from ventcalc.air.plain import AIR_HEAT, EVAPORATION, air_density, relative_humidity, saturated
from ventcalc.bay.calendar import Calendar, calendar_at
from ventcalc.bay.description import fresh_fraction_at
from ventcalc.bay.hourly import HourlyBay
from ventcalc.equipment.plant import (
    COLDEST_SURFACE,
    HOTTEST_OUTSIDE,
    hourly_performance,
)
from ventcalc.equipment.plenum import Supply, supply
from ventcalc.pile.bed import HOUR_LIMITS
from ventcalc.pile.crop import CO2_DENSITY, CO2_OUTSIDE, co2_rate
from ventcalc.pile.layers import Bed, Inflow, Layer, layer_mean, least
from ventcalc.pile.passage import natural_velocity
from ventcalc.pile.step import MOST_PARTS, step_layers
from ventcalc.season.bay_state import EMPTY_SHARE, BayState, StepRecord
from ventcalc.season.headspace import Headspace, headspace, leakage_flow
from ventcalc.season.surroundings import Ground, Outside, floor_heat

__all__ = ["FAULTS", "readings_of", "step_bay"]

SETTLED_HUMIDITY = 0.98
"""Of air that sinks to the plenum with the fans off, at the bottom tubers' temperature. [0-1]"""
LEAST_AIR_CHANGE = 1e-9
"""Keeps a bay without leaks from dividing by zero. [m³/s]"""
FAULTS = (
    ("", 0.0, 0.0, "", ""),
    ("fan_speed", 0.0, 1.0, "", "percent?"),
    ("door_opening", 0.0, 1.0, "", "percent?"),
    ("humidity_wanted", 0.0, 1.0, "", "percent?"),
    ("refrigeration", 0.0, 1.0, "", "percent?"),
    ("heater", 0.0, 1.0, "", "percent?"),
    ("superficial_velocity", *HOUR_LIMITS["superficial_velocity"]),
    ("inlet_temperature", *HOUR_LIMITS["inlet_temperature"]),
    ("inlet_humidity_ratio", *HOUR_LIMITS["inlet_humidity_ratio"]),
    ("coil surface", COLDEST_SURFACE, 60.0, "°C", "outside the refrigerant's map"),
    ("outside_temperature", -60.0, HOTTEST_OUTSIDE, "°C", "outside the refrigerant's map"),
    ("parts", 1.0, MOST_PARTS, "", "a long step, or very moist air?"),
    ("temperature", *HOUR_LIMITS["temperature"]),
)
"""What may leave the range of the model: name, least, greatest, unit, likely slip."""
NO_FAULT, SPEED, DOOR, HUMIDITY, COOLING, HEATING = range(6)
VELOCITY, INLET, INLET_WATER, COIL, CONDENSER, PARTS, PULP = range(6, 13)
SLOWEST, FASTEST = HOUR_LIMITS["superficial_velocity"][:2]
COLDEST_INLET, WARMEST_INLET = HOUR_LIMITS["inlet_temperature"][:2]
MOIST_INLET = HOUR_LIMITS["inlet_humidity_ratio"][1]
COLDEST_PULP, WARMEST_PULP = HOUR_LIMITS["temperature"][:2]


def readings_of(
    state: BayState, layers: Sequence[Layer], outside: Outside, pressure: float
) -> Readings:
    """What faultless sensors would read: pulp at bottom and top, mean and coldest of all layers."""
    relative = relative_humidity(state.return_temperature, state.return_humidity_ratio, pressure)
    return Readings(
        time=outside.time,
        outside_temperature=outside.temperature,
        outside_relative_humidity=outside.relative_humidity,
        return_temperature=state.return_temperature,
        return_relative_humidity=min(relative, 1.0),
        plenum_temperature=state.plenum_temperature,
        plenum_relative_humidity=math.nan,
        pulp_bottom=layers[0].temperature,
        pulp_top=layers[-1].temperature,
        pulp_mean=layer_mean(layers),
        pulp_coldest=least(layers),
        ceiling_temperature=math.nan,
        co2=state.co2,
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
    """
    Move the bay one step on under given positions.

    Parameters
    ----------
    bay : HourlyBay
        The bay.
    bed : Bed
        Its pile.
    ground : Ground
        Heat through the floor.
    layers : sequence of Layer
        The pile's layers, changed in place.
    state : BayState
        Before.
    positions : Positions
        What fans, door, humidifier, refrigeration and heater do.
    outside : Outside
        Outside air.
    step : float
        Time step. [s]
    record : StepRecord
        Written into: what the step did.

    Returns
    -------
    state : BayState
        After.
    fault : int
        Place in ``FAULTS`` of what left the range of the model, 0 for nothing.
    value : float
        That value. [as there]
    """
    fault, value = _wrong_position(positions)
    if fault != NO_FAULT:
        return state, fault, value
    when = calendar_at(bay, outside.time)
    share, loaded, curing = load_and_unload(bay, layers, state, when)
    runs = positions.fan_speed > 0.0
    speed = positions.fan_speed if runs else 1.0
    flow = dry_air_flow(bay, speed, bed.pressure) * share
    fresh = fresh_fraction_at(bay.doors, positions.door_opening)
    heater = positions.heater * bay.heater.capacity * share
    fan = fan_power(bay, speed) * share
    shell, floor = bay.envelope, bay.pile.floor_area
    roof = (
        outside.temperature
        + shell.roof_absorptance * outside.solar_rise
        - shell.roof_emittance * outside.sky_drop
    )
    mean, bottom = layer_mean(layers), layers[0].temperature
    if runs:
        back = headspace(
            bay,
            bed,
            flow,
            state.exit_temperature,
            state.exit_humidity_ratio,
            layers[-1].temperature,
            curing,
            share,
            loaded,
            outside,
            roof,
        )
        end = _supply(bay, bed, positions, back, flow, fresh, fan + heater, share, outside)
        velocity = bay.fans.airflow * speed / floor
        # Fog is evaporated into the supply on paper, which keeps its heat and water together.
        inlet = end.temperature - end.fog * EVAPORATION / AIR_HEAT
        vapour = end.humidity_ratio + end.fog
    else:
        end = _standing_air(state)
        velocity = natural_velocity(bed, mean, state.return_temperature)
        # With the fans off, air that sinks to the plenum settles at the bottom tubers' state.
        inlet = min(state.return_temperature, bottom)
        settled = SETTLED_HUMIDITY * saturated(bottom, bed.pressure)
        vapour = min(state.return_humidity_ratio, settled)
    fault, value = _wrong_air(velocity, inlet, vapour, end, outside)
    if fault != NO_FAULT:
        return state, fault, value
    gain = shell.wall_u * shell.wall_area * (outside.temperature - mean)
    gain += floor_heat(ground, outside, mean)
    inflow = Inflow(
        temperature=inlet,
        humidity_ratio=vapour,
        age=max(when.now - 0.5 * min(when.now, when.filled), 0.0),
        heat_gain=gain / floor,
        top_heat=state.top_heat,
        top_water=state.top_water,
    )
    stepped, curing = step_layers(bed, layers, curing, velocity, step, inflow)
    if stepped.outlet_temperature == math.inf:
        return state, PARTS, math.inf
    over = headspace(
        bay,
        bed,
        velocity * air_density(bed.pressure) * floor * share,
        stepped.outlet_temperature,
        stepped.outlet_humidity_ratio,
        layers[-1].temperature,
        curing,
        share,
        loaded,
        outside,
        roof,
    )
    fresh_air = fresh * flow if runs else 0.0
    co2 = _co2(bay, bed, stepped.respiration, state.co2, share, loaded, fresh_air, step)
    after = BayState(
        share=share,
        loaded=loaded,
        exit_temperature=stepped.outlet_temperature,
        exit_humidity_ratio=stepped.outlet_humidity_ratio,
        return_temperature=over.temperature,
        return_humidity_ratio=over.humidity_ratio,
        plenum_temperature=end.temperature if runs else layers[0].temperature,
        co2=co2,
        top_heat=over.top_heat - stepped.latent_heat * over.from_top,
        top_water=over.from_top,
        curing=curing,
    )
    record.condensed = stepped.condensed
    record.respiration = stepped.respiration
    record.fresh_air = fresh_air
    record.fan_power = fan if runs else 0.0
    record.heater_power = heater if runs else 0.0
    record.coil_power = _plant_power(bay, end, outside, share) if runs else 0.0
    _keep(bay, record, after, over, end, flow, runs, layers)
    mean = layer_mean(layers)
    if not COLDEST_PULP <= mean <= WARMEST_PULP:
        return after, PULP, mean
    return after, NO_FAULT, 0.0


def _supply(
    bay: HourlyBay,
    bed: Bed,
    positions: Positions,
    back: Headspace,
    flow: float,
    fresh: float,
    heat: float,
    share: float,
    outside: Outside,
) -> Supply:
    """Supply of a run; its return air is what the pile gives off at this flow."""
    return supply(
        flow,
        fresh,
        outside.temperature,
        outside.humidity_ratio,
        back.temperature,
        back.humidity_ratio,
        bed.pressure,
        heat,
        positions.refrigeration * bay.refrigeration.capacity * share,
        bay.refrigeration.coil_temperature_difference,
        bay.refrigeration.bypass_factor,
        positions.humidity_wanted,
        bay.humidifier.capacity,
        1.0,
    )


def _standing_air(state: BayState) -> Supply:
    """No air moves: nothing to condition."""
    return Supply(
        temperature=state.return_temperature,
        humidity_ratio=state.return_humidity_ratio,
        fog=0.0,
        water_added=0.0,
        coil_heat=0.0,
        coil_temperature=state.return_temperature,
        defrost_power=0.0,
    )


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


def _co2(
    bay: HourlyBay,
    bed: Bed,
    respiration: float,
    before: float,
    share: float,
    loaded: float,
    fresh_air: float,
    step: float,
) -> float:
    """CO2 of the bay's air, well mixed, exact over the step. [1]"""
    volume = bay.pile.volume * bed.porosity + bay.envelope.headspace_volume
    density = CO2_DENSITY * bed.pressure / 101325.0
    made: float = co2_rate(respiration, bed.crop) * bay.pile.floor_area * share / density
    leak = leakage_flow(bay, volume, share, loaded)
    change = max(fresh_air / air_density(bed.pressure) + leak, LEAST_AIR_CHANGE)
    settled = CO2_OUTSIDE + made / change
    return settled + (before - settled) * math.exp(-change * step / volume)


def _wrong_position(positions: Positions) -> tuple[int, float]:
    """The first position outside 0 to 1."""
    if not 0.0 <= positions.fan_speed <= 1.0:
        return SPEED, positions.fan_speed
    if not 0.0 <= positions.door_opening <= 1.0:
        return DOOR, positions.door_opening
    if not 0.0 <= positions.humidity_wanted <= 1.0:
        return HUMIDITY, positions.humidity_wanted
    if not 0.0 <= positions.refrigeration <= 1.0:
        return COOLING, positions.refrigeration
    if not 0.0 <= positions.heater <= 1.0:
        return HEATING, positions.heater
    return NO_FAULT, 0.0


def _wrong_air(
    velocity: float, inlet: float, vapour: float, end: Supply, outside: Outside
) -> tuple[int, float]:
    """The first quantity of the air that leaves the range of the models."""
    if not SLOWEST <= velocity <= FASTEST:
        return VELOCITY, velocity
    if not COLDEST_INLET <= inlet <= WARMEST_INLET:
        return INLET, inlet
    if not 0.0 <= vapour <= MOIST_INLET:
        return INLET_WATER, vapour
    if end.coil_heat > 0.0:
        if not end.coil_temperature >= COLDEST_SURFACE:
            return COIL, end.coil_temperature
        if not outside.temperature <= HOTTEST_OUTSIDE:
            return CONDENSER, outside.temperature
    return NO_FAULT, 0.0


def _keep(
    bay: HourlyBay,
    record: StepRecord,
    after: BayState,
    over: Headspace,
    end: Supply,
    flow: float,
    runs: bool,
    layers: Sequence[Layer],
) -> None:
    """Write down where the step has led."""
    film = wettest = water = dry = 0.0
    for layer in layers:
        film += layer.film
        wettest = max(wettest, layer.film)
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
    record.ceiling_temperature = over.ceiling
    record.drip = over.drip
    record.runs = 1.0 if runs else 0.0
    record.plenum_temperature = end.temperature if runs else math.nan
    record.plenum_humidity_ratio = end.humidity_ratio if runs else math.nan
    record.fog = end.fog * flow if runs else 0.0
    record.water_added = end.water_added if runs else 0.0
    most = bay.humidifier.capacity
    sprays = record.water_added / most if most > 0.0 else 0.0
    record.humidifier_power = sprays * bay.humidifier.power
