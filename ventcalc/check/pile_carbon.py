"""CO2 of a full pile: how much fresh air keeps it at its limit, and what a timer makes of it."""

from __future__ import annotations

from typing import Any

import numpy as np

from ventcalc.bay.description import Bay
from ventcalc.check.pile_heat import State
from ventcalc.pile.crop import CO2_OUTSIDE, co2_rate, crop_for

__all__ = ["free_air", "purge_time", "timer_peak"]

MOLAR_VOLUME_RATIO = 28.97 / 44.01
"""Volume of CO2 over that of as much mass of air. [1]"""


def free_air(bay: Bay, mass: Any) -> Any:
    """
    Air in the pores of a level pile and above it. [m³]

    Above a pile that is higher than the building there is no headspace left.
    """
    floor = bay.pile
    height = mass / (floor.floor_area * floor.bulk_density)
    pores = 1.0 - floor.bulk_density / crop_for(bay.use).tuber_density
    above = bay.envelope.headspace_volume + (floor.height - height) * floor.floor_area
    return np.maximum(above, 0.0) + pores * floor.floor_area * height


def _co2_source(bay: Bay, state: State, mass: Any, volume_per_mass: float) -> Any:
    """CO2 that the crop gives off, as a volume flow. [m³/s]"""
    carbon = co2_rate(state.respiration_heat, crop_for(bay.use)) * mass
    return carbon * volume_per_mass * MOLAR_VOLUME_RATIO


def purge_time(
    bay: Bay, state: State, *, airflow: Any, mass: Any, volume: Any, specific_volume: float
) -> Any:
    """
    Part of the time with fresh air that keeps CO2 at its limit. [1]

    0 where leaks do, above 1 where the opening is too small. ``volume`` [m³] is the air of pile and
    headspace, ``specific_volume`` [m³/kg dry air] that of the air inside.
    """
    source = _co2_source(bay, state, mass, specific_volume)
    needed = source / (bay.limits.co2 - CO2_OUTSIDE) - bay.envelope.leakage * volume
    share = bay.control.fresh_air_opening * bay.doors.largest_fraction
    return np.maximum(needed, 0.0) / (share * airflow)


def timer_peak(
    bay: Bay, state: State, *, airflow: Any, mass: Any, volume: Any, specific_volume: float
) -> Any:
    """Highest CO2, before a run, when fresh air comes by the timer alone; air well mixed. [1]"""
    source = _co2_source(bay, state, mass, specific_volume)
    control = bay.control
    leak = bay.envelope.leakage * volume
    fresh = leak + control.fresh_air_opening * bay.doors.largest_fraction * airflow
    rest = control.fresh_air_every - control.fresh_air_for
    kept = np.exp(-leak / volume * rest)
    purged = np.exp(-fresh / volume * control.fresh_air_for)
    tight = leak < 1e-9
    climb = np.where(tight, rest / volume, (1.0 - kept) / np.where(tight, 1.0, leak))
    after = source / fresh * (1.0 - purged)
    return CO2_OUTSIDE + (source * climb + after * kept) / (1.0 - kept * purged)
