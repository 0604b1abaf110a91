"""``ventcalc outlook`` and ``season --state-out``: words, JSON, page, refusals."""

from __future__ import annotations

import json
import re
from pathlib import Path

import numpy as np
import pytest

import ventcalc as vc
from ventcalc.advice.readings_file import readings_from_json
from ventcalc.calibration.last_days import with_last_days
from ventcalc.commands.main import main
from ventcalc.diagnose.hours import since
from ventcalc.outlook.start import state_of_readings
from ventcalc.report.season_log import season_log_csv

FORECAST = str(Path(__file__).parent / "data" / "invented_weather_gov.json")
READINGS = {
    "time": "2026-11-10T09:30:00Z", "outside_temp_c": 2.0, "outside_rh": 0.8,
    "return_temp_c": 6.0, "return_rh": 0.93, "pulp_temps_c": [4.6, 5.0, None, 5.8], "co2_ppm": 1500,
}  # fmt: skip


@pytest.fixture(scope="module")
def readings(tmp_path_factory):
    path = tmp_path_factory.mktemp("outlook") / "readings.json"
    path.write_text(json.dumps(READINGS))
    return str(path)


def words(readings, *more):
    return ["outlook", "seed_bay", "--readings", readings, "--forecast", FORECAST, *more]


def test_three_sentences_and_a_row_a_day(readings, capsys):
    assert main(words(readings, "--hours", "48", "--units", "us")) == 0
    out = capsys.readouterr().out
    said = out.splitlines()[2:5]
    assert said[0].startswith("Pulp goes from 41.")
    assert re.match(r"Outside air cools in \d+ h.*kWh, .*USD.*shrink", said[1])
    assert said[2].startswith(("To watch", "No limit"))
    rows = re.findall(r"^  (?:Tue|Wed|Thu) \d\d Nov ", out, re.M)
    assert len(rows) == 3
    for part in ("estimated from 3 pulp probes", "uncertain by 0.54 °F", "free for any purpose",
                 "issued Tue 10 Nov 2026 01:12 MST", "interlocks stay in charge"):  # fmt: skip
        assert part in " ".join(out.split())


def test_json_and_page(readings, capsys, tmp_path):
    page = tmp_path / "outlook.html"
    assert main(words(readings, "--hours", "24", "--json", "--html", str(page))) == 0
    data = json.loads(capsys.readouterr().out)
    assert len(data["hours"]) == 24
    assert data["hours"][0]["time"] == "2026-11-10T02:30:00-07:00"
    assert data["energy_kwh"] == pytest.approx(sum(h["energy_kwh"] for h in data["hours"]), abs=0.1)
    price = vc.example_bay("seed_bay").costs.electricity * 3.6e6
    assert data["band"]["chosen"]
    assert data["cost"]["low"] is data["cost"]["high"] is None
    assert data["cost"]["expected"] == pytest.approx(price * data["energy_kwh"], abs=0.02)
    for hour in data["hours"]:
        for low, middle, high in zip(
            hour["pulp_low_c"], hour["pulp_temps_c"], hour["pulp_high_c"], strict=True
        ):
            assert low <= middle <= high
    text = page.read_text("utf-8")
    assert text.count("<svg class=") == 1
    assert "Seed bay (invented), 24 h from Tue 10 Nov 2026 02:30 MST" in text


def test_a_state_of_a_season_is_run_on(capsys, tmp_path):
    state, weather = str(tmp_path / "state.json"), vc.example_weather()
    season = ["season", "seed_bay", "--weather", "example", "--layers", "6"]
    assert main([*season, "--until", "2018-09-21T06:00", "--state-out", state]) == 0
    assert f"Wrote {state}" in capsys.readouterr().out
    data = json.loads(Path(state).read_text("utf-8"))
    assert data["time"] == "2018-09-21T12:00:00+00:00"
    assert 0.3 < data["loaded"] < 0.7  # half of six days
    assert len(data["layer_temps_c"]) == 6
    row = int(np.flatnonzero(weather.time == np.datetime64("2018-09-21T12:00"))[0])
    lines = [
        f"{weather.time[k]}Z,{weather.temperature[k]:.2f},{weather.relative_humidity[k] * 100:.1f}"
        for k in range(row, row + 30)
    ]
    forecast = tmp_path / "forecast.csv"
    forecast.write_text("\n".join(["time,outside_temp_c,outside_rh_percent", *lines]))
    run = ["outlook", "seed_bay", "--state", state, "--forecast", str(forecast), "--hours", "24"]
    assert main([*run, "--json", "--runs", "0"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert found["hours"][0]["pulp_temps_c"][0] == pytest.approx(data["layer_temps_c"][0], abs=0.7)
    assert main(["outlook", "fry_bay", *run[2:]]) == 2
    assert "not of 'Fry bay (invented)'" in capsys.readouterr().err


def test_an_empty_bay_has_no_state(capsys, tmp_path):
    state = str(tmp_path / "state.json")
    season = ["season", "seed_bay", "--weather", "example", "--layers", "4", "--state-out", state]
    for until, part in (
        (["--until", "2018-09-18T01:00"], "end the run at another time"),
        (["--until", "soon"], "write a date or a time"),
        ([], "--until"),
    ):
        assert main([*season, *until]) == 2
        assert part in capsys.readouterr().err
    assert not Path(state).exists()


def test_without_a_forecast_yesterday_stands_in_and_says_so(readings, capsys, tmp_path):
    lines = ["# time_zone: UTC", "time,outside_temp_c,outside_rh_percent"]
    lines += [f"2026-11-{9 + k // 24:02d}T{k % 24:02d}:00,{k % 24 / 4},80" for k in range(34)]
    observed = tmp_path / "observed.csv"
    observed.write_text("\n".join(lines))
    broken = tmp_path / "broken.json"
    broken.write_text("{")
    told = ["outlook", "seed_bay", "--readings", readings, "--forecast", str(broken)]
    assert main(told) == 2
    assert "cut off" in capsys.readouterr().err
    assert main([*told, "--observed", str(observed), "--hours", "24"]) == 0
    out = " ".join(capsys.readouterr().out.split())
    assert "NO FORECAST" in out
    assert "cut off" in out


def test_a_log_tells_where_its_probes_stand(capsys, tmp_path):
    head = ["# pulp_heights_m: 0.5, 2.0, 4.5",
            "time,outside_temp_c,outside_rh,return_temp_c,return_rh,plenum_temp_c,fan_speed,"
            "pulp_1_c,pulp_2_c,pulp_3_c"]  # fmt: skip
    rows = [f"2026-11-10T0{k}:30:00Z,2.0,0.8,5.6,0.93,4.4,0,4.0,5.0,6.0" for k in range(2, 10)]
    log = tmp_path / "log.csv"
    log.write_text("\n".join([*head, *rows]))
    told = ["outlook", "seed_bay", "--log", str(log), "--forecast", FORECAST, "--hours", "24"]
    assert main([*told, "--runs", "0", "--json"]) == 0
    data = json.loads(capsys.readouterr().out)
    assert data["time"] == "2026-11-10T02:30:00-07:00"
    assert any("3 pulp probes, at the heights told" in note for note in data["notes"])
    assert any("dry" in note and "door opening" in note for note in data["notes"])
    # the middle of 16 ft lies 0.44 m above the second probe
    assert data["hours"][0]["pulp_temps_c"][1] == pytest.approx(5.0 + 0.44 / 2.5, abs=0.1)


def test_free_water_that_no_probe_reads_comes_of_the_last_days():
    """Air blown by the clock wets the crop; the model sees it, within half."""
    bay = vc.example_bay("seed_bay")
    season = vc.run_season(
        bay, vc.example_weather(), "clock", layers=40, compiled=False,
        until=np.datetime64("2018-10-03T18"),
    )  # fmt: skip
    log = since(vc.read_log(season_log_csv(season)), season.state.time - 3 * 86400.0)
    readings = {**READINGS, "time": "2018-10-03T18:00:00Z"}
    dry = state_of_readings(bay, readings_from_json(json.dumps(readings)))
    found = with_last_days(bay, log, dry)
    true, film = season.state.bed.film, found.season.bed.film
    assert true.max() > 1e-4
    assert film.max() == pytest.approx(true.max(), rel=0.5)
    assert film.mean() == pytest.approx(true.mean(), rel=0.5)
    assert (found.season.bed.temperature == dry.season.bed.temperature).all()
    assert any(note.startswith("free water: up to") for note in found.notes)
    old = with_last_days(bay, since(log, season.state.time - 6 * 3600.0), dry)
    assert any("taken as dry: the log says nothing" in note for note in old.notes)


@pytest.mark.parametrize(
    ("more", "part"),
    [
        (["--hours", "12"], "24 to 240"),
        (["--at", "46,-114"], "goes with --fetch"),
        (["--past", "a.json"], "goes with --observed"),
        (["--seed", "x"], "--seed"),
    ],
)
def test_refusals(readings, capsys, more, part):
    assert main(words(readings, *more)) == 2
    assert part in capsys.readouterr().err


@pytest.mark.parametrize("command", ["outlook", "plan"])
def test_a_forecast_of_another_place_is_refused(command, capsys, tmp_path):
    path = tmp_path / "readings.json"
    path.write_text(json.dumps({**READINGS, "outside_temp_c": 31.0}))
    told = [command, "seed_bay", "--readings", str(path), "--forecast", FORECAST]
    assert main([*told, "--hours", "24"]) == 2
    assert re.search(r"forecast: -\d\d K off what the site reads", capsys.readouterr().err)
    lines = ["# time_zone: UTC", "time,outside_temp_c,outside_rh_percent"]
    lines += [f"2026-11-{9 + k // 24:02d}T{k % 24:02d}:00,{29 + k % 3},30" for k in range(34)]
    observed = tmp_path / "observed.csv"
    observed.write_text("\n".join(lines))
    assert main([*told, "--hours", "24", "--observed", str(observed)]) == 0
    out = " ".join(capsys.readouterr().out.split())
    assert "K off what the site reads" in out
    assert "NO FORECAST" in out


def test_fetch_needs_a_place(readings, capsys):
    told = ["outlook", "seed_bay", "--readings", readings, "--fetch", "met-norway"]
    for more in ([], ["--at", "here"], ["--at", "46.5"]):
        assert main([*told, *more]) == 2
        assert "latitude,longitude" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("key", "value", "part"),
    [
        ("layer_temps_c", [5.0, 5.0, 5.0], "list of 4 to 200"),
        ("layer_film_kg_kg", [0.0] * 5, "different lengths"),
        ("co2_ppm", "many", "co2_ppm is"),
        ("time", "2026-11-10", "without offset"),
        ("memory", {"fan": True}, "memory: fan"),
    ],
)
def test_a_damaged_state_is_refused(key, value, part, capsys, tmp_path):
    layer = [0.0] * 4
    state = {
        "bay": "Seed bay (invented)", "time": "2026-11-10T09:30:00Z", "pulp_uncertainty_k": 0.2,
        "layer_temps_c": [5.0] * 4, "layer_film_kg_kg": layer, "layer_heat_w_m2": layer,
        "layer_water_loss_kg_kg": layer, "layer_dry_matter_loss_kg_kg": layer, "share": 1.0,
        "loaded": 1.0, "exit_temp_c": 5.0, "exit_humidity_ratio_kg_kg": 0.005,
        "return_temp_c": 5.0, "return_humidity_ratio_kg_kg": 0.005, "plenum_temp_c": 5.0,
        "co2_ppm": 1000, "healing_s": 1e6,
    }  # fmt: skip
    path = tmp_path / "state.json"
    path.write_text(json.dumps(state))
    told = ["outlook", "seed_bay", "--state", str(path), "--forecast", FORECAST]
    assert main([*told, "--hours", "24", "--runs", "0"]) == 0
    capsys.readouterr()
    path.write_text(json.dumps({**state, key: value}))
    assert main(told) == 2
    assert part in capsys.readouterr().err


def test_readings_are_no_state(readings, capsys):
    assert main(["outlook", "seed_bay", "--state", readings, "--forecast", FORECAST]) == 2
    err = capsys.readouterr().err
    assert err.count("\n") == 1
    assert "is no state" in err
