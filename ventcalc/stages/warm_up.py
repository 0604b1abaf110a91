"""How long it takes to re-warm a pile: by its heat balance, and by the model with real weather."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np

from ventcalc import air
from ventcalc.air.plain import AIR_HEAT
from ventcalc.bay.dates import season_dates
from ventcalc.bay.description import Bay, capacity_of
from ventcalc.building.envelope import conductance, heat_gain
from ventcalc.check.air_system import air_system
from ventcalc.pile.bed import BedState
from ventcalc.pile.crop import crop_for, respiration_heat
from ventcalc.season.bay_state import full_state
from ventcalc.season.kpi import WET_FILM
from ventcalc.season.plan import SeasonState, weather_of_season
from ventcalc.season.run import run_season
from ventcalc.weather import Weather

__all__ = ["ModelRun", "WarmUp", "model_run", "warm_up"]

DAY = 86400.0
SETTLED = 150 * DAY
"""Age of a crop in spring: respiration has long settled. [s]"""
LONGEST = 75
"""Lead beyond which the model gives up. [days]"""
STRETCH = (1.1, 2.5)
"""Least and most of the next lead that the model tries, over the last. [1]"""


@dataclass(frozen=True, kw_only=True, slots=True)
class WarmUp:
    """Heat that re-warming takes, and what gives it."""

    heat: float
    """To warm the crop. [J]"""
    fans: float
    """Electrical, at full speed: all of it ends as heat in the bay. [W]"""
    heater: float
    """[W]"""
    walls: float
    """Through walls and ceiling, in; negative out. [W]"""
    respiration: float
    """Of the crop; sprouting not counted. [W]"""
    air_heat: float
    """Most that the air may carry: as much warmer than the coldest pulp as the bay allows. [W]"""
    ramp: float
    """Of the pulp, by the slowest of the three. [K/s]"""
    binds: str
    """What sets it: ``heat``, ``air`` or ``ramp``, the gentle rate asked for."""
    lead_time: float
    """[s]"""


def warm_up(
    bay: Bay, mass: float, *, pulp: float, final: float, outside_temperature: float, ramp: float
) -> WarmUp:
    """
    Re-warm a pile by its own heat balance.

    Fans at full speed day and night with doors shut; what they, heater and walls give reaches the
    pile in air at most ``limits.warm_supply_difference`` warmer than the coldest pulp. Respiration
    warms the pile from inside. Warm outside air is not counted.
    """
    crop, shell = crop_for(bay.use), bay.envelope
    middle = 0.5 * (pulp + final)
    pressure = float(air.standard_pressure(bay.site.altitude))
    system = air_system(bay, bay.pile.height, pressure=pressure, temperature=middle)
    loss = conductance(shell.wall_area, shell.wall_u) + conductance(
        shell.ceiling_area, shell.ceiling_u
    )
    fans, heater = float(system.electrical_power), float(capacity_of(bay.heater))
    walls = float(heat_gain(loss, outside_temperature, middle))
    breath = mass * float(respiration_heat(middle, SETTLED, crop, bay.immature_share))
    carried = system.density * AIR_HEAT * float(system.airflow) * bay.limits.warm_supply_difference
    to_pile = mass * crop.specific_heat
    rates = {
        "heat": (fans + heater + walls + breath) / to_pile,
        "air": (carried + breath) / to_pile,
        "ramp": ramp,
    }
    binds = min(rates, key=lambda name: rates[name])
    gap = max(final - pulp, 0.0)
    lead = 0.0 if gap == 0.0 else gap / rates[binds] if rates[binds] > 0.0 else math.inf
    return WarmUp(
        heat=to_pile * gap,
        fans=fans,
        heater=heater,
        walls=walls,
        respiration=breath,
        air_heat=carried,
        ramp=rates[binds],
        binds=binds,
        lead_time=lead,
    )


@dataclass(frozen=True, kw_only=True, slots=True)
class ModelRun:
    """What the pile model says of a lead time, hour by hour under the bay's own advice."""

    lead_time: float
    """[s]"""
    pulp_mean: float
    """On the day of the first truck. [°C]"""
    pulp_coldest: float
    """Then. [°C]"""
    wet_time: float
    """With free water on some layer of tubers. [s]"""
    energy: float
    """Electricity and heater. [J]"""
    mass_loss: float
    """Of the crop's mass, while it warms. [1]"""
    arrived: bool
    """Whether the mean pulp came within the bay's band of what is wanted."""


def model_run(
    bay: Bay, weather: Weather, *, pulp: float, final: float, day: date, lead_time: float
) -> ModelRun:
    """
    Run the pile model from a cold, even, healed pile to the first truck, with the shortest lead [s]
    that arrives, or the longest tried.
    """
    days = max(math.ceil(lead_time / DAY - 1e-9), 2)
    while True:
        found = _once(bay, weather, pulp, final, day, days)
        if found.arrived or days >= LONGEST:
            return found
        pace = (final - pulp) / max(found.pulp_mean - pulp, 1e-3)
        days = min(math.ceil(days * min(max(pace, STRETCH[0]), STRETCH[1])), LONGEST)


def _once(bay: Bay, weather: Weather, pulp: float, final: float, day: date, days: int) -> ModelRun:
    plan = replace(
        bay.schedule,
        holding_temperature=pulp,
        warm_up_temperature=final,
        warm_up_start=_month_day(day - timedelta(days=days)),
        unloading_start=_month_day(day),
        # Whatever the bay file's dates: a settled crop, and a season that ends after this day.
        fill_start=_month_day(day - timedelta(days=days) - timedelta(seconds=SETTLED)),
        unloading_days=DAY,
    )
    moved = replace(bay, schedule=plan)
    whole = weather_of_season(plan, weather)
    first = float(whole.time[0].astype("datetime64[s]").astype(np.int64))
    dates = season_dates(plan, bay.site.time_zone, first + 5 * DAY)
    pressure = float(np.mean(whole.pressure))
    season = run_season(
        moved,
        weather,
        start=_cold_pile(moved, pulp, dates.warm_up_start, pressure),
        until=np.datetime64(int(dates.unloading_start), "s"),
    )
    records = season.records
    limit = final - bay.limits.band
    powers = sum(records[name] for name in ("fan_power", "coil_power", "heater_power"))
    step = whole.step
    return ModelRun(
        lead_time=days * DAY,
        pulp_mean=float(np.mean(season.pulp[-1])),
        pulp_coldest=float(np.min(season.pulp[-1])),
        wet_time=float(np.sum(records["wettest"] > WET_FILM)) * step,
        energy=float(np.sum(powers)) * step,
        mass_loss=float(records["water_loss"][-1] + records["dry_matter_loss"][-1]),
        arrived=bool(np.mean(season.pulp[-1]) >= limit),
    )


def _month_day(day: date) -> str:
    """As a bay file writes it; the weather's year may have no 29 February."""
    return "02-28" if (day.month, day.day) == (2, 29) else f"{day:%m-%d}"


def _cold_pile(bay: Bay, pulp: float, time: float, pressure: float) -> SeasonState:
    """A full, even pile at rest, its skin healed as planned, with nothing lost yet."""
    layers = 40
    plan = bay.schedule
    moist = float(air.humidity_ratio(pulp, 0.95, pressure))
    healed = plan.healing_days + plan.fill_days
    return SeasonState(
        time=time,
        bay=full_state(pulp, moist, healed),
        bed=BedState(
            temperature=np.full(layers, pulp),
            film=np.zeros(layers),
            source=np.zeros(layers),
            water_loss=np.zeros(layers),
            dry_matter_loss=np.zeros(layers),
            curing=healed,
        ),
        memory=None,
    )
