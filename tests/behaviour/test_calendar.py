"""The season's calendar: stages, targets, ramp, years that turn, clocks that change."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ventcalc.bay import calendar
from ventcalc.bay.calendar import COLD_START, LAG, STAGES
from ventcalc.bay.file import example_bay
from ventcalc.bay.hourly import hourly

BAY = example_bay("seed_bay")
PLAN = BAY.schedule
ZONE = ZoneInfo(BAY.site.time_zone)
DAY, HOUR = 86400.0, 3600.0


def local(*when):
    return datetime(*when, tzinfo=ZONE).timestamp()


def calendar_at(bay, time):
    return calendar.calendar_at(hourly(bay, time), time)


def planned_at(time):
    return calendar.planned_target(hourly(BAY, time), calendar_at(BAY, time))


def target_at(time, last, pulp, elapsed, bay=BAY):
    return calendar.target_of(hourly(bay, time), calendar_at(bay, time), last, pulp, elapsed)


def stage_at(time, target, bay=BAY):
    return STAGES[calendar.stage_of(hourly(bay, time), calendar_at(bay, time), target)]


# --- stages -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("time", "target", "stage"),
    [
        ((2026, 9, 17, 23, 59), 12.8, "empty"),
        ((2026, 9, 18, 0, 0), 12.8, "filling"),
        ((2026, 9, 23, 23, 59), 12.8, "filling"),
        ((2026, 9, 24, 0, 0), 12.8, "wound_healing"),
        ((2026, 10, 7, 23, 59), 12.8, "wound_healing"),
        ((2026, 10, 8, 0, 1), 12.8, "cool_down"),
        ((2026, 12, 1), 6.0, "cool_down"),
        ((2026, 12, 1), 10 / 3, "holding"),
        ((2027, 4, 9, 23, 59), 10 / 3, "holding"),
        ((2027, 4, 10, 0, 0), 10 / 3, "warm_up"),
        ((2027, 4, 30, 23, 59), 7.2, "warm_up"),
        ((2027, 5, 1, 0, 0), 7.2, "unloading"),
        ((2027, 5, 20, 23, 59), 7.2, "unloading"),
        ((2027, 5, 21, 0, 0), 7.2, "empty"),
        ((2027, 8, 1), 7.2, "empty"),
    ],
)
def test_stages_of_the_seed_bay(time, target, stage):
    """Dates as the example's file gives them: 6 days to fill, 14 to heal, 20 to empty."""
    assert (PLAN.fill_start, PLAN.warm_up_start, PLAN.unloading_start) == (
        "09-18", "04-10", "05-01",
    )  # fmt: skip
    assert stage_at(local(*time), target) == stage


def test_stages_follow_each_other_and_none_is_left_out():
    start = local(2026, 9, 18)
    seen = []
    for hour in range(0, 366 * 24, 6):
        time = start + hour * HOUR
        stage = STAGES.index(stage_at(time, planned_at(time)))
        if not seen or seen[-1] != stage:
            seen.append(stage)
    assert seen[:7] == list(range(7))
    assert seen[7:] in ([], [0])  # the next season's filling


def test_calendar_dates_are_local():
    """The first load is at local midnight: 06:00 UTC in Denver, 22:00 of the eve in Brussels."""
    fry = example_bay("fry_bay")
    for bay, utc in (
        (BAY, datetime(2026, 9, 18, 6, tzinfo=UTC)),
        (fry, datetime(2026, 9, 19, 22, tzinfo=UTC)),
    ):
        assert calendar_at(bay, utc.timestamp()).now == 0.0
        assert calendar_at(bay, utc.timestamp() - 1.0).now > 300 * DAY


@pytest.mark.parametrize("year", [2018, 2023, 2024, 2027, 2028])
def test_leap_years_keep_the_dates(year):
    """The seasons that begin in the year before, in and after a leap year."""
    when = calendar_at(BAY, local(year, 9, 18))
    days = (date(year + 1, 4, 10) - date(year, 9, 18)).days
    assert when.now == 0.0
    assert when.warm_up == days * DAY  # both dates in summer time
    unloading = (date(year + 1, 5, 1) - date(year, 9, 18)).days
    assert when.unloading == unloading * DAY
    assert when.emptied - when.unloading == PLAN.unloading_days


def test_a_season_within_one_calendar_year():
    """A storage of the southern hemisphere fills in March and empties in October."""
    bay = replace(
        BAY,
        site=replace(BAY.site, time_zone="Pacific/Auckland"),
        schedule=replace(PLAN, fill_start="03-01", warm_up_start="09-01", unloading_start="09-20"),
    )
    noon = datetime(2026, 3, 1, 12, tzinfo=ZoneInfo("Pacific/Auckland")).timestamp()
    when = calendar_at(bay, noon)
    assert when.now == 12 * HOUR
    assert when.warm_up == (date(2026, 9, 1) - date(2026, 3, 1)).days * DAY + HOUR  # winter time
    assert stage_at(noon + 150 * DAY, PLAN.holding_temperature, bay) == "holding"


@given(st.floats(0.0, 4.0e9), st.floats(0.0, 12 * HOUR))
@settings(max_examples=200, deadline=None)
def test_time_in_the_season_runs_with_utc(time, further):
    """However the local clock jumps, an hour is an hour; only a new first load starts anew."""
    one, other = calendar_at(BAY, time), calendar_at(BAY, time + further)
    assert 0.0 <= one.now < 367 * DAY
    assert one.filled < one.healed < one.warm_up < one.unloading < one.emptied
    if other.now >= one.now:
        assert other.now - one.now == pytest.approx(further, abs=1e-5)
    else:
        assert other.now <= further


def test_winter_time_makes_an_hour_of_difference_to_no_stage():
    """Between first load and 1 December lie 74 days and the hour that the clock gave back."""
    when = calendar_at(BAY, local(2026, 12, 1))
    assert when.now == 74 * DAY + HOUR


# --- targets ------------------------------------------------------------------------------------


def follow(start, days, pulp, *, step=HOUR, last=float("nan"), bay=BAY):
    """Targets hour by hour; ``pulp`` gives the pulp from the target before."""
    found = []
    for k in range(int(days * DAY / step)):
        last = target_at(start + k * step, last, pulp(last), step, bay)
        found.append(last)
    return np.array(found)


def test_wound_healing_holds_its_temperature():
    found = follow(local(2026, 9, 18), 20, lambda last: 17.0)
    assert (found == PLAN.healing_temperature).all()


def test_ramp_of_a_pile_that_follows():
    """From the end of healing the target falls by the ramp, to holding and no further."""
    start = local(2026, 10, 8)
    found = follow(start, 60, lambda last: last + 0.2, last=PLAN.healing_temperature)
    fall = -np.diff(np.concatenate([[PLAN.healing_temperature], found]))
    assert fall.max() <= PLAN.ramp * HOUR + 1e-12
    days = (PLAN.healing_temperature - PLAN.holding_temperature) / (PLAN.ramp * DAY)
    assert np.argmax(found <= PLAN.holding_temperature + 1e-9) / 24 == pytest.approx(days, abs=0.1)
    assert found[-1] == PLAN.holding_temperature
    assert found[10 * 24] == pytest.approx(planned_at(start + 10 * DAY), abs=0.02)


def test_ramp_waits_for_a_pile_that_lags():
    """A warm autumn: the target stays ``LAG`` below the pile until the pile follows."""
    assert 0.3 <= LAG <= 1.0
    found = follow(local(2026, 10, 8), 30, lambda last: 12.0, last=PLAN.healing_temperature)
    assert found[-1] == pytest.approx(12.0 - LAG, abs=PLAN.ramp * HOUR + 1e-9)


def test_warm_up_ends_at_its_temperature_on_the_day_of_unloading():
    found = follow(local(2027, 4, 10), 21, lambda last: last, last=PLAN.holding_temperature)
    assert (np.diff(found) >= 0.0).all()
    assert found[-1] == pytest.approx(PLAN.warm_up_temperature, abs=0.05)
    stays = follow(local(2027, 5, 1), 20, lambda last: last, last=found[-1])
    assert stays.max() <= PLAN.warm_up_temperature + 1e-12


def test_warm_up_waits_for_a_pile_that_lags():
    found = follow(local(2027, 4, 10), 21, lambda last: 3.0, last=PLAN.holding_temperature)
    assert found[-1] == pytest.approx(3.0 + LAG, abs=0.05)


def test_a_first_target_is_the_plan_s_where_the_plan_is_at_holding():
    """Switched on in January over a pile at 9 °C: it should long be cold, so cool it."""
    for time in (local(2026, 12, 15), local(2027, 1, 14)):
        for pulp in (9.0, 3.5):
            assert target_at(time, float("nan"), pulp, 0.0) == PLAN.holding_temperature


def test_a_first_target_does_not_ask_a_warm_pile_for_the_plan():
    """Switched on in the middle of the cool-down: begin a little below the pile."""
    time = local(2026, 10, 27)
    plan = target_at(time, float("nan"), 3.5, 0.0)
    assert PLAN.holding_temperature < plan < 10.0
    first = target_at(time, float("nan"), 12.5, 0.0)
    assert first == pytest.approx(12.5 - COLD_START, abs=1e-9)


def test_missing_pulp_leaves_a_number():
    for last in (float("nan"), 8.0):
        found = target_at(local(2026, 11, 1), last, float("nan"), HOUR)
        assert PLAN.holding_temperature <= found <= PLAN.healing_temperature


@given(
    st.floats(21.0, 200.0), st.floats(3.4, 12.7), st.floats(-2.0, 20.0), st.floats(0.0, 6 * HOUR)
)
@settings(max_examples=300, deadline=None)
def test_no_step_of_the_target_is_steeper_than_the_ramp(days, last, pulp, elapsed):
    """Whatever the pile does: in cool-down and holding the target never rises nor drops faster."""
    after = target_at(local(2026, 9, 18) + days * DAY, last, pulp, elapsed)
    assert last - PLAN.ramp * elapsed - 1e-9 <= after <= last + 1e-9


def test_names_are_those_of_the_glossary():
    assert STAGES[:6] == (
        "filling", "wound_healing", "cool_down", "holding", "warm_up", "unloading",
    )  # fmt: skip


def test_the_demo_dates_do_not_depend_on_this_computer(monkeypatch):
    """The machine's own time zone is never asked."""
    import time

    before = calendar_at(BAY, local(2026, 12, 1)).now
    for name in ("Asia/Tokyo", "America/Los_Angeles"):
        monkeypatch.setenv("TZ", name)
        time.tzset()
        assert calendar_at(BAY, local(2026, 12, 1) + 0.5).now == before + 0.5
    monkeypatch.undo()
    time.tzset()
    assert timedelta(seconds=before) == timedelta(days=74, hours=1)
