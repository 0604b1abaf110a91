"""Short seasons under every policy: accounts, records, refusals, many seasons side by side."""

from __future__ import annotations

import subprocess
import sys
from dataclasses import fields, replace
from datetime import datetime
from functools import lru_cache
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from ventcalc.advice.advise import Action
from ventcalc.advice.policies import POLICIES, Positions
from ventcalc.bay.calendar import EMPTY, FILLING, HOLDING, UNLOADING
from ventcalc.bay.description import Heater
from ventcalc.bay.file import example_bay
from ventcalc.errors import BadInput
from ventcalc.season.batch import run_seasons
from ventcalc.season.installed import as_installed
from ventcalc.season.kpi import Kpi
from ventcalc.season.plan import weather_of_season
from ventcalc.season.run import TRACES, run_season
from ventcalc.weather import example_weather
from ventcalc.weather.files import ARRAYS

DAY, HOUR = 86400.0, 3600.0
SEED = example_bay("seed_bay")
SHORT = replace(
    SEED,
    lots=tuple(replace(lot, loading_temperature=11.0) for lot in SEED.lots),
    schedule=replace(
        SEED.schedule,
        fill_start="10-18",
        fill_days=2 * DAY,
        healing_days=1 * DAY,
        healing_temperature=11.0,
        ramp=1.5 / DAY,
        holding_temperature=8.0,
        warm_up_start="11-02",
        warm_up_temperature=8.5,
        unloading_start="11-05",
        unloading_days=2 * DAY,
    ),
)
"""The example's seed bay, hurried through a season of 20 days with the change of the clock."""
LAYERS = 8


@lru_cache
def weather():
    return example_weather()


@lru_cache
def season(name):
    return plainly(SHORT, weather(), name)


def plainly(bay, weather, policy, **how):
    """A season in plain Python: whatever waits in the cache of this machine changes nothing."""
    return run_season(bay, weather, policy, layers=LAYERS, compiled=False, **how)


@pytest.fixture(params=list(POLICIES))
def run(request):
    return season(request.param)


def part(start, stop):
    """The weather from ``start`` until ``stop``, both UTC."""
    whole = weather()
    keep = (whole.time >= np.datetime64(start)) & (whole.time < np.datetime64(stop))
    return replace(whole, **{name: getattr(whole, name)[keep] for name in ARRAYS})


# --- accounts -----------------------------------------------------------------------------------


def test_energies_are_the_sums_of_the_traces(run):
    tonnes = SHORT.mass / 1000.0
    users = ("fan", "coil", "heater", "humidifier")
    names = ("fan_energy", "refrigeration_energy", "heater_energy", "humidifier_energy")
    total = 0.0
    for user, name in zip(users, names, strict=True):
        kwh = run.traces[f"{user}_power"].sum() * HOUR / 3.6e6
        assert getattr(run.kpi, name) == pytest.approx(kwh / tonnes, rel=1e-9, abs=1e-15)
        total += kwh
    assert run.kpi.energy == pytest.approx(total / tonnes, rel=1e-9)
    price = SHORT.costs.electricity * 3.6e6
    assert run.kpi.cost_energy == pytest.approx(total * price / tonnes, rel=1e-9)
    peak = sum(run.traces[f"{user}_power"] for user in users).max()
    assert run.kpi.peak_power == pytest.approx(peak, rel=1e-12)


def test_mass_loss_is_water_and_dry_matter(run):
    kpi, traces = run.kpi, run.traces
    assert kpi.mass_loss == pytest.approx(kpi.water_loss + kpi.dry_matter_loss, rel=1e-12)
    last = np.flatnonzero(traces["stage"] < UNLOADING)[-1]
    assert kpi.water_loss == traces["water_loss"][last]
    assert kpi.dry_matter_loss == traces["dry_matter_loss"][last]
    assert kpi.cost_shrink == pytest.approx(kpi.mass_loss * 1000.0 * SHORT.costs.crop, rel=1e-12)
    assert kpi.cost == pytest.approx(kpi.cost_shrink + kpi.cost_energy, rel=1e-12)
    assert 0.0 < kpi.mass_loss < 0.04
    assert kpi.mass_loss_month_one == kpi.mass_loss  # the whole season is shorter than a month


def test_losses_grow_once_the_bay_is_full(run):
    """While loads of sound crop come in the mean may fall; afterwards nothing comes back."""
    full = run.traces["stage"] != FILLING
    assert (np.diff(run.traces["dry_matter_loss"][full]) > 0.0).all()
    assert np.diff(run.traces["water_loss"][full]).min() > -2e-4  # respiration makes some water


def test_counts_are_those_of_the_traces(run):
    kpi, traces = run.kpi, run.traces
    runs = traces["fan_speed"] > 0.0
    assert kpi.fan_hours == runs.sum()
    assert kpi.fan_starts == (runs & ~np.concatenate([[False], runs[:-1]])).sum()
    door = np.where(runs, traces["door_opening"], 0.0)
    assert kpi.door_travel == pytest.approx(np.abs(np.diff(door, prepend=0.0)).sum(), abs=1e-9)
    limit = SHORT.limits.co2
    assert kpi.co2_highest == traces["co2"].max()
    excess = np.maximum(traces["co2"] - limit, 0.0).sum() * 1e6
    assert kpi.co2_excess == pytest.approx(excess, rel=1e-9, abs=1e-9)
    assert kpi.ceiling_drip_hours == (traces["drip"] > 0.0).sum()
    if runs.any():
        assert kpi.coldest_plenum == np.nanmin(traces["plenum_temperature"])
        assert kpi.fan_energy > 0.0
    else:
        assert np.isnan(kpi.coldest_plenum)


def test_fan_power_is_the_cube_law_on_the_floor_that_is_loaded(run):
    pressure = float(np.mean(weather_of_season(SHORT.schedule, weather()).pressure))
    fans, traces = as_installed(SHORT, pressure=pressure).fans, run.traces
    full = fans.airflow * fans.static_pressure / fans.efficiency
    expected = full * traces["fan_speed"] ** 3 * traces["share"]
    assert traces["fan_power"] == pytest.approx(expected, rel=1e-9, abs=1e-9)


# --- records ------------------------------------------------------------------------------------


def test_traces_are_whole(run):
    assert set(run.traces) == set(TRACES)
    assert {len(values) for values in run.traces.values()} == {len(run.time)}
    sometimes = {"plenum_temperature", "wetting_margin"}
    for name, values in run.traces.items():
        if name not in sometimes:
            assert np.isfinite(values).all(), name
    runs = run.traces["fan_speed"] > 0.0
    assert (np.isfinite(run.traces["plenum_temperature"]) == runs).all()


def test_season_lasts_from_first_load_to_last_truck(run):
    """18 October to 7 November 2018, 20 days and the hour that 4 November has twice."""
    zone = ZoneInfo(SHORT.site.time_zone)
    start = datetime(2018, 10, 18, tzinfo=zone).timestamp()
    stop = datetime(2018, 11, 7, tzinfo=zone).timestamp()
    times = run.time.astype("datetime64[s]").astype(np.int64)
    assert times[0] == start
    assert times[-1] == stop - HOUR
    assert len(times) == 20 * 24 + 1
    assert (np.diff(times) == HOUR).all()


def test_stages_in_order_and_floor_filled_and_emptied(run):
    stage, share = run.traces["stage"], run.traces["share"]
    assert stage[0] == FILLING
    assert (np.diff(stage) >= 0).all() or run.policy != "nothing"
    assert stage[-1] == UNLOADING
    assert EMPTY not in stage
    assert share.max() == 1.0
    assert share[0] < 0.01
    assert share[-1] < 0.05
    held = stage[stage == HOLDING]
    assert len(held) > 24 or run.policy in ("clock", "thermostat")


def test_record_names_its_origin(run):
    assert run.bay is SHORT
    assert run.policy in POLICIES
    assert run.weather_name == weather().name


def test_same_season_twice():
    again = plainly(SHORT, weather(), "advice")
    first = season("advice")
    for name, values in first.traces.items():
        assert np.array_equal(values, again.traces[name], equal_nan=True), name
    for field in fields(Kpi):
        one, other = getattr(first.kpi, field.name), getattr(again.kpi, field.name)
        assert one == pytest.approx(other, abs=0.0, nan_ok=True)


def test_progress_is_told_about_daily_and_changes_nothing():
    calls = []
    found = plainly(
        SHORT,
        weather(),
        "nothing",
        progress=lambda done, whole: calls.append((done, whole)),
    )
    assert len(calls) in (20, 21)
    assert {whole for _, whole in calls} == {len(found.time)}
    assert [done for done, _ in calls] == sorted({done for done, _ in calls})
    assert found.kpi.mass_loss == season("nothing").kpi.mass_loss


def test_a_policy_of_ones_own():
    """Any callable will do; its name is kept, its positions are what is run."""

    def half_speed(bay, readings, memory):
        return Positions(fan_speed=0.5), (memory or 0) + 1

    found = plainly(SHORT, weather(), half_speed)
    assert found.policy == "half_speed"
    assert (found.traces["fan_speed"] == 0.5).all()
    assert found.kpi.fan_hours == len(found.time)
    assert found.kpi.fan_starts == 1.0
    assert found.kpi.door_travel == 0.0


# --- the policies against each other ------------------------------------------------------------


def test_cooled_piles_end_colder_than_one_left_alone():
    last = {name: season(name).traces["pulp_mean"][-1] for name in POLICIES}
    assert last["nothing"] > 15.0
    for name in ("advice", "thermostat", "clock"):
        assert last[name] < last["nothing"] - 5.0


def test_advice_keeps_what_it_promises():
    """Air that was advised is air that came: above the floor, and no tuber near frost."""
    found = season("advice")
    assert found.kpi.coldest_plenum >= SHORT.limits.plenum_floor - 0.3
    assert found.kpi.plenum_below_zero_minutes == 0.0
    assert found.kpi.frozen_minutes == 0.0
    actions = {Action(int(code)) for code in found.traces["action"]}
    assert Action.COOL_BY_OUTSIDE in actions
    assert Action.HANDS_OFF not in actions
    assert Action.PROTECT not in actions
    assert found.kpi.ramp_hours <= season("thermostat").kpi.ramp_hours


def test_advice_comes_down_to_holding():
    """In the last days before warm-up the pulp is within a kelvin of the target."""
    found = season("advice")
    held = found.traces["stage"] == HOLDING
    assert held.sum() > 48
    late = np.flatnonzero(held)[-24:]
    off = np.abs(found.traces["pulp_mean"][late] - found.traces["target"][late])
    assert off.max() < 1.0


def test_idle_bay_uses_no_energy():
    kpi = season("nothing").kpi
    assert kpi.energy == 0.0
    assert kpi.cost_energy == 0.0
    assert kpi.fan_starts == 0.0
    assert kpi.humidifier_water == 0.0


def test_a_bay_left_alone_is_a_season_too():
    """Weeks without air at the end of a warm September: the crop is lost, and it is said."""
    bay = replace(
        SHORT,
        lots=SEED.lots,
        schedule=replace(
            SHORT.schedule,
            fill_start="09-18",
            warm_up_start="10-12",
            unloading_start="10-20",
        ),
    )
    found = plainly(bay, weather(), "nothing")
    assert 30.0 < found.kpi.hottest_tuber < 50.0
    assert found.kpi.hottest_tuber >= found.traces["pulp_mean"].max()
    assert np.isfinite(found.kpi.mass_loss)
    assert season("advice").kpi.hottest_tuber < 20.0


def test_frost_while_the_last_trucks_are_loaded():
    """Little crop, little air, all of the heater: the numbers stay within reason."""
    bay = replace(
        SHORT,
        lots=SEED.lots,
        schedule=replace(
            SHORT.schedule,
            fill_start="10-25",
            healing_temperature=12.0,
            holding_temperature=6.0,
            warm_up_start="11-08",
            warm_up_temperature=7.0,
            unloading_start="11-10",
        ),
    )
    found = plainly(bay, weather(), "advice")
    assert np.nanmax(found.traces["plenum_temperature"]) < 30.0


# --- refusals -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("start", "stop"),
    [
        ("2018-01-01", "2018-11-04"),  # ends before the last truck
        ("2018-10-20", "2018-12-31"),  # begins after the first load
        ("2018-11-01", "2018-12-31"),  # holds no first load
        ("2018-10-18T06", "2018-10-18T12"),  # hours only
    ],
)
def test_weather_must_cover_the_season(start, stop):
    short = part(start, stop)
    with pytest.raises(BadInput) as caught:
        plainly(SHORT, short, "nothing")
    (line,) = caught.value.problems
    assert "\n" not in line
    assert repr(short.name) in line
    assert "take a file that covers" in line
    with pytest.raises(BadInput):
        run_seasons([SHORT], short, "nothing", layers=LAYERS)


def test_weather_that_just_covers_the_season_is_enough():
    """Outside the season only the mean pressure matters, and a little the year's course."""
    just = part("2018-10-18T06:00", "2018-11-07T07:00")
    just = replace(just, pressure=np.full(len(just.time), float(np.mean(weather().pressure))))
    found = plainly(SHORT, just, "nothing")
    assert np.array_equal(found.time, season("nothing").time)
    assert found.kpi.mass_loss == pytest.approx(season("nothing").kpi.mass_loss, rel=0.05)
    assert any("too short for the year's course" in note for note in found.notes)


# --- many seasons -------------------------------------------------------------------------------


def three_bays():
    """A week's season of three bays that differ in equipment, size, limits and durations."""
    plan = replace(
        SHORT.schedule,
        fill_days=1 * DAY,
        warm_up_start="10-24",
        unloading_start="10-25",
        unloading_days=1 * DAY,
    )
    one = replace(SHORT, schedule=plan)
    two = replace(
        one,
        name="bare",
        humidifier=None,
        heater=None,
        limits=replace(one.limits, band=0.3, plenum_floor=2.0),
        lots=one.lots[:2],
    )
    three = replace(
        one,
        name="slow",
        heater=Heater(capacity=5e3),
        fans=replace(one.fans, airflow=0.7 * one.fans.airflow, minimum_speed=0.4),
        schedule=replace(plan, unloading_days=2 * DAY, fill_days=1.5 * DAY),
        costs=replace(one.costs, crop=0.5),
    )
    return [one, two, three]


def assert_is(together, place, alone):
    for field in fields(Kpi):
        one, other = getattr(alone, field.name), getattr(together, field.name)[place]
        assert other == pytest.approx(one, rel=1e-9, abs=1e-9, nan_ok=True), field.name


@pytest.mark.parametrize("name", list(POLICIES))
def test_many_bays_at_once_are_the_bays_one_by_one(name):
    together = run_seasons(three_bays(), weather(), name, layers=LAYERS)
    for place, bay in enumerate(three_bays()):
        assert_is(together, place, plainly(bay, weather(), POLICIES[name]).kpi)


def test_many_policies_for_one_bay():
    bay = three_bays()[0]
    names = [*POLICIES, half_speed]
    together = run_seasons(bay, weather(), names, layers=LAYERS, compiled=False)
    assert together.fan_hours.shape == (len(names),)
    for place, name in enumerate(names):
        assert_is(together, place, plainly(bay, weather(), name).kpi)


def half_speed(bay, readings, memory):
    return Positions(fan_speed=0.5), memory


def test_bays_with_dates_zones_and_weathers_of_their_own():
    """Side by side: each bay its dates, its place's clock, its weather, its policy."""
    bay = three_bays()[0]
    late = replace(bay, schedule=replace(bay.schedule, fill_start="10-19"))
    abroad = replace(bay, site=replace(bay.site, time_zone="Europe/Brussels"))
    mild = replace(weather(), temperature=weather().temperature + 3.0)
    bays, weathers = [bay, late, abroad], [weather(), weather(), mild]
    names = ["clock", "advice", "thermostat"]
    together = run_seasons(bays, weathers, names, layers=LAYERS, compiled=False)
    for place, case in enumerate(zip(bays, weathers, names, strict=True)):
        assert_is(together, place, plainly(*case).kpi)
    assert len(set(together.fan_hours.tolist())) == 3


@pytest.mark.parametrize(
    ("bays", "weathers", "policies"), [(2, 3, 1), (1, 2, 3), (0, 1, 1), (3, 3, 2)]
)
def test_side_by_side_means_as_many_of_each(bays, weathers, policies):
    with pytest.raises(BadInput) as caught:
        run_seasons([SHORT] * bays, [weather()] * weathers, ["clock"] * policies, layers=LAYERS)
    (line,) = caught.value.problems
    assert f"{bays}, {weathers}, {policies}" in line


def test_other_limits_for_every_season():
    strict = replace(SHORT.limits, band=0.2, co2=0.001)
    bays = three_bays()[:2]
    found = run_seasons(bays, weather(), "advice", layers=LAYERS, limits=strict)
    for place, bay in enumerate(bays):
        assert_is(found, place, plainly(bay, weather(), "advice", limits=strict).kpi)
    assert (found.co2_excess > 0.0).all()


def test_progress_of_many_counts_seasons():
    calls = []
    bays = three_bays()
    run_seasons(
        bays, weather(), "nothing", layers=LAYERS, progress=lambda *done: calls.append(done)
    )
    assert calls == [(1, 3), (2, 3), (3, 3)]


SCRIPT = """
import sys
sys.path.insert(0, "tests")
from ventcalc.bay.file import example_bay
from ventcalc.season.batch import run_seasons
from ventcalc.weather import example_weather
from small_runs import hurried

if __name__ == "__main__":
    bays = [hurried(example_bay("seed_bay"), fill_start=day) for day in ("10-18", "10-19", "10-20")]
    for workers in (1, 2):
        found = run_seasons(bays, example_weather(), "clock", layers=4, workers=workers,
                            compiled=False)
        print(*found.fan_energy, *found.mass_loss)
"""


def test_processes_share_plain_seasons(tmp_path):
    """As a script of somebody's own, with the usual guard."""
    script = tmp_path / "study.py"
    script.write_text(SCRIPT)
    done = subprocess.run(
        [sys.executable, str(script)],
        cwd=Path(__file__).parents[2],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.stderr == ""
    alone, shared = done.stdout.splitlines()
    assert alone == shared
    assert len(set(alone.split())) == 6
