"""Plan against actual: dates, healing by accumulated temperature, sprouting, heal or cool."""

from __future__ import annotations

import json
import math
import shutil
from dataclasses import replace
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from ventcalc.bay.file import example_bay, example_bay_path
from ventcalc.commands.main import main
from ventcalc.logbook.folder import read_logbook
from ventcalc.logbook.writing import add_lines
from ventcalc.stages.dormancy import dormancy_outlook, dormancy_rates
from ventcalc.stages.outcomes import healing_choice, outcome_of
from ventcalc.stages.progress import progress_of
from ventcalc.stages.pulp_days import between, pulp_days

DAY = 86400.0
BAY = example_bay("seed_bay")
ZONE = ZoneInfo(BAY.site.time_zone)
HARVEST = date(2026, 9, 18)


def noon(day: date) -> float:
    return datetime(day.year, day.month, day.day, 12, tzinfo=ZONE).timestamp()


def book_of(folder, seen=(), loads=((0, 13.0), (6, 13.0)), **more):
    """A season folder: loads and pulp seen, each ``(days after the first load, °C)``."""
    lines = [
        {"time": noon(HARVEST) + DAY * k, "lot": BAY.lots[0].name, "gross": 38e3, "tare": 11e3}
        | {"pulp": pulp}
        | more
        for k, pulp in loads
    ]
    add_lines(folder, BAY, "loads", lines, written=noon(HARVEST))
    looks = [{"time": noon(HARVEST) + DAY * k, "what": "pulp", "pulp": pulp} for k, pulp in seen]
    if looks:
        add_lines(folder, BAY, "observations", looks, written=noon(HARVEST))
    return read_logbook(folder, BAY)


# --- sprouting ---------------------------------------------------------------------------


def test_rates_meet_the_published_days():
    """40 to 140 days at 15 °C: AHDB; none below 4 °C for the long: New Brunswick."""
    assert dormancy_rates(15.0) == pytest.approx((1 / 40, 1 / 140))
    assert dormancy_rates(18.0) == pytest.approx((1 / 40, 1 / 140))
    assert dormancy_rates((45 - 32) / 1.8) == pytest.approx((1 / 100, 1 / 150))
    assert dormancy_rates(4.0)[1] == 0.0
    assert dormancy_rates(1.0) == (0.0, 0.0)


def test_dormancy_passes_faster_the_warmer():
    rates = [dormancy_rates(0.5 * k) for k in range(40)]
    for one in range(2):
        assert [rate[one] for rate in rates] == sorted(rate[one] for rate in rates)
    assert all(fast >= slow for fast, slow in rates)


def test_an_outlook_by_hand():
    warm = dormancy_outlook(HARVEST, [15.0] * 220, days_past=20)
    assert warm.earliest == HARVEST + timedelta(days=40)
    assert warm.latest == HARVEST + timedelta(days=140)
    assert (warm.used_most, warm.used_least) == pytest.approx((20 / 40, 20 / 140))
    assert warm.degree_days == pytest.approx(20 * 11.0)
    cold = dormancy_outlook(HARVEST, [3.3] * 250, days_past=0)
    assert (cold.earliest, cold.latest) == (None, None)


def test_a_known_variety_narrows_the_span():
    """150 days at 45 °F, a fifth more or less from season to season."""
    known = dormancy_outlook(HARVEST, [(45 - 32) / 1.8] * 300, days_past=0, dormancy=150.0)
    assert known.earliest == HARVEST + timedelta(days=120)
    assert known.latest == HARVEST + timedelta(days=180)


# --- pulp --------------------------------------------------------------------------------


def test_a_log_outranks_hands_and_hands_outrank_loads(tmp_path):
    book = book_of(tmp_path / "a.season", seen=[(6, 12.0), (8, 11.0)])
    logged = [(noon(HARVEST) + 8 * DAY + h, pulp) for h, pulp in ((0, 10.0), (60, 10.4))]
    found = pulp_days(book, BAY.site.time_zone, [*logged, (noon(HARVEST), math.nan)])
    days = [HARVEST + timedelta(days=k) for k in (0, 6, 8)]
    assert found == pytest.approx(dict(zip(days, (13.0, 12.0, 10.2), strict=True)))


def test_a_day_of_loads_is_mixed_into_what_lies_there(tmp_path):
    """27 t at 13 °C, then 54 t at 16 °C: (13 + 2 x 16) / 3; what is measured counts instead."""
    loads = ((0, 13.0), (1, 16.0), (1.01, 16.0), (3, 10.0), (3.01, 10.0), (3.02, 10.0))
    book = book_of(tmp_path / "a.season", loads=loads)
    logged = [(noon(HARVEST) + 2 * DAY, 12.0)]
    found = pulp_days(book, BAY.site.time_zone, logged)
    assert list(found.values()) == pytest.approx([13.0, 15.0, 12.0, 11.0])


def test_days_between_measurements_lie_on_a_line():
    known = {date(2026, 10, 2): 10.0, date(2026, 10, 6): 8.0}
    assert between(known, date(2026, 10, 1), date(2026, 10, 9)) == pytest.approx(
        [10.0, 10.0, 9.5, 9.0, 8.5, 8.0, 8.0, 8.0]
    )


# --- outcomes ----------------------------------------------------------------------------


def test_shrink_of_a_day_by_hand():
    """At 12.8 °C: 1 479 Pa of vapour (ASHRAE), air at 95 % against 98 %, skin half closed."""
    healed = 13 * DAY
    skin = 4.9e-11 + (1.645e-10 - 4.9e-11) * math.exp(-14.0 / 14.0)
    water = skin * (0.98 - BAY.limits.plenum_humidity) * 1479.0
    # Settled, 5.6 K above the least: 11.5 W/t times 1 + 0.56³. Of 2 816 kJ come 264 g of CO2, from
    # 180 g of sugar, and 108 g of water that stay in the tuber.
    burned = 11.5e-3 * (1.0 + 0.56**3) / 2816e3 * (0.180 - 0.108)
    found = outcome_of(BAY, [12.8], age=300 * DAY, healed=healed)
    assert found.mass_loss == pytest.approx(DAY * (water + burned), rel=0.01)
    assert found.healed == pytest.approx(14 * DAY)
    assert found.degree_days == pytest.approx(8.8)


def test_to_heal_or_to_cool_at_once():
    both = healing_choice(BAY, rot_share=0.02, frost_share=0.0, days=198)
    assert both.heal_closes == pytest.approx(BAY.schedule.healing_days)
    assert both.cool_closes > both.heal_closes
    assert both.heal.degree_days > both.cool.degree_days
    assert both.heal.healed > both.cool.healed
    assert both.gain == pytest.approx(0.98 * (both.cool.mass_loss - both.heal.mass_loss))
    assert both.break_even == pytest.approx(0.02 + both.gain)
    frosted = healing_choice(BAY, rot_share=0.02, frost_share=0.48, days=198)
    assert frosted.gain == pytest.approx(both.gain * 0.5 / 0.98)


def test_healing_saves_most_where_cooling_is_fast():
    """Cooled within two days, skin stays open for the winter."""
    fast = replace(BAY, schedule=replace(BAY.schedule, ramp=2.0 / DAY))
    slow, quick = (
        healing_choice(bay, rot_share=0.0, frost_share=0.0, days=198) for bay in (BAY, fast)
    )
    assert quick.gain > slow.gain
    assert quick.cool_closes > slow.cool_closes


# --- progress ----------------------------------------------------------------------------


def test_healing_by_accumulated_temperature(tmp_path):
    """Filled on 24 Sep; five days at 12.8 °C are five days' worth, at 17.8 °C ten."""
    seen = [(k, 12.8) for k in range(6, 12)]
    book = book_of(tmp_path / "a.season", seen)
    told = progress_of(BAY, book, today=HARVEST + timedelta(days=11))
    assert told.healed == pytest.approx(5 * DAY)
    assert told.healing_wanted == pytest.approx(14 * DAY, rel=0.01)
    last = HARVEST + timedelta(days=6)
    assert told.healed_by[0] == last + timedelta(days=7)
    assert told.healed_by[2] == last + timedelta(days=21)
    warm = book_of(tmp_path / "b.season", [(k, 17.8) for k in range(6, 12)])
    told = progress_of(BAY, warm, today=HARVEST + timedelta(days=11))
    assert told.healed == pytest.approx(10 * DAY)


def test_cooling_and_the_dates_of_stages(tmp_path):
    """Healed in 14 days at the plan's temperature, then 0.5 K a day from 12.8 to 3.3 °C."""
    top = BAY.schedule.healing_temperature
    course = [(k, top) for k in range(6, 21)]
    course += [(20 + k, top - 0.5 * k) for k in range(1, 20)]
    book = book_of(tmp_path / "a.season", course)
    told = progress_of(BAY, book, today=HARVEST + timedelta(days=30))
    rows = {row.stage: row for row in told.stages}
    assert rows["filling"].actual_end == HARVEST + timedelta(days=6)
    assert rows["wound_healing"].actual_end == HARVEST + timedelta(days=20)
    assert rows["cool_down"].planned_begin == date(2026, 10, 8)
    assert rows["holding"].actual_begin is None
    assert told.ramp == pytest.approx(0.5 / DAY)
    assert told.pulp == pytest.approx(top - 5.0)
    # 7.78 to 3.93 °C: 3.84 K, 14 days at 0.278 K, 8 at 0.5.
    today = HARVEST + timedelta(days=30)
    assert told.holding_from == (today + timedelta(days=14), today + timedelta(days=8))
    later = progress_of(BAY, book, today=HARVEST + timedelta(days=39))
    held = {row.stage: row for row in later.stages}["holding"].actual_begin
    assert held == HARVEST + timedelta(days=20 + 18)


def test_without_measurements_it_is_the_plan_and_says_so(capsys):
    assert main(["stages", "seed_bay", "--today", "2026-10-01"]) == 0
    out = capsys.readouterr().out
    assert "No pulp was measured" in out
    assert "7.0 of 14.0 days' worth" in out


def test_rot_of_the_loads_decides_what_is_said(tmp_path, capsys):
    path = tmp_path / "north.toml"
    shutil.copy(example_bay_path(), path)
    book_of(path.with_suffix(".season"), rot_share=0.06)
    assert main(["stages", str(path), "--today", "2026-10-01"]) == 0
    assert "do not heal" in capsys.readouterr().out
    assert main(["stages", str(path), "--today", "2026-10-01", "--rot", "0 %"]) == 0
    assert "do not heal" not in capsys.readouterr().out


def test_rot_that_was_seen_in_the_pile_outranks_the_loads(tmp_path):
    folder = tmp_path / "a.season"
    book_of(folder, rot_share=0.01)
    loads = progress_of(BAY, read_logbook(folder, BAY), today=date(2026, 10, 1))
    assert loads.rot_share == pytest.approx(0.01)
    seen = [{"time": noon(HARVEST) + 8 * DAY, "what": "rot", "share": 0.03}]
    add_lines(folder, BAY, "observations", seen, written=noon(HARVEST))
    told = progress_of(BAY, read_logbook(folder, BAY), today=date(2026, 10, 1))
    assert (told.rot_share, told.frost_share) == (pytest.approx(0.03), 0.0)


def test_reconditioning_by_hand(capsys):
    """8 to 15 °C at 0.25 K a day takes 28 days, before 21 days of it and the truck on 1 May."""
    words = ["stages", "fry_bay", "--today", "2027-02-20", "--recondition", "15 degC", "--json"]
    assert main(words) == 0
    again = json.loads(capsys.readouterr().out, parse_constant=pytest.fail)["reconditioning"]
    assert again["warm_from"] == "2027-04-10"
    assert again["begin_to_warm"] == "2027-03-13"
    assert 0.0 < again["mass_loss_held"] < again["mass_loss"] < 0.02
    assert again["dormancy_used"][0] < again["dormancy_used"][1]


def test_a_log_of_readings_counts(tmp_path, capsys):
    log = tmp_path / "log.csv"
    rows = [
        f"2026-10-{day:02}T12:00:00-06:00,8,9,0,{9 - 0.1 * day:.1f},{9.4 - 0.1 * day:.1f}"
        for day in range(1, 9)
    ]
    heads = "time,plenum_temp_c,return_temp_c,fan_speed,pulp_1_c,pulp_2_c"
    log.write_text("\n".join([heads, *rows]), encoding="utf-8")
    words = ["stages", "seed_bay", "--today", "2026-10-08", "--log", str(log), "--json"]
    assert main(words) == 0
    data = json.loads(capsys.readouterr().out, parse_constant=pytest.fail)
    assert data["measured_days"] == 8
    assert data["pulp_temp_c"] == pytest.approx(8.4)
    assert data["ramp_k_per_day"] == pytest.approx(0.1)


@pytest.mark.parametrize(
    ("words", "part"),
    [
        (("--today", "1 May"), "--today"),
        (("--rot", "120 %"), "--rot"),
        (("--dormancy", "3 days"), "--dormancy"),
        (("--recondition", "60 degC"), "--recondition"),
        (("--recondition-time", "14 days"), "--recondition"),
        (("--log", "none.csv"), "none.csv"),
    ],
)
def test_bad_words(words, part, capsys):
    assert main(["stages", "seed_bay", *words]) == 2
    err = capsys.readouterr().err
    assert part in err
    assert len(err.splitlines()) == 1


def test_a_day_before_the_first_load_is_refused(tmp_path, capsys):
    book_of(tmp_path / "a.season")
    words = ["stages", "seed_bay", "--folder", str(tmp_path / "a.season"), "--today", "2025-11-20"]
    assert main(words) == 2
    assert "before the first load of the season folder, 2026-09-18" in capsys.readouterr().err
