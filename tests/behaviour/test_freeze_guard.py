"""Freeze protection: stages, timers, latch and release, and the advice in each of them."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from ventcalc.advice import freeze_guard
from ventcalc.advice.advise import Action, Memory, Readings, advise
from ventcalc.advice.freeze_guard import ABOVE_FREEZING, PATIENCE, SECOND_STAGE, release
from ventcalc.advice.reasons import reasons
from ventcalc.bay.file import example_bay
from ventcalc.bay.hourly import hourly

BAY = example_bay("seed_bay")
FLOOR, HOLDING = BAY.limits.plenum_floor, BAY.schedule.holding_temperature
START = datetime(2027, 1, 14, 12, tzinfo=UTC).timestamp()
MINUTE = 60.0
HARD = hourly(BAY, START).crop.freezing_temperature + ABOVE_FREEZING


def stages(plenum, *, step=MINUTE, memory=None):
    """Stage after each reading of the plenum, one a minute."""
    memory = memory or Memory(time=START - step)
    found = []
    for k, value in enumerate(plenum):
        now = Readings(time=START + step * k, plenum_temperature=value)
        guard = freeze_guard.guard(hourly(BAY, now.time), now, memory, step)
        found.append(guard.stage)
        memory = memory._replace(
            time=now.time,
            freeze_stage=guard.stage,
            below_floor=guard.below_floor,
            below_zero=guard.below_zero,
            below_hard=guard.below_hard,
            above_exit=guard.above_exit,
            stage_age=guard.stage_age,
        )
    return found, memory


def at(plenum, **others):
    """Readings of a held pile with a plenum as given."""
    given = {
        "time": START,
        "outside_temperature": -5.0,
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
    return Readings(**{**given, **others})


def running(**others):
    given = {"time": START - 600.0, "target": HOLDING, "fan_on": True, "fan_since": 9e4}
    return Memory(**{**given, **others})


# --- stages -----------------------------------------------------------------------------------


def test_the_limits_keep_their_order():
    """Tubers freeze at about -0.6 to -1.1 °C; every stage comes before that damage."""
    assert -1.1 < HARD < 0.0 < FLOOR


@pytest.mark.parametrize(
    ("plenum", "stage"), [(FLOOR + 0.01, 0), (FLOOR - 0.01, 1), (-0.01, 2), (HARD - 0.01, 3)]
)
def test_each_stage_begins_after_its_patience(plenum, stage):
    found, _ = stages([plenum] * 12)
    waits = round(PATIENCE / MINUTE)
    assert found[: waits - 1] == [0] * (waits - 1)
    assert found[waits - 1 :] == [stage] * (12 - waits + 1)


def test_short_dips_are_forgiven():
    """Four minutes of frost, one of warmth, again and again: no stage."""
    found, _ = stages(([-1.0] * 4 + [2.5]) * 6)
    assert set(found) == {0}


def test_stage_one_leaves_five_minutes_after_a_kelvin_above_the_floor():
    found, _ = stages([FLOOR - 0.2] * 6 + [FLOOR + 0.9] * 20 + [FLOOR + 1.1] * 6)
    assert found[5:26] == [1] * 21
    assert found[-6:] == [1, 1, 1, 1, 0, 0]


def test_stage_two_keeps_the_door_shut_for_an_hour_then_steps_down():
    found, _ = stages([-0.2] * 5 + [FLOOR + 2.0] * 70)
    first = found.index(2)
    assert (found.index(1, first) - first) * MINUTE == SECOND_STAGE
    assert found[-1] == 0
    assert sorted(found[first:], reverse=True) == found[first:]


def test_stage_two_stays_while_the_frost_does():
    found, _ = stages([-0.2] * 200)
    assert set(found[5:]) == {2}


def test_stage_three_is_latched():
    """No warmth and no time releases it; only a person does."""
    found, memory = stages([HARD - 0.1] * 6 + [10.0] * 600)
    assert set(found[4:]) == {3}
    found, memory = stages([10.0] * 24, step=3600.0, memory=memory)
    assert set(found) == {3}
    found, _ = stages([10.0] * 10, memory=release(memory))
    assert set(found) == {0}


def test_release_into_frost_latches_again_only_after_the_patience():
    _, memory = stages([HARD - 0.1] * 10)
    found, _ = stages([HARD - 0.1] * 8, memory=release(memory))
    assert found[:4] == [0, 0, 0, 0]
    assert found[-1] == 3


def test_release_touches_nothing_else():
    memory = running(freeze_stage=3, target=5.0, tail_left=60.0, since_run=5.0, below_hard=900.0)
    after = release(memory)
    assert after.freeze_stage == 0
    assert (after.below_floor, after.below_zero, after.below_hard, after.stage_age) == (0, 0, 0, 0)
    same = ("time", "target", "fan_on", "fan_since", "tail_left", "since_run", "since_fresh")
    assert all(getattr(after, name) == getattr(memory, name) for name in same)


@pytest.mark.parametrize("stage", [0, 1, 2, 3])
def test_a_dead_sensor_neither_begins_nor_ends_a_stage(stage):
    """Stage 2 may step down after its hour; otherwise the stage stays where it was."""
    memory = Memory(time=START, freeze_stage=stage)
    found, _ = stages([float("nan")] * 30, memory=memory)
    assert set(found) == {stage}


def test_a_dead_sensor_does_not_wipe_out_minutes_already_seen():
    found, _ = stages([-0.2] * 3 + [float("nan")] * 3 + [-0.2] * 3)
    assert found[-1] == 2


def test_minutes_that_nobody_saw_are_not_counted():
    """The first reading after a start, a long silence or a jump of the clock latches nothing."""
    cold = at(HARD - 0.5)
    for memory in (None, running(time=START - 90 * 86400.0), running(time=START + 3600.0)):
        after = advise(BAY, cold, memory)[1]
        assert after.freeze_stage == 0
        again = advise(BAY, cold._replace(time=START + PATIENCE), after)[1]
        assert again.freeze_stage == 3


def test_a_latch_outlives_silence_and_clock_jumps():
    for time in (START - 90 * 86400.0, START + 3600.0, float("nan")):
        advice, after = advise(BAY, at(5.0), running(time=time, freeze_stage=3))
        assert advice.action == Action.PROTECT
        assert after.freeze_stage == 3


# --- what the advice makes of it ----------------------------------------------------------------


def test_stage_one_holds_the_door_at_its_stop():
    free, _ = advise(BAY, at(HOLDING), running())
    held, after = advise(BAY, at(FLOOR - 0.2), running())
    assert free.action == Action.COOL_BY_OUTSIDE
    assert free.door_opening > 0.0
    assert after.freeze_stage == 1
    assert held.door_opening == 0.0
    assert held.refrigeration == 0.0


def test_stage_one_shuts_the_door_to_every_other_wish():
    """Fresh air for CO2 and warm outside air wait as well."""
    wishes = (
        {"co2": 1.5 * BAY.limits.co2, "outside_temperature": HOLDING - 1.0},
        {
            "pulp_mean": HOLDING - 1.5,
            "pulp_top": HOLDING - 1.3,
            "pulp_bottom": HOLDING - 1.7,
            "pulp_coldest": HOLDING - 1.7,
            "return_temperature": HOLDING - 1.3,
            "outside_temperature": 8.0,
            "outside_relative_humidity": 0.4,
        },
    )
    for wish in wishes:
        assert advise(BAY, at(HOLDING, **wish), running())[0].door_opening > 0.0
        held, after = advise(BAY, at(FLOOR - 0.2, **wish), running())
        assert after.freeze_stage == 1
        assert held.door_opening == 0.0


def test_stage_one_is_told():
    held, _ = advise(BAY, at(FLOOR - 0.2), running())
    lines = reasons(held, BAY)
    assert not lines[0].startswith("Cool with outside air")
    assert any("freez" in line.lower() or "floor" in line for line in lines)


def test_stage_one_does_not_heat_and_cool_together():
    fry = example_bay("fry_bay")
    floor = fry.limits.plenum_floor
    warm = {
        "pulp_bottom": 9.0, "pulp_top": 9.4, "pulp_mean": 9.2, "pulp_coldest": 9.0,
        "return_temperature": 9.4, "outside_temperature": 15.0,
    }  # fmt: skip
    advice, after = advise(fry, at(floor - 0.5, **warm), running(target=8.0))
    assert after.freeze_stage == 1
    assert advice.refrigeration == 0.0 or advice.heater == 0.0


@pytest.mark.parametrize("plenum", [-0.2, HARD - 0.2])
def test_stages_two_and_three_protect(plenum):
    """Door shut, no mist, no coil, the pile's own warmth moved about, heat while it is cold."""
    advice, after = advise(BAY, at(plenum), running())
    assert advice.action == Action.PROTECT
    assert after.freeze_stage == (2 if plenum > HARD else 3)
    assert advice.fan_speed >= BAY.fans.minimum_speed
    assert advice.door_opening == 0.0
    assert advice.humidifier == 0.0
    assert advice.refrigeration == 0.0
    assert advice.heater > 0.0


def test_no_heat_once_the_plenum_is_warm_again():
    advice, _ = advise(BAY, at(FLOOR + 2.0), running(freeze_stage=3))
    assert advice.action == Action.PROTECT
    assert advice.heater == 0.0


def test_protection_overrides_shortest_rest_and_every_wish():
    memory = running(fan_on=False, fan_since=0.0, freeze_stage=3, cooling=True)
    advice, _ = advise(BAY, at(0.5, co2=3 * BAY.limits.co2), memory)
    assert advice.action == Action.PROTECT
    assert advice.fan_speed > 0.0


def test_only_the_latched_stage_speaks_of_a_latch():
    second, _ = advise(BAY, at(-0.2), running())
    third, _ = advise(BAY, at(HARD - 0.2), running())
    assert not any("latch" in line for line in reasons(second, BAY))
    assert any("latch" in line and "person" in line for line in reasons(third, BAY))
    for advice in (second, third):
        assert reasons(advice, BAY)[0].startswith("Freeze protection: door shut")


def test_protection_without_the_other_readings():
    """The plenum alone is enough to shut the door; a dead humidity probe changes nothing."""
    for name in ("return_relative_humidity", "pulp_mean", "outside_temperature"):
        seen = at(HARD - 0.2, **{name: float("nan")})
        advice, after = advise(BAY, seen, running())
        assert after.freeze_stage == 3
        assert advice.action == Action.PROTECT
        assert advice.fan_speed > 0.0
        assert advice.door_opening == 0.0
