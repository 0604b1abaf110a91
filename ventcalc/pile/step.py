"""
One time step of the deep bed: heat, vapour and losses, layer by layer from the bottom up.

Within a step the air is quasi-steady: it marches upward and takes up heat and vapour from one
layer after the other, while every layer follows an L-stable approach to its equilibrium. A layer
hands on the *mean* state of the step, so that what leaves one layer is what enters the next, and
energy and water close to round-off for any step. Evaporation is taken at the mean temperature
of the step, found from the last step's heat source; condensed water lies as a film that must dry
before the skin transpires again. Enthalpies of the air are those of ``air.plain``; water leaves
the crop as a liquid at the mean temperature of the crop before the step.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from ventcalc.air.fit import MASS_RATIO
from ventcalc.air.formula import humidity_of_vapour
from ventcalc.air.plain import (
    AIR_HEAT,
    EVAPORATION,
    VAPOUR_HEAT,
    WATER_HEAT,
    air_density,
    dry_bulb,
    enthalpy,
    saturated,
)
from ventcalc.pile.air_path import AirPath, air_path
from ventcalc.pile.crop import (
    WATER_PER_DRY_MATTER,
    age_factor,
    dry_matter_rate,
    healing_factor,
    skin_transpiration,
    temperature_factor,
)
from ventcalc.pile.layers import Bed, BedStep, Inflow, Layer, greatest, least

__all__ = ["settle", "step_layers", "vapour_carry"]

TRACE = 1e-15
"""Film that counts as none. [kg/kg crop]"""
LONG = 7200.0
"""Steps up to this need no look at anything but water. [s]"""
FARTHEST = 3.0
"""Exchange of a layer in a step up to which the scheme does not overshoot. [1]"""
WETTEST = 0.55
"""Exchange of a wet layer in a step up to which lagged evaporation is accurate. [1]"""
MOST_CONDUCTION = 0.4
"""Conduction between neighbouring layers in a step, over what they hold, that stays stable. [1]"""
LARGEST_LATENT = 0.4
"""Heating of a layer by water condensing in a part that still leaves the lag harmless. [K]"""
LARGEST_GUESS = 1.0
"""Change by the last step's heat source that may still be guessed. [K]"""
MOST_PARTS = 65536.0
"""A step that would need more is refused."""


def step_layers(
    bed: Bed,
    layers: Sequence[Layer],
    curing: float,
    superficial_velocity: float,
    step: float,
    given: Inflow,
) -> tuple[BedStep, float]:
    """
    Move the layers one step on, in place, in as many parts as it needs.

    Gives the means of the step, and the wound healing done after it [s].
    """
    path = air_path(bed, superficial_velocity, step, given.humidity_ratio)
    parts = _parts(bed, layers, path, given)
    if parts == 1:
        return _one_part(bed, layers, curing, path, given)
    if parts == 0:
        return BedStep(math.inf, math.nan, math.nan, math.nan, math.nan, math.nan), curing
    path = air_path(bed, superficial_velocity, step / parts, given.humidity_ratio)
    heat = moist = water = condensed = respiration = latent = 0.0
    for _ in range(parts):
        part, curing = _one_part(bed, layers, curing, path, given)
        heat += enthalpy(part.outlet_temperature, part.outlet_humidity_ratio)
        moist += part.outlet_humidity_ratio
        water += part.evaporated
        condensed += part.condensed
        respiration += part.respiration
        latent = part.latent_heat
    return (
        BedStep(
            outlet_temperature=dry_bulb(heat / parts, moist / parts),
            outlet_humidity_ratio=moist / parts,
            evaporated=water / parts,
            condensed=condensed / parts,
            respiration=respiration / parts,
            latent_heat=latent,
        ),
        curing,
    )


def settle(
    bed: Bed,
    layers: Sequence[Layer],
    step: float,
    bottom_heat: float,
    bottom_water: float,
    top_heat: float,
    top_water: float,
) -> None:
    """
    Give the outer layers what the step's air brought beyond what it was taken to bring.

    Heat [W/m²] and water [kg/(m² s)] into the skin of the lowest layer; heat into the highest,
    and water from it, which leaves a film where it is negative.
    """
    bottom, top = layers[0], layers[-1]
    bottom.temperature += bottom_heat * step / bed.heat_capacity
    bottom.water_loss -= bottom_water * step / bed.layer_mass
    top.temperature += top_heat * step / bed.heat_capacity
    if top_water > 0.0:
        top.water_loss += top_water * step / bed.layer_mass
    else:
        top.film -= top_water * step / bed.layer_mass


def _parts(bed: Bed, layers: Sequence[Layer], path: AirPath, given: Inflow) -> int:
    """
    Parts of a step: one for the hours of a season, more for a bed that is being wetted fast.

    Also for very thin layers, and for steps of many hours after a change of airflow or beyond the
    reach of the time scheme. Powers of two; 0 where even the most would not be enough.
    """
    driving = _driving(bed, layers, given.humidity_ratio)
    need = path.conduction * path.step / bed.heat_capacity / MOST_CONDUCTION
    if path.step <= LONG and not driving > 0.0 and need <= 1.0:
        return 1
    per_step = path.air_capacity * path.step / bed.heat_capacity
    if driving > 0.0:
        latent = EVAPORATION / AIR_HEAT / LARGEST_LATENT * driving
        need = max(need, per_step * path.film_effectiveness * max(latent, 1.0 / WETTEST))
    if path.step > LONG:
        source = 0.0
        for layer in layers:
            source = max(source, abs(layer.source))
        guess = path.gain / path.effectiveness * source / LARGEST_GUESS
        need = max(need, max(per_step * path.effectiveness / FARTHEST, guess))
    if need > MOST_PARTS:
        return 0
    parts = 1
    while need > parts:
        parts *= 2
    return parts


def _driving(bed: Bed, layers: Sequence[Layer], inlet: float) -> float:
    """
    Humidity ratio by which the air is too moist for the coldest layer, or a film for the air.

    Drying pulls no harder than the warmest layer; a bed without a film is not driven by it.
    """
    wetting = max(inlet - saturated(least(layers), bed.pressure), 0.0)
    if not _any_film(layers):
        return wetting
    return max(saturated(greatest(layers), bed.pressure) - inlet, wetting)


def _any_film(layers: Sequence[Layer]) -> bool:
    for layer in layers:
        if layer.film > 0.0:
            return True
    return False


def _one_part(
    bed: Bed, layers: Sequence[Layer], curing: float, path: AirPath, given: Inflow
) -> tuple[BedStep, float]:
    """One uncut step."""
    _vapour_pressures(bed, layers, path, given.temperature)
    outlet_humidity = _vapour(bed, layers, curing, path, given.humidity_ratio)
    crop = given.pulp_mean
    latent = EVAPORATION - (WATER_HEAT - VAPOUR_HEAT) * crop
    respiration, evaporated, condensed = _sources(bed, layers, path, given, latent)
    gain, hold, weight, carry = path.gain, path.hold, path.weight, path.carry
    reach, inverse = path.reach, 1.0 / path.effectiveness
    entering, total = given.temperature, 0.0
    for layer in layers:
        before = layer.temperature
        change = gain * layer.source + hold * before
        mean = weight * entering + inverse * change
        layer.temperature = after = before + reach * (mean - before)
        entering = carry * entering + change
        total += after
    # The vapour came into the air as warm as the crop.
    capacity = AIR_HEAT + VAPOUR_HEAT * given.humidity_ratio
    gained = VAPOUR_HEAT * (outlet_humidity - given.humidity_ratio)
    return (
        BedStep(
            outlet_temperature=(capacity * entering + gained * crop) / (capacity + gained),
            outlet_humidity_ratio=outlet_humidity,
            evaporated=evaporated,
            condensed=condensed,
            respiration=respiration,
            latent_heat=latent,
        ),
        curing + path.step * healing_factor(total / len(layers), bed.crop),
    )


def _vapour_pressures(bed: Bed, layers: Sequence[Layer], path: AirPath, entering: float) -> None:
    """Over the tubers' water in each layer, in moist air, as warm as the last step's heat says."""
    gain, hold, weight, carry = path.gain, path.hold, path.weight, path.carry
    inverse = 1.0 / path.effectiveness
    fit = bed.vapour_fit
    c5, c4, c3, c2, c1, c0 = fit[0], fit[1], fit[2], fit[3], fit[4], fit[5]
    for layer in layers:
        change = gain * layer.source + hold * layer.temperature
        t = weight * entering + inverse * change
        layer.vapour_pressure = ((((c5 * t + c4) * t + c3) * t + c2) * t + c1) * t + c0
        entering = carry * entering + change


def _skin_share(bed: Bed, curing: float, mass_flow: float, inlet: float) -> float:
    """Part of the way to the skin's equilibrium that air goes in one layer. [1]"""
    flow = skin_transpiration(curing, bed.crop) * bed.layer_mass
    units = flow * (bed.pressure * MASS_RATIO / (MASS_RATIO + inlet) ** 2) / mass_flow
    # More than all of the way would make air and tubers trade water to and fro.
    return min(units / (1.0 + units / 2.0), 1.0)


def vapour_carry(bed: Bed, curing: float, superficial_velocity: float, inlet: float) -> float:
    """Change of the humidity ratio that leaves a dry pile per change of that entering. [1]"""
    share = _skin_share(bed, curing, superficial_velocity * air_density(bed.pressure), inlet)
    carry: float = (1.0 - share) ** bed.layers
    return carry


def _vapour(bed: Bed, layers: Sequence[Layer], curing: float, path: AirPath, inlet: float) -> float:
    """Set each layer's evaporation; gives the humidity ratio of the air that leaves the top."""
    share = _skin_share(bed, curing, path.mass_flow, inlet)
    if not _any_film(layers):
        outlet, wets = _dry_march(bed, layers, path, share, inlet)
        if not wets:
            return outlet
    return _wet_march(bed, layers, path, share, inlet)


def _dry_march(
    bed: Bed, layers: Sequence[Layer], path: AirPath, share: float, inlet: float
) -> tuple[float, bool]:
    """Vapour through the skin alone, and whether somewhere it would lie down as a film."""
    pressure, activity = bed.pressure, bed.crop.water_activity
    flow = share * path.mass_flow
    x = inlet
    wets = False
    for layer in layers:
        surface = layer.vapour_pressure
        lacking = humidity_of_vapour(activity * surface, pressure) - x
        if lacking < 0.0 and x * (pressure - surface) > MASS_RATIO * surface:
            wets = True
        layer.evaporated = lacking * flow
        layer.from_film = 0.0
        x += share * lacking
    return x, wets


def _wet_march(
    bed: Bed, layers: Sequence[Layer], path: AirPath, share: float, inlet: float
) -> float:
    """Vapour from films and into films, through the skin where a film is gone before the end."""
    pressure, activity = bed.pressure, bed.crop.water_activity
    per_flow = bed.layer_mass / (path.step * path.mass_flow)
    x = inlet
    for layer in layers:
        surface = layer.vapour_pressure
        water = layer.film * per_flow
        free = path.film_effectiveness * (humidity_of_vapour(surface, pressure) - x)
        gain, part = free, free
        if free > water:
            skin = humidity_of_vapour(activity * surface, pressure)
            gain, part = water + (1.0 - water / free) * share * (skin - x), water
        layer.evaporated = gain * path.mass_flow
        layer.from_film = part * path.mass_flow
        x += gain
    return x


def _sources(
    bed: Bed, layers: Sequence[Layer], path: AirPath, given: Inflow, latent: float
) -> tuple[float, float, float]:
    """
    Set each layer's heat, count what it burns, move its water in skin and film.

    Gives heat of respiration [W/m²], what evaporated and what lay down [kg/(m² s)].
    """
    crop, per_mass, conduction = bed.crop, path.step / bed.layer_mass, path.conduction
    factor = age_factor(given.age, crop, bed.fresh_respiration)
    settled = crop.respiration_settled * bed.layer_mass * factor
    burning = per_mass * dry_matter_rate(1.0, crop)
    gain = given.heat_gain / len(layers)
    respiration = evaporated = condensed = 0.0
    below = layers[0]  # of the lowest itself, so that no heat comes from there
    for layer in layers:
        temperature, gained, free = layer.temperature, layer.evaporated, layer.from_film
        heat = settled * temperature_factor(temperature, crop)
        respiration += heat
        evaporated += gained
        passed = (temperature - below.temperature) * conduction
        below.source += passed
        layer.source = heat - latent * gained + gain - passed
        burned = heat * burning
        layer.dry_matter_loss += burned
        layer.water_loss += (gained - free) * per_mass - burned * WATER_PER_DRY_MATTER
        if free != 0.0:
            film = layer.film - free * per_mass
            layer.film = 0.0 if film < TRACE else film
            if not free > 0.0:
                condensed -= free
        below = layer
    below.source += given.top_heat
    below.water_loss += max(given.top_water, 0.0) * per_mass
    below.film -= min(given.top_water, 0.0) * per_mass
    return respiration, evaporated, condensed
