"""Checks of probes lower the margin and correct what is read, where they are whole and new."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from ventcalc.advice.setpoints import wetting_margin
from ventcalc.bay.file import example_bay, example_bay_path
from ventcalc.bay.hourly import hourly
from ventcalc.commands.main import main
from ventcalc.logbook.writing import add_lines

BAY = example_bay("seed_bay")
NOW = datetime(2026, 12, 20, 6, tzinfo=ZoneInfo(BAY.site.time_zone))
READ = {
    "time": NOW.isoformat(),
    "outside_temp_c": 1.0,
    "outside_rh": 0.8,
    "return_temp_c": 5.2,
    "return_rh": 0.95,
    "plenum_temp_c": 4.2,
    "plenum_rh": 0.93,
    "pulp_temps_c": [4.2, 4.6, 5.1],
    "co2_ppm": 1500,
}
ICE = [("bottom", 0.1), ("pulp 2", 0.0), ("Pulp_3", 0.0), ("plenum", -0.2)]
SALT = [("plenum", 0.772), ("return air", 0.751)]


@pytest.fixture
def advised(tmp_path, capsys):
    """Advice with such checks done so many days ago."""

    def call(ice=ICE, salt=SALT, days=0.0, words=("--json",)):
        bay = tmp_path / "north.toml"
        bay.write_text(example_bay_path().read_text(encoding="utf-8"), encoding="utf-8")
        (tmp_path / "r.json").write_text(json.dumps(READ), encoding="utf-8")
        (tmp_path / "north.readings.json").write_text(json.dumps(READ), encoding="utf-8")
        time = (NOW - timedelta(days=days)).timestamp()
        lines = [
            {"probe": name, "method": "ice_bath", "reading_temperature": told, "time": time}
            for name, told in ice
        ]
        lines += [
            {"probe": name, "method": "NaCl", "reading_relative_humidity": told, "time": time}
            for name, told in salt
        ]
        if lines:
            add_lines(tmp_path / "north.season", BAY, "sensor_checks", lines, written=time)
        assert main(["advise", str(bay), "--readings", str(tmp_path / "r.json"), *words]) == 0
        out = capsys.readouterr().out
        return json.loads(out) if "--json" in words else out

    return call


def margin(checks):
    sensors = replace(
        BAY.sensors,
        temperature=checks["standard_uncertainty_k"],
        humidity=checks["standard_uncertainty_rh"],
    )
    return wetting_margin(hourly(replace(BAY, sensors=sensors), NOW.timestamp()), 4.1, 3)


def test_all_checked_probes_lower_the_margin_and_it_grows_with_their_age(advised):
    bare = advised((), ())
    assert bare["sensor_checks"]["standard_uncertainty_k"] == BAY.sensors.temperature
    assert margin(bare["sensor_checks"]) == pytest.approx(0.86, abs=0.02)
    new = advised()
    checks = new["sensor_checks"]
    assert (checks["standard_uncertainty_k"], checks["standard_uncertainty_rh"]) == (0.1, 0.012)
    assert margin(checks) == pytest.approx(0.49, abs=0.02), "2.1 √(2 · 0.1² + (0.158 · 1.2)²)"
    usual = bare["outside_air"]["margins"]["wetting_uncertainty_k"]
    assert new["outside_air"]["margins"]["wetting_uncertainty_k"] < 0.8 * usual
    assert checks["not_checked"] == []


def test_uncertainty_walks_with_the_root_of_the_months_and_never_above_the_bays_own(advised):
    checks = advised(days=4 * 30.4375 + 0.5)["sensor_checks"]
    assert checks["standard_uncertainty_k"] == pytest.approx((0.1**2 + 4 * 0.05**2) ** 0.5, 0.01)
    assert checks["standard_uncertainty_rh"] == pytest.approx(
        (1.2**2 + 4 * 0.5**2) ** 0.5 / 100, 0.01
    )


def test_an_old_check_gains_nothing(advised):
    checks = advised(days=500)["sensor_checks"]
    assert checks["standard_uncertainty_k"] == BAY.sensors.temperature
    assert checks["standard_uncertainty_rh"] == BAY.sensors.humidity
    assert "too old" in advised((), (), words=())


def test_a_partial_check_gains_nothing_and_says_what_lacks(advised):
    data = advised(ICE[:1] + ICE[2:], SALT[:1])
    checks = data["sensor_checks"]
    assert checks["standard_uncertainty_k"] == BAY.sensors.temperature
    assert checks["standard_uncertainty_rh"] == BAY.sensors.humidity
    assert checks["not_checked"] == ["pulp 2", "return humidity"]
    assert "not checked: pulp 2, return humidity" in advised((), (), words=())


def test_a_check_corrects_the_reading_and_is_told(advised, tmp_path, capsys):
    off = [("pulp 1", 3.0), *ICE[1:]]
    data = advised(off)
    assert data["plenum_rh_measured"] == pytest.approx(0.93 - (0.772 - 0.7536), abs=2e-4)
    assert data["sensor_checks"]["taken_off"]["pulp_1"] == 3.0
    told = advised((), (), words=())
    assert "reading pulp 1 3.00 K too high, plenum 0.20 K too low" in told
    assert main(["board", str(tmp_path), "--at", NOW.isoformat(), "--json"]) == 0
    (bay,) = json.loads(capsys.readouterr().out)["bays"]
    assert bay["pulp_coldest_c"] == pytest.approx(1.2)
    assert bay["advice"]["sensor_checks"]["taken_off"]["pulp_1"] == 3.0


def test_a_check_that_shows_a_broken_probe_or_names_none_is_told_and_corrects_nothing(advised):
    checks = advised([("plenum", 9.0), ("the green one", 0.1)], ())["sensor_checks"]
    assert checks["taken_off"] == {}
    assert any("plenum temperature" in remark for remark in checks["remarks"])
    assert any("the green one" in remark for remark in checks["remarks"])


def test_a_log_moves_the_margin_only_where_asked_and_says_why_not(advised, tmp_path):
    log = tmp_path / "log.csv"
    head = "time,outside_temp_c,outside_rh,return_temp_c,return_rh,plenum_temp_c,plenum_rh,"
    head += "pulp_1_c,pulp_2_c,fan_speed,door_opening,humidifier"
    start = NOW - timedelta(hours=40)
    rows = [
        f"{(start + timedelta(hours=k)).isoformat()},1,0.8,5.2,0.95,4.2,0.93,4.2,5.1,1,0,0"
        for k in range(40)
    ]
    log.write_text("\n".join([head, *rows]), encoding="utf-8")
    data = advised((), (), words=("--json", "--learn-from", str(log)))
    kept = data["sensor_checks"]["by_log"]
    assert kept["margin_k"] == kept["usual_margin_k"] == pytest.approx(0.86, abs=0.02)
    assert "few" in kept["not_changed"]
    assert "by_log" not in advised((), ())["sensor_checks"]
    out = advised((), (), words=("--learn-from", str(log)))
    assert "Margin against wetting 0.8" in out
    assert "not changed by the log" in out
