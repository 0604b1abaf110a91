"""A simulated season as the log that its probes would have written."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from ventcalc import air
from ventcalc.pile.crop import crop_for
from ventcalc.report.season_days import local, stamps
from ventcalc.report.table import csv_text
from ventcalc.season.run import Season

__all__ = ["PROBES", "season_columns", "season_log_csv"]

Array = NDArray[np.float64]
PROBES = 5
"""Pulp probes, evenly from the lowest to the highest layer."""
JOULE_PER_KWH = 3.6e6


def season_columns(season: Season) -> tuple[Array, dict[str, Array]]:
    """
    Times [s] and columns of the log, units as in their names, without any error of a probe.

    A row stands at the end of its step: the positions that held through it, and where it led.
    """
    records, pressure = season.records, season.pressure
    begins = np.array(stamps(season))
    step = season.state.time - begins[-1]
    runs = records["runs"] > 0.0
    plenum = np.where(runs, records["plenum_temperature"], season.pulp[:, 0])
    wet = np.nan_to_num(records["plenum_humidity_ratio"], nan=0.005)
    moist = air.relative_humidity(plenum, wet, pressure)
    outside = season.traces["outside_temperature"]
    raw = air.relative_humidity(outside, season.traces["outside_humidity_ratio"], pressure)
    humidifier = season.installed.humidifier
    most = humidifier.capacity if humidifier is not None else 0.0
    at_rest = crop_for(season.bay.use).water_activity
    columns: dict[str, Any] = {
        "outside_temp_c": outside,
        "outside_rh": np.minimum(raw, 1.0),
        "return_temp_c": records["return_temperature"],
        "return_rh": np.minimum(season.traces["return_relative_humidity"], 1.0),
        "plenum_temp_c": plenum,
        "plenum_rh": np.minimum(np.where(runs, moist, at_rest), 1.0),
    }
    layers = np.linspace(0, season.pulp.shape[1] - 1, PROBES).round().astype(int)
    columns |= {f"pulp_{k + 1}_c": season.pulp[:, layer] for k, layer in enumerate(layers)}
    columns |= {"co2_ppm": records["co2"] * 1e6, "pressure_pa": np.full(len(begins), pressure)}
    columns |= {name: records[name] for name in ("fan_speed", "door_opening")}
    columns["humidifier"] = records["water_added"] / most if most > 0.0 else np.zeros(len(begins))
    columns |= {name: records[name] for name in ("refrigeration", "heater")}
    power = sum(records[f"{name}_power"] for name in ("fan", "coil", "heater", "humidifier"))
    columns["energy_kwh"] = power * step / JOULE_PER_KWH
    return begins + step, columns


def season_log_csv(season: Season) -> str:
    """
    The log of a season, for ``ventcalc diagnose``: local time with offset, units in the names.
    """
    time, columns = season_columns(season)
    top = season.installed.pile.height
    heights = np.linspace(0.5, len(season.pulp[0]) - 0.5, PROBES) / len(season.pulp[0]) * top
    head = f"# pulp_heights_m: {', '.join(f'{height:.2f}' for height in heights)}\n"
    cells = [[f"{value:.5g}" for value in column.tolist()] for column in columns.values()]
    ends = [local(season.bay, stamp).isoformat() for stamp in time.tolist()]
    return head + csv_text([["time", *columns], *zip(ends, *cells, strict=True)])
