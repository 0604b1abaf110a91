"""A state estimated from the last readings, where none was written."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from ventcalc.advice.readings import START, Memory
from ventcalc.advice.readings_file import ReadingsFile
from ventcalc.bay.description import Bay
from ventcalc.errors import BadInput
from ventcalc.outage.start import start_of
from ventcalc.outlook.state import PileState
from ventcalc.pile.bed import state_of
from ventcalc.pile.layers import Layer
from ventcalc.season.plan import SeasonState
from ventcalc.season.surroundings import Ground

__all__ = ["DRY", "state_of_readings"]

Array = NDArray[np.float64]

DRY = "the potatoes are taken as dry"
"""What is assumed where only one hour is known."""
BETWEEN = 0.4
"""
Standard uncertainty of a pile's mean between its probes, for one probe; falls with the root of
their number. Common practice, no source. [K]
"""


def state_of_readings(
    bay: Bay,
    given: ReadingsFile,
    memory: Memory | None = None,
    heights: Sequence[float] | None = None,
) -> PileState:
    """
    Estimate where a bay stands from its probes.

    Parameters
    ----------
    bay : Bay
        The bay.
    given : ReadingsFile
        The last readings, pulp probes from the bottom up.
    memory : Memory, optional
        Of the advice; nothing is remembered without.
    heights : sequence of float, optional
        Of the pulp probes above the floor, rising; evenly from bottom to top without. [m]

    Returns
    -------
    PileState
        The pulp between probes on straight lines, the potatoes dry; a note for all that had to be
        assumed, and how uncertain the mean is.

    Raises
    ------
    BadInput
        If no pulp temperature is known, the bay is empty, or the heights do not fit the probes.
    """
    readings = given.readings._replace(loaded=min(given.loaded / bay.mass, 1.0))
    found = start_of(bay, readings)
    share = found.bay.mass / bay.mass
    top = found.bed.height
    places = np.linspace(0.0, top, len(given.pulp)) if heights is None else np.array(heights)
    if len(places) != len(given.pulp) or (np.diff(places) <= 0.0).any():
        raise BadInput("pulp probes: give as many heights as probes, from the lowest up")
    layers, probes = _profile(given, places / top, found.temperatures)
    where = "evenly from bottom to top" if heights is None else "at the heights told"
    sure = math.hypot(bay.sensors.temperature, BETWEEN / math.sqrt(max(probes, 1)))
    state = found.state._replace(
        share=share, loaded=share, exit_temperature=float(layers[-1]),
        plenum_temperature=float(layers[0]),
    )  # fmt: skip
    return PileState(
        season=SeasonState(
            time=readings.time,
            bay=state,
            bed=state_of([Layer(value) for value in layers.tolist()], state.curing),
            memory=START if memory is None else memory,
        ),
        ground=Ground(),
        standard_uncertainty=sure,
        outside_temperature=readings.outside_temperature,
        notes=(
            *found.notes,
            f"pile: estimated from {probes} pulp probe{'s' if probes != 1 else ''}, {where}; "
            f"its mean is uncertain by {sure:.1f} K (one standard deviation)",
            DRY,
        ),
    )


def _profile(given: ReadingsFile, places: Array, through: tuple[float, ...]) -> tuple[Array, int]:
    """Layers by the probes that are believed, and how many those are."""
    probes = np.array(given.pulp)
    known = np.flatnonzero(~np.isnan(probes))
    if len(known) < 2:
        return np.array(through), len(known)
    layers = (np.arange(len(through)) + 0.5) / len(through)
    return np.interp(layers, places[known], probes[known]), len(known)
