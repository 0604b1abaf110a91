"""The bay as the power fails: its state from readings, at rest and with nothing loaded any more."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from ventcalc import air
from ventcalc.advice.freeze_guard import coldest_heard
from ventcalc.advice.readings import Readings
from ventcalc.air.plain import humidity_ratio
from ventcalc.bay.calendar import Calendar, calendar_at, planned_target, told_calendar
from ventcalc.bay.description import Bay
from ventcalc.bay.hourly import HourlyBay, hourly
from ventcalc.errors import BadInput
from ventcalc.pile.crop import curing_rate
from ventcalc.pile.layers import Bed, Layer
from ventcalc.season.bay_state import BayState, bed_of, full_state

__all__ = ["LEAST_SHARE", "Start", "start_of"]

LAYERS = 40
LEAST_SHARE = 0.02
"""Part of the crop, or of the floor with crop, below which a bay counts as empty. [1]"""
USUAL_HUMIDITY = 0.95
"""Of the air over a pile, where no probe says; common practice, no source. [0-1]"""
NEVER = 1e12
"""Seconds after which nobody asks. [s]"""


@dataclass(frozen=True, kw_only=True, eq=False)
class Start:
    """A bay at rest."""

    bay: HourlyBay
    bed: Bed
    state: BayState
    temperatures: tuple[float, ...]
    """Of the layers, from the bottom up. [°C]"""
    target: float
    """Pulp temperature wanted by the calendar. [°C]"""
    colder_by: float
    """Coldest probe below the coldest layer. [K]"""
    time: float
    """UTC since 1970-01-01. [s]"""
    notes: tuple[str, ...]

    def layers(self) -> list[Layer]:
        """Layers to be changed in place."""
        return [Layer(temperature) for temperature in self.temperatures]


def start_of(bay: Bay, readings: Readings) -> Start:
    """
    The state of a bay, for as long as nothing runs in it.

    A bay that is part full is described as a shorter pile of full height under the whole roof and
    between all walls: their cold falls on the crop that is there.
    """
    if math.isnan(readings.pulp_mean):
        raise BadInput(
            "readings: no pulp temperature; give pulp_temps_c, bottom to top, measured with a "
            "probe thermometer if the power is off"
        )
    whole = hourly(bay, readings.time)
    when = calendar_at(whole, readings.time)
    if readings.stage_told >= 0:
        when = told_calendar(when, readings.stage_told)
    share, notes = _share(readings, when)
    pressure = readings.pressure
    if math.isnan(pressure):
        pressure = float(air.standard_pressure(bay.site.altitude))
    rest = _at_rest(bay, readings.time, when, share)
    temperatures = _profile(readings)
    state, more = _state(rest, readings, temperatures[-1], when, pressure)
    return Start(
        bay=rest,
        bed=bed_of(rest, pressure, LAYERS),
        state=state,
        temperatures=temperatures,
        target=planned_target(whole, when),
        colder_by=max(min(temperatures) - coldest_heard(readings), 0.0),
        time=readings.time,
        notes=(*notes, *more),
    )


def _share(readings: Readings, when: Calendar) -> tuple[float, list[str]]:
    """Part of the crop that is in the bay."""
    if not math.isnan(readings.loaded):
        share, told = readings.loaded, True
    else:
        left = 1.0 - (when.now - when.unloading) / (when.emptied - when.unloading)
        share, told = min(when.now / when.filled, max(left, 0.0), 1.0), False
    if share < LEAST_SHARE:
        raise BadInput(
            "readings: the bay is empty by the calendar; give loaded_t or stage if it is not"
            if not told
            else "readings: loaded_t says that the bay is empty; there is nothing to protect"
        )
    if share < 1.0 and not told:
        return share, [f"By the calendar {share:.0%} of the crop is in the bay; give loaded_t."]
    return share, []


def _at_rest(bay: Bay, time: float, when: Calendar, share: float) -> HourlyBay:
    """The bay with what is in it, neither filled nor emptied from now on."""
    pile, shell = bay.pile, bay.envelope
    empty = (1.0 - share) * pile.length * pile.width * pile.height
    described = replace(
        bay,
        pile=replace(pile, length=share * pile.length),
        lots=tuple(replace(lot, mass=share * lot.mass) for lot in bay.lots),
        envelope=replace(shell, headspace_volume=shell.headspace_volume + empty),
        schedule=replace(bay.schedule, fill_days=max(min(when.filled, when.now), 1.0)),
    )
    rest = hourly(described, time)
    dates = replace(
        rest.dates,
        fill_start=time - max(when.now, 1.0),
        warm_up_start=time + NEVER,
        unloading_start=time + 2.0 * NEVER,
    )
    return replace(rest, dates=dates)


def _profile(readings: Readings) -> tuple[float, ...]:
    """Layers through bottom, middle and top, their mean that of the probes."""
    bottom, top, mean = readings.pulp_bottom, readings.pulp_top, readings.pulp_mean
    bottom = mean if math.isnan(bottom) else bottom
    top = mean if math.isnan(top) else top
    middle = 2.0 * mean - 0.5 * (bottom + top)
    places = [(k + 0.5) / LAYERS for k in range(LAYERS)]
    return tuple(
        bottom + 2.0 * x * (middle - bottom)
        if x < 0.5
        else middle + (2.0 * x - 1.0) * (top - middle)
        for x in places
    )


def _state(
    bay: HourlyBay, readings: Readings, top: float, when: Calendar, pressure: float
) -> tuple[BayState, list[str]]:
    """Air of the bay and healing of its crop."""
    notes = ["Somebody is told to be in the bay: out first."] if readings.people_inside else []
    warm, relative, co2 = (
        readings.return_temperature,
        readings.return_relative_humidity,
        readings.co2,
    )
    if math.isnan(warm):
        warm = top
        notes.append("Air over the pile is not measured: taken as warm as the top of the pile.")
    if math.isnan(relative):
        relative = USUAL_HUMIDITY
        notes.append(f"Humidity over the pile is not measured: {relative:.0%} taken.")
    if math.isnan(co2):
        co2 = bay.limits.co2
        notes.append("CO2 is not measured: taken as if it had just reached the bay's limit.")
    if readings.co2_at_least:
        notes.append("CO2 stands at the top of its probe's range and may be more: trust no hours.")
    moist = humidity_ratio(warm, relative, pressure)
    healed = min(when.now, when.healed) * float(
        curing_rate(bay.schedule.healing_temperature, bay.crop)
    )
    return full_state(warm, moist, healed, co2), notes
