"""A bay as the formulas of an hour see it: complete, every number at hand, dates of one season."""

from __future__ import annotations

from dataclasses import dataclass

from ventcalc.bay.dates import SeasonDates, season_dates
from ventcalc.bay.description import (
    Bay,
    Control,
    Costs,
    Doors,
    Ducts,
    Envelope,
    Fans,
    Heater,
    Humidifier,
    Limits,
    Lot,
    Pile,
    Refrigeration,
    Schedule,
    Sensors,
    Site,
)
from ventcalc.equipment.plant import CoolingPlant, cooling_plant
from ventcalc.pile.crop import Crop, crop_for

__all__ = ["HourlyBay", "hourly"]


@dataclass(frozen=True, kw_only=True)
class HourlyBay:
    """
    A bay with nothing missing, in one season.

    Its parts are those of ``Bay`` under the same names; equipment that the bay lacks is there
    with no capacity. Policies and formulas read it plainly (``bay.limits.band``), and the same
    source reads it where it is compiled.
    """

    name: str
    use: str
    notes: str
    lots: tuple[Lot, ...]
    ducts: Ducts | None
    site: Site
    pile: Pile
    fans: Fans
    doors: Doors
    envelope: Envelope
    schedule: Schedule
    humidifier: Humidifier
    refrigeration: Refrigeration
    heater: Heater
    limits: Limits
    control: Control
    sensors: Sensors
    costs: Costs
    crop: Crop
    plant: CoolingPlant
    dates: SeasonDates
    mass: float
    """Of the crop loaded. [kg]"""
    loading_temperature: float
    """Mean pulp temperature of the loads, by mass. [°C]"""
    immature_share: float
    """Part of the mass loaded that was immature at harvest. [1]"""


def hourly(bay: Bay | HourlyBay, time: float) -> HourlyBay:
    """A bay for the hours of the season that a time belongs to."""
    if isinstance(bay, HourlyBay):
        return bay
    dates = season_dates(bay.schedule, bay.site.time_zone, time)
    made: dict[float, HourlyBay] = bay.by_season
    found = made.get(dates.fill_start)
    if found is None:
        found = made[dates.fill_start] = _complete(bay, dates)
    return found


def _complete(bay: Bay, dates: SeasonDates) -> HourlyBay:
    """Every part of the bay; what it lacks has no capacity."""
    refrigeration = bay.refrigeration or Refrigeration(capacity=0.0)
    surface = bay.schedule.holding_temperature - refrigeration.coil_temperature_difference
    return HourlyBay(
        name=bay.name,
        use=bay.use,
        notes=bay.notes,
        lots=bay.lots,
        ducts=bay.ducts,
        site=bay.site,
        pile=bay.pile,
        fans=bay.fans,
        doors=bay.doors,
        envelope=bay.envelope,
        schedule=bay.schedule,
        humidifier=bay.humidifier or Humidifier(capacity=0.0, power=0.0),
        refrigeration=refrigeration,
        heater=bay.heater or Heater(capacity=0.0),
        limits=bay.limits,
        control=bay.control,
        sensors=bay.sensors,
        costs=bay.costs,
        crop=crop_for(bay.use),
        plant=cooling_plant(
            refrigeration.refrigerant,
            design_surface_temperature=surface,
            design_outside_temperature=refrigeration.design_outside_temperature,
        ),
        dates=dates,
        mass=bay.mass,
        loading_temperature=bay.loading_temperature,
        immature_share=bay.immature_share,
    )
