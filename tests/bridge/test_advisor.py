"""The adviser behind the bridge: what really happened counts, and cooling keeps its source."""

from __future__ import annotations

import itertools
import json
import math
import random

import pytest
from msgspec.structs import replace

from firmware_bridge.bay import advisor, safety
from firmware_bridge.bay.advisor import request
from firmware_bridge.bay.memory import (
    AdvisorMemory,
    memory_from_text,
    memory_to_text,
    told_from_text,
)
from firmware_bridge.bay.safety import History, Targets
from firmware_bridge.bay.told import Told, Word, standing
from firmware_bridge.codes import ACTIONS
from firmware_bridge.config import Limits
from firmware_bridge.sensors.sample import ActualPositions, Sample
from ventcalc.advice.advise import Action
from ventcalc.advice.readings import Readings
from ventcalc.bay.file import example_bay_path

START = 1762354800.0
BAY = advisor.load_bay(example_bay_path("fry_bay"))
WARM = Readings(
    time=START, pulp_bottom=11.0, pulp_top=12.0, pulp_mean=11.5, pulp_coldest=10.9,
    return_temperature=12.0, return_relative_humidity=0.93, plenum_temperature=11.0,
    outside_temperature=10.9, outside_relative_humidity=0.85, co2=1e-3, pressure=84000.0,
)  # fmt: skip
COLD, HOT = {"outside_temperature": 8.0}, {"outside_temperature": 18.0}
STANDS = ActualPositions(fan=0.0, door=0.0, cool=0.0)


def after(minutes, **changes):
    return WARM._replace(time=START + 60.0 * minutes, **changes)


@pytest.mark.parametrize("actual", [None, STANDS], ids=["nothing reported", "does not follow"])
def test_the_cooling_source_stays_for_its_shortest_run(actual):
    """Outside air that flickers about the limit of use: the source follows at leisure."""
    noise, memory, seen, changes = random.Random(1), None, "", []
    for minute in range(600):
        outside = 10.9 + noise.gauss(0.0, 0.3)
        result = request(BAY, after(minute, outside_temperature=outside), memory, actual)
        memory, why = result.memory, result.targets.why
        if why in ("outside", "coil") and why != seen:
            changes.append(minute)
            seen = why
    gaps = [b - a for a, b in itertools.pairwise(changes)]
    assert len(changes) > 2, "the case must tempt it"
    assert min(gaps) * 60.0 >= min(BAY.control.minimum_on, BAY.control.minimum_off)


def test_refrigeration_goes_on_though_outside_air_would_do():
    first = request(BAY, after(0, **HOT), None)
    assert first.targets.why == "coil"
    held = request(BAY, after(5, **COLD), first.memory)
    assert held.targets.why == "coil"
    assert held.words("metric")[1].startswith("Outside air could cool now; the source of cooling")
    assert not any("missing" in line for line in held.words("metric"))
    memory = held.memory
    for minute in range(10, 65, 5):
        result = request(BAY, after(minute, **COLD), memory)
        memory = result.memory
    assert result.targets.why == "outside"


def test_refrigeration_rests_before_it_starts_again():
    memory = replace(request(BAY, after(0, **HOT), None).memory, source_for=1e5, coil_off_for=60.0)
    waits = request(BAY, after(5, **HOT), memory)
    assert waits.targets.why != "coil"
    assert waits.targets.cool == 0.0
    assert "rests for 30 min" in waits.words("metric")[1]
    runs = replace(STANDS, fan=0.5, cool=0.5)
    assert request(BAY, after(5, **HOT), memory, runs).targets.why == "coil", "it runs already"
    assert request(BAY, after(35, **HOT), memory).targets.why == "coil"


def test_what_the_fans_did_goes_before_what_was_advised():
    first = request(BAY, after(0, **COLD), None, STANDS)
    assert first.targets.fan > 0.0
    done = request(BAY, after(10, **COLD), first.memory, STANDS)
    assert first.memory.hourly.fan_on
    assert done.memory.hourly.since_run == 600.0, "they never ran"
    started = replace(STANDS, fan=0.7)
    ran = request(BAY, after(10, **COLD), first.memory, started, 300.0)
    assert ran.memory.hourly.since_run == 0.0
    cool = {"pulp_mean": 7.5, "pulp_bottom": 7.4, "pulp_top": 7.6, "pulp_coldest": 7.3}
    air = {"return_temperature": 7.7, "plenum_temperature": 7.4}
    ends = request(BAY, after(11, **cool, **air), ran.memory, started, 300.0)
    assert ends.targets.why in ("finish", "tail"), "five minutes are no run"


def test_fresh_air_that_was_not_given_stays_due():
    hours = BAY.control.fresh_air_every + 600.0
    memory = AdvisorMemory().hourly._replace(time=START, since_fresh=hours)
    cool = {"pulp_mean": 8.0, "pulp_bottom": 7.9, "pulp_top": 8.1, "pulp_coldest": 7.8}
    air = {"return_temperature": 8.2, "plenum_temperature": 8.0, "co2": math.nan}
    now = after(1, **cool, **air, outside_temperature=7.0)
    done = request(BAY, now, AdvisorMemory(hourly=memory), STANDS).memory.hourly
    assert done.since_fresh > hours
    gave = ActualPositions(fan=0.5, door=1.0, cool=0.0)
    assert request(BAY, now, AdvisorMemory(hourly=memory), gave).memory.hourly.since_fresh == 0.0


def test_the_noise_of_a_pulp_sensor_does_not_move_the_fans():
    noise, memory, speeds = random.Random(2), None, []
    pile = {"pulp_bottom": 8.0, "pulp_top": 9.45, "pulp_mean": 8.7, "pulp_coldest": 8.0}
    air = {"outside_temperature": 3.0, "return_temperature": 9.0}
    for minute in range(60):
        seen = {name: value + noise.gauss(0.0, 0.03) for name, value in pile.items()}
        result = request(BAY, after(minute, **seen, **air), memory)
        memory = result.memory
        speeds.append(result.targets.fan)
    assert 0.0 < min(speeds) < 0.95, "the case must leave room"
    assert max(abs(b - a) for a, b in itertools.pairwise(speeds)) < safety.CHANGE


def test_a_pulp_that_is_another_is_believed_at_once():
    memory = request(BAY, after(0), None).memory
    colder = {"pulp_coldest": 6.0, "pulp_bottom": 6.0, "pulp_mean": 9.0}
    assert request(BAY, after(1, **colder), memory).memory.pulps == (6.0, 12.0, 9.0, 6.0)


def test_memory_survives_the_journal():
    memory = request(BAY, after(0, **HOT), None).memory
    again = memory_from_text(memory_to_text(memory))
    assert (again.source, again.source_for, again.coil_off_for) == ("refrigeration", 0.0, 0.0)
    assert memory_to_text(again) == memory_to_text(memory)
    older = json.loads(memory_to_text(memory))
    del older["bridge"]
    assert memory_from_text(json.dumps(older)).source == ""


@pytest.mark.parametrize(
    "text", ["", "[]", "1", "{", '{"bridge": 3}', '{"bridge": {"idle_for": "x"}}']
)
def test_what_is_no_memory_begins_afresh(text):
    assert memory_from_text(text) is None


def test_a_memory_belongs_to_its_bay_and_what_was_told_to_the_name():
    memory = request(BAY, after(0, **HOT), None).memory
    told = Told(said={"people_inside": Word(value=True, at=START, by="me")})
    text = memory_to_text(memory, told, BAY.name)
    assert memory_from_text(text, BAY.name).source == "refrigeration"
    assert memory_from_text(text, "another bay behind the same name") is None
    assert told_from_text(text) == told


@pytest.mark.parametrize(
    "said",
    ['{"people_inside": "?"}', '{"people_inside": [true]}', '{"people_inside": [7, 1.0, "me"]}'],
)
def test_people_outlast_a_damaged_journal(said):
    told = told_from_text('{"nonsense": 1, "bridge": {"told": {"said": ' + said + "}}}")
    assert standing(told) == {"people_inside": True}
    assert memory_from_text('{"nonsense": 1}') is None


def test_reasons_come_in_the_units_asked_for():
    result = request(BAY, after(0, **HOT), None)
    assert "11.5 °C" in result.words("metric")[0]
    assert "52.7 °F" in result.words("us")[0]
    assert not any("°C" in line for line in result.words("us"))


def test_the_gate_lets_a_compressor_rest_too():
    values = {
        "pulp_temperature": 8.0, "plenum_temperature": 7.5, "return_temperature": 8.5,
        "return_relative_humidity": 0.9, "outside_temperature": 15.0,
        "outside_relative_humidity": 0.6,
    }  # fmt: skip
    kinds = {kind: kind for kind in values}
    seen = Sample(boot=1, seq=1, received=0.0, delay=0.0, kinds=kinds, values=values, faults={})
    chills = Targets(fan=0.8, door=0.0, cool=0.5, air=6.0, why="coil")
    history = safety.watch(safety.watch(History(), 0.8, 0.5, 0.0), 0.8, 0.0, 1000.0)
    limits = Limits()

    def code(now):
        refusal = safety.check(chills, seen, history, limits, now)
        return "" if refusal is None else refusal.code

    assert code(1000.0 + limits.minimum_off_s - 1.0) == "min_time"
    assert code(1000.0 + limits.minimum_off_s) == ""
    concluded = safety.remember(
        safety.remember(History(), chills, 0.0), replace(chills, cool=0.0), 9.0
    )
    assert safety.check(chills, seen, concluded, limits, 20.0).code == "min_time"


def test_every_action_of_the_adviser_has_its_place_on_the_wire():
    """One list is the other's; the integer form and the C header count by it."""
    wire = {
        "none": "HANDS_OFF", "rest": "REST", "wait": "WAIT", "finish": "FINISH_RUN",
        "even": "EVEN_OUT", "dry": "DRY_CEILING", "tail": "TAIL", "fresh": "FRESH_AIR",
        "heater": "WARM_BY_HEATER", "warm": "WARM_BY_OUTSIDE", "coil": "COOL_BY_COIL",
        "outside": "COOL_BY_OUTSIDE", "protect": "PROTECT", "people": "PEOPLE_INSIDE",
        "chosen": "CHOSEN",
    }  # fmt: skip
    assert [wire[name] for name in ACTIONS] == [one.name for one in sorted(Action)]


@pytest.mark.parametrize("own", [True, False], ids=["its own program", "as advised"])
def test_from_a_plenum_that_another_setting_made_nothing_is_learnt(own):
    """A controller that sprays by its own program: the outside probe is not to blame."""
    memory, actual = None, None
    for minute in range(0, 60, 5):
        seen = after(minute, outside_temperature=8.0, plenum_temperature=8.5)
        result = request(BAY, seen, memory, actual)
        memory = memory_from_text(memory_to_text(result.memory))
        said = result.targets
        assert said.why == "outside"
        water = 1.0 if own else said.water
        actual = ActualPositions(fan=said.fan, door=said.door, water=water, cool=0.0)
    assert (memory.hourly.outside_correction == 0.0) == own
