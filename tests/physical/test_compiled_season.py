"""Compiled seasons are the plain ones: every key figure, every trace, alone and side by side."""

from __future__ import annotations

from dataclasses import fields, replace
from functools import cache

import numpy as np
import pytest

from ventcalc import compiled as machine
from ventcalc.advice.policies import POLICIES, Positions
from ventcalc.bay.description import Heater
from ventcalc.bay.file import example_bay
from ventcalc.errors import OutOfRange
from ventcalc.season import course as season_course
from ventcalc.season.batch import run_seasons
from ventcalc.season.course import WORTH_COMPILING
from ventcalc.season.kpi import Kpi
from ventcalc.season.run import TRACES, run_season
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
def weather_once():
    return example_weather()


def both(bay, policy, weather=None, **how):
    """The season in machine code, and in plain Python."""
    weather = weather_once() if weather is None else weather
    given = {"layers": LAYERS, **how}
    return [run_season(bay, weather, policy, compiled=way, **given) for way in (True, False)]


def assert_same(ours, theirs):
    for name in TRACES:
        np.testing.assert_allclose(
            ours.traces[name], theirs.traces[name], rtol=1e-9, atol=1e-12, err_msg=name
        )
    assert_same_figures(ours.kpi, theirs.kpi, 1e-9)


def assert_same_figures(ours, theirs, rtol, place=None):
    for field in fields(Kpi):
        one = getattr(ours, field.name)
        one = one if place is None else one[place]
        np.testing.assert_allclose(
            one, getattr(theirs, field.name), rtol=rtol, atol=1e-12, err_msg=field.name
        )


@pytest.mark.parametrize("policy", list(POLICIES))
@pytest.mark.parametrize("bay", BAYS.values(), ids=list(BAYS))
def test_compiled_is_plain(bay, policy):
    assert_same(*both(bay, policy))


def many():
    """Seven bays; some with a heater, some without humidifier."""
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
@pytest.mark.parametrize("workers", [1, 3])
def test_a_bay_among_many_is_the_bay_alone(policy, workers):
    together = run_seasons(
        many(), weather_once(), policy, layers=LAYERS, workers=workers, compiled=True
    )
    for k, bay in enumerate(many()):
        alone = run_season(bay, weather_once(), policy, layers=LAYERS, compiled=True).kpi
        assert_same_figures(together, alone, 1e-10, place=k)


def test_many_compiled_are_many_plain():
    ours, theirs = (
        run_seasons(many(), weather_once(), layers=LAYERS, compiled=way) for way in (True, False)
    )
    assert_same_figures(ours, theirs, 1e-9)


@pytest.mark.parametrize("compiled", [True, False])
def test_a_policy_from_outside_is_called_every_step(compiled):
    """It may keep count, ask the time or toss a coin: it is never compiled."""
    seen = []

    def counts(bay, readings, memory):
        seen.append(readings.time)
        return Positions(fan_speed=0.5 if len(seen) % 2 else 0.0), None

    found = run_season(SEED, weather_once(), counts, layers=LAYERS, compiled=compiled)
    assert seen == found.time.astype("datetime64[s]").astype(np.int64).tolist()
    assert found.kpi.fan_starts == len(seen) // 2 + len(seen) % 2


@pytest.fixture
def asked(monkeypatch):
    """Names of the functions whose machine code was asked for."""
    found = []
    entry = machine.entry
    monkeypatch.setattr(machine, "entry", lambda f: found.append(f.__name__) or entry(f))
    return found


def test_a_single_season_waits_for_no_compiler(asked, monkeypatch):
    """Machine code is taken where it is ready, or worth its while; else the plain way is."""
    brief = short(example_bay("seed_bay"), warm_up_start="10-20", unloading_start="10-22")

    def bays(count):
        run_seasons([brief] * count, weather_once(), "nothing", layers=LAYERS)
        used = bool(asked)
        asked.clear()
        return used

    monkeypatch.setattr(machine, "ready", lambda name: False)
    run_season(brief, weather_once(), "nothing", layers=LAYERS)
    assert not asked
    assert not bays(WORTH_COMPILING - 1)
    assert bays(WORTH_COMPILING)
    monkeypatch.setattr(machine, "ready", lambda name: name == "season-nothing")
    run_season(brief, weather_once(), "clock", layers=LAYERS)
    assert not asked
    run_season(brief, weather_once(), "nothing", layers=LAYERS)
    assert asked
    asked.clear()
    assert bays(1)
    run_season(brief, weather_once(), "nothing", layers=LAYERS, compiled=False)
    assert not asked


@pytest.mark.parametrize("bays", [None, 5])
def test_a_number_out_of_range_is_told_the_same_either_way(bays):
    """Frost no store has seen, and doors that do not shut: what it is, and at which hour."""
    whole = weather_once()
    frost = np.where(whole.time > np.datetime64("2018-10-28T12"), -49.5, whole.temperature)
    beyond = replace(whole, temperature=frost)
    open_to_all = replace(SEED, doors=replace(SEED.doors, leakage_fraction=0.95))

    def told(compiled):
        season = run_season if bays is None else run_seasons
        one = open_to_all if bays is None else [open_to_all] * bays
        with pytest.raises(OutOfRange) as caught:
            season(one, beyond, "clock", layers=LAYERS, compiled=compiled)
        return str(caught.value)

    assert told(True) == told(False)
    assert "inlet_temperature must lie in -40 to 45 °C" in told(True)
    assert "at 2018-10-29T04:00:00 UTC" in told(True)  # 22 o'clock in Denver, when the fans start


@pytest.mark.parametrize("block", [1, 7, 10_000])
def test_blocks_of_steps_change_nothing(block, monkeypatch):
    """They only say how often whoever waits is told."""
    brief = short(example_bay("seed_bay"), warm_up_start="10-20", unloading_start="10-22")
    whole = both(brief, "advice")
    monkeypatch.setattr(season_course, "COMPILED_BLOCK", block)
    monkeypatch.setattr(season_course, "PLAIN_BLOCK", block)
    for one, other in zip(whole, both(brief, "advice"), strict=True):
        for name in TRACES:
            np.testing.assert_array_equal(one.traces[name], other.traces[name], err_msg=name)


def test_steps_of_three_hours():
    """Long steps look at the last source of heat too, and are cut by it."""
    whole = weather_once()
    coarse = replace(whole, step=3 * 3600.0, **{n: getattr(whole, n)[::3] for n in ARRAYS})
    compiled, plain = both(SEED, "advice", coarse)
    assert 200 < len(plain.time) < 260
    assert_same(compiled, plain)


def test_layers_so_thin_that_conduction_cuts_the_step():
    three_days = np.datetime64("2018-10-13T06")
    compiled, plain = both(SEED, "nothing", layers=170, until=three_days)
    assert_same(compiled, plain)
    coarse = both(SEED, "nothing", layers=40, until=three_days)[0]
    assert plain.kpi.mass_loss == pytest.approx(coarse.kpi.mass_loss, rel=0.05)
