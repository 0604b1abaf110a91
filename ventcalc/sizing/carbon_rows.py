"""Fresh air for CO2 of a sizing as records."""

from __future__ import annotations

import numpy as np

from ventcalc.bay.description import Bay
from ventcalc.sizing.carbon import RESERVE, FreshAir
from ventcalc.sizing.record import Size, row
from ventcalc.sizing.weather import DesignStates

__all__ = ["fresh_air_rows", "local_hour_text"]


def local_hour_text(states: DesignStates, hour: float) -> str:
    """Date and hour of a time since the first load, by the clock of the place."""
    step = int(np.searchsorted(states.now, hour))
    return str(states.local_time[step].astype("datetime64[m]")).replace("T", " ")


def fresh_air_rows(bay: Bay, states: DesignStates, fresh: FreshAir) -> tuple[Size, ...]:
    """Timer and opening of the fresh-air runs, and the greatest hour of CO2."""
    had, now = bay.control, fresh.control
    return (
        row(
            "fresh_air_every",
            now.fresh_air_every,
            ("reserve", RESERVE, "1 percent"),
            present=had.fresh_air_every,
        ),
        row("fresh_air_for", now.fresh_air_for, present=had.fresh_air_for),
        row(
            "fresh_air_opening",
            now.fresh_air_opening,
            ("lowest speed", bay.fans.minimum_speed, "1 percent"),
            present=had.fresh_air_opening,
        ),
        row(
            "co2_greatest",
            fresh.highest,
            ("limit", bay.limits.co2, "1 ppm"),
            hour=local_hour_text(states, fresh.hour),
        ),
        row("co2_time_above", 3600.0 * fresh.hours_above),
    )
