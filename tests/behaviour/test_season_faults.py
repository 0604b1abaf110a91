"""Whole seasons under the advice with probes that lie and parts that do not obey."""

from __future__ import annotations

from datetime import UTC, datetime
from functools import cache

import numpy as np
import pytest

import ventcalc as vc
from ventcalc.season.steps import PlantFaults, SensorErrors
from ventcalc.weather import colder

pytest.importorskip("numba")
BAY = vc.example_bay("seed_bay")


def at(month, day):
    """Of the winter in the example weather's season. [s]"""
    return datetime(2019, month, day, tzinfo=UTC).timestamp()


STUCK = PlantFaults(door_opening=0.3, door_from=at(1, 10), door_until=at(1, 13))
DEAD = PlantFaults(fans_from=at(1, 10), fans_until=at(1, 12))
DRY = PlantFaults(humidifier_from=0.0)
CASES = {
    "sound": {},
    "outside reads 2 K high": {"sensor_errors": SensorErrors(outside_temperature=2.0)},
    "pulp reads 1 K high": {"sensor_errors": SensorErrors(pulp=1.0)},
    "plenum reads 0.5 K low": {"sensor_errors": SensorErrors(plenum_temperature=-0.5)},
    "fans dead for two days": {"faults": DEAD},
    "no mist": {"faults": DRY},
    "22 K colder": {"cold": 22.0},
    "22 K colder, door stuck": {"cold": 22.0, "faults": STUCK},
}


@cache
def season(name):
    weather, case = vc.example_weather(), dict(CASES[name])
    if "cold" in case:
        weather = colder(weather, case.pop("cold"))
    return vc.run_season(BAY, weather, "advice", compiled=True, **case)


@pytest.mark.parametrize("name", CASES)
def test_no_fault_freezes_or_overheats_the_crop(name):
    """Loaded at up to 15.6 °C; respiration and a late autumn add a few kelvin at most."""
    kpi = season(name).kpi
    assert kpi.frozen_minutes == 0.0
    assert kpi.coldest_tuber > 0.0
    assert kpi.hottest_tuber < 21.0
    assert kpi.latched_hours < 72.0


def test_the_stuck_door_was_really_stuck():
    """In these three days the advice told the door otherwise, and frost came in."""
    stuck, free = season("22 K colder, door stuck"), season("22 K colder")
    time = stuck.time.astype(np.int64)
    then = (time >= STUCK.door_from) & (time < STUCK.door_until)
    assert (stuck.records["door_opening"][then] == 0.3).all()
    assert (free.records["door_opening"][then] < 0.3).all()
    assert stuck.kpi.coldest_tuber < free.kpi.coldest_tuber
    assert stuck.kpi.plenum_below_zero_minutes <= 6 * 60.0


def test_dead_fans_really_stood():
    records = season("fans dead for two days").records
    time = season("fans dead for two days").time.astype(np.int64)
    then = (time >= DEAD.fans_from) & (time < DEAD.fans_until)
    assert (records["runs"][then] == 0.0).all()


def test_a_door_stuck_in_a_season_is_found_and_forgotten_after_a_day():
    """The policy's memory, looked at hour by hour."""
    seen = []

    def watched(bay, readings, memory):
        advice, memory = vc.advise(bay, readings, memory)
        seen.append((readings.time, memory.door_share))
        return advice, memory

    mild = PlantFaults(door_opening=0.5, door_from=at(1, 10), door_until=at(1, 13))
    vc.run_season(
        BAY, vc.example_weather(), watched, faults=mild, compiled=True,
        until=np.datetime64("2019-01-20T00:00:00"),
    )  # fmt: skip
    found = [(time, share) for time, share in seen if share == share]
    assert found
    inside = [share for time, share in found if mild.door_from < time <= mild.door_until]
    assert inside
    # Rather less than the true half: outside and return air have changed since the last advice.
    assert 0.3 < np.median(inside) < 0.6
    late = [time for time, _ in found if time > mild.door_until]
    assert all(time <= mild.door_until + 25 * 3600.0 for time in late)
