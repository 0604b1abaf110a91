"""CO2 of a full pile: what the timer makes of it, and how much fresh air keeps it at its limit."""

from __future__ import annotations

from typing import Any

import numpy as np

from ventcalc.bay.description import Bay, fresh_fraction_at
from ventcalc.pile.crop import CO2_OUTSIDE, crop_for

__all__ = ["free_air", "purge_time", "timer_peak"]


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


def purge_time(bay: Bay, *, co2: Any, airflow: Any, volume: Any) -> Any:
    """
    Part of the time with fresh air that keeps CO2 at its limit. [1]

    0 where leaks do, above 1 where the opening is too small. ``co2`` [m³/s] is what the crop gives
    off, ``airflow`` [m³/s] that of the fans at full speed, ``volume`` [m³] the air of pile and
    headspace.
    """
    needed = co2 / (bay.limits.co2 - CO2_OUTSIDE) - bay.envelope.leakage * volume
    return np.maximum(needed, 0.0) / _fresh_airflow(bay, airflow, None)


def _fresh_airflow(bay: Bay, airflow: Any, share: Any) -> Any:
    """Of a fresh-air run, which turns at the lowest speed. [m³/s]"""
    if share is None:
        share = fresh_fraction_at(bay.doors, bay.control.fresh_air_opening)
    return share * bay.fans.minimum_speed * airflow


def timer_peak(bay: Bay, *, co2: Any, airflow: Any, volume: Any, share: Any = None) -> Any:
    """
    Highest CO2, before a run, when fresh air comes by the timer alone; air well mixed. [1]

    Inputs as in ``purge_time``; ``share`` of fresh air in a run [0-1] where it is not that of the
    opening. The adviser counts ``fresh_air_every`` from the end of a run.
    """
    control, leak = bay.control, bay.envelope.leakage * volume
    fresh = leak + _fresh_airflow(bay, airflow, share)
    rest = control.fresh_air_every
    kept = np.exp(-leak / volume * rest)
    purged = np.exp(-fresh / volume * control.fresh_air_for)
    tight = leak < 1e-9
    climb = np.where(tight, rest / volume, (1.0 - kept) / np.where(tight, 1.0, leak))
    after = co2 / fresh * (1.0 - purged)
    return CO2_OUTSIDE + (co2 * climb + after * kept) / (1.0 - kept * purged)
