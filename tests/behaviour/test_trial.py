"""Trials of control methods: what is crossed, judged, kept, taken up again and shared out."""

from __future__ import annotations

import json
import math
from dataclasses import replace

import numpy as np
import pytest

import ventcalc as vc
from ventcalc.commands import trial as command
from ventcalc.commands.main import main
from ventcalc.season.likely import RANGES
from ventcalc.trial import run as running
from ventcalc.trial.cases import parcels_of, placed
from ventcalc.trial.faults import USUAL, sensors_of
from ventcalc.trial.judge import judge
from ventcalc.trial.seasons import COLUMNS, TEXTS

DAY = 86400.0
SEED = vc.example_bay("seed_bay")
BRIEF = replace(SEED, name="brief", schedule=replace(
    SEED.schedule, fill_start="10-10", warm_up_start="10-20", unloading_start="10-22",
    fill_days=2 * DAY, healing_days=2 * DAY, unloading_days=1 * DAY))  # fmt: skip
WEATHER = vc.example_weather()
METHODS = ("clock", "shadow_price")


def tried(**changes):
    """A trial of a few days, in plain Python."""
    given = {"policies": METHODS, "faults": ("none", "pulp+1K"), "draws": 2, "layers": 4}
    return vc.run_trial(BRIEF, WEATHER, **{**given, "compiled": False, **changes})


@pytest.fixture(scope="module")
def trial():
    return tried()


def same(one, other):
    """To the last digit."""
    return all(
        np.array_equal(one[name], other[name], equal_nan=name not in TEXTS) for name in COLUMNS
    )


def test_everything_is_crossed_and_each_season_is_that_of_run_season(trial):
    seasons = trial.seasons
    rows = zip(*(seasons[name].tolist() for name in ("fault", "method", "draw")), strict=True)
    assert len({*rows}) == len(seasons["method"]) == 2 * 2 * 2
    alone = tried(faults="pulp+1K", draws=1).seasons
    kpi = vc.run_season(
        placed(BRIEF, WEATHER), WEATHER, "clock", layers=4, compiled=False,
        sensor_errors=vc.SensorErrors(pulp=1.0),
    ).kpi  # fmt: skip
    assert alone["method"][0] == "clock"
    assert alone["off_plan_kelvin_hours"][0] == kpi.off_plan_kelvin_hours
    assert alone["cost"][0] == kpi.cost


def test_draws_are_the_crop_and_the_seed_moves_them(trial):
    seasons = trial.seasons
    for name, (low, high) in RANGES.items():
        assert len(np.unique(seasons[name])) == 2
        assert low <= seasons[name].min() < (low + high) / 2.0 < seasons[name].max() <= high
    clock = (seasons["method"] == "clock") & (seasons["fault"] == "none")
    assert np.ptp(seasons["water_loss"][clock]) > 0.0
    assert same(seasons, tried().seasons)
    others = parcels_of(replace(trial.trial, draws=3, seed=1))
    assert {parcel.points for parcel in others} != {
        parcel.points for parcel in parcels_of(replace(trial.trial, draws=3))
    }


def test_the_seed_moves_forecasts_that_err_and_nothing_else():
    given = {"faults": "none", "draws": 1}
    both = tried(policies=("plan", "plan_noisy"), **given)
    other = tried(policies="plan_noisy", seed=1, **given)
    assert len({*both.seasons["cost"].tolist(), *other.seasons["cost"].tolist()}) == 3
    keys, moved = (
        [parcel.key for parcel in parcels_of(replace(both.trial, seed=seed))] for seed in (0, 1)
    )
    assert [one == two for one, two in zip(keys, moved, strict=True)] == [True, False]


# --- faults and places ---------------------------------------------------------------------------


def test_faults_say_what_they_do():
    assert sensors_of("return_rh-4%").return_relative_humidity == pytest.approx(-0.04)
    assert sensors_of("co2+500ppm").co2 == pytest.approx(5e-4)
    assert sensors_of("door_stuck") == vc.SensorErrors()
    for name in USUAL:
        sensors_of(name)


def test_parts_fail_half_way_to_the_warm_up():
    seasons = tried(faults=("none", "fans_dead", "door_stuck"), draws=1).seasons
    hours = dict(zip(seasons["fault"], seasons["fan_hours"], strict=True))
    clock = seasons["method"] == "clock"
    hours = dict(zip(seasons["fault"][clock], seasons["fan_hours"][clock], strict=True))
    assert hours["none"] - hours["fans_dead"] == 2 * 8.0  # two nights from 22 to 6 o'clock
    loss = dict(zip(seasons["fault"][clock], seasons["off_plan_kelvin_hours"][clock], strict=True))
    assert loss["door_stuck"] != loss["none"]


def test_a_bay_goes_by_the_clock_and_the_pressure_of_the_climate():
    assert placed(BRIEF, WEATHER).site.time_zone == BRIEF.site.time_zone  # both of the mountains
    assert placed(BRIEF, WEATHER).site.altitude == pytest.approx(1500.0, abs=150.0)
    east = placed(BRIEF, replace(WEATHER, time_zone="UTC+03:00"))
    assert east.site.time_zone == "Etc/GMT-3"  # the sign is turned round in these names


def test_bays_and_climates_of_one_name_are_told_apart():
    given = {"faults": "none", "layers": 4, "compiled": False}
    twice = vc.run_trial((BRIEF, BRIEF), (WEATHER, WEATHER), "nothing", **given)
    assert twice.judgement.cases == twice.judgement.places == 4


# --- judging -------------------------------------------------------------------------------------


def made(**columns):
    """Seasons of two methods in three cases, ``a`` first."""
    usual = {name: np.full(6, "" if name in TEXTS else 5.0, dtype=object) for name in COLUMNS}
    usual |= {name: np.full(6, 5.0) for name in COLUMNS if name not in TEXTS}
    usual["method"] = np.array(["a", "b"] * 3, dtype=object)
    usual["fault"] = np.array(["x", "x", "y", "y", "z", "z"], dtype=object)
    usual["condensed_on_crop"] = np.zeros(6)
    usual["off_plan_kelvin_hours"] = np.zeros(6)
    return {**usual, **{name: np.array(values) for name, values in columns.items()}}


def test_regret_is_to_the_best_that_harms_nothing():
    cost = [10.0, 12.0, 11.0, 10.0, 8.0, 9.0]
    judged = judge(made(cost=cost, coldest_tuber=[5, 5, 5, 5, -0.1, 5]), ("a", "b"), 0, 1.0)
    assert judged.regret.tolist() == pytest.approx([0.0, 2.0, 1.0, 0.0, math.nan, 0.0], nan_ok=True)
    assert judged.standings[0].method == "b"  # dearer, but it never froze anything
    assert (judged.standings[1].out, judged.out[4]) == (1, "freezing")
    assert judged.worst_first.tolist()[:2] == [4, 1]
    wet = judge(made(cost=cost, condensed_on_crop=[0, 0, 0, 1.5, 0, 2.5]), ("a", "b"), 0, 1.0)
    assert [one.method for one in wet.standings] == ["a", "b"]
    assert wet.standings[1].out == 2


def test_off_plan_has_its_price_and_a_hopeless_case_is_told():
    seasons = made(cost=[10.0] * 6, off_plan_kelvin_hours=[500.0, 0.0] * 3)
    assert judge(seasons, ("a", "b"), 0, 2.0).standings[1].regret == pytest.approx(1.0)
    judged = judge({**seasons, "coldest_tuber": np.array([-2.0, -1.0, 5, 5, 5, 5])}, "ab", 0, 2.0)
    assert judged.hopeless == 1
    assert np.isnan(judged.regret[:2]).all()
    assert judged.standings[0].seasons - judged.standings[0].out == 2


def test_the_interval_is_that_of_scipy():
    from scipy.stats import bootstrap

    rng = np.random.default_rng(3)
    count = 40
    seasons = {
        name: np.repeat(column[:2], count) if name != "method" else np.tile(column[:2], count)
        for name, column in made().items()
    }
    seasons["draw"] = np.repeat(np.arange(count, dtype=float), 2)
    seasons["cost"] = 10.0 + np.where(seasons["method"] == "a", rng.gamma(2.0, 1.0, 2 * count), 0.0)
    one = next(one for one in judge(seasons, ("a", "b"), 0, 0.0).standings if one.method == "a")
    values = seasons["cost"][seasons["method"] == "a"] - 10.0
    told = bootstrap((values,), np.mean, method="percentile", rng=rng).confidence_interval
    assert (one.low, one.high) == pytest.approx((told.low, told.high), abs=0.05)
    assert one.low < one.regret < one.high


# --- kept and taken up again ---------------------------------------------------------------------


def test_a_folder_takes_up_what_was_left(trial, tmp_path):
    """Interrupted after three parcels; the second run does the fourth only."""
    place = tmp_path / "results"

    def stop(done, total):
        if done >= 6:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        tried(folder=str(place), progress=stop)
    seen = []
    whole = tried(folder=str(place), progress=lambda *said: seen.append(said))
    assert whole.found == 6
    assert seen == [(8, 8)]
    assert same(whole.seasons, trial.seasons)
    next((place / "parts").glob("*.csv")).write_text("bay,climate\n", encoding="utf-8")
    more = tried(folder=str(place), faults=("none", "pulp+1K", "no_mist"))
    assert more.found == 6  # a damaged part is run anew, as the fault that is new
    assert tried(folder=str(place)).found == 8


def test_the_table_opens_in_pandas_or_duckdb(trial, tmp_path, monkeypatch):
    """By way of the format that both read; without pyarrow it is CSV."""
    from pyarrow import parquet

    path = tried(folder=str(tmp_path / "one")).path
    read = parquet.read_table(path)
    assert read.column_names == list(COLUMNS)
    assert read.column("cost").to_pylist() == trial.seasons["cost"].tolist()
    assert read.column("fault").to_pylist() == trial.seasons["fault"].tolist()
    monkeypatch.setitem(__import__("sys").modules, "pyarrow", None)
    plain = tried(folder=str(tmp_path / "one")).path
    assert plain.name == "seasons.csv"
    assert plain.read_text(encoding="utf-8").count("\n") == 9


def test_another_folder_is_left_alone(tmp_path):
    (tmp_path / "mine.txt").write_text("mine", encoding="utf-8")
    with pytest.raises(vc.BadInput, match="no result folder"):
        tried(folder=str(tmp_path))


# --- shared out ----------------------------------------------------------------------------------


DEADLY = """
import os
from ventcalc.advice.policies import clock_schedule
from ventcalc.advice.readings import START

def deadly(bay, readings, memory):
    if not os.path.exists("died"):
        open("died", "w").close()
        os._exit(1)
    return clock_schedule(bay, readings, memory or START)
"""


def test_a_cluster_gives_the_same_though_a_worker_dies(trial, tmp_path, monkeypatch):
    """Two processes of Dask on this machine, in plain Python; one dies within a parcel."""
    from distributed import LocalCluster

    (tmp_path / "my_deadly.py").write_text(DEADLY, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    kept = {"policies": ("my_deadly:deadly", *METHODS), "folder": str(tmp_path / "shared")}
    with LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=":0") as cluster:
        address = cluster.scheduler_address
        seen = []
        shared = tried(**kept, scheduler=address, progress=lambda *said: seen.append(said))
        assert (tmp_path / "died").exists()
        assert seen[-1] == (12, 12)
        assert tried(**kept, scheduler=address).found == 12
    own = shared.seasons["method"] == "my_deadly:deadly"
    assert same({name: column[~own] for name, column in shared.seasons.items()}, trial.seasons)
    clock = shared.seasons["method"] == "clock"
    assert shared.seasons["cost"][own].tolist() == shared.seasons["cost"][clock].tolist()


def test_a_worker_with_another_library_is_refused(trial):
    from ventcalc.trial.seasons import run_parcel

    with pytest.raises(vc.BadInput, match="install the same on all machines"):
        run_parcel(replace(parcels_of(trial.trial)[0], sources="older"), False)


# --- a method of one's own, the command ----------------------------------------------------------


OWN = """
import ventcalc as vc

def rest(bay, readings, memory):
    return vc.Positions(), memory
"""


def test_a_method_of_ones_own(tmp_path, monkeypatch):
    (tmp_path / "my_methods.py").write_text(OWN, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    given = {"faults": "none", "draws": 1, "layers": 4, "compiled": False}
    both = vc.run_trial(BRIEF, WEATHER, ("nothing", "my_methods:rest"), **given).seasons
    assert both["cost"][0] == both["cost"][1]


@pytest.mark.parametrize(
    ("text", "part"),
    [
        ("def f(:", "cannot import {} (SyntaxError: "),
        ("1 / 0", "cannot import {} (ZeroDivisionError: division by zero)"),
        ("def f(bay, readings, memory): return None", "policy f: at 2018-09-18T06:00:00 UTC it"),
        ("def f(bay, readings, memory): 1 / 0", "it failed, ZeroDivisionError: division by zero ("),
        ("import ventcalc as vc\ndef f(b, r, m): return vc.Positions(float('nan')), m",
         "fan_speed of policy f must lie in 0 to 1 (got nan at 2018-09-18T06:00:00 UTC)"),
    ],
)  # fmt: skip
def test_a_method_of_ones_own_that_cannot_be_used_gets_one_line(text, part, tmp_path, monkeypatch,
                                                                capsys):  # fmt: skip
    name = f"slip_{len(text)}"
    (tmp_path / f"{name}.py").write_text(text, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    words = ["--weather", "example", "--layers", "4", "--policy", f"{name}:f"]
    assert main(["trial", "seed_bay", *words]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    (line,) = err.splitlines()
    assert part.format(name) in line


@pytest.mark.parametrize(
    ("words", "part"),
    [
        (("--policy", "best"), "module:function"),
        (("--policy", "no_such_module:f"), "cannot import no_such_module"),
        (("--policy", "math:tan_of"), "has no function tan_of"),
        (("--policy", ":f"), "module:function"),
        (("--fault", "pulp+1%"), "outside+2K"),
        (("--fault", "pulp+100K"), "at most 10 K"),
        (("--draws", "0"), "--draws is 0"),
        (("--scheduler", "nowhere"), "does not answer"),
        (("--step", "7"), "does not divide"),
    ],
)
def test_wrong_words_get_one_line(words, part, capsys, monkeypatch):
    monkeypatch.setattr("ventcalc.trial.cluster.PATIENCE", "1s")
    assert main(["trial", "seed_bay", "--weather", "example", "--policy", "clock", *words]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert len(err.splitlines()) == 1
    assert part in err


@pytest.fixture
def brief(monkeypatch):
    """The command with seasons of a few days."""
    monkeypatch.setattr(command, "bay_named", lambda name: BRIEF)
    line = ["trial", "seed_bay", "--weather", "example", "--policy", "clock", "nothing"]
    return [*line, "--layers", "4"]


def test_the_command_says_who_did_best_and_where_each_is_worst(brief, tmp_path, capsys):
    page = tmp_path / "trial.html"
    assert main([*brief, "--fault", "none", "no_mist", "--html", str(page)]) == 0
    said = capsys.readouterr().out
    assert said.startswith("clock: the only method that harmed the crop in no case.")
    assert "4 seasons, all simulated: 1 bay x 1 climate x 2 faults x 1 crop x 2 methods." in said
    assert "no ventilation: none" in said
    assert "heat: " in said
    assert "Caution" in said
    html = page.read_text(encoding="utf-8")
    assert html.count("<svg") == 2
    assert "Regret" in html


def test_the_command_as_json(brief, capsys):
    assert main([*brief, "--json"]) == 0
    data = json.loads(capsys.readouterr().out, parse_constant=pytest.fail)
    assert [one["method"] for one in data["methods"]] == ["clock", "nothing"]
    assert data["methods"][1]["disqualified"] == 1
    assert math.isfinite(data["methods"][0]["off_plan_k_h"])
    assert data["worst"][0]["method"] == "nothing"


def test_interrupted_it_says_what_is_kept(brief, tmp_path, capsys, monkeypatch):
    def stopped(work, jobs, workers, fast):
        yield work(jobs[0])
        raise KeyboardInterrupt

    monkeypatch.setattr(running, "one_after_the_other", stopped)
    assert main([*brief, "--out", str(tmp_path / "kept")]) == 130
    assert "stopped after 1 of 2 seasons; they are kept in" in capsys.readouterr().err
    monkeypatch.undo()
    monkeypatch.setattr(command, "bay_named", lambda name: BRIEF)
    assert main([*brief, "--out", str(tmp_path / "kept")]) == 0
    assert "1 of them lay in the folder" in capsys.readouterr().out
