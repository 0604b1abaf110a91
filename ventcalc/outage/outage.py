"""Hours to each limit with fans and plant at rest, by the season's own model of the bay."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from ventcalc import air
from ventcalc.advice.policies import Positions
from ventcalc.advice.readings import Readings
from ventcalc.air.plain import air_density
from ventcalc.bay.description import Bay
from ventcalc.bay.hourly import HourlyBay
from ventcalc.outage.limits import Limit, Trace, hours_to, limits_of
from ventcalc.outage.places import doorway_flow, draught_constant, wall_share
from ventcalc.outage.start import Start, start_of
from ventcalc.pile.air_path import heat_transfer_coefficient, natural_velocity
from ventcalc.pile.layers import Layer, greatest, layer_mean, least
from ventcalc.season.bay_model import step_bay
from ventcalc.season.bay_state import BayState, StepRecord
from ventcalc.season.faults import NO_FAULT
from ventcalc.season.headspace import free_air, headspace
from ventcalc.season.surroundings import Ground, Outside

__all__ = ["HOURS", "Case", "Outage", "outage_of"]

HOUR = 3600.0
HOURS = 14 * 24
"""How far one looks ahead. [h]"""
STEPS = (60.0,) * 60 + (900.0,) * (4 * (HOURS - 1))
"""Fine at first: a tuber in the doorway freezes in minutes, an open door changes the air. [s]"""
WIDEST = 60.0
"""Beyond what air inside ever differs from that outside. [K]"""
STILL = 0.2
"""Least air past a tuber in the doorway; common practice, no source. [m/s]"""
REST = Positions(
    fan_speed=0.0, door_opening=0.0, humidity_wanted=0.0, refrigeration=0.0, heater=0.0, action=0
)


@dataclass(frozen=True, kw_only=True, eq=False)
class Case:
    """Doors closed, or the doorway open."""

    open_door: bool
    hours: tuple[float, ...]
    """To each limit; 0 where it is passed already, NaN where not in the time looked at. [h]"""
    traces: tuple[Trace, ...]
    ended: float
    """Where the crop froze or the model ended; NaN for neither. [h]"""


@dataclass(frozen=True, kw_only=True, eq=False)
class Outage:
    """What comes of an outage, with the doors closed and with one open."""

    start: Start
    limits: tuple[Limit, ...]
    closed: Case
    open: Case
    outside_temperature: tuple[float, float, float]
    """Air outside: at first, coldest, warmest. [°C]"""
    doorway: tuple[float, float]
    """Width and height. [m]"""
    notes: tuple[str, ...]


def outage_of(
    bay: Bay,
    readings: Readings,
    hours: Sequence[Outside],
    *,
    doorway: tuple[float, float],
    ground: Ground | None = None,
) -> Outage:
    """Hours to each limit from the present state, with nothing running."""
    start = start_of(bay, readings)
    limits = limits_of(start)
    floor = Ground() if ground is None else ground
    cases = [_case(start, limits, hours, floor, door) for door in (None, doorway)]
    outside = [hour.temperature for hour in hours]
    return Outage(
        start=start,
        limits=limits,
        closed=cases[0],
        open=cases[1],
        outside_temperature=(outside[0], min(outside), max(outside)),
        doorway=doorway,
        notes=start.notes,
    )


def _case(
    start: Start,
    limits: Sequence[Limit],
    hours: Sequence[Outside],
    ground: Ground,
    doorway: tuple[float, float] | None,
) -> Case:
    """Step the bay on until the time looked at is over or the crop is lost."""
    layers, state, record = start.layers(), start.state, StepRecord()
    wall, tuber = _wall(start), _draught(start)
    traces = [_now(start, layers, doorway is not None)]
    ended, injured, time = math.nan, start.bay.crop.injury_temperature, 0.0
    for step in STEPS:
        outside = hours[min(int(time // HOUR), len(hours) - 1)]
        outside = outside._replace(time=start.time + time)
        bay, flow = _opened(start, layers, state, outside, doorway)
        state, fault, _ = step_bay(
            bay, start.bed, ground, layers, state, REST, outside, step, record
        )
        if fault != NO_FAULT or layer_mean(layers) < injured:
            ended = time / HOUR
            break
        time += step
        last = traces[-1]
        beside = (
            wall(step, outside.temperature),
            tuber(step, flow, outside.temperature, last.draught_pulp, doorway),
        )
        dripped = last.dripped + record.drip * step / bay.envelope.ceiling_area
        traces.append(_after(start, layers, state, record, time, flow, beside, dripped))
    return Case(
        open_door=doorway is not None,
        hours=hours_to(limits, traces),
        traces=tuple(traces),
        ended=ended,
    )


def _after(
    start: Start,
    layers: list[Layer],
    state: BayState,
    record: StepRecord,
    time: float,
    flow: float,
    beside: tuple[float, float],
    dripped: float,
) -> Trace:
    """Where a step has led, beside the model at a wall and in the doorway too."""
    dew_point = air.dew_point(state.return_humidity_ratio, start.bed.pressure)
    return Trace(
        hours=time / HOUR,
        pulp_mean=layer_mean(layers),
        pulp_coldest=least(layers) - start.colder_by,
        warmest_pulp=greatest(layers),
        wall_pulp=beside[0],
        draught_pulp=beside[1],
        co2=state.co2,
        ceiling_margin=record.ceiling_temperature - float(dew_point),
        film=record.wettest,
        dripped=dripped,
        airflow=flow,
    )


def _now(start: Start, layers: list[Layer], open_door: bool) -> Trace:
    coldest = least(layers) - start.colder_by
    return Trace(
        hours=0.0,
        pulp_mean=layer_mean(layers),
        pulp_coldest=coldest,
        warmest_pulp=greatest(layers),
        wall_pulp=coldest,
        draught_pulp=coldest if open_door else math.nan,
        co2=start.state.co2,
        ceiling_margin=math.inf,
        film=0.0,
        dripped=0.0,
        airflow=0.0,
    )


def _opened(
    start: Start,
    layers: Sequence[Layer],
    state: BayState,
    outside: Outside,
    doorway: tuple[float, float] | None,
) -> tuple[HourlyBay, float]:
    """
    The bay with its leaks as great as what passes the open doorway, and that airflow [m³/s].

    The air inside is as warm as the flow leaves it: both are sought together.
    """
    bay, bed = start.bay, start.bed
    density = air_density(bed.pressure)
    inside = free_air(bay, bed, 1.0, state.return_temperature, state.return_humidity_ratio)
    leaks = bay.envelope.leakage * inside / density
    if doorway is None:
        return bay, leaks
    width, height = doorway
    least_flow = 0.0
    most_flow = doorway_flow(width, height, outside.temperature + WIDEST, outside.temperature)
    for _ in range(25):
        flow = 0.5 * (least_flow + most_flow)
        warm = _air_inside(start, layers, state, outside, (flow + leaks) * density)
        if doorway_flow(width, height, warm, outside.temperature) > flow:
            least_flow = flow
        else:
            most_flow = flow
    total = flow + leaks
    shell = replace(bay.envelope, leakage=total * density / inside)
    return replace(bay, envelope=shell), total


def _air_inside(
    start: Start, layers: Sequence[Layer], state: BayState, outside: Outside, leak: float
) -> float:
    """Air over the pile when so much dry air [kg/s] comes in from outside. [°C]"""
    bay, bed, shell = start.bay, start.bed, start.bay.envelope
    mean = layer_mean(layers)
    creeps = natural_velocity(bed, mean, state.return_temperature)
    roof = outside.temperature + shell.roof_absorptance * outside.solar_rise
    over = headspace(
        bay,
        bed,
        creeps * air_density(bed.pressure) * bay.pile.floor_area,
        leak,
        state.exit_temperature,
        state.exit_humidity_ratio,
        layers[-1].temperature,
        mean,
        state.curing,
        1.0,
        outside,
        roof - shell.roof_emittance * outside.sky_drop,
    )
    return over.temperature


def _wall(start: Start) -> Callable[[float, float], float]:
    """
    Crop against the worst joint of an outer wall, step by step.

    Every change outside goes its own way (Duhamel); heat of the crop itself is left out.
    """
    shell, bed = start.bay.envelope, start.bed
    began = min(start.temperatures) - start.colder_by
    changes: list[tuple[float, float]] = []
    last, time = began, 0.0

    def move(step: float, outside: float) -> float:
        nonlocal last, time
        if outside != last:
            changes.append((time, outside - last))
            last = outside
        time += step
        return began + sum(
            change * wall_share(
                shell.wall_u * shell.bridge_factor, bed.conductivity, bed.bulk_density,
                bed.crop.specific_heat,
                time - since,
            )
            for since, change in changes
        )  # fmt: skip

    return move


def _draught(
    start: Start,
) -> Callable[[float, float, float, float, tuple[float, float] | None], float]:
    """A tuber in the open doorway, step by step; the air goes in through its lower half."""
    bed = start.bed
    inner = bed.tuber_diameter / (10.0 * bed.crop.tuber_conductivity)

    def move(
        step: float, flow: float, outside: float, before: float, doorway: tuple[float, float] | None
    ) -> float:
        if doorway is None:
            return math.nan
        velocity = max(flow / (0.5 * doorway[0] * doorway[1]), STILL)
        film = heat_transfer_coefficient(velocity, bed.tuber_diameter, air_density(bed.pressure))
        constant = draught_constant(
            bed.tuber_diameter,
            bed.crop.tuber_density,
            bed.crop.specific_heat,
            1.0 / (1.0 / film + inner),
        )
        return outside + (before - outside) * math.exp(-step / constant)

    return move
