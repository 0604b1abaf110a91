"""What holds for every advice, whatever the readings: limits, purity, monotony, one path."""

from __future__ import annotations

import copy
import json
import math
from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest
from hypothesis import HealthCheck, assume, event, example, given, settings
from hypothesis import strategies as st

from ventcalc import air
from ventcalc.advice.advise import Action, Memory, Readings, advise
from ventcalc.advice.chooser import WARMEST_STEP, WETTING_ROOM
from ventcalc.advice.envelope import PROTECT_WETS
from ventcalc.advice.memory_file import memory_from_json, memory_to_dict
from ventcalc.advice.outside_air import Binding, Verdict
from ventcalc.advice.probes import ODD
from ventcalc.advice.readings_file import readings_from_dict
from ventcalc.advice.reasons import reasons
from ventcalc.advice.setpoints import dry_air_flow, fan_power
from ventcalc.bay.description import capacity_of
from ventcalc.bay.file import example_bay
from ventcalc.equipment import plenum

NAN = math.nan
SEED, FRY = example_bay("seed_bay"), example_bay("fry_bay")
BAYS = {
    "seed": SEED,
    "fries": FRY,
    "bare": replace(SEED, humidifier=None, heater=None),
    "no mist": replace(FRY, humidifier=None),
    "leaky": replace(SEED, doors=replace(SEED.doors, leakage_fraction=0.1, largest_fraction=0.8)),
    "coil": replace(SEED, refrigeration=FRY.refrigeration),
}
POSITIONS = ("fan_speed", "door_opening", "humidifier", "refrigeration", "heater")
SOMETIMES = settings(
    max_examples=60,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much],
)
SEASON = (
    datetime(2026, 9, 10, tzinfo=UTC).timestamp(),
    datetime(2027, 8, 30, tzinfo=UTC).timestamp(),
)


def real(low, high):
    return st.floats(low, high, allow_nan=False, allow_subnormal=False)


@st.composite
def pulps(draw, low=-1.0, high=18.0):
    mean, spread = draw(real(low, high)), draw(real(-1.5, 4.0))
    bottom, top = mean - spread / 2, mean + spread / 2
    coldest = min(bottom, top) - draw(st.sampled_from((0.0, 0.2, 1.0, 3.0)))
    return {"pulp_bottom": bottom, "pulp_top": top, "pulp_mean": mean, "pulp_coldest": coldest}


@st.composite
def readings(draw, missing=True, time=None):
    """A wide draw: deep frost to great heat, dry to saturated, any probe missing."""
    pulp = draw(pulps())
    air_over = draw(real(-4.0, 3.0))
    given = {
        **pulp,
        "outside_temperature": draw(real(-35.0, 40.0)),
        "outside_relative_humidity": draw(real(0.03, 1.0)),
        "return_temperature": pulp["pulp_top"] + air_over,
        "return_relative_humidity": draw(real(0.4, 1.0)),
        "plenum_temperature": draw(st.one_of(st.just(NAN), real(-3.0, 18.0))),
        "ceiling_temperature": draw(st.one_of(st.just(NAN), real(-10.0, 18.0))),
        "co2": draw(st.one_of(st.just(NAN), real(0.0004, 0.02))),
        "pressure": draw(st.one_of(st.just(NAN), real(70e3, 106e3))),
    }
    if missing and draw(st.integers(0, 3)) == 0:
        given[draw(st.sampled_from(sorted(given)))] = NAN
    given["time"] = draw(real(*SEASON)) if time is None else time
    return Readings(**given)


@st.composite
def memories(draw, time):
    """Anything that an hour, a day or a season before may have left."""
    if draw(st.booleans()) and draw(st.booleans()):
        return None
    left = st.one_of(st.just(0.0), real(0.0, 7200.0))
    long = real(0.0, 2e5)
    ago = draw(st.sampled_from((60.0, 900.0, 3600.0, 7 * 3600.0, -3600.0)))
    return Memory(
        time=time - ago,
        target=draw(st.one_of(st.just(NAN), real(2.0, 15.0))),
        fan_on=draw(st.booleans()),
        fan_since=draw(long),
        cooling=draw(st.booleans()),
        warming=draw(st.booleans()),
        purging=draw(st.booleans()),
        cooled=draw(st.booleans()),
        tail_left=draw(left),
        run_left=draw(left),
        fresh_left=draw(left),
        since_run=draw(long),
        since_fresh=draw(long),
        freeze_stage=draw(st.sampled_from((0, 0, 0, 1, 2, 3))),
        stage_age=draw(left),
        fan_speed=draw(st.sampled_from((0.0, 0.5, 1.0))),
        door_opening=draw(real(0.0, 1.0)),
        expected_plenum_temperature=draw(st.one_of(st.just(NAN), real(-3.0, 18.0))),
        expected_share=draw(real(0.0, 1.0)),
        expected_humidity=draw(st.one_of(st.just(NAN), real(0.3, 1.0))),
        expected_return_temperature=draw(st.one_of(st.just(NAN), real(-3.0, 18.0))),
        expected_outside_temperature=draw(st.one_of(st.just(NAN), real(-35.0, 40.0))),
        expected_humidifier_drop=draw(st.sampled_from((0.0, 0.5, 2.0))),
        outside_correction=draw(real(-4.0, 4.0)),
        door_share=draw(st.sampled_from((NAN, NAN, NAN, 0.3))),
        door_age=draw(long),
        humidifier_lacking=draw(long),
        humidifier_age=draw(long),
        no_air=draw(left),
    )


@st.composite
def cases(draw, missing=True):
    seen = draw(readings(missing))
    return BAYS[draw(st.sampled_from(sorted(BAYS)))], seen, draw(memories(seen.time))


@st.composite
def busy(draw):
    """Where fans mostly run and limits are near: a held pile, moist air, frost, leaky doors."""
    bay = BAYS[draw(st.sampled_from(("seed", "fries", "no mist", "coil")))]
    leak = draw(st.sampled_from((0.0, 0.005, 0.1, 0.3)))
    bay = replace(bay, doors=replace(bay.doors, leakage_fraction=leak))
    time = draw(real(datetime(2026, 12, 20, tzinfo=UTC).timestamp(), SEASON[1]))
    mean = bay.schedule.holding_temperature + draw(real(-2.5, 3.0))
    spread = draw(real(0.0, 3.0))
    seen = Readings(
        time=time,
        outside_temperature=draw(real(-35.0, 14.0)),
        outside_relative_humidity=draw(real(0.3, 1.0)),
        return_temperature=mean + spread / 2 + draw(real(-0.5, 0.5)),
        return_relative_humidity=draw(real(0.55, 1.0)),
        plenum_temperature=mean,
        pulp_bottom=mean - spread / 2,
        pulp_top=mean + spread / 2,
        pulp_mean=mean,
        pulp_coldest=mean - spread / 2 - draw(st.sampled_from((0.0, 0.3, 1.5))),
        ceiling_temperature=draw(st.one_of(st.just(NAN), st.just(mean))),
        co2=draw(st.sampled_from((NAN, 0.001, 0.005, 0.02))),
    )
    on = draw(st.booleans())
    memory = Memory(
        time=time - 900.0,
        target=draw(st.sampled_from((NAN, bay.schedule.holding_temperature))),
        fan_on=on,
        fan_since=draw(st.sampled_from((0.0, 9e4))) if on else 9e4,
        cooling=draw(st.booleans()),
        cooled=draw(st.booleans()),
        since_run=draw(st.sampled_from((0.0, 9e4))),
        since_fresh=draw(st.sampled_from((0.0, 9e4))),
    )
    return bay, seen, memory


@st.composite
def frosty(draw):
    """A held pile at the end of cooling, hard frost, and doors that let a good part of it in."""
    bay, seen, memory = draw(busy())
    bay = replace(bay, doors=replace(bay.doors, leakage_fraction=draw(real(0.03, 0.3))))
    mean = bay.schedule.holding_temperature
    seen = seen._replace(
        outside_temperature=draw(real(-35.0, -5.0)),
        return_temperature=mean,
        return_relative_humidity=draw(real(0.5, 0.9)),
        pulp_bottom=mean,
        pulp_top=mean,
        pulp_mean=mean,
        pulp_coldest=mean,
    )
    return bay, seen, memory._replace(fan_on=True, cooled=True, target=mean)


def numbers(result, prefix=""):
    """Every number of a result, by the name of its field."""
    found = {}
    for name, value in result._asdict().items():
        if hasattr(value, "_asdict"):
            found.update(numbers(value, f"{prefix}{name}."))
        elif isinstance(value, tuple):
            found.update({f"{prefix}{name}.{k}": one for k, one in enumerate(value)})
        else:
            found[prefix + name] = value
    return found


def same(one, other):
    return one == other or (one != one and other != other)


# --- limits -------------------------------------------------------------------------------------


@given(cases())
@SOMETIMES
@example(
    (
        SEED,
        Readings(
            time=SEASON[0],
            outside_temperature=0.0,
            outside_relative_humidity=1.0,
            return_temperature=1.0,
            return_relative_humidity=1.0,
            pulp_top=0.0,
            pulp_mean=0.0,
            pulp_coldest=0.0,
        ),
        None,
    )
)
def test_positions_lie_in_range_or_say_hands_off(case):
    bay, seen, memory = case
    advice, _ = advise(bay, seen, memory)
    event(Action(advice.action).name)
    values = [getattr(advice, name) for name in POSITIONS]
    if advice.action == Action.HANDS_OFF:
        assert all(math.isnan(value) for value in values)
        return
    assert all(0.0 <= value <= 1.0 for value in values), values
    assert advice.fan_speed == 0.0 or advice.fan_speed >= bay.fans.minimum_speed - 1e-12
    stands = advice.fan_speed == 0.0
    if advice.action not in (Action.PROTECT, Action.PEOPLE_INSIDE):
        assert stands == (advice.action in (Action.REST, Action.WAIT))
    if stands:
        assert values == [0.0] * 5
    assert (bay.humidifier is not None) or advice.humidifier == 0.0
    assert (bay.refrigeration is not None) or advice.refrigeration == 0.0
    assert (bay.heater is not None) or advice.heater == 0.0


@given(st.one_of(frosty(), busy(), cases(missing=False)))
@settings(SOMETIMES, max_examples=100)
def test_no_supply_below_the_floor(case):
    bay, seen, memory = case
    advice, _ = advise(bay, seen, memory)
    if not advice.fan_speed > 0.0:
        return
    coldest_air = min(seen.return_temperature, seen.pulp_top)
    if advice.action == Action.PROTECT:
        assert advice.door_opening == 0.0
        assert advice.refrigeration == 0.0
    assert advice.plenum_temperature >= min(bay.limits.plenum_floor, coldest_air) - 1e-5


@given(st.one_of(busy(), cases(missing=False)))
@settings(SOMETIMES, max_examples=100)
def test_no_supply_that_is_known_to_wet_the_coldest_tuber(case):
    bay, seen, memory = case
    advice, _ = advise(bay, seen, memory)
    if not advice.fan_speed > 0.0 or advice.pulp_cold:  # freezing outranks wetting
        return
    room = {Action.CHOSEN: WETTING_ROOM, Action.PROTECT: PROTECT_WETS}.get(advice.action, 0.0)
    assert advice.plenum_dew_point <= seen.pulp_coldest + room + 1e-9


@given(st.one_of(busy(), cases(missing=False)))
@settings(SOMETIMES, max_examples=100)
def test_outside_air_cools_only_where_the_margin_is_believed(case):
    """``confidence`` standard uncertainties between the dew point and the coldest tuber."""
    bay, seen, memory = case
    advice, _ = advise(bay, seen, memory)
    if advice.action != Action.COOL_BY_OUTSIDE:
        return
    assert advice.outside.verdict == Verdict.ALLOWED
    assert advice.outside.wetting_uncertainty >= math.sqrt(2.0) * bay.sensors.temperature - 1e-12
    doubt = bay.control.confidence * advice.outside.wetting_uncertainty
    assert seen.pulp_coldest - advice.outside.plenum_dew_point >= doubt - 1e-9


@given(st.one_of(busy(), cases(missing=False)))
@settings(SOMETIMES, max_examples=100)
def test_positions_give_the_plenum_that_is_promised(case):
    """The air of a run, from its positions alone, is the air that the advice has judged."""
    bay, seen, memory = case
    advice, _ = advise(bay, seen, memory)
    now, doors = advice.situation, bay.doors
    # A door that is stuck is told to shut, and reckoned with where it stands.
    if not advice.fan_speed > 0.0 or not math.isnan(now.findings.door_share):
        return
    open_part = advice.door_opening * (doors.largest_fraction - doors.leakage_fraction)
    heater = advice.heater * capacity_of(bay.heater)
    end = plenum.supply(
        mass_flow=dry_air_flow(bay, advice.fan_speed, now.pressure),
        fresh_fraction=doors.leakage_fraction + open_part,
        outside_temperature=now.outside_temperature,
        outside_humidity_ratio=now.outside_humidity_ratio,
        return_temperature=now.run_temperature,
        return_humidity_ratio=now.run_humidity_ratio,
        pressure=now.pressure,
        heat=fan_power(bay, advice.fan_speed) + heater,
        coil_heat=advice.refrigeration * capacity_of(bay.refrigeration),
        coil_temperature_difference=(
            bay.refrigeration.coil_temperature_difference if bay.refrigeration else 4.0
        ),
        bypass_factor=bay.refrigeration.bypass_factor if bay.refrigeration else 0.2,
        humidity_wanted=advice.humidity_wanted,
        water_capacity=capacity_of(bay.humidifier),
        vapour_limit=1.0,
    )
    assert end.temperature == pytest.approx(advice.plenum_temperature, abs=0.05)
    dew = air.dew_point(end.humidity_ratio + end.fog, now.pressure)
    assert dew == pytest.approx(advice.plenum_dew_point, abs=0.05)
    if bay.humidifier is not None:
        used = advice.humidifier * bay.humidifier.capacity
        assert end.water_added == pytest.approx(used, abs=0.01 * bay.humidifier.capacity)


@given(st.one_of(busy(), cases(missing=False)))
@settings(SOMETIMES, max_examples=100)
def test_refrigeration_and_outside_air_never_cool_together(case):
    bay, seen, memory = case
    advice, _ = advise(bay, seen, memory)
    if advice.refrigeration > 0.0:
        assert advice.action == Action.COOL_BY_COIL
        bleed = bay.control.fresh_air_opening * bay.fans.minimum_speed / advice.fan_speed
        stale = advice.needs.purge or advice.needs.refresh
        assert advice.door_opening <= (bleed + 1e-9 if stale else 0.0)
        assert advice.heater == 0.0
    if advice.action == Action.COOL_BY_OUTSIDE:
        assert advice.refrigeration == 0.0


@given(cases())
@SOMETIMES
def test_the_heater_runs_with_the_door_shut_and_never_too_warm(case):
    """
    But for the little fresh air that CO2 asks for, and the heated fresh air of deep cold and of a
    pile with a cold bottom.
    """
    bay, seen, memory = case
    advice, _ = advise(bay, seen, memory)
    if advice.heater > 0.0:
        if advice.action == Action.CHOSEN:
            assert advice.plenum_temperature <= seen.pulp_coldest + WARMEST_STEP
        elif advice.action == Action.EVEN_OUT:
            warmest = seen.pulp_coldest + bay.limits.warm_supply_difference
            assert seen.pulp_coldest - 0.05 <= advice.plenum_temperature <= warmest + 0.05
        else:
            most = bay.control.fresh_air_opening if advice.needs.refresh else 0.0
            assert advice.door_opening <= most + 1e-9
        if advice.action == Action.WARM_BY_HEATER:
            rise = fan_power(bay, 1.0) / (1006.0 * dry_air_flow(bay, 1.0, 1e5))
            warmest = seen.pulp_coldest + bay.limits.warm_supply_difference
            assert advice.plenum_temperature <= warmest + 1.5 * rise + 0.05


@given(cases())
@SOMETIMES
def test_every_advice_can_be_told(case):
    bay, seen, memory = case
    advice, _ = advise(bay, seen, memory)
    for units in ("metric", "us"):
        lines = reasons(advice, bay, units)
        assert lines
        for line in lines:
            assert line[0].isupper()
            assert line.endswith(".")
            assert "nan" not in line.split()
            missing = math.isnan(seen.plenum_temperature + seen.pulp_coldest)
            assert "unknown" not in line or missing, line


# --- in time ------------------------------------------------------------------------------------


@st.composite
def hours(draw):
    """A held pile that drifts about its target for some hours, told every few minutes."""
    step = draw(st.sampled_from((300.0, 600.0, 900.0)))
    start = datetime(2026, 12, 15, tzinfo=UTC).timestamp()
    holding = SEED.schedule.holding_temperature
    excess = draw(st.lists(real(-0.6, 0.9), min_size=10, max_size=40))
    outside = draw(real(-15.0, 8.0))
    return step, [
        Readings(
            time=start + step * k,
            outside_temperature=outside + 0.1 * k,
            outside_relative_humidity=0.7,
            return_temperature=holding + x + 0.1,
            return_relative_humidity=0.9,
            plenum_temperature=holding,
            pulp_bottom=holding + x - 0.1,
            pulp_top=holding + x + 0.1,
            pulp_mean=holding + x,
            pulp_coldest=holding + x - 0.1,
            ceiling_temperature=holding + x,
            co2=0.0015,
        )
        for k, x in enumerate(excess)
    ]


@given(hours())
@settings(SOMETIMES, max_examples=60)
def test_fans_keep_their_shortest_runs_and_rests(case):
    """From start to stop at least ``minimum_on``, but for a crop that would get wet or frozen."""
    step, story = case
    memory, was, since = None, False, math.inf
    for seen in story:
        advice, memory = advise(SEED, seen, memory)
        runs = advice.fan_speed > 0.0
        if runs != was:
            spared = advice.needs.recirculation_wets or advice.stopped_by != Binding.NONE
            least = SEED.control.minimum_off if runs else SEED.control.minimum_on
            assert since >= least - 1e-6 or (spared and not runs)
            was, since = runs, 0.0
        since += step


# --- a pure function ----------------------------------------------------------------------------


@given(cases())
@SOMETIMES
def test_same_input_same_output_and_nothing_is_changed(case):
    bay, seen, memory = case
    before = copy.deepcopy((seen, memory))
    first, second = advise(bay, seen, memory), advise(bay, seen, memory)
    for one, other in zip(first, second, strict=True):
        a, b = numbers(one), numbers(other)
        assert all(same(a[name], b[name]) for name in a)
    for was, now in zip(before, (seen, memory), strict=True):
        if was is not None:
            a, b = numbers(was), numbers(now)
            assert all(same(a[name], b[name]) for name in a)


@given(cases())
@SOMETIMES
def test_memory_survives_its_file(case):
    """Written as JSON and read again, the memory gives the same next advice."""
    bay, seen, memory = case
    assume(not math.isnan(seen.time))
    seen = seen._replace(time=float(round(seen.time)))
    after = advise(bay, seen, memory)[1]
    read = memory_from_json(json.dumps(memory_to_dict(after)))
    a, b = numbers(after), numbers(read)
    assert all(same(a[name], b[name]) for name in a), [n for n in a if not same(a[n], b[n])]
    later = seen._replace(time=seen.time + 900.0)
    a, b = (numbers(advise(bay, later, m)[0]) for m in (after, read))
    assert all(same(a[name], b[name]) for name in a)


@given(cases())
@SOMETIMES
def test_plain_floats_stay_plain(case):
    bay, seen, memory = case
    advice, after = advise(bay, seen, memory)
    for name, value in {**numbers(advice), **numbers(after)}.items():
        assert isinstance(value, float | int), (name, type(value))
        assert not isinstance(value, np.generic), name


# --- monotone -----------------------------------------------------------------------------------


@st.composite
def colder_pairs(draw):
    """Two outside airs of one humidity ratio, the second colder, neither above saturation."""
    bay, seen, memory = draw(cases(missing=False))
    low, high = sorted((draw(real(-30.0, 30.0)), draw(real(-30.0, 30.0))))
    assume(high - low > 0.05)
    pressure = 84e3
    most = air.saturation_humidity_ratio(low, pressure)
    ratio = draw(real(0.05, 1.0)) * most
    pair = [
        seen._replace(
            pressure=pressure,
            outside_temperature=t,
            outside_relative_humidity=min(1.0, air.relative_humidity(t, ratio, pressure)),
        )
        for t in (high, low)
    ]
    return bay, pair, memory


@given(colder_pairs())
@settings(SOMETIMES, max_examples=120)
def test_colder_air_is_never_less_cold_enough(pair):
    """With the same humidity ratio, cooling down the outside air never makes it too warm."""
    bay, (warm, cold), memory = pair
    one, other = (advise(bay, seen, memory)[0].outside for seen in (warm, cold))
    if one.binding != Binding.NOT_COLD_ENOUGH:
        assert other.binding != Binding.NOT_COLD_ENOUGH
    if not (math.isnan(one.cold_margin) or math.isnan(other.cold_margin)):
        assert other.cold_margin >= one.cold_margin - 1e-6


@given(colder_pairs())
@settings(SOMETIMES, max_examples=120)
def test_colder_air_never_opens_the_door_further(pair):
    bay, (warm, cold), memory = pair
    one, other = (advise(bay, seen, memory)[0] for seen in (warm, cold))
    if one.action == other.action == Action.COOL_BY_OUTSIDE:
        event("both cool")
        assert other.door_opening <= one.door_opening + 1e-9
        assert other.fan_speed == one.fan_speed


# --- units, clock -------------------------------------------------------------------------------


@given(cases(missing=False))
@SOMETIMES
def test_fahrenheit_readings_give_the_same_advice(case):
    bay, seen, memory = case
    stack = sorted((seen.pulp_bottom, seen.pulp_top))
    celsius = {
        "time": datetime.fromtimestamp(round(seen.time), UTC).isoformat(),
        "outside_temp_c": seen.outside_temperature,
        "outside_rh": seen.outside_relative_humidity,
        "return_temp_c": seen.return_temperature,
        "return_rh": seen.return_relative_humidity,
        "pulp_temps_c": stack,
        "co2_ppm": None if math.isnan(seen.co2) else seen.co2 * 1e6,
    }
    fahrenheit = {
        key.replace("_temp_c", "_temp_f").replace("_temps_c", "_temps_f"): (
            [1.8 * x + 32.0 for x in value]
            if key == "pulp_temps_c"
            else 1.8 * value + 32.0
            if key.endswith("_temp_c")
            else value
        )
        for key, value in celsius.items()
    }
    one, other = (
        numbers(advise(bay, readings_from_dict(given).readings, memory)[0])
        for given in (celsius, fahrenheit)
    )
    if one["action"] != other["action"]:  # a hair's breadth at a limit, none elsewhere
        now = [one["situation.excess"], one["situation.spread"], one["outside.cold_margin"]]
        now.append(stack[-1] - stack[0] - ODD)
        assume(all(abs(x) > 1e-9 for x in now))
    # Of two choices that are worth the same, round-off takes the one or the other.
    numbered = (
        ()
        if one["action"] == Action.CHOSEN
        else (*POSITIONS, "plenum_temperature", "plenum_dew_point")
    )
    for name in (*numbered, "action"):
        assert one[name] == pytest.approx(other[name], abs=1e-6, nan_ok=True), name


@pytest.mark.parametrize("shift", ["2026-11-01T08:00", "2027-03-14T09:00"])
def test_a_change_of_the_local_clock_changes_nothing(shift):
    """
    Denver leaves and enters summer time at the given UTC; a zone fixed at its summer time has
    the same midnights on all the calendar's dates (18 September, 10 April, 1 May), so the same
    instants must give the same advice.
    """
    fixed = replace(SEED, site=replace(SEED.site, time_zone="Etc/GMT+6"))
    assert SEED.site.time_zone == "America/Denver"
    start = datetime.fromisoformat(shift).replace(tzinfo=UTC).timestamp() - 12 * 3600.0
    memories = [None, None]
    seen = Readings(
        time=start,
        outside_temperature=0.0,
        outside_relative_humidity=0.6,
        return_temperature=9.0,
        return_relative_humidity=0.9,
        plenum_temperature=8.0,
        pulp_bottom=8.4,
        pulp_top=8.9,
        pulp_mean=8.65,
        pulp_coldest=8.4,
    )
    for k in range(24):
        now = seen._replace(time=start + 3600.0 * k)
        found = []
        for place, bay in enumerate((SEED, fixed)):
            advice, memories[place] = advise(bay, now, memories[place])
            found.append(numbers(advice))
        assert k == 0 or found[0]["situation.elapsed"] == 3600.0
        assert all(same(found[0][name], found[1][name]) for name in found[0])


# --- uncertainty --------------------------------------------------------------------------------


@given(cases(missing=False), real(1.0, 6.0))
@settings(SOMETIMES, max_examples=100)
@example(
    (
        SEED,
        Readings(
            time=SEASON[0] + 100 * 86400.0,
            outside_temperature=-2.0,
            outside_relative_humidity=0.7,
            return_temperature=4.3,
            return_relative_humidity=0.92,
            pulp_bottom=3.9,
            pulp_top=4.3,
            pulp_mean=4.1,
            pulp_coldest=3.9,
            ceiling_temperature=1.2,
        ),
        None,
    ),
    4.0,
)
def test_worse_sensors_never_allow_more(case, factor):
    bay, seen, memory = case
    sensors = replace(
        bay.sensors,
        temperature=min(3.0, bay.sensors.temperature * factor),
        humidity=min(0.2, bay.sensors.humidity * factor),
    )
    worse = replace(bay, sensors=sensors)
    one, other = (advise(b, seen, memory)[0].outside for b in (bay, worse))
    if one.verdict != Verdict.ALLOWED:
        assert other.verdict != Verdict.ALLOWED


def test_nothing_else_is_remembered():
    """The memory is all the state there is: every field a number that JSON can carry, or some."""
    assert set(Memory._field_defaults) == set(Memory._fields)
    for usual in numbers(Memory()).values():
        assert isinstance(usual, float | int | bool)
