"""Compiled seasons are the plain ones: every key figure, every trace, alone and in a batch."""

from __future__ import annotations

from dataclasses import fields, replace
from functools import cache

import numpy as np
import pytest
from ventcalc._loop import Loop

from ventcalc.advice.policies import POLICIES, Positions
from ventcalc.bay.description import Heater
from ventcalc.bay.file import example_bay
from ventcalc.errors import OutOfRange
from ventcalc.season import steps as season_steps
from ventcalc.season.kpi import Kpi
from ventcalc.season.run import TRACES, run_season, run_seasons
from ventcalc.weather import example_weather
from ventcalc.weather.files import ARRAYS

DAY = 86400.0
LAYERS = 6


def short(bay, **schedule):
    """A season of thirty days, of which enough are frosty and enough are mild."""
    dates = {
        "fill_start": "10-10", "fill_days": 3 * DAY, "healing_days": 5 * DAY,
        "warm_up_start": "11-02", "unloading_start": "11-06", "unloading_days": 3 * DAY,
    }  # fmt: skip
    return replace(bay, schedule=replace(bay.schedule, **{**dates, **schedule}))


SEED = short(example_bay("seed_bay"))
FRY = short(example_bay("fry_bay"))
HEATED = replace(short(example_bay("seed_bay"), fill_start="10-15"), heater=Heater(capacity=3e4))
BARE = replace(SEED, humidifier=None)
BAYS = {"seed": SEED, "fry": FRY, "heated": HEATED, "without humidifier": BARE}


@cache
def weather():
    return example_weather()


@pytest.fixture
def calls(monkeypatch):
    """How often the steps were traced; plainly gone through where ``plain`` is set."""
    found = []
    traced = season_steps.traced_loop
    monkeypatch.setattr(
        season_steps, "traced_loop", lambda *a, **k: found.append(a) or traced(*a, **k)
    )
    return found


def plainly(monkeypatch):
    monkeypatch.setattr(season_steps, "available", lambda: False)


def assert_same(ours, theirs, name=""):
    np.testing.assert_allclose(ours, theirs, rtol=1e-9, atol=1e-12, err_msg=name)


@pytest.mark.parametrize("policy", list(POLICIES))
@pytest.mark.parametrize("bay", BAYS.values(), ids=list(BAYS))
def test_compiled_is_plain(bay, policy, calls, monkeypatch):
    compiled = run_season(bay, weather(), POLICIES[policy], layers=LAYERS)
    assert len(calls) == 1
    plainly(monkeypatch)
    plain = run_season(bay, weather(), POLICIES[policy], layers=LAYERS)
    assert len(calls) == 1
    for name in TRACES:
        assert_same(compiled.traces[name], plain.traces[name], name)
    for field in fields(Kpi):
        assert_same(getattr(compiled.kpi, field.name), getattr(plain.kpi, field.name), field.name)


def many():
    """Seven bays, a full group of lanes and a rest; some with a heater, some without humidifier."""
    shares = np.linspace(0.6, 1.5, 7).tolist()
    return [
        replace(
            bay := (SEED, HEATED, BARE)[k % 3],
            use="seed",
            fans=replace(bay.fans, airflow=bay.fans.airflow * share),
            schedule=SEED.schedule,
        )
        for k, share in enumerate(shares)
    ]


@pytest.mark.parametrize("policy", ["advice", "clock"])
def test_a_bay_in_a_batch_is_the_bay_alone(policy, calls):
    """To the last bit but that of a few sums: lanes of a vector do what a single number does."""
    together = run_seasons(many(), weather(), POLICIES[policy], layers=LAYERS)
    for k, bay in enumerate(many()):
        alone = run_season(bay, weather(), POLICIES[policy], layers=LAYERS).kpi
        for field in fields(Kpi):
            ours = np.broadcast_to(getattr(together, field.name), 7)[k]
            np.testing.assert_allclose(
                ours, getattr(alone, field.name), rtol=1e-10, atol=1e-12, err_msg=field.name
            )
    assert len(calls) == 8


def test_a_compiled_batch_is_a_plain_batch(monkeypatch):
    compiled = run_seasons(many(), weather(), POLICIES["advice"], layers=LAYERS)
    plainly(monkeypatch)
    plain = run_seasons(many(), weather(), POLICIES["advice"], layers=LAYERS)
    for field in fields(Kpi):
        assert_same(getattr(compiled, field.name), getattr(plain, field.name), field.name)


def test_a_policy_from_outside_is_called_every_step(calls):
    """It may keep count, ask the time or toss a coin: it is never traced."""
    seen = []

    def counts(bay, readings, memory):
        seen.append(readings.time)
        return Positions(fan_speed=0.5 if len(seen) % 2 else 0.0), None

    found = run_season(SEED, weather(), counts, layers=LAYERS)
    assert seen == found.time.astype("datetime64[s]").astype(np.int64).tolist()
    assert len(calls) == 0
    assert found.kpi.fan_starts == len(seen) // 2 + len(seen) % 2


def test_a_short_season_is_not_worth_compiling(calls):
    brief = short(example_bay("seed_bay"), warm_up_start="10-20", unloading_start="10-22")
    found = run_season(brief, weather(), POLICIES["advice"], layers=LAYERS)
    assert len(found.time) < season_steps.WORTH_COMPILING
    assert len(calls) == 0


@pytest.mark.parametrize("bays", [None, 5])
def test_a_number_out_of_range_is_told_as_ever(bays, calls, monkeypatch):
    """Weather no store has seen: what compiled steps cannot say, the plain ones do."""
    whole = weather()
    frost = np.where(whole.time > np.datetime64("2018-10-28T12"), -90.0, whole.temperature)
    beyond = replace(whole, temperature=frost)

    def run():
        season = run_season if bays is None else run_seasons
        one = SEED if bays is None else [SEED] * bays
        with pytest.raises(OutOfRange) as caught:
            season(one, beyond, POLICIES["clock"], layers=LAYERS)
        return str(caught.value)

    compiled = run()
    plainly(monkeypatch)
    assert compiled == run()


def test_a_block_gone_through_plainly_changes_nothing(monkeypatch):
    """Blocks that fail are repeated from where the last one ended, not from the beginning."""
    whole = run_season(SEED, weather(), POLICIES["advice"], layers=LAYERS)
    steps, count = Loop.steps, []

    def fails_now_and_then(self, *given):
        count.append(1)
        return None if len(count) % 2 else steps(self, *given)

    monkeypatch.setattr(Loop, "steps", fails_now_and_then)
    mixed = run_season(SEED, weather(), POLICIES["advice"], layers=LAYERS)
    assert len(count) > 2
    for name in TRACES:
        assert_same(mixed.traces[name], whole.traces[name], name)


def test_steps_of_three_hours(monkeypatch):
    """Long steps look at the last source of heat too, and are cut by it."""
    whole = weather()
    coarse = replace(whole, step=3 * 3600.0, **{n: getattr(whole, n)[::3] for n in ARRAYS})
    monkeypatch.setattr(season_steps, "WORTH_COMPILING", 100)
    compiled = run_season(SEED, coarse, POLICIES["advice"], layers=LAYERS)
    plainly(monkeypatch)
    plain = run_season(SEED, coarse, POLICIES["advice"], layers=LAYERS)
    assert 200 < len(plain.time) < 260
    for name in TRACES:
        assert_same(compiled.traces[name], plain.traces[name], name)


def test_layers_so_thin_that_conduction_cuts_the_step(calls):
    """They are not compiled, and not tried in vain."""
    thin = run_season(SEED, weather(), POLICIES["nothing"], layers=170)
    assert len(calls) == 0
    coarse = run_season(SEED, weather(), POLICIES["nothing"], layers=40)
    assert len(calls) == 1
    assert thin.kpi.mass_loss == pytest.approx(coarse.kpi.mass_loss, rel=0.05)
