"""Small things to run: a pile for ten days, a season of some weeks."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ventcalc.bay.file import example_bay
from ventcalc.pile import bed
from ventcalc.pile.crop import crop_for
from ventcalc.season.run import run_season
from ventcalc.weather import example_weather

DAY = 86400.0


def through_a_pile():
    """Ten days of a small pile that cools, is wetted and dries."""
    pile = bed.Bed(
        height=4.0, bulk_density=650.0, tuber_diameter=0.06, pressure=101325.0,
        crop=crop_for("table"), conductivity=0.3, layers=6,
    )  # fmt: skip
    hours, warm = np.arange(240), np.linspace(6.0, 14.0, 6)
    return bed.run_steps(
        pile, bed.fresh_bed(pile, warm), step=3600.0, superficial_velocity=0.04,
        inlet_temperature=9.0 + 5.0 * np.sin(hours / 5.0),
        inlet_humidity_ratio=0.0065 + 0.0035 * np.sin(hours / 3.0), age=hours * 3600.0,
    )  # fmt: skip


def hurried(bay, **schedule):
    """A bay that is filled, healed, held and emptied within weeks."""
    dates = {
        "fill_start": "10-18", "fill_days": 2 * DAY, "healing_days": 1 * DAY,
        "warm_up_start": "11-02", "unloading_start": "11-05", "unloading_days": 2 * DAY,
    }  # fmt: skip
    return replace(bay, schedule=replace(bay.schedule, **{**dates, **schedule}))


def through_a_season(policy, **how):
    """The example's seed bay, hurried through a season of some weeks."""
    return run_season(hurried(example_bay("seed_bay")), example_weather(), policy, layers=5, **how)
