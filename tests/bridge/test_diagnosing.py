"""The rules of ``ventcalc diagnose`` over the bridge's own journal: page, alarms, command."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest
from bridge_world import BAY_FILE

import ventcalc as vc
from firmware_bridge.bay.advisor import FIRST, LONGEST
from firmware_bridge.bay.diagnosis import Diagnosis, new_alarms
from firmware_bridge.bay.week import foretold
from firmware_bridge.cli import main
from firmware_bridge.codes import ADVICE_ALARMS, LOG_ALARMS
from firmware_bridge.page.view import bay_text
from firmware_bridge.sensors.sample import Sample
from firmware_bridge.service.diagnosing import look_through
from firmware_bridge.wire.messages import Alarm
from ventcalc.diagnose.diagnose import FINDING_IDS
from ventcalc.report.season_log import season_columns

DAY = 86400.0
YEARS = 2922 * DAY
"""Eight years with two leap days, from the weather's year to one that the bridge believes. [s]"""
KINDS = {
    "outside_temp_c": "outside_temperature", "outside_rh": "outside_relative_humidity",
    "return_temp_c": "return_temperature", "return_rh": "return_relative_humidity",
    "plenum_temp_c": "plenum_temperature", "plenum_rh": "plenum_relative_humidity",
    "co2_ppm": "co2", "fan_speed": "fan_speed", "door_opening": "door_opening",
    "humidifier": "humidifier", "refrigeration": "refrigeration", "heater": "heater",
    "energy_kwh": "electric_power",
    **{f"pulp_{k}_c": "pulp_temperature" for k in range(1, 6)},
}  # fmt: skip
FACTORS = {"co2_ppm": 1e-6, "energy_kwh": 1000.0}
"""To what the bridge stores; rows of an hour each."""


@pytest.fixture(scope="module")
def winter():
    """Times and columns of a season without a fault, into December."""
    until = np.datetime64("2018-12-06T00:00:00")
    bay = vc.read_bay(BAY_FILE)
    season = vc.run_season(bay, vc.example_weather(), until=until, layers=20, compiled=False)
    return season_columns(season)


def with_faults(winter):
    """Five days of a hot spot at the fourth probe, and of a third of outside air untold."""
    time, columns = winter
    rows = time > time[-1] - 5.0 * DAY
    found = {name: values.copy() for name, values in columns.items()}
    found["pulp_4_c"][rows] += 1.0 * (time[rows] - time[rows][0]) / DAY
    third = (found["outside_temp_c"] - found["return_temp_c"]) / 3.0
    runs = rows & (found["fan_speed"] > 0.0)
    found["plenum_temp_c"][runs] = (found["return_temp_c"] + third)[runs]
    for name in ("door_opening", "humidifier"):
        found[name][rows] = 0.0
    return time, found


def store(one, season, *, odd=False, boot=7):
    """The readings of a controller, as the bridge would have stored them minute by minute."""
    time, columns = season
    end = one.hand.wall()
    kinds = {name.rsplit("_c", 1)[0]: kind for name, kind in KINDS.items()}
    samples = []
    for k in np.flatnonzero(time > time[-1] - 25.0 * DAY).tolist():
        values = {
            key: columns[name][k] * FACTORS.get(name, 1.0)
            for key, name in zip(kinds, KINDS, strict=True)
        }
        faults = {"pulp_4": "odd"} if odd and abs(values["pulp_4"] - values["pulp_3"]) > 2.0 else {}
        t = end - (time[-1] - time[k])
        samples.append((t, "bay-1", Sample(
            boot=boot, seq=k, received=0.0, delay=0.0, kinds=kinds, values=values, faults=faults,
        )))  # fmt: skip
    one.journal.store(samples)
    one.journal.pack_hours(end)


@pytest.fixture
def watched(world, winter):
    """A bridge in December of a year that it believes."""
    one = world(mode="observe")
    one.kill()
    one.hand.offset += winter[0][-1] + YEARS - one.hand.wall()
    one.start()
    one.service.diagnosing.beside.spawn = lambda work: work()
    return one


def looked(one):
    """Once more by the journal, now."""
    one.service.diagnosing._due.clear()
    one.service.diagnosing.look(one.turn())
    for _ in range(2):
        one.hand.now += 61.0
        one.service.diagnosing.look(one.turn())
    return one.bay.diagnosis


def test_a_fault_season_in_the_journal_becomes_findings_and_alarms(watched, winter, capsys):
    store(watched, with_faults(winter), odd=True)
    found = looked(watched)
    assert found.trouble == ""
    alarms = {one.id: one for one in watched.bay.complaints}
    assert {"hot_spot", "door_stuck"} <= alarms.keys()
    assert len(alarms) == len(watched.bay.complaints), "one of a kind"
    hot = alarms["hot_spot"]
    assert hot.level == 1
    assert hot.text.startswith("pulp probe 4: ")
    assert "Go there" in hot.first
    began = datetime.fromtimestamp(watched.hand.wall() - 5.0 * DAY, UTC)
    assert abs(datetime.fromisoformat(hot.since) - began).days <= 1

    (view,) = watched.service.views()
    text, us = bay_text(view, 0.0, "metric"), bay_text(view, 0.0, "us")
    assert "to look at, by" in text.diagnosis[0]
    assert text.diagnosis[1].startswith("DANGER to people or crop: ")
    assert " K a day" in text.diagnosis[1]
    assert "°F a day" in us.diagnosis[1]
    assert bay_text(view, 0.0, "metric", brief=True).diagnosis == ()

    watched.service._publish_alarms(watched.turn())
    (sent,) = [m for _, m in watched.broker.of("alarm") if b"hot_spot" in m.payload][-1:]
    kinds = [one.get("kind") for one in json.loads(sent.payload)["on"]]
    assert kinds.count("hot_spot") == 1

    file = watched.folder / "bridge.toml"
    file.write_text(
        f'[bridge]\nname="a"\ndata="{watched.folder}"\n[broker]\n'
        f'[[bays]]\nname="bay-1"\nbay_file="{BAY_FILE}"\n'
    )
    capsys.readouterr()
    assert main(["diagnose", str(file), "--bay", "bay-1", "--units", "us"]) == 0
    out = capsys.readouterr().out
    assert "DANGER to people or crop: The pulp warms by" in out
    assert "Since 30 Nov 2026" in out or "Since 01 Dec 2026" in out


def test_electric_power_that_no_machine_explains_is_found(watched, winter):
    """12 kW more than fans, humidifier and heater can take, for five days."""
    time, columns = winter
    more = columns["energy_kwh"] + np.where(time > time[-1] - 5.0 * DAY, 12.0, 0.0)
    store(watched, (time, {**columns, "energy_kwh": more}))
    assert looked(watched).trouble == ""
    (alarm,) = [one for one in watched.bay.complaints if one.id == "energy_high"]
    assert alarm.first
    assert "energy high" not in watched.bay.diagnosis.said["metric"][-1], "it was looked for"


def test_sun_on_the_outside_probe_is_found_against_the_forecasts_of_those_days(watched, winter):
    """6 K by day; each hour one more look at the forecast that is there."""
    time, columns = winter
    end, true = watched.hand.wall(), columns["outside_temp_c"]
    clock = (time - 7.0 * 3600.0) % DAY / 3600.0
    day = (clock >= 9.0) & (clock < 17.0)
    store(watched, (time, {**columns, "outside_temp_c": true + 6.0 * day}))
    path = watched.folder / "forecast.csv"
    config = replace(watched.bay.config, forecast=path, bay_file=BAY_FILE)
    known = {}
    for k in range(12):  # a file every twelve hours
        first = len(time) - 12 * (12 - k)
        when = (end - (time[-1] - time[first : first + 36])).astype("datetime64[s]")
        rows = [f"{one}Z,{warm:.2f},60" for one, warm in zip(when, true[first:], strict=False)]
        rows += [f"{when[-1] + np.timedelta64(3600 * j, 's')}Z,5,60" for j in range(1, 30)]
        path.write_text("time,outside_temp_c,outside_rh_percent\n" + "\n".join(rows) + "\n")
        known |= foretold(config, end - (time[-1] - time[min(first + 12, len(time) - 1)]))
    assert len(known) >= 140
    assert foretold(replace(config, forecast=None), end) == {}
    for told, finds in ((known, True), ({}, False)):
        found = look_through(watched.folder / "journal.db", watched.bay, {}, end, told)
        assert found.trouble == ""
        assert ("outside_probe" in {one.id for one in found.alarms}) == finds


def test_nothing_wrong_is_said_and_a_mended_fault_is_told_once(watched, winter):
    store(watched, winter)
    found = looked(watched)
    assert found.alarms == ()
    assert found.said["metric"][0].startswith("Nothing to look at, by ")
    watched.bay.diagnosis = Diagnosis(made=0.0, alarms=(Alarm(id="coil_weak", level=2, text="x"),))
    turn = watched.turn()
    turn.now += 7200.0
    for _ in range(3):
        watched.service.diagnosing.look(turn)
    assert [event.text for event in turn.events] == ["no longer shown: x"]


def test_whatever_goes_wrong_is_said_and_the_next_is_looked_through(watched, monkeypatch):
    def broken(*_):
        raise ValueError("a forecast that nobody\nforesaw")

    monkeypatch.setattr("firmware_bridge.service.diagnosing.foretold", broken)
    assert looked(watched).trouble == "ValueError: a forecast that nobody foresaw"
    monkeypatch.undo()
    assert looked(watched).trouble == "the journal holds less than a day of readings"


def test_too_little_to_look_through_is_said(watched):
    assert looked(watched).trouble == "the journal holds less than a day of readings"
    (view,) = watched.service.views()
    assert bay_text(view, 0.0, "metric").diagnosis == (
        "Not looked through: the journal holds less than a day of readings.",
    )


def test_what_the_adviser_says_already_is_not_said_twice():
    two = (Alarm(id="door_stuck", level=2), Alarm(id="pile_uneven", level=3))
    diagnosis = Diagnosis(made=0.0, alarms=two)
    assert new_alarms(diagnosis, ()) == two
    assert new_alarms(diagnosis, (Alarm(id="door_stuck", level=2),)) == two[1:]
    assert new_alarms(diagnosis, (Alarm(id="pile_spread", level=3),)) == two[:1]


def test_names_of_findings_are_one_list_with_the_library_and_fit_the_message():
    assert set(LOG_ALARMS) == set(FINDING_IDS) - set(ADVICE_ALARMS)
    assert (LONGEST, FIRST) == (90, 120)
