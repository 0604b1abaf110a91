"""The safety gate, by itself: every refusal, and that harmless advice passes."""

from __future__ import annotations

import math

import psychrolib
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from msgspec.structs import replace

from firmware_bridge.bay import moist_air
from firmware_bridge.bay.safety import History, Targets, check, remember, watch
from firmware_bridge.config import Limits
from firmware_bridge.sensors.sample import Sample

LIMITS = Limits()
NAN = math.nan
VALUES = {
    "pulp_temperature": 5.0,
    "plenum_temperature": 4.2,
    "return_temperature": 5.6,
    "return_relative_humidity": 0.90,
    "outside_temperature": 1.0,
    "outside_relative_humidity": 0.7,
    "pressure": 84300.0,
}
COOL = Targets(fan=0.8, door=0.3, air=4.2, why="outside")
REST = Targets(fan=0.0, door=0.0)


def seen(**changes):
    """A reading of one sensor of each kind."""
    values = {**VALUES, **changes}
    kinds = {kind: kind for kind in values}
    return Sample(boot=1, seq=1, received=0.0, delay=0.0, kinds=kinds, values=values, faults={})


SEEN = seen()


def code(targets=COOL, sample=SEEN, history=None, limits=LIMITS, now=1000.0):
    refusal = check(targets, sample, history or History(), limits, now)
    return "" if refusal is None else refusal.code


def test_harmless_advice_passes():
    assert code() == ""
    assert code(REST) == ""
    assert code(Targets(fan=0.5, door=0.0, why="even")) == ""


@pytest.mark.parametrize("name", ["fan", "door", "water", "cool", "heat"])
@pytest.mark.parametrize("value", [-0.01, 1.01, math.nan, math.inf])
def test_positions_outside_their_range(name, value):
    assert code(replace(COOL, **{name: value})) == "range"


@pytest.mark.parametrize(
    "targets",
    [
        Targets(fan=0.0, door=0.3),
        Targets(fan=0.0, door=0.0, water=0.2),
        Targets(fan=0.0, door=0.0, cool=0.2),
        Targets(fan=0.05, door=0.0),
        Targets(fan=0.5, door=0.0, cool=0.5, heat=0.5, air=3.0),
    ],
)
def test_combinations_that_make_no_sense(targets):
    assert code(targets) == "combination"


def test_supply_air_that_would_freeze_the_crop():
    cold = seen(outside_temperature=-20.0)
    assert code(replace(COOL, door=0.1), cold) == ""
    assert code(replace(COOL, door=0.3), cold) == "freeze"  # 5.6 - 0.3 x 25.6 = -2.1 °C
    assert code(replace(COOL, air=0.3)) == "freeze"


def test_a_spray_that_would_cool_below_the_floor():
    dry = seen(outside_temperature=-4.0, outside_relative_humidity=0.3)
    assert code(replace(COOL, door=0.45), dry) == ""
    assert code(replace(COOL, door=0.45, water=1.0), dry) == "freeze"


def test_a_plenum_that_reads_frost_keeps_the_door_shut():
    frost = seen(plenum_temperature=0.2)
    assert code(COOL, frost) == "freeze"
    assert code(Targets(fan=0.5, door=0.0, why="protect"), frost) == ""


def test_outside_air_that_is_not_known_keeps_the_door_shut():
    assert code(COOL, seen(outside_temperature=math.nan)) == "missing"
    assert code(COOL, seen(outside_relative_humidity=math.nan)) == "missing"
    shut = Targets(fan=0.5, door=0.0, why="even")
    assert code(shut, seen(outside_temperature=math.nan)) == ""


def test_air_that_would_wet_the_crop():
    humid = seen(outside_temperature=9.0, outside_relative_humidity=0.98)
    assert code(COOL, humid) == "wetting"
    moist = seen(return_relative_humidity=1.0)
    assert code(Targets(fan=0.5, door=0.0, why="even"), moist) == "wetting"


def test_frost_protection_goes_before_wetting():
    frost = seen(return_relative_humidity=1.0, plenum_temperature=0.1)
    assert code(Targets(fan=0.5, door=0.0, why="protect"), frost) == ""


def test_shortest_run_and_rest():
    on = watch(watch(History(), 0.0, NAN, 0.0), 0.8, NAN, 500.0)
    assert code(REST, history=on, now=600.0) == "min_time"
    assert code(REST, history=on, now=500.0 + LIMITS.minimum_on_s) == ""
    off = watch(watch(History(), 0.8, NAN, 0.0), 0.0, NAN, 500.0)
    assert code(COOL, history=off, now=600.0) == "min_time"
    assert code(COOL, history=off, now=500.0 + LIMITS.minimum_off_s) == ""


def test_the_first_sight_of_a_fan_holds_nothing_up():
    assert code(REST, history=watch(History(), 0.8, NAN, 900.0)) == ""


def test_a_measured_fan_goes_before_what_was_advised():
    history = watch(remember(watch(History(), 0.0, NAN, 0.0), COOL, 900.0), 0.0, NAN, 950.0)
    assert history.fan.on is False
    assert code(REST, history=history) == ""


def test_a_door_that_would_move_too_fast_waits():
    history = remember(History(), COOL, 1000.0)
    wide = replace(COOL, door=0.9, air=1.5)
    assert code(wide, history=history, now=1030.0) == "slew"
    assert code(wide, history=history, now=1080.0) == ""


def test_too_many_changes_in_an_hour():
    history, now = History(), 0.0
    for n in range(LIMITS.changes_per_hour + 1):
        now += 60.0
        history = remember(history, replace(COOL, door=0.3 if n % 2 else 0.4), now)
    assert code(replace(COOL, door=0.2), history=history, now=now + 60) == "changes"
    assert code(history.sent, history=history, now=now + 60) == ""  # the same again is no change
    assert code(replace(COOL, door=0.2), history=history, now=now + 3600) == ""


shares = st.floats(0.0, 1.0)
samples = st.builds(
    seen,
    pulp_temperature=st.floats(0.0, 20.0),
    plenum_temperature=st.floats(-5.0, 20.0),
    return_temperature=st.floats(0.0, 22.0),
    return_relative_humidity=st.floats(0.3, 1.0),
    outside_temperature=st.floats(-40.0, 40.0),
    outside_relative_humidity=st.floats(0.1, 1.0),
    pressure=st.floats(70e3, 104e3),
)


@given(shares, shares, shares, samples)
def test_nothing_passes_that_freezes_or_wets(fan, door, water, sample):
    """Judged by PsychroLib, which shares no code with the gate; 0.15 K between the formulas."""
    targets = Targets(fan=fan, door=door, water=water)
    assume(check(targets, sample, History(), LIMITS, 0.0) is None)
    if fan == 0.0:
        return
    read = sample.values
    back, fresh = read["return_temperature"], read["outside_temperature"]
    inside = psychrolib.GetHumRatioFromRelHum(
        back, read["return_relative_humidity"], read["pressure"]
    )
    outside = psychrolib.GetHumRatioFromRelHum(
        fresh, read["outside_relative_humidity"], read["pressure"]
    )
    mixed = back + door * (fresh - back)
    ratio = inside + door * (outside - inside)
    if door > LIMITS.door_shut:
        assert mixed >= LIMITS.plenum_floor_c
    protects = read["plenum_temperature"] < LIMITS.plenum_floor_c and door <= LIMITS.door_shut
    if not protects:
        vapour = psychrolib.GetVapPresFromHumRatio(ratio, read["pressure"])
        saturated = psychrolib.GetSatVapPres(read["pulp_temperature"] + 0.15)
        assert vapour <= saturated


def test_dew_point_agrees_with_ashrae_formulas():
    """PsychroLib (Hyland-Wexler, ASHRAE Fundamentals 2017, ch. 1): 0.1 K over -30..30 °C."""
    for temperature in range(-30, 31, 2):
        for humidity in (0.2, 0.5, 0.9, 1.0):
            ratio = moist_air.humidity_ratio(temperature, humidity, 101325.0)
            truth = psychrolib.GetTDewPointFromRelHum(float(temperature), humidity)
            assert moist_air.dew_point(ratio, 101325.0) == pytest.approx(truth, abs=0.1)


def test_wet_bulb_agrees_with_ashrae_formulas():
    """PsychroLib, as above; above freezing within 0.1 K."""
    for temperature in (5.0, 12.0, 25.0):
        for humidity in (0.3, 0.6, 0.95):
            ratio = moist_air.humidity_ratio(temperature, humidity, 101325.0)
            truth = psychrolib.GetTWetBulbFromRelHum(temperature, humidity, 101325.0)
            if truth > 1.0:
                found = moist_air.wet_bulb(temperature, ratio, 101325.0)
                assert found == pytest.approx(truth, abs=0.1)


@pytest.mark.parametrize(
    ("targets", "fan", "verdict"),
    [
        (COOL, NAN, "combination"),  # nobody knows whether the fans run
        (COOL, 0.0, "combination"),
        (COOL, 0.8, ""),
        (replace(COOL, water=0.2), 0.8, "combination"),
        (Targets(fan=0.8, door=0.0, heat=0.5), 0.8, "combination"),
        (Targets(fan=0.8, door=0.0, cool=0.5, air=3.0), 0.8, "combination"),
        (REST, 0.0, ""),
    ],
)
def test_while_people_are_inside_nothing_starts(targets, fan, verdict):
    """Independent of the adviser: only fans that are known to run may go on."""
    history = watch(History(), fan, NAN, 0.0)
    refusal = check(targets, SEEN, history, LIMITS, 5000.0, True)
    assert ("" if refusal is None else refusal.code) == verdict


def test_people_outrank_a_wet_crop():
    wet = seen(outside_temperature=9.0, outside_relative_humidity=1.0)
    history = watch(History(), 0.8, NAN, 0.0)
    opens = Targets(fan=0.8, door=1.0, air=7.0, why="people")
    assert check(opens, wet, history, LIMITS, 5000.0).code == "wetting"
    assert check(opens, wet, history, LIMITS, 5000.0, True) is None
