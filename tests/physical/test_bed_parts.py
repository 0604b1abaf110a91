"""Steps that are cut are as good as short ones."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from ventcalc import air
from ventcalc.pile import bed
from ventcalc.pile.crop import crop_for

approx = pytest.approx

HOUR = 3600.0
PRESSURE = 92_000.0
MODEL = bed.Bed(
    height=5.0, bulk_density=650.0, tuber_diameter=0.06, pressure=PRESSURE, crop=crop_for("table")
)


def stepped(state, velocity, step, count, **inflow):
    for _ in range(count):
        state, _ = bed.step(
            MODEL, state, step=step, superficial_velocity=velocity, age=3e6, **inflow
        )
    return state


@pytest.mark.parametrize("hours", [1, 3, 12])
def test_warm_damp_air_on_a_cold_dry_bed(hours):
    """The first step already condenses, though the bed was dry when it began."""
    damp = air.humidity_ratio(15.0, 0.95, PRESSURE)
    start = bed.fresh_bed(MODEL, 5.0)
    inflow = {"inlet_temperature": 15.0, "inlet_humidity_ratio": damp}
    one = stepped(start, 0.03, hours * HOUR, 1, **inflow)
    many = stepped(start, 0.03, 60.0, 60 * hours, **inflow)
    assert one.temperature == approx(many.temperature, abs=0.05)
    assert np.max(one.temperature) < 15.2


def test_a_long_step_after_a_strong_wind():
    """The heat of the last, windy minute says nothing about a still day."""
    dry = air.humidity_ratio(8.0, 0.6, PRESSURE)
    start = replace(bed.fresh_bed(MODEL, 8.0), film=np.full(40, 1e-3))
    inflow = {"inlet_temperature": 8.0, "inlet_humidity_ratio": dry}
    windy = stepped(start, 0.05, 60.0, 1, **inflow)
    long = stepped(windy, 2e-4, 24 * HOUR, 1, **inflow)
    short = stepped(windy, 2e-4, 600.0, 144, **inflow)
    assert long.temperature == approx(short.temperature, abs=0.05)
