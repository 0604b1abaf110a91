"""One set of rules for probes: range, jump, stuck, contradiction; a memory belongs to its bay."""

from __future__ import annotations

import json
import math
from datetime import datetime, timedelta

import pytest

import ventcalc as vc
from ventcalc.advice.advise import Action
from ventcalc.advice.alarms import alarms
from ventcalc.advice.probe_history import PROBES, judged
from ventcalc.advice.probes import agreeing, airs_differ, believed, plenum_believed, pulp_of
from ventcalc.advice.readings import DOUBTED, Memory, Readings
from ventcalc.advice.readings_file import readings_from_dict
from ventcalc.commands.main import main

SEED = vc.example_bay("seed_bay")
START = datetime.fromisoformat("2027-01-14T06:00:00-07:00")
HELD = {
    "outside_temp_c": 1.0, "outside_rh": 0.7, "return_temp_c": 4.4, "return_rh": 0.92,
    "plenum_temp_c": 3.5, "pulp_temps_c": [3.6, 4.0, 4.4], "co2_ppm": 1500,
}  # fmt: skip
NAN = math.nan


@pytest.fixture
def told(tmp_path, capsys):
    """The answer of ``ventcalc advise`` some minutes after the start, one memory for all."""

    def ask(minutes, bay="seed_bay", **changes):
        scene = {**HELD, **changes, "time": (START + timedelta(minutes=minutes)).isoformat()}
        path = tmp_path / "readings.json"
        path.write_text(json.dumps(scene), encoding="utf-8")
        words = ["advise", bay, "--readings", str(path), "--memory", str(tmp_path / "memory.json")]
        if main([*words, "--json"]) == 0:
            return json.loads(capsys.readouterr().out)
        (line,) = capsys.readouterr().err.splitlines()
        return line

    ask.memory = tmp_path / "memory.json"
    return ask


def test_a_jump_is_not_believed_before_a_pile_can_have_done_it(told):
    """At 0.1 K a minute and 1 K besides: 9 K not in an hour, but in two."""
    assert told(0, pulp_temps_c=[4.0])["not_believed"] == []
    found = told(60, pulp_temps_c=[13.0], return_temp_c=8.0)
    assert found["action"] == "hands_off"
    assert found["not_believed"] == [
        "pulp probe 1 at 13.0 °C jumps from 4.0 °C and is not believed; look at the probe"
    ]
    found = told(120, pulp_temps_c=[13.0], return_temp_c=8.0)
    assert found["not_believed"] == []
    assert found["action"] != "hands_off"


def test_a_spike_of_one_probe_of_three_leaves_the_means_and_passes(told):
    told(0)
    found = told(60, pulp_temps_c=[3.6, 12.5, 4.4])
    assert len(found["not_believed"]) == 1
    assert found["action"] != "hands_off"
    assert told(120)["not_believed"] == []


def test_a_probe_that_stands_still_is_found_and_then_believed_when_it_moves(told):
    """Return air stuck for 48 h, the others alive."""
    for hour in range(48):
        wiggle = 0.01 * (hour % 3)
        alive = {"plenum_temp_c": 3.5 + wiggle, "outside_temp_c": 1.0 + wiggle,
                 "co2_ppm": 1500 + hour, "return_rh": 0.9 + wiggle,
                 "outside_rh": 0.7 + wiggle}  # fmt: skip
        alive["pulp_temps_c"] = [3.6 + wiggle, 4.0 + wiggle, 4.4 + wiggle]
        assert told(60 * hour, **alive)["not_believed"] == [], hour
    stuck = told(60 * 48, **alive, return_temp_c=4.4)
    assert stuck["not_believed"] == [
        "return_temp_c at 4.4 °C has not moved for 48 h and is not believed; look at the probe"
    ]
    assert stuck["action"] == "hands_off"
    assert told(60 * 49, **alive, return_temp_c=4.5)["action"] != "hands_off"


def test_few_readings_by_hand_do_not_make_a_stuck_probe(told):
    assert told(0)["not_believed"] == []
    assert told(60 * 60)["not_believed"] == [], "two readings, sixty hours apart"


def test_a_probe_that_turns_to_fahrenheit_is_not_believed(told):
    told(0, outside_temp_c=9.0)
    (doubt,) = told(5, outside_temp_c=48.2)["not_believed"]
    assert doubt.startswith("outside_temp_c at 48.2 looks like °C for °F")


@pytest.mark.parametrize(
    ("key", "value", "words"),
    [("return_rh", 0.0, "0% lies outside 2% to 100%"), ("outside_rh", 0.01, "1% lies outside"),
     ("outside_temp_c", 52.0, "52.0 °C lies outside -50.0 °C to 50.0 °C")],
)  # fmt: skip
def test_what_a_probe_cannot_read_is_missing_and_named(key, value, words):
    """Within what a file may hold, beyond what its probe can read in a store."""
    found = readings_from_dict({**HELD, "time": START.isoformat(), key: value})
    assert len(found.doubts) == 1
    advice, after = vc.advise(SEED, found.readings)
    assert "sensor" in {alarm.id: alarm for alarm in alarms(advice, SEED, after)}
    assert found.doubts[0].startswith(f"{key} at {words}")
    name = {"rh": "relative_humidity", "temp_c": "temperature"}[key.partition("_")[2]]
    assert math.isnan(getattr(found.readings, f"{key.partition('_')[0]}_{name}"))


def test_what_is_not_believed_is_told_in_the_units_of_its_reader(tmp_path, capsys):
    path = tmp_path / "readings.json"
    path.write_text(
        json.dumps({**HELD, "time": START.isoformat(), "return_temp_c": 26.7}), encoding="utf-8"
    )
    for units, number in (("metric", "26.7 °C is 23 K"), ("us", "80.1 °F is 41 °F")):
        words = ["advise", "seed_bay", "--readings", str(path), "--units", units]
        assert main(words) == 0
        assert f"Not believed: return air at {number} off the pulp" in capsys.readouterr().out
        assert main([*words, "--json"]) == 0
        (doubt,) = json.loads(capsys.readouterr().out)["not_believed"]
        assert number in doubt


def test_a_memory_belongs_to_its_bay(told):
    told(0)
    before = told.memory.read_text(encoding="utf-8")
    assert json.loads(before)["bay"] == SEED.name
    line = told(60, bay="fry_bay")
    assert "belongs to 'Seed bay (invented)'" in line
    assert told.memory.read_text(encoding="utf-8") == before


def test_an_older_memory_without_bay_and_probes_is_read(told):
    first = told(0)["memory"]
    older = {key: value for key, value in first.items() if key not in ("bay", "probes")}
    older["alarm_times"] = older["alarm_times"][:9]
    told.memory.write_text(json.dumps(older), encoding="utf-8")
    assert told(60)["memory"]["fan_since_s"] >= 0.0


def test_time_does_not_run_backwards(told):
    told(60)
    before = told.memory.read_text(encoding="utf-8")
    assert "time does not run backwards" in told(59)
    assert told.memory.read_text(encoding="utf-8") == before
    assert isinstance(told(60), dict), "the same reading again is none"


@pytest.mark.parametrize(
    "probes", [[], 3, {"x": {}}, {"x": {"kind": "roof"}}, {"x": {"kind": "co2", "good": "high"}},
               {"x": {"kind": "co2", "limits": 5}}, {"x": 4}],
)  # fmt: skip
def test_damaged_probes_are_refused_in_one_line(told, probes):
    memory = told(0)["memory"]
    told.memory.write_text(json.dumps({**memory, "probes": probes or [1]}), encoding="utf-8")
    assert "probes are damaged; delete the file" in told(60)


# --- contradictions ---------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("fans_run", "above", "believed"),
    [(True, 13.0, True), (True, 15.0, False), (False, 15.0, True), (False, 20.0, False)],
)
def test_return_air_far_off_the_pile_is_missing_for_everybody(fans_run, above, believed):
    """10 K while the fans run, 15 K at rest: in ``advise`` itself, so in a season, too."""
    seen = Readings(
        time=START.timestamp(), pulp_bottom=3.9, pulp_top=4.1, pulp_mean=4.0, pulp_coldest=3.9,
        return_temperature=above, return_relative_humidity=0.6, outside_temperature=1.0,
        outside_relative_humidity=0.7,
    )  # fmt: skip
    memory = Memory(time=START.timestamp() - 900.0, target=3.3, fan_on=fans_run)
    advice, _ = vc.advise(SEED, seen, memory)
    assert (advice.action != Action.HANDS_OFF) == believed


@pytest.mark.parametrize(
    ("temperatures", "places"),
    [
        ([4.0], [1]), ([4.0, NAN], [1]), ([4.0, NAN, NAN], []), ([4.0, 9.0], []),
        ([4.0, 4.2, 9.0], [1, 2]), ([4.0, 4.2, NAN, 9.0], [1, 2]), ([4.0, NAN, NAN, 4.2, 9.0], []),
        ([4.0, 4.1, 4.2, 12.0, -6.0], [1, 2, 3]), ([NAN, NAN], []),
    ],
)  # fmt: skip
def test_half_of_all_pulp_probes_must_be_sound_and_agree(temperatures, places):
    assert list(agreeing(temperatures)) == places


@pytest.mark.parametrize(
    ("temperatures", "count"),
    [
        ([4.0, 4.1, 4.2, 4.3, 4.4], 5), ([4.0, 4.1, NAN, 4.3, 4.4], 2),
        ([4.0, 4.1, 4.2, 12.0, -6.0], 2), ([4.0, 4.2, 9.0], 2), ([4.0, NAN], 1), ([4.0, 4.2], 2),
        ([4.0, NAN, NAN], 0),
    ],
)  # fmt: skip
def test_margins_widen_where_a_probe_is_out(temperatures, count):
    """Below three to count on by 0.25 K each."""
    assert pulp_of(temperatures).pulp_probes == count


def test_other_contradictions():
    assert airs_differ([1.0, 4.5])
    assert not airs_differ([1.0, 3.5, NAN])
    assert plenum_believed(2.0, 5.0, 1.0, False)
    assert not plenum_believed(-6.0, 5.0, 1.0, False)
    assert plenum_believed(-6.0, 5.0, 1.0, True), "behind a coil"
    assert not plenum_believed(-2.0, 5.0, NAN, False), "door shut for want of a reading"


def test_a_plenum_that_cannot_be_is_doubted_while_the_fans_run_but_frost_still_stops_them():
    seen = Readings(0.0, outside_temperature=1.0, return_temperature=5.0, pulp_mean=4.5)
    for plenum, heard in ((12.0, NAN), (-9.0, -9.0)):
        found, doubts = believed(seen._replace(plenum_temperature=plenum), True)
        assert found.plenum_temperature == pytest.approx(heard, nan_ok=True)
        assert found.doubted == DOUBTED["plenum temperature"]
        assert doubts[0].startswith(f"plenum at {plenum:.1f}")
        assert believed(seen._replace(plenum_temperature=plenum), False)[1] == ()
    assert believed(seen._replace(plenum_temperature=3.0), True)[1] == ()


def test_probes_that_are_not_believed_are_named_in_an_alarm(told):
    told(0)
    found = told(60, pulp_temps_c=[3.6, 12.5, 4.4], return_rh=0.01)
    (alarm,) = [one for one in found["alarms"] if one["id"] == "sensor"]
    assert alarm["text"] == "Probes not believed: pulp, return humidity."
    assert list(DOUBTED.values()) == [1 << n for n in range(len(PROBES))]
    places = {"relative_humidity": "humidity", "pulp_temperature": "pulp"}
    for word, kind in zip(DOUBTED, PROBES, strict=True):
        for long, short in {**places, "co2": "CO2", "pressure": "air pressure"}.items():
            kind = kind.replace(long, short)
        assert word == kind.replace("_", " ")


@pytest.mark.parametrize("kind", PROBES)
def test_every_kind_has_a_range_a_jump_and_a_spike_that_is_not_believed(kind):
    limits, probes = PROBES[kind], {}
    middle = 0.5 * (limits.low + limits.high)
    spike = middle + limits.jump + limits.per_minute + 0.1 * limits.jump
    assert spike < limits.high
    for minute, (value, sound) in enumerate(
        [(middle, True), (spike, False), (middle, True), (limits.high * 1.5 + 1.0, False)]
    ):
        values, doubts = judged({"x": (kind, value)}, 60.0 * minute, probes)
        assert math.isnan(values["x"]) != sound
        assert len(doubts) == (not sound)
