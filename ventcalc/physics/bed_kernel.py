"""
The march of the bed as one compiled loop, for those who have numba (``ventcalc[fast]``).

The formulas are those of ``bed`` and ``bed_moisture``, written out layer by layer; a test holds
the two together. It is used when numba is installed, else numpy does the work. Compiling takes
some seconds once; the result is kept beside this file, in the user's cache, or, where neither
can be written, for this process only.

Everything lies flat, bays innermost, and is worked on in blocks of bays that stay in the fastest
memory. The block's numbers live in one scratch array at constant distances: so the compiler sees
that nothing overlaps, and takes several bays at once.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from importlib.util import find_spec
from typing import Any

import numpy as np
from numpy.typing import NDArray

__all__ = ["GIVEN", "LAYERED", "SAME", "TOTALS", "kernel", "march_layers"]

Array = NDArray[np.float64]

GIVEN = (
    "gain", "hold", "carry", "weight", "inverse", "reach", "temperature", "humidity_ratio",
    "share", "film_effectiveness", "mass_flow", "pressure", "respiration", "heat_gain",
    "top_heat", "top_water", "conduction", "per_mass", "film_per_air",
    "p5", "p4", "p3", "p2", "p1", "p0",
)  # fmt: skip
"""
Numbers of each bay, in this order: the rows of ``given``. ``p5`` to ``p0`` are the coefficients of
the vapour pressure.
"""
SAME = (
    "water_activity", "least_at", "per_doubling", "failing", "dead", "per_dying", "evaporation",
    "cooling_of_latent", "dry_matter", "water_per_dry_matter", "mass_ratio",
)  # fmt: skip
"""Numbers that all bays share, in this order: ``same``."""
LAYERED = (
    "temperature", "film", "source", "water_loss", "dry_matter_loss", "evaporated", "respiration",
)  # fmt: skip
"""Results by layer, in this order."""
TOTALS = (
    "outlet_temperature", "outlet_humidity_ratio", "condensed", "respiration", "latent_heat",
    "mean",
)  # fmt: skip
"""Results by bay, in this order: ``mean`` is that of the new temperatures."""

BLOCK = 64
_GAIN, _HOLD, _CARRY, _WEIGHT, _INVERSE, _REACH, _X, _Y, _SHARE, _WET_SHARE, _FLOW, _PRESSURE = (
    BLOCK * k for k in range(12)
)
_HEAT, _ADDED, _TOP_HEAT, _TOP_WATER, _CONDUCT, _PER_MASS, _PER_AIR, _P5, _P4, _P3, _P2, _P1 = (
    BLOCK * k for k in range(12, 24)
)
_P0, _LATENT, _MEAN, _X2, _CONDENSED, _TOTAL, _LYING, _CROWN, _T, _FILM, _SOURCE, _WATER = (
    BLOCK * k for k in range(24, 36)
)
_DRY, _EVAPORATED, _BURNING = BLOCK * 36, BLOCK * 37, BLOCK * 38
_GIVEN, _ROWS = 25, 39


def march_layers(
    temperature: Array,
    film: Array,
    source: Array,
    water_loss: Array,
    dry_matter_loss: Array,
    given: Array,
    same: Array,
) -> tuple[Array, Array, bool]:
    """
    One step of many bays, arrays laid flat.

    Parameters
    ----------
    temperature, film, source, water_loss, dry_matter_loss : array
        The state, as in ``BedState``, layers first. [as given]
    given : array
        ``GIVEN`` by bay. [SI]
    same : array
        ``SAME``. [SI]

    Returns
    -------
    layered : array
        ``LAYERED``, one after the other. [as given]
    totals : array
        ``TOTALS`` by bay. [as given]
    wet : bool
        Whether any film is left.
    """
    bays, size = given.size // _GIVEN, temperature.size
    layers = size // bays
    out, totals = np.empty(7 * size), np.empty(6 * bays)
    s = np.empty(_ROWS * BLOCK)
    a_w, least_at, per_doubling = same[0], same[1], same[2]
    failing, dead, per_dying = same[3], same[4], same[5]
    evaporation, cooling, dry_matter = same[6], same[7], same[8]
    water_made, ratio = same[9], same[10]
    wet = False
    for first in range(0, bays, BLOCK):
        many = min(BLOCK, bays - first)
        for row in range(_GIVEN):
            here = given[row * bays + first :]
            for j in range(many):
                s[row * BLOCK + j] = here[j]
        for j in range(many):
            s[_MEAN + j] = 0.0
        for i in range(layers):
            now = temperature[i * bays + first :]
            for j in range(many):
                s[_MEAN + j] += now[j]
        for j in range(many):
            s[_LATENT + j] = evaporation - cooling * (s[_MEAN + j] / layers)
            s[_X2 + j] = s[_X + j]
            s[_MEAN + j] = s[_CONDENSED + j] = s[_TOTAL + j] = s[_LYING + j] = 0.0
            s[_CROWN + j] = 0.0
        for i in range(layers):
            at = i * bays + first
            end, up, down = at + many, at + bays * (i < layers - 1), at - bays * (i > 0)
            now, on, gave = temperature[at:end], film[at:end], source[at:end]
            over, under = temperature[up : up + many], temperature[down : down + many]
            water, solids = water_loss[at:end], dry_matter_loss[at:end]
            if i == layers - 1:
                for j in range(many):
                    s[_CROWN + j] = s[_TOP_HEAT + j]
            for j in range(many):
                t = now[j]
                held = s[_HOLD + j] * t
                inflow = s[_GAIN + j] * gave[j] + held
                guess = s[_WEIGHT + j] * s[_X + j] + s[_INVERSE + j] * inflow
                s[_X + j] = s[_CARRY + j] * s[_X + j] + inflow

                p = s[_PRESSURE + j]
                vapour = (s[_P5 + j] * guess + s[_P4 + j]) * guess + s[_P3 + j]
                vapour = ((vapour * guess + s[_P2 + j]) * guess + s[_P1 + j]) * guess + s[_P0 + j]
                full = ratio * (vapour / (p - vapour))
                vapour *= a_w
                skin = ratio * (vapour / (p - vapour))
                y = s[_Y + j]
                lying = on[j] * s[_PER_AIR + j]
                free = s[_WET_SHARE + j] * (full - y)
                dries = free > lying
                part = lying if dries else free
                through = (1.0 - lying / (free if dries else 1.0)) * s[_SHARE + j] * (skin - y)
                gained = part + (through if dries else 0.0)
                s[_Y + j] = y + gained
                evaporated = gained * s[_FLOW + j]
                from_film = part * s[_FLOW + j]
                s[_CONDENSED + j] -= 0.0 if from_film > 0.0 else from_film

                away = (failing if t > failing else t) - least_at
                alive = (dead - t) * per_dying
                alive = 1.0 if alive > 1.0 else alive
                alive = 0.0 if alive < 0.0 else alive
                burning = alive * (away * away * per_doubling + 1.0) * s[_HEAT + j]
                s[_TOTAL + j] += burning

                heat = burning - evaporated * s[_LATENT + j] + s[_ADDED + j] + s[_CROWN + j]
                heat += (over[j] - t) * s[_CONDUCT + j]
                heat -= (t - under[j]) * s[_CONDUCT + j]
                inflow = s[_GAIN + j] * heat + held
                warm = s[_WEIGHT + j] * s[_X2 + j] + s[_INVERSE + j] * inflow
                s[_X2 + j] = s[_CARRY + j] * s[_X2 + j] + inflow
                warm = t + (warm - t) * s[_REACH + j]
                s[_MEAN + j] += warm

                burned = burning * (s[_PER_MASS + j] * dry_matter)
                lost = (evaporated - from_film) * s[_PER_MASS + j] - burned * water_made
                left = on[j] - from_film * s[_PER_MASS + j]
                s[_T + j] = warm
                left = 0.0 if left < 1e-15 else left
                s[_LYING + j] += left
                s[_FILM + j] = left
                s[_SOURCE + j] = heat
                s[_WATER + j] = water[j] + lost
                s[_DRY + j] = solids[j] + burned
                s[_EVAPORATED + j] = evaporated
                s[_BURNING + j] = burning
            if i == layers - 1:
                for j in range(many):
                    top = s[_TOP_WATER + j]
                    s[_WATER + j] += (0.0 if top < 0.0 else top) * s[_PER_MASS + j]
                    left = (0.0 if top > 0.0 else top) * s[_PER_MASS + j]
                    s[_FILM + j] -= left
                    s[_LYING + j] -= left
            # Slices, and few of them in a loop: so the compiler can still see that none overlap.
            to_t, to_film, to_source = (
                out[at:end],
                out[size + at : size + end],
                out[2 * size + at :],
            )
            to_water, to_dry = out[3 * size + at :], out[4 * size + at :]
            to_evaporated, to_burning = out[5 * size + at :], out[6 * size + at :]
            for j in range(many):
                to_t[j], to_film[j], to_source[j] = s[_T + j], s[_FILM + j], s[_SOURCE + j]
            for j in range(many):
                to_water[j], to_dry[j] = s[_WATER + j], s[_DRY + j]
            for j in range(many):
                to_evaporated[j], to_burning[j] = s[_EVAPORATED + j], s[_BURNING + j]
        for j in range(many):
            wet |= s[_LYING + j] != 0.0
            totals[first + j] = s[_X2 + j]
            totals[bays + first + j] = s[_Y + j]
            totals[2 * bays + first + j] = s[_CONDENSED + j]
            totals[3 * bays + first + j] = s[_TOTAL + j]
            totals[4 * bays + first + j] = s[_LATENT + j]
            totals[5 * bays + first + j] = s[_MEAN + j] / layers
    return out, totals, wet


@cache
def kernel() -> Callable[..., tuple[Array, Array, bool]] | None:
    """
    The compiled ``march_layers``.

    Returns
    -------
    callable or None
        None where numba is not installed.
    """
    if find_spec("numba") is None:
        return None
    import numba

    options: dict[str, Any] = {"error_model": "numpy"}
    try:
        return numba.njit(cache=True, **options)(march_layers)  # type: ignore[no-any-return]
    except RuntimeError:  # nowhere to keep the result
        return numba.njit(**options)(march_layers)  # type: ignore[no-any-return]
