"""Advice that can be trusted: told and missing readings, probes, alarms, lessons; plain cases."""

from __future__ import annotations

import itertools
import json
import math
from datetime import UTC, datetime

import pytest

import ventcalc as vc
from ventcalc.advice.advise import Action
from ventcalc.advice.alarms import ALARM_IDS, alarms
from ventcalc.advice.learning import FINDING_LIFE, FROST_LIFE, MOST, PULP_MOST, STEP, learn_pulp
from ventcalc.advice.readings_file import readings_from_dict
from ventcalc.advice.reasons import reasons
from ventcalc.commands.main import main
from ventcalc.report.data import advice_data
from ventcalc.report.text import advice_text

SEED = vc.example_bay("seed_bay")
JANUARY = "2027-01-14T12:00:00-07:00"
HOUR = 3600.0
BAY = {
    "time": JANUARY,
    "pulp_temps_f": [38.6, 39.8, 40.8],
    "return_temp_f": 41.0,
    "return_rh": 0.95,
    "outside_temp_f": 30.0,
    "outside_rh": 0.7,
}
"""A held seed bay a little warm, in a mild frost."""


def asked(memory=None, **changes):
    """Advice, new memory, and all that is told of it, of the bay above with changes."""
    file = readings_from_dict({**BAY, **changes})
    seen = file.readings._replace(loaded=min(file.loaded / SEED.mass, 1.0))
    advice, after = vc.advise(SEED, seen, memory)
    told = {
        "lines": " ".join(reasons(advice, SEED)),
        "alarms": {alarm.id: alarm for alarm in alarms(advice, SEED, after)},
        "doubts": file.doubts,
        "data": advice_data(SEED, file, advice, after, "metric"),
    }
    return advice, after, told


# --- deep cold --------------------------------------------------------------------------------


@pytest.mark.parametrize("outside", [-22.0, -31.0])
@pytest.mark.parametrize("on", [None, False, True])
def test_deep_cold_does_not_rest_a_warm_pile(outside, on):
    """Supply within its limits; nothing of it freezes and next to nothing of it wets."""
    before = None
    if on is not None:
        time = datetime.fromisoformat(JANUARY).timestamp() - 900.0
        before = vc.Memory(time=time, target=3.33, fan_on=on, fan_since=9e4)
    advice, _, told = asked(before, outside_temp_f=outside)
    assert advice.action == Action.CHOSEN
    assert advice.fan_speed > 0.0
    assert advice.door_opening > 0.0
    coldest = (38.6 - 32.0) / 1.8
    assert advice.plenum_temperature >= coldest - SEED.limits.supply_difference - 0.02
    assert advice.plenum_temperature > SEED.limits.plenum_floor
    assert advice.plenum_dew_point < coldest
    assert "best of what can be done" in told["lines"]


def test_deep_cold_rests_a_pile_that_wants_nothing():
    cold = {"pulp_temps_f": [37.2, 37.3, 37.4], "return_temp_f": 37.4, "return_rh": 0.9}
    advice, _, _ = asked(outside_temp_f=-22.0, co2_ppm=900, ceiling_temp_f=38.0, **cold)
    assert advice.action == Action.REST


def test_deep_cold_gives_fresh_air_for_co2():
    cold = {"pulp_temps_f": [37.2, 37.3, 37.4], "return_temp_f": 37.4, "return_rh": 0.9}
    advice, _, _ = asked(outside_temp_f=-22.0, co2_ppm=6500, ceiling_temp_f=38.0, **cold)
    assert advice.action == Action.CHOSEN
    assert advice.door_opening > 0.0


# --- limits of the supply ---------------------------------------------------------------------


def test_dry_warm_air_and_mist_do_not_chill_the_coldest_pulp():
    """51 °F at 45 %: the humidifier could bring it far lower than 1.5 K below the coldest."""
    advice, _, _ = asked(
        time="2026-10-20T12:00:00-06:00", pulp_temps_f=[52.0, 53.5, 54.6], return_temp_f=55.0,
        return_rh=0.8, outside_temp_f=51.0, outside_rh=0.45,
    )  # fmt: skip
    coldest = (52.0 - 32.0) / 1.8
    assert advice.action == Action.COOL_BY_OUTSIDE
    assert advice.humidifier > 0.0
    assert coldest - 1.5 - 0.02 <= advice.plenum_temperature < coldest


@pytest.mark.parametrize("outside", [36.0, 42.0, 45.0, 48.0, 51.0])
@pytest.mark.parametrize("relative", [0.1, 0.3, 0.45, 0.7])
def test_no_action_chills_the_coldest_pulp(outside, relative):
    """Whatever the mist does, by 1.5 K at most."""
    ran = 0
    for co2, inside in itertools.product((900, 6000, 12000), (0.6, 0.8, 0.95)):
        advice, _, _ = asked(
            time="2026-10-20T12:00:00-06:00", pulp_temps_f=[52.0, 53.5, 54.6], co2_ppm=co2,
            return_temp_f=54.8, return_rh=inside, outside_temp_f=outside, outside_rh=relative,
        )  # fmt: skip
        if advice.fan_speed > 0.0:
            ran += 1
            assert advice.plenum_temperature >= (52.0 - 32.0) / 1.8 - 1.5 - 1e-6
    assert ran > 0


# --- carbon dioxide and people ----------------------------------------------------------------


@pytest.mark.parametrize(
    ("ppm", "inside", "level"),
    [(5000, False, 0), (5100, False, 3), (5100, True, 1), (39_900, False, 3), (40_000, False, 1)],
)
def test_co2_alarms_at_the_limits_of_people(ppm, inside, level):
    _, _, told = asked(co2_ppm=ppm, people_inside=inside)
    found = told["alarms"].get("co2_people")
    assert (found.level if found else 0) == level
    if level:
        assert f"{ppm:,} ppm" in found.text
        assert ("Leave the bay" if inside else "Nobody enters") in found.first


def test_people_inside_without_a_co2_reading():
    advice, _, told = asked(people_inside=True)
    assert advice.action == Action.PEOPLE_INSIDE
    assert [advice.fan_speed, advice.door_opening, advice.humidifier, advice.heater] == [0.0] * 4
    assert told["alarms"]["co2_people"].level == 1
    assert "not measured" in told["alarms"]["co2_people"].text
    assert told["doubts"] == (), "it is an alarm; there is nothing that was not believed"
    assert advice.valid_for == 300.0


def test_the_top_of_the_co2_probe_reads_at_least():
    for top, words in ((10_000, "at least 10,000 ppm"), (20_000, "at 10,000 ppm")):
        _, _, told = asked(co2_ppm=10_000, co2_top_ppm=top)
        assert words in told["alarms"]["co2_people"].text


# --- what is told -----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("told", "word"),
    [
        ({"loaded_t": 0}, "0% of the crop is in"),
        ({"stage": "wound_healing"}, "wound healing"),
        ({"crop_wet": True}, "wet"),
        ({"rot_share": 0.05}, "5% of the crop rots"),
        ({"out_of_order": ["door"]}, "door"),
        ({"out_of_order": ["humidifier"]}, "humidifier"),
        ({"people_inside": True}, "People are inside"),
        ({"out_of_order": ["fans"]}, "fans"),
    ],
)
def test_what_is_told_changes_the_advice_and_is_named(told, word):
    plain, _, _ = asked(return_rh=0.85, plenum_rh=0.9)
    advice, _, found = asked(return_rh=0.85, plenum_rh=0.9, **told)
    names = ("action", "fan_speed", "door_opening", "humidifier", "plenum_temperature")
    assert any(getattr(advice, name) != getattr(plain, name) for name in names)
    assert word in found["lines"]


@pytest.mark.parametrize("told", [{"crop_wet": True}, {"rot_share": 0.05}])
def test_outside_air_that_only_mist_would_make_cold_does_not_cool_a_crop_kept_dry(told):
    """15.6 °C at 15 %: 10.8 °C with mist, but warmer than pulp of 13.9 °C as it is."""
    warm = {"time": "2026-10-20T06:00:00-06:00", "pulp_temps_f": [56, 57, 58], "return_temp_f": 58}
    advice, _, _ = asked(outside_temp_f=60, outside_rh=0.15, **warm)
    assert advice.action == Action.COOL_BY_OUTSIDE
    advice, _, found = asked(outside_temp_f=60, outside_rh=0.15, **warm, **told)
    assert advice.action == Action.REST
    assert "not cold enough" in found["lines"]


def test_a_bay_half_full_cools_twice_as_fast():
    """As told in words; in deep cold it is reckoned with: there a start pays for less crop."""
    warm = {"pulp_temps_f": [40.0, 41.0, 42.0], "return_temp_f": 42.0}
    full, half = (asked(**warm, loaded_t=t)[0] for t in (SEED.mass / 1000.0, SEED.mass / 2000.0))
    assert half.outside.pile_rate == pytest.approx(2.0 * full.outside.pile_rate)
    cold = {"pulp_temps_f": [37.9, 38.3, 38.6], "return_temp_f": 38.6, "outside_temp_f": -4.0}
    actions = [asked(**cold, co2_ppm=1500, loaded_t=t)[0].action for t in (1800.0, 900.0)]
    assert actions == [Action.REST, Action.CHOSEN]


def test_co2_at_the_top_of_its_probe_is_named_in_the_reasons():
    _, _, found = asked(co2_ppm=10_000, co2_top_ppm=10_000)
    for words in (found["lines"], found["alarms"]["co2_crop"].text):
        assert "CO2 is at least 10,000 ppm" in words


@pytest.mark.parametrize(
    ("changes", "stage"),
    [({"co2_ppm": 2100}, "holding"), ({"loaded_t": 900}, "holding"), ({"co2_ppm": 450}, "empty")],
)
def test_what_is_in_the_bay_outranks_that_it_is_told_empty(changes, stage):
    _, _, found = asked(stage="empty", **changes)
    assert found["data"]["stage"] == stage
    assert ("outranks" in found["lines"]) == (stage == "holding")


@pytest.mark.parametrize(("day", "stage"), [("07-05", "unloading"), ("08-13", "filling")])
def test_crop_outside_the_calendar_belongs_to_the_season_that_is_nearer(day, stage):
    changes = {"time": f"2026-{day}T09:00:00-06:00", "pulp_temps_f": [60, 61, 62]}
    _, _, found = asked(loaded_t=200, return_temp_f=62, **changes)
    assert found["data"]["stage"] == stage


@pytest.mark.parametrize(
    ("day", "ppm", "in_use"),
    [("06-01", None, True), ("06-08", None, False), ("09-02", None, False), ("09-06", None, True),
     ("07-10", 650, False), ("07-10", 800, True)],
)  # fmt: skip
def test_crop_around_the_calendar_for_a_fortnight_or_by_its_breath(day, ppm, in_use):
    """The seed bay is empty from 20 May to 18 September."""
    advice, _, _ = asked(time=f"2026-{day}T09:00:00-06:00", co2_ppm=ppm)
    assert advice.situation.in_use == in_use


def test_a_pile_that_is_warm_before_its_warm_up_is_not_cooled_for_it():
    advice, _, _ = asked(stage="warm_up", pulp_temps_f=[41, 42, 43], return_temp_f=43)
    assert advice.situation.target == pytest.approx(advice.situation.readings.pulp_mean)
    assert advice.action != Action.COOL_BY_OUTSIDE


@pytest.mark.parametrize(
    ("changes", "words", "never"),
    [
        ({"plenum_temp_c": -6.0}, ["The plenum is at -6.0 °C: the fans are off"], "may cool"),
        ({"pulp_temps_f": [30.5, 33, 34.5], "return_temp_f": 35},
         ["pulp is at -0.8 °C, below freezing injury", "the plenum is not read"], "would wet"),
        ({"pulp_temps_f": [32, 33, 34.5], "return_temp_f": 35}, ["near freezing injury"], "below"),
        ({"pulp_temps_f": [39, 14.5, 39.1]}, ["A pulp probe reads -9.7 °C"], "pulp is at"),
        ({"people_inside": True, "return_temp_f": None}, ["contradictory."], "there is no advice"),
        ({"out_of_order": ["fans"]}, ["program and repair them"], "check the sensors"),
        ({"outside_temp_f": -31.0}, ["(wets crop); what the next hour would bring"], "Margins"),
        ({"out_of_order": ["door"]}, ["now: the fresh-air door is told to be out"], "sweat"),
    ],
)  # fmt: skip
def test_no_word_against_what_is_advised_nor_of_what_is_not_known(changes, words, never):
    file = readings_from_dict({**BAY, **changes})
    text = " ".join(advice_text(SEED, file, *vc.advise(SEED, file.readings)).split())
    for one in words:
        assert one in text
    for one in (never, "unknown", "nan"):
        assert one not in text


def test_a_part_out_of_order_is_not_used_and_is_an_alarm():
    fry = vc.example_bay("fry_bay")
    warm = {**BAY, "pulp_temps_f": [49.0, 49.5, 50.0], "return_temp_f": 50.0, "return_rh": 0.9,
            "outside_temp_f": 65.0}  # fmt: skip
    for bay, part, position, given in (
        (SEED, "door", "door_opening", BAY),
        (SEED, "humidifier", "humidifier", {**BAY, "return_rh": 0.85}),
        (SEED, "heater", "heater", {**BAY, "pulp_temps_f": [35.5, 35.6, 35.7],
                                    "return_temp_f": 35.7, "return_rh": 0.9}),
        (fry, "refrigeration", "refrigeration", warm),
    ):  # fmt: skip
        seen = readings_from_dict(given).readings
        assert getattr(vc.advise(bay, seen)[0], position) > 0.0, part
        seen = readings_from_dict({**given, "out_of_order": [part]}).readings
        advice, after = vc.advise(bay, seen)
        assert getattr(advice, position) == 0.0, part
        assert any(a.id == "out_of_order" and part in a.text for a in alarms(advice, bay, after))


def test_a_wet_or_rotting_crop_gets_no_mist_and_air_every_hour():
    time = datetime.fromisoformat(JANUARY).timestamp()
    rested = vc.Memory(time=time - 900.0, target=3.33, fan_since=4000.0, since_run=4000.0)
    even = {"pulp_temps_c": [3.1, 3.2, 3.3], "return_temp_c": 3.3, "return_rh": 0.8,
            "outside_temp_f": 50.0}  # fmt: skip
    given = {key: value for key, value in BAY.items() if key[:4] not in ("pulp", "retu")}
    for told, runs in (({}, False), ({"crop_wet": True}, True), ({"rot_share": 0.03}, True)):
        seen = readings_from_dict({**given, **even, **told}).readings
        advice, _ = vc.advise(SEED, seen, rested)
        assert (advice.fan_speed > 0.0) == runs
        assert advice.humidifier == 0.0


def test_a_told_stage_sets_the_target():
    """Lots that came in late heal in November; a pile to be unloaded early is warmed."""
    plan = SEED.schedule
    for time, stage, least in (
        ("2026-11-20T12:00:00-07:00", "wound_healing", plan.healing_temperature),
        ("2027-01-14T12:00:00-07:00", "filling", plan.healing_temperature),
    ):
        _, after, told = asked(time=time, stage=stage, pulp_temps_f=[53.0, 54.0, 55.0])
        assert after.target == pytest.approx(least)
        assert told["data"]["stage"] == stage
    time = datetime.fromisoformat(JANUARY).timestamp()
    memory = vc.Memory(time=time - HOUR, target=plan.holding_temperature)
    held = asked(memory)[1].target
    warmed = asked(memory, stage="warm_up")[1].target
    assert held == pytest.approx(plan.holding_temperature)
    assert warmed > held


def test_what_is_in_the_bay_decides_and_not_the_calendar():
    """25 May, long after the last truck by the calendar: 50 °F and 9 000 ppm are a crop."""
    may = {"time": "2027-05-25T12:00:00-06:00", "pulp_temps_f": [50.0, 50.0, 50.0],
           "return_temp_f": 50.0, "outside_temp_f": 45.0}  # fmt: skip
    advice, _, told = asked(co2_ppm=9000, **may)
    assert advice.situation.in_use
    assert advice.fan_speed > 0.0
    assert advice.door_opening > 0.0
    assert told["data"]["stage"] != "empty"
    assert {"co2_people", "co2_crop"} <= told["alarms"].keys()
    for empty in ({"co2_ppm": 9000, "loaded_t": 0}, {"stage": "empty"}):
        advice, _, told = asked(**may, **empty)
        assert advice.action == Action.REST
        assert "empty" in told["lines"]


def test_without_memory_in_january_the_target_is_the_plan_s():
    for pulp in (38.0, 45.0, 60.0):
        _, after, _ = asked(pulp_temps_f=[pulp, pulp + 0.5, pulp + 1.0], return_temp_f=pulp + 1)
        assert after.target == pytest.approx(SEED.schedule.holding_temperature)


# --- probes -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("others", "odd", "place"), [(39.0, 14.5, 3), (37.0, 70.0, 2), (39.0, 58.0, 1)]
)
def test_an_outlying_probe_leaves_the_means_and_stands_as_an_alarm(others, odd, place):
    temperatures = [others] * 5
    temperatures[place - 1] = odd
    advice, _, told = asked(pulp_temps_f=temperatures, return_temp_f=others + 0.5)
    seen, plain = advice.situation.readings, (others - 32.0) / 1.8
    for name in ("pulp_bottom", "pulp_top", "pulp_mean", "pulp_coldest"):
        assert getattr(seen, name) == pytest.approx(plain, abs=1e-9)
    alarm = told["alarms"]["probe_or_spot"]
    assert f"probe {place} " in alarm.text
    assert "smell" in alarm.first
    assert ("Hot spot" in alarm.first) == (odd > others)
    assert advice.valid_for == 300.0
    # It may be a real frozen spot: door shut, but the pile is not heated for it.
    assert advice.pulp_cold == (odd < 32.0)
    if advice.pulp_cold:
        assert (advice.action, advice.door_opening) == (Action.PROTECT, 0.0)
        assert advice.heater == 0.0
        assert "-9.7 °C" in told["alarms"]["frost_risk"].text


@pytest.mark.parametrize(("top", "told"), [(40.0, None), (45.5, "warmer"), (33.5, "colder")])
def test_a_pile_that_is_uneven_is_an_alarm(top, told):
    found = asked(pulp_temps_f=[39.5, 39.5, top], return_temp_f=top)[2]["alarms"]
    text = found["pile_spread"].text if "pile_spread" in found else None
    assert text is None if told is None else told in text


def test_null_in_the_list_is_a_missing_probe():
    seen = readings_from_dict({**BAY, "pulp_temps_f": [None, 38.6, None, 39.8, 40.8]}).readings
    whole = readings_from_dict(BAY).readings
    assert seen.pulp_probes == 2, "two are out, which widens the margins"
    assert repr(seen._replace(pulp_probes=3)) == repr(whole)
    blank = readings_from_dict({**BAY, "pulp_temps_f": [None, None]}).readings
    assert vc.advise(SEED, blank)[0].action == Action.HANDS_OFF


@pytest.mark.parametrize("two", [[38.0, 60.0], [14.0, 39.0, 64.0], [30.0, 30.0, 60.0, 60.0]])
def test_probes_without_a_majority_are_not_believed(two):
    advice, _, told = asked(pulp_temps_f=two)
    assert advice.action == Action.HANDS_OFF
    assert "readings_missing" in told["alarms"]


def test_return_air_far_off_the_pile_is_not_believed():
    advice, _, told = asked(return_temp_f=80.0)
    assert math.isnan(advice.situation.readings.return_temperature)
    assert advice.action == Action.HANDS_OFF
    assert any("return air" in doubt for doubt in told["doubts"])


PROBES = {
    "outside_temp_f": (None, 100.0), "outside_rh": (None, 0.0, 1.0), "return_temp_f": (None, 80.0),
    "return_rh": (None, 0.0, 1.0), "plenum_temp_f": (None, 0.0, 90.0), "plenum_rh": (None, 0.0),
    "pulp_temps_f": (None, [None], [15.0, 39.0, 64.0]), "ceiling_temp_f": (None, 0.0, 100.0),
    "co2_ppm": (None, 300, 60_000), "pressure_pa": (None, 60_000),
}  # fmt: skip
WHOLE = {**BAY, "plenum_temp_f": 38.0, "plenum_rh": 0.9, "ceiling_temp_f": 39.0, "co2_ppm": 1500,
         "pressure_pa": 84_000}  # fmt: skip
BROKEN = [
    *([(key, value)] for key, values in PROBES.items() for value in values),
    *(
        [(one, a), (other, b)]
        for one, other in itertools.combinations(PROBES, 2)
        for a in PROBES[one]
        for b in PROBES[other]
    ),
]


def test_every_reading_missing_or_impossible_alone_and_in_pairs():
    """No traceback; positions in range or hands off, and no supply below the floor."""
    time = datetime.fromisoformat(JANUARY).timestamp()
    before = vc.Memory(time=time - 900.0, target=3.33, fan_on=True, fan_since=9e4)
    assert len(BROKEN) > 200
    for changes in BROKEN:
        seen = readings_from_dict({**WHOLE, **dict(changes)}).readings
        for memory in (None, before):
            advice, after = vc.advise(SEED, seen, memory)
            json.dumps(advice_data(SEED, readings_from_dict(WHOLE), advice, after, "us"))
            for line in reasons(advice, SEED):
                assert "nan" not in line.split(), (changes, line)
            positions = (advice.fan_speed, advice.door_opening, advice.humidifier, advice.heater)
            if advice.action == Action.HANDS_OFF:
                assert all(math.isnan(value) for value in positions)
                continue
            assert all(0.0 <= value <= 1.0 for value in positions), changes
            if advice.fan_speed > 0.0 and not math.isnan(advice.plenum_temperature):
                floor = min(SEED.limits.plenum_floor, advice.situation.run_temperature)
                assert advice.plenum_temperature >= floor - 1e-6, changes
            blind = dict(changes).get("outside_temp_f", 1.0) is None
            assert not blind or advice.door_opening == 0.0, changes


@pytest.mark.parametrize(
    ("key", "value"),
    [("outside_temp_f", 400.0), ("return_rh", 95), ("co2_ppm", 0.0015), ("pulp_temps_f", [390.0]),
     ("plenum_temp_f", -90.0), ("loaded_t", -1), ("stage", "asleep"), ("people_inside", "no"),
     ("out_of_order", ["roof"]), ("out_of_order", [{}]), ("rot_share", 5), ("co2_top_ppm", 5)],
)  # fmt: skip
def test_what_cannot_be_is_refused_in_one_line(key, value):
    with pytest.raises(vc.BadInput) as caught:
        readings_from_dict({**WHOLE, key: value})
    (line,) = caught.value.problems
    assert key in line


# --- alarms, validity -------------------------------------------------------------------------


def test_alarms_in_the_json_of_the_command(capsys, tmp_path):
    """Id, level, since, text, first; the worst first; since when they stand."""
    path, memory = tmp_path / "readings.json", tmp_path / "memory.json"
    found = []
    for minute in ("00", "30"):
        scene = {**BAY, "plenum_temp_c": -6.0, "co2_ppm": 9000, "out_of_order": ["heater"],
                 "time": f"2027-01-14T12:{minute}:00-07:00"}  # fmt: skip
        path.write_text(json.dumps(scene), encoding="utf-8")
        words = ["advise", "seed_bay", "--readings", str(path), "--memory", str(memory), "--json"]
        assert main(words) == 0
        found.append(json.loads(capsys.readouterr().out)["alarms"])
    for one in found:
        assert [alarm["id"] for alarm in one] == [
            "frost_risk", "co2_people", "co2_crop", "out_of_order"
        ]  # fmt: skip
        assert [alarm["level"] for alarm in one] == sorted(alarm["level"] for alarm in one)
        for alarm in one:
            assert alarm.keys() == {"id", "level", "since", "text", "first"}
            assert alarm["id"] in ALARM_IDS
            since = datetime.fromisoformat(alarm["since"])
            assert since == datetime(2027, 1, 14, 19, tzinfo=UTC)


@pytest.mark.parametrize(("over", "alarm"), [(8.5, False), (9.5, True)])
def test_a_pile_five_kelvin_above_its_target_is_an_alarm(over, alarm):
    """Holding at 38.0 °F; 9 °F are 5 K."""
    warm = {"pulp_temps_f": [37.8 + over, 38.0 + over, 38.2 + over], "return_temp_f": 39 + over}
    assert ("pile_hot" in asked(**warm)[2]["alarms"]) == alarm


def test_no_alarm_where_nothing_is_wrong():
    assert asked(co2_ppm=1500)[2]["data"]["alarms"] == []


def test_validity_shortens_near_a_limit_down_to_five_minutes():
    """CO2 from its limit to twice that; at once with frost, people, a probe off or missing."""
    found = [asked(co2_ppm=ppm)[0].valid_for for ppm in (1500, 4000, 5000, 6000, 7000, 8000, 9000)]
    assert found[:2] == [HOUR, HOUR]
    assert found[2:] == pytest.approx([2775.0, 1950.0, 1125.0, 300.0, 300.0])
    for changes in ({"plenum_temp_c": 0.5}, {"people_inside": True}, {"return_temp_f": None}):
        assert asked(**changes)[0].valid_for == 300.0


# --- lessons of the plenum --------------------------------------------------------------------


def lessons(hours, plant, *, memory=None, step=HOUR, start="2026-10-20T12:00:00-06:00", **changes):
    """Hourly advice to a warm pile; ``plant`` makes the measured plenum of the last memory."""
    time = datetime.fromisoformat(start).timestamp()
    if memory is not None:
        time = memory.time + step
    warm = {"pulp_temps_f": [52.0, 53.5, 54.6], "return_temp_f": 54.6, "return_rh": 0.85,
            "outside_temp_c": 1.0, "outside_rh": 0.7, "plenum_temp_c": None, **changes}  # fmt: skip
    given = {key: value for key, value in BAY.items() if key != "outside_temp_f"}
    kept = []
    for k in range(hours):
        now = {"time": datetime.fromtimestamp(time + HOUR * k, UTC).isoformat()}
        on = memory is not None and memory.fan_on and plant is not None
        if on:
            now["plenum_temp_c"] = plant(memory)
        file = readings_from_dict({**given, **warm, **now})
        advice, memory = vc.advise(SEED, file.readings, memory)
        # The pile is kept warm, so that it wants the same again.
        memory = memory._replace(target=(53.4 - 32.0) / 1.8 - 1.0)
        kept.append((advice, memory))
    return kept


def sound(memory):
    """Everything obeys, and the outside probe is right."""
    wrong = memory.expected_share * (1.0 - memory.expected_outside_temperature)
    return memory.expected_plenum_temperature + wrong


def stuck(share):
    """A door that stands there, whatever it is told."""

    def plant(memory):
        off = share - memory.expected_share
        span = memory.expected_outside_temperature - memory.expected_return_temperature
        return memory.expected_plenum_temperature + off * span

    return plant


def ids(advice, memory):
    return {alarm.id for alarm in alarms(advice, SEED, memory)}


def test_a_sound_plant_teaches_nothing():
    kept = lessons(30, sound)
    assert all(advice.fan_speed > 0.0 for advice, _ in kept)
    for advice, after in kept:
        assert abs(after.outside_correction) < 0.05
        assert math.isnan(after.door_share)
        assert (after.humidifier_lacking, after.no_air) == (0.0, 0.0)
        assert ids(advice, after) == set()


@pytest.mark.parametrize(("error", "least", "most"), [(-2.0, -2.0, -0.5), (-8.0, -4.0, -3.7)])
def test_the_outside_probe_is_corrected_a_kelvin_a_step_and_four_in_all(error, least, most):
    """The outside air is that much colder than its probe says; the plenum shows it."""

    def plant(memory):
        true = 1.0 + error
        wrong = memory.expected_share * (true - memory.expected_outside_temperature)
        return memory.expected_plenum_temperature + max(wrong, -1.4)

    kept = lessons(40, plant)
    steps = [after.outside_correction for _, after in kept]
    assert all(abs(b - a) <= STEP + 1e-9 for a, b in itertools.pairwise(steps))
    assert all(abs(x) <= MOST for x in steps)
    assert least <= steps[-1] <= most
    advice, after = kept[-1]
    assert advice.situation.outside_temperature == pytest.approx(1.0 + steps[-1], abs=1e-6)
    assert any("colder than its probe" in line for line in reasons(advice, SEED))
    assert ("outside_probe" in ids(advice, after)) == (steps[-1] < -2.0)
    # what nothing confirms any more fades
    faded = lessons(5, None, memory=after)[-1][1].outside_correction
    assert abs(faded) < abs(steps[-1])


def test_the_first_hour_of_a_run_teaches_of_the_outside_probe_only_that_it_is_colder():
    """Its return air was reckoned from the pulp probes, which may be off themselves."""
    for plenum, since, lesson in ((3.2, 9e4, 1), (3.2, 0.0, 0), (1.4, 9e4, -1), (1.4, 0.0, -1)):
        seen = readings_from_dict({**BAY, "plenum_temp_c": plenum}).readings
        memory = vc.Memory(
            time=seen.time - HOUR, target=3.33, fan_on=True, fan_since=since, fan_speed=1.0,
            expected_plenum_temperature=2.4, expected_share=0.3,
            expected_return_temperature=5.0, expected_outside_temperature=-1.1,
        )  # fmt: skip
        learnt = vc.advise(SEED, seen, memory)[1].outside_correction
        assert (learnt > 0.0) - (learnt < 0.0) == lesson


@pytest.mark.parametrize(("error", "share", "lesson"), [(0.3, 0.3, -0.5), (0.3, 0.6, -0.25)])
def test_half_of_an_error_of_the_plenum_over_its_fresh_fraction_is_believed(error, share, lesson):
    seen = readings_from_dict({**BAY, "plenum_temp_c": 2.4 - error}).readings
    memory = vc.Memory(
        time=seen.time - HOUR, target=3.33, fan_on=True, fan_since=9e4, fan_speed=1.0,
        expected_plenum_temperature=2.4, expected_share=share,
        expected_return_temperature=5.0, expected_outside_temperature=-1.1,
    )  # fmt: skip
    assert vc.advise(SEED, seen, memory)[1].outside_correction == pytest.approx(lesson)


def test_a_plenum_too_warm_is_no_lesson_while_water_evaporates():
    """It may be the mist that is missing."""
    for mist, learns in ((0.4, False), (0.0, True)):
        seen = readings_from_dict({**BAY, "plenum_temp_c": 3.2}).readings
        memory = vc.Memory(
            time=seen.time - HOUR, target=3.33, fan_on=True, fan_since=9e4, fan_speed=1.0,
            expected_plenum_temperature=2.4, expected_share=0.3,
            expected_return_temperature=5.0, expected_outside_temperature=-1.1,
            expected_humidifier_drop=mist,
        )  # fmt: skip
        assert (vc.advise(SEED, seen, memory)[1].outside_correction > 0.0) == learns


def test_a_stuck_door_is_found_told_to_shut_and_forgotten():
    kept = lessons(4, stuck(0.45))
    advice, after = kept[-1]
    assert after.door_share == pytest.approx(0.45, abs=0.05)
    assert "door_stuck" in ids(advice, after)
    assert advice.door_opening == 0.0
    assert any("whatever the door is told" in line for line in reasons(advice, SEED))
    # it goes on being believed while the plenum shows it
    still = lessons(30, stuck(0.45), memory=after)
    assert all(m.door_share == pytest.approx(0.45, abs=0.05) for _, m in still)
    # told to shut, it shuts: forgotten at once
    freed = lessons(3, stuck(SEED.doors.leakage_fraction), memory=still[-1][1])
    assert math.isnan(freed[-1][1].door_share)
    # after a day of rest it is reckoned with again, and found out in the first hour of the run
    rested = still[-1][1]._replace(fan_on=False, fan_speed=0.0, door_age=FINDING_LIFE)
    ((trying, tried),) = lessons(1, sound, memory=rested, plenum_temp_c=11.1)
    assert trying.door_opening > 0.0
    assert not math.isnan(lessons(1, stuck(0.45), memory=tried)[0][1].door_share)
    assert math.isnan(lessons(1, sound, memory=tried)[0][1].door_share)
    # nothing seen any more: forgotten after a day
    unseen = lessons(30, None, memory=still[-1][1])
    known = [not math.isnan(m.door_share) for _, m in unseen]
    assert known.index(False) == round(FINDING_LIFE / HOUR)
    assert not any(known[25:])
    # in frost that it would blow at the crop it is left shut for longer: time to mend it
    frost = lessons(100, None, memory=still[-1][1], outside_temp_c=-25.0)
    known = [not math.isnan(m.door_share) for _, m in frost]
    assert known.index(False) == round(FROST_LIFE / HOUR)


@pytest.mark.parametrize(("outside", "off", "found"), [(35.0, 0.07, False), (25.0, 0.1, True)])
def test_a_door_is_stuck_from_eight_hundredths_of_fresh_air_on(outside, off, found):
    """Both plenums are some 2 K off what was expected."""
    span = outside - 5.0
    warm = {key: value for key, value in BAY.items() if key != "outside_temp_f"}
    plenum = 5.0 + (0.3 + off) * span
    seen = readings_from_dict({**warm, "outside_temp_c": outside, "plenum_temp_c": plenum}).readings
    memory = vc.Memory(
        time=seen.time - HOUR, target=3.33, fan_on=True, fan_since=9e4, fan_speed=1.0,
        expected_plenum_temperature=5.0 + 0.3 * span, expected_share=0.3,
        expected_return_temperature=5.0, expected_outside_temperature=outside,
    )  # fmt: skip
    after = vc.advise(SEED, seen, memory)[1]
    assert after.door_share == pytest.approx(0.3 + off if found else math.nan, nan_ok=True)


def test_air_that_truck_doors_have_cooled_is_no_stuck_door():
    """A start reckons with air as warm as the top; what the return probe reads then tells."""
    share, drawn, outside = 0.1, 9.0, -1.0
    for plenum, found in ((0.9 * drawn + 0.1 * outside, False), (0.5 * (drawn + outside), True)):
        seen = readings_from_dict(
            {"time": JANUARY, "pulp_temps_c": [10.0, 12.0, 12.5], "return_temp_c": drawn,
             "return_rh": 0.9, "outside_temp_c": outside, "outside_rh": 0.7,
             "plenum_temp_c": plenum}
        ).readings  # fmt: skip
        memory = vc.Memory(
            time=seen.time - HOUR, target=12.8, fan_on=True, fan_since=0.0, fan_speed=1.0,
            expected_plenum_temperature=0.9 * 12.5 + 0.1 * outside, expected_share=share,
            expected_return_temperature=12.5, expected_outside_temperature=outside,
        )  # fmt: skip
        after = vc.advise(SEED, seen, memory)[1]
        assert math.isnan(after.door_share) != found
        if found:
            assert after.door_share == pytest.approx(0.5, abs=0.01)


def test_a_plenum_colder_than_outside_air_is_no_stuck_door():
    """No door lets in more than all: something else is amiss."""
    ((_, begun),) = lessons(1, None)

    def plant(memory):
        return memory.expected_outside_temperature - 2.0

    ((_, after),) = lessons(1, plant, memory=begun)
    assert math.isnan(after.door_share)


def test_the_first_ten_minutes_of_a_run_teach_nothing():
    """The plenum still holds the air of the rest."""
    ((_, begun),) = lessons(1, None)
    for wait, learnt in ((300.0, False), (900.0, True)):
        ((_, after),) = lessons(1, lambda memory: sound(memory) - 1.2, memory=begun, step=wait)
        assert (after.outside_correction < 0.0) == learnt


def test_a_humidifier_that_does_not_keep_up_is_found_and_no_longer_reckoned_with():
    dry = {"return_rh": 0.6, "outside_rh": 0.3, "outside_temp_c": 8.0}

    def plant(memory):
        return memory.expected_plenum_temperature + memory.expected_humidifier_drop

    kept = lessons(8, plant, **dry)
    assert kept[0][0].humidifier > 0.0
    advice, after = kept[-1]
    assert "humidity_low" in ids(advice, after)
    assert advice.humidifier == 0.0
    assert abs(after.outside_correction) < 0.5
    known = [m.humidifier_lacking > 0.0 for _, m in lessons(30, None, memory=after, **dry)]
    assert known[0]
    assert not any(known[25:])


def test_fans_that_do_not_blow_are_found():
    """The plenum stays at the temperature of the bottom tubers."""
    bottom = (52.0 - 32.0) / 1.8
    kept = lessons(4, lambda memory: bottom)
    assert "fans_no_air" in ids(*kept[-1])
    again = lessons(2, sound, memory=kept[-1][1])
    assert "fans_no_air" not in ids(*again[-1])


# --- pulp probes against the air that leaves the pile --------------------------------------------


def warm_after(hours, gap, *, on=True, since=9e4, start=0.0, memory_step=HOUR, trucks=False):
    """What is learned of pulp probes in hours of a run, top pulp so far above the return air."""
    memory = vc.Memory(fan_on=on, fan_since=since, pulp_warm=start)
    seen = vc.Readings(time=0.0, pulp_top=5.0)
    for _ in range(hours):
        warm = learn_pulp(seen, memory, memory_step, 5.0 - gap, trucks)
        memory = memory._replace(pulp_warm=warm)
    return memory.pulp_warm


def test_pulp_that_stays_above_the_return_air_is_found_to_read_warm():
    assert warm_after(24, 1.0) == pytest.approx(1.0 - math.exp(-1.0))
    assert warm_after(200, 1.0) == pytest.approx(1.0, abs=0.01)
    assert warm_after(200, 0.7) > 0.65
    assert warm_after(200, 0.5) == 0.0
    assert warm_after(2000, 9.0) == pytest.approx(PULP_MOST)
    assert warm_after(1200, 1.0, memory_step=120.0) == pytest.approx(warm_after(40, 1.0))


@pytest.mark.parametrize(
    "case",
    [{"gap": 0.5}, {"gap": -2.0}, {"gap": math.nan}, {"gap": 1.0, "on": False},
     {"gap": 1.0, "since": 600.0}, {"gap": 1.0, "trucks": True}],
    ids=["little", "colder", "unknown", "fans off", "run just begun", "trucks in the doors"],
)  # fmt: skip
def test_what_says_nothing_of_pulp_probes_teaches_nothing(case):
    assert warm_after(200, **case) == 0.0


def test_a_mended_pulp_probe_is_believed_again():
    assert warm_after(100, 0.0, start=1.0) < 0.02
    assert warm_after(100, math.nan, start=1.0) == 1.0  # nothing was seen


def test_pulp_that_reads_warm_widens_the_margin_and_is_told():
    time = datetime.fromisoformat(JANUARY).timestamp() - 900.0
    sound = vc.Memory(time=time, target=3.33, fan_on=True, fan_since=60.0)
    _, after, plain = asked(sound)
    advice, kept, told = asked(sound._replace(pulp_warm=1.0))
    now, before = advice.situation, asked(sound)[0].situation
    assert now.wetting_margin == pytest.approx(before.wetting_margin + 1.0)
    assert now.vapour_limit < before.vapour_limit
    assert (after.pulp_warm, kept.pulp_warm) == (0.0, 1.0)
    assert "pulp probes may read warm" in told["lines"]
    assert "pulp probes" not in plain["lines"]


# --- outside vapour where the plenum taught that it is colder outside ----------------------------


@pytest.mark.parametrize(("correction", "taken"), [(0.0, 0.0), (-0.6, -0.6), (-4.0, -1.0)])
def test_a_cold_lesson_of_the_plenum_is_hardly_a_word_of_vapour(correction, taken):
    """A plenum probe that reads cold must not make damp air look dry; frost believes it all."""
    time = datetime.fromisoformat(JANUARY).timestamp()
    memory = vc.Memory(time=time, target=3.33, outside_correction=correction)
    now = asked(memory, outside_temp_f=50.0)[0].situation
    pressure = now.pressure
    assert now.outside_temperature == pytest.approx(10.0 + correction)
    vapour = vc.air.humidity_ratio(10.0 + taken, 0.7, pressure)
    assert now.outside_humidity_ratio == pytest.approx(float(vapour), rel=1e-3)
