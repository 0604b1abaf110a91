"""Fresh air for CO2 of a sizing as records."""

from __future__ import annotations

from functools import partial

import numpy as np

from ventcalc.bay.description import Bay
from ventcalc.sizing.carbon import RESERVE, FreshAir
from ventcalc.sizing.record import PRACTICE, Size, given, size
from ventcalc.sizing.weather import DesignStates

__all__ = ["fresh_air_rows", "local_hour_text"]


def local_hour_text(states: DesignStates, hour: float) -> str:
    """Date and hour of a time since the first load, by the clock of the place."""
    step = int(np.searchsorted(states.now, hour))
    return str(states.local_time[step].astype("datetime64[m]")).replace("T", " ")


def fresh_air_rows(bay: Bay, states: DesignStates, fresh: FreshAir) -> tuple[Size, ...]:
    """Timer and opening of the fresh-air runs, and the greatest hour of CO2."""
    row, had, now = partial(size, "fresh air"), bay.control, fresh.control
    how = "longest rest and least opening that keep CO2 at its limit, hour by hour of the season"
    return (
        row(
            "fresh_air_every",
            "rest between fresh-air runs, CO2 not measured",
            now.fresh_air_every,
            "s",
            how,
            given(("reserve", RESERVE, "1 percent")),
            "crop's CO2 less leaks, well mixed; reserve: " + PRACTICE,
            present=had.fresh_air_every,
        ),
        row(
            "fresh_air_for",
            "length of a fresh-air run",
            now.fresh_air_for,
            "s",
            "shortest fan run",
            (),
            PRACTICE,
            present=had.fresh_air_for,
        ),
        row(
            "fresh_air_opening",
            "door opening of a fresh-air run",
            now.fresh_air_opening,
            "1 percent",
            how + "; fans at their lowest speed",
            given(("lowest speed", bay.fans.minimum_speed, "1 percent")),
            "as above",
            present=had.fresh_air_opening,
        ),
        row(
            "co2_greatest",
            f"greatest CO2 by that timer ({local_hour_text(states, fresh.hour)})",
            fresh.highest,
            "1 ppm",
            "before a run of that hour; supply limits cap the outside air",
            given(("limit", bay.limits.co2, "1 ppm")),
            "10.7 kJ per g of CO2 (glucose)",
        ),
        row(
            "co2_time_above",
            "hours of the season above the limit of CO2",
            3600.0 * fresh.hours_above,
            "s",
            "hours in which the peak passes limits.co2",
            (),
            "as above",
        ),
    )
