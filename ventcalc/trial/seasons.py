"""The seasons of a parcel, one after the other: a row each."""

from __future__ import annotations

import math
from dataclasses import fields, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ventcalc.errors import BadInput, OutOfRange
from ventcalc.pile.crop import Crop, crop_for
from ventcalc.season.batch import figures_of
from ventcalc.season.faults import WrongPosition
from ventcalc.season.kpi import Kpi
from ventcalc.season.likely import RANGES
from ventcalc.season.plan import Plan, plan_of
from ventcalc.trial.cases import Parcel, sources
from ventcalc.trial.faults import parts_of, sensors_of
from ventcalc.trial.methods import method_for

__all__ = ["COLUMNS", "TEXTS", "Table", "joined", "run_parcel"]

Table = dict[str, NDArray[Any]]
"""A column by its name: texts as objects, numbers as floats."""
TEXTS = ("bay", "climate", "fault", "method", "stopped")
"""Which season, and why it could not be run to its end (else empty)."""
FIGURES = tuple(field.name for field in fields(Kpi))
COLUMNS = (*TEXTS[:4], "draw", *RANGES, *FIGURES, "energy", "cost", TEXTS[4])
"""In the order in which they are written; figures as of ``Kpi``, in its units."""


def run_parcel(parcel: Parcel, fast: bool, shared: dict[Any, Any] | None = None) -> Table:
    """
    Run the seasons of a parcel, a row a season; ``shared`` keeps what those of one bay and climate
    share.
    """
    if parcel.sources != sources():
        raise BadInput(
            "a worker runs another ventcalc than whoever asked it; install the same on all machines"
        )
    shared = {} if shared is None else shared
    rows = []
    for draw, point in zip(parcel.draws, parcel.points, strict=True):
        values: dict[str, Any] = {
            "bay": parcel.bay.name,
            "climate": parcel.climate,
            "fault": parcel.fault,
        }
        values |= {"method": parcel.method, "draw": float(draw)}
        try:
            plan = _plan(parcel, point, shared)
            words = f"{parcel.chance} {parcel.bay.name} {parcel.climate} {draw}"
            policy = method_for(parcel.method, plan.course, words, fast)
            kpi = figures_of(plan, policy, fast)
            row = {
                **{name: getattr(kpi, name) for name in (*FIGURES, "energy", "cost")},
                "stopped": "",
            }
        except WrongPosition:
            raise
        except OutOfRange as error:  # a pile that heats itself up, for one
            row = {**dict.fromkeys((*FIGURES, "energy", "cost"), math.nan), "stopped": str(error)}
        rows.append({**values, **_parameters(parcel, point), **row})
    return {
        name: np.array([row[name] for row in rows], dtype=object if name in TEXTS else float)
        for name in COLUMNS
    }


def _plan(parcel: Parcel, point: tuple[float, ...], shared: dict[Any, Any]) -> Plan:
    crop = None if math.isnan(point[0]) else _crop(parcel, point)
    plan = plan_of(
        parcel.bay, parcel.weather, parcel.layers, None, None, None, sensors_of(parcel.fault), None,
        shared, crop,
    )  # fmt: skip
    return replace(plan, course=replace(plan.course, faults=parts_of(parcel.fault, plan.course)))


def _crop(parcel: Parcel, point: tuple[float, ...]) -> Crop:
    drawn: dict[str, Any] = dict(zip(RANGES, point, strict=True))
    return replace(crop_for(parcel.bay.use), **drawn)


def _parameters(parcel: Parcel, point: tuple[float, ...]) -> dict[str, float]:
    """As they were, in the tables' crop too."""
    crop = crop_for(parcel.bay.use) if math.isnan(point[0]) else _crop(parcel, point)
    return {name: float(getattr(crop, name)) for name in RANGES}


def joined(tables: list[Table]) -> Table:
    """Tables one below the other."""
    return {name: np.concatenate([table[name] for table in tables]) for name in COLUMNS}
