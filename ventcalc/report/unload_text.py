"""The end of a season as plain text and as data: trucks, warm-up, air for what remains, people."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from ventcalc.advice.fresh_air import PEOPLE_CO2
from ventcalc.logbook.judge import COLDEST, FREEZES, YANTA
from ventcalc.report.lots_text import shrink_lines
from ventcalc.report.numbers import known
from ventcalc.report.table import bullets, table
from ventcalc.stages.emptying import TIGHT_CO2
from ventcalc.stages.unloading import Unloading
from ventcalc.units import UnitSystem, show

__all__ = ["CAUTION", "air_rows", "air_words", "head_line", "known_by", "people_lines", "turn_rows",
           "unload_data", "unload_text", "warm_lines"]  # fmt: skip

DAY = 86400.0
_BINDS = {
    "heat": "fans, heater, walls and respiration set the rate",
    "air": "the air sets the rate: it may be no warmer above the coldest pulp",
    "ramp": "the gentle rate asked for sets it",
}
CAUTION = (
    "Inside: loaders burn fuel, and carbon monoxide is not counted here. Lock out the fans before "
    "anyone enters plenum or ducts; test the air before anyone goes in; never alone; keep off the "
    "face of the pile. Advice only: the controller's own interlocks stay in charge."
)


def unload_text(bays: Sequence[Unloading], units: UnitSystem) -> str:
    """All bays in their order, then each by itself."""
    parts = ["\n".join([head_line(bays[0], units), *table(turn_rows(bays, units))])]
    parts += ["\n".join(_bay_lines(one, units)) for one in bays]
    return "\n\n".join([*parts, "\n".join(bullets([CAUTION]))])


def turn_rows(bays: Sequence[Unloading], units: UnitSystem) -> list[list[str]]:
    """A row a bay, the heading first."""
    rows = [["bay", "crop", "begin to warm", "first truck", "last truck", "days", "trucks"]]
    for one in bays:
        plan, turn = one.turn.plan, one.turn
        rows.append(
            [
                one.bay.name,
                show(one.mass, "kg", units),
                f"{turn.warm_up:%d %b}" if one.lead_time > 0.0 else "warm enough",
                f"{turn.first_truck:%d %b}",
                f"{turn.last_truck:%d %b}",
                f"{plan.days:.1f}",
                str(plan.trucks),
            ]
        )
    return rows


def head_line(one: Unloading, units: UnitSystem) -> str:
    """What a day takes out."""
    plan = one.turn.plan
    head = (
        f"{plan.trucks_per_day:.3g} trucks a day: {show(plan.mass_per_day, 'kg', units)} and "
        f"{show(plan.loading_time, 's', units)} of loading a day"
    )
    return head + ("; the working day is too short for more" if plan.binds != "trucks" else "")


def _bay_lines(one: Unloading, units: UnitSystem) -> list[str]:
    lines = [f"{one.bay.name}: {known_by(one)}", *bullets(warm_lines(one, units))]
    if one.air:
        lines += ["", "Air for what remains, fans at full speed, empty laterals shut:"]
        lines += table(air_rows(one, units))
        lines += bullets(air_words(one))
    lines += ["", "People inside:", *bullets(people_lines(one, units))]
    if one.shrinks:
        lines += ["", "Weight out against weight in:", *bullets(shrink_lines(one.shrinks, units))]
    return lines


def known_by(one: Unloading) -> str:
    """Where the weight of the crop comes from."""
    if one.weighed:
        return "crop by its season folder"
    return "crop by the bay file, as loaded: shrink will make it less"


def warm_lines(one: Unloading, units: UnitSystem) -> list[str]:
    """When to begin, what gives the heat, what the model says."""
    heat, run = one.balance, one.model
    now, goal = (show(x, "degC", units) for x in (one.pulp, one.final))
    lines = []
    if one.final < COLDEST - 1e-6:
        lines.append(f"{goal} is cold for handling: below {show(COLDEST, 'degC', units)} ({YANTA})")
    if heat.lead_time == 0.0:
        return [*lines, f"pulp {now} needs no warming for {goal}"]
    lead = f"{heat.lead_time / DAY:.1f} days" if heat.lead_time < math.inf else "never"
    powers = ", ".join(
        f"{name} {show(value, 'W electrical', units, 0)}"
        for name, value in (
            ("fans", heat.fans),
            ("heater", heat.heater),
            ("walls", heat.walls),
            ("respiration", heat.respiration),
        )
    )
    lines += [
        f"from {now} to {goal} by {one.turn.first_truck:%d %b}: {lead} by the heat balance; "
        f"{_BINDS[heat.binds]} ({show(heat.ramp, 'delta_degC/s', units)})",
        f"heat {show(heat.heat, 'J', units, 0)}; {powers}; outside "
        f"{show(one.outside_temperature, 'degC', units)}; the air may carry "
        f"{show(heat.air_heat, 'W electrical', units, 0)}; warm outside air is not counted",
        f"air at most {show(one.bay.limits.warm_supply_difference, 'delta_degC', units)} warmer "
        "than the coldest pulp, its dew point below it, or cold tubers sweat",
    ]
    if run is None:
        lines.append("--weather FILE runs the pile model: lead time, coldest tubers, wet tubers")
        return lines
    came = "arrives" if run.arrived else "does NOT arrive, even so early: ask for less"
    lines.append(
        f"pile model under the bay's advice, {run.lead_time / DAY:.0f} days: {came}; mean "
        f"{show(run.pulp_mean, 'degC', units)}, coldest {show(run.pulp_coldest, 'degC', units)}, "
        f"tubers wet for {show(run.wet_time, 's', units)}, {show(run.energy, 'J', units, 0)}, "
        f"shrink {show(run.mass_loss, '1 percent', units)}"
    )
    if run.wet_time > 0.0:
        lines.append("cold tubers sweat on the way: warm more slowly (--rise), or in drier weather")
    if not math.isnan(one.sweating):
        lines.append(
            f"on the truck: in {one.sweating:.0%} of the working hours outside air would wet "
            "tubers of that pulp; cover them, and warm them more if they must stay dry"
        )
    if one.freezing > 0.0:
        lines.append(
            f"on the truck: in {one.freezing:.0%} of the working hours it is colder outside than "
            f"{show(FREEZES, 'degC', units)}: no uncovered load on the road"
        )
    return lines


def air_rows(one: Unloading, units: UnitSystem) -> list[list[str]]:
    """A row a share that is left, the heading first."""
    rows = [["left", "crop", "laterals", "airflow", "of the crop", "pressure", "speed"]]
    for row in one.air:
        rows.append(
            [
                f"{row.share:.0%}",
                show(row.mass, "kg", units),
                str(row.laterals) if row.laterals else "-",
                show(row.airflow, "m3/s", units),
                show(row.airflow_per_mass, "m3/(s kg)", units),
                show(row.static_pressure, "Pa", units),
                f"{row.fan_speed:.0%}" if row.fan_speed == row.fan_speed else "unknown",
            ]
        )
    return rows


def air_words(one: Unloading) -> list[str]:
    """What the table of air calls for."""
    least = one.bay.fans.minimum_speed
    lines = [
        "speed: gives each tonne the air that the full bay has at full speed"
        + (
            f"; below the least speed, {least:.0%}, run fewer hours or fewer fans"
            if any(row.fan_speed < least for row in one.air)
            else ""
        )
    ]
    for remark in dict.fromkeys(words for row in one.air for words in row.remarks):
        shares = ", ".join(f"{row.share:.0%}" for row in one.air if remark in row.remarks)
        lines.append(f"with {shares} left: {remark}")
    half = [row for row in one.air if row.share == 0.5 and row.laterals]
    if half:
        lines.append(
            f"laterals left open under an empty floor: with half the crop gone only "
            f"{half[0].kept_if_open:.0%} of the air reaches crop; shut each as the face passes it"
        )
    return lines


def people_lines(one: Unloading, units: UnitSystem) -> list[str]:
    """CO2 where people load trucks."""
    people = one.people
    limit = show(PEOPLE_CO2, "1 ppm", units)
    stays = (
        "leaks hold it below the limit"
        if people.time_to_limit == math.inf
        else f"{show(people.time_to_limit, 's', units)} from "
        f"{show(one.bay.limits.co2, '1 ppm', units)} to the limit"
    )
    return [
        f"CO2 {limit} over a shift of 8 h (OSHA table Z-1): with fans off and doors shut a full "
        f"bay rises {show(people.co2_climb * 3600.0, '1 ppm', units)} an hour; {stays}",
        f"fresh air that holds it: {show(people.fresh_airflow, 'm3/s', units)}, "
        f"{people.fresh_fraction:.1%} of the fans' air at full speed; first flush a tight "
        f"bay, which may hold {show(TIGHT_CO2, '1 percent', units)}: "
        + (
            f"{people.purge_time / 60.0:.0f} min with the fresh-air opening"
            if people.purge_time < math.inf
            else "the fresh-air opening is too small, open further"
        ),
        "where fans blow cold air over people and face, give fresh air before and between shifts",
    ]


def unload_data(bays: Sequence[Unloading]) -> dict[str, Any]:
    """The same for JSON, keys with units."""
    return {"bays": [_bay_data(one) for one in bays]}


def _bay_data(one: Unloading) -> dict[str, Any]:
    turn, plan, heat, run, people = one.turn, one.turn.plan, one.balance, one.model, one.people
    return {
        "bay": one.bay.name,
        "content_kg": one.mass,
        "content_weighed": one.weighed,
        "trucks_per_day": plan.trucks_per_day,
        "mass_kg_per_day": plan.mass_per_day,
        "loading_h_per_day": plan.loading_time / 3600.0,
        "days": plan.days,
        "trucks": plan.trucks,
        "binds": plan.binds,
        "begin_to_warm": turn.warm_up.isoformat() if one.lead_time > 0.0 else None,
        "first_truck": turn.first_truck.isoformat(),
        "last_truck": turn.last_truck.isoformat(),
        "pulp_temp_c": one.pulp,
        "wanted_temp_c": one.final,
        "warm_up": {
            "lead_days": known(heat.lead_time / DAY),
            "binds": heat.binds,
            "rise_k_per_day": heat.ramp * DAY,
            "heat_kwh": heat.heat / 3.6e6,
            "fans_w": heat.fans,
            "heater_w": heat.heater,
            "walls_w": heat.walls,
            "respiration_w": heat.respiration,
            "air_w": heat.air_heat,
            "outside_temp_c": one.outside_temperature,
        },
        "model": None
        if run is None
        else {
            "lead_days": run.lead_time / DAY,
            "arrived": run.arrived,
            "pulp_mean_c": run.pulp_mean,
            "pulp_coldest_c": run.pulp_coldest,
            "wet_h": run.wet_time / 3600.0,
            "energy_kwh": run.energy / 3.6e6,
            "mass_loss": run.mass_loss,
        },
        "sweating_share": known(one.sweating),
        "freezing_share": known(one.freezing),
        "air": [
            {
                "share": row.share,
                "mass_kg": row.mass,
                "laterals": row.laterals or None,
                "airflow_m3_s": known(row.airflow),
                "airflow_m3_s_t": known(row.airflow_per_mass * 1e3),
                "static_pressure_pa": known(row.static_pressure),
                "fan_speed": known(row.fan_speed),
                "kept_if_open": known(row.kept_if_open),
                "remarks": list(row.remarks),
            }
            for row in one.air
        ],
        "people": {
            "limit_ppm": PEOPLE_CO2 * 1e6,
            "rise_ppm_per_h": people.co2_climb * 3.6e9,
            "hours_to_limit": known(people.time_to_limit / 3600.0),
            "fresh_airflow_m3_s": people.fresh_airflow,
            "fresh_fraction": known(people.fresh_fraction),
            "purge_min": known(people.purge_time / 60.0),
        },
        "shrink": [
            {
                "lot": each.lot or None,
                "mass_in_kg": each.mass_in,
                "mass_out_kg": each.mass_out,
                "mass_loss": known(each.mass_loss),
                "doubt": known(each.doubt),
            }
            for each in one.shrinks
        ],
    }
