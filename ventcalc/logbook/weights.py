"""Weight out against weight in, lot by lot."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from ventcalc.logbook.folder import Logbook

__all__ = ["Shrink", "shrink_of"]

SCALE = 0.001
"""Standard uncertainty of a truck scale: half the 0.2 % that NIST Handbook 44 allows class III L in
use, from memory. [1]"""
SOIL_TOLD = 0.01
"""Standard uncertainty of a soil share that was sampled (common practice, no source). [0-1]"""
SOIL_UNTOLD = 0.02
"""Where nobody sampled it and it counts as none (common practice, no source). [0-1]"""


@dataclass(frozen=True, kw_only=True, slots=True)
class Shrink:
    """What a lot, or all of a bay, lost between the scale and the scale."""

    lot: str
    """Empty for all lots."""
    mass_in: float
    """Crop that came in, soil taken off. [kg]"""
    mass_out: float
    """Crop that left, soil taken off. [kg]"""
    complete: bool
    """Whether it is all out; until then there is no shrink to tell."""
    mass_loss: float
    """Share of what came in; NaN while not complete. [1]"""
    doubt: float
    """Standard uncertainty of it: scales, and soil in both weights. [1]"""


def shrink_of(book: Logbook, lot: str = "", *, same_scale: bool = False) -> Shrink:
    """
    Weight out against weight in.

    A lot is complete when one of its trucks out says that it was the last. The soil share is one
    error for all loads of a way: it does not average out over them.
    """
    loads = _of(book, "loads", lot)
    out = _of(book, "weights_out", lot)
    moves = _of(book, "moves", lot)
    came = sum(x.net for x in loads) + sum(x.mass for x in moves if x.here_from is not None)
    went = sum(x.net for x in out) + sum(x.mass for x in moves if x.away_to is not None)
    lots = {x.lot for x in loads} | {x.lot for x in moves if x.here_from is not None}
    ended = {x.lot for x in out if x.last == "yes"}
    complete = bool(lots) and lots <= ended
    ratio = went / came if came > 0.0 else math.nan
    scale = 0.0 if same_scale else SCALE
    doubt = ratio * math.hypot(_doubt(loads, scale), _doubt(out, scale))
    return Shrink(
        lot=lot,
        mass_in=came,
        mass_out=went,
        complete=complete,
        mass_loss=1.0 - ratio if complete else math.nan,
        doubt=doubt if complete else math.nan,
    )


def _of(book: Logbook, kind: str, lot: str) -> list[Any]:
    return [entry for entry in book.entries(kind) if lot in ("", entry.lot)]


def _doubt(weighed: Sequence[Any], scale: float) -> float:
    """Relative standard uncertainty of a sum of trucks. [1]"""
    total = sum(x.net for x in weighed)
    if total <= 0.0:
        return 0.0
    soil = sum(
        (x.gross - x.tare) * (SOIL_UNTOLD if x.soil_share is None else SOIL_TOLD) for x in weighed
    )
    return math.hypot(scale, soil / total)
