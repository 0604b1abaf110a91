"""Whether the air that a pile gets keeps it even, cools it in time, damp and fresh."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from ventcalc.bay.description import Bay, capacity_of
from ventcalc.check.air_system import AirSystem
from ventcalc.check.airflow import airflow_doubt
from ventcalc.check.crop_state import CropState
from ventcalc.check.pile_carbon import free_air, purge_time, timer_peak
from ventcalc.check.pile_heat import Passage, State, Supply, cooling_rate
from ventcalc.check.record import HEAT_DOUBT, Check, air_text, check_below, words
from ventcalc.pile.crop import CO2_OUTSIDE

__all__ = ["climate_checks"]

DAY = 86400.0
USABLE_HOURS = 12.0
"""Hours a day with air cold enough for cooling (common practice, no source). [h]"""
CARBON_DOUBT = HEAT_DOUBT
"""Of the CO2 above that outside, as of the heat it comes with. [1]"""


def climate_checks(
    bay: Bay,
    system: AirSystem,
    states: Sequence[State],
    crops: Mapping[str, CropState],
    passages: Sequence[Passage],
    supplies: Sequence[Supply],
    mass: Any,
    pressure: float,
) -> tuple[Check, ...]:
    """Checks of temperature, humidity and CO2, in the order in which they are read."""
    fill, healing, holding = states
    doubt = float(np.hypot(HEAT_DOUBT, airflow_doubt(system)))
    rises = (
        _rise(bay, state, through, doubt) for state, through in zip(states, passages, strict=True)
    )
    return (
        *rises,
        _cool_down(bay, system, mass, pressure),
        _humidity(bay, fill, passages[0], supplies[0], "cooling the loads"),
        _humidity(bay, holding, passages[2], supplies[2], "winter"),
        _carbon(bay, fill, crops["filling"], system, mass),
        _carbon(bay, healing, crops["healing"], system, mass),
        _carbon(bay, holding, crops["holding"], system, mass),
    )


def _rise(bay: Bay, state: State, through: Passage, doubt: float) -> Check:
    return check_below(
        through.spread,
        bay.limits.spread,
        doubt * through.spread,
        **words("rise_{stage}", stage=state.key, told=state.name),
        asides=(
            ("dry_rise", "with evaporation left out", through.dry_spread, "delta_degC"),
            (
                "respiration_heat",
                "heat of respiration",
                state.respiration_heat + 0.0 * through.spread,
                "W/kg",
            ),
        ),
    )


def _cool_down(bay: Bay, system: AirSystem, mass: Any, pressure: float) -> Check:
    plan = bay.schedule
    fall = plan.healing_temperature - plan.holding_temperature
    rate = cooling_rate(bay, airflow=system.airflow, mass=mass, pressure=pressure)
    share = USABLE_HOURS / 24.0
    # A pile that the air cannot cool at all takes for ever.
    days = np.where(rate > 0.0, fall / np.where(rate > 0.0, rate * share, 1.0), np.inf)
    days = np.where(np.isnan(rate), np.nan, days)
    return check_below(
        np.minimum(days, 1e3 * DAY),
        fall / plan.ramp,
        0.2 * np.minimum(days, 1e3 * DAY),
        **words("cool_down"),
    )


def _humidity(bay: Bay, state: State, through: Passage, made: Supply, what: str) -> Check:
    where = air_text(state.outside_temperature, state.outside_relative_humidity)
    return check_below(
        made.water,
        capacity_of(bay.humidifier),
        0.2 * made.water,
        **words("humidity_{stage}", stage=state.key, what=what, outside=where),
        asides=(
            ("fresh_fraction", "outside air in the supply", made.fresh_fraction, "1 percent"),
            ("water_from_crop", "water that the crop gives off", through.water, "kg/s"),
        ),
        note="" if bay.humidifier else "The bay has no humidifier.",
        by_height=False,
    )


def _carbon(bay: Bay, state: State, crop: CropState, system: AirSystem, mass: Any) -> Check:
    given = {"co2": crop.co2_volume_flow, "airflow": system.airflow, "volume": free_air(bay, mass)}
    control = bay.control
    peak = timer_peak(bay, **given)
    return check_below(
        peak,
        bay.limits.co2,
        CARBON_DOUBT * (peak - CO2_OUTSIDE),
        **words(
            "co2_{stage}",
            stage=state.key,
            told=state.name,
            run=control.fresh_air_for / 60.0,
            rest=control.fresh_air_every / 60.0,
            opening=control.fresh_air_opening,
        ),
        asides=(
            ("timer_peak", "CO2 before each run", peak, "1 ppm"),
            (
                "purge_time",
                "hours a day of such runs that keep it at its limit",
                DAY * purge_time(bay, **given),
                "s",
            ),
        ),
        note="By the timer CO2 passes its limit: mend control.fresh_air_every, fresh_air_for and "
        "fresh_air_opening (ventcalc size proposes them); with a CO2 probe the advice opens by "
        "what it reads, as far as the opening goes."
        if np.any(peak > bay.limits.co2)
        else "",
        by_height=False,
    )
