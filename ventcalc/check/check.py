"""May this bay be filled to this height? Every check with value, limit, margin and source."""

from __future__ import annotations

import functools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ventcalc import air
from ventcalc.bay.description import Bay
from ventcalc.check.air_system import AirSystem, air_system
from ventcalc.check.airflow import air_checks
from ventcalc.check.climate import climate_checks
from ventcalc.check.cold import PULL_DOWN, cold_checks
from ventcalc.check.crop_state import CropState, crop_states
from ventcalc.check.loads import load_checks
from ventcalc.check.pile_heat import (
    Outside,
    Passage,
    State,
    Supply,
    design_states,
    humidifier_need,
    passage,
)
from ventcalc.check.record import NO, Check
from ventcalc.check.shell import shell_checks
from ventcalc.errors import check_range
from ventcalc.pile.loads import WallLoads, wall_loads

__all__ = ["LOWEST_HEIGHT", "TALLEST_HEIGHT", "PileCheck", "Reach", "check_pile", "sweep_heights"]

Array = NDArray[np.float64]

LOWEST_HEIGHT, TALLEST_HEIGHT = 0.5, 8.0
"""Range of heights that are looked at. [m]"""
SWEEP = 200


@dataclass(frozen=True, kw_only=True, slots=True)
class Reach:
    """How high a pile may be by one check."""

    name: str
    height: float
    """Where its margin runs out; 0 if it has none at any height. [m]"""


_Limits = tuple[tuple[Reach, ...], tuple[Reach, ...]]


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class PileCheck:
    """All checks of a bay filled level to one height or many."""

    bay: Bay
    height: Any
    """Depth of the pile. [m]"""
    mass: Any
    """Crop in a full pile of that depth. [kg]"""
    pressure: float
    """Of the air at the site. [Pa]"""
    checks: tuple[Check, ...]
    system: AirSystem
    crops: Mapping[str, CropState]
    walls: WallLoads
    states: tuple[State, ...]
    passages: tuple[Passage, ...]
    supplies: tuple[Supply, ...]
    reaches: tuple[Reach, ...]
    """Where the margins of the checks that a lower pile can mend run out, lowest first."""
    plant_reaches: tuple[Reach, ...]
    """The same for what refrigeration could do at fill and pull-down without outside air; they
    do not count for the highest pile."""
    least_for_lots: float
    """Height at which the lots just fit. [m]"""

    @property
    def highest(self) -> float:
        """Highest pile whose every margin is positive: 0 if none is, 8 if all are. [m]"""
        return self.reaches[0].height if self.reaches else TALLEST_HEIGHT

    @property
    def binds(self) -> tuple[str, ...]:
        """Names of the checks whose margin runs out there; empty if none does up to 8 m."""
        return tuple(r.name for r in self.reaches if r.height <= self.highest + 1e-9)

    @property
    def whatever_height(self) -> tuple[str, ...]:
        """Names of the checks that say no and that no lower pile can mend; for one height."""
        return tuple(
            check.name
            for check in self.checks
            if check.verdict == NO and not check.by_height and check.key != "lots"
        )

    def check(self, key: str) -> Check:
        """One check by its name."""
        return next(check for check in self.checks if check.key == key)


def sweep_heights() -> Array:
    """200 heights from 0.5 to 8 m. [m]"""
    return np.linspace(LOWEST_HEIGHT, TALLEST_HEIGHT, SWEEP)


def check_pile(
    bay: Bay,
    height: Any = None,
    *,
    winter_temperature: float = -20.0,
    winter_humidity: float = 0.8,
    warm_temperature: float = 18.0,
    warm_humidity: float = 0.6,
    autumn_temperature: float = 10.0,
    autumn_humidity: float = 0.4,
) -> PileCheck:
    """
    Check whether a bay may be filled to a height.

    Parameters
    ----------
    bay : Bay
        The bay.
    height : array-like, optional
        Depth of the pile, 0.5-8; that of the bay if not given. Many are checked together. [m]
    winter_temperature : float
        Outside air of the design winter, -50 to 10. [°C]
    winter_humidity : float
        Its relative humidity, 0.01 to 1, as of the next two. [0-1]
    warm_temperature : float
        Mean outside on the warm day that refrigeration is judged by, 0 to 40. [°C]
    warm_humidity : float
        Its relative humidity. [0-1]
    autumn_temperature : float
        Outside at fill and in wound healing, for the humidifier, -10 to 30. [°C]
    autumn_humidity : float
        Its relative humidity. [0-1]

    Returns
    -------
    PileCheck
        The bay filled level to the height from wall to wall, whatever its lots weigh.

    Raises
    ------
    OutOfRange
        If a height or outside air is out of range.

    Notes
    -----
    The highest pile that passes is found on 200 heights; between the last that passes and the
    first that does not, margins are taken as straight lines.
    """
    wanted = bay.pile.height if height is None else height
    check_range("height", wanted, LOWEST_HEIGHT, TALLEST_HEIGHT, "m", "feet?")
    check_range("winter_temperature", winter_temperature, -50.0, 10.0, "°C", "°F?")
    check_range("warm_temperature", warm_temperature, 0.0, 40.0, "°C", "°F?")
    check_range("autumn_temperature", autumn_temperature, -10.0, 30.0, "°C", "°F?")
    outside = Outside(
        winter_temperature=winter_temperature,
        winter_humidity=winter_humidity,
        warm_temperature=warm_temperature,
        warm_humidity=warm_humidity,
        autumn_temperature=autumn_temperature,
        autumn_humidity=autumn_humidity,
    )
    for name in ("winter_humidity", "warm_humidity", "autumn_humidity"):
        check_range(name, getattr(outside, name), 0.01, 1.0, "", "percent?")
    given = wanted if isinstance(wanted, float | int) else np.asarray(wanted, float)
    found = _checked(bay, given, outside)
    swept = np.array_equal(given, sweep_heights())
    by_height, pull_down = _limits(found) if swept else _limits_of(bay, outside)
    return replace(found, reaches=by_height, plant_reaches=pull_down)


def _limits_of(bay: Bay, outside: Outside) -> _Limits:
    try:
        hash((bay, outside))
    except TypeError:  # a list where a tuple belongs: computed, not kept
        return _kept_limits.__wrapped__(bay, outside)
    return _kept_limits(bay, outside)


@functools.lru_cache(maxsize=16)
def _kept_limits(bay: Bay, outside: Outside) -> _Limits:
    """Of a bay whose height alone changes, as when it is dragged: swept once."""
    return _limits(_checked(bay, sweep_heights(), outside))


def _limits(swept: PileCheck) -> _Limits:
    """How high by each check, and by those of the plant as the pull-down begins."""
    grid, checks = sweep_heights(), swept.checks
    alone = [replace(check, by_height=True) for check in checks if check.key in PULL_DOWN]
    return _reaches(checks, grid), _reaches(alone, grid) if swept.bay.refrigeration else ()


def _checked(bay: Bay, height: Any, outside: Outside) -> PileCheck:
    pressure = float(air.standard_pressure(bay.site.altitude))
    mass = bay.pile.floor_area * bay.pile.bulk_density * height
    crops = crop_states(bay, pressure, mass)
    states = design_states(bay, outside)
    system = air_system(
        bay, height, pressure=pressure, temperature=bay.schedule.holding_temperature
    )
    passages = tuple(
        passage(bay, state, airflow=system.airflow, mass=mass, pressure=pressure)
        for state in states
    )
    colder = (bay.limits.supply_difference, 0.0, 0.0)
    supplies = tuple(
        humidifier_need(bay, state, through, pressure=pressure, colder_by=by)
        for state, through, by in zip(states, passages, colder, strict=True)
    )
    walls = wall_loads(
        height,
        bulk_density=bay.pile.bulk_density,
        width=bay.pile.width,
        friction_angle=bay.pile.internal_friction,
        wall_friction=bay.envelope.wall_friction,
    )
    return PileCheck(
        bay=bay,
        height=height,
        mass=mass,
        pressure=pressure,
        checks=(
            *load_checks(bay, height, mass, walls),
            *air_checks(bay, system, mass),
            *climate_checks(bay, system, states, crops, passages, supplies, mass, pressure),
            *shell_checks(bay, mass, outside, pressure),
            *cold_checks(bay, system, crops, mass, outside, pressure),
        ),
        system=system,
        crops=crops,
        walls=walls,
        states=states,
        passages=passages,
        supplies=supplies,
        reaches=(),
        plant_reaches=(),
        least_for_lots=bay.mass / (bay.pile.floor_area * bay.pile.bulk_density),
    )


def _reaches(checks: Sequence[Check], grid: Array) -> tuple[Reach, ...]:
    """Where the margin of each check runs out, lowest first; none that lasts to the end."""
    found = []
    for check in checks:
        # A check that cannot say has no margin, and none fails by NaN; but without air nothing
        # is known of a pile.
        bad = (check.margin < 0.0) | ((check.key == "airflow") & np.isnan(check.margin))
        if not (check.by_height and bad.any()):
            continue
        first = int(bad.argmax())
        if first == 0:
            found.append(Reach(name=check.name, height=0.0))
            continue
        low, high = float(grid[first - 1]), float(grid[first])
        above, below = check.margin[first - 1 : first + 1]
        share = 0.0 if np.isnan(below) else float(above / (above - below))
        found.append(Reach(name=check.name, height=low + (high - low) * share))
    return tuple(sorted(found, key=lambda reach: reach.height))
