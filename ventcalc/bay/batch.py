"""Many bays as one, for calculation in one go."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import fields, is_dataclass, replace
from typing import Any

import numpy as np

from ventcalc.bay.description import Bay, Heater, Humidifier, Lot, Refrigeration
from ventcalc.errors import BadInput

__all__ = ["stack_bays"]


def stack_bays(bays: Sequence[Bay]) -> Bay:
    """
    Many bays as one ``Bay`` whose numbers are arrays, for calculation in one go.

    Parameters
    ----------
    bays : sequence of Bay
        Bays that share use, calendar dates, time zone and maturity.

    Returns
    -------
    Bay
        Every number an array with one element per bay; lots joined into one, missing
        equipment as equipment without capacity.

    Raises
    ------
    BadInput
        If a text differs between the bays, or only some of them have an optional value.
    """
    # A bay without refrigeration takes the words of those that have it, with no capacity.
    plants = [bay.refrigeration for bay in bays if bay.refrigeration is not None]
    absent = replace(plants[0], capacity=0.0) if plants else Refrigeration(capacity=0.0)
    batch: Bay = _stack([_levelled(bay, absent) for bay in bays], "bay")
    return batch


def _levelled(bay: Bay, absent: Refrigeration) -> Bay:
    heat = sum(lot.mass * lot.loading_temperature for lot in bay.lots)
    lot = Lot(
        name="all",
        mass=bay.mass,
        loading_temperature=heat / bay.mass,
        maturity=bay.lots[0].maturity,
    )
    return replace(
        bay,
        name="batch",
        notes="",
        lots=(lot,),
        humidifier=bay.humidifier or Humidifier(capacity=0.0, power=0.0),
        refrigeration=bay.refrigeration or absent,
        heater=bay.heater or Heater(capacity=0.0),
    )


def _stack(items: Sequence[Any], name: str) -> Any:
    first: Any = items[0]
    lacking = [item is None for item in items]
    if any(lacking):
        if not all(lacking):
            raise BadInput(f"{name}: of the bays of one batch all must have it, or none")
        return None
    if is_dataclass(first):
        values = {
            f.name: _stack([getattr(item, f.name) for item in items], f"{name}.{f.name}")
            for f in fields(first)
        }
        return replace(items[0], **values)
    if isinstance(first, tuple):
        if len({len(item) for item in items}) > 1:
            raise BadInput(f"{name}: of the bays of one batch all must have as many values")
        return tuple(_stack(parts, name) for parts in zip(*items, strict=True))
    if isinstance(first, str):
        if len(set(items)) > 1:
            raise BadInput(f"{name}: bays of one batch must share it (got {sorted(set(items))})")
        return first
    return np.asarray(items, dtype=float)
