"""Results for other programs: dictionaries for JSON, and the hours of a season as CSV."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict
from typing import Any

from ventcalc.advice.advise import Action, Advice, Memory
from ventcalc.advice.alarms import alarms
from ventcalc.advice.memory_file import memory_to_dict
from ventcalc.advice.outside_air import Binding, Verdict
from ventcalc.advice.readings_file import ReadingsFile
from ventcalc.advice.reasons import reasons
from ventcalc.air import AirState
from ventcalc.bay.calendar import STAGES
from ventcalc.bay.description import Bay
from ventcalc.report.cautions import CAUTION
from ventcalc.report.numbers import rounded
from ventcalc.report.season_days import local, stamps
from ventcalc.report.season_rows import ROWS, equipment_lines, published_lines
from ventcalc.report.table import csv_text
from ventcalc.season.likely import Likely
from ventcalc.season.run import TRACES, Season
from ventcalc.units import UnitSystem, reworded

__all__ = ["POSITIONS", "advice_data", "air_data", "likely_data", "season_csv", "season_data"]


POSITIONS = ("fan_speed", "door_opening", "humidifier", "refrigeration", "heater")
"""Of the devices in advice."""


def advice_data(
    bay: Bay,
    given: ReadingsFile,
    advice: Advice,
    memory: Memory,
    units: UnitSystem = "metric",
) -> dict[str, Any]:
    """One piece of advice for JSON."""
    now = advice.situation

    def supply(value: float) -> float | None:
        return rounded(value) if advice.fan_speed > 0.0 else None

    return {
        "bay": bay.name,
        "time": local(bay, now.readings.time).isoformat(),
        "stage": STAGES[int(now.stage)],
        "target_c": rounded(now.target),
        "action": Action(int(advice.action)).name.lower(),
        **{name: rounded(getattr(advice, name)) for name in POSITIONS},
        "plenum_temp_c": supply(advice.plenum_temperature),
        "plenum_rh": supply(advice.plenum_relative_humidity),
        "plenum_dew_point_c": supply(advice.plenum_dew_point),
        "plenum_rh_measured": rounded(given.readings.plenum_relative_humidity),
        "valid_until": local(bay, now.readings.time + advice.valid_for).isoformat(),
        "alarms": [asdict(alarm) for alarm in alarms(advice, bay, memory, units)],
        "not_believed": [reworded(doubt, units) for doubt in given.doubts],
        "reasons": list(reasons(advice, bay, units)),
        "outside_air": _outside_data(advice),
        "caution": CAUTION,
        "memory": memory_to_dict(memory),
    }


def _outside_data(advice: Advice) -> dict[str, Any]:
    air = advice.outside
    return {
        "verdict": Verdict(int(air.verdict)).name.lower(),
        "binding": Binding(int(air.binding)).name.lower(),
        "cooling_kw": rounded(air.cooling / 1000.0),
        "pile_rate_k_per_h": rounded(air.pile_rate * 3600.0),
        "fresh_fraction": rounded(air.fresh_fraction),
        "margins": {
            "cold_k": rounded(air.cold_margin),
            "floor_k": rounded(air.floor_margin),
            "wetting_k": rounded(air.wetting_margin),
            "wetting_uncertainty_k": rounded(air.wetting_uncertainty),
            "drip_k": rounded(air.drip_margin),
        },
    }


def air_data(state: AirState) -> dict[str, float | None]:
    """A state of moist air for JSON."""
    return {
        "temp_c": rounded(state.temperature),
        "rh": rounded(state.relative_humidity),
        "dew_point_c": rounded(state.dew_point),
        "wet_bulb_c": rounded(state.wet_bulb),
        "humidity_ratio_kg_kg": rounded(state.humidity_ratio),
        "enthalpy_j_kg": rounded(state.enthalpy),
        "specific_volume_m3_kg": rounded(state.specific_volume),
        "density_kg_m3": rounded(state.density),
        "pressure_pa": rounded(state.pressure),
    }


def season_data(seasons: Sequence[Season], units: UnitSystem = "metric") -> dict[str, Any]:
    """Seasons of one bay for JSON."""
    first = seasons[0]
    return {
        "bay": first.bay.name,
        "mass_loaded_t": rounded(first.bay.mass / 1000.0),
        "weather": first.weather_name,
        "notes": list(first.notes),
        "first_load": _stamp(first, 0),
        "last_hour": _stamp(first, -1),
        "currency": first.bay.costs.currency,
        "policies": {
            season.policy: {
                **{row.key: rounded(row.number(season)) for row in ROWS},
                "sanity": [*published_lines(season, units), *equipment_lines(season, units)],
            }
            for season in seasons
        },
    }


def _stamp(season: Season, row: int) -> str:
    return local(season.bay, stamps(season)[row]).isoformat()


_COLUMNS: dict[str, tuple[str, float]] = {
    "outside_temperature": ("outside_temp_c", 1.0),
    "outside_humidity_ratio": ("outside_humidity_ratio_kg_kg", 1.0),
    "target": ("target_c", 1.0),
    "pulp_bottom": ("pulp_bottom_c", 1.0),
    "pulp_middle": ("pulp_middle_c", 1.0),
    "pulp_top": ("pulp_top_c", 1.0),
    "pulp_mean": ("pulp_mean_c", 1.0),
    "plenum_temperature": ("plenum_temp_c", 1.0),
    "return_temperature": ("return_temp_c", 1.0),
    "return_relative_humidity": ("return_rh", 1.0),
    "ceiling_temperature": ("ceiling_temp_c", 1.0),
    "ceiling_margin": ("ceiling_margin_k", 1.0),
    "wetting_margin": ("wetting_margin_k", 1.0),
    "co2": ("co2_ppm", 1e6),
    "film": ("film_kg_kg", 1.0),
    "drip": ("drip_kg_s", 1.0),
    "fan_power": ("fan_power_w", 1.0),
    "coil_power": ("coil_power_w", 1.0),
    "heater_power": ("heater_power_w", 1.0),
    "humidifier_power": ("humidifier_power_w", 1.0),
}
"""Column of a trace, and the factor into its unit; other traces are fractions 0-1."""


def likely_data(likely: Mapping[str, Likely]) -> dict[str, Any]:
    """Likely ranges for JSON."""
    rows = {row.field: row for row in ROWS}
    return {
        "likely": {
            rows[name].key: {
                "p10": rounded(one.low * rows[name].scale),
                "p90": rounded(one.high * rows[name].scale),
                "matters_most": one.matters_most,
                "rank_correlation": rounded(one.rank_correlation),
            }
            for name, one in likely.items()
        }
    }


def season_csv(seasons: Sequence[Season]) -> str:
    """The hours of one or several seasons."""
    rows = [["policy", "time", *(_COLUMNS.get(name, (name, 1.0))[0] for name in TRACES)]]
    for season in seasons:
        columns = [_cells(season, name) for name in TRACES]
        times = [local(season.bay, stamp).isoformat() for stamp in stamps(season)]
        rows += [[season.policy, *cells] for cells in zip(times, *columns, strict=True)]
    return csv_text(rows)


def _cells(season: Season, name: str) -> list[str]:
    values = season.traces[name].tolist()
    if name == "stage":
        return [STAGES[int(value)] for value in values]
    if name == "action":
        return [Action(int(value)).name.lower() for value in values]
    factor = _COLUMNS.get(name, (name, 1.0))[1]
    return ["" if x != x else f"{x * factor:.6g}" for x in values]
