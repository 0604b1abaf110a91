"""Does the description of a bay hold together? Contradictions, and remarks on practice."""

from __future__ import annotations

from datetime import date, timedelta

from ventcalc.bay.description import Bay, Fans, Schedule, lateral_section
from ventcalc.equipment.fan_curve import FanCurve
from ventcalc.units import show

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


def _both(value: float, unit: str) -> str:
    metric, us = show(value, unit, "metric"), show(value, unit, "us")
    return metric if metric == us else f"{metric} ({us})"


# --- contradictions ----------------------------------------------------------------------


def contradictions(bay: Bay) -> tuple[str, ...]:
    """Find what cannot be true of one bay at once, or would ruin the crop."""
    return (
        *_too_full(bay),
        *_too_high(bay),
        *_temperatures(bay),
        *_order(bay),
        *_calendar(bay.schedule),
        *_ducts(bay),
        *_fan_curve(bay.fans),
    )


def _too_full(bay: Bay) -> list[str]:
    pile, mass = bay.pile, bay.mass
    if mass <= pile.capacity * (1 + 1e-6):
        return []
    height = mass / (pile.floor_area * pile.bulk_density)
    return [
        f"lots: {_both(mass, 'kg')} do not fit a full pile of {_both(pile.capacity, 'kg')}; "
        f"lower the mass, or raise pile.height to {_both(height, 'm')} if the walls allow it"
    ]


def _too_high(bay: Bay) -> list[str]:
    wall, height = bay.envelope.wall_height, bay.pile.height
    if wall is None or height <= wall:
        return []
    return [
        f"envelope.wall_height: {_both(wall, 'm')} is below pile.height {_both(height, 'm')}; "
        "lower the pile or correct the wall"
    ]


def _ducts(bay: Bay) -> list[str]:
    ducts, pile = bay.ducts, bay.pile
    if ducts is None:
        return []
    along, across = pile.length, pile.width
    if ducts.plenum_along == "width":
        along, across = across, along
    problems = []
    if ducts.lateral_length > across * (1 + 1e-6):
        problems.append(
            f"ducts.lateral_length: {_both(ducts.lateral_length, 'm')} is longer than the bay, "
            f"which is {_both(across, 'm')} across the plenum; shorten the laterals, or correct "
            "the pile or plenum_along"
        )
    if ducts.laterals * ducts.lateral_diameter > along * (1 + 1e-6):
        problems.append(
            f"ducts.laterals: {ducts.laterals} of {_both(ducts.lateral_diameter, 'm small')} do "
            f"not fit side by side along {_both(along, 'm')}; use fewer or smaller ones, or "
            "correct the pile or plenum_along"
        )
    ports, duct = ducts.ports * ducts.port_area, lateral_section(ducts).area
    if ports > duct * (1 + 1e-6):
        problems.append(
            f"ducts.ports: {_both(ports, 'm2 small')} of ports exceed the lateral's "
            f"{_both(duct, 'm2 small')}, so most air would leave at the dead end; use fewer or "
            "smaller ports or a larger lateral"
        )
    return problems


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
                f"fans.curve_airflow: value {i + 1}, {_both(flow[i], 'm3/s')}, does not exceed "
                "the one before; sort the points by airflow"
            ]
        if static[i] > static[i - 1]:
            return [
                f"fans.curve_static_pressure: rises from {_both(static[i - 1], 'Pa')} to "
                f"{_both(static[i], 'Pa')} at value {i + 1}; a fan's pressure falls as its air "
                "grows: mend the points, or begin the curve right of the stall"
            ]
    return []


def _temperatures(bay: Bay) -> list[str]:
    schedule, limits = bay.schedule, bay.limits
    holding = schedule.holding_temperature
    problems = []
    if limits.plenum_floor >= holding:
        problems.append(
            f"limits.plenum_floor: {_both(limits.plenum_floor, 'degC')} is not below "
            f"schedule.holding_temperature {_both(holding, 'degC')}, so the pile could never "
            "be cooled to it; lower the floor or raise the holding temperature"
        )
    for name in ("healing_temperature", "warm_up_temperature"):
        value = getattr(schedule, name)
        if value < holding:
            problems.append(
                f"schedule.{name}: {_both(value, 'degC')} is below holding_temperature "
                f"{_both(holding, 'degC')}; raise it or lower the holding temperature"
            )
    doubt = bay.control.confidence * bay.sensors.temperature
    if limits.plenum_floor - doubt < FREEZING_POINT:
        problems.append(
            f"limits.plenum_floor: {_both(limits.plenum_floor, 'degC')} may freeze tubers, which "
            f"freeze at {_both(FREEZING_POINT, 'degC')}: the sensor can read "
            f"{_both(doubt, 'delta_degC')} too high; raise the floor to at least "
            f"{_both(FREEZING_POINT + doubt, 'degC')}, better 1 °C (34 °F)"
        )
    return problems


def _order(bay: Bay) -> list[str]:
    """Pairs of keys of which the first must be less than the second."""
    control, doors = bay.control, bay.doors
    pairs = (
        ("control.stop_above", control.stop_above, "start_above", control.start_above),
        (
            "doors.leakage_fraction",
            doors.leakage_fraction,
            "largest_fraction",
            doors.largest_fraction,
        ),
        (
            "control.circulate_for",
            control.circulate_for,
            "circulate_every",
            control.circulate_every,
        ),
    )
    return [
        f"{low}: must be less than {high} ({first:g} is not below {second:g}); "
        f"lower the one or raise the other"
        for low, first, high, second in pairs
        if first >= second
    ]


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
    slack = 1e-6 * max(abs(low), abs(high))
    if low - slack <= value <= high + slack:
        return []
    return [
        f"{name}: {_both(value, unit)} is outside the usual "
        f"{_both(low, unit)} to {_both(high, unit)} ({source})"
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
            f"schedule.ramp: {_both(schedule.ramp, 'delta_degC/s')} is faster than the usual "
            f"0.28 K/day (0.5 °F/day) ({source}); fast cooling raises sugars and wets the pile"
        )
    warmest = max(lot.loading_temperature for lot in bay.lots)
    if warmest > 18:
        notes.append(
            f"lots: pulp loaded at {_both(warmest, 'degC')}; harvest is better suspended above "
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
            f"pile.height: {_both(bay.pile.height, 'm')} is above the 5-5.5 m (16-18 ft) of "
            "processing stores (Bethke, The Potato, ch. 15); weigh pressure bruise"
        )
    if bay.envelope.ceiling_area < 0.95 * bay.pile.floor_area:
        notes.append(
            f"envelope.ceiling_area: {_both(bay.envelope.ceiling_area, 'm2')} is less than the "
            f"pile floor of {_both(bay.pile.floor_area, 'm2')}"
        )
    return notes


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
            f"limits.plenum_floor: {_both(bay.limits.plenum_floor, 'degC')} leaves little room "
            f"above the freezing point of tubers, {_both(FREEZING_POINT, 'degC')}"
        )
    for part, usual in (("wall", 4.2), ("ceiling", 5.0)):
        resistance = 1 / getattr(bay.envelope, f"{part}_u")
        if resistance < usual * (1 - 1e-6):
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
        f"fans.static_pressure: {_both(fans.static_pressure, 'Pa')}, but at fans.airflow the fan "
        f"curve gives {_both(found, 'Pa')}; one of them is not of these fans"
    ]
