"""Many steps at once are the same steps one by one; series that do not fit are told."""

from __future__ import annotations

from dataclasses import fields, replace

import numpy as np
import pytest

from ventcalc import air
from ventcalc.errors import BadInput, OutOfRange
from ventcalc.pile import bed
from ventcalc.pile import series as bed_series
from ventcalc.pile.crop import crop_for

HOUR, PRESSURE = 3600.0, 92_000.0
STEPS = 260
MODEL = bed.Bed(
    height=4.0, bulk_density=650.0, tuber_diameter=0.06, pressure=PRESSURE,
    crop=crop_for("seed"), layers=8,
)  # fmt: skip
NUMBER, DAMP = np.arange(STEPS), air.humidity_ratio(8.0, 0.8, PRESSURE)
SERIES = {
    "superficial_velocity": np.where(NUMBER % 3 == 2, 3e-4, 0.02),
    "inlet_temperature": 8.0 + 4.0 * np.sin(NUMBER / 5.0),
    "inlet_humidity_ratio": DAMP * (1.0 + 0.3 * np.sin(NUMBER / 7.0)),
    "age": 1e6 + NUMBER * HOUR,
}  # fmt: skip
"""Fans on and off, air that cools, wets and dries."""


@pytest.fixture(params=["compiled", "plain"])
def way(request, monkeypatch):
    bed_series._loop_of.cache_clear()
    traced, calls = bed_series.traced_loop, []
    monkeypatch.setattr(
        bed_series, "traced_loop", lambda *a, **k: calls.append(1) or traced(*a, **k)
    )
    if request.param == "plain":
        monkeypatch.setattr(bed_series, "available", lambda: False)
    yield request.param
    assert bool(calls) == (request.param == "compiled")


def one_by_one(model, state, series):
    means = []
    for k in range(STEPS):
        now = {name: (x[k] if np.ndim(x) else x) for name, x in series.items()}
        flow = bed.passage(model, now.pop("superficial_velocity"), HOUR)
        state, mean = bed.march(model, state, flow, **now)
        means.append(mean)
    return state, means


def assert_same(ours, theirs):
    scale = np.max(np.abs(theirs))
    np.testing.assert_allclose(ours, theirs, rtol=1e-10, atol=1e-10 * scale)


def test_one_bay(way):
    start = bed.fresh_bed(MODEL, 12.0)
    floats = {name: x.tolist() for name, x in SERIES.items()}
    after, means = bed_series.march_through(MODEL, start, step=HOUR, **SERIES)
    expected, steps = one_by_one(MODEL, start, {k: np.array(v) for k, v in floats.items()})
    assert sum(np.sum(step.condensed) > 0.0 for step in steps) > 5
    for name in ("temperature", "film", "source", "water_loss", "dry_matter_loss", "curing"):
        assert_same(getattr(after, name), getattr(expected, name))
    assert after.wet is expected.wet
    for name in ("outlet_temperature", "outlet_humidity_ratio", "condensed", "co2", "latent_heat"):
        assert_same(getattr(means, name), [getattr(step, name) for step in steps])
    for name in ("evaporated", "respiration"):
        assert_same(getattr(means, name), [getattr(step, name).sum() for step in steps])


@pytest.mark.parametrize("own", [False, True], ids=["air for all", "air of their own"])
def test_bays_side_by_side_are_bays_alone(way, own):
    bays = 6
    model = replace(MODEL, height=np.linspace(3.0, 5.0, bays))
    series = dict(SERIES)
    if own:
        series["inlet_temperature"] = series["inlet_temperature"][:, None] + np.arange(bays) / 3.0
    start = bed.fresh_bed(model, 12.0, bays)
    after, means = bed_series.march_through(model, start, step=HOUR, workers=2, **series)
    assert {np.shape(getattr(means, f.name)) for f in fields(means)} == {(STEPS, bays)}
    for k in range(bays):
        single = replace(model, height=float(model.height[k]))
        mine = {name: (x if x.ndim == 1 else x[:, k]) for name, x in series.items()}
        alone, alone_means = bed_series.march_through(
            single, bed.fresh_bed(single, 12.0), step=HOUR, **mine
        )
        assert_same(after.temperature[:, k], alone.temperature)
        assert_same(means.outlet_humidity_ratio[:, k], alone_means.outlet_humidity_ratio)


def test_water_closes_over_all_steps(way):
    """What the layers gave to the air is what the air carried off."""
    start = bed.fresh_bed(MODEL, 12.0)
    _, means = bed_series.march_through(MODEL, start, step=HOUR, **SERIES)
    flow = SERIES["superficial_velocity"] * PRESSURE / (287.05 * 278.15)
    carried = flow * (means.outlet_humidity_ratio - SERIES["inlet_humidity_ratio"]) * HOUR
    assert np.sum(means.evaporated) * HOUR == pytest.approx(np.sum(carried), rel=1e-9)


def test_a_few_steps_are_not_worth_compiling(monkeypatch):
    monkeypatch.setattr(bed_series, "traced_loop", lambda *a, **k: pytest.fail("traced"))
    few = {name: x[:20] for name, x in SERIES.items()}
    after, means = bed_series.march_through(MODEL, bed.fresh_bed(MODEL, 12.0), step=HOUR, **few)
    assert means.co2.shape == (20,)
    assert np.isfinite(after.temperature).all()


@pytest.mark.parametrize(
    ("given", "kind", "words"),
    [
        ({"age": np.arange(7.0)}, BadInput, "same number of steps"),
        ({name: np.empty(0) for name in SERIES}, BadInput, "at least one step"),
        ({"inlet_temperature": 300.0}, OutOfRange, "inlet_temperature"),
        ({"inlet_humidity_ratio": np.inf}, OutOfRange, "inlet_humidity_ratio"),
        ({"superficial_velocity": 3.0}, OutOfRange, "superficial_velocity"),
        ({"workers": 0}, OutOfRange, "workers"),
    ],
)
def test_slips_are_named(given, kind, words, monkeypatch):
    start = bed.fresh_bed(MODEL, 12.0)
    for _ in ("compiled", "plain"):
        with pytest.raises(kind, match=words):
            bed_series.march_through(MODEL, start, step=HOUR, **{**SERIES, **given})
        monkeypatch.setattr(bed_series, "available", lambda: False)
