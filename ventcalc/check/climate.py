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
from ventcalc.check.record import HEAT_DOUBT, Aside, Check, air_text, check_below
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
        key=f"rise_{state.key}",
        name=f"temperature rise through the pile, {state.name}",
        unit="delta_degC",
        formula="heat of respiration less evaporation over mass flow x heat of the air, steady",
        source="respiration: J. Agric. Sci. (Cambridge), 43 W/t fresh, 9-14 W/t settled; skin: "
        "ASHRAE Refrigeration table 10, from memory; 0.6-0.8 K works well: Bethke; limit: "
        "limits.spread",
        asides=(
            Aside(key="dry_rise", name="with evaporation left out", value=through.dry_spread,
                  unit="delta_degC"),
            Aside(key="respiration_heat", name="heat of respiration",
                  value=state.respiration_heat + 0.0 * through.spread, unit="W/kg"),
        ),
    )  # fmt: skip


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
        key="cool_down",
        name="days to cool to holding, against the planned ramp",
        unit="s days",
        formula="12 h a day of supply air limits.supply_difference below the bottom of the pile, "
        "its top limits.spread warmer",
        source="energy balance; 12 h and 20 %: common practice, no source",
    )


def _humidity(bay: Bay, state: State, through: Passage, made: Supply, words: str) -> Check:
    where = air_text(state.outside_temperature, state.outside_relative_humidity)
    return check_below(
        made.water,
        capacity_of(bay.humidifier),
        0.2 * made.water,
        key=f"humidity_{state.key}",
        name=f"water to evaporate, {words}, against the humidifier",
        unit="kg/s",
        formula="to limits.plenum_humidity at full airflow, return and outside air mixed by "
        f"enthalpy; outside assumed {where}",
        source="balances of energy and water; outside state: common practice, no source",
        asides=(
            Aside(key="fresh_fraction", name="outside air in the supply",
                  value=made.fresh_fraction, unit="1 percent"),
            Aside(key="water_from_crop", name="water that the crop gives off",
                  value=through.water, unit="kg/s"),
        ),
        note="" if bay.humidifier else "The bay has no humidifier.",
        by_height=False,
    )  # fmt: skip


def _carbon(bay: Bay, state: State, crop: CropState, system: AirSystem, mass: Any) -> Check:
    given = {"co2": crop.co2_volume_flow, "airflow": system.airflow, "volume": free_air(bay, mass)}
    control = bay.control
    peak = timer_peak(bay, **given)
    return check_below(
        peak,
        bay.limits.co2,
        CARBON_DOUBT * (peak - CO2_OUTSIDE),
        key=f"co2_{state.key}",
        name=f"CO2 by the bay's timer, opening and leaks, {state.name}",
        unit="1 ppm",
        formula=f"highest before a run of {control.fresh_air_for / 60.0:.0f} min after "
        f"{control.fresh_air_every / 60.0:.0f} min of rest, fans at their lowest speed, doors "
        f"{control.fresh_air_opening:.0%} open, air well mixed",
        source="10.7 kJ per g CO2 (glucose); limit: limits.co2; respiration within a quarter: "
        "J. Agric. Sci. (Cambridge)",
        asides=(
            Aside(key="timer_peak", name="CO2 before each run", value=peak, unit="1 ppm"),
            Aside(
                key="purge_time",
                name="hours a day of such runs that keep it at its limit",
                value=DAY * purge_time(bay, **given),
                unit="s",
            ),
        ),
        note="By the timer CO2 passes its limit: mend control.fresh_air_every, fresh_air_for and "
        "fresh_air_opening (ventcalc size proposes them); with a CO2 probe the advice opens by "
        "what it reads, as far as the opening goes."
        if np.any(peak > bay.limits.co2)
        else "",
        by_height=False,
    )
