"""The compiled march and the one in numpy give the same numbers."""

from __future__ import annotations

import subprocess
import sys
from dataclasses import fields, replace

import numpy as np
import pytest

from ventcalc.physics import air, bed, bed_kernel
from ventcalc.physics.bed_state import Inflow
from ventcalc.physics.crop import crop_for

HOUR = 3600.0
BAYS = 70
"""More than one block of the compiled loop, and a rest."""


def a_step(bays, wet):
    rng = np.random.default_rng(4)

    def between(low, high):
        return rng.uniform(low, high, bays) if bays else float(rng.uniform(low, high))

    model = bed.Bed(
        height=between(4.0, 6.0), bulk_density=between(600.0, 700.0), pressure=between(90e3, 99e3),
        tuber_diameter=between(0.04, 0.07), crop=crop_for("fries"),
    )  # fmt: skip
    shape = (40, bays) if bays else (40,)
    film = np.where(rng.random(shape) < 0.3, rng.uniform(0.0, 2e-4, shape), 0.0)
    state = replace(
        bed.fresh_bed(model, 8.0, bays),
        temperature=rng.uniform(4.0, 34.0, shape),
        source=rng.uniform(-1.0, 2.0, shape),
        film=film if wet else np.zeros(shape),
        wet=wet,
        water_loss=rng.uniform(0.0, 0.03, shape),
        curing=between(0.0, 2e6),
    )
    damp = air.humidity_ratio(12.0, 0.98 if wet else 0.5, 95e3)
    inflow = Inflow(
        temperature=between(0.0, 12.0), humidity_ratio=between(0.5, 1.0) * damp,
        age=between(0.0, 1e7), heat_gain=between(-5.0, 5.0), top_heat=between(-5.0, 5.0),
        top_water=between(-1e-6, 1e-6),
    )  # fmt: skip
    return model, state, bed.passage(model, between(0.005, 0.04), HOUR), inflow


def assert_same(ours, theirs):
    for field in fields(ours):
        mine, reference = getattr(ours, field.name), getattr(theirs, field.name)
        scale = np.max(np.abs(np.nan_to_num(reference)))
        np.testing.assert_allclose(mine, reference, rtol=1e-12, atol=1e-12 * scale)


def test_numba_is_there():
    """Else the tests below would compare numpy with itself."""
    assert bed_kernel.kernel() is not None


@pytest.mark.parametrize("bays", [None, 1, BAYS])
@pytest.mark.parametrize("wet", [False, True], ids=["dry", "wet"])
def test_compiled_is_numpy(bays, wet):
    step = a_step(bays, wet)
    for ours, theirs in zip(bed._march_once(*step), bed.march_in_numpy(*step), strict=True):
        assert_same(ours, theirs)


def test_the_loop_that_is_compiled_is_the_loop_that_is_read(monkeypatch):
    """The same function uncompiled: what numba makes of it is what it says."""
    step = a_step(3, True)
    fast = bed._march_once(*step)
    monkeypatch.setattr(bed, "kernel", lambda: bed_kernel.march_layers)
    for ours, theirs in zip(bed._march_once(*step), fast, strict=True):
        assert_same(ours, theirs)


def test_nan_stays_in_its_bay():
    model, state, flow, inflow = a_step(BAYS, True)
    state.temperature[5, 3] = np.nan
    after, means = bed._march_once(model, state, flow, inflow)
    lost = np.isnan(after.temperature).any(axis=0)
    assert lost[3]
    assert lost.sum() == 1
    assert np.isnan(means.outlet_temperature).sum() == 1


def test_without_numba_numpy_marches(monkeypatch):
    step = a_step(None, True)
    fast = bed._march_once(*step)
    monkeypatch.setattr(bed_kernel, "find_spec", lambda name: None)
    bed_kernel.kernel.cache_clear()
    try:
        assert bed_kernel.kernel() is None
        for ours, theirs in zip(bed._march_once(*step), fast, strict=True):
            assert_same(ours, theirs)
    finally:
        bed_kernel.kernel.cache_clear()


def test_nowhere_to_keep_the_compiled_loop(tmp_path):
    """A place where nothing can be written costs time, not the result."""
    blocked = tmp_path / "file"
    blocked.write_text("")
    source = (
        "from ventcalc.physics.bed_kernel import kernel; from numba.core import config;"
        f"config.CACHE_DIR = {str(blocked / 'cache')!r}; assert kernel() is not None"
    )
    subprocess.run([sys.executable, "-c", source], check=True, timeout=120)


def test_advice_never_loads_numba():
    source = (
        "import sys; from ventcalc import *; from ventcalc.bay_file import example_bay;"
        "from ventcalc.decisions.advice import Readings, advise;"
        "advise(example_bay(), Readings(time=1.7e9, pulp_mean=8.0));"
        "assert 'numba' not in sys.modules"
    )
    subprocess.run([sys.executable, "-c", source], check=True, timeout=120)
