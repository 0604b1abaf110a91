"""The days ahead on the bridge: outlook and plan by the site's forecast, who follows them."""

from __future__ import annotations

import os
from dataclasses import replace
from datetime import UTC, datetime

import pytest
from bridge_world import BAY_FILE, START

from firmware_bridge.bay.advisor import load_bay
from firmware_bridge.bay.week import Hour, Week, forecast_problem, week_of
from firmware_bridge.cli import main
from firmware_bridge.config import read_config
from firmware_bridge.demo.plant import outside_at
from firmware_bridge.errors import BadConfig
from firmware_bridge.local import _cannot_work
from firmware_bridge.page.view import bay_text
from ventcalc.bay.file import example_bay_path
from ventcalc.plan.reduced import OUTSIDE, REST, Action
from ventcalc.plan.steer import steered_bay

HOUR = 3600.0


def forecast(path, *, issued=START, colder=0.0):
    """The example weather, as somebody's job would write it; a front comes within half a day."""
    stamp = datetime.fromtimestamp(issued, UTC)
    lines = [f"# time_zone: UTC\n# issued: {stamp:%Y-%m-%dT%H:%MZ}\n"]
    lines += ["time,outside_temp_c,outside_rh_percent\n"]
    for hour in range(200):
        at = outside_at(START + hour * HOUR, 84000.0)
        when = datetime.fromtimestamp(at.time, UTC)
        humid = 100.0 * min(at.relative_humidity, 0.9)
        warm = at.temperature - colder * min(hour / 12.0, 1.0)
        lines.append(f"{when:%Y-%m-%dT%H:%M},{warm:.1f},{humid:.0f}\n")
    path.write_text("".join(lines))
    # A file of the same second must still be seen as another.
    os.utime(path, ns=(0, path.stat().st_mtime_ns + round(colder) + round(START - issued)))
    return path


def events(one, code):
    return [event.text for event in one.service.told if event.code == code]


def test_the_days_ahead_stand_on_the_page_and_go_with_their_forecast(world, tmp_path):
    one = world(forecast=forecast(tmp_path / "ahead.csv"), tariff="22-6 0.06, 6-22 0.14")
    one.service.ahead.beside.spawn = lambda work: work()
    one.run(90)
    (view,) = one.service.views()
    text, us = bay_text(view, 0.0, "metric"), bay_text(view, 0.0, "us")
    assert [line.split()[0] for line in text.outlook] == ["Pulp", "Outside", "To"]
    assert "°C" in text.outlook[0]
    assert "°F" in us.outlook[0]
    # 20:00 on the 4th in Denver; the sixth is neither today nor tomorrow.
    assert text.plan[0].startswith("Plan for today and tomorrow: it is only shown")
    assert text.plan[1].startswith("Wed 04 Nov 20:0")
    assert not any(line.startswith("Fri 06") for line in text.plan)
    assert view.complaints == ()
    assert bay_text(view, 0.0, "metric", brief=True).outlook == ()

    forecast(tmp_path / "ahead.csv", colder=35.0)
    one.run(870, step=30.0)
    (frost,) = [alarm for alarm in one.bay.complaints if alarm.id == "frost_ahead"]
    assert "freeze protection acts" in frost.text or "deep frost" in frost.text
    assert len(frost.text) <= 90

    forecast(tmp_path / "ahead.csv", issued=START - 40 * HOUR)
    one.run(930, step=30.0)
    one.run(930, step=30.0)
    (line,) = bay_text(one.service.views()[0], 0.0, "metric").outlook
    assert line.startswith("No outlook: ")
    assert "41 h old" in line
    assert len(events(one, "outlook")) == 1
    assert not any(alarm.id == "frost_ahead" for alarm in one.bay.complaints)


def test_a_bay_file_that_changed_gives_no_outlook(world, tmp_path):
    one = world(forecast=forecast(tmp_path / "ahead.csv"))
    one.run(30)
    asked = one.bay.question(one.hand.now, one.hand.wall())
    other = replace(one.bay.config, bay_file=tmp_path / "bay.toml")
    other.bay_file.write_text(BAY_FILE.read_text().replace('name = "', 'name = "other '))
    with pytest.raises(BadConfig, match="changed"):
        week_of(replace(asked, config=other))


@pytest.fixture
def planned(world, tmp_path):
    """A bay that would cool, under a plan that lets the pile grow 2 K too warm before."""
    one = world(forecast=tmp_path / "none.csv", plan=True, pulp=12.0)
    one.service.ahead.beside.spawn = lambda work: None
    bay, now = one.bay.description, one.hand.wall()
    rest = replace(bay, control=replace(bay.control, start_above=2.0, stop_above=2.0))
    one.bay.week = Week(
        made=now,
        until=now + 600.0,
        start=now,
        hours=(Hour(bay=rest, word="By the plan: rest."),) * 8,
    )
    return one


def says(one):
    return one.bay.decision.targets.why, "By the plan: rest." in one.bay.words("metric")


def test_advice_follows_the_plan_until_the_forecast_has_outlived_itself(planned):
    planned.run(120)
    assert planned.bay.plan_doubt == ""
    assert says(planned) == ("rest", True)
    planned.run(600, step=30.0)
    assert says(planned) == ("wait", False), "the shortest rest stays; then it cools"
    assert "outlived" in planned.bay.plan_doubt


def test_a_plan_moves_when_cooling_starts_and_what_may_cool_and_no_limit():
    bay = load_bay(example_bay_path("fry_bay"))
    rest, cool = (steered_bay(bay, Action(kind, 0.8)) for kind in (REST, OUTSIDE))
    assert rest.control.start_above == bay.limits.band
    assert (cool.control.start_above, cool.fans.minimum_speed) == (-bay.limits.band, 0.8)
    assert (cool.refrigeration.capacity, rest.refrigeration) == (0.0, bay.refrigeration)
    assert rest.limits == cool.limits == bay.limits


def test_a_plan_that_costs_more_or_does_not_know_what_was_told_is_not_followed(planned):
    week = planned.bay.week
    planned.bay.tell({"people_inside": True}, "A. Person", planned.hand.now, planned.hand.wall())
    assert planned.bay.plan_doubt == ""
    planned.bay.tell({"out_of_order": ["door"]}, "A", planned.hand.now, planned.hand.wall())
    planned.run(60)
    assert "out_of_order" in planned.bay.plan_doubt
    assert says(planned)[1] is False
    planned.bay.tell({"out_of_order": None}, "A", planned.hand.now, planned.hand.wall())
    planned.bay.week = replace(week, refused="it would cost 7 USD more than the present advice")
    planned.run(60)
    assert planned.bay.plan_doubt == "it would cost 7 USD more than the present advice"
    assert says(planned)[1] is False


def test_check_names_what_plan_and_outlook_need(tmp_path, capsys):
    (tmp_path / "bay.toml").write_text(BAY_FILE.read_text())
    text = '[bridge]\nname="a"\ndata="data"\n[broker]\n[[bays]]\nname="b"\nbay_file="bay.toml"\n'
    file = tmp_path / "bridge.toml"
    file.write_text(f"{text}plan = true\n")
    with pytest.raises(BadConfig, match=r"forecast is missing; plan and tariff need"):
        read_config(file)
    file.write_text(f'{text}forecast = "ahead.csv"\ntariff = "22-6 6"\n')
    with pytest.raises(BadConfig, match=r"b: tariff: hour 6 of the day has no price"):
        read_config(file, inspect=_cannot_work)
    file.write_text(f'{text}forecast = "ahead.csv"\n')
    assert main(["check", str(file), "--no-broker"]) == 0
    assert "warning: b: no outlook: ahead.csv: no such file" in capsys.readouterr().out
    forecast(tmp_path / "ahead.csv")
    old = forecast_problem(read_config(file).bays[0], START + 37 * HOUR)
    assert "37 h old" in old
    assert forecast_problem(read_config(file).bays[0], START + HOUR) == ""
