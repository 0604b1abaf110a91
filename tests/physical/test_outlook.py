"""The days ahead: physics as of the season, errors as large as they claim, limits met."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from small_runs import hurried

from ventcalc.bay.file import example_bay
from ventcalc.errors import BadInput
from ventcalc.outlook.ahead import look_ahead
from ventcalc.outlook.state import state_from_json, state_of_season, text_of_state
from ventcalc.season.run import run_season
from ventcalc.weather import example_weather
from ventcalc.weather.forecast import Forecast
from ventcalc.weather.forecast_errors import (
    LEVELS,
    error_of_running_mean,
    forecast_errors,
    with_errors,
)
from ventcalc.weather.parts import steps_of

NOW = np.datetime64("2018-10-24T12:00")


@pytest.fixture(scope="module")
def ran():
    """Bay, weather without sun or sky, the season until now, and three days beyond."""
    bay, weather = hurried(example_bay("seed_bay")), example_weather()
    nothing = np.full(weather.time.shape, np.nan)
    weather = replace(weather, global_radiation=nothing, sky_temperature=nothing)
    before = run_season(bay, weather, layers=8, until=NOW, compiled=False)
    after = run_season(
        bay, weather, start=before.state, until=NOW + np.timedelta64(72, "h"), compiled=False
    )
    return bay, weather, before, after


def forecast_from(weather, hours=90, **changed):
    row = int(np.flatnonzero(weather.time == NOW)[0])
    cut = replace(steps_of(weather, slice(row, row + hours)), **changed)
    return Forecast(weather=cut, issued=float(cut.time[0].astype("datetime64[s]").astype(int)))


@pytest.fixture(scope="module")
def start(ran):
    bay, weather, before, _ = ran
    return state_from_json(text_of_state(bay, state_of_season(before, weather)), "state", bay)


def test_a_state_read_back_runs_on_as_the_season_does(ran, start):
    bay, weather, _, after = ran
    found = look_ahead(bay, start, forecast_from(weather), hours=72, runs=0, compiled=False)
    assert found.season.pulp[:24] == pytest.approx(after.pulp[:24], abs=0.02)
    assert found.season.pulp[-1].mean() == pytest.approx(after.pulp[-1].mean(), abs=0.1)


def test_warmer_air_warms_the_pile_and_a_doubtful_state_widens_the_band(ran, start):
    bay, weather, _, _ = ran
    mild = forecast_from(weather)
    warm = replace(mild, weather=with_errors(mild.weather, np.full(90, 12.0), np.full(90, 12.0)))
    sure = replace(start, standard_uncertainty=0.0)
    doubtful = replace(start, standard_uncertainty=0.8)
    as_told = look_ahead(bay, sure, mild, hours=24, level="low", compiled=False)
    assert look_ahead(bay, sure, warm, hours=24, runs=0).season.pulp[-1].mean() > (
        as_told.season.pulp[-1].mean()
    )
    wide = look_ahead(bay, doubtful, mild, hours=24, level="low", compiled=False)
    width = wide.high_pulp_mean - wide.low_pulp_mean
    assert width[0] == pytest.approx(2 * 1.2816 * 0.8, rel=0.1)
    assert (width > as_told.high_pulp_mean - as_told.low_pulp_mean).all()
    assert (wide.low_pulp <= wide.season.pulp).all()


def test_random_runs_are_those_of_their_seed(ran, start):
    bay, weather, _, _ = ran
    told = [
        look_ahead(bay, start, forecast_from(weather), hours=24, runs=2, seed=s, compiled=False)
        for s in (3, 3, 4)
    ]
    assert (told[0].low_pulp == told[1].low_pulp).all()
    assert (told[0].low_pulp != told[2].low_pulp).any()


def test_random_runs_differ_in_what_is_read_and_in_what_the_crop_does(ran, start):
    """Two runs are one draw and its mirror: the true pile lies as far from the read one on both
    sides, and whose crop breathes more warms more where no air is blown."""
    bay, weather, _, _ = ran
    doubtful = replace(start, standard_uncertainty=0.8)
    apart = []
    for state in (doubtful, replace(start, standard_uncertainty=0.0)):
        found = look_ahead(
            bay, state, forecast_from(weather), hours=24, policy="nothing", runs=2, compiled=False
        )
        low, high = found.low_pulp_mean, found.high_pulp_mean
        middle = found.season.pulp.mean(axis=1)
        assert ((low < middle) & (middle < high)).all()
        apart.append(high - low)
    assert apart[0][0] > 0.3
    assert apart[1][0] < 0.03
    assert apart[1][-1] > 10.0 * apart[1][0]


def test_weather_beyond_limits_is_told_with_its_hours(ran, start):
    bay, weather, _, _ = ran
    mild = forecast_from(weather).weather
    cold = np.where(np.arange(90) >= 40, -22.0, 4.0)
    dew = np.where(np.arange(90) < 10, 3.9, cold - 4.0)
    now = np.zeros(90)
    harsh = with_errors(replace(mild, temperature=cold), now, now)
    harsh = with_errors(replace(harsh, humidity_ratio=with_dew(harsh, dew)), now, now)
    forecast = Forecast(weather=harsh, issued=start.season.time)
    found = look_ahead(bay, start, forecast, hours=72, runs=0, compiled=False)
    told = {event.kind: event for event in found.events}
    assert told["deep_frost"].hours == 32
    assert told["deep_frost"].begin == start.season.time + 40 * 3600.0
    assert told["deep_frost"].value == pytest.approx(-22.0)
    assert told["fog"].hours == 10
    assert "warm_spell" not in told


def test_a_warm_spell_is_one_that_a_humidifier_does_not_help(ran, start):
    bay, weather, _, _ = ran
    mild = forecast_from(weather).weather
    hours = []
    for relative in (0.95, 0.2):  # wet bulb 19 and 9 °C; the pile is at 13 °C
        air_then = replace(
            mild, temperature=np.full(90, 20.0), relative_humidity=np.full(90, relative)
        )
        forecast = Forecast(weather=air_then, issued=start.season.time)
        found = look_ahead(bay, start, forecast, hours=48, runs=0, compiled=False)
        hours.append(sum(one.hours for one in found.events if one.kind == "warm_spell"))
    assert hours == [48, 0]


def test_what_only_a_colder_week_would_bring_is_counted(ran, start):
    bay, weather, _, _ = ran
    mild = forecast_from(weather).weather
    near = replace(mild, temperature=np.full(90, -14.0))  # deep frost is below -15 °C
    near = with_errors(near, np.zeros(90), np.zeros(90))
    forecast = Forecast(weather=near, issued=start.season.time)
    found = look_ahead(bay, start, forecast, hours=24, compiled=False)
    assert found.chosen
    assert not [event for event in found.events if event.kind == "deep_frost"]
    assert found.met_in["deep_frost"] == 1


def with_dew(weather, dew):
    from ventcalc import air

    return air.saturation_humidity_ratio(np.minimum(dew, weather.temperature), weather.pressure)


@pytest.mark.parametrize("level", LEVELS)
def test_errors_spread_as_their_recursion_says(level):
    """Variance of e(k+1) = F e(k) + K w, worked out by hand; beyond 48 h it is made to grow."""
    runs = 4000
    warm, moist = forecast_errors(168, level=level, seed=1, runs=runs, bias=False)
    _, first, keep, noise, _ = LEVELS[level]
    for ahead in (1, 24, 48):
        old = keep ** (2 * (ahead - 1))
        wanted = math.sqrt(old * first**2 + noise**2 * (1.0 - old) / (1.0 - keep**2))
        for error in (warm, moist):
            assert error[:, ahead - 1].std() == pytest.approx(wanted, rel=0.05)
    assert warm[:, 167].std() == pytest.approx(2.0 * warm[:, 47].std(), rel=0.1)
    assert np.corrcoef(warm[:, 30], moist[:, 30])[0, 1] == pytest.approx(0.6, abs=0.04)
    means = np.cumsum(warm, axis=1) / np.arange(1, 169)
    chosen = np.cumsum(error_of_running_mean(168, level=level)) / np.arange(1, 169)
    assert means.std(axis=0) == pytest.approx(chosen, rel=0.06)
    later = np.cumsum(warm[:, 20:], axis=1).std(axis=0)
    assert later == pytest.approx(
        np.cumsum(error_of_running_mean(148, level=level, lead=20)), rel=0.06
    )


def test_errors_are_those_of_their_seed_and_leave_air_possible():
    few, many = (forecast_errors(48, seed=5, runs=n)[0] for n in (2, 6))
    assert (few == many[:2]).all()
    plain = forecast_errors(48, seed=5, runs=2, bias=False)[0]
    assert plain[0] == pytest.approx(-plain[1])
    weather = steps_of(example_weather(), slice(0, 48))
    wet = with_errors(weather, np.full(48, -8.0), np.full(48, 3.0))
    assert wet.temperature == pytest.approx(weather.temperature - 8.0)
    assert wet.relative_humidity.max() <= 1.0
    with pytest.raises(BadInput, match="low, medium, high"):
        forecast_errors(4, level="huge")
