"""Freeze protection: what is measured now decides; stages end by warmth, a latch by a person."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime

import pytest

import ventcalc as vc
from ventcalc.advice.advise import Action
from ventcalc.advice.alarms import alarms
from ventcalc.advice.freeze_guard import (
    DOOR_SHUT,
    EXIT_ABOVE_FLOOR,
    FANS_OFF,
    LATCHED,
    LONGEST_REST,
    PULP_RESERVE,
    UNSEEN,
    release,
)
from ventcalc.advice.readings import OUT_OF_ORDER
from ventcalc.advice.reasons import reasons
from ventcalc.bay.calendar import UNLOADING
from ventcalc.bay.hourly import hourly

BAY = vc.example_bay("seed_bay")
LATCHING = replace(BAY, control=replace(BAY.control, freeze_latch=1.0))
FLOOR, HOLDING = BAY.limits.plenum_floor, BAY.schedule.holding_temperature
START = datetime(2027, 1, 14, 12, tzinfo=UTC).timestamp()
STEP = 300.0
INJURY = hourly(BAY, START).crop.injury_temperature
NAN = float("nan")


def at(plenum, **others):
    """Readings of a held pile with a plenum as given, on a mild winter day."""
    given = {
        "time": START,
        "outside_temperature": -4.0,
        "outside_relative_humidity": 0.7,
        "return_temperature": HOLDING + 0.9,
        "return_relative_humidity": 0.9,
        "plenum_temperature": plenum,
        "pulp_bottom": HOLDING + 0.5,
        "pulp_top": HOLDING + 0.9,
        "pulp_mean": HOLDING + 0.7,
        "pulp_coldest": HOLDING + 0.5,
        "ceiling_temperature": HOLDING,
        "co2": 0.0015,
    }
    return vc.Readings(**{**given, **others})


def running(**others):
    given = {"time": START - STEP, "target": HOLDING, "fan_on": True, "fan_since": 9e4}
    return vc.Memory(**{**given, **others})


def stages(plenum, *, bay=BAY, memory=None, step=STEP, **others):
    """Stage after each reading of the plenum, and the last memory."""
    memory = memory or running()
    start, found = memory.time + step, []
    for k, value in enumerate(plenum):
        _, memory = vc.advise(bay, at(value, time=start + step * k, **others), memory)
        found.append(memory.freeze_stage)
    return found, memory


# --- stages -----------------------------------------------------------------------------------


def test_the_limits_keep_their_order():
    """Tubers freeze at about -0.6 to -1.1 °C; everything here comes before that damage."""
    assert -1.1 < INJURY < 0.0 < FLOOR
    assert BAY.schedule.holding_temperature > INJURY + PULP_RESERVE


@pytest.mark.parametrize(
    ("plenum", "stage"),
    [(FLOOR + 0.01, 0), (FLOOR - 0.01, DOOR_SHUT), (0.01, DOOR_SHUT), (-0.01, FANS_OFF),
     (-6.0, FANS_OFF)],
)  # fmt: skip
@pytest.mark.parametrize("memory", ["none", "running", "jump", "silence"])
def test_the_present_reading_counts_at_once(plenum, stage, memory):
    """Also the very first reading, after a silence or a jump of the clock."""
    known = {
        "none": None,
        "running": running(),
        "jump": running(time=START + 3600.0),
        "silence": running(time=START - 90 * 86400.0),
    }[memory]
    advice, after = vc.advise(BAY, at(plenum), known)
    assert after.freeze_stage == advice.freeze_stage == stage
    if stage:
        assert advice.action == Action.PROTECT
        assert advice.door_opening == 0.0
    assert (stage == FANS_OFF) <= (advice.fan_speed == 0.0)


def test_first_reading_with_the_plenum_at_minus_six():
    """Fans off, door shut, and the words send somebody to the door."""
    advice, after = vc.advise(BAY, at(-6.0))
    assert (advice.fan_speed, advice.door_opening, advice.humidifier) == (0.0, 0.0, 0.0)
    lines = reasons(advice, BAY)
    assert "check the door" in lines[0]
    assert "-6.0 °C" in lines[0]
    (first, *_) = alarms(advice, BAY, after)
    assert (first.id, first.level) == ("frost_risk", 1)
    assert "door" in first.first
    assert advice.valid_for == 300.0


def test_a_stage_ends_a_kelvin_above_the_floor_and_not_before():
    found, _ = stages([-0.5, FLOOR - 0.1, FLOOR + 0.9, FLOOR + EXIT_ABOVE_FLOOR + 0.1])
    assert found == [FANS_OFF, DOOR_SHUT, DOOR_SHUT, 0]
    found, _ = stages([-0.5, FLOOR + 5.0])
    assert found == [FANS_OFF, 0]


def test_a_plenum_as_cold_as_a_cold_bottom_does_not_hold_a_stage_in_a_long_rest():
    """It would never end: a bottom that frost has cooled warms by a tenth of a kelvin a day."""
    cold = {"pulp_bottom": FLOOR + 0.6, "pulp_coldest": FLOOR + 0.6, "pulp_mean": HOLDING - 0.1}
    found, _ = stages([-0.5, *[FLOOR + 0.6] * 40], **cold)
    rests = round(LONGEST_REST / STEP)
    assert found == [FANS_OFF, *[DOOR_SHUT] * (rests - 1), *[0] * (41 - rests)]
    # below its floor it does
    found, _ = stages([-0.5, *[FLOOR - 0.1] * 40], **cold)
    assert set(found[1:]) == {DOOR_SHUT}


def test_without_a_stage_before_the_kelvin_above_the_floor_is_no_stage():
    assert stages([FLOOR + 0.1] * 3)[0] == [0, 0, 0]


def test_frost_in_the_plenum_keeps_the_fans_off_while_the_pile_is_cool():
    found, _ = stages([-0.2] * 200)
    assert set(found) == {FANS_OFF}


def test_a_pile_that_warms_up_is_not_left_without_air_for_ever():
    """After the longest rest it is recirculated behind the shut door, for a step."""
    warm = {"pulp_mean": HOLDING + 1.3, "pulp_top": HOLDING + 1.6, "return_temperature": 4.9}
    found, _ = stages([-0.2] * 60, **warm)
    rests = round(LONGEST_REST / STEP)
    assert found[:rests] == [FANS_OFF] * rests
    assert found[rests] == DOOR_SHUT
    assert found.count(DOOR_SHUT) == 60 // (rests + 1)
    advice, _ = vc.advise(
        BAY, at(-0.2, time=START, **warm), running(freeze_stage=2, stage_age=LONGEST_REST)
    )
    assert advice.fan_speed == BAY.fans.minimum_speed
    assert advice.door_opening == 0.0


def test_a_dead_probe_keeps_the_stage_for_six_hours():
    found, _ = stages([NAN] * 80, memory=running(freeze_stage=FANS_OFF))
    kept = round(UNSEEN / STEP)
    assert found == [FANS_OFF] * (kept - 1) + [0] * (80 - kept + 1)
    assert stages([NAN] * 4)[0] == [0] * 4


# --- the latch --------------------------------------------------------------------------------


def test_nothing_is_latched_where_the_site_does_not_want_it():
    assert BAY.control.freeze_latch == 0.0
    found, _ = stages([-6.0] * 12 + [FLOOR + 2.0])
    assert LATCHED not in found
    assert found[-1] == 0
    # not even by a memory that says so: the site may have changed its mind
    assert stages([FLOOR + 2.0], memory=running(freeze_stage=LATCHED))[0] == [0]
    assert stages([NAN], memory=running(freeze_stage=LATCHED))[0] == [FANS_OFF]


def test_the_latch_holds_until_it_is_released():
    found, memory = stages([-0.2] + [10.0] * 300, bay=LATCHING)
    assert set(found) == {LATCHED}
    for time in (START - 90 * 86400.0, START + 3600.0):
        held, after = vc.advise(LATCHING, at(5.0), memory._replace(time=time))
        assert after.freeze_stage == LATCHED
        assert (held.fan_speed, held.door_opening) == (0.0, 0.0)
        assert any("--release" in alarm.first for alarm in alarms(held, LATCHING, after))
    assert stages([10.0] * 10, bay=LATCHING, memory=release(memory))[0] == [0] * 10


def test_the_door_alone_is_not_latched():
    assert stages([FLOOR - 0.2, FLOOR + 2.0], bay=LATCHING)[0] == [DOOR_SHUT, 0]


@pytest.mark.parametrize(("over", "stage"), [(4.9, LATCHED), (5.1, 0)])
def test_an_overheating_pile_ends_the_latch(over, stage):
    mean = HOLDING + over
    warm = {"pulp_mean": mean, "pulp_top": mean + 0.2, "pulp_bottom": mean - 0.2,
            "pulp_coldest": mean - 0.2, "return_temperature": mean + 0.2}  # fmt: skip
    memory = running(freeze_stage=LATCHED)
    assert stages([FLOOR + 3.0], bay=LATCHING, memory=memory, **warm)[0] == [stage]


def test_release_into_frost_latches_again():
    _, memory = stages([-0.3] * 3, bay=LATCHING)
    assert stages([-0.3], bay=LATCHING, memory=release(memory))[0] == [LATCHED]


def test_release_touches_nothing_else():
    memory = running(freeze_stage=LATCHED, stage_age=50.0, target=5.0, tail_left=60.0)
    after = release(memory)
    assert (after.freeze_stage, after.stage_age) == (0, 0.0)
    assert after == memory._replace(freeze_stage=0, stage_age=0.0)


# --- what the advice makes of it --------------------------------------------------------------


@pytest.mark.parametrize(
    "wish",
    [
        {},
        {"co2": 1.5 * BAY.limits.co2, "outside_temperature": HOLDING - 1.0},
        {"pulp_mean": HOLDING - 1.5, "pulp_top": HOLDING - 1.3, "pulp_bottom": HOLDING - 1.7,
         "pulp_coldest": HOLDING - 1.7, "return_temperature": HOLDING - 1.3,
         "outside_temperature": 8.0, "outside_relative_humidity": 0.4},
    ],
    ids=["cool", "fresh air", "warm"],
)  # fmt: skip
def test_the_shut_door_comes_before_every_wish(wish):
    assert vc.advise(BAY, at(HOLDING, **wish), running())[0].door_opening > 0.0
    held, after = vc.advise(BAY, at(FLOOR - 0.2, **wish), running())
    assert after.freeze_stage == DOOR_SHUT
    assert held.action == Action.PROTECT
    assert (held.door_opening, held.humidifier, held.refrigeration) == (0.0, 0.0, 0.0)
    assert reasons(held, BAY)[0].startswith("Freeze protection, door closed")


def test_protection_moves_the_pile_s_own_warmth_and_heats_while_the_plenum_is_cold():
    dry = {"return_relative_humidity": 0.8}
    cold, _ = vc.advise(BAY, at(FLOOR - 0.2, **dry), running())
    warmer, _ = vc.advise(BAY, at(FLOOR + 0.9, **dry), running(freeze_stage=DOOR_SHUT))
    for advice in (cold, warmer):
        assert advice.fan_speed == BAY.fans.minimum_speed
        assert advice.heater > 0.0


def test_protection_overrides_the_shortest_rest():
    seen = at(FLOOR - 0.2, return_relative_humidity=0.8)
    advice, _ = vc.advise(BAY, seen, running(fan_on=False, fan_since=0.0))
    assert advice.action == Action.PROTECT
    assert advice.fan_speed > 0.0


def cold_pulp(coldest, **others):
    """A held pile with one cold layer; its plenum is not measured."""
    return at(NAN, pulp_coldest=coldest, pulp_bottom=coldest, **others)


def test_coldest_pulp_of_thirty_and_a_half_fahrenheit():
    """30.5 °F, -0.83 °C: warm it at once, though the pile's own moist air wets it."""
    seen = cold_pulp((30.5 - 32.0) / 1.8)
    for memory in (None, running(), running(fan_on=False, fan_since=0.0)):
        advice, after = vc.advise(BAY, seen, memory)
        assert advice.pulp_cold
        assert advice.action == Action.PROTECT
        assert advice.door_opening == 0.0
        assert advice.fan_speed > 0.0
        assert advice.plenum_dew_point > seen.pulp_coldest  # freezing outranks wetting
        assert alarms(advice, BAY, after)[0].id == "frost_risk"


def test_a_cold_pile_is_warmed_by_the_heater_though_that_wets_it():
    """Where its own air has no warmth to give. Heat is of no use where it has."""
    cold = {"pulp_mean": -0.2, "pulp_top": 0.2, "return_temperature": 0.2}
    advice, _ = vc.advise(BAY, cold_pulp(-0.8, return_relative_humidity=0.97, **cold), running())
    assert advice.heater > 0.0
    assert advice.plenum_dew_point > -0.8
    assert vc.advise(BAY, cold_pulp(-0.8), running())[0].heater == 0.0


@pytest.mark.parametrize(("above", "cold"), [(0.01, False), (-0.01, True)])
def test_pulp_near_injury_shuts_the_door(above, cold):
    advice, after = vc.advise(BAY, cold_pulp(INJURY + PULP_RESERVE + above), running())
    assert advice.pulp_cold == cold
    assert after.freeze_stage == (DOOR_SHUT if cold else 0)


def test_pulp_that_seems_to_read_warm_is_nearer_to_injury_than_it_reads():
    reads = INJURY + PULP_RESERVE + 0.5
    for warm, cold in ((0.4, False), (0.6, True)):
        advice, memory = vc.advise(BAY, cold_pulp(reads), running(pulp_warm=warm))
        assert (advice.pulp_cold, advice.freeze_stage >= DOOR_SHUT) == (cold, cold)
    assert "seems to read 0.60 K warm" in alarms(advice, BAY, memory)[0].text


def test_an_outlying_cold_probe_counts_for_frost():
    """Left out of the means, it may still be a real spot."""
    advice, _ = vc.advise(BAY, at(HOLDING, pulp_odd=-2.0, pulp_odd_place=2), running())
    assert advice.pulp_cold
    assert advice.door_opening == 0.0


def test_where_pulp_is_not_in_danger_protection_does_not_wet_it_much():
    """Half a kelvin is borne, more is not: then the fans rest behind the shut door."""
    for coldest, runs in ((HOLDING + 0.5, True), (HOLDING - 1.7, False)):
        seen = at(FLOOR - 0.2, pulp_coldest=coldest, pulp_bottom=coldest)
        advice, _ = vc.advise(BAY, seen, running())
        assert (advice.plenum_dew_point < coldest + 0.5) == runs
        assert (advice.fan_speed > 0.0) == runs
        assert advice.action == Action.PROTECT
        assert advice.door_opening == 0.0


@pytest.mark.parametrize(
    "name", ["return_relative_humidity", "return_temperature", "pulp_mean", "outside_temperature"]
)
@pytest.mark.parametrize("plenum", [FLOOR - 0.2, -0.2])
def test_the_plenum_alone_is_enough_to_shut_the_door(name, plenum):
    advice, _ = vc.advise(BAY, at(plenum, **{name: NAN}), running())
    assert advice.action == Action.PROTECT
    assert advice.door_opening == 0.0
    assert (advice.fan_speed > 0.0) == (plenum > 0.0)


@pytest.mark.parametrize("told", [{"people_inside": True}, {"out_of_order": 1}, {}])
def test_the_door_shuts_too_with_people_inside_or_dead_fans_and_no_pulp(told):
    """Nothing of it is left open because something else is amiss as well."""
    for missing in ({}, {"pulp_mean": NAN}):
        advice, _ = vc.advise(BAY, at(-3.0, **told, **missing), running(door_opening=0.4))
        assert advice.freeze_stage == FANS_OFF
        assert (advice.door_opening, advice.fan_speed, advice.heater) == (0.0, 0.0, 0.0)


# --- truck doors in frost ---------------------------------------------------------------------


def sunk(**others):
    """The cold from truck doors has sunk through a resting pile; air above it as measured."""
    given = {"stage_told": UNLOADING, "return_temperature": 0.5, "outside_temperature": -7.0}
    return at(-0.5, **{**given, **others})


def advised(readings, bay=BAY, **memory):
    given = {"fan_on": False, "freeze_stage": FANS_OFF, "stage_age": STEP}
    return vc.advise(bay, readings, running(**{**given, **memory}))[0]


def test_slow_heated_air_warms_a_bottom_that_truck_doors_have_cooled():
    advice = advised(sunk())
    assert advice.fan_speed == BAY.fans.minimum_speed
    assert (advice.door_opening, advice.freeze_stage) == (0.0, FANS_OFF)
    assert advice.heater > 0.0
    assert "slow heated air against the cold from the truck doors" in reasons(advice, BAY)[0]
    alarm = alarms(advice, BAY, running())[0]
    assert (alarm.id, alarm.first.partition(";")[0]) == ("frost_risk", "Close the truck doors")


@pytest.mark.parametrize(
    "case",
    [{"readings": sunk(return_temperature=-12.0)}, {"readings": sunk(return_temperature=NAN)},
     {"readings": sunk(stage_told=-1)}, {"readings": sunk(out_of_order=OUT_OF_ORDER["heater"])},
     {"readings": sunk(), "fan_on": True}, {"readings": sunk(), "door_share": 0.3},
     {"readings": sunk(), "bay": LATCHING}],
    ids=["air too cold", "air unknown", "no trucks", "no heater", "it blew frost", "door stuck",
         "latched"],
)  # fmt: skip
def test_else_the_fans_rest_in_frost(case):
    assert advised(**case).fan_speed == 0.0


@pytest.mark.parametrize(("hours", "stage"), [(1.9, FANS_OFF), (2.1, DOOR_SHUT)])
def test_a_pile_that_warms_up_is_recirculated_after_two_hours_of_rest(hours, stage):
    """Its plenum still blows frost; behind a shut door."""
    memory = running(freeze_stage=FANS_OFF, stage_age=hours * 3600.0 - STEP, fan_on=False)
    seen = at(-1.0, pulp_mean=HOLDING + 1.2)
    advice, _ = vc.advise(BAY, seen, memory)
    assert (advice.freeze_stage, advice.door_opening) == (stage, 0.0)


def test_the_first_run_after_a_stage_is_looked_at_again_soon():
    """Whatever was stuck may be so still; a plenum at rest may have warmed all the same."""
    memory = running(freeze_stage=FANS_OFF, fan_on=False)
    for minutes in (5.0, 60.0):
        advice, memory = vc.advise(BAY, at(HOLDING, time=memory.time + STEP), memory)
        assert (advice.freeze_stage, advice.fan_speed > 0.0) == (0, True)
        assert advice.valid_for == minutes * 60.0
