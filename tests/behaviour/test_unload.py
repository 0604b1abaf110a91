"""Unloading: the truck plan, bays in a row, what the command prints and refuses."""

from __future__ import annotations

import json
import shutil
from datetime import date, datetime
from zoneinfo import ZoneInfo

import pytest

from ventcalc.bay.file import example_bay, example_bay_path
from ventcalc.commands.main import main
from ventcalc.errors import BadInput
from ventcalc.logbook.writing import add_lines
from ventcalc.stages.trucks import plan_trucks, turns_of

POUND = 0.45359237
BAY = example_bay("seed_bay")


def trucks(pounds: float = 4e6, **changed):
    given = {"trucks_per_day": 10.0, "truck_load": 60000 * POUND, "truck_time": 1800.0}
    return plan_trucks(pounds * POUND, **{**given, **changed})


def told(capsys, *words):
    assert main(["unload", *map(str, words), "--json"]) == 0
    return json.loads(capsys.readouterr().out, parse_constant=pytest.fail)["bays"]


def refused(capsys, *words):
    assert main(["unload", *map(str, words)]) == 2
    return capsys.readouterr().err


@pytest.fixture
def north(tmp_path):
    path = tmp_path / "north.toml"
    shutil.copy(example_bay_path(), path)
    return path


# --- trucks ------------------------------------------------------------------------------


def test_ten_trucks_a_day():
    """60 000 lb in 30 min each: 600 000 lb and 5 h a day, 6.7 days for 4 million lb."""
    plan = trucks()
    assert plan.mass_per_day / POUND == pytest.approx(600_000)
    assert plan.loading_time == pytest.approx(5 * 3600.0)
    assert plan.days == pytest.approx(20 / 3)
    assert plan.trucks == 67
    assert plan.binds == "trucks"


def test_a_short_day_sets_the_rate():
    plan = trucks(working_time=4 * 3600.0)
    assert plan.binds == "working_time"
    assert plan.trucks_per_day == pytest.approx(8.0)
    assert plan.days == pytest.approx(4e6 / 480_000)


@pytest.mark.parametrize("name", ["trucks_per_day", "truck_load", "truck_time", "working_time"])
def test_nothing_is_not_a_rate(name):
    with pytest.raises(BadInput, match=name):
        trucks(**{name: 0.0})


def test_bays_in_a_row():
    """Bay 1 lasts 6.67 days from 1 May: out on the 7th, when bay 2 begins; 3.33 days end it."""
    turns = turns_of(date(2027, 5, 1), [trucks(), trucks(2e6)], [14.0, 8.5])
    assert [turn.first_truck for turn in turns] == [date(2027, 5, 1), date(2027, 5, 7)]
    assert [turn.last_truck for turn in turns] == [date(2027, 5, 7), date(2027, 5, 10)]
    assert [turn.warm_up for turn in turns] == [date(2027, 4, 17), date(2027, 4, 28)]


def test_a_bay_that_ends_with_a_day_leaves_the_next_day_to_the_next():
    turns = turns_of(date(2027, 5, 1), [trucks(1.2e6), trucks(0.6e6)], [0.0, 0.0])
    assert turns[0].last_truck == date(2027, 5, 2)
    assert turns[1].first_truck == turns[1].last_truck == date(2027, 5, 3)


def test_no_trucks_on_weekends_and_holidays():
    """From Friday 30 April 2027: 6.67 days of work, the weekends and Monday 3 May off."""
    off = {5, 6, date(2027, 5, 3)}
    first, second = turns_of(date(2027, 4, 30), [trucks(), trucks(2e6)], [14.0, 0.0], off)
    assert first.last_truck == second.first_truck == date(2027, 5, 11)
    assert second.last_truck == date(2027, 5, 14)
    left = {day: mass / POUND for day, mass in first.left}
    assert left[date(2027, 4, 30)] == left[date(2027, 5, 3)] == pytest.approx(3.4e6)
    assert left[date(2027, 5, 4)] == pytest.approx(2.8e6)
    assert left[date(2027, 5, 11)] == 0.0
    later = turns_of(date(2027, 5, 1), [trucks()], [14.0], off)[0]
    assert (later.first_truck, later.warm_up) == (date(2027, 5, 4), date(2027, 4, 20))
    with pytest.raises(BadInput, match="no_trucks"):
        turns_of(date(2027, 5, 1), [trucks()], [0.0], range(7))


# --- the command -------------------------------------------------------------------------


def test_two_bays(capsys):
    first, second = told(capsys, "seed_bay", "fry_bay", "--date", "2027-05-01")
    assert first["days"] == pytest.approx(20 / 3)
    assert (first["last_truck"], second["first_truck"]) == ("2027-05-07", "2027-05-07")
    # 7 °F at 0.5 °F a day
    assert first["warm_up"]["lead_days"] == pytest.approx(14.0)
    assert first["begin_to_warm"] == "2027-04-17"
    assert first["model"] is None


def test_a_pulp_that_was_measured_and_what_is_weighed(north, capsys):
    start = datetime(2024, 9, 18, 7, tzinfo=ZoneInfo(BAY.site.time_zone)).timestamp()
    lot = BAY.lots[0].name
    folder = north.with_suffix(".season")
    loads = [{"time": start + h, "lot": lot, "gross": 38e3, "tare": 11e3} for h in (0.0, 3600.0)]
    out = {"lot": lot, "gross": 37e3, "tare": 11e3}
    add_lines(folder, BAY, "loads", loads, written=start)
    seen = [{"time": start + 200 * 86400, "what": "pulp", "pulp": 6.0}]
    add_lines(folder, BAY, "observations", seen, written=start)
    add_lines(folder, BAY, "weights_out", [{"time": start + 220 * 86400, **out}], written=start)
    (bay,) = told(capsys, north, "--date", "2025-05-01")
    assert bay["content_weighed"] is True
    assert bay["content_kg"] == pytest.approx(2 * 27e3 - 26e3)
    assert bay["pulp_temp_c"] == pytest.approx(6.0)
    (shrink,) = bay["shrink"]
    assert (shrink["mass_in_kg"], shrink["mass_out_kg"]) == pytest.approx((54e3, 26e3))
    assert shrink["mass_loss"] is None  # not all out
    last = {"time": start + 221 * 86400, **out, "gross": 36e3, "last": "yes"}
    add_lines(folder, BAY, "weights_out", [last], written=start)
    (bay,) = told(capsys, north, "--date", "2025-05-01")
    assert bay["shrink"][0]["mass_loss"] == pytest.approx(1 - 51 / 54)


def test_days_off_by_name_and_date(capsys):
    words = ("--date", "2027-04-30", "--no-trucks", "Sat, sunday,2027-05-03")
    (bay,) = told(capsys, "seed_bay", *words)
    assert (bay["first_truck"], bay["last_truck"]) == ("2027-04-30", "2027-05-11")


def test_warm_enough(capsys):
    (bay,) = told(capsys, "seed_bay", "--date", "2027-05-01", "--now", "50 degF")
    assert bay["begin_to_warm"] is None
    assert bay["warm_up"]["lead_days"] == 0.0
    assert main(["unload", "seed_bay", "--date", "2027-05-01", "--now", "50 degF"]) == 0
    assert "needs no warming" in capsys.readouterr().out


def test_the_text_says_what_a_person_must_know(capsys):
    assert main(["unload", "seed_bay", "--date", "2027-05-01", "--units", "us"]) == 0
    out = capsys.readouterr().out
    for part in ("600,000 lb and 5.0 h", "17 Apr", "5,000 ppm", "carbon monoxide", "cfm/ton"):
        assert part in out
    cold = ["unload", "seed_bay", "--date", "2027-05-01", "--pulp", "42 degF"]
    assert main(cold) == 0
    assert "cold for handling" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("words", "part"),
    [
        (("--date", "1 May"), "--date"),
        (("--no-trucks", "sat,easter"), "easter"),
        (("--trucks-per-day", "0"), "trucks_per_day"),
        (("--truck-load", "60000"), "--truck-load"),
        (("--pulp", "50 lb"), "--pulp"),
        (("--truck-time", "0 min"), "truck_time"),
        (("--pulp", "80 degF"), "--pulp"),
        (("--rise", "-1 degF/day"), "--rise"),
    ],
)
def test_bad_words(words, part, capsys):
    err = refused(capsys, "seed_bay", *words)
    assert part in err
    assert len(err.splitlines()) == 1
