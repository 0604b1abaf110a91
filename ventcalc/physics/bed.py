"""
Transient heat, moisture and CO2 in a deep bed of tubers with air moving up through it.

The bed is cut into layers. Within a time step the air is quasi-steady: it marches upward and
takes up heat and vapour from one layer after the other, while every layer follows an L-stable
approach to its equilibrium. A layer hands on the *mean* state of the step, so that what leaves
one layer is what enters the next, and energy and water close to round-off for any step.

Arrays have the layers first, bottom to top: ``(layers,)`` for one bay, ``(layers, bays)`` for
many. All flows are per m² of pile floor.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Any

import numpy as np

from ventcalc.errors import check_range
from ventcalc.physics import crop as crop_module
from ventcalc.physics.air import MASS_RATIO
from ventcalc.physics.bed_kernel import GIVEN, LAYERED, TOTALS, kernel
from ventcalc.physics.bed_moisture import recurrence, skin_share, vapour_fit, vapour_march
from ventcalc.physics.bed_parts import in_parts
from ventcalc.physics.bed_passage import heat_transfer_coefficient, natural_velocity, passage
from ventcalc.physics.bed_state import (
    Array,
    Bed,
    BedState,
    BedStep,
    Inflow,
    Passage,
    fresh_bed,
    layer_mean,
)
from ventcalc.physics.plain_air import AIR_HEAT, EVAPORATION

__all__ = [
    "AIR_HEAT",
    "Bed",
    "BedState",
    "BedStep",
    "Inflow",
    "Passage",
    "fresh_bed",
    "heat_transfer_coefficient",
    "layer_mean",
    "march",
    "march_in_numpy",
    "natural_velocity",
    "passage",
]

LATENT_FALL = 2380.0
"""Fall of the heat of evaporation per kelvin. [J/(kg K)]"""
WATER_PER_DRY_MATTER = crop_module.WATER_PER_CO2 / crop_module.DRY_MATTER_PER_CO2


def _total(layers: Array) -> Any:
    total = np.add.reduce(layers)
    return float(total) if layers.ndim == 1 else total


def _add_conduction(source: Array, bed: Bed, temperature: Array, flow: Passage) -> None:
    """Add to each layer's source the mean heat from its neighbours. [W/m²]"""
    now, parts = temperature, flow.conduction_parts
    for _ in range(parts):
        heat = now[1:] - now[:-1]
        heat *= flow.conduction / parts
        source[:-1] += heat
        source[1:] -= heat
        if parts > 1:
            now = now.copy()
            now[:-1] += heat * (flow.step / bed.heat_capacity)
            now[1:] -= heat * (flow.step / bed.heat_capacity)


def march(
    bed: Bed,
    state: BedState,
    flow: Passage,
    *,
    inlet_temperature: Any,
    inlet_humidity_ratio: Any,
    age: Any,
    heat_gain: Any = 0.0,
    top_heat: Any = 0.0,
    top_water: Any = 0.0,
) -> tuple[BedState, BedStep]:
    """
    Move the bed one step on.

    Parameters
    ----------
    bed : Bed
        The pile.
    state : BedState
        Where it stands.
    flow : Passage
        The air's passage; its ``step`` is the time step.
    inlet_temperature : float or array
        Air that enters at the bottom. [°C]
    inlet_humidity_ratio : float or array
        Air that enters at the bottom. [kg/kg dry air]
    age : float or array
        Time since harvest. [s]
    heat_gain : float or array
        Heat through walls and floor, spread evenly over the layers. [W/m²]
    top_heat : float or array
        Heat into the top layer from the air and the ceiling above it. [W/m²]
    top_water : float or array
        Water that the air above took from the skin of the top layer, or left on it as a film
        where negative; its latent heat belongs to ``top_heat``. [kg/(m² s)]

    Returns
    -------
    state : BedState
        The new state.
    step : BedStep
        Means of the step.

    Raises
    ------
    OutOfRange
        If the inlet lies outside -40 to 45 °C or 0 to 0.1 kg/kg, or the mean of the pile
        leaves -5 to 45 °C.

    Notes
    -----
    Evaporation is taken at the mean temperature of the step, found from the last step's heat
    source; condensed water lies as a film and dries before the skin transpires again.
    """
    check_range("inlet_temperature", inlet_temperature, -40.0, 45.0, "°C", "kelvin or °F?")
    check_range("inlet_humidity_ratio", inlet_humidity_ratio, 0.0, 0.1, "kg/kg", "g/kg?")
    inflow = Inflow(
        temperature=inlet_temperature,
        humidity_ratio=inlet_humidity_ratio,
        age=age,
        heat_gain=heat_gain,
        top_heat=top_heat,
        top_water=top_water,
    )
    after, means = in_parts(bed, state, flow, inflow, _march_once)
    mean = layer_mean(after.temperature)
    check_range("temperature", mean, -5.0, 45.0, "°C", "kelvin or °F?")
    return after, means


def _march_once(
    bed: Bed, state: BedState, flow: Passage, given: Inflow
) -> tuple[BedState, BedStep]:
    """One uncut step, compiled where numba is installed."""
    compiled = kernel() if flow.conduction_parts == 1 else None
    if compiled is None:
        return march_in_numpy(bed, state, flow, given)
    skin = crop_module.transpiration_coefficient(state.curing, bed.crop)
    age = crop_module.respiration_age_factor(given.age, bed.crop, bed.maturity)
    mass, pressure = bed.layer_mass, bed.pressure
    numbers = (
        flow.gain, flow.hold, flow.carry, flow.weight, flow.inverse, flow.reach,
        given.temperature, given.humidity_ratio,
        skin_share(skin * mass, pressure, given.humidity_ratio, flow.mass_flow),
        flow.film_effectiveness, flow.mass_flow, pressure,
        age * (bed.crop.respiration_settled * mass), given.heat_gain / bed.layers, given.top_heat,
        given.top_water, flow.conduction, flow.step / mass, mass / (flow.step * flow.mass_flow),
        *vapour_fit(pressure),
    )  # fmt: skip
    shape = state.temperature.shape
    layered, totals, wet = compiled(
        state.temperature.ravel(),
        state.film.ravel(),
        state.source.ravel(),
        state.water_loss.ravel(),
        state.dry_matter_loss.ravel(),
        _rows(numbers, shape),
        _shared(bed),
    )
    temperature, film, source, water, solids, evaporated, respiration = layered.reshape(
        len(LAYERED), *shape
    )
    outlet, vapour, condensed, heat, latent, mean = (
        totals.tolist() if len(shape) == 1 else totals.reshape(len(TOTALS), -1)
    )
    new = BedState(
        temperature=temperature,
        film=film,
        wet=wet,
        source=source,
        water_loss=water,
        dry_matter_loss=solids,
        curing=state.curing + flow.step * crop_module.healing_factor(mean, bed.crop),
    )
    return new, BedStep(
        outlet_temperature=outlet,
        outlet_humidity_ratio=vapour,
        evaporated=evaporated,
        condensed=condensed,
        respiration=respiration,
        co2=crop_module.co2_rate(heat, bed.crop),
        latent_heat=latent,
    )


def _rows(numbers: tuple[Any, ...], shape: tuple[int, ...]) -> Array:
    """The numbers of every bay, flat, number by number."""
    if len(shape) == 1:
        return np.array(numbers)
    rows = np.empty((len(GIVEN), shape[1]))
    for row, number in zip(rows, numbers, strict=True):
        row[:] = number
    return rows.ravel()


@lru_cache(maxsize=64)
def _shared(bed: Bed) -> Array:
    """What ``bed_kernel.SAME`` names, in its order."""
    crop = bed.crop
    return np.array([
        crop.water_activity, crop.respiration_least_at, crop.respiration_doubling**-2,
        crop_module.FAILING, crop_module.DEAD, 1.0 / (crop_module.DEAD - crop_module.DYING),
        EVAPORATION, LATENT_FALL, crop_module.dry_matter_rate(1.0, crop), WATER_PER_DRY_MATTER,
        MASS_RATIO,
    ])  # fmt: skip


def march_in_numpy(
    bed: Bed, state: BedState, flow: Passage, given: Inflow
) -> tuple[BedState, BedStep]:
    """
    One uncut step without the compiled loop: the reference for it.

    Parameters
    ----------
    bed : Bed
        The pile.
    state : BedState
        Where it stands.
    flow : Passage
        The air's passage.
    given : Inflow
        What comes from outside.

    Returns
    -------
    state : BedState
        After the step.
    step : BedStep
        Means of the step.
    """
    cold = state.temperature
    held = flow.hold * cold
    inflow = flow.gain * state.source
    inflow += held
    entering, _ = recurrence(flow.carry, inflow, given.temperature)
    guess = flow.weight * entering
    guess += flow.inverse * inflow

    skin = crop_module.transpiration_coefficient(state.curing, bed.crop)
    evaporated, vapour_out, from_film = vapour_march(
        guess,
        state.film * bed.layer_mass if state.wet else None,
        pressure=bed.pressure,
        skin_flow=skin * bed.layer_mass,
        film_effectiveness=flow.film_effectiveness,
        mass_flow=flow.mass_flow,
        water_activity=bed.crop.water_activity,
        inlet=given.humidity_ratio,
        step=flow.step,
    )
    latent_heat = EVAPORATION - LATENT_FALL * layer_mean(cold)
    settled = bed.crop.respiration_settled * bed.layer_mass
    respiration = crop_module.temperature_factor(cold, bed.crop)
    respiration *= settled * crop_module.respiration_age_factor(given.age, bed.crop, bed.maturity)
    source = evaporated * -latent_heat
    source += respiration
    source += given.heat_gain / bed.layers
    source[-1] += given.top_heat
    _add_conduction(source, bed, cold, flow)

    inflow = flow.gain * source
    inflow += held
    entering, leaving = recurrence(flow.carry, inflow, given.temperature)
    warm = flow.weight * entering
    warm += flow.inverse * inflow
    warm -= cold
    warm *= flow.reach
    warm += cold
    new = _advance(
        bed, state, flow.step, warm, source, evaporated, from_film, respiration, given.top_water
    )
    return new, BedStep(
        outlet_temperature=leaving,
        outlet_humidity_ratio=vapour_out,
        evaporated=evaporated,
        condensed=0.0 if from_film is None else -_total(np.minimum(from_film, 0.0)),
        respiration=respiration,
        co2=crop_module.co2_rate(_total(respiration), bed.crop),
        latent_heat=latent_heat,
    )


def _advance(
    bed: Bed,
    state: BedState,
    step: float,
    temperature: Array,
    source: Array,
    evaporated: Array,
    from_film: Array | None,
    respiration: Array,
    top_water: Any,
) -> BedState:
    """The state after a step, given what the step exchanged."""
    per_mass = step / bed.layer_mass
    burned = respiration * (per_mass * crop_module.dry_matter_rate(1.0, bed.crop))
    water = state.water_loss - burned * WATER_PER_DRY_MATTER
    if from_film is None:
        film, wet, skin = state.film, False, evaporated
    else:
        film = state.film - from_film * per_mass
        film[film < 1e-15] = 0.0
        wet, skin = bool(film.any()), evaporated - from_film
    water += skin * per_mass
    one = isinstance(top_water, float)
    if (top_water >= 0.0) if one else (top_water >= 0.0).all():
        water[-1] += top_water * per_mass
    else:
        water[-1] += np.maximum(top_water, 0.0) * per_mass
        film = film.copy()
        film[-1] -= np.minimum(top_water, 0.0) * per_mass
        wet = True
    healing = crop_module.healing_factor(layer_mean(temperature), bed.crop)
    return BedState(
        temperature=temperature,
        film=film,
        wet=wet,
        source=source,
        water_loss=water,
        dry_matter_loss=state.dry_matter_loss + burned,
        curing=state.curing + step * healing,
    )
