"""Loads: what is advised for each and why, how the bay fills, what heat comes with it."""

from __future__ import annotations

import json
import math
import shutil
import time
from dataclasses import replace
from datetime import datetime
from zoneinfo import ZoneInfo

import pytest

from ventcalc.bay.file import example_bay, example_bay_path
from ventcalc.commands.main import main
from ventcalc.errors import BadInput
from ventcalc.logbook.as_loaded import as_loaded
from ventcalc.logbook.filling import filling_of, plan_fill
from ventcalc.logbook.folder import read_logbook
from ventcalc.logbook.judge import Take, judge_load, judge_loads, pile_under
from ventcalc.logbook.kinds import Load
from ventcalc.logbook.writing import add_lines
from ventcalc.report.loads_text import loads_text
from ventcalc.units import parse

BAY = example_bay("seed_bay")
POUND = 0.45359237
START = datetime(2024, 9, 18, 7, tzinfo=ZoneInfo(BAY.site.time_zone)).timestamp()


def load(pulp: str | None = "56 degF", **more) -> Load:
    told = None if pulp is None else parse(pulp, "degC")
    return Load(**{"lot": "Lot A", "gross": 38000.0, "tare": 11000.0, "pulp": told, **more})


def verdict(pulp: str | None = "56 degF", pile: str | None = None, **more):
    below = math.nan if pile is None else parse(pile, "degC")
    found = judge_load(BAY, load(pulp, **more), below)
    return found.take, [reason.key for reason in found.reasons]


@pytest.mark.parametrize(
    ("pulp", "take", "why"),
    [
        # 50-60 °F best, above 65 °F undesirable: M. Thornton, Univ. of Idaho, 2019
        ("50.1 degF", Take.YES, []),
        ("59.9 degF", Take.YES, []),
        ("60 degF", Take.YES, []),
        ("15.6 degC", Take.YES, []),
        ("60.1 degF", Take.WARNING, ["warm"]),
        ("64.9 degF", Take.WARNING, ["warm"]),
        ("65.1 degF", Take.WAIT, ["too_warm"]),
        ("49.9 degF", Take.WARNING, ["cool"]),
        # below 45 °F injures more: Univ. of Minnesota DG6239
        ("45.1 degF", Take.WARNING, ["cool"]),
        ("44.9 degF", Take.WAIT, ["too_cold"]),
        # tubers freeze at about 30 °F: Bethke and Fishler, 2019
        ("30.1 degF", Take.WAIT, ["too_cold"]),
        ("29.9 degF", Take.WAIT, ["frozen"]),
        (None, Take.WARNING, ["not_measured"]),
    ],
)
def test_pulp(pulp, take, why):
    assert verdict(pulp) == (take, why)


@pytest.mark.parametrize(
    ("pulp", "pile", "take", "why"),
    [
        # no more than a couple of degrees: AHDB Storage Bulletin, Sep 2013
        ("13 degC", "14.9 degC", Take.YES, []),
        ("13 degC", "15.1 degC", Take.WARNING, ["sweats"]),
        ("11 degC", "16.1 degC", Take.WAIT, ["sweats"]),
        ("14 degC", "11.9 degC", Take.WARNING, ["uneven"]),
    ],
)
def test_the_pile_that_it_falls_on(pulp, pile, take, why):
    assert verdict(pulp, pile) == (take, why)


@pytest.mark.parametrize(
    ("told", "take", "why"),
    [
        ({"rot_share": 0.01}, Take.YES, []),
        ({"rot_share": 0.02}, Take.WARNING, ["rot"]),
        ({"rot_share": 0.06}, Take.WAIT, ["rot"]),
        ({"frost_share": 0.01}, Take.WARNING, ["frost"]),
        ({"frost_share": 0.06}, Take.WAIT, ["frost"]),
        ({"wet": "yes"}, Take.WARNING, ["wet"]),
        ({"wet": "no"}, Take.YES, []),
        # drops of at most 6 inch: P. Nolte, Univ. of Idaho, 2012
        ({"fall": 0.15}, Take.YES, []),
        ({"fall": 0.16}, Take.WARNING, ["fall"]),
        # the bay counts on 2 % of soil; 2 % more is a factor of 1.36
        ({"soil_share": 0.039}, Take.YES, []),
        ({"soil_share": 0.04}, Take.WARNING, ["soil"]),
        ({"soil_share": 0.04, "rot_share": 0.06}, Take.WAIT, ["rot", "soil"]),
    ],
)
def test_health_soil_and_wet_skin(told, take, why):
    assert verdict(**told) == (take, why)


def test_every_reason_names_the_source_of_its_limit():
    bad = judge_load(BAY, load("66 degF", rot_share=0.1, frost_share=0.1, soil_share=0.1), 10.0)
    assert len(bad.reasons) == 5
    assert all(len(reason.source) > 10 for reason in bad.reasons)


# --- a season ----------------------------------------------------------------------------


def season(tmp_path, *loads, bay=BAY, **other):
    """A season folder with loads ``(hours after the first, pulp in °C)`` of 27 t."""
    folder = tmp_path / "north.season"
    lines = [
        {"time": START + 3600.0 * h, "lot": bay.lots[0].name, "gross": 38e3, "tare": 11e3}
        | ({} if pulp is None else {"pulp": pulp})
        for h, pulp in loads
    ]
    add_lines(folder, bay, "loads", lines, written=START)
    for kind, line in other.items():
        add_lines(folder, bay, kind, [line], written=START)
    return read_logbook(folder, bay)


def test_the_pile_under_a_load_is_what_came_the_day_before(tmp_path):
    book = season(tmp_path, (0, 12.0), (1, 14.0), (30, 18.0))
    assert math.isnan(pile_under(book, START))
    assert pile_under(book, START + 1.5 * 3600) == pytest.approx(13.0)
    assert pile_under(book, START + 24.5 * 3600) == pytest.approx(14.0)
    assert math.isnan(pile_under(book, START + 29 * 3600))
    taken = [one.take for _, one in judge_loads(BAY, book)]
    assert taken == [Take.YES, Take.YES, Take.WARNING]


def test_a_measured_pile_counts_more_than_what_came(tmp_path):
    seen = {"time": START + 2 * 3600, "what": "pulp", "pulp": 10.0}
    book = season(tmp_path, (0, 14.0), (4, 14.0), observations=seen)
    assert pile_under(book, START + 3 * 3600) == 10.0
    assert pile_under(book, START + 5 * 3600) == pytest.approx(14.0), "a load on top of it"
    reasons = [[r.key for r in one.reasons] for _, one in judge_loads(BAY, book)]
    assert reasons == [[], ["uneven"]]


def test_filling_adds_up(tmp_path):
    loads = [(24 * d + 0.2 * k, 15.0) for d, n in enumerate((4, 8, 6)) for k in range(n)]
    out = {"time": START + 60 * 3600, "lot": "Lot A", "gross": 38e3, "tare": 11e3}
    found = filling_of(BAY, season(tmp_path, *loads, weights_out=out))
    assert [day.loads for day in found.days] == [4, 8, 6]
    assert [day.content for day in found.days] == pytest.approx([108e3, 324e3, 486e3])
    assert found.content == pytest.approx(486e3 - 27e3)
    assert found.rate == pytest.approx(27e3 * 6)
    assert found.days_left == pytest.approx((4e6 * POUND - 459e3) / 162e3, rel=1e-3)
    assert found.planned_days == 6.0


def test_heat_of_a_day_by_hand(tmp_path):
    """c = 3.6 kJ/(kg K) within 8 % (handbooks: 3.43 to 3.67), 43 W/t just dug (Burton)."""
    (day,) = filling_of(BAY, season(tmp_path, *[(0.1 * k, 16.0) for k in range(10)])).days
    healing = parse("55 degF", "degC")
    assert day.field_heat == pytest.approx(270e3 * 3600 * (16.0 - healing) / 86400, rel=0.08)
    assert 25.0 < day.respiration / 270.0 < 50.0
    assert day.heat == day.field_heat + day.respiration
    assert math.isnan(day.refrigeration_share)
    (tmp_path / "cold").mkdir()
    (cold,) = filling_of(BAY, season(tmp_path / "cold", *[(0.1 * k, 10.0) for k in range(10)])).days
    assert cold.field_heat < 0.0
    assert cold.heat == cold.respiration, "cold loads are no reason to cool less"
    (tmp_path / "even").mkdir()
    even = season(tmp_path / "even", *[(0.1 * k, healing) for k in range(10)])
    assert cold.fan_share == pytest.approx(filling_of(BAY, even).days[0].fan_share)


def test_more_heat_asks_more_of_fans_and_plant(tmp_path):
    fry = example_bay("fry_bay")
    shares = []
    for pulp in (14.0, 17.0, 20.0):
        place = tmp_path / str(pulp)
        place.mkdir()
        (day,) = filling_of(fry, season(place, *[(0.1 * k, pulp) for k in range(20)], bay=fry)).days
        shares.append((day.fan_share, day.refrigeration_share))
    assert shares == sorted(shares)
    assert shares[0][1] > 0.0
    # 540 t cooled by 6 K in a day are 130 kW, more than the plant's 70 kW and 20 h a day
    assert shares[-1][1] > 2.0


def test_the_slowest_sets_the_rate():
    given = {
        "truck_load": 60000 * POUND,
        "harvest_time": 240.0,
        "way_time": 900.0,
        "unload_time": 300.0,
        "working_time": 36000.0,
    }
    few = plan_fill(4e6 * POUND, trucks=3, **given)
    # 4 min, twice 15 min and 5 min: 39 min a trip, 3 trucks bring 4.6 loads an hour
    assert few.binds == "trucks"
    assert few.loads_per_day == pytest.approx(3 * 600 / 39)
    assert few.days == pytest.approx(4e6 / 60000 / (3 * 600 / 39))
    assert few.enough_trucks == 8  # 39 min of trip at a load every 5 min
    many = plan_fill(4e6 * POUND, trucks=8, **given)
    assert (many.binds, many.loads_per_day) == ("piler", pytest.approx(120.0))
    slow = plan_fill(4e6 * POUND, trucks=8, **{**given, "harvest_time": 600.0})
    assert (slow.binds, slow.loads_per_day) == ("harvester", pytest.approx(60.0))
    with pytest.raises(BadInput, match="trucks: must be above zero"):
        plan_fill(4e6, trucks=0, **given)


# --- the command -------------------------------------------------------------------------


@pytest.fixture
def run(capsys, tmp_path):
    path = tmp_path / "north.toml"
    path.write_text(example_bay_path().read_text(encoding="utf-8"), encoding="utf-8")

    def call(command, *words):
        status = main([command, str(path), *map(str, words)])
        out, err = capsys.readouterr()
        return status, " ".join(out.split()), err

    return call


def test_a_truck_on_the_scale_is_judged_and_not_written(run, tmp_path):
    status, out, _ = run("loads", "pulp=66 degF", "rot=1.5 %", "--units", "us")
    assert status == 0
    assert out.startswith("Advised to wait: - pulp 66.0 °F is above 65.0 °F, where decay")
    assert "Thornton" in out
    assert "rot 1.5%, more than 1.0%" in out
    assert not (tmp_path / "north.season").exists()
    assert run("loads", "pulp=56 degF")[1] == "Taken"
    assert "4.4 K colder" not in run("loads", "pulp=51 degF", "--pile", "53 degF")[1]
    assert "4.44 K colder" in run("loads", "pulp=50 degF", "--pile", "58 degF")[1]


def test_a_load_that_is_written_down_is_judged_at_once(run):
    words = ("loads", "lot=Lot A", "gross=84000 lb", "tare=24000 lb")
    _, out, _ = run("log", *words, "pulp=58 degF", "time=2024-09-18 07:00")
    assert out.endswith("loads.csv Taken")
    _, out, _ = run("log", *words, "pulp=51 degF", "time=2024-09-18 07:10", "--units", "us")
    assert "Taken with a warning: - 7.00 °F colder than the pile it falls on" in out
    status, out, _ = run("loads", "--units", "us")
    assert status == 0
    assert "2 loads, 120,000 lb in the bay, 3% of a full one" in out
    assert "Loads: 1 taken, 1 taken with a warning, 0 advised to wait" in out
    assert "Limits from: - AHDB Storage Bulletin" in out


def test_bad_rows_stop_it_unless_left_out(run, tmp_path):
    folder = tmp_path / "north.season"
    folder.mkdir()
    (folder / "loads.csv").write_text(
        "time,lot,gross_lb,tare_lb\n2024-09-18 07:00,Lot A,84000,24000\nlater,Lot A,84000,24000\n"
    )
    status, out, err = run("loads")
    assert (status, out) == (2, "")
    assert 'loads.csv row 3: time "later": not a time' in err
    status, out, _ = run("loads", "--skip-bad")
    assert status == 0
    assert "1 load, 27.2 t in the bay" in out
    assert "Left out: loads.csv row 3" in out


def test_ten_thousand_loads_in_five_seconds(tmp_path, run):
    """Of a bay as large as that: read, checked, judged and shown, in processor time."""
    text = example_bay_path().read_text(encoding="utf-8")
    (tmp_path / "north.toml").write_text(text, encoding="utf-8")
    folder = tmp_path / "north.season"
    folder.mkdir()
    rows = ["line,time,lot,gross_kg,tare_kg,pulp_temp_c,ticket"]
    for k in range(10000):
        when = datetime.fromtimestamp(START + 300.0 * k, ZoneInfo("UTC")).isoformat()
        rows.append(f"{k + 1},{when},Lot A,11180,11000,{12 + k % 7},{k}")
    (folder / "loads.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    begin = time.process_time()
    status, out, err = run("loads", "--json")
    used = time.process_time() - begin
    assert (status, err) == (0, "")
    assert len(json.loads(out)["loads"]) == 10000
    assert used < 5.0


def test_immature_lots_give_off_more(tmp_path):
    lots = tuple(replace(lot, maturity="immature") for lot in BAY.lots)
    loads = [(0.1 * k, 15.0) for k in range(10)]
    green = filling_of(replace(BAY, lots=lots), season(tmp_path, *loads)).days[0]
    (tmp_path / "ripe").mkdir()
    ripe = filling_of(BAY, season(tmp_path / "ripe", *loads)).days[0]
    assert green.respiration > 1.3 * ripe.respiration


def test_loads_of_which_the_same_is_said_stand_together(tmp_path):
    book = season(tmp_path, (0, 16.0), (1, 16.0), (2, 16.0), (3, 16.5), (4, 15.0))
    filling, judged = filling_of(BAY, book), judge_loads(BAY, book)
    few, every = (
        " ".join(loads_text(BAY, book, filling, judged, "metric", last).split())
        for last in (1, None)
    )
    assert "(3 older ones; --all shows them)" in few
    assert "lines 1 to 3, 2024-09-18 07:00 to 2024-09-18 09:00, 3 loads of Lot A, taken" in every
    assert every.count("taken with a warning:") == 2


# --- the bay as loaded ------------------------------------------------------------------------


def test_a_bay_as_loaded_has_the_dates_lots_and_pulp_of_its_loads(tmp_path):
    """A load that nobody took the temperature of counts as its lot."""
    first, second = (lot.name for lot in BAY.lots[:2])
    lines = [
        {"time": START + 3600.0 * k, "lot": lot, "gross": 38e3, "tare": 11e3} | pulp
        for k, (lot, pulp) in enumerate(
            [(first, {"pulp": 13.0}), (second, {"pulp": 16.0}), (second, {})]
        )
    ]
    add_lines(tmp_path, BAY, "loads", lines, written=START)
    found = as_loaded(BAY, read_logbook(tmp_path, BAY))
    assert [(lot.name, lot.mass, lot.loading_temperature) for lot in found.lots] == [
        (first, 27e3, 13.0),
        (second, 54e3, 16.0),
    ]
    assert (found.schedule.fill_start, found.schedule.fill_days) == ("09-18", 86400.0)
    assert found.schedule.healing_days == BAY.schedule.healing_days
    with pytest.raises(BadInput, match="holds no load with a pulp temperature"):
        as_loaded(BAY, season(tmp_path, (0, None)))


def test_a_season_runs_from_the_loads_of_its_folder(tmp_path, capsys):
    bay = tmp_path / "north.toml"
    shutil.copy(example_bay_path("seed_bay"), bay)
    words = ["season", str(bay), "--weather", "example", "--until", "2018-10-03", "--layers", "10"]
    assert main([*words, "--loads"]) == 2
    assert "holds no load" in capsys.readouterr().err
    assert main([*words, "--folder", str(tmp_path)]) == 2
    assert "go with --loads" in capsys.readouterr().err
    for day in (20, 22):
        told = ["gross=84000 lb", "tare=24000 lb", "pulp=64 degF", f"time=2018-09-{day} 10:00"]
        assert main(["log", str(bay), "loads", f"lot={BAY.lots[0].name}", *told]) == 0
    capsys.readouterr()
    log = tmp_path / "log.csv"
    assert main([*words, "--loads", "--log-out", str(log)]) == 0
    assert capsys.readouterr().out.startswith("As loaded: 54.4 t, 3% of a full pile, at 17.8 °C")
    rows = [line for line in log.read_text().splitlines() if not line.startswith("#")]
    assert rows[1].startswith("2018-09-20T01:00")
    assert "2018-09-18" not in log.read_text(), "the bay file's own first load"
