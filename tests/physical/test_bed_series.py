"""Many steps at once are the same steps one by one, compiled or not; bad series are told."""

from __future__ import annotations

from dataclasses import fields, replace

import numpy as np
import pytest

from ventcalc import air, compiled
from ventcalc.errors import BadInput, OutOfRange
from ventcalc.pile import bed
from ventcalc.pile.crop import crop_for
from ventcalc.pile.step import MOST_CONDUCTION

HOUR, DAY, PRESSURE = 3600.0, 86400.0, 92_000.0
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
    "heat_gain": 10.0 * np.sin(NUMBER / 11.0),
}  # fmt: skip
"""Fans on and off, air that cools, wets and dries."""

both_ways = pytest.mark.parametrize("way", [True, False], ids=["compiled", "plain"])


def one_by_one(model, state, series):
    means = []
    for k in range(STEPS):
        now = {name: (float(x[k]) if np.ndim(x) else x) for name, x in series.items()}
        state, mean = bed.step(model, state, step=HOUR, **now)
        means.append(mean)
    return state, means


def assert_same(ours, theirs):
    scale = np.max(np.abs(theirs))
    np.testing.assert_allclose(ours, theirs, rtol=1e-10, atol=1e-10 * scale)


@both_ways
def test_one_bed(way):
    start = bed.fresh_bed(MODEL, 12.0)
    after, means = bed.run_steps(MODEL, start, step=HOUR, compiled=way, **SERIES)
    expected, steps = one_by_one(MODEL, start, SERIES)
    assert sum(step.condensed > 0.0 for step in steps) > 5
    for field in fields(bed.BedState):
        assert_same(getattr(after, field.name), getattr(expected, field.name))
    for name in bed.BedStep._fields:
        assert getattr(means, name).shape == (STEPS,)
        assert_same(getattr(means, name), [getattr(step, name) for step in steps])


@both_ways
def test_one_number_serves_every_step(way):
    still = {**SERIES, "inlet_temperature": 7.0, "heat_gain": -3.0}
    start = bed.fresh_bed(MODEL, 12.0)
    after, _ = bed.run_steps(MODEL, start, step=HOUR, compiled=way, **still)
    expected, _ = one_by_one(MODEL, start, still)
    assert_same(after.temperature, expected.temperature)


@both_ways
def test_water_closes_over_all_steps(way):
    """What the layers gave to the air is what the air carried off."""
    start = bed.fresh_bed(MODEL, 12.0)
    _, means = bed.run_steps(MODEL, start, step=HOUR, compiled=way, **SERIES)
    flow = SERIES["superficial_velocity"] * PRESSURE / (287.05 * 278.15)
    carried = flow * (means.outlet_humidity_ratio - SERIES["inlet_humidity_ratio"]) * HOUR
    assert np.sum(means.evaporated) * HOUR == pytest.approx(np.sum(carried), rel=1e-9)


# --- compiled -------------------------------------------------------------------------------


def wetted(model):
    return replace(bed.fresh_bed(model, 12.0), film=np.full(model.layers, 5e-4))


IMMATURE = replace(MODEL, layers=40, maturity="immature", crop=crop_for("chips"))
DRY_AIR = {**SERIES, "inlet_temperature": 8.0, "inlet_humidity_ratio": 0.8 * DAMP}
MISSING = {**SERIES, "inlet_temperature": np.where(NUMBER == 200, np.nan, 8.0)}
RUNS = {
    "dry": (IMMATURE, HOUR, DRY_AIR, bed.fresh_bed(IMMATURE, 12.0)),
    "wetted": (IMMATURE, HOUR, SERIES, wetted(IMMATURE)),
    "minutes": (MODEL, 60.0, SERIES, wetted(MODEL)),
    "days": (MODEL, DAY, SERIES, wetted(MODEL)),
    "thin layers": (replace(MODEL, layers=170), HOUR, SERIES, bed.fresh_bed(MODEL, 12.0)),
    "a gap in the air": (MODEL, HOUR, MISSING, wetted(MODEL)),
}


def run_of(name):
    model, step, series, start = RUNS[name]
    if len(start.temperature) != model.layers:
        start = bed.fresh_bed(model, np.linspace(5.0, 12.0, model.layers))
    return model, step, series, start


@pytest.mark.parametrize("name", RUNS)
def test_compiled_is_plain(name):
    """The same lines run either way: every state and every step to 1e-12."""
    model, step, series, start = run_of(name)
    after, means = bed.run_steps(model, start, step=step, compiled=True, **series)
    plain, steps = bed.run_steps(model, start, step=step, compiled=False, **series)
    for field in fields(bed.BedState):
        found, expected = getattr(after, field.name), getattr(plain, field.name)
        np.testing.assert_allclose(found, expected, rtol=1e-12, err_msg=field.name)
    for word in bed.BedStep._fields:
        found, expected = getattr(means, word), getattr(steps, word)
        np.testing.assert_allclose(found, expected, rtol=1e-12, err_msg=word)


def test_the_runs_are_what_they_say():
    """Dry throughout, wetted and drying again, conduction cut, air missing from an hour on."""
    for name in ("dry", "wetted"):
        model, step, series, start = run_of(name)
        after, means = bed.run_steps(model, start, step=step, **series)
        assert (np.max(means.condensed) > 0.0) == (name == "wetted")
        assert start.film.any() == (name == "wetted")
        assert not after.film.all()
    stiff = {
        name
        for name, (model, step, _, _) in RUNS.items()
        if model.conductivity / model.thickness * step > MOST_CONDUCTION * model.heat_capacity
    }
    assert stiff == {"thin layers"}
    model, step, series, start = run_of("a gap in the air")
    _, means = bed.run_steps(model, start, step=step, **series)
    assert np.isnan(means.outlet_temperature).tolist() == (NUMBER >= 200).tolist()


def test_a_few_steps_are_not_worth_compiling(monkeypatch):
    monkeypatch.setattr(compiled, "ready", lambda job: False)
    monkeypatch.setattr(compiled, "entry", lambda function: pytest.fail("compiled"))
    few = {name: x[:20] for name, x in SERIES.items()}
    after, means = bed.run_steps(MODEL, bed.fresh_bed(MODEL, 12.0), step=HOUR, **few)
    assert means.evaporated.shape == (20,)
    assert np.isfinite(after.temperature).all()


@pytest.mark.parametrize("ready", [False, True])
def test_many_steps_are_and_then_it_is_there(ready, monkeypatch):
    """By itself where the steps are many, or where machine code waits; never against the wish."""
    asked, said = [], []
    entry = compiled.entry
    monkeypatch.setattr(compiled, "ready", lambda job: ready)
    monkeypatch.setattr(compiled, "entry", lambda f: asked.append(1) or entry(f))
    monkeypatch.setattr(compiled, "mark_ready", said.append)
    monkeypatch.setattr(bed, "WORTH_COMPILING", STEPS + ready)
    start = bed.fresh_bed(MODEL, 12.0)
    bed.run_steps(MODEL, start, step=HOUR, compiled=False, **SERIES)
    assert (asked, said) == ([], [])
    bed.run_steps(MODEL, start, step=HOUR, **SERIES)
    assert (asked, said) == ([1], ["bed"])


def test_without_numba(monkeypatch):
    monkeypatch.setattr(compiled, "available", lambda: False)
    monkeypatch.setattr(bed, "WORTH_COMPILING", 1)
    monkeypatch.setattr(compiled, "entry", lambda function: pytest.fail("compiled"))
    start = bed.fresh_bed(MODEL, 12.0)
    after, _ = bed.run_steps(MODEL, start, step=HOUR, **SERIES)
    assert np.isfinite(after.temperature).all()
    with pytest.raises(BadInput, match=r'needs numba: .*"ventcalc\[fast\]"'):
        bed.run_steps(MODEL, start, step=HOUR, compiled=True, **SERIES)


# --- bad input ------------------------------------------------------------------------------


@both_ways
@pytest.mark.parametrize(
    ("given", "kind", "words"),
    [
        ({"age": np.arange(7.0)}, BadInput, "same number of steps"),
        ({name: np.empty(0) for name in SERIES}, BadInput, "at least one"),
        ({name: x[:, None] for name, x in SERIES.items()}, BadInput, "one for each step"),
        ({"inlet_temperature": 300.0}, OutOfRange, "inlet_temperature"),
        ({"inlet_humidity_ratio": np.inf}, OutOfRange, "inlet_humidity_ratio"),
        ({"superficial_velocity": 3.0}, OutOfRange, "superficial_velocity"),
        ({"age": -1.0}, OutOfRange, "age"),
        ({"heat_gain": 1e4}, OutOfRange, "^temperature must lie in -5 to 45"),
        ({"heat_gain": -1e4}, OutOfRange, "^temperature must lie in -5 to 45"),
    ],
)
def test_slips_are_named(given, kind, words, way):
    start = bed.fresh_bed(MODEL, 12.0)
    with pytest.raises(kind, match=words):
        bed.run_steps(MODEL, start, step=HOUR, compiled=way, **{**SERIES, **given})


@both_ways
def test_a_step_that_no_number_of_parts_makes_accurate_is_refused(way):
    """Also in the midst of others, and where a gap in the air follows."""
    missing = {**SERIES, "inlet_temperature": np.where(NUMBER == 200, np.nan, 40.0)}
    windy = {**missing, "superficial_velocity": 0.5, "inlet_humidity_ratio": 0.0, "heat_gain": 0.0}
    with pytest.raises(OutOfRange, match="parts must lie in 1 to 65536"):
        bed.run_steps(MODEL, wetted(MODEL), step=1000 * DAY, compiled=way, **windy)
