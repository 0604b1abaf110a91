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


@pytest.mark.parametrize("top", [5.0, 20.0])
@pytest.mark.parametrize("hours", [1, 3, 12])
def test_warm_damp_air_on_a_cold_dry_bed(hours, top):
    """The first step already condenses, though the bed was dry when it began, if warm on top."""
    damp = air.humidity_ratio(15.0, 0.95, PRESSURE)
    start = bed.fresh_bed(MODEL, np.where(np.arange(40) < 36, 5.0, top))
    inflow = {"inlet_temperature": 15.0, "inlet_humidity_ratio": damp}
    one = stepped(start, 0.03, hours * HOUR, 1, **inflow)
    many = stepped(start, 0.03, 60.0, 60 * hours, **inflow)
    assert one.temperature == approx(many.temperature, abs=0.05)
    assert np.max(one.temperature[:36]) < 15.2


@pytest.mark.parametrize("hours", [6, 24])
def test_much_nearly_saturated_air_on_a_wet_bed(hours):
    """There is hardly anything to dry, but air and film trade all they have many times over."""
    damp = air.humidity_ratio(8.0, 0.995, PRESSURE)
    start = replace(bed.fresh_bed(MODEL, 8.0), film=np.full(40, 0.01))
    inflow = {"inlet_temperature": 8.0, "inlet_humidity_ratio": damp}
    long = stepped(start, 0.08, hours * HOUR, 1, **inflow)
    short = stepped(start, 0.08, 60.0, 60 * hours, **inflow)
    assert long.temperature == approx(short.temperature, abs=5e-3)


@pytest.mark.parametrize("hours", [3, 8, 24])
def test_a_long_step_after_a_strong_wind(hours):
    """The heat of the last, windy minute says nothing about a still day."""
    dry = air.humidity_ratio(8.0, 0.6, PRESSURE)
    start = replace(bed.fresh_bed(MODEL, 8.0), film=np.full(40, 1e-3))
    inflow = {"inlet_temperature": 8.0, "inlet_humidity_ratio": dry}
    windy = stepped(start, 0.05, 60.0, 1, **inflow)
    long = stepped(windy, 2e-4, hours * HOUR, 1, **inflow)
    short = stepped(windy, 2e-4, 600.0, 6 * hours, **inflow)
    assert long.temperature == approx(short.temperature, abs=0.05)


def test_a_trace_of_water_dries_the_crop_no_less_than_none():
    """Where the film is gone within the step, the skin gives water for the rest of it."""
    dry = air.humidity_ratio(8.0, 0.6, PRESSURE)
    start = bed.fresh_bed(MODEL, 8.0)
    inflow = {"inlet_temperature": 8.0, "inlet_humidity_ratio": dry}
    without = stepped(start, 0.03, HOUR, 1, **inflow)
    trace = stepped(replace(start, film=np.full(40, 1e-9)), 0.03, HOUR, 1, **inflow)
    assert not trace.film.any()
    assert np.min(without.water_loss) > 1e-8
    assert trace.water_loss == approx(without.water_loss, rel=0.05)
