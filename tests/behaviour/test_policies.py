"""The plain policies that the advice is compared with."""

from __future__ import annotations

import re
from datetime import datetime
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ventcalc.advice.advise import advise
from ventcalc.advice.policies import COLD_PRICE, POLICIES, policy_named, positions_of
from ventcalc.advice.readings import START, Readings
from ventcalc.advice.setpoints import dry_air_flow, fan_power
from ventcalc.air.plain import AIR_HEAT, standard_pressure
from ventcalc.bay.file import example_bay
from ventcalc.bay.hourly import hourly
from ventcalc.errors import BadInput

BAY = example_bay("seed_bay")
ZONE = ZoneInfo(BAY.site.time_zone)
HOLDING = BAY.schedule.holding_temperature
HOUR = 3600.0
PLAIN = ("thermostat", "clock", "nothing")
USED = ("fan_speed", "door_opening", "humidity_wanted", "refrigeration", "heater")


def local(*when):
    return datetime(*when, tzinfo=ZONE).timestamp()


def held(mean=HOLDING, **others):
    given = {
        "time": local(2026, 12, 15, 12),
        "outside_temperature": -3.0,
        "outside_relative_humidity": 0.7,
        "return_temperature": mean + 0.3,
        "return_relative_humidity": 0.95,
        "pulp_bottom": mean - 0.2,
        "pulp_top": mean + 0.2,
        "pulp_mean": mean,
        "pulp_coldest": mean - 0.2,
    }
    return Readings(**{**given, **others})


def asked(name, seen, memory=START):
    """What a policy gives, and its memory."""
    return POLICIES[name](hourly(BAY, seen.time), seen, memory)


def steady(name, seen):
    """Positions of the second call, with the memory of the first a quarter-hour before."""
    _, memory = asked(name, seen._replace(time=seen.time - 900.0))
    return asked(name, seen, memory)


# --- the list -----------------------------------------------------------------------------------


def test_every_policy_is_found_by_its_name():
    for name in ("advice", *PLAIN):
        assert policy_named(name) is POLICIES[name]


@pytest.mark.parametrize("co2", [0.0015, 0.0050])
def test_the_policy_called_advice_is_the_advice(co2):
    """Hour after hour, each with its own memory."""
    own = given = START
    for hour in range(12):
        seen = held(HOLDING + 0.6 - 0.1 * hour, time=local(2026, 12, 15, hour), co2=co2)
        found, own = asked("advice", seen, own)
        wanted, given = advise(BAY, seen, given)
        assert found == positions_of(wanted)
        assert own == given


@pytest.mark.parametrize("name", ["", "advise", "Clock", "thermostat "])
def test_an_unknown_name_is_told_with_what_there_is(name):
    with pytest.raises(BadInput) as caught:
        policy_named(name)
    (line,) = caught.value.problems
    assert repr(name) in line
    assert all(known in line for known in POLICIES)


# --- thermostat ---------------------------------------------------------------------------------


def test_thermostat_runs_while_warm_inside_and_cold_outside():
    for excess, outside, runs in (
        (0.5, -3.0, True),
        (0.1, -3.0, False),
        (-0.5, -3.0, False),
        (0.5, HOLDING + 0.5 - 1.4, False),
        (0.5, HOLDING + 0.5 - 1.6, True),
        (0.5, 20.0, False),
    ):
        seen = held(HOLDING + excess, outside_temperature=outside)
        found, _ = steady("thermostat", seen)
        assert found.fan_speed == (1.0 if runs else 0.0), (excess, outside)
        assert (found.door_opening > 0.0) == runs
        if not runs:
            assert found.humidity_wanted == 0.0


def test_thermostat_has_hysteresis():
    """Off at 0.2 K above target until it was above 0.3 K; then on until the target is met."""
    memory, runs = START, []
    for k, excess in enumerate((0.2, 0.4, 0.2, 0.05, -0.05, 0.2)):
        seen = held(HOLDING + excess, time=local(2026, 12, 15, 12) + 900.0 * k)
        found, memory = asked("thermostat", seen, memory)
        runs.append(found.fan_speed > 0.0)
    assert runs == [False, True, True, True, False, False]


def test_door_mixes_to_the_set_point_by_dry_bulb():
    """Return 4.3 °C, outside -3 °C: the mixture of the door's share has the set point."""
    seen = held(HOLDING + 0.7)
    found, memory = steady("thermostat", seen)
    doors, limits = BAY.doors, BAY.limits
    share = doors.leakage_fraction + found.door_opening * (
        doors.largest_fraction - doors.leakage_fraction
    )
    mixed = seen.return_temperature + share * (seen.outside_temperature - seen.return_temperature)
    lowest = limits.plenum_floor + BAY.control.confidence * BAY.sensors.temperature
    setpoint = max(
        memory.target - BAY.control.supply_below,
        seen.pulp_coldest - limits.supply_difference,
        lowest,
    )
    assert mixed == pytest.approx(setpoint, abs=1e-9)


# --- clock --------------------------------------------------------------------------------------


@pytest.mark.parametrize("day", [(2026, 10, 20), (2026, 11, 1), (2027, 1, 14), (2027, 3, 14)])
def test_clock_runs_from_22_to_6_local_time(day):
    """Also on the days on which the clock changes."""
    start = local(*day)
    for quarter in range(4 * 24):
        time = start + 900.0 * quarter
        found, _ = asked("clock", held(time=time))
        hour = datetime.fromtimestamp(time, ZONE).hour
        assert found.fan_speed == (1.0 if hour in (22, 23, 0, 1, 2, 3, 4, 5) else 0.0)


def test_clock_opens_only_to_colder_air():
    night = local(2026, 12, 15, 23)
    cold, _ = asked("clock", held(time=night))
    warm, _ = asked("clock", held(time=night, outside_temperature=12.0))
    assert cold.door_opening > 0.0
    assert warm.door_opening == 0.0
    assert warm.fan_speed == 1.0


# --- all of them --------------------------------------------------------------------------------


def test_shadow_price_runs_as_fast_as_cold_pays():
    """Cold goes with the speed, power with its cube; no other speed near it is worth more."""
    bay = hourly(BAY, local(2026, 12, 15))
    seen = held(HOLDING + 3.0, outside_temperature=HOLDING + 1.4, outside_relative_humidity=0.5)
    given, _ = asked("shadow_price", seen)
    speed = given.fan_speed
    assert bay.fans.minimum_speed < speed < 1.0

    def worth(speed):
        colder_by = seen.pulp_mean - seen.outside_temperature
        flow = dry_air_flow(bay, speed, standard_pressure(bay.site.altitude))
        return COLD_PRICE * flow * AIR_HEAT * colder_by - fan_power(bay, speed)

    assert worth(speed) > max(worth(0.98 * speed), worth(1.02 * speed))


def test_shadow_price_buys_no_cold_below_target_and_none_that_wets():
    warm = held(HOLDING + 3.0, outside_temperature=HOLDING + 1.4, outside_relative_humidity=0.5)
    assert asked("shadow_price", warm)[0].fan_speed > 0.0
    assert asked("shadow_price", warm._replace(pulp_mean=HOLDING - 0.1))[0].fan_speed == 0.0
    assert (
        asked("shadow_price", warm._replace(outside_temperature=HOLDING + 9.0))[0].fan_speed == 0.0
    )
    moist = warm._replace(outside_temperature=HOLDING + 2.7, outside_relative_humidity=1.0)
    assert asked("shadow_price", moist)[0].fan_speed == 0.0


def test_nothing_does_nothing():
    memory = START._replace(target=7.0)
    found, kept = asked("nothing", held(HOLDING + 9.0), memory)
    assert all(getattr(found, name) == 0.0 for name in USED)
    assert kept is memory


@pytest.mark.parametrize("name", PLAIN)
@given(
    time=st.floats(local(2026, 9, 18), local(2027, 5, 30)),
    mean=st.floats(-1.0, 20.0),
    outside=st.floats(-35.0, 40.0),
    over=st.floats(-3.0, 3.0),
)
@settings(max_examples=80, deadline=None)
def test_positions_lie_in_range_and_ignore_humidity(name, time, mean, outside, over):
    seen = held(mean, time=time, outside_temperature=outside, return_temperature=mean + over)
    found, _ = asked(name, seen)
    assert all(0.0 <= getattr(found, field) <= 1.0 for field in USED)
    moist = seen._replace(outside_relative_humidity=1.0, return_relative_humidity=0.5)
    assert asked(name, moist)[0] == found


def test_every_policy_says_what_it_does():
    for policy in POLICIES.values():
        text = policy.__doc__.strip()
        assert re.match(r"[A-Z].*\.$", text.splitlines()[0])
