"""Steps that are cut: by each bay's own need, and as good as short ones."""

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


def marched(state, velocity, step, count, **inflow):
    way = bed.passage(MODEL, velocity, step)
    for _ in range(count):
        state, _ = bed.march(MODEL, state, way, age=3e6, **inflow)
    return state


@pytest.mark.parametrize("hours", [1, 3, 12])
def test_warm_damp_air_on_a_cold_dry_bed(hours):
    """The first step already condenses, though the bed was dry when it began."""
    damp = air.humidity_ratio(15.0, 0.95, PRESSURE)
    start = bed.fresh_bed(MODEL, 5.0)
    inflow = {"inlet_temperature": 15.0, "inlet_humidity_ratio": damp}
    one = marched(start, 0.03, hours * HOUR, 1, **inflow)
    many = marched(start, 0.03, 60.0, 60 * hours, **inflow)
    assert one.temperature == approx(many.temperature, abs=0.05)
    assert np.max(one.temperature) < 15.2


def test_a_long_step_after_a_strong_wind():
    """The heat of the last, windy minute says nothing about a still day."""
    dry = air.humidity_ratio(8.0, 0.6, PRESSURE)
    start = replace(bed.fresh_bed(MODEL, 8.0), film=np.full(40, 1e-3), wet=True)
    inflow = {"inlet_temperature": 8.0, "inlet_humidity_ratio": dry}
    windy = marched(start, 0.05, 60.0, 1, **inflow)
    long = marched(windy, 2e-4, 24 * HOUR, 1, **inflow)
    short = marched(windy, 2e-4, 600.0, 144, **inflow)
    assert long.temperature == approx(short.temperature, abs=0.05)


@pytest.mark.parametrize("step", [HOUR, 24 * HOUR])
def test_a_bay_does_not_feel_its_batch_mates(step):
    """Wet, dry, windy and still bays side by side give what each gives alone."""
    velocities = np.array([0.04, 0.02, 2e-4, 0.01, 0.03])
    damp = np.array([0.95, 0.7, 0.9, 0.99, 0.5])
    ratio = air.humidity_ratio(12.0, damp, PRESSURE)
    film = np.zeros((40, 5))
    film[:3, 1] = 2e-4
    together = replace(bed.fresh_bed(MODEL, 7.0, 5), film=film, wet=True)
    inflow = {"inlet_temperature": 12.0, "inlet_humidity_ratio": ratio}
    for _ in range(3):
        together, all_out = bed.march(
            MODEL, together, bed.passage(MODEL, velocities, step), age=3e6, **inflow
        )
    for i in range(5):
        alone = replace(
            bed.fresh_bed(MODEL, 7.0), film=film[:, i].copy(), wet=bool(film[:, i].any())
        )
        way = bed.passage(MODEL, float(velocities[i]), step)
        for _ in range(3):
            alone, out = bed.march(
                MODEL, alone, way, age=3e6, inlet_temperature=12.0,
                inlet_humidity_ratio=float(ratio[i]),
            )  # fmt: skip
        assert together.temperature[:, i] == approx(alone.temperature, abs=1e-10)
        assert together.water_loss[:, i] == approx(alone.water_loss, abs=1e-14)
        assert together.film[:, i] == approx(alone.film, abs=1e-14)
        assert all_out.outlet_temperature[i] == approx(out.outlet_temperature, abs=1e-10)
        assert all_out.latent_heat[i] == approx(out.latent_heat, rel=1e-12)
