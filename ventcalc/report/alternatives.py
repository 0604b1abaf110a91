"""More air or less, side by side: as a table and as data."""

from __future__ import annotations

from typing import Any

from ventcalc.advice.fresh_air import PEOPLE_CO2
from ventcalc.bay.description import Bay
from ventcalc.report.season_rows import ROWS, per_tonne
from ventcalc.report.table import table
from ventcalc.sizing.alternatives import Alternatives
from ventcalc.units import UnitSystem, show

__all__ = ["alternative_lines", "alternative_rows", "alternatives_data", "season_line"]

HEAD = "More air or less, each through the same season under the advice"
REMARK = (
    "Running costs only: energy and shrink at the bay's prices; what fans, ducts and refrigeration "
    "cost to buy is not counted. Shrink that differs by less than 0.1 % of the weight is the same "
    "as far as the model knows."
)
_SEASON = ("mass_loss", "off_plan_kelvin_hours", "spread_hours", "wet_crop_hours",
           "co2_highest", "people_co2_hours")  # fmt: skip


def alternative_rows(found: Alternatives, units: UnitSystem) -> list[list[str]]:
    """A column for each airflow: what it takes, and what its season was."""
    kpi, bays = found.kpi, [one.sized for one in found.sizings]
    currency = bays[0].costs.currency
    writers = {row.field: row for row in ROWS}
    energy, fans = (
        [per_tonne(float(one), "kWh", units) for one in each]
        for each in (kpi.energy, kpi.fan_energy)
    )
    rows = [
        ["Airflow in a full pile",
         *(show(one.air.airflow_per_tonne, "m3/(s t)", units) for one in found.sizings)],
        ["Fans", *(f"{bay.fans.count}" for bay in bays)],
        ["Airflow of all fans", *(show(bay.fans.airflow, "m3/s", units) for bay in bays)],
        ["Static pressure", *(show(bay.fans.static_pressure, "Pa", units) for bay in bays)],
        ["Electrical power at full speed",
         *(show(one.air.power, "W electrical", units) for one in found.sizings)],
        ["Fan energy of the season", *fans],
        ["All energy of the season", *energy],
        ["Refrigeration, where outside air is not enough",
         *(_refrigeration(bay, units) for bay in bays)],
    ]  # fmt: skip
    for name in _SEASON:
        row, values = writers[name], getattr(kpi, name)
        rows.append([row.words, *(row.write(float(value), units) for value in values)])
    costs = [show(float(cost) / 1000.0, "money/kg", units, 2) for cost in kpi.cost]
    rows.append(["Energy and shrink together", *(f"{currency} {cost}".lstrip() for cost in costs)])
    return [["", *("as asked" if one is found.asked else "" for one in found.sizings)], *rows]


def season_line(found: Alternatives, units: UnitSystem) -> str:
    """What the season of the bay as asked makes of CO2 and of the spread, and why."""
    kpi, k = found.kpi, found.sizings.index(found.asked)
    limits = found.asked.sized.limits
    line = (
        f"A season of the sized bay under the advice, CO2 measured: CO2 comes to "
        f"{show(float(kpi.co2_highest[k]), '1 ppm', units)} and stands above "
        f"{show(PEOPLE_CO2, '1 ppm', units)} for {kpi.people_co2_hours[k]:,.0f} h; the top of the "
        f"pile lags by more than {show(limits.spread, 'delta_degC', units)} behind its bottom for "
        f"{kpi.spread_hours[k]:,.0f} h of cooling and holding."
    )
    if kpi.people_co2_hours[k] >= 0.5:
        line += (
            " CO2 rises while fresh air would wet, warm or chill the crop: the advice then keeps "
            "the bay shut, where the timer opens it. Air it before anybody goes in, and test the "
            "air."
        )
    return line


def _refrigeration(bay: Bay, units: UnitSystem) -> str:
    plant = bay.refrigeration
    return "none" if plant is None else show(plant.capacity, "W refrigeration", units)


def alternative_lines(found: Alternatives, units: UnitSystem) -> list[str]:
    """The table under its heading."""
    return [HEAD, "", *table(alternative_rows(found, units)), "", *found.left_out, REMARK]


def alternatives_data(found: Alternatives) -> list[dict[str, Any]]:
    """A record for each airflow; keys with units."""
    records = []
    for k, one in enumerate(found.sizings):
        figures = {row.key: float(getattr(found.kpi, row.field)[k] * row.scale) for row in ROWS}
        records.append(
            {
                "airflow_m3_s_t": one.air.airflow_per_tonne,
                "asked": one is found.asked,
                "fans": one.sized.fans.count,
                "airflow_m3_s": one.sized.fans.airflow,
                "static_pressure_pa": one.sized.fans.static_pressure,
                "power_w": one.air.power,
                "season": figures,
            }
        )
    return records
