"""``ventcalc diagnose``: logs that are read, what is found in them, and what is not."""

from __future__ import annotations

import json
import re
from pathlib import Path

import numpy as np
import pytest

import ventcalc as vc
from ventcalc.advice.alarms import ALARM_IDS
from ventcalc.commands.main import main
from ventcalc.diagnose import Log, diagnose, read_log
from ventcalc.diagnose.days import Days
from ventcalc.diagnose.findings import Signal, episodes
from ventcalc.diagnose.hours import hours_of
from ventcalc.diagnose.log import COLUMNS, FACTORS
from ventcalc.diagnose.numbers import moments_of, table_of
from ventcalc.diagnose.pile_rules import airflow_low, usual
from ventcalc.errors import BadInput
from ventcalc.report.season_log import season_columns, season_log_csv

BAY = vc.example_bay("seed_bay")
DAY = 86400.0
SCHEMA = Path(__file__).parents[2] / "firmware_bridge" / "schema" / "alarm.json"
HEAD = "time,plenum_temp_c,return_temp_c,fan_speed"
ROWS = [f"2026-11-01T{hour:02d}:00:00+00:00,4.0,5.0,0.8" for hour in range(12)]


@pytest.fixture(scope="module")
def season():
    """From the first load into December, in plain Python."""
    until = np.datetime64("2018-12-06T00:00:00")
    return vc.run_season(BAY, vc.example_weather(), until=until, layers=20, compiled=False)


@pytest.fixture(scope="module")
def sound(season):
    return season_columns(season)


def log_of(sound, alter=None, days=6.0):
    """A log whose last days are altered."""
    time, columns = sound
    columns = {name: values.copy() for name, values in columns.items()}
    rows = time > time[-1] - days * DAY
    if alter is not None:
        part = {name: values[rows] for name, values in columns.items()}
        alter(part)
        for name in columns:
            columns[name][rows] = part[name]
    values = {
        COLUMNS[name][0]: column * FACTORS.get(COLUMNS[name][0], 1.0)
        for name, column in columns.items()
        if name in COLUMNS
    }
    pulp = np.array([columns[f"pulp_{k}_c"] for k in range(1, 6)]).T
    return Log(time=time, values=values, pulp=pulp)


def found_in(log, units="metric"):
    return diagnose(vc.as_installed(BAY), log, units).findings


def set_to(name, value):
    return lambda part: part.update({name: np.full(len(part[name]), value)})


def swap(part):
    part["plenum_temp_c"], part["return_temp_c"] = part["return_temp_c"], part["plenum_temp_c"]


def leak(part):
    """A third of outside air whatever the door is told."""
    runs = part["fan_speed"] > 0.0
    third = part["return_temp_c"] + (part["outside_temp_c"] - part["return_temp_c"]) / 3.0
    part["plenum_temp_c"] = np.where(runs, third, part["plenum_temp_c"])
    part["humidifier"] = np.zeros(len(third))
    part["door_opening"] = np.zeros(len(third))


def warm(part):
    part["pulp_4_c"] = part["pulp_4_c"] + 0.5 * np.arange(len(part["pulp_4_c"])) / 24.0


def more_energy(part):
    part["energy_kwh"] = part["energy_kwh"] + 12.0


def no_mist(part):
    part["plenum_rh"] = part["plenum_rh"] - 0.2
    part["plenum_temp_c"] = part["plenum_temp_c"] + 1.5
    part["humidifier"] = np.where(part["fan_speed"] > 0.0, 0.6, 0.0)


def draws_less(part):
    part["energy_kwh"] = 0.6 * part["energy_kwh"]


def test_nothing_is_found_where_nothing_is_wrong(sound):
    found = diagnose(vc.as_installed(BAY), log_of(sound))
    assert found.findings == ()
    assert found.looked["probes_swapped"] > 100.0
    assert found.looked["hunting"] == 0.0, "rows an hour apart cannot show it"


@pytest.mark.parametrize(
    ("alter", "name", "level"),
    [
        (set_to("return_rh", 1.0), "humidity_probe_return", 3),
        (swap, "probes_swapped", 2),
        (leak, "door_stuck", 2),
        (warm, "hot_spot", 1),
        (more_energy, "energy_high", 3),
        (no_mist, "humidity_low", 2),
        (draws_less, "fans_weak", 2),
        (set_to("co2_ppm", 8000.0), "co2_stays", 3),
    ],
)
def test_a_fault_is_found_with_name_time_and_what_to_do(sound, alter, name, level):
    log = log_of(sound, alter)
    found = {one.id: one for one in found_in(log)}
    assert name in found
    one = found[name]
    began = log.time[-1] - 6.0 * DAY
    since = np.datetime64(one.since[:19]).astype("datetime64[s]").astype(float)
    assert began - DAY <= since <= began + 3.0 * DAY
    assert one.level == level
    assert one.sure in ("certain", "likely", "possible")
    assert 0.0 < one.shown_hours <= one.able_hours
    assert one.text.endswith(".")
    assert one.first.endswith((".", "?"))
    assert "{" not in one.text


def test_a_hot_spot_has_its_place_and_rate(sound):
    hot = [one for one in found_in(log_of(sound, warm)) if one.id == "hot_spot"]
    assert [one.place.partition(",")[0] for one in hot] == ["pulp probe 4"]
    rate = float(re.search(r"by ([\d.]+)", hot[0].text)[1])
    assert rate == pytest.approx(0.5, abs=0.15)
    us = [one for one in found_in(log_of(sound, warm), "us") if one.id == "hot_spot"]
    assert "°F" in us[0].text
    assert re.fullmatch(r"pulp probe 4, 1[12]\.\d ft above the floor", us[0].place)


def test_a_plenum_without_fans_says_nothing(sound):
    """What door, probes and humidifier do cannot be seen in a bay at rest."""

    def rest(part):
        swap(part)
        part["fan_speed"] = np.zeros(len(part["fan_speed"]))
        part["return_rh"] = np.full(len(part["return_rh"]), 1.0)

    names = {one.id for one in found_in(log_of(sound, rest))}
    assert not names & {"probes_swapped", "door_stuck", "plenum_probe", "humidity_low"}


def test_a_run_counts_only_when_it_has_settled():
    """Ten-minute rows: the first three of a run are left out of the settled means."""
    time = 1.8e9 + 600.0 * np.arange(1, 13)
    values = {
        "fan_speed": np.repeat([0.0, 1.0], 6),
        "plenum_temperature": np.where(np.arange(12) < 9, 99.0, 3.0),
        "return_temperature": np.full(12, 5.0),
    }
    hours = hours_of(Log(time=time, values=values, pulp=np.empty((12, 0))))
    settled = hours.settled["plenum_temperature"]
    assert settled[~np.isnan(settled)].tolist() == [3.0]


def test_repeated_findings_are_one():
    def told(shows):
        shows = np.array(shows, dtype=bool)
        return Signal(
            id="door_stuck", rule="S2", level=2, time=3600.0 * np.arange(len(shows)),
            able=np.ones(len(shows), dtype=bool), shows=shows, size=np.ones(len(shows)), need=3.0,
            text="", unit="1", first="",
        )  # fmt: skip

    once, pause = [True] * 4, [False] * 12
    assert len(episodes(told(once + pause + once + pause))) == 1
    week = [False] * (8 * 24)
    assert len(episodes(told(once + week + once))) == 2
    assert episodes(told([True, False] * 30)) == []
    one = episodes(told(pause + once + pause))[0]
    assert (one.start, one.raised, one.last, one.shown) == (12, 14, 15, 4)


def test_names_are_those_of_the_alarms_and_fit_the_bridge(sound):
    looked = diagnose(vc.as_installed(BAY), log_of(sound)).looked
    pattern = json.loads(SCHEMA.read_text())["$defs"]["Alarm"]["properties"]["id"]["pattern"]
    assert all(re.fullmatch(pattern, name) for name in looked)
    assert {"door_stuck", "fans_no_air", "humidity_low"} <= looked.keys() & set(ALARM_IDS)


# --- the file ---------------------------------------------------------------------------------


def test_a_simulated_season_can_be_written_and_read(season, tmp_path, capsys):
    path = tmp_path / "log.csv"
    path.write_text(season_log_csv(season), encoding="utf-8")
    log = read_log(path.read_text(encoding="utf-8"))
    assert log.remarks == ()
    assert log.pulp.shape == (len(season.time), 5)
    assert len(log.heights) == 5
    assert main(["diagnose", "seed_bay", "--log", str(path)]) == 0
    out = capsys.readouterr().out
    assert "Nothing found." in out
    assert "own interlocks stay in charge" in out
    assert main(["advise", "seed_bay", "--log", str(path)]) == 0
    rows = capsys.readouterr().out.splitlines()
    assert sum(row.startswith("20") for row in rows) == len(season.time)
    assert main(["diagnose", "seed_bay", "--log", str(path), "--json"]) == 0
    data = json.loads(capsys.readouterr().out)
    assert data["findings"] == []
    assert data["rows"] == len(season.time)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "no line with column names"),
        (HEAD, "0 rows"),
        (HEAD.replace(",", ";"), "parted by ';'"),
        ("when" + HEAD[4:], "put time there"),
        ("policy,time,outside_temp_c", "`season --log-out FILE` writes the readings"),
        (HEAD + ",kk,qq", "columns 'kk', 'qq' are not known; known are outside_temp_c,"),
        (HEAD + ",door", "column 'door' is not known; did you mean door_opening?"),
        (HEAD + ",plenum_temp_f", "stands twice"),
        ("time,return_temp_c,fan_speed", "column plenum_temp_c is missing"),
        ("# pulp_heights_m: low\n" + HEAD, "write metres with commas"),
        ("# pulp_heights_m: 0.5\n" + HEAD, "1 heights for 0 probes"),
        (HEAD, "row 2: plenum_temp_c is 40, and 12 of 12 cannot be; °F or kelvin"),
        (HEAD, "row 2: time is '2026-11-01T00:00:00', without offset (and 11 more)"),
        (HEAD, "row 3: time runs backwards, as in 11 rows"),
    ],
)
def test_what_cannot_be_used_is_refused_in_a_line(text, words, tmp_path, capsys):
    rows = ROWS
    if "cannot be" in words:
        rows = [row.replace(",4.0,", ",40.0,") for row in ROWS]
    if "without" in words:
        rows = [row.replace("+00:00", "") for row in ROWS]
    if "backwards" in words:
        rows = ROWS[::-1]
    path = tmp_path / "log.csv"
    path.write_text("\n".join([text, *([] if "0 rows" in words else rows)]), encoding="utf-8")
    if not text:
        path.write_text("", encoding="utf-8")
    assert main(["diagnose", "seed_bay", "--log", str(path)]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert words in err
    assert "Traceback" not in err


def test_a_few_bad_rows_are_left_out_with_a_line_each():
    rows = [
        f"2026-11-{d:02d}T{h:02d}:00:00+00:00,4.0,5.0,0.8" for d in range(1, 9) for h in range(24)
    ]
    rows[20] = rows[19]
    rows[40] = rows[30]
    rows[60] = rows[60].replace("4.0", "four")
    rows[80] = rows[80].replace("4.0", "44.0")
    rows[100] = rows[100] + ",1"
    rows[120] = rows[120].replace(",5.0", ",")
    log = read_log("\n".join([HEAD, *rows]))
    assert log.remarks == (
        "row 102 has 5 cells, the names are 4: left out",
        "row 62: 'four' is not a number: taken for missing",
        "row 42: time runs backwards: left out",
        "row 22: time stands twice: left out",
        "row 82: plenum_temp_c is 44: cannot be, taken for missing",
    )
    assert len(log.time) == len(rows) - 3
    assert np.isnan(log.values["plenum_temperature"]).sum() == 2
    assert np.isnan(log.values["return_temperature"]).sum() == 1


def test_a_clean_log_is_read_as_cell_by_cell():
    """Empty cells in a row, at its ends; and °F."""
    head = "time,plenum_temp_f,return_temp_c,fan_speed,outside_rh,co2_ppm"
    rows = [f"2026-11-01T{h:02d}:00:00Z,39.2,{',' if h % 2 else '5,'}0.5,," for h in range(12)]
    rows = [row.replace(",,0.5", ",,0.5") for row in rows]
    log = read_log("\n".join([head, *rows]))
    spoiled = read_log("\n".join([head, *rows, "2026-11-01T13:00:00Z,39.2,x,0.5,,"]))
    assert log.remarks == ()
    assert len(spoiled.remarks) == 1
    assert np.allclose(log.values["plenum_temperature"], 4.0)
    for name, values in log.values.items():
        assert np.array_equal(values, spoiled.values[name][:-1], equal_nan=True)


def test_rows_far_apart_are_refused():
    rows = [f"2026-11-{day:02d}T00:00:00+00:00,4.0,5.0,0.8" for day in range(1, 20)]
    log = read_log("\n".join([HEAD, *rows]))
    with pytest.raises(BadInput, match="h apart; at most 2 h"):
        diagnose(vc.as_installed(BAY), log)


def test_a_log_of_the_least_columns_is_looked_at():
    """No pulp, no outside, no humidity: nothing breaks, and it is said what was not looked at."""
    rows = [
        f"2026-12-{day:02d}T{hour:02d}:00:00+00:00,4.0,5.0,0.8"
        for day in range(1, 9)
        for hour in range(24)
    ]
    found = diagnose(vc.as_installed(BAY), read_log("\n".join([HEAD, *rows])))
    assert found.looked["door_stuck"] == found.looked["pile_uneven"] == 0.0
    assert {one.id for one in found.findings} <= {"plenum_probe"}


@pytest.mark.parametrize(
    "rows",
    [
        ["1,-2.5,", "0.125,83012,-0.03"],
        ["1e-3,nan, 4.0", ".5,5.,+3", "123456789012345678,0.1234567890123456789,-0"],
        ["7,,", ",,"],
    ],
)
def test_numbers_are_read_in_arrays_to_the_last_bit(rows):
    """As Python reads one after the other; an exponent, a sign, many digits among them."""
    told = [[float(cell or "nan") for cell in row.split(",")] for row in rows]
    np.testing.assert_array_equal(table_of(rows * 3, 3), told * 3)


@pytest.mark.parametrize("rows", [["1,2", "3"], ["1,2,3", "4"], ["-,1"], [".,1"], ["x,1"], ["²,1"]])
def test_rows_that_do_not_fit_are_no_table(rows):
    assert table_of(rows, 2) is None


def test_times_with_several_offsets_are_read_in_arrays():
    stamps = ["2026-11-01T01:30:00-06:00", "2026-11-01T01:30:00-07:00", "2026-11-01T08:31:00Z"]
    assert np.diff(moments_of(stamps)).tolist() == [3600.0, 60.0]
    for strange in ("2026-11-01T01:30:00", "2026-13-01T01:30:00Z", "2026-11-01T01:30:00.5Z", "NaT"):
        assert moments_of([*stamps, strange]) is None, strange


def test_a_pile_that_follows_less_than_it_used_to_has_weak_air():
    """Three weeks of cooling by 0.3 K a day; then the upper probes take three quarters of it."""
    rng = np.random.default_rng(5)
    due = np.full((24, 5), -0.3)
    taken = np.ones((24, 5))
    taken[20:, 1:] = 0.7

    def found(taken):
        days = Days(
            time=DAY * np.arange(24.0), heights=np.linspace(0.2, 4.5, 5),
            measured_rise=0.05 + due * taken + rng.normal(0.0, 0.004, due.shape),
            modelled_rise=0.05 + due, still_rise=np.full((24, 5), 0.05),
            swing=np.full((24, 5), 0.4),
        )  # fmt: skip
        return episodes(airflow_low(days, usual(days)))

    (one,) = found(taken)
    assert one.raised in (21, 22)
    assert one.stands
    assert found(np.ones((24, 5))) == []
    everywhere = np.ones((24, 5))
    everywhere[20:] = 0.7
    assert found(everywhere) == [], "the lowest probe falls short too: that is not the air"
