"""The rows of a season's summary, once for text, page and JSON, and the sentences below it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from ventcalc.advice.setpoints import fan_power
from ventcalc.bay.calendar import HOLDING
from ventcalc.pile import crop as crop_module
from ventcalc.report.season_days import loss_at
from ventcalc.season.likely import Likely
from ventcalc.season.run import Season
from ventcalc.units import UnitSystem, convert, show

__all__ = ["ROWS", "control_words", "equipment_lines", "likely_lines", "per_tonne",
           "published_lines"]  # fmt: skip

TONS_PER_TONNE = 1.0 / 0.90718474  # short tons, NIST SP 811


def control_words(policy: str) -> str:
    """What people call a control method."""
    words = {
        "nothing": "no ventilation",
        "shadow_price": "shadow price",
        "plan": "plan (perfect forecast)",
        "plan_noisy": "plan (forecast that errs)",
    }
    return words.get(policy, policy)


def per_tonne(value: float, unit: str, units: UnitSystem) -> str:
    """An amount per mass of crop [unit/t]; in US units pounds or kWh per short ton."""
    if units == "metric":
        return f"{value:.2f} {unit}/t"
    if unit == "kg":
        return f"{value * 2.0:.2f} lb/ton"
    return f"{value / TONS_PER_TONNE:.2f} {unit}/ton"


Writer = Callable[[float, UnitSystem], str]


def _shown(unit: str, digits: int | None = None) -> Writer:
    return lambda value, units: show(value, unit, units, digits)


def _plain(unit: str, digits: int = 0) -> Writer:
    return lambda value, units: f"{value:,.{digits}f} {unit}".rstrip()


def _amount(unit: str) -> Writer:
    return lambda value, units: per_tonne(value, unit, units)


def _yes_or_no(value: float, units: UnitSystem) -> str:
    return "yes" if value else "no"


def _kelvin_hours(value: float, units: UnitSystem) -> str:
    number, _ = convert(value, "delta_degC", units)
    return f"{number:,.0f} {'K h' if units == 'metric' else '°F h'}"


def _ppm_hours(value: float, units: UnitSystem) -> str:
    return f"{value / 1000.0:,.0f} x 1,000 ppm h"


def _money(value: float, units: UnitSystem) -> str:
    return show(value / 1000.0, "money/kg", units, 2)


@dataclass(frozen=True, kw_only=True, slots=True)
class Row:
    """One result of a season."""

    group: str
    field: str
    """Attribute of ``Kpi``."""
    key: str
    """Key in JSON, with its unit."""
    words: str
    write: Writer
    scale: float = 1.0
    """Number in JSON per number of ``Kpi``."""

    def number(self, season: Season) -> float:
        """The result in the unit of its key."""
        return float(getattr(season.kpi, self.field) * self.scale)

    def text(self, season: Season, units: UnitSystem) -> str:
        """The result with its unit."""
        words = self.write(getattr(season.kpi, self.field), units)
        money = self.field.startswith("cost")
        return f"{season.bay.costs.currency} {words}" if money else words


def _rows(group: str, *rows: tuple[Any, ...]) -> tuple[Row, ...]:
    return tuple(
        Row(group=group, field=r[0], key=r[1], words=r[2], write=r[3], scale=(*r, 1.0)[4])
        for r in rows
    )


_PERCENT = _shown("1 percent", 2)
_HOURS, _MINUTES = _plain("h"), _plain("min")
_KWH, _KG = _amount("kWh"), _amount("kg")

ROWS: tuple[Row, ...] = (
    *_rows(
        "Pile temperature",
        ("band_kelvin_hours", "band_k_h", "Degree-hours off target while holding", _kelvin_hours),
        (
            "band_worst_layer_kelvin_hours",
            "band_worst_layer_k_h",
            "Degree-hours off target, worst depth",
            _kelvin_hours,
        ),
        ("off_plan_kelvin_hours", "off_plan_k_h", "Degree-hours off the calendar", _kelvin_hours),
        ("holding_missed", "holding_missed", "Holding temperature never reached", _yes_or_no),
        ("late_hours", "late_h", "Late at holding temperature", _HOURS),
        ("ramp_hours", "ramp_h", "Hours cooled too fast", _HOURS),
        ("spread_hours", "spread_h", "Top-to-bottom spread over its limit", _HOURS),
        (
            "mean_spread",
            "mean_spread_k",
            "Top-to-bottom spread while holding, mean",
            _shown("delta_degC"),
        ),
        ("coldest_tuber", "coldest_tuber_c", "Coldest pulp", _shown("degC")),
        ("hottest_tuber", "hottest_tuber_c", "Warmest pulp", _shown("degC")),
        ("frozen_minutes", "frozen_min", "Pulp cold enough for freezing injury", _MINUTES),
    ),
    *_rows(
        "Shrink before unloading, of the weight loaded",
        ("mass_loss", "mass_loss", "Shrink, all", _PERCENT),
        ("transpired_water", "transpired_water", "of which water transpired, gross", _PERCENT),
        ("carbon_loss", "carbon_loss", "of which carbon, gone as CO2", _PERCENT),
        ("dry_matter_loss", "dry_matter_loss", "Dry matter burned, all", _PERCENT),
        ("metabolic_water", "metabolic_water", "Water that it left in the tubers", _PERCENT),
        ("water_loss", "water_loss", "Water lost, net of that", _PERCENT),
        ("mass_loss_month_one", "mass_loss_month_one", "Shrink in the first 30 days", _PERCENT),
        ("mass_loss_later", "mass_loss_later", "Shrink a month after that, mean", _PERCENT),
    ),
    *_rows(
        "Wet potatoes, drip and fog",
        ("wet_crop_hours", "wet_crop_h", "Hours with wet potatoes", _HOURS),
        ("condensed_on_crop", "condensed_on_crop_kg_t", "Sweating on the crop", _KG),
        ("ceiling_drip_hours", "ceiling_drip_h", "Hours with ceiling below dew point", _HOURS),
        ("ceiling_drip", "ceiling_drip_kg_t", "Condensation on the ceiling", _KG),
        ("fog", "fog_kg_t", "Fog carried into the ducts", _KG),
    ),
    *_rows(
        "Supply air and fans",
        ("coldest_plenum", "coldest_plenum_c", "Coldest supply air", _shown("degC")),
        (
            "plenum_below_zero_minutes",
            "plenum_below_zero_min",
            "Supply air below freezing",
            _MINUTES,
        ),
        ("fan_hours", "fan_h", "Fan run time", _HOURS),
        ("fan_starts", "fan_starts", "Fan starts", _plain("")),
        ("door_travel", "door_travel", "Door movement, full strokes", _plain("")),
        ("humidifier_water", "humidifier_water_kg_t", "Water from the humidifier", _KG),
        ("co2_highest", "co2_highest_ppm", "Highest CO2", _shown("1 ppm"), 1e6),
        ("co2_excess", "co2_excess_ppm_h", "CO2 over its limit", _ppm_hours),
        ("people_co2_hours", "people_co2_h", "CO2 over 5,000 ppm", _HOURS),
        ("latched_hours", "latched_h", "Fans held off by freeze protection", _HOURS),
    ),
    *_rows(
        "Energy and cost",
        ("energy", "energy_kwh_t", "Electricity, all", _KWH),
        ("fan_energy", "fan_energy_kwh_t", "of which fans", _KWH),
        ("refrigeration_energy", "refrigeration_energy_kwh_t", "of which refrigeration", _KWH),
        ("heater_energy", "heater_energy_kwh_t", "of which heater", _KWH),
        ("humidifier_energy", "humidifier_energy_kwh_t", "of which humidifier", _KWH),
        ("peak_power", "peak_power_w", "Peak demand", _shown("W electrical", 1)),
        ("cost_energy", "cost_energy_per_t", "Cost of electricity", _money),
        ("cost_shrink", "cost_shrink_per_t", "Cost of shrink", _money),
    ),
)
"""Everything that ``Kpi`` holds, grouped, in the order in which it is printed."""


def fan_words(season: Season, units: UnitSystem = "metric") -> str:
    """What the fans move in this bay, beside their rated point."""
    rated, now = season.bay.fans, season.installed.fans
    if now is rated:
        return f"{show(rated.airflow, 'm3/s', units)} as rated; no fan curve, no ducts in the file"
    power = fan_power(season.installed, 1.0)
    return (
        f"{show(now.airflow, 'm3/s', units)} at {show(now.static_pressure, 'Pa', units)} and "
        f"{show(power, 'W electrical', units)} against ducts and full pile (rated "
        f"{show(rated.airflow, 'm3/s', units)} at {show(rated.static_pressure, 'Pa', units)})"
    )


def published_lines(season: Season, units: UnitSystem = "metric") -> tuple[str, ...]:
    """
    Respiration, spread and shrink beside published figures.

    [1] Storage of ware potatoes in permanent buildings II, J. Agric. Sci. (Cambridge): heat of
    mature potatoes once settled, 30 to 50 Btu/h per long ton.
    [2] P. Bethke, in The Potato: Botany, Production and Uses, ch. 15: top less bottom.
    [3] N. Olsen, M. Frazier, Univ. of Idaho: mass loss about 3 % in the first month and about 5 %
    in five.
    """
    low, high = (show(x, "W/kg", units) for x in (8.65e-3, 14.4e-3))
    even = " to ".join(show(x, "delta_degC", units, 1) for x in (0.6, 0.8))
    month, five = (loss_at(season, days) for days in (30, 150))
    later = ""
    if five == five:
        later = (
            f"; {show((five - month) / 4, '1 percent', units, 2)} a month in between (about 0.5 %)"
        )
    return (
        f"Respiration while holding: {show(_respiration(season), 'W/kg', units)} "
        f"(mature crop once settled: {low} to {high}, J. Agric. Sci. Cambridge).",
        f"Top-to-bottom spread while holding: "
        f"{show(season.kpi.mean_spread, 'delta_degC', units)} "
        f"({even} works well, Bethke, The Potato, ch. 15).",
        f"Shrink: {show(month, '1 percent', units)} after 30 days, "
        f"{show(five, '1 percent', units)} after 150 (about 3 % and 5 %, Olsen and Frazier, Univ. "
        f"of Idaho){later}.",
    )


def equipment_lines(season: Season, units: UnitSystem = "metric") -> tuple[str, ...]:
    """What the fans move, how long they ran, and the electricity of the season."""
    kpi, hours = season.kpi, len(season.time)
    return (
        f"Fans: {fan_words(season, units)}.",
        f"Fans ran {kpi.fan_hours:,.0f} of {hours:,} h ({kpi.fan_hours / hours:.0%}), "
        f"{kpi.fan_hours / hours * 24:.1f} h a day.",
        f"Electricity: {per_tonne(kpi.energy, 'kWh', units)}, "
        f"{kpi.energy * season.bay.mass / 1000:,.0f} kWh in all.",
    )


def likely_lines(
    season: Season, likely: Mapping[str, Likely], units: UnitSystem = "metric"
) -> tuple[str, ...]:
    """Key figures with their likely range, and the parameter that matters most to each."""
    rows = {row.field: row for row in ROWS}
    return tuple(
        f"{rows[name].words}: {rows[name].text(season, units)}, likely "
        f"{rows[name].write(one.low, units)} to {rows[name].write(one.high, units)} (10 to 90 %); "
        f"what matters most is {_CROP_WORDS[one.matters_most]} (rank correlation "
        f"{one.rank_correlation:.2f})."
        for name, one in likely.items()
    )


_CROP_WORDS = {
    "transpiration_cured": "transpiration of healed skin",
    "respiration_settled": "respiration once settled",
    "water_activity": "water activity of the skin",
}


def _respiration(season: Season) -> float:
    """Mean heat of respiration while holding, from the dry matter burned. [W/kg]"""
    held = np.flatnonzero(season.traces["stage"] == HOLDING)
    if len(held) < 2:
        return float("nan")
    burned = season.traces["dry_matter_loss"][held]
    seconds = (season.time[held[-1]] - season.time[held[0]]) / np.timedelta64(1, "s")
    per_heat = crop_module.dry_matter_rate(1.0, crop_module.crop_for(season.bay.use))
    return float((burned[-1] - burned[0]) / seconds / per_heat)
