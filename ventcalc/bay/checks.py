"""Does the description of a bay hold together? Contradictions, and remarks on practice."""

from __future__ import annotations

from collections.abc import Callable, Set
from dataclasses import fields
from datetime import date, timedelta

from ventcalc.bay.description import Bay, Fans, Schedule
from ventcalc.bay.geometry_checks import GEOMETRY_PROBLEMS, alike, geometry_notes
from ventcalc.equipment.fan_curve import FanCurve
from ventcalc.units import both

__all__ = ["bay_notes", "contradictions"]

_DAY = 86400.0
_LB_PER_FT3 = 0.45359237 / 0.3048**3  # [kg/m³]
_CFM_PER_TON = 0.3048**3 / 60 / (2000 * 0.45359237)  # [m³/(s kg)]

FREEZING_POINT = -0.6
"""Highest temperature at which tubers freeze (engineering tables of foods, 78 % water). [°C]"""

_HOLDING = {
    "seed": (34, 38),
    "table": (36, 40),
    "fries": (44, 48),
    "chips": (50, 55),
}
"""Holding bands by use, Univ. of Nebraska CropWatch. [°F]"""


# --- contradictions ----------------------------------------------------------------------


def contradictions(bay: Bay, broken: Set[str] = frozenset()) -> tuple[str, ...]:
    """
    Find what cannot be true of one bay at once, or would ruin the crop.

    Tables that could not be read are ``broken``: what needs them is left out.
    """
    return tuple(
        problem
        for tables, find in _CONTRADICTIONS
        if broken.isdisjoint(tables)
        for problem in find(bay)
    )


def _fan_curve(fans: Fans) -> list[str]:
    flow, static = fans.curve_airflow, fans.curve_static_pressure
    if flow is None and static is None:
        return []
    if flow is None or static is None or len(flow) != len(static):
        counts = [0 if values is None else len(values) for values in (flow, static)]
        return [
            "fans.curve_airflow and fans.curve_static_pressure: must have as many values each "
            f"({counts[0]} and {counts[1]}); give one pressure for each airflow"
        ]
    for i in range(1, len(flow)):
        if flow[i] <= flow[i - 1]:
            return [
                f"fans.curve_airflow: value {i + 1}, {both(flow[i], 'm3/s')}, does not exceed "
                "the one before; sort the points by airflow"
            ]
        if static[i] > static[i - 1]:
            return [
                f"fans.curve_static_pressure: rises from {both(static[i - 1], 'Pa')} to "
                f"{both(static[i], 'Pa')} at value {i + 1}; a fan's pressure falls as its air "
                "grows: mend the points, or begin the curve right of the stall"
            ]
    return []


def _temperatures(bay: Bay) -> list[str]:
    schedule, limits = bay.schedule, bay.limits
    holding = schedule.holding_temperature
    problems = []
    if limits.plenum_floor >= holding:
        problems.append(
            f"limits.plenum_floor: {both(limits.plenum_floor, 'degC')} is not below "
            f"schedule.holding_temperature {both(holding, 'degC')}, so the pile could never "
            "be cooled to it; lower the floor or raise the holding temperature"
        )
    for name in ("healing_temperature", "warm_up_temperature"):
        value = getattr(schedule, name)
        if value < holding and not alike(value, holding, "degC"):
            problems.append(
                f"schedule.{name}: {both(value, 'degC')} is below holding_temperature "
                f"{both(holding, 'degC')}; raise it or lower the holding temperature"
            )
    doubt = bay.control.confidence * bay.sensors.temperature
    if limits.plenum_floor - doubt < FREEZING_POINT:
        problems.append(
            f"limits.plenum_floor: {both(limits.plenum_floor, 'degC')} may freeze tubers, which "
            f"freeze at {both(FREEZING_POINT, 'degC')}: the sensor can read "
            f"{both(doubt, 'delta_degC')} too high; raise the floor to at least "
            f"{both(FREEZING_POINT + doubt, 'degC')}, better 1 °C (34 °F)"
        )
    return problems


def _order(bay: Bay) -> list[str]:
    """Pairs of keys of which the first must be less than the second."""
    pairs = (
        ("control", "stop_above", "start_above"),
        ("doors", "leakage_fraction", "largest_fraction"),
        ("control", "circulate_for", "circulate_every"),
    )
    problems = []
    for name, low, high in pairs:
        table = getattr(bay, name)
        units = {field.name: field.metadata["shown"] for field in fields(table)}
        less, more = (getattr(table, key) for key in (low, high))
        if less >= more:
            problems.append(
                f"{name}.{low}: must be less than {high}, but is {both(less, units[low])} against "
                f"{both(more, units[high])}; lower the one or raise the other"
            )
    return problems


def _calendar(schedule: Schedule) -> list[str]:
    start = date(2001, *map(int, schedule.fill_start.split("-")))

    def after(month_day: str) -> int:
        month, day = map(int, month_day.split("-"))
        return (date(2001, month, day) - start).days % 365

    fill, healing = schedule.fill_days / _DAY, schedule.healing_days / _DAY
    fall = schedule.healing_temperature - schedule.holding_temperature
    cooling = max(fall, 0.0) / (schedule.ramp * _DAY)
    held = fill + healing + cooling
    warm, unloading = after(schedule.warm_up_start), after(schedule.unloading_start)
    problems = []
    if warm < held:
        reached = start + timedelta(days=held)
        problems.append(
            f'schedule.warm_up_start = "{schedule.warm_up_start}": before the pile can reach '
            f"holding_temperature on {reached:%m-%d} (fill {fill:.0f}, healing {healing:.0f}, "
            f"cool-down {cooling:.0f} days from {start:%m-%d}); warm up later or raise ramp"
        )
    if unloading < warm:
        problems.append(
            f'schedule.unloading_start = "{schedule.unloading_start}": before warm_up_start '
            f'"{schedule.warm_up_start}" in the season that fills on {start:%m-%d}; '
            "unload later or warm up sooner"
        )
    elif unloading + schedule.unloading_days / _DAY > 365:
        problems.append(
            f"schedule.unloading_days: unloading would last beyond the next fill on "
            f"{start:%m-%d}; shorten it or start sooner"
        )
    return problems


_CONTRADICTIONS: tuple[tuple[tuple[str, ...], Callable[[Bay], list[str]]], ...] = (
    *GEOMETRY_PROBLEMS,
    (("schedule", "limits", "control", "sensors"), _temperatures),
    (("control", "doors"), _order),
    (("schedule",), lambda bay: _calendar(bay.schedule)),
    (("fans",), lambda bay: _fan_curve(bay.fans)),
)
"""Tables that each looks at, and what it finds."""


# --- remarks -----------------------------------------------------------------------------


def bay_notes(bay: Bay) -> tuple[str, ...]:
    """
    Remark on what is possible but unusual.

    Nothing here forbids anything: the bands are those of extension services for sound crops.

    [1] University of Nebraska-Lincoln, CropWatch: potato healing and holding in storage.
    [2] P. Bethke, Potato storage, in: The Potato: Botany, Production and Uses, ch. 15.
    [3] Canada Plan Service, leaflet Q-6313, 1986.
    """
    return (*_notes_on_season(bay), *_notes_on_pile(bay), *_notes_on_equipment(bay))


def _outside(name: str, value: float, low: float, high: float, unit: str, source: str) -> list[str]:
    """A remark when ``value`` is outside a usual range; a limit in other units is still inside."""
    if low <= value <= high or alike(value, low, unit) or alike(value, high, unit):
        return []
    return [
        f"{name}: {both(value, unit)} is outside the usual "
        f"{both(low, unit)} to {both(high, unit)} ({source})"
    ]


def _celsius(fahrenheit: float) -> float:
    return (fahrenheit - 32) / 1.8


def _notes_on_season(bay: Bay) -> list[str]:
    schedule, source = bay.schedule, "Univ. of Nebraska CropWatch"
    low, high = map(_celsius, _HOLDING[bay.use])
    holding = schedule.holding_temperature
    name = f"schedule.holding_temperature for {bay.use}"
    notes = _outside(name, holding, low, high, "degC", source)
    notes += _outside(
        "schedule.healing_temperature",
        schedule.healing_temperature,
        _celsius(50),
        _celsius(60),
        "degC",
        source,
    )
    notes += _outside(
        "schedule.healing_days", schedule.healing_days, 7 * _DAY, 21 * _DAY, "s days", source
    )
    if schedule.ramp > 0.6 / 1.8 / _DAY:
        notes.append(
            f"schedule.ramp: {both(schedule.ramp, 'delta_degC/s')} is faster than the usual "
            f"0.28 K/day (0.5 °F/day) ({source}); fast cooling raises sugars and wets the pile"
        )
    warmest = max(lot.loading_temperature for lot in bay.lots)
    if warmest > 18:
        notes.append(
            f"lots: pulp loaded at {both(warmest, 'degC')}; harvest is better suspended above "
            "18 °C (64 °F) (Bethke, The Potato, ch. 15)"
        )
    return notes


def _notes_on_pile(bay: Bay) -> list[str]:
    notes = _outside(
        "pile.bulk_density",
        bay.pile.bulk_density,
        40 * _LB_PER_FT3,
        43 * _LB_PER_FT3,
        "kg/m3",
        "Olsen & Teixeira, Univ. of Idaho",
    )
    if bay.pile.height > 5.5:
        notes.append(
            f"pile.height: {both(bay.pile.height, 'm')} is above the 5-5.5 m (16-18 ft) of "
            "processing stores (Bethke, The Potato, ch. 15); weigh pressure bruise"
        )
    return [*notes, *geometry_notes(bay)]


def _notes_on_equipment(bay: Bay) -> list[str]:
    notes = _outside(
        "fans.airflow",
        bay.fans.airflow / bay.pile.capacity,
        10 * _CFM_PER_TON,
        30 * _CFM_PER_TON,
        "m3/(s kg)",
        "per mass of a full pile, while healing: Univ. of Nebraska CropWatch",
    )
    notes += _note_on_curve(bay.fans)
    if bay.limits.plenum_floor < 1.0 - 1e-6:
        notes.append(
            f"limits.plenum_floor: {both(bay.limits.plenum_floor, 'degC')} leaves little room "
            f"above the freezing point of tubers, {both(FREEZING_POINT, 'degC')}"
        )
    for part, usual in (("wall", 4.2), ("ceiling", 5.0)):
        resistance = 1 / getattr(bay.envelope, f"{part}_u")
        if round(resistance, 1) < usual:
            notes.append(
                f"envelope.{part}_u: RSI {resistance:.1f} m² K/W (R-{resistance * 5.678:.0f}) is "
                f"below RSI {usual} (R-{usual * 5.678:.0f}) for -20 °C (-4 °F) outside "
                "(Canada Plan Service Q-6313, 1986); mind condensation"
            )
    return notes


def _note_on_curve(fans: Fans) -> list[str]:
    """The season runs on the rated point, the check before fill on the curve."""
    flow, static = fans.curve_airflow, fans.curve_static_pressure
    if flow is None or static is None:
        return []
    curve = FanCurve(airflow=flow, static_pressure=static)
    found = float(curve.pressure_at(fans.airflow / fans.count))
    if not abs(found - fans.static_pressure) > 0.25 * fans.static_pressure:
        return []
    return [
        f"fans.static_pressure: {both(fans.static_pressure, 'Pa')}, but at fans.airflow the fan "
        f"curve gives {both(found, 'Pa')}; one of them is not of these fans"
    ]
