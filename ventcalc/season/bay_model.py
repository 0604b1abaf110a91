"""A whole bay for one time step: plenum, pile, headspace, CO2, loading and unloading."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from ventcalc._ops import SCALAR, Ops
from ventcalc.advice import aims
from ventcalc.advice.calendar import Calendar
from ventcalc.advice.situation import Readings
from ventcalc.air import plain as plain_air
from ventcalc.air.plain import AIR_HEAT, EVAPORATION
from ventcalc.bay.description import Bay, capacity_of, fresh_fraction_at
from ventcalc.pile import bed
from ventcalc.pile.crop import CO2_DENSITY, CO2_OUTSIDE
from ventcalc.season.bay_state import BayState, Hour, bed_of, first_state, layer_of
from ventcalc.season.bay_supply import plant_power, standing_air, supply_of
from ventcalc.season.headspace import headspace, leakage_flow
from ventcalc.season.surroundings import Ground, Outside, floor_heat

__all__ = ["BayState", "Hour", "bed_of", "first_state", "readings_of", "step_bay"]


def readings_of(bay: Bay, state: BayState, outside: Outside, pressure: Any) -> Readings:
    """
    What faultless sensors would read.

    Parameters
    ----------
    bay : Bay
        The bay.
    state : BayState
        Now.
    outside : Outside
        Now.
    pressure : array-like
        Air pressure. [Pa]

    Returns
    -------
    Readings
        Pulp at the bottom and top layer, mean and coldest of all layers.
    """
    layers = state.bed.temperature
    mean, low = bed.layer_mean(layers), bed.layer_least(layers)
    bottom, top, ops = layer_of(layers, 0), layer_of(layers, -1), bed.carrier(layers)
    relative = plain_air.relative_humidity(
        state.return_temperature, state.return_humidity_ratio, pressure, ops
    )
    return Readings(
        time=outside.time,
        outside_temperature=outside.temperature,
        outside_relative_humidity=outside.relative_humidity,
        return_temperature=state.return_temperature,
        return_relative_humidity=ops.minimum(relative, 1.0),
        plenum_temperature=state.plenum_temperature,
        pulp_bottom=bottom,
        pulp_top=top,
        pulp_mean=mean,
        pulp_coldest=low,
        co2=state.co2,
        pressure=pressure,
    )


def load_and_unload(
    bay: Bay, model: bed.Bed, state: BayState, when: Calendar, ops: Ops
) -> BayState:
    """
    Bring in or take out crop; the pile keeps its height and takes more or less floor.

    Parameters
    ----------
    bay : Bay
        The bay.
    model : Bed
        Its pile.
    state : BayState
        Before.
    when : Calendar
        The moment.
    ops : Ops
        Carrier.

    Returns
    -------
    BayState
        New loads are mixed into every layer at their own temperature, unhealed.
    """
    loaded = ops.minimum(ops.maximum(when.now / when.filled, 1e-3), 1.0)
    left = 1.0 - (when.now - when.unloading) / (when.emptied - when.unloading)
    share = loaded * ops.minimum(ops.maximum(left, 1e-3), 1.0)
    new = ops.maximum(loaded - state.loaded, 0.0) / loaded
    if ops is SCALAR and not new > 0.0 and share == state.share:
        return state

    def mixed() -> tuple[bed.BedState, Any]:
        warm = sum(lot.mass * lot.loading_temperature for lot in bay.lots) / bay.mass
        keep, now = 1.0 - new, state.bed
        return replace(
            now,
            temperature=keep * now.temperature + new * warm,
            film=keep * now.film,
            water_loss=keep * now.water_loss,
            dry_matter_loss=keep * now.dry_matter_loss,
            curing=keep * now.curing,
        ), loaded

    pile, loaded = ops.branch(new > 0.0, mixed, (state.bed, state.loaded))
    return replace(state, bed=pile, share=share, loaded=loaded)


def step_bay(
    bay: Bay,
    model: bed.Bed,
    state: BayState,
    positions: Any,
    outside: Outside,
    when: Calendar,
    step: float,
    ops: Ops,
    ground: Ground | None = None,
) -> tuple[BayState, Hour]:
    """
    Move the bay one step on under given positions.

    Parameters
    ----------
    bay : Bay
        The bay, or a stack of bays.
    model : Bed
        Its pile.
    state : BayState
        Before.
    positions : object
        ``fan_speed``, ``door_opening``, ``humidity_wanted``, ``refrigeration``, ``heater``.
    outside : Outside
        Outside air.
    when : Calendar
        The moment.
    step : float
        Time step. [s]
    ops : Ops
        Carrier.
    ground : Ground, optional
        Heat through the floor; none without it.

    Returns
    -------
    state : BayState
        After.
    hour : Hour
        Means of the step.
    """
    state = load_and_unload(bay, model, state, when, ops)
    runs = positions.fan_speed > 0.0
    speed = ops.where(runs, positions.fan_speed, 1.0)
    flow = aims.dry_air_flow(bay, speed, model.pressure) * state.share
    fresh = fresh_fraction_at(bay.doors, positions.door_opening)
    heater = positions.heater * capacity_of(bay.heater) * state.share
    coil = positions.refrigeration * capacity_of(bay.refrigeration) * state.share
    fan = aims.fan_power(bay, speed) * state.share
    above = {"bay": bay, "model": model, "share": state.share, "loaded": state.loaded, "ops": ops}
    above["outside_temperature"] = outside.temperature
    above["outside_humidity_ratio"] = outside.humidity_ratio
    shell = bay.envelope
    above["roof_temperature"] = (
        outside.temperature
        + shell.roof_absorptance * outside.solar_rise
        - shell.roof_emittance * outside.sky_drop
    )
    end = ops.branch(
        runs,
        lambda: supply_of(positions, state, flow, fresh, fan + heater, coil, above),
        standing_air(state),
    )
    mean, bottom = bed.layer_mean(state.bed.temperature), layer_of(state.bed.temperature, 0)
    velocity = bay.fans.airflow * speed / bay.pile.floor_area
    # Fog is evaporated into the supply on paper, which keeps its heat and water together.
    inlet = end.temperature - end.fog * EVAPORATION / AIR_HEAT
    vapour = end.humidity_ratio + end.fog
    if not ops.all(runs):
        still = bed.natural_velocity(model, mean, state.return_temperature)
        velocity = ops.where(runs, velocity, still)
        # With the fans off, air that sinks to the plenum settles at the bottom tubers' state.
        settled = 0.98 * plain_air.saturated(bottom, model.pressure, ops)
        inlet = ops.where(runs, inlet, ops.minimum(state.return_temperature, bottom))
        vapour = ops.where(runs, vapour, ops.minimum(state.return_humidity_ratio, settled))
    way = bed.passage(model, velocity, step)
    floor = bay.pile.floor_area
    gain = shell.wall_u * shell.wall_area * (outside.temperature - mean)
    if ground is not None:
        gain = gain + floor_heat(ground, outside, mean)
    after, marched = bed.march(
        model,
        state.bed,
        way,
        inlet_temperature=inlet,
        inlet_humidity_ratio=vapour,
        age=ops.maximum(when.now - 0.5 * ops.minimum(when.now, when.filled), 0.0),
        heat_gain=gain / floor,
        top_heat=state.top_heat,
        top_water=state.top_water,
    )
    bottom, top = layer_of(after.temperature, 0), layer_of(after.temperature, -1)
    over = headspace(
        flow=way.mass_flow * floor * state.share,
        outlet_temperature=marched.outlet_temperature,
        outlet_humidity_ratio=marched.outlet_humidity_ratio,
        top=top,
        curing=after.curing,
        **above,
    )
    change = ops.where(runs, fresh * flow, 0.0)
    co2 = _co2(bay, model, marched, state, change, step, ops)
    on = ops.where(runs, 1.0, 0.0)
    most = capacity_of(bay.humidifier)
    power = bay.humidifier.power if bay.humidifier else 0.0
    sprays = on * end.water_added / ops.where(most > 0.0, most, 1.0)
    return BayState(
        bed=after,
        share=state.share,
        loaded=state.loaded,
        exit_temperature=marched.outlet_temperature,
        exit_humidity_ratio=marched.outlet_humidity_ratio,
        return_temperature=over.temperature,
        return_humidity_ratio=over.humidity_ratio,
        plenum_temperature=ops.where(runs, end.temperature, bottom),
        co2=co2,
        top_heat=over.top_heat - marched.latent_heat * over.from_top,
        top_water=over.from_top,
    ), Hour(
        plenum_temperature=ops.where(runs, end.temperature, float("nan")),
        plenum_humidity_ratio=ops.where(runs, end.humidity_ratio, float("nan")),
        fog=on * end.fog * flow,
        fan_power=on * fan,
        coil_power=on * plant_power(bay, end, outside, state.share, ops),
        heater_power=on * heater,
        humidifier_power=sprays * power,
        water_added=on * end.water_added,
        ceiling_temperature=over.ceiling,
        drip=over.drip,
        fresh_air=on * fresh * flow,
        runs=runs,
        step=marched,
    )


def _co2(
    bay: Bay,
    model: bed.Bed,
    marched: bed.BedStep,
    state: BayState,
    fresh: Any,
    step: float,
    ops: Ops,
) -> Any:
    """CO2 of the bay's air, well mixed, exact over the step."""
    shell = bay.envelope
    volume = bay.pile.volume * model.porosity + shell.headspace_volume
    density = CO2_DENSITY * model.pressure / 101325.0
    made = marched.co2 * bay.pile.floor_area * state.share / density
    leak = leakage_flow(bay, volume, state.share, state.loaded, ops)
    change = fresh / plain_air.air_density(model.pressure) + leak
    change = ops.maximum(change, 1e-9)
    settled = CO2_OUTSIDE + made / change
    return settled + (state.co2 - settled) * ops.exp(-change * step / volume)
