"""The plan: its bound lies below every plan, its prices move it, its hours keep the rules."""

from __future__ import annotations

from dataclasses import replace
from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from small_runs import hurried

from ventcalc.advice.policies import advice
from ventcalc.advice.readings import START
from ventcalc.bay.file import example_bay
from ventcalc.errors import BadInput, OutOfRange
from ventcalc.outlook.state import state_of_season
from ventcalc.plan.certified import Stages, cheapest, constant_price, nearly_cheapest
from ventcalc.plan.reduced import OUTSIDE, REST, Pile, actions_of, respiration_at, stages_of
from ventcalc.plan.rolling import noisy, perfect, rolling
from ventcalc.plan.tariff import flat, tariff_of
from ventcalc.plan.week import plan_week
from ventcalc.season.plan import plan_of
from ventcalc.season.run import run_season
from ventcalc.weather import example_weather
from ventcalc.weather.forecast import Forecast
from ventcalc.weather.parts import steps_of

NOW = np.datetime64("2018-10-24T12:00")
HOURS, ACTIONS, POINTS = 5, 3, 41


def some_stages(seed: int, points: int = POINTS) -> Stages:
    """Hours of random slopes, linear between the points of a coarse grid, whatever the fine one."""
    rng, coarse = np.random.default_rng(seed), np.linspace(0.0, 4.0, POINTS)
    grid = np.linspace(0.0, 4.0, points)
    shape = (HOURS, ACTIONS, 1)
    after = coarse * rng.uniform(0.7, 1.0, shape) + rng.uniform(-0.6, 0.8, shape)
    cost = rng.uniform(0.0, 1.0, shape) + np.abs(coarse - rng.uniform(0.0, 4.0, shape))
    after, cost = np.clip(after, 0.0, 4.0), np.broadcast_to(cost, after.shape)
    ends = np.abs(coarse - 2.0)

    def finer(values: np.ndarray) -> np.ndarray:
        return np.apply_along_axis(lambda one: np.interp(grid, coarse, one), -1, values)

    return Stages(grid, finer(after), finer(cost), finer(ends))


def best_of_all(stages: Stages, start: float) -> float:
    """Every sequence of actions, followed to the end."""
    costs = []
    for way in product(range(ACTIONS), repeat=HOURS):
        at, total = start, 0.0
        for k, action in enumerate(way):
            total += np.interp(at, stages.temperatures, stages.cost[k, action])
            at = np.interp(at, stages.temperatures, stages.next_temperature[k, action])
        costs.append(total + np.interp(at, stages.temperatures, stages.ends))
    return float(min(costs))


@settings(max_examples=40, deadline=None)
@given(seed=st.integers(0, 10**6), start=st.floats(0.0, 4.0))
def test_no_plan_is_cheaper_than_the_bound(seed, start):
    stages = some_stages(seed)
    found, best = cheapest(stages, start), best_of_all(stages, start)
    assert found.bound <= best + 1e-9
    assert found.cost >= best - 1e-9
    assert found.costs.sum() == pytest.approx(found.cost)
    assert constant_price(stages, start, np.linspace(0.0, 2.0, 9)) >= best - 1e-9


@settings(max_examples=20, deadline=None)
@given(seed=st.integers(0, 10**6), start=st.floats(0.0, 4.0))
def test_the_quick_plan_costs_what_it_says_and_hardly_more_than_the_best(seed, start):
    stages = some_stages(seed, 401)
    actions, cost = nearly_cheapest(stages, start)
    at, total = start, 0.0
    for k, action in enumerate(actions):
        total += np.interp(at, stages.temperatures, stages.cost[k, action])
        at = np.interp(at, stages.temperatures, stages.next_temperature[k, action])
    assert cost == pytest.approx(total + np.interp(at, stages.temperatures, stages.ends))
    assert cost <= 1.01 * best_of_all(stages, start) + 1e-9


def test_the_gap_closes_with_the_grid():
    gaps = [cheapest(some_stages(7, points), 1.234) for points in (41, 401, 4001)]
    widths = [one.cost - one.bound for one in gaps]
    assert widths[2] < 0.2 * widths[0] or widths[0] < 1e-9
    assert widths[2] < 0.01 * gaps[2].cost


def test_off_the_grid_is_refused():
    stages = some_stages(1)
    with pytest.raises(BadInput, match="grid goes from"):
        cheapest(stages, 5.0)
    with pytest.raises(BadInput, match="off the grid"):
        cheapest(stages._replace(next_temperature=stages.next_temperature + 1.0), 1.0)


@pytest.fixture(scope="module")
def ahead():
    """A bay in its cool-down, and five days of the weather that follows."""
    bay, weather = hurried(example_bay("seed_bay")), example_weather()
    before = run_season(bay, weather, layers=8, until=NOW, compiled=False)
    row = int(np.flatnonzero(weather.time == NOW)[0])
    cut = steps_of(weather, slice(row, row + 120))
    issued = float(cut.time[0].astype("datetime64[s]").astype(int))
    return bay, state_of_season(before, weather), Forecast(weather=cut, issued=issued)


def fan_hours(plan, cheap):
    """Share of the planned fan hours in the hours of the local day that are cheap."""
    runs = [hour for hour in plan.hours if hour.action.kind != REST]
    return sum(hour.price <= cheap for hour in runs) / len(runs)


def test_the_plan_is_proven_and_keeps_the_rules(ahead):
    bay, state, forecast = ahead
    plan = plan_week(bay, state, forecast, hours=72)
    assert 0.0 <= plan.gap <= 0.01
    assert plan.bound <= plan.constant_price
    assert plan.money.total == pytest.approx(sum(plan.money), rel=1e-12)
    assert plan.planned.coldest_supply_temperature >= bay.limits.plenum_floor
    assert plan.planned.wet_hours <= plan.present.wet_hours + 3.0
    starts = [hour.does.pulp_mean for hour in plan.hours]
    assert (
        max(np.abs(np.diff([plan.start_pulp_mean, *starts]))) < 0.5
    )  # no hour moves 1 800 t by more


def test_cheap_nights_draw_the_fans(ahead):
    bay, state, forecast = ahead
    tariff = tariff_of("22-6 0.01, 6-22 1.50")
    night = plan_week(bay, state, forecast, hours=48, tariff=tariff, off_target=1e-4)
    even = plan_week(bay, state, forecast, hours=48, tariff=flat(0.25 / 3.6e6), off_target=1e-4)
    cheap = 0.02 / 3.6e6
    at_night = [hour.time for hour in night.hours if hour.price <= cheap]
    share = np.mean([hour.time in at_night for hour in even.hours if hour.action.kind != REST])
    assert fan_hours(night, cheap) > float(share)


def test_dear_warmth_is_borne_less(ahead):
    bay, state, forecast = ahead
    cheap, dear = (
        plan_week(bay, state, forecast, hours=72, off_target=price) for price in (0.0, 0.05)
    )

    def off(plan):
        return sum(
            max(abs(hour.does.pulp_mean - hour.target) - bay.limits.band, 0.0)
            for hour in plan.hours
        )

    assert off(dear) < off(cheap)


def test_beyond_its_hours_the_plan_is_the_advice(ahead):
    bay, state, forecast = ahead
    plan = plan_week(bay, state, forecast, hours=24)
    later = np.datetime64(int(plan.hours[-1].time) + 3600, "s")
    season = run_season(
        replace(bay), example_weather(), layers=8, until=later + np.timedelta64(6, "h"),
        start=run_season(bay, example_weather(), layers=8, until=later, compiled=False).state,
        policy=plan.policy, compiled=False,
    )  # fmt: skip
    plain = run_season(
        bay, example_weather(), layers=8, until=later + np.timedelta64(6, "h"),
        start=run_season(bay, example_weather(), layers=8, until=later, compiled=False).state,
        policy=lambda bay, readings, memory: advice(bay, readings, memory or START),
        compiled=False,
    )  # fmt: skip
    assert season.records["fan_speed"].tolist() == plain.records["fan_speed"].tolist()
    assert season.pulp == pytest.approx(plain.pulp, abs=1e-12)


# --- made anew each day --------------------------------------------------------------------------


@pytest.fixture(scope="module")
def days(ahead):
    """Four days of a cool-down before their first step."""
    bay, state, _ = ahead
    until = NOW + np.timedelta64(4, "D")
    return plan_of(bay, example_weather(), 8, state.season, until, None, None, None, {})


def ran(ahead, policy):
    bay, state, _ = ahead
    until = NOW + np.timedelta64(4, "D")
    return run_season(
        bay, example_weather(), policy, start=replace(state.season, memory=None), until=until,
        compiled=False,
    )  # fmt: skip


def test_rolling_on_it_keeps_the_rules_and_cools_in_other_hours(ahead, days):
    course = days.course
    plain = ran(ahead, "advice").records
    for foresight in (
        perfect(course.hours, course.step),
        noisy(course.hours, course.step, course.bed.pressure, "1"),
    ):
        season = ran(ahead, rolling(foresight, course.bed.pressure, False))
        runs = season.records["runs"] > 0.0
        supply = season.records["plenum_temperature"][runs]
        assert supply.min() >= season.bay.limits.plenum_floor
        assert season.kpi.condensed_on_crop <= 0.05
        assert season.records["fan_speed"].tolist() != plain["fan_speed"].tolist()
        assert np.isfinite(season.records["target"]).all()


def test_without_a_forecast_it_is_the_advice(ahead):
    alone = ran(ahead, rolling(lambda time: (), 84e3, False)).records
    assert alone["fan_speed"].tolist() == ran(ahead, "advice").records["fan_speed"].tolist()


def test_forecasts_err_by_their_words_and_not_in_what_is_past(days):
    course, time = days.course, days.course.hours[24].time
    true = perfect(course.hours, course.step)(time)
    assert [hour.time for hour in true] == [hour.time for hour in course.hours[24:96]]
    one, same, other = (
        noisy(course.hours, course.step, course.bed.pressure, words)(time) for words in "aab"
    )
    assert one == same
    assert one != other
    off = [a.temperature - b.temperature for a, b in zip(one, true, strict=True)]
    assert 0.3 < np.std(off) < 6.0
    later = noisy(course.hours, course.step, course.bed.pressure, "a")(time + 86400.0)
    assert later[0].temperature != one[24].temperature  # issued anew


def test_machine_code_makes_the_same_stages(days):
    bay, hours = days.course.bay, days.course.hours[:6]
    fry = example_bay("fry_bay")
    bay = replace(bay, refrigeration=fry.refrigeration)
    pile = Pile(bay.mass, 1.0, respiration_at(bay, hours[0].time), 84e3, 0.002)
    prices = np.full(6, bay.costs.electricity)
    given_ = (bay, pile, actions_of(bay), hours, prices, 10.0, 3600.0, 41, 5)
    plain, fast = stages_of(*given_), stages_of(*given_, True)
    assert max(action.kind for action in actions_of(bay)) > OUTSIDE
    assert np.array_equal(plain.next_temperature, fast.next_temperature)
    assert np.array_equal(plain.cost, fast.cost)


@pytest.mark.parametrize(
    ("text", "part"),
    [
        ("night 0.06", "22-6 0.06"),
        ("22-6 0.06", "hour 6 of the day has no price"),
        ("0-24 0.1, 5-6 0.2", "hour 5 has a price already"),
        ("0-24 140", "cents"),
        ("0-25 0.1", "22-6 0.06"),
    ],
)
def test_tariffs_that_cannot_be_read(text, part):
    with pytest.raises(BadInput, match=part):
        tariff_of(text)


def test_a_tariff_over_midnight():
    tariff = tariff_of("22-6 0.06, 6-22 0.14")
    assert [round(tariff.prices[hour] * 3.6e6, 6) for hour in (5, 6, 21, 22)] == [
        0.06, 0.14, 0.14, 0.06,
    ]  # fmt: skip


def test_what_is_out_of_range_is_refused(ahead):
    with pytest.raises(OutOfRange, match="hours"):
        plan_week(*ahead, hours=2)
    with pytest.raises(OutOfRange, match="off_target"):
        plan_week(*ahead, off_target=3.0)
