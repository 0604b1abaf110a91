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

from typing import Any

from ventcalc._ops import Ops, ops_for
from ventcalc.air.plain import AIR_HEAT, EVAPORATION
from ventcalc.errors import check_range
from ventcalc.pile import crop as crop_module
from ventcalc.pile.moisture import Vapour, recurrence, vapour_march
from ventcalc.pile.parts import in_parts
from ventcalc.pile.passage import heat_transfer_coefficient, natural_velocity, passage
from ventcalc.pile.state import (
    Array,
    Bed,
    BedState,
    BedStep,
    Inflow,
    Passage,
    carrier,
    fresh_bed,
    layer_greatest,
    layer_least,
    layer_mean,
    layer_total,
)

__all__ = [
    "AIR_HEAT",
    "Bed",
    "BedState",
    "BedStep",
    "Inflow",
    "Passage",
    "carrier",
    "fresh_bed",
    "heat_transfer_coefficient",
    "layer_greatest",
    "layer_least",
    "layer_mean",
    "march",
    "natural_velocity",
    "passage",
]

LATENT_FALL = 2380.0
"""Fall of the heat of evaporation per kelvin. [J/(kg K)]"""
TRACE = 1e-15
"""Film that counts as none. [kg/kg crop]"""
WATER_PER_DRY_MATTER = crop_module.WATER_PER_CO2 / crop_module.DRY_MATTER_PER_CO2


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
    """One uncut step."""
    cold = state.temperature
    held = flow.hold * cold
    inflow = flow.gain * state.source
    inflow += held
    entering, _ = recurrence(flow.carry, inflow, given.temperature)
    guess = flow.weight * entering
    guess += flow.inverse * inflow

    skin = crop_module.transpiration_coefficient(state.curing, bed.crop)
    dry, wets, wetted = vapour_march(
        guess,
        state.film,
        wet=state.wet,
        layer_mass=bed.layer_mass,
        pressure=bed.pressure,
        skin_flow=skin * bed.layer_mass,
        film_effectiveness=flow.film_effectiveness,
        mass_flow=flow.mass_flow,
        water_activity=bed.crop.water_activity,
        inlet=given.humidity_ratio,
        step=flow.step,
    )

    def finish(vapour: Vapour) -> tuple[BedState, BedStep]:
        return _finished(bed, state, flow, given, held, vapour)

    if dry is None:
        return finish(wetted())
    if cold.dtype != object:
        return finish(wetted() if wets() else dry)
    # A dry bed, the rule, in one go; then what only a wet one needs.
    dried = finish(dry)
    found: tuple[BedState, BedStep] = carrier(cold).branch(wets(), lambda: finish(wetted()), dried)
    return found


def _finished(
    bed: Bed, state: BedState, flow: Passage, given: Inflow, held: Array, vapour: Vapour
) -> tuple[BedState, BedStep]:
    """The step, now that its evaporation is known."""
    cold, (evaporated, vapour_out, from_film) = state.temperature, vapour
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
        condensed=0.0 if from_film is None else _lying_down(from_film),
        respiration=respiration,
        co2=crop_module.co2_rate(layer_total(respiration), bed.crop),
        latent_heat=latent_heat,
    )


def _lying_down(from_film: Array) -> Any:
    return -layer_total(ops_for(from_film).minimum(from_film, 0.0))


def _without_traces(film: Array, ops: Ops) -> Array:
    if film.dtype == object:
        return ops.where(ops.less(film, TRACE), 0.0, film)  # type: ignore[no-any-return]
    film[film < TRACE] = 0.0
    return film


def _is_wet(film: Array) -> Any:
    return layer_total(film) > 0.0 if film.dtype == object else bool(film.any())


def _advance(
    bed: Bed,
    state: BedState,
    step: Any,
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
    ops = carrier(temperature)
    if from_film is None:
        film, wet, skin = state.film, False, evaporated
    else:
        film = _without_traces(state.film - from_film * per_mass, ops)
        wet, skin = _is_wet(film), evaporated - from_film
    water += skin * per_mass
    if ops.all(top_water >= 0.0):
        water[-1] += top_water * per_mass
    else:
        water[-1] += ops.maximum(top_water, 0.0) * per_mass
        film = film.copy()
        film[-1] -= ops.minimum(top_water, 0.0) * per_mass
        wet = _is_wet(film)
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
