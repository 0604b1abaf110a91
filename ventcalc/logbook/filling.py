"""How fast a bay fills, and what the fill asks of fans and refrigeration day by day."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from zoneinfo import ZoneInfo

from ventcalc import air
from ventcalc.bay.description import Bay, capacity_of
from ventcalc.check.air_system import air_system
from ventcalc.check.cold_load import RUNNING_SHARE
from ventcalc.check.pile_heat import heat_taken
from ventcalc.equipment.refrigeration import field_heat
from ventcalc.errors import BadInput
from ventcalc.logbook.folder import Logbook
from ventcalc.pile.crop import crop_for, respiration_heat

__all__ = ["FillDay", "FillPlan", "Filling", "filling_of", "plan_fill"]

DAY = 86400.0
LAST_DAYS = 3
"""Days with loads whose mean tells how fast it goes on (common practice, no source)."""


@dataclass(frozen=True, kw_only=True, slots=True)
class FillDay:
    """One day with loads; heat is the mean of the day."""

    day: date
    loads: int
    mass: float
    """Crop that came. [kg]"""
    content: float
    """Crop in the bay at its end. [kg]"""
    pulp_mean: float
    """Of the loads, by mass; NaN where none was measured. [°C]"""
    field_heat: float
    """To bring the day's loads to the temperature of wound healing; negative while cold. [W]"""
    respiration: float
    """Of all that is in. [W]"""
    fans: float
    """Electrical, at full speed. [W]"""
    fan_share: float
    """Hours at full speed that it takes with air as much colder as the bay allows, of 24. [1]"""
    refrigeration_share: float
    """Heat, fans included, over what the plant takes out in a day; NaN without one. [1]"""

    @property
    def heat(self) -> float:
        """To be taken out. [W]"""
        return max(self.field_heat, 0.0) + self.respiration


@dataclass(frozen=True, kw_only=True, slots=True)
class Filling:
    """The fill of a bay so far."""

    days: tuple[FillDay, ...]
    content: float
    """Crop that came in, and was not taken out again. [kg]"""
    full_mass: float
    """Of a full bay. [kg]"""
    rate: float
    """Mean of the last days with loads; NaN before the first. [kg/day]"""
    days_left: float
    """To fill the rest at that rate. [days]"""
    planned_days: float
    """By the bay file, from first to last load. [days]"""

    @property
    def share(self) -> float:
        """Content over that of a full bay. [1]"""
        return self.content / self.full_mass


def filling_of(bay: Bay, book: Logbook) -> Filling:
    """
    Sum up the loads of a season by day.

    The day's loads are brought to wound healing within a day. Fans: full speed, air
    ``limits.supply_difference`` colder than the pulp, leaving as warm as it with the water of open
    skin. Walls, ceiling, leaks and fresh air come on top.
    """
    zone = ZoneInfo(bay.site.time_zone)
    by_day: defaultdict[date, list[tuple[float, float | None, str]]] = defaultdict(list)
    kinds = {entry.lot: entry.maturity for entry in book.entries("lots") if entry.maturity}
    maturity = {lot.name: lot.maturity for lot in bay.lots} | kinds
    for line in book.lines("loads"):
        load = line.entry
        day = datetime.fromtimestamp(line.time, zone).date()
        by_day[day].append((load.net, load.pulp, maturity.get(load.lot, "mature")))
    days = _days(bay, dict(sorted(by_day.items())))
    out = sum(entry.net for entry in book.entries("weights_out"))
    moved = sum(entry.change for entry in book.entries("moves"))
    content = (days[-1].content if days else 0.0) + moved - out
    last = days[-LAST_DAYS:]
    rate = sum(day.mass for day in last) / len(last) if last else float("nan")
    return Filling(
        days=tuple(days),
        content=content,
        full_mass=bay.pile.capacity,
        rate=rate,
        days_left=max(bay.pile.capacity - content, 0.0) / rate if last else float("nan"),
        planned_days=bay.schedule.fill_days / DAY,
    )


def _days(bay: Bay, by_day: Mapping[date, list[tuple[float, float | None, str]]]) -> list[FillDay]:
    crop, healing = crop_for(bay.use), bay.schedule.healing_temperature
    pressure = float(air.standard_pressure(bay.site.altitude))
    system = air_system(bay, bay.pile.height, pressure=pressure, temperature=healing)
    plant = float(capacity_of(bay.refrigeration)) * RUNNING_SHARE
    batches: list[tuple[date, str, float]] = []
    days: list[FillDay] = []
    for day, loads in by_day.items():
        mass = sum(net for net, _, _ in loads)
        told = [(net, pulp) for net, pulp, _ in loads if pulp is not None]
        weighed = sum(net for net, _ in told)
        mean = sum(net * pulp for net, pulp in told) / weighed if weighed else float("nan")
        for ripe in ("mature", "immature"):
            batches.append((day, ripe, sum(net for net, _, kind in loads if kind == ripe)))
        content = (days[-1].content if days else 0.0) + mass
        warm = mean if mean == mean else healing
        field = float(
            field_heat(
                mass=mass,
                specific_heat=crop.specific_heat,
                temperature_drop=warm - healing,
                time=DAY,
            )
        )
        own = sum(
            batch * float(respiration_heat(healing, DAY * ((day - dug).days + 0.5), crop, kind))
            for dug, kind, batch in batches
            if batch > 0.0
        )
        heat = max(field, 0.0) + own
        by_air = content * float(
            heat_taken(
                bay,
                top=healing,
                cold=healing - bay.limits.supply_difference,
                curing=0.0,
                airflow=system.airflow,
                mass=content,
                pressure=pressure,
            )
        )
        fans = float(system.electrical_power)
        days.append(
            FillDay(
                day=day,
                loads=len(loads),
                mass=mass,
                content=content,
                pulp_mean=mean,
                field_heat=field,
                respiration=own,
                fans=fans,
                fan_share=heat / max(by_air - fans, 1e-9) if by_air > fans else float("inf"),
                refrigeration_share=(heat + fans) / plant if plant > 0.0 else float("nan"),
            )
        )
    return days


# --- before the harvest ------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True, slots=True)
class FillPlan:
    """How fast harvester, trucks and piler can fill a bay."""

    rate: float
    """Crop that reaches the pile while they work. [kg/s]"""
    binds: str
    """What sets the rate: ``harvester``, ``trucks`` or ``piler``."""
    loads_per_day: float
    """[1/day]"""
    days: float
    """To fill the bay. [days]"""
    enough_trucks: int
    """So many, and trucks no longer set the rate."""


def plan_fill(
    mass: float,
    *,
    trucks: int,
    truck_load: float,
    harvest_time: float,
    way_time: float,
    unload_time: float,
    working_time: float,
    harvesters: int = 1,
) -> FillPlan:
    """
    Plan the fill of a bay before the harvest: the slowest of harvesters, trucks and piler sets the
    rate. [kg, s]
    """
    for name, value in (
        ("trucks", trucks),
        ("truck_load", truck_load),
        ("harvest_time", harvest_time),
        ("unload_time", unload_time),
        ("working_time", working_time),
        ("harvesters", harvesters),
    ):
        if not value > 0.0:
            raise BadInput(f"{name}: must be above zero")
    trip = harvest_time + 2.0 * way_time + unload_time
    per_second = {
        "harvester": harvesters / harvest_time,
        "trucks": trucks / trip,
        "piler": 1.0 / unload_time,
    }
    binds = min(per_second, key=lambda name: per_second[name])
    each_day = per_second[binds] * working_time
    most = min(per_second["harvester"], per_second["piler"])
    return FillPlan(
        rate=per_second[binds] * truck_load,
        binds=binds,
        loads_per_day=each_day,
        days=mass / (each_day * truck_load),
        enough_trucks=int(-(-trip * most // 1)),
    )
