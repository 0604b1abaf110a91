"""Less air or more: each airflow sized, and run through the same season."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from ventcalc.bay.description import Bay
from ventcalc.errors import BadInput, VentcalcError
from ventcalc.season.batch import run_seasons
from ventcalc.season.kpi import Kpi
from ventcalc.sizing.size import Sizing, size_bay
from ventcalc.units import UnitSystem, show
from ventcalc.weather import Weather

__all__ = ["SHARES", "Alternatives", "compare_airflows"]

SHARES = (2.0 / 3.0, 1.5)
"""Airflows to compare with where none are named, of the one sized. [1]"""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Alternatives:
    """The same bay with more and less air, in order of airflow."""

    asked: Sizing
    sizings: tuple[Sizing, ...]
    kpi: Kpi
    """Of each one's season under the advice; arrays in the same order."""
    left_out: tuple[str, ...] = ()
    """Airflows that nobody asked for by name and that cannot be sized, and why."""


def compare_airflows(
    sizing: Sizing,
    weather: Weather,
    airflows: Sequence[float] = (),
    units: UnitSystem = "metric",
    progress: Callable[[int, int], None] | None = None,
) -> Alternatives:
    """Size a bay for other airflows too, and run every one through its season."""
    own = sizing.air.airflow_per_tonne
    others = sorted({*(airflows or [share * own for share in SHARES])} - {own})
    told = progress or (lambda done, whole: None)
    whole = 2 * len(others) + 1
    sized = [sizing]
    left_out = []
    for number, airflow in enumerate(others, start=1):
        try:
            made = size_bay(sizing.bay, airflow_per_tonne=airflow, weather=weather, units=units)
        except VentcalcError as error:
            words = show(airflow, "m3/(s t)", units)
            if airflows:
                raise BadInput(f"{words}: {error}") from None
            left_out.append(f"{words} is left out: {error}")
        else:
            sized.append(made)
        told(number, whole)
    sized.sort(key=lambda one: one.air.airflow_per_tonne)
    bays: list[Bay] = [one.sized for one in sized]
    done = len(others)
    kpi = run_seasons(bays, weather, progress=lambda one, _: told(done + one, whole))
    return Alternatives(asked=sizing, sizings=tuple(sized), kpi=kpi, left_out=tuple(left_out))
