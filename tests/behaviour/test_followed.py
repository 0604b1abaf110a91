"""Whether advice was followed: what was advised, what a log shows was done, and why it differs."""

from __future__ import annotations

import json
import shutil
from datetime import UTC, datetime, timedelta

import pytest

from ventcalc.bay.file import example_bay, example_bay_path
from ventcalc.commands.main import main
from ventcalc.diagnose.log import read_log
from ventcalc.errors import BadInput
from ventcalc.farm.followed import followed, read_advice
from ventcalc.logbook.folder import read_logbook
from ventcalc.logbook.writing import add_lines

BAY = example_bay("seed_bay")
BEGIN = datetime(2026, 12, 1, tzinfo=UTC)


def stamp(hours):
    return (BEGIN + timedelta(hours=hours)).isoformat()


def channels(fans, hours=48):
    """A log as a store of channels holds it: two fans, two pulp probes, CO2 as a fraction."""
    fans_and_air = "fan_speed:fan_a,fan_speed:fan_b,plenum_temperature:p,return_temperature:r"
    rest = "pulp_temperature:low,pulp_temperature:top,co2:c,other:x"
    rows = [f"time_utc,boot,seq,faults,{fans_and_air},{rest}"]
    rows += [
        f"{stamp(k)},1,{k},,{fans(k)},{fans(k)},{3 + k % 2 / 10},3.5,3.6,3.{k % 9},0.0015,7"
        for k in range(hours)
    ]
    return "\n".join(rows)


def advice(positions, every=1, hours=48):
    """Fan speed advised, or the reason why none was."""
    rows = ["time_utc,action,none,fan_speed,heater"]
    for k in range(0, hours, every):
        told = positions(k)
        none, speed = (told, "") if isinstance(told, str) else ("", told)
        rows.append(f"{stamp(k)},rest,{none},{speed},")
    return "\n".join(rows)


def test_channels_become_columns():
    log = read_log(channels(lambda k: 0.5))
    assert log.values["fan_speed"].tolist() == [0.5] * 48
    assert log.values["co2"][0] == pytest.approx(0.0015)
    assert log.pulp.shape == (48, 2)
    assert log.values["plenum_temperature"][:2].tolist() == [3.0, 3.1]
    with pytest.raises(BadInput, match="time_utc"):
        read_log(channels(lambda k: 0.5).replace("time_utc", "clock"))


def test_hours_by_hand(tmp_path):
    """Fans off from 10 to 16 h though 80 % was advised; silence from 30 to 36 h; then it lapses."""
    given = read_advice(advice(lambda k: "stale" if 30 <= k < 36 else 0.8, hours=40), "a.csv")
    log = read_log(channels(lambda k: 0.0 if 10 < k <= 16 else 0.75))
    why = {"time": BEGIN.timestamp() + 9 * 3600, "what": "fans", "after": "off", "who": "Ann"}
    add_lines(tmp_path, BAY, "settings", [{**why, "why": "drive repaired"}], written=why["time"])
    found = followed(given, log, read_logbook(tmp_path, BAY))
    # Rows 1 to 41: advice of 39 h stands for two hours more; six of them were silent.
    assert found.advised_time == 35 * 3600.0
    assert found.followed_time == 29 * 3600.0
    assert found.device_time["fan_speed"] == 6 * 3600.0
    assert found.silent_time == {"stale": 6 * 3600.0}
    (away,) = found.departures
    assert (away.end - away.begin, away.begin) == (6 * 3600.0, BEGIN.timestamp() + 10 * 3600)
    assert (away.devices, away.why) == (("fan_speed",), "drive repaired [Ann]")


def test_rows_that_cannot_be_are_told():
    text = advice(lambda k: 0.8, hours=5).replace(f"{stamp(2)},rest,,0.8", f"{stamp(2)},rest,,80")
    given = read_advice(text, "north.advice.csv")
    assert (len(given.time), "row 4: " in given.remarks[0]) == (4, True)
    with pytest.raises(BadInput, match="needs the columns"):
        read_advice("time,fan\n", "north.advice.csv")


def test_the_record_tells_it(tmp_path, capsys):
    shutil.copy(example_bay_path(), tmp_path / "north.toml")
    (tmp_path / "north.readings.csv").write_text(channels(lambda k: 0.0 if k == 20 else 0.7))
    (tmp_path / "north.advice.csv").write_text(advice(lambda k: 0.7))
    words = ["record", str(tmp_path), "--csv", str(tmp_path / "r.csv")]
    assert main(words) == 0
    out = " ".join(capsys.readouterr().out.split())
    assert "Advice was followed in 98% of 47 h in which it stood" in out
    assert "2026-12-01 12:00, 1 h: fan speed; no reason written down" in out
    assert "advice,followed_share,0.9787" in (tmp_path / "r.csv").read_text()
    assert main([*words, "--json"]) == 0
    told = json.loads(capsys.readouterr().out)["bays"][0]["advice"]
    assert told["departures"][0]["devices"] == ["fan_speed"]
