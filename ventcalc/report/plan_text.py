"""A plan of the days ahead: what it does when, why, what it costs; as text, JSON and a page."""

from __future__ import annotations

import math
from collections import Counter
from datetime import timedelta
from itertools import groupby
from typing import Any

import numpy as np

from ventcalc.plan.reduced import COIL, OUTSIDE, REST
from ventcalc.plan.week import Money, PlannedHour, WeekPlan, WholeModel
from ventcalc.report.cautions import CAUTION
from ventcalc.report.numbers import known
from ventcalc.report.pages import Verdict, page
from ventcalc.report.season_days import local
from ventcalc.report.table import bullets, table
from ventcalc.units import UnitSystem, convert, reworded, show, shown_unit
from ventcalc.web.chart import Line, chart
from ventcalc.web.svg import Picture

__all__ = ["plan_data", "plan_page", "plan_text", "stretches", "what", "why"]

JOULE_PER_KWH = 3.6e6
WARM = "warm by outside air"
WHAT = {REST: "rest", OUTSIDE: "cool by outside air", COIL: "cool by refrigeration"}


def what(hour: PlannedHour) -> str:
    """What an hour does, in words; to a pile that is too cold the same air brings warmth."""
    warms = hour.action.kind == OUTSIDE and hour.does.cooling < 0.0
    return WARM if warms else WHAT[hour.action.kind]


def stretches(plan: WeekPlan) -> list[list[PlannedHour]]:
    """Hours in a row that do the same."""
    return [list(some) for _, some in groupby(plan.hours, key=what)]


def title(plan: WeekPlan) -> str:
    """Which bay, from when on."""
    begin = local(plan.bay, plan.hours[0].time)
    return f"{plan.bay.name}, {len(plan.hours)} h from {begin:%a %d %b %Y %H:%M %Z}"


def _per_kwh(price: float) -> str:
    """Of a kilowatt-hour of heat taken out of the crop."""
    return "-" if math.isinf(price) else f"{price * JOULE_PER_KWH:.3f}"


def plan_sentences(plan: WeekPlan, units: UnitSystem = "metric") -> list[str]:
    """What it does, what that costs and how sure, what the whole model says."""
    money, bay = plan.bay.costs.currency, plan.bay
    does = Counter(map(what, plan.hours))
    cools = [hour for hour in plan.hours if hour.action.kind != REST and what(hour) != WARM]
    hours = len(cools) * plan.step / 3600.0
    warms = f", warms {does[WARM] * plan.step / 3600.0:.0f} h" if does[WARM] else ""
    coil = sum(hour.action.kind == COIL for hour in cools) * plan.step / 3600.0
    refrigerated = f", {coil:.0f} of them by refrigeration" if coil else ""
    last, whole_hours = plan.hours[-1], len(plan.hours) * plan.step / 3600.0
    pulp = [
        show(value, "degC", units)
        for value in (plan.start_pulp_mean, float(plan.planned.pulp_mean[-1]), last.target)
    ]
    begins = (
        f"Cools {hours:.0f} of {whole_hours:.0f} h{refrigerated}{warms}; pulp goes from "
        f"{pulp[0]} to {pulp[1]}, planned {pulp[2]} within "
        f"{show(bay.limits.band, 'delta_degC', units)}."
    )
    proof = (
        f"In the model of one pile temperature it costs {_sum(plan.money, money)}; no plan there "
        f"costs less than {plan.bound:,.0f} (gap {plan.gap:.1%}), the best constant price of cold "
        f"{plan.constant_price:,.0f}."
    )
    saved = plan.present.money.total - plan.planned.money.total
    better = "less" if saved > 0.0 else "more"
    whole = (
        "Carried out by the advice with all its rules, in the whole model: "
        f"{_sum(plan.planned.money, money)}; the advice as it stands: "
        f"{plan.present.money.total:,.0f}. The plan costs {abs(saved):,.0f} {better}"
        + ("." if saved > 0.0 else ": follow the advice.")
    )
    return [begins, whole, proof]


def _sum(money: Money, currency: str) -> str:
    parts = {
        "energy": money.energy,
        "shrink": money.shrink,
        "off target": money.off_target,
        "cold lacking at the end" if money.end > 0.0 else "cold left at the end": money.end,
    }
    told = ", ".join(f"{name} {value:,.0f}" for name, value in parts.items())
    return f"{currency} {money.total:,.0f} ({told})"


def stretch_rows(plan: WeekPlan, units: UnitSystem = "metric") -> list[tuple[str, ...]]:
    """Heading and a row for each stretch: when, what, why."""
    rows: list[tuple[str, ...]] = [
        ("from", "hours", "what", "fans", "outside", "pulp then", "cold costs", "is worth", "why")
    ]
    for some in stretches(plan):
        first, last = some[0], some[-1]
        begin = local(plan.bay, first.time)
        speeds = [hour.action.fan_speed for hour in some]
        outside = [hour.outside_temperature for hour in some]
        low, high = (show(value, "degC", units) for value in (min(outside), max(outside)))
        costs = [hour.cold_cost for hour in some]
        worth = [hour.cold_worth for hour in some]
        shown, worth_then = sum(costs) / len(costs), sum(worth) / len(worth)
        if first.action.kind == REST:  # the hour that came nearest to being worth it
            nearest = min(some, key=lambda hour: hour.cold_cost - hour.cold_worth)
            shown, worth_then = nearest.cold_cost, nearest.cold_worth
        fans = "" if first.action.kind == REST else f"{sum(speeds) / len(speeds):.0%}"
        rows.append(
            (
                f"{begin:%a %d %b %H:%M}",
                f"{len(some) * plan.step / 3600.0:.0f}",
                what(first),
                fans,
                f"{low.partition(' ')[0]} to {high}",
                show(last.does.pulp_mean, "degC", units),
                _per_kwh(shown),
                _per_kwh(worth_then),
                why(some),
            )
        )
    return rows


def why(some: list[PlannedHour]) -> str:
    """Why these hours and not others, in words."""
    if what(some[0]) == WARM:
        return "the pulp is colder than wanted"
    if some[0].action.kind != REST:
        return "cold is worth its cost here"
    if all(math.isinf(hour.cold_cost) for hour in some):
        return "outside air cannot cool"
    return "other hours are cheaper"


def plan_remarks(plan: WeekPlan) -> list[str]:
    """What binds, which hour was nearly taken and why it was not, and the demand charge."""
    return [binding_words(plan), *_nearly(plan), *_demand(plan)]


def _nearly(plan: WeekPlan) -> list[str]:
    """The hour that rests and came nearest to cooling, beside the cheapest that cools."""
    rests = [hour for hour in plan.hours if hour.action.kind == REST]
    rests = [hour for hour in rests if not math.isinf(hour.cold_cost)]
    cools = [hour for hour in plan.hours if hour.action.kind != REST]
    if not rests or not cools:
        return []
    best = min(cools, key=lambda hour: hour.cold_cost)
    left = min(rests, key=lambda hour: hour.cold_cost - hour.cold_worth)
    times = [f"{local(plan.bay, hour.time):%a %d %b %H:%M}" for hour in (best, left)]
    tie = " (as good as even: either will do)" if left.cold_cost < 1.01 * left.cold_worth else ""
    return [
        f"Why these hours: cold is cheapest on {times[0]}, {_per_kwh(best.cold_cost)} "
        f"{plan.bay.costs.currency} per kWh; of the hours that rest {times[1]} came nearest: "
        f"{_per_kwh(left.cold_cost)}, where stored cold is worth {_per_kwh(left.cold_worth)}{tie}."
    ]


def binding_words(plan: WeekPlan) -> str:
    """What holds the plan back, in hours."""
    limits, bay = Counter[str](), plan.bay
    for hour in plan.hours:
        if hour.action.kind == REST:
            continue
        supply = hour.does.supply_temperature
        floor = bay.limits.plenum_floor + bay.control.confidence * bay.sensors.temperature
        if hour.action.fan_speed >= 1.0:
            limits["full fans"] += 1
        if supply <= floor + 0.05:
            limits["the coldest supply allowed"] += 1
    edge = sum(
        abs(hour.does.pulp_mean - hour.target) > bay.limits.band - 0.05 for hour in plan.hours
    )
    if edge:
        limits["the edge of the band"] = edge
    told = ", ".join(
        f"{name} in {count * plan.step / 3600.0:.0f} h" for name, count in limits.most_common()
    )
    return f"What binds: {told or 'nothing'}."


def model_rows(plan: WeekPlan, units: UnitSystem = "metric") -> list[tuple[str, ...]]:
    """Heading and a row each for the plan and the advice in the whole model."""
    money = plan.bay.costs.currency
    heading = (
        "whole model", money, "energy", "shrink", "off target", "end", "fans h", "peak", "wet h",
        "coldest supply", "pulp at the end",
    )  # fmt: skip
    rows = (("the plan", plan.planned), ("the advice as it stands", plan.present))
    return [heading, *((name, *_model(one, units)) for name, one in rows)]


def _model(one: WholeModel, units: UnitSystem) -> tuple[str, ...]:
    return (
        *(f"{part:,.0f}" for part in (one.money.total, *one.money)),
        f"{one.fan_hours:.0f}",
        show(one.peak_power, "W electrical", units),
        f"{one.wet_hours:.0f}",
        show(one.coldest_supply_temperature, "degC", units, unknown="-"),
        show(float(one.pulp_mean[-1]), "degC", units),
    )


def _demand(plan: WeekPlan) -> list[str]:
    """The charge for the greatest power, apart from the plan."""
    charge, money = plan.tariff.demand, plan.bay.costs.currency
    if not charge > 0.0:
        return []
    parts = [
        f"{name} {one.peak_power / 1000.0:.1f} kW, {money} {one.peak_power * charge:,.0f}"
        for name, one in (("the plan", plan.planned), ("the advice", plan.present))
    ]
    return [f"Demand charge, not part of the plan's cost: {'; '.join(parts)}."]


def plan_text(plan: WeekPlan, units: UnitSystem = "metric") -> str:
    """Sentences, stretches, models, caution."""
    money = plan.bay.costs.currency
    return "\n".join(
        [
            title(plan),
            "",
            *plan_sentences(plan, units),
            *plan_remarks(plan),
            "",
            *table(stretch_rows(plan, units)),
            "",
            f"Cold costs, is worth: {money} per kWh of heat out of the crop, shrink included; "
            "mean of the hours, of a rest the hour that came nearest to being worth it.",
            "",
            *table(model_rows(plan, units)),
            "",
            *bullets(reworded(note, units) for note in plan.notes),
            "",
            CAUTION,
        ]
    )


def plan_data(plan: WeekPlan) -> dict[str, Any]:
    """Everything for JSON."""
    return {
        "bay": plan.bay.name,
        "said": plan_sentences(plan),
        "currency": plan.bay.costs.currency,
        "cost": plan.money._asdict() | {"total": plan.money.total},
        "bound": plan.bound,
        "gap": plan.gap,
        "constant_price_cost": plan.constant_price,
        "binds": binding_words(plan),
        "remarks": plan_remarks(plan),
        "whole_model": {
            name: {
                "cost": one.money._asdict() | {"total": one.money.total},
                "fan_h": one.fan_hours,
                "wet_h": one.wet_hours,
                "coldest_supply_c": known(one.coldest_supply_temperature),
                "peak_power_w": one.peak_power,
                "demand_charge": one.peak_power * plan.tariff.demand,
                "pulp_mean_c": [round(value, 4) for value in one.pulp_mean.tolist()],
            }
            for name, one in (("plan", plan.planned), ("advice", plan.present))
        },
        "hours": [_hour(plan, hour) for hour in plan.hours],
        "notes": list(plan.notes),
        "caution": CAUTION,
    }


def _hour(plan: WeekPlan, hour: PlannedHour) -> dict[str, Any]:
    """One hour; prices per kWh."""
    return {
        "time": local(plan.bay, hour.time).isoformat(),
        "action": what(hour),
        "fan_speed": hour.action.fan_speed,
        "target_c": hour.target,
        "pulp_mean_c": hour.does.pulp_mean,
        "outside_temp_c": hour.outside_temperature,
        "energy_price_per_kwh": hour.price * JOULE_PER_KWH,
        "energy_cost": hour.does.energy_cost,
        "shrink_cost": hour.does.shrink_cost,
        "cold_cost_per_kwh": known(hour.cold_cost * JOULE_PER_KWH),
        "cold_worth_per_kwh": hour.cold_worth * JOULE_PER_KWH,
    }


def plan_page(plan: WeekPlan, units: UnitSystem = "metric") -> str:
    """One page."""
    does, whole, proof = plan_sentences(plan, units)
    saves = plan.planned.money.total < plan.present.money.total
    return page(
        "plan.html",
        title=title(plan),
        facts=[reworded(note, units) for note in plan.notes],
        verdict=Verdict(
            "good" if saves else "watch", "Worth it." if saves else "Follow the advice.", whole
        ),
        said=[does, proof, *plan_remarks(plan)],
        rows=stretch_rows(plan, units),
        models=model_rows(plan, units),
        drawn=_pile(plan, units),
    )


def _pile(plan: WeekPlan, units: UnitSystem) -> Picture:
    """Mean pulp by the plan's own model and by the whole one, shaded where the plan cools."""
    times = np.array([hour.time for hour in plan.hours])
    shift = (local(plan.bay, plan.hours[0].time).utcoffset() or timedelta()).total_seconds()
    lines = [
        ("target", [hour.target for hour in plan.hours], "--quiet", ()),
        ("plan, one temperature", [hour.does.pulp_mean for hour in plan.hours], "--c1", (7, 3)),
        ("plan, whole model", plan.planned.pulp_mean, "--c2", ()),
        ("advice, whole model", plan.present.pulp_mean, "--c0", (2, 2)),
    ]
    unit = shown_unit("degC", units)
    spans = [
        (some[0].time + shift, some[-1].time + plan.step + shift, "")
        for some in stretches(plan)
        if some[0].action.kind != REST
    ]
    return chart(
        "plan",
        "Mean pulp in the days ahead",
        times + shift,
        tuple(
            Line(label=name, y=convert(np.asarray(y), "degC", units)[0], color=color, dash=dash)
            for name, y, color, dash in lines
        ),
        unit=unit,
        y_label=f"mean pulp, {unit}",
        time=True,
        spans=spans,
        size=(960.0, 380.0),
    )
