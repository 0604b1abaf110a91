"""The diagnosis against air that is mixed, wetted and cooled by the moist-air functions."""

from __future__ import annotations

import numpy as np
import pytest

import ventcalc as vc
from ventcalc import air, air_process
from ventcalc.advice.setpoints import dry_air_flow, fan_power
from ventcalc.diagnose import Log
from ventcalc.diagnose.air_rules import door_leaks, door_shut, humidifier_short
from ventcalc.diagnose.hours import hours_of
from ventcalc.diagnose.scene import scene_of

BAY = vc.as_installed(vc.example_bay("seed_bay"))
PRESSURE = 84300.0
OUTSIDE, BACK = -8.0, 4.0
HOURS = 24


def scene(share, told, *, mist=0.0, gives=0.0):
    """A day of steady air: a share from outside, a door told, a humidifier told, what it gives."""
    water = [float(air.humidity_ratio(t, r, PRESSURE)) for t, r in ((OUTSIDE, 0.7), (BACK, 0.70))]
    mixed = air_process.mix(share, OUTSIDE, water[0], 1.0 - share, BACK, water[1], PRESSURE)
    flow = dry_air_flow(BAY, 1.0, PRESSURE)
    power = fan_power(BAY, 1.0)
    warm = float(
        air_process.heat(
            mixed.temperature,
            mixed.humidity_ratio,
            PRESSURE,
            heat_flow=power,
            mass_flow=flow,
        )
    )
    wet = float(mixed.humidity_ratio) + gives
    enthalpy = float(air.enthalpy(warm, mixed.humidity_ratio, PRESSURE))
    plenum = float(air.temperature_from_enthalpy(enthalpy + gives * 4186.0 * 10.0, wet, PRESSURE))
    capacity = BAY.humidifier.capacity / flow
    columns = {
        "outside_temperature": OUTSIDE,
        "outside_relative_humidity": 0.7,
        "return_temperature": BACK,
        "return_relative_humidity": 0.70,
        "plenum_temperature": plenum,
        "plenum_relative_humidity": float(air.relative_humidity(plenum, wet, PRESSURE)),
        "pressure": PRESSURE,
        "fan_speed": 1.0,
        "door_opening": told,
        "humidifier": mist / capacity,
    }
    time = 1.547e9 + 3600.0 * np.arange(HOURS)
    values = {name: np.full(HOURS, value) for name, value in columns.items()}
    return scene_of(BAY, hours_of(Log(time=time, values=values, pulp=np.full((HOURS, 1), 3.5))))


@pytest.mark.parametrize("share", [0.0, 0.05, 0.2, 0.4])
@pytest.mark.parametrize(("mist", "gives"), [(0.0, 0.0), (3e-4, 3e-4)])
def test_the_plenum_shows_the_share_of_outside_air(share, mist, gives):
    """Whatever the door is told; on enthalpy where mist cools the air."""
    found = scene(share, 0.1, mist=mist, gives=gives).implied_fresh()
    heard = found[~np.isnan(found)]
    assert len(heard) == HOURS - 1, "the first hour of a run has not settled"
    assert heard == pytest.approx(share, abs=0.02)


def test_expected_supply_is_what_comes_of_a_sound_bay():
    one = scene(0.2, 0.1960, mist=2e-4, gives=2e-4)
    assert one.fresh[1] == pytest.approx(0.2, abs=0.001)
    assert one.error[1:] == pytest.approx(0.0, abs=0.05)
    assert one.plenum_water[1:] == pytest.approx(one.expected_water[1:], rel=0.01)


def test_doors_are_found_out_on_both_sides_and_not_between():
    leaks, sound, shut = scene(0.35, 0.0), scene(0.2, 0.2), scene(0.005, 0.3)
    assert door_leaks(leaks).shows[1:].all()
    assert door_shut(shut).shows[1:].all()
    for look in (door_leaks, door_shut):
        signal = look(sound)
        assert signal.able[1:].all()
        assert not signal.shows.any()
        assert not signal.able[0], "not settled"


def test_missing_mist_is_found_and_mist_that_comes_is_not():
    dry, wet = (humidifier_short(scene(0.1, 0.1, mist=8e-4, gives=g)) for g in (0.0, 8e-4))
    assert dry.able[1:].all()
    assert dry.shows[1:].all()
    assert not wet.shows[1:].any()
