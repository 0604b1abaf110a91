"""Free water on a pile that no probe reads: the bay model run through the last days of its log."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ventcalc.bay.description import Bay
from ventcalc.calibration.replay import pressure_in, run_through, told_by
from ventcalc.diagnose.log import Log
from ventcalc.errors import BadInput, OutOfRange
from ventcalc.outlook.start import DRY
from ventcalc.outlook.state import PileState
from ventcalc.pile.crop import crop_for
from ventcalc.season.installed import as_installed

__all__ = ["with_last_days"]

LEAST = 24
"""Hours in a row, without which nothing is known of the days before. [h]"""
GRAMS = 1e6
"""Per tonne of crop, of kg/kg. [1]"""
LATE = 2.0 * 3600.0
"""From the last hour that could be run to the state. [s]"""


def with_last_days(bay: Bay, log: Log, state: PileState) -> PileState:
    """
    A state of last readings, with free water by the log of the days before.

    The water on each layer as the bay model has it, which starts dry; temperatures stay those of
    the probes, which know them better. As it was, with the reason, where the log cannot be run.
    """
    try:
        installed = as_installed(bay, pressure=pressure_in(log))
        told = told_by(installed, log, None, LEAST)
        if state.season.time - told.hours[-1].time > LATE:
            raise BadInput("its last hours cannot be run through")
        bed = state.season.bed
        _, pile = run_through(installed, crop_for(bay.use), told, len(bed.temperature))
    except (BadInput, OutOfRange) as error:
        return _noted(state, f"{DRY}: the log says nothing of the days before ({error})")
    film = np.array([layer.film for layer in pile])
    found = replace(state, season=replace(state.season, bed=replace(bed, film=film)))
    most = f"up to {GRAMS * film.max():,.0f} g per t of crop" if film.max() > 0.0 else "none"
    return _noted(
        found,
        f"free water: {most}, by the bay model with the crop as described, run through the last "
        f"{len(told.hours)} h of the log",
    )


def _noted(state: PileState, told: str) -> PileState:
    """With this in place of what was assumed."""
    return replace(state, notes=tuple(told if note == DRY else note for note in state.notes))
