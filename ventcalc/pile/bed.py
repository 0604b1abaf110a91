"""
The deep bed for whoever computes with it alone: a state, a step, many steps.

The formulas are in ``step``, layer by layer in plain Python; here are the checks, the arrays
(bottom to top) and, where many steps are asked for, the machine code. All flows are per m² of pile
floor.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ventcalc import compiled as machine
from ventcalc.errors import BadInput, OutOfRange, check_range
from ventcalc.pile.air_path import heat_transfer_coefficient
from ventcalc.pile.layers import Bed, BedStep, Inflow, Layer, layer_mean
from ventcalc.pile.step import MOST_PARTS, step_layers

__all__ = [
    "HOUR_LIMITS",
    "Bed",
    "BedState",
    "BedStep",
    "fresh_bed",
    "heat_transfer_coefficient",
    "run_steps",
    "step",
]

Array = NDArray[np.float64]
WORTH_COMPILING = 30_000
"""Fewer steps are over in plain Python before they would be compiled."""
JOB = "bed"
"""Under which its machine code is known."""
HOUR_LIMITS = {
    "superficial_velocity": (1e-5, 0.5, "m/s", "m³/h per m²?"),
    "inlet_temperature": (-40.0, 45.0, "°C", "kelvin or °F?"),
    "inlet_humidity_ratio": (0.0, 0.1, "kg/kg", "g/kg?"),
    "age": (0.0, 1e9, "s", ""),
    "temperature": (-5.0, 45.0, "°C", "kelvin or °F?"),
}
"""Within which a step of the bed holds: least, greatest, unit, likely slip."""
KEPT = ("temperature", "film", "source", "water_loss", "dry_matter_loss")


@dataclass(frozen=True, kw_only=True, eq=False)
class BedState:
    """What the bed remembers from step to step; losses are per kg of crop loaded."""

    temperature: Array
    """Mean tuber temperature of each layer. [°C]"""
    film: Array
    """Free water on the tubers. [kg/kg crop]"""
    source: Array
    """Net heat source of the last step, the first guess of the next. [W/m²]"""
    water_loss: Array
    """Water lost through the skin, less the water that respiration makes. [kg/kg crop]"""
    dry_matter_loss: Array
    """Dry matter burned. [kg/kg crop]"""
    curing: float
    """Wound healing done, as time at the reference temperature, mean of the bed. [s]"""


def fresh_bed(bed: Bed, temperature: ArrayLike) -> BedState:
    """
    A bed just loaded: dry, unhealed, nothing lost.

    Parameters
    ----------
    bed : Bed
        The pile.
    temperature : array-like
        Pulp temperature, one value or one per layer, -5 to 45. [°C]

    Returns
    -------
    BedState
        The state to start from.

    Raises
    ------
    OutOfRange
        If a temperature lies outside -5 to 45.
    """
    check_range("temperature", temperature, *HOUR_LIMITS["temperature"])
    zeros = np.zeros(bed.layers)
    return BedState(
        temperature=np.broadcast_to(np.asarray(temperature, dtype=float), bed.layers).copy(),
        film=zeros,
        source=zeros,
        water_loss=zeros,
        dry_matter_loss=zeros,
        curing=0.0,
    )


def step(
    bed: Bed,
    state: BedState,
    *,
    step: float,
    superficial_velocity: float,
    inlet_temperature: float,
    inlet_humidity_ratio: float,
    age: float,
    heat_gain: float = 0.0,
    top_heat: float = 0.0,
    top_water: float = 0.0,
) -> tuple[BedState, BedStep]:
    """
    Move the bed one step on.

    Parameters
    ----------
    bed : Bed
        The pile.
    state : BedState
        Where it stands.
    step : float
        Time step. [s]
    superficial_velocity : float
        Air velocity over the whole floor, 0.00001 to 0.5. [m/s]
    inlet_temperature : float
        Air that enters at the bottom, -40 to 45. [°C]
    inlet_humidity_ratio : float
        Air that enters at the bottom, 0 to 0.1. [kg/kg dry air]
    age : float
        Time since harvest. [s]
    heat_gain : float
        Heat through walls and floor, spread evenly over the layers. [W/m²]
    top_heat : float
        Heat into the top layer from the air and the ceiling above it. [W/m²]
    top_water : float
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
        If an input lies outside its range, the mean of the pile leaves -5 to 45 °C, or a step
        would have to be cut into more than 65 536 parts.
    """
    given = {
        "superficial_velocity": superficial_velocity,
        "inlet_temperature": inlet_temperature,
        "inlet_humidity_ratio": inlet_humidity_ratio,
        "age": age,
    }
    for name, value in given.items():
        check_range(name, value, *HOUR_LIMITS[name])
    layers = layers_of(state)
    inflow = Inflow(
        inlet_temperature, inlet_humidity_ratio, age, heat_gain, top_heat, top_water,
        layer_mean(layers),
    )  # fmt: skip
    means, curing = step_layers(bed, layers, state.curing, superficial_velocity, step, inflow)
    _check_parts(means.outlet_temperature)
    check_range("temperature", layer_mean(layers), *HOUR_LIMITS["temperature"])
    return state_of(layers, curing), means


def run_steps(
    bed: Bed,
    state: BedState,
    *,
    step: float,
    superficial_velocity: ArrayLike,
    inlet_temperature: ArrayLike,
    inlet_humidity_ratio: ArrayLike,
    age: ArrayLike,
    heat_gain: ArrayLike = 0.0,
    compiled: bool | None = None,
) -> tuple[BedState, BedStep]:
    """
    Move the bed on through many steps whose air is known beforehand.

    Parameters
    ----------
    bed : Bed
        The pile.
    state : BedState
        Where it stands.
    step : float
        Time step. [s]
    superficial_velocity : float or array
        Air velocity over the whole floor, 0.00001 to 0.5. [m/s]
    inlet_temperature : float or array
        Air that enters at the bottom, -40 to 45. [°C]
    inlet_humidity_ratio : float or array
        Air that enters at the bottom, 0 to 0.1. [kg/kg dry air]
    age : float or array
        Time since harvest at each step. [s]
    heat_gain : float or array
        Heat through walls and floor, spread evenly over the layers. [W/m²]
    compiled : bool, optional
        True for machine code (some seconds the first time), False for plain Python; by itself
        it takes machine code where that is already there, or the steps are many.

    Returns
    -------
    state : BedState
        After the last step.
    step : BedStep
        Means of every step, arrays of shape (steps,).

    Raises
    ------
    OutOfRange
        As ``step``.
    BadInput
        If the series differ in length, or have none; if machine code is asked for without numba.

    Notes
    -----
    The same formulas compiled (``ventcalc[fast]``) or in plain Python, which takes 0.1 to 0.2 ms
    a step of 40 layers.
    """
    series = _series(
        superficial_velocity=superficial_velocity,
        inlet_temperature=inlet_temperature,
        inlet_humidity_ratio=inlet_humidity_ratio,
        age=age,
        heat_gain=heat_gain,
    )
    count = len(series[0])
    fast = _use_machine_code(compiled, count)
    found = [np.empty(count) for _ in BedStep._fields]
    if fast:
        layers: Any = machine.records_of(layers_of(state))
        run = machine.entry(step_through)
        curing, low, high = run(machine.record_of(bed), layers, state.curing, step, *series, *found)
        machine.mark_ready(JOB)
    else:
        layers = layers_of(state)
        given = [x.tolist() for x in series]
        curing, low, high = step_through(bed, layers, state.curing, step, *given, *found)
    _check_parts(found[0])
    for mean in (low, high):
        check_range("temperature", mean, *HOUR_LIMITS["temperature"])
    return state_of(layers, curing), BedStep(*found)  # type: ignore[arg-type]  # arrays here


def step_through(
    bed: Bed,
    layers: Sequence[Layer],
    curing: float,
    step: float,
    velocity: Sequence[float],
    temperature: Sequence[float],
    humidity_ratio: Sequence[float],
    age: Sequence[float],
    heat_gain: Sequence[float],
    outlet_temperature: Array,
    outlet_humidity_ratio: Array,
    evaporated: Array,
    condensed: Array,
    respiration: Array,
    latent_heat: Array,
) -> tuple[float, float, float]:
    """The steps of a series, means written into the arrays; gives healing, extremes of the mean."""
    low = high = mean = layer_mean(layers)
    for i in range(len(velocity)):
        given = Inflow(temperature[i], humidity_ratio[i], age[i], heat_gain[i], 0.0, 0.0, mean)
        means, curing = step_layers(bed, layers, curing, velocity[i], step, given)
        outlet_temperature[i] = means.outlet_temperature
        outlet_humidity_ratio[i] = means.outlet_humidity_ratio
        evaporated[i] = means.evaporated
        condensed[i] = means.condensed
        respiration[i] = means.respiration
        latent_heat[i] = means.latent_heat
        mean = layer_mean(layers)
        low, high = min(low, mean), max(high, mean)
    return curing, low, high


def _use_machine_code(wish: bool | None, steps: int) -> bool:
    """Compiling takes some seconds once; it is never in the way of a few steps."""
    if wish is False:
        return False
    if not machine.available():
        if wish:
            raise BadInput('compiled=True needs numba: python -m pip install "ventcalc[fast]"')
        return False
    return bool(wish) or steps >= WORTH_COMPILING or machine.ready(JOB)


def _series(**given: ArrayLike) -> tuple[Array, ...]:
    """Series of one length, within their limits."""
    for name, values in given.items():
        if name in HOUR_LIMITS:
            check_range(name, values, *HOUR_LIMITS[name])
    arrays = [np.atleast_1d(np.asarray(values, dtype=float)) for values in given.values()]
    try:
        found = np.broadcast_arrays(*arrays)
    except ValueError:
        shapes = ", ".join(str(np.shape(x)) for x in given.values())
        raise BadInput(
            f"series of the bed: give all the same number of steps (got {shapes})"
        ) from None
    if found[0].ndim != 1 or found[0].size == 0:
        raise BadInput("series of the bed: give one number, or one for each step, at least one")
    return tuple(np.ascontiguousarray(x) for x in found)


def _check_parts(outlet_temperature: ArrayLike) -> None:
    """A step that could not be cut fine enough has no outlet; a missing inlet is another matter."""
    if np.isinf(outlet_temperature).any():
        raise OutOfRange(
            "parts", 1.0, MOST_PARTS, float("inf"), "", "", "a long step, or very moist air?"
        )


def layers_of(state: BedState) -> list[Layer]:
    """Layers that a step may change."""
    layers = [Layer(0.0) for _ in state.temperature]
    for name in KEPT:
        for layer, value in zip(layers, getattr(state, name).tolist(), strict=True):
            setattr(layer, name, value)
    return layers


def state_of(layers: Sequence[Layer] | NDArray[Any], curing: float) -> BedState:
    """The state that layers stand for."""
    if isinstance(layers, np.ndarray):
        values = {name: layers[name].copy() for name in KEPT}
    else:
        values = {name: np.array([getattr(layer, name) for layer in layers]) for name in KEPT}
    return BedState(**values, curing=curing)
