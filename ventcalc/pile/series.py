"""Many steps of the deep bed under air that is known beforehand."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import cache, lru_cache, partial
from typing import Any

import numpy as np

from ventcalc._leaves import mapped, stacked
from ventcalc._loop import Loop, available, traced_loop
from ventcalc.errors import BadInput, check_range
from ventcalc.pile.bed import march
from ventcalc.pile.crop import Crop
from ventcalc.pile.passage import conduction_parts, passage
from ventcalc.pile.state import (
    Array,
    Bed,
    BedState,
    BedStep,
    Passage,
    flagged_once,
    fresh_bed,
    layer_total,
)

__all__ = ["march_through"]

WORTH_COMPILING = 200
"""Fewer steps are over before they would be compiled. [steps]"""
SIZE = ("height", "bulk_density", "tuber_diameter", "pressure")
"""What may differ from bay to bay."""
PIECE = 100_000
"""Steps times bays that are marched through together: what fits into fast memory."""


def march_through(
    bed: Bed,
    state: BedState,
    *,
    step: float,
    superficial_velocity: Any,
    inlet_temperature: Any,
    inlet_humidity_ratio: Any,
    age: Any,
    heat_gain: Any = 0.0,
    workers: int = 1,
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
    workers : int
        Threads to share many bays between, where the steps are compiled. [1]

    Returns
    -------
    state : BedState
        After the last step.
    step : BedStep
        Means of every step, the steps as the first axis; evaporated water and heat of
        respiration are those of all layers together.

    Raises
    ------
    OutOfRange
        As ``march``.
    BadInput
        If the series differ in length, or have none.

    Notes
    -----
    Each series is one number, (steps,), or, for many bays, (steps, bays) or (1, bays). With
    llvmlite (``ventcalc[fast]``) the steps are compiled, which gives the same numbers to
    round-off; without it ``march`` is called for each.
    """
    bays = None if state.temperature.ndim == 1 else state.temperature.shape[1]
    given = (superficial_velocity, inlet_temperature, inlet_humidity_ratio, age, heat_gain)
    series = _side_by_side([np.asarray(x, dtype=float) for x in given], bays)
    check_range("workers", workers, 1, 1024)
    many = len(series[0]) >= WORTH_COMPILING and conduction_parts(bed, step) == 1
    if many and available():
        found = _compiled_through(bed, state, step, series, bays, workers)
        if found is not None:
            return found
    # Fans mostly keep to a few speeds: the same passage again and again.
    way: Callable[[Any], Passage] = partial(passage, bed, step=step)
    way = cache(way) if bays is None else way
    means = []
    for velocity, *air in zip(*(x.tolist() if bays is None else x for x in series), strict=True):
        state, mean = _one_of_many(bed, state, way(velocity), air)
        means.append(mean)
    return state, stacked(means, () if bays is None else (bays,))


def _side_by_side(given: list[Array], bays: int | None) -> tuple[Array, ...]:
    """Series of one length: (steps,), or (steps, bays)."""
    if bays is not None:
        given = [series[:, None] if series.ndim == 1 else series for series in given]
    try:
        shape = np.broadcast_shapes((1,) if bays is None else (1, bays), *(x.shape for x in given))
    except ValueError:
        found = ", ".join(str(series.shape) for series in given)
        raise BadInput(
            f"series of the bed: give all the same number of steps (got {found})"
        ) from None
    if shape[0] == 0:
        raise BadInput("series of the bed: at least one step is needed")
    return tuple(np.broadcast_to(series, shape) for series in given)


def _one_of_many(
    bed: Bed, state: BedState, way: Passage, air: Sequence[Any]
) -> tuple[BedState, BedStep]:
    temperature, humidity_ratio, age, gain = air
    after, means = march(
        bed,
        state,
        way,
        inlet_temperature=temperature,
        inlet_humidity_ratio=humidity_ratio,
        age=age,
        heat_gain=gain,
    )
    water, heat = layer_total(means.evaporated), layer_total(means.respiration)
    return after, replace(means, evaporated=water, respiration=heat)


def _compiled_through(
    bed: Bed,
    state: BedState,
    step: float,
    series: tuple[Array, ...],
    bays: int | None,
    workers: int,
) -> tuple[BedState, BedStep] | None:
    """The same compiled; None where a number left its range, which the plain way reports."""
    shared = tuple(x.ndim == 2 and x.strides[1] == 0 for x in series)
    given = tuple(x[:, 0] for x, same in zip(series, shared, strict=True) if same)
    own = tuple(x for x, same in zip(series, shared, strict=True) if not same)
    size = tuple(getattr(bed, name) for name in SIZE)
    many = tuple(np.ndim(x) > 0 for x in size)
    loop = _loop_of(bed.crop, bed.maturity, bed.layers, bed.conductivity, step, bays, shared, many)
    loop = loop.with_fixed(size)
    rows, means = loop.pack(state), []
    length = max(1, PIECE // (bays or 1))
    for first in range(0, len(series[0]), length):
        part = slice(first, first + length)
        steps = len(series[0][part])
        of_all = np.stack([x[part] for x in given], axis=-1) if given else np.empty((steps, 0))
        of_each = loop.own_rows(tuple(x[part] for x in own)) if own else None
        found = loop.steps(rows, np.ascontiguousarray(of_all), of_each, workers)
        if found is None:
            return None
        rows, mean = found
        means.append(mean)
    return flagged_once(loop.unpack(rows)), mapped(lambda *parts: np.concatenate(parts), *means)


@lru_cache(maxsize=16)
def _loop_of(
    crop: Crop,
    maturity: str,
    layers: int,
    conductivity: float,
    step: float,
    bays: int | None,
    shared: tuple[bool, ...],
    many: tuple[bool, ...],
) -> Loop:
    """The steps of a bed of any size; ``many`` tells which parts of its size are arrays."""
    still = 1.0 if bays is None else np.ones(bays)
    size: tuple[Any, ...] = tuple(still if each else 1.0 for each in many)
    sizes: dict[str, Any] = dict(zip(SIZE, size, strict=True))
    plain = Bed(**sizes, crop=crop, maturity=maturity, layers=layers)

    def one(size: Any, state: BedState, given: Any, own: Any) -> tuple[BedState, BedStep]:
        bed = replace(plain, **dict(zip(SIZE, size, strict=True)), conductivity=conductivity)
        of_all, of_each = iter(given), iter(own)
        velocity, *air = (next(of_all) if same else next(of_each) for same in shared)
        return _one_of_many(bed, state, passage(bed.worked_out(), velocity, step), air)

    start = fresh_bed(plain, 10.0, bays)
    given, own = (1.0,) * sum(shared), (still,) * (len(shared) - sum(shared))
    return traced_loop(one, size, start, given, own, bays=bays)
