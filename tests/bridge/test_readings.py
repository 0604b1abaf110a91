"""Readings judged: identity, order, age, belief."""

from __future__ import annotations

import math
import random

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from firmware_bridge.bay.advisor import readings_of
from firmware_bridge.sensors.sample import disowned, mean_of, pulps_of
from firmware_bridge.sensors.source import Source, history_of
from firmware_bridge.wire.messages import Birth, Channel, ReadingMessage, State

CHANNELS = tuple(
    Channel(key=key, kind=kind, unit=unit, scale=0.01)
    for key, kind, unit in (
        ("pulp_1", "pulp_temperature", "Cel"),
        ("pulp_2", "pulp_temperature", "Cel"),
        ("plenum", "plenum_temperature", "Cel"),
        ("above", "return_temperature", "Cel"),
        ("above_rh", "return_relative_humidity", "%"),
        ("out", "outside_temperature", "Cel"),
        ("fan", "fan_speed", "%"),
    )
)
VALUES = {
    "pulp_1": 5.0, "pulp_2": 5.4, "plenum": 4.2, "above": 5.6, "above_rh": 95.0, "out": 1.0,
    "fan": 80.0,
}  # fmt: skip


def connected(boot=7, channels=CHANNELS, **settings):
    source = Source(**settings)
    assert source.take_birth(Birth(boot=boot, channels=channels), 0.0)
    return source


def reading(seq, boot=7, up=None, **changes):
    return ReadingMessage(boot=boot, seq=seq, up=up, v={**VALUES, **changes})


def test_a_sound_reading_has_no_fault_and_internal_units():
    sample = connected().take(reading(1), 10.0)
    assert sample.fault == ""
    assert sample.values["above_rh"] == pytest.approx(0.95)
    assert pulps_of(sample) == [5.0, 5.4]
    assert math.isnan(mean_of(sample, "co2"))
    assert sample.age(70.0) == 60.0


def test_integer_form_gives_the_same_values():
    counts = [round(VALUES[channel.key] / channel.scale) for channel in CHANNELS]
    a = connected().take(reading(1), 10.0)
    b = connected().take(ReadingMessage(boot=7, seq=1, i=counts), 10.0)
    assert b.values == pytest.approx(a.values)


def test_integer_form_of_the_wrong_length_is_dropped():
    source = connected()
    assert source.take(ReadingMessage(boot=7, seq=1, i=[1, 2]), 10.0) is None
    assert source.counts["wrong length"] == 1


def test_nothing_is_taken_before_a_birth_and_the_birth_is_asked_for():
    source = Source()
    assert source.take(reading(1), 10.0) is None
    assert source.stranger


def test_readings_of_another_boot_are_dropped():
    source = connected()
    assert source.take(reading(1, boot=8), 10.0) is None
    assert source.counts["unknown boot"] == 1


def test_a_boot_left_behind_does_not_come_back():
    source = connected(boot=7)
    source.take_birth(Birth(boot=8, channels=CHANNELS), 1.0)
    assert not source.take_birth(Birth(boot=7, channels=CHANNELS), 2.0)
    assert source.take(reading(1, boot=7), 3.0) is None
    assert not source.stranger


def test_a_new_boot_forgets_the_old_readings():
    source = connected(boot=7)
    source.take(reading(1000), 10.0)
    source.take_birth(Birth(boot=8, channels=CHANNELS), 20.0)
    assert source.newest is None
    assert source.take(reading(1, boot=8), 30.0).fresh


def test_the_will_of_another_boot_says_nothing():
    source = connected()
    assert not source.take_state(State(boot=6, on=0))
    assert source.online
    assert source.take_state(State(boot=7, on=0))
    assert not source.online


@given(st.permutations(list(range(1, 12))), st.integers(0, 2**32 - 1))
def test_whatever_the_order_the_newest_reading_stands(order, start):
    """Sequence numbers wrap at 2^32; copies and late ones never replace a newer reading."""
    source = connected()
    furthest = None
    for n, place in enumerate(order):
        seq = (start + place) % 2**32
        source.take(reading(seq), float(n))
        source.take(reading(seq), float(n))  # a copy
        furthest = place if furthest is None else max(furthest, place)
        assert source.newest.seq == (start + furthest) % 2**32
    assert source.counts["taken"] + source.counts["late"] + source.counts["repeat"] == 22


def test_gaps_are_counted():
    source = connected()
    source.take(reading(1), 0.0)
    source.take(reading(5), 60.0)
    assert source.counts["gap"] == 3


def test_a_backlog_is_stored_but_not_fresh():
    """A reading that waited ten minutes in a broker tells by the controller's own uptime."""
    source = connected(max_age=180.0)
    assert source.take(reading(1, up=100.0), 1000.0).fresh
    late = source.take(reading(2, up=160.0), 1660.0)
    assert late.delay == pytest.approx(600.0, abs=1.0)
    assert not late.fresh
    assert source.take(reading(3, up=760.0), 1661.0).fresh


def test_clocks_that_drift_apart_are_not_taken_for_a_backlog():
    """200 ppm over 60 days are 17 minutes; the link's delay is judged against the drift."""
    source = connected(max_age=180.0)
    for hour in range(24 * 60):
        now = 3600.0 * hour
        sample = source.take(reading(hour + 1, up=now * (1 - 200e-6)), now)
        assert sample.fresh


# --- belief ------------------------------------------------------------------------------


def history(kind="pulp_temperature"):
    return history_of(kind)


@pytest.mark.parametrize(
    ("kind", "value"),
    [
        ("pulp_temperature", 41.0),  # 5 °C in °F
        ("pulp_temperature", 278.0),  # in kelvin
        ("return_relative_humidity", 95.0),  # a percentage as a fraction
        ("return_relative_humidity", 0.0095),  # a fraction divided again
        ("outside_temperature", -127.0),  # a sensor that lost its wire
        ("outside_temperature", 85.0),
        ("co2", 800.0),
        ("pressure", 1013.0),
    ],
)
def test_wrong_units_and_broken_sensors_are_not_believed(kind, value):
    assert history(kind).judge(value, 0.0) == "implausible"


def test_a_missing_value_is_missing():
    assert history().judge(math.nan, 0.0) == "missing"


def test_a_spike_is_not_believed_but_a_new_level_is_in_the_end():
    channel = history()
    assert channel.judge(5.0, 0.0) == ""
    assert channel.judge(9.0, 60.0) == "implausible"
    assert channel.judge(5.0, 120.0) == ""
    faults = [channel.judge(9.0, 180.0 + 60.0 * n) for n in range(6)]
    assert faults == ["implausible"] * 5 + [""]
    assert channel.judge(2.0, 540.0) == "implausible"
    assert [channel.judge(2.0, 541.0 + n) for n in range(9)] == ["implausible"] * 9, "too soon"


def fahrenheit(value):
    return 1.8 * value + 32.0


def celsius(value):
    return (value - 32.0) / 1.8


@pytest.mark.parametrize("change", [fahrenheit, celsius])
@pytest.mark.parametrize(
    ("kind", "value"),
    [
        ("outside_temperature", -25.0),
        ("outside_temperature", 0.0),
        ("outside_temperature", 9.0),
        ("outside_temperature", 28.0),
        ("plenum_temperature", 4.0),
        ("return_temperature", 8.0),
        ("pulp_temperature", 12.0),
    ],
)
def test_a_sensor_that_changes_its_unit_is_not_believed_until_it_changes_back(kind, value, change):
    channel, noise = history(kind), random.Random(5)

    def shown(minute):
        return value + 0.02 * minute + noise.gauss(0.0, 0.05)

    assert {channel.judge(shown(n), 60.0 * n) for n in range(5)} == {""}
    wrong = {channel.judge(change(shown(n)), 60.0 * n) for n in range(5, 200)}
    assert wrong == {"units"}, "however long it lasts"
    assert channel.judge(change(shown(200)) + 20.0, 12000.0) == "units", "a spike mends nothing"
    back = [channel.judge(shown(n), 60.0 * n) for n in range(201, 210)]
    assert back[0] == "units"
    assert set(back[2:]) == {""}, "three in a row that fit"


def test_what_a_unit_cannot_explain_is_a_jump_and_no_unit():
    channel = history("outside_temperature")
    channel.judge(5.0, 0.0)
    assert channel.judge(20.0, 60.0) == "implausible"
    near = history("outside_temperature")
    near.judge(-40.0, 0.0)
    assert near.judge(fahrenheit(-40.5), 60.0) == "", "where the scales meet nothing can be told"


@given(st.floats(-49.0, 49.0), st.lists(st.floats(-1.9, 1.9), max_size=60))
def test_weather_is_never_taken_for_another_unit(start, steps):
    channel, value = history("outside_temperature"), start
    for n, step in enumerate(steps):
        value = min(max(value + step, -50.0), 50.0)
        assert channel.judge(value, 60.0 * n) == ""


def test_sensors_are_known_after_a_start_of_the_controller_unless_declared_anew():
    source, wrong = connected(), fahrenheit(VALUES["out"])
    source.take(reading(1), 0.0)
    source.take_birth(Birth(boot=8, channels=CHANNELS), 10.0)
    assert source.take(reading(1, boot=8, out=wrong), 60.0).faults == {"out": "units"}
    channels = tuple(
        msgspec.structs.replace(one, unit="[degF]") if one.key == "out" else one for one in CHANNELS
    )
    source.take_birth(Birth(boot=9, channels=channels), 70.0)
    assert source.take(reading(1, boot=9, out=wrong), 80.0).faults == {}


OPEN = {"fan": 90.0, "door": 80.0, "cool": 0.0, "water": 0.0, "heat": 0.0, "above": 8.0}
MORE = tuple(
    Channel(key=key, kind=kind, unit="%")
    for key, kind in (
        ("door", "door_opening"),
        ("cool", "refrigeration"),
        ("water", "humidifier"),
        ("heat", "heater"),
    )
)


@pytest.mark.parametrize(
    ("changes", "verdict"),
    [
        ({"out": 38.0, "plenum": 5.0}, True),  # 3 °C in °F
        ({"out": -16.0, "plenum": 6.5}, True),  # 3 °C taken for °F
        ({"out": -16.0, "plenum": 3.0}, False),
        ({"out": 28.0, "plenum": 13.0}, False),
        ({"out": 3.0, "plenum": 5.0}, None),  # too close to tell
        ({"out": 38.0, "plenum": 5.0, "door": 30.0}, None),
        ({"out": 38.0, "plenum": 5.0, "fan": 20.0}, None),
        ({"out": 28.0, "plenum": 7.0, "water": 50.0}, False),  # the spray cools as well
        ({"out": 28.0, "plenum": 4.0, "cool": 50.0}, False),
        ({"out": -16.0, "plenum": 9.0, "heat": 50.0}, False),
        ({"out": 28.0, "plenum": 4.0, "cool": None}, False),  # nobody says that the coil is off
        ({"out": None, "plenum": 5.0}, None),
    ],
)
def test_the_plenum_knows_outside_air_when_the_door_is_open(changes, verdict):
    sample = connected(channels=CHANNELS + MORE).take(reading(1, **{**OPEN, **changes}), 0.0)
    assert disowned(sample) is verdict


def test_outside_air_that_the_plenum_disowns_is_not_believed_any_more():
    source = connected(channels=CHANNELS + MORE)

    def faults(minute, **changes):
        sample = source.take(reading(minute, **{**OPEN, **changes}), 60.0 * minute)
        return sample.faults, sample.fault

    wrong = {"out": 38.0, "plenum": 5.0}
    assert [faults(n, **wrong)[0] for n in range(1, 6)] == [{}] * 5, "a door takes its time"
    assert faults(6, **wrong) == ({"out": "contradictory"}, ""), "the adviser does without"
    shut = {"out": 38.0, "plenum": 5.0, "door": 0.0}
    assert faults(7, **shut)[0] == {"out": "contradictory"}, "a shut door mends nothing"
    assert faults(10, out=38.0, plenum=14.0)[0] == {}, "the plenum agrees"
    for n in range(11, 17):
        faults(n, **wrong)
    assert source.outside_doubted
    source.take_birth(Birth(boot=8, channels=CHANNELS + MORE), 1000.0)
    assert not source.outside_doubted, "it may have been mended"


def test_a_sensor_that_stands_still_is_found_in_the_stated_time():
    channel, limit = history("outside_temperature"), 6 * 3600.0
    found = None
    for minute in range(10 * 60):
        if channel.judge(3.2, 60.0 * minute) == "stuck":
            found = 60.0 * minute
            break
    assert found == pytest.approx(limit, abs=60.0)
    assert channel.judge(3.3, found + 60.0) == ""


def stuck_at(kind, fan, *, step=0.1, hours=80):
    """Hours after which a probe that stands still is found; it has moved by ``step`` before."""
    channel = history(kind)
    for minute in range(hours * 60):
        value = 5.0 if minute > 1 else 5.0 + step * minute
        if channel.judge(value, 60.0 * minute, fan(minute / 60.0)) == "stuck":
            return minute / 60.0
    return math.inf


@pytest.mark.parametrize(
    ("kind", "fan", "step", "hours"),
    [
        ("plenum_temperature", lambda h: True, 0.1, 2.0),
        ("plenum_temperature", lambda h: True, 0.01, 2.0),
        ("plenum_temperature", lambda h: True, 1 / 1.8, 11.0),  # whole °F may stand for longer
        ("plenum_temperature", lambda h: h > 10.0, 0.1, 11.2),
        ("plenum_temperature", lambda h: False, 0.1, 24.0),
        ("plenum_temperature", lambda h: None, 0.1, 24.0),
        ("return_temperature", lambda h: True, 0.1, 10.0),
        ("pulp_temperature", lambda h: h % 24 < 12, 0.1, 27.0),
    ],
)
def test_in_moving_air_a_probe_that_stands_still_is_found_by_the_physics(kind, fan, step, hours):
    assert stuck_at(kind, fan, step=step) == pytest.approx(hours, abs=1.0)


def test_a_pile_that_is_held_stands_still_as_a_whole_but_not_for_ever():
    source = connected(channels=FIVE + CHANNELS[2:])
    still = {f"pulp_{n}": 5.0 for n in range(1, 6)}
    first = None
    for n in range(70 * 12):
        moves = {key: VALUES[key] + 0.1 * (n % 2) for key in ("plenum", "above", "above_rh", "out")}
        sample = source.take(reading(n + 1, **moves, **still), 300.0 * n)
        if "stuck" in sample.faults.values():
            first = n / 12
            break
    assert first == pytest.approx(60.0, abs=0.5), "three times longer than one alone"
    assert set(sample.faults) == set(still)


def test_a_sensor_with_noise_is_never_stuck():
    channel, noise = history("outside_temperature"), random.Random(3)
    for minute in range(48 * 60):
        assert channel.judge(3.0 + noise.gauss(0, 0.1), 60.0 * minute) == ""


@given(st.floats(-4.9, 29.9), st.lists(st.floats(-0.09, 0.09), max_size=30))
def test_slow_change_is_always_believed(start, steps):
    channel, value = history(), start
    for n, step in enumerate(steps):
        value = min(max(value + step, -4.9), 29.9)
        assert channel.judge(value, 60.0 * n) == ""


# --- what is needed ----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("changes", "fault"),
    [
        ({"pulp_2": None}, ""),  # the other one is half of them
        ({"pulp_1": None, "pulp_2": None}, "missing"),
        ({"pulp_1": 99.0, "pulp_2": None}, "implausible"),
        ({"plenum": 60.0}, "implausible"),
        ({"out": None}, ""),  # the adviser does without outside air
        ({"out": 99.0}, ""),
        ({"above": 17.0}, "contradictory"),
        ({"plenum": -8.0}, "contradictory"),
        ({"pulp_1": 25.0, "above": 15.0}, "contradictory"),
    ],
)
def test_what_is_needed_must_be_sound(changes, fault):
    assert connected().take(reading(1, **changes), 0.0).fault == fault


def test_a_probe_taken_out_in_the_configuration_does_not_count():
    sample = connected(ignore=frozenset({"pulp_2"})).take(reading(1, pulp_2=None), 0.0)
    assert sample.fault == ""
    assert pulps_of(sample) == [5.0]


FIVE = tuple(
    Channel(key=f"pulp_{n}", kind="pulp_temperature", unit="Cel", at=height)
    for n, height in enumerate((4.0, 3.0, 2.0, 1.0, 0.2), 1)
)  # the first is the uppermost


@pytest.mark.parametrize(
    ("pulps", "faults", "fault"),
    [
        ((5.4, 5.3, 5.2, 5.1, 5.0), {}, ""),
        ((5.4, 5.3, -9.0, 5.1, 5.0), {"pulp_3": "odd"}, ""),
        ((5.4, 5.3, 21.0, 5.1, None), {"pulp_3": "odd", "pulp_5": "missing"}, ""),
        ((5.4, None, 99.0, 5.1, 5.0), {"pulp_2": "missing", "pulp_3": "implausible"}, ""),
        ((5.4, None, None, None, 5.0), None, "missing"),
        ((5.4, 5.3, None, 15.0, 15.1), None, "missing"),
        ((2.0, 2.1, 9.0, 16.0, 16.1), None, "contradictory"),
    ],
)
def test_one_failed_probe_does_not_end_all_advice(pulps, faults, fault):
    """Half of them must be sound and agree; one far off leaves the means and is named."""
    source = connected(channels=FIVE + CHANNELS[2:])
    given_values = {f"pulp_{n}": value for n, value in enumerate(pulps, 1)}
    sample = source.take(reading(1, **given_values), 0.0)
    assert sample.fault == fault
    if faults is not None:
        assert sample.faults == faults
        seen = readings_of(sample, 0.0)
        assert seen.pulp_probes == (5, 2, 2)[len(faults)], "margins widen"
        assert (seen.pulp_bottom, seen.pulp_top) == (pulps_of(sample)[0], pulps_of(sample)[-1])
        odd = [int(key[-1]) for key, what in faults.items() if what == "odd"]
        assert seen.pulp_odd_place == (6 - odd[0] if odd else 0), "counted from the bottom"


SPARE = (
    *CHANNELS,
    *(
        Channel(key=f"{air}_2", kind=f"{kind}_temperature", unit="Cel")
        for air, kind in (("out", "outside"), ("above", "return"), ("plenum", "plenum"))
    ),
)


@pytest.mark.parametrize(
    ("changes", "out", "fault"),
    [
        ({"out_2": 6.0}, {"out", "out_2"}, ""),  # the adviser does without outside air
        ({"above_2": 25.0}, {"above_2"}, ""),  # the pile disowns it
        ({"plenum_2": 25.0}, {"plenum_2"}, ""),  # the airs that it is mixed of do
        ({"plenum_2": 25.0, "fan": 0.0}, set(), "contradictory"),  # at rest nobody can tell
        ({"above_2": 10.0}, set(), "contradictory"),  # both may be
    ],
)
def test_of_two_sensors_of_one_air_the_one_that_cannot_be_is_out(changes, out, fault):
    spare = {"out_2": 1.2, "above_2": 5.7, "plenum_2": 4.1, **changes}
    sample = connected(channels=SPARE).take(reading(1, **spare), 0.0)
    assert sample.faults == dict.fromkeys(out, "contradictory")
    assert sample.fault == fault


def test_co2_at_the_top_of_its_range_is_at_least_that_and_never_stuck():
    gas = (*CHANNELS, Channel(key="co2", kind="co2", unit="[ppm]"))
    source = connected(channels=gas, co2_top=10_000e-6)
    for n in range(30 * 60):
        fine = 0.01 * (n % 3)
        moves = {key: value + fine for key, value in VALUES.items()}
        sample = source.take(reading(n + 1, **moves, co2=10_000), 60.0 * n)
    assert sample.faults == {}
    assert readings_of(sample, 0.0, None, source.co2_top).co2_at_least
    assert not readings_of(sample, 0.0).co2_at_least


def test_what_the_controller_doubts_is_not_believed():
    source = connected()
    sample = source.take(ReadingMessage(boot=7, seq=1, v=VALUES, bad=("pulp_1",)), 0.0)
    assert sample.faults == {"pulp_1": "implausible"}
    assert pulps_of(sample) == [5.4]
    sample = source.take(ReadingMessage(boot=7, seq=2, v=VALUES, bad=("plenum",)), 60.0)
    assert sample.fault == "implausible"


def test_a_unit_that_does_not_fit_is_found():
    wrong = (Channel(key="pulp_1", kind="pulp_temperature", unit="bar"), *CHANNELS[1:])
    source = connected(channels=wrong)
    assert source.units_wrong == ("pulp_1",)
    assert source.take(reading(1), 0.0).faults == {"pulp_1": "units"}


def test_a_kind_that_is_needed_and_not_declared_is_missing():
    source = connected(channels=CHANNELS[:4])
    assert source.take(reading(1), 0.0).fault == "missing"
