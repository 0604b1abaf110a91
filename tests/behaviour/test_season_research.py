"""Seasons for research: stopped and resumed, misread, misbelieved, run by rules of one's own."""

from __future__ import annotations

from dataclasses import fields, replace
from functools import cache

import numba
import numpy as np
import pytest
from small_runs import hurried

import ventcalc as vc
from ventcalc.bay.file import example_bay
from ventcalc.errors import BadInput, OutOfRange
from ventcalc.pile.bed import BedState
from ventcalc.season.kpi import Kpi, key_figures
from ventcalc.season.steps import SensorErrors
from ventcalc.weather import example_weather

HOUR, DAY = 3600.0, 86400.0
PLAN = {
    "healing_temperature": 11.0, "ramp": 1.5 / DAY, "holding_temperature": 8.0,
    "warm_up_temperature": 8.5,
}  # fmt: skip
BAY, FRY = (
    hurried(
        replace(bay, lots=tuple(replace(lot, loading_temperature=11.0) for lot in bay.lots)), **PLAN
    )
    for bay in (example_bay("seed_bay"), example_bay("fry_bay"))
)
ways = pytest.mark.parametrize("compiled", [False, True], ids=["plain", "compiled"])


@cache
def weather():
    return example_weather()


def run(policy="advice", *, bay=BAY, compiled=False, **how):
    return vc.run_season(bay, weather(), policy, layers=6, compiled=compiled, **how)


@cache
def whole(policy, compiled, bay=BAY):
    return run(policy, bay=bay, compiled=compiled)


def assert_same(one, other, tolerance=1e-9):
    assert set(one) == set(other)
    for name, trace in one.items():
        np.testing.assert_allclose(other[name], trace, rtol=0, atol=tolerance, err_msg=name)


def differ(one, other):
    """Names of the traces that are not the same to the last bit."""
    return {name for name in one if not np.array_equal(one[name], other[name], equal_nan=True)}


def joined(parts):
    names = parts[0].traces
    return {name: np.concatenate([part.traces[name] for part in parts]) for name in names}


# --- stopped and resumed ----------------------------------------------------------------------


@ways
@pytest.mark.parametrize("policy", ["advice", "clock"])
def test_a_season_in_parts_is_the_whole_season(policy, compiled):
    """Cut while filling, in a run, and in its last hours; a part may be a single hour."""
    full = whole(policy, compiled)
    cuts = [*full.time[[20, 21, 300, 470]], None]
    parts, start = [], None
    for cut in cuts:
        parts.append(run(policy, compiled=compiled, start=start, until=cut))
        start = parts[-1].state
    assert [len(part.time) for part in parts] == [20, 1, 279, 170, len(full.time) - 470]
    assert np.array_equal(np.concatenate([part.time for part in parts]), full.time)
    assert_same(full.traces, joined(parts))
    records = np.concatenate([part.records for part in parts])
    pulp = np.concatenate([part.pulp for part in parts])
    kpi = key_figures(full.installed, records, pulp, HOUR)
    for field in fields(Kpi):
        one, other = getattr(full.kpi, field.name), getattr(kpi, field.name)
        assert other == pytest.approx(one, rel=1e-9, abs=1e-9, nan_ok=True), field.name


def test_a_season_goes_on_in_the_other_way_and_under_another_policy():
    cut = whole("advice", False).time[200]
    first = run(until=cut)
    for compiled in (False, True):
        rest = run(start=first.state, compiled=compiled)
        assert_same(whole("advice", False).traces, joined([first, rest]))
    left_alone = run("nothing", start=first.state)
    assert (left_alone.traces["fan_speed"] == 0.0).all()
    assert left_alone.pulp[0] == pytest.approx(first.pulp[-1], abs=0.2)
    assert first.state.time == left_alone.time[0].astype("datetime64[s]").astype(int)


@ways
def test_a_policy_of_ones_own_finds_its_memory_again(compiled):
    def counts(bay, readings, memory):
        return vc.Positions(fan_speed=0.6), (memory or 0) + 1

    first = run(counts, until=whole("advice", False).time[30], compiled=compiled)
    assert first.state.memory == 30
    assert run(counts, start=first.state, compiled=compiled).state.memory == len(
        whole("advice", False).time
    )


def test_a_state_is_not_changed_by_what_starts_from_it():
    first = run(until=whole("advice", False).time[100])
    before = {f.name: np.copy(getattr(first.state.bed, f.name)) for f in fields(BedState)}
    once, again = run(start=first.state), run(start=first.state)
    assert not differ(once.traces, again.traces)
    for name, was in before.items():
        assert np.array_equal(was, getattr(first.state.bed, name)), name


def test_no_step_between_start_and_end():
    first = run(until=whole("advice", False).time[100])
    for until in (whole("advice", False).time[0], np.datetime64("2018-01-01")):
        with pytest.raises(BadInput, match="no step between its start and its end") as caught:
            run(start=first.state, until=until)
        assert len(caught.value.problems) == 1
    with pytest.raises(BadInput, match="no step"):
        run(start=run(start=first.state).state)


# --- misread ----------------------------------------------------------------------------------


@ways
def test_probes_without_errors_change_nothing(compiled):
    for none in (SensorErrors(), SensorErrors(pulp=0, co2=0)):
        found = run(compiled=compiled, sensor_errors=none)
        assert not differ(whole("advice", compiled).traces, found.traces)


@pytest.mark.parametrize("name", SensorErrors._fields)
def test_every_probe_is_heard(name):
    """What a probe reads wrongly is told to the policy, and nobody else."""
    heard = {
        "outside_temperature": ["outside_temperature"],
        "outside_relative_humidity": ["outside_relative_humidity"],
        "return_temperature": ["return_temperature"],
        "return_relative_humidity": ["return_relative_humidity"],
        "plenum_temperature": ["plenum_temperature"],
        "pulp": ["pulp_bottom", "pulp_top", "pulp_mean", "pulp_coldest"],
        "co2": ["co2"],
    }[name]
    size = {"outside_relative_humidity": -0.05, "return_relative_humidity": -0.05, "co2": 1e-3}
    error, told = size.get(name, 0.7), []

    def listens(bay, readings, memory):
        told.append(readings)
        return vc.Positions(fan_speed=0.5, door_opening=0.2), None

    until = whole("advice", False).time[50]
    one = run(listens, until=until)
    other = run(listens, until=until, sensor_errors=SensorErrors(**{name: error}))
    assert not differ(one.traces, other.traces)  # the bay does not feel it
    for true, read in zip(told[:50], told[50:], strict=True):
        for field in vc.Readings._fields:
            wrong = error if field in heard else 0.0
            assert getattr(read, field) == pytest.approx(
                getattr(true, field) + wrong, abs=1e-12, nan_ok=True
            ), field


@ways
def test_the_traces_tell_what_is_true(compiled):
    """Pulp read a kelvin too warm: other decisions, and traces of the pile, not of the probe."""
    found = run(compiled=compiled, sensor_errors=SensorErrors(pulp=1.0))
    assert "fan_speed" in differ(whole("advice", compiled).traces, found.traces)
    # From the third day on no loads change the pile between a step's end and the next one's start.
    assert found.traces["pulp_mean"][73:] == pytest.approx(found.pulp.mean(axis=1)[72:-1], abs=1e-9)
    runs = found.traces["fan_speed"][73:] > 0.0
    pressure = float(np.mean(weather().pressure))
    supplied = found.records["plenum_humidity_ratio"][73:][runs]
    margin = found.pulp.min(axis=1)[72:-1][runs] - vc.air.dew_point(supplied, pressure)
    assert found.traces["wetting_margin"][73:][runs] == pytest.approx(margin, abs=0.05)


def test_humidity_and_carbon_dioxide_stay_what_can_be_read():
    told = []

    def listens(bay, readings, memory):
        told.append(readings)
        return vc.Positions(), None

    wrong = SensorErrors(
        outside_relative_humidity=1.0, return_relative_humidity=-2.0, co2=-1.0, pulp=-0.5
    )
    run(listens, until=whole("advice", False).time[5], sensor_errors=wrong)
    assert {seen.outside_relative_humidity for seen in told} == {1.0}
    assert {seen.return_relative_humidity for seen in told} == {0.0}
    assert {seen.co2 for seen in told} == {0.0}


# --- misbelieved ------------------------------------------------------------------------------


@ways
def test_a_policy_may_take_the_bay_for_another(compiled):
    itself = run(compiled=compiled, believed=BAY)
    assert not differ(whole("advice", compiled).traces, itself.traces)
    cautious = replace(BAY, sensors=replace(BAY.sensors, temperature=1.5), name="mistaken")
    other = run(compiled=compiled, believed=cautious)
    assert differ(whole("advice", compiled).traces, other.traces) >= {"fan_speed", "pulp_top"}
    assert other.bay is BAY


def test_the_bay_stays_what_it_is_whatever_is_believed():
    """A policy that looks at the bay sees the other one; under one that does not nothing moves."""
    seen = set()

    def looks(bay, readings, memory):
        seen.add((bay.name, bay.heater.capacity))
        return vc.Positions(fan_speed=0.5), None

    twin = replace(BAY, name="another", heater=None)
    until = whole("advice", False).time[50]
    assert not differ(run(looks, until=until).traces, run(looks, until=until, believed=twin).traces)
    assert seen == {(BAY.name, BAY.heater.capacity), ("another", 0.0)}


# --- measured by other limits -----------------------------------------------------------------


def test_a_season_is_measured_by_any_limits():
    strict = replace(BAY.limits, band=0.2, spread=0.4, co2=0.001)
    found = whole("advice", False)
    by, told = found.kpi_by(strict), run(limits=strict).kpi
    for field in fields(Kpi):
        assert getattr(by, field.name) == getattr(told, field.name), field.name
        own = getattr(found.kpi_by(BAY.limits), field.name)
        assert own == getattr(found.kpi, field.name), field.name
    assert by.band_kelvin_hours > found.kpi.band_kelvin_hours
    assert by.spread_hours > found.kpi.spread_hours
    assert by.co2_excess > found.kpi.co2_excess


def test_a_single_hour_is_measured_too():
    hour = run(until=whole("advice", False).time[1])
    assert len(hour.time) == 1
    assert hour.kpi_by(BAY.limits).co2_highest == hour.kpi.co2_highest > 0.0


# --- rules of one's own -----------------------------------------------------------------------


@ways
@pytest.mark.parametrize("bay", [BAY, FRY], ids=["seed", "fries"])
def test_the_advice_asked_for_by_hand_is_the_advice(bay, compiled):
    def by_hand(bay, readings, memory):
        return vc.advise(bay, readings, memory)

    found = run(by_hand, bay=bay, compiled=compiled)
    assert found.policy == "by_hand"
    assert_same(whole("advice", False, bay).traces, found.traces)
    # Only the advice asked for by hand notes since when it has cried alarm.
    kept = whole("advice", False, bay).state.memory
    told = found.state.memory._replace(alarm_times=kept.alarm_times)
    assert_same_memory(told, kept)


def assert_same_memory(one, other):
    *numbers, times = one
    *others, other_times = other
    assert numbers == pytest.approx(others, abs=1e-9, nan_ok=True)
    assert times == pytest.approx(other_times, nan_ok=True)


def mine(bay, readings, memory):
    """A thermostat with a hysteresis of its own, that uses bay, readings and memory."""
    wanted = bay.schedule.holding_temperature
    cool = readings.pulp_mean > wanted + (0.0 if memory.cooling else bay.limits.band)
    cold = readings.outside_temperature < readings.pulp_coldest - 2.0
    speed = 0.0
    if cool and cold:
        speed = max(bay.fans.minimum_speed, 0.7)
    after = vc.Memory(
        readings.time, wanted, speed > 0.0, memory.fan_since + 1.0, cool, False, False, False,
        0.0, 0.0, 0.0, 0.0, 0.0, 0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0,
        0.0, 0.0, 0.0, memory.alarm_times,
    )  # fmt: skip
    return vc.Positions(speed, 0.15, 0.9, 0.0, 0.0, 1), after


def plain_twin(bay, readings, memory):
    return mine(bay, readings, vc.Memory() if memory is None else memory)


NUMBA = numba.njit(mine)


def test_a_numba_policy_is_its_plain_twin():
    plain, asked = run(plain_twin), run(plain_twin, compiled=True)
    machine = vc.run_season(BAY, weather(), NUMBA, layers=6)  # compiled without being asked
    told_not_to = run(NUMBA)
    assert 0.0 < plain.traces["fan_speed"].mean() < 0.7
    for other in (asked, machine, told_not_to):
        assert_same(plain.traces, other.traces)
        assert_same_memory(other.state.memory, plain.state.memory)
    assert machine.policy == "mine"
    assert machine.state.memory.fan_since == 1e9 + len(machine.time)


def test_a_numba_policy_in_parts_and_in_many():
    cut = whole("advice", False).time[250]
    first = run(NUMBA, until=cut, compiled=True)
    rest = run(NUMBA, start=first.state, compiled=True)
    assert_same(run(plain_twin).traces, joined([first, rest]))
    many = vc.run_seasons([BAY, FRY], weather(), NUMBA, layers=6, workers=2)
    for place, bay in enumerate((BAY, FRY)):
        alone = run(plain_twin, bay=bay).kpi
        assert many.fan_hours[place] == alone.fan_hours
        assert many.mass_loss[place] == pytest.approx(alone.mass_loss, rel=1e-9)


# --- answers that cannot be used --------------------------------------------------------------


OFF = vc.Positions()
ODD = {
    "nan": (OFF._replace(fan_speed=float("nan")), "fan_speed of policy odd must lie in 0 to 1"),
    "above one": (OFF._replace(door_opening=1.5), "door_opening of policy odd must lie in 0 to 1"),
    "below": (OFF._replace(heater=-0.1), "heater of policy odd must lie in 0 to 1"),
    "percent": (OFF._replace(humidity_wanted=95), "humidity_wanted of policy odd must lie in"),
    "infinite": (OFF._replace(refrigeration=float("inf")), "refrigeration of policy odd must lie"),
    "a word": (OFF._replace(fan_speed="x"), "policy odd: .* it gave fan_speed = 'x'; it must be"),
    "nothing": (OFF._replace(fan_speed=None), "policy odd: .* it gave fan_speed = None; it must"),
    "no action": (OFF._replace(action=float("inf")), "policy odd: .* it gave action = inf"),
    "no such action": (OFF._replace(action=99), "it gave action = 99; .* code of Action, 0 to 14"),
    "a number as text": (OFF._replace(heater="0.5"), "policy odd: .* it gave heater = '0.5'; it"),
    "none": (None, "policy odd: .* it gave NoneType as advice; return an object with fan_speed"),
    "a number": (0.5, "policy odd: .* it gave float as advice; return an object with fan_speed"),
}


@ways
@pytest.mark.parametrize("what", ODD)
def test_an_answer_that_cannot_be_used_is_named_with_the_hour(what, compiled):
    """In the third hour; one line that says who gave what, and how to mend it."""
    answer, words = ODD[what]

    def odd(bay, readings, memory):
        count = (memory or 0) + 1
        return (answer if count == 3 else OFF), count

    with pytest.raises((BadInput, OutOfRange), match=words) as caught:
        run(odd, compiled=compiled)
    text = str(caught.value)
    assert "\n" not in text
    third = whole("advice", False).time[2].astype("datetime64[s]")
    assert f"at {third} UTC" in text


@ways
@pytest.mark.parametrize("answer", [None, OFF, [OFF, None], (OFF,), (OFF, None, None)])
def test_an_answer_that_is_no_pair_is_named_with_the_hour(answer, compiled):
    def odd(bay, readings, memory):
        return answer

    with pytest.raises(BadInput) as caught:
        run(odd, compiled=compiled)
    (line,) = caught.value.problems
    first = whole("advice", False).time[0].astype("datetime64[s]")
    kind = type(answer).__name__
    assert line == (f"policy odd: at {first} UTC it gave {kind}; it must return (advice, memory)")


def slips(bay, readings, memory):
    raise KeyError("q")


def twice_as_fast(bay, readings, memory):
    return OFF._replace(fan_speed=2.0), memory


@ways
def test_a_policy_that_fails_is_named_with_the_hour_and_the_line(compiled):
    with pytest.raises(BadInput, match=r"slips: at .* it failed, KeyError: 'q'") as caught:
        run(slips, compiled=compiled)
    assert f"(test_season_research.py, line {slips.__code__.co_firstlineno + 1})" in str(
        caught.value
    )


def test_an_answer_that_cannot_be_used_is_named_also_from_another_process():
    with pytest.raises(OutOfRange, match="fan_speed of policy twice_as_fast must lie in 0 to 1"):
        vc.run_seasons(BAY, weather(), [twice_as_fast] * 3, workers=2, compiled=False, layers=4)


@numba.njit
def too_fast(bay, readings, memory):
    speed = 1.5 if readings.pulp_mean < 10.9 else 0.5
    return vc.Positions(speed, 0.0, 0.0, 0.0, 0.0, 1), memory


@numba.njit
def short_of_fields(bay, readings, memory):
    return vc.Positions(fan_speed=0.5), memory


@numba.njit
def of_no_bay(bay, readings, memory):
    return vc.Positions(bay.limits.bond, 0.0, 0.0, 0.0, 0.0, 1), memory


def test_a_numba_policy_that_cannot_be_used_is_named():
    for compiled in (False, True):
        with pytest.raises(OutOfRange, match="fan_speed of policy too_fast must lie in 0 to 1"):
            run(too_fast, compiled=compiled)
    for policy in (short_of_fields, of_no_bay):
        with pytest.raises(BadInput, match=f"policy {policy.__name__}: numba cannot") as caught:
            run(policy, compiled=True)
        (line,) = caught.value.problems
        assert "\n" not in line
        assert "every field" in line


def test_what_is_no_policy():
    for policy in (None, 3, OFF):
        with pytest.raises(BadInput, match="write a name, or give a function") as caught:
            run(policy)
        assert len(caught.value.problems) == 1
    with pytest.raises(BadInput, match="advice, thermostat, clock, nothing, shadow_price"):
        run("advise")


@pytest.mark.parametrize("layers", [0, 3.5, None])
def test_layers_are_a_whole_number(layers):
    with pytest.raises(BadInput, match="whole number of layers"):
        vc.run_season(BAY, weather(), "clock", layers=layers)
