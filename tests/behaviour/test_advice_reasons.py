"""One plain set of readings for every reason and every action, and the words that go with it."""

from __future__ import annotations

import math
import re
from dataclasses import replace
from datetime import UTC, datetime
from itertools import pairwise

import pytest
from piles import (
    AUTUMN,
    CASES,
    FRY,
    HOLDING,
    HOUR,
    LATE,
    POSITIONS,
    SEED,
    SUMMER,
    WINTER,
    pile,
    ran,
    rested,
)

from ventcalc.advice.advise import Action, Readings, advise
from ventcalc.advice.outside_air import FOG_LIMIT, Binding, Verdict
from ventcalc.advice.reasons import outside_words, reasons
from ventcalc.advice.rules import REFRESH_FROM
from ventcalc.advice.setpoints import dry_air_flow, fan_power
from ventcalc.equipment import plenum
from ventcalc.units import show


def told(bay, seen, memory=None):
    """Advice, new memory and the lines in metric units, which are checked for plain English."""
    advice, after = advise(bay, seen, memory)
    for units in ("metric", "us"):
        for line in reasons(advice, bay, units):
            assert_plain(line, units)
    return advice, after, reasons(advice, bay, "metric")


def assert_plain(line, units):
    assert line[0].isupper()
    assert line.endswith("."), line
    assert "  " not in line
    assert "\n" not in line
    assert not re.search(r"\bnan\b|\binf\b|None|True|False|<|\{|_|-0\.0+ ", line), line
    foreign = r"°C| K\b|kW\b" if units == "us" else r"°F|Btu|lb|cfm"
    if units == "us":
        foreign = r"°C| K\b"
    assert not re.search(foreign, line), line
    assert len(line) < 330, line


# --- every reason that outside air is not used, or not more of it ---------------------------


def test_nothing_to_cool():
    advice, _, lines = told(SEED, pile(HOLDING - 0.1), rested(SEED, pile(HOLDING)))
    assert advice.outside.binding == Binding.NOTHING_TO_COOL
    assert advice.outside.verdict == Verdict.FORBIDDEN
    assert advice.action == Action.REST
    assert any(line.startswith("No cooling needed") for line in lines)


def test_nothing_to_cool_says_no_untruth_within_the_hysteresis():
    """Warmer than the target by less than cooling starts at: not 'at or below its target'."""
    seen = pile(HOLDING + 0.2)
    advice, _, lines = told(SEED, seen, rested(SEED, seen))
    assert advice.action == Action.REST
    assert "0.20 K above the target" in lines[0]
    assert not any("at or below" in line for line in lines[1:])


def test_ramp_limit():
    """In cool-down the pulp may not fall faster than the ramp, however cold the night."""
    seen = pile(8.0, time=AUTUMN)
    advice, after, lines = told(SEED, seen, rested(SEED, seen, target=8.1))
    assert advice.outside.binding == Binding.RAMP_LIMIT
    assert advice.action == Action.REST
    assert after.target == pytest.approx(8.1 - SEED.schedule.ramp * 900.0, abs=1e-12)
    ramp = next(line for line in lines if line.startswith("Cooling-rate limit"))
    assert show(after.target, "degC") in ramp
    assert show(HOLDING, "degC") in ramp


def test_missing_outside_reading():
    for name in ("outside_temperature", "outside_relative_humidity"):
        seen = pile(HOLDING + 0.8, **{name: float("nan")})
        advice, _, lines = told(SEED, seen, ran(SEED, seen))
        assert advice.outside.binding == Binding.MISSING_READING
        assert advice.outside.verdict == Verdict.UNKNOWN
        assert advice.action not in (Action.COOL_BY_OUTSIDE, Action.WARM_BY_OUTSIDE)
        assert advice.door_opening == 0.0
        assert any("missing" in line for line in lines)


def test_not_cold_enough():
    seen = pile(HOLDING + 0.8, outside_temperature=HOLDING + 5.0)
    advice, _, lines = told(SEED, seen, ran(SEED, seen))
    assert advice.outside.binding == Binding.NOT_COLD_ENOUGH
    assert advice.outside.verdict == Verdict.FORBIDDEN
    assert advice.outside.cold_margin < 0.0
    line = next(line for line in lines if "not cold enough" in line)
    for number in (
        show(seen.outside_temperature, "degC"),
        show(advice.outside.plenum_temperature, "degC"),
        show(SEED.control.outside_offset, "delta_degC"),
        show(-advice.outside.cold_margin, "delta_degC"),
    ):
        assert number in line


def test_plenum_too_cold():
    """A leaky door in deep frost: shut to its stop, the plenum is still below the floor."""
    bay = replace(SEED, doors=replace(SEED.doors, leakage_fraction=0.25))
    seen = pile(HOLDING + 0.8, outside_temperature=-25.0, return_relative_humidity=0.6)
    advice, _, lines = told(bay, seen, ran(bay, seen))
    assert advice.outside.binding == Binding.FREEZING
    assert advice.outside.verdict == Verdict.FORBIDDEN
    assert advice.outside.floor_margin < 0.0
    assert advice.fan_speed == 0.0
    line = next(line for line in lines if "plenum too cold" in line)
    assert show(advice.outside.plenum_temperature, "degC") in line
    assert show(bay.limits.plenum_floor, "degC") in line


def test_would_wet_the_crop():
    """Outside air cooler than the mean, but far moister than a cold bottom can bear."""
    seen = pile(
        8.0,
        pulp_coldest=3.5,
        return_relative_humidity=0.95,
        outside_temperature=5.5,
        outside_relative_humidity=1.0,
    )
    advice, _, lines = told(SEED, seen, ran(SEED, seen))
    assert advice.outside.binding == Binding.WETS_CROP
    assert advice.outside.verdict == Verdict.FORBIDDEN
    assert advice.outside.wetting_margin < 0.0
    line = next(line for line in lines if "sweat the crop" in line)
    for number in (
        show(advice.outside.plenum_dew_point, "degC"),
        show(seen.pulp_coldest, "degC"),
        show(advice.outside.wetting_margin, "delta_degC"),
    ):
        assert number in line


def test_cannot_tell_whether_it_wets():
    """A margin of less than two standard uncertainties is no answer, and no cooling."""
    seen = pile(
        4.5,
        pulp_coldest=2.2,
        return_relative_humidity=0.9,
        outside_temperature=2.0,
        outside_relative_humidity=0.97,
    )
    advice, _, lines = told(SEED, seen, ran(SEED, seen))
    doubt = SEED.control.confidence * advice.outside.wetting_uncertainty
    assert 0.0 < advice.outside.wetting_margin < doubt
    assert advice.outside.verdict == Verdict.UNKNOWN
    assert advice.outside.binding == Binding.WETS_CROP
    assert advice.action != Action.COOL_BY_OUTSIDE
    line = next(line for line in lines if "cannot be told" in line)
    assert show(doubt, "delta_degC") in line

    sure = replace(SEED, sensors=replace(SEED.sensors, temperature=0.02, humidity=0.002))
    assert advise(sure, seen, ran(sure, seen))[0].outside.verdict == Verdict.ALLOWED


def test_fewer_pulp_probes_widen_the_margin():
    """The coldest of one probe is not the coldest tuber."""
    seen = pile(
        4.5,
        pulp_coldest=2.2,
        return_relative_humidity=0.9,
        outside_temperature=2.0,
        outside_relative_humidity=0.95,
    )
    for probes, allowed in ((0, True), (3, True), (2, False), (1, False)):
        few = seen._replace(pulp_probes=probes)
        advice, _, lines = told(SEED, few, ran(SEED, few))
        assert (advice.outside.verdict == Verdict.ALLOWED) == allowed
        assert any("so few pulp probes" in line for line in lines) != allowed


def test_would_drip_from_the_ceiling():
    seen = pile(HOLDING + 0.8, ceiling_temperature=-1.0)
    advice, _, lines = told(SEED, seen, ran(SEED, seen))
    assert advice.outside.binding == Binding.CEILING_DRIP
    assert advice.outside.verdict == Verdict.FORBIDDEN
    assert advice.outside.drip_margin < 0.0
    line = next(line for line in lines if "drip from the ceiling:" in line)
    assert show(advice.outside.plenum_dew_point, "degC") in line
    assert show(-1.0, "degC") in line


def test_would_fog_in_mixing():
    """A warm pile in frost: the door is held where more would make fog with the return air."""
    seen = pile(14.3, spread=2.2, outside_temperature=-4.9, return_relative_humidity=0.985)
    advice, _, lines = told(SEED, seen, ran(SEED, seen))
    assert advice.outside.binding == Binding.MIXING_FOG
    assert advice.outside.verdict == Verdict.ALLOWED
    assert advice.action == Action.COOL_BY_OUTSIDE
    line = next(line for line in lines if "fog" in line)
    assert f"{advice.door_opening:.0%}" in line
    assert fog_at(SEED, advice, 1.0) <= FOG_LIMIT < fog_at(SEED, advice, 1.1)
    assert advice.plenum_dew_point > advice.plenum_temperature  # of air and fog together


def fog_at(bay, advice, opened):
    """Fog in the ducts with ``opened`` times the fresh air of the advice."""
    now = advice.situation
    return plenum.supply(
        mass_flow=dry_air_flow(bay, advice.fan_speed, now.pressure),
        fresh_fraction=opened * advice.outside.fresh_fraction,
        outside_temperature=now.readings.outside_temperature,
        outside_humidity_ratio=now.outside_humidity_ratio,
        return_temperature=now.readings.return_temperature,
        return_humidity_ratio=now.return_humidity_ratio,
        pressure=now.pressure,
        heat=fan_power(bay, advice.fan_speed),
        coil_heat=0.0,
        coil_temperature_difference=4.0,
        bypass_factor=0.0,
        humidity_wanted=0.0,
        water_capacity=0.0,
        vapour_limit=1.0,
    ).fog


def test_outside_air_in_use_tells_what_it_does():
    seen = pile(HOLDING + 0.8)
    advice, _, lines = told(SEED, seen, ran(SEED, seen))
    assert advice.outside.binding == Binding.NONE
    assert advice.outside.verdict == Verdict.ALLOWED
    assert advice.action == Action.COOL_BY_OUTSIDE
    assert lines[1] == outside_words(advice, SEED)
    assert show(advice.outside.cooling, "W electrical", "metric", 0) in lines[1]
    assert show(advice.plenum_temperature, "degC") in lines[1]


def test_every_binding_has_its_test():
    """The list above is complete: a new code needs a new test."""
    assert {code.name for code in Binding} == {
        "NONE",
        "NOTHING_TO_COOL",
        "RAMP_LIMIT",
        "MISSING_READING",
        "NOT_COLD_ENOUGH",
        "FREEZING",
        "WETS_CROP",
        "CEILING_DRIP",
        "MIXING_FOG",
    }


# --- the words of every action ----------------------------------------------------------------


@pytest.mark.parametrize("action", CASES)
def test_every_action_is_told_once_and_plainly(action):
    lines = told(*CASES[action]())[2]
    assert len(lines) == len(set(lines))


def test_headlines_tell_the_actions_apart():
    heads = []
    for case in CASES.values():
        bay, seen, memory = case()
        heads.append(reasons(advise(bay, seen, memory)[0], bay)[0])
    assert len({re.split("[:,]", head)[0] for head in heads}) == len(heads)


@pytest.mark.parametrize("action", [action for action in CASES if action != Action.HANDS_OFF])
def test_numbers_of_the_headline_in_both_units(action):
    """°F and °C of the same line say the same: 1.8 t + 32, within the digits that are shown."""
    bay, seen, memory = CASES[action]()
    advice, _ = advise(bay, seen, memory)
    metric, us = (reasons(advice, bay, units) for units in ("metric", "us"))
    assert len(metric) == len(us)
    for one, other in zip(metric, us, strict=True):
        celsius = [float(x) for x in re.findall(r"(-?[\d.]+) °C", one)]
        kelvin = [float(x) for x in re.findall(r"(-?[\d.]+) K\b", one)]
        fahrenheit = [float(x) for x in re.findall(r"(-?[\d.]+) °F", other)]
        expected = sorted([1.8 * x + 32.0 for x in celsius] + [1.8 * x for x in kelvin])
        assert sorted(fahrenheit) == pytest.approx(expected, abs=0.16)


@pytest.mark.parametrize(
    "name",
    ["pulp_mean", "pulp_top", "pulp_coldest", "return_temperature", "return_relative_humidity"],
)
def test_no_positions_without_the_readings_that_guard_the_crop(name):
    seen = pile(HOLDING + 0.8, **{name: float("nan")})
    advice, after, lines = told(SEED, seen, ran(SEED, seen))
    assert advice.action == Action.HANDS_OFF
    assert all(getattr(advice, name) != getattr(advice, name) for name in POSITIONS)
    assert not after.fan_on
    assert "missing" in lines[0]


def test_no_advice_to_run_without_a_speed():
    """A bottom sensor that fails costs the run or nothing, never the speed alone."""
    seen = pile(HOLDING + 0.8, pulp_bottom=float("nan"))
    advice, _, lines = told(SEED, seen, ran(SEED, seen))
    if advice.action == Action.COOL_BY_OUTSIDE:
        assert advice.fan_speed >= SEED.fans.minimum_speed
    else:
        assert advice.action == Action.HANDS_OFF
    assert not any("unknown" in line for line in lines)


# --- runs that the envelope stops ---------------------------------------------------------------


def test_a_coil_that_leaves_the_air_too_moist_is_stopped():
    """The refrigeration cools, but what leaves it would still wet a far colder bottom."""
    seen = pile(9.0, pulp_coldest=6.0, outside_temperature=15.0, return_relative_humidity=0.97)
    advice, after, lines = told(FRY, seen, ran(FRY, seen))
    assert advice.stopped_by == Binding.WETS_CROP
    assert advice.action == Action.REST
    assert advice.refrigeration == 0.0
    assert not after.fan_on
    assert advice.plenum_dew_point > 6.0
    line = next(line for line in lines if line.startswith("The fans were due to run"))
    assert show(advice.plenum_dew_point, "degC") in line
    assert show(6.0, "degC") in line


def test_a_run_that_leaks_frost_into_the_plenum_is_stopped():
    """A third of the air comes in through a door that does not shut, at -4.9 °C."""
    bay = replace(SEED, doors=replace(SEED.doors, leakage_fraction=0.35))
    seen = pile(HOLDING, outside_temperature=-4.9, return_relative_humidity=0.6)
    advice, after, lines = told(bay, seen, ran(bay, seen, cooled=True))
    assert advice.needs.tail
    assert advice.stopped_by == Binding.FREEZING
    assert advice.action == Action.REST
    assert not after.fan_on
    assert advice.plenum_temperature < bay.limits.plenum_floor
    line = next(line for line in lines if line.startswith("The fans were due to run"))
    assert show(advice.plenum_temperature, "degC") in line


@pytest.mark.parametrize("room", [-0.03, 0.03])
def test_the_envelope_stops_at_the_floor_itself(room):
    """Three hundredths of a kelvin on either side of the floor: stopped, and not stopped."""
    leaky = replace(SEED, doors=replace(SEED.doors, leakage_fraction=0.1))
    seen = pile(HOLDING, outside_temperature=-4.9, return_relative_humidity=0.6)
    memory = ran(leaky, seen, cooled=True)
    reached = advise(leaky, seen, memory)[0].plenum_temperature
    bay = replace(leaky, limits=replace(leaky.limits, plenum_floor=reached - room))
    advice, _ = advise(bay, seen, memory)
    assert advice.plenum_temperature == pytest.approx(reached, abs=1e-9)
    assert (advice.stopped_by == Binding.FREEZING) == (room < 0.0)
    assert (advice.fan_speed > 0.0) == (room > 0.0)


def test_a_pile_colder_than_the_floor_is_moved_by_its_own_air():
    """Recirculated air warms such a plenum; to stop it would keep the pile cold."""
    bay, floor = replace(SEED, heater=None), SEED.limits.plenum_floor
    seen = pile(
        floor - 0.4, spread=0.2, plenum_temperature=math.nan, outside_temperature=math.nan,
        return_relative_humidity=0.8,
    )  # fmt: skip
    advice, _ = advise(bay, seen, rested(bay, seen)._replace(since_run=1e6))
    assert advice.plenum_temperature < floor
    assert (advice.stopped_by, advice.fan_speed > 0.0) == (Binding.NONE, True)


def test_a_supply_too_cold_for_the_pile_closes_the_door_no_further_than_it_must():
    seen = pile(
        8.33, spread=0.4, outside_temperature=6.29, outside_relative_humidity=0.96,
        return_relative_humidity=0.67, co2=0.001,
    )  # fmt: skip
    advice, _ = advise(FRY, seen, ran(FRY, seen))
    lowest = seen.pulp_coldest - FRY.limits.supply_difference
    assert advice.plenum_temperature == pytest.approx(lowest, abs=0.01)
    assert 0.5 < advice.door_opening < 1.0


@pytest.mark.parametrize("room", [-0.03, 0.03])
def test_the_envelope_stops_at_the_coldest_tuber_itself(room):
    seen = pile(9.0, pulp_coldest=6.0, outside_temperature=15.0, return_relative_humidity=0.97)
    memory = ran(FRY, seen)
    bay = replace(FRY, humidifier=None)
    for _ in range(4):  # the set point leans on the coldest tuber, so approach it
        dew = advise(bay, seen, memory)[0].plenum_dew_point
        seen = seen._replace(pulp_coldest=dew + room)
    advice, _ = advise(bay, seen, memory)
    assert seen.pulp_coldest - advice.plenum_dew_point == pytest.approx(room, abs=0.02)
    assert (advice.stopped_by == Binding.WETS_CROP) == (room < 0.0)
    assert (advice.refrigeration > 0.0) == (room > 0.0)


# --- behaviour in time ------------------------------------------------------------------------


def test_cooling_starts_and_stops_with_hysteresis():
    start, stop = SEED.control.start_above, SEED.control.stop_above
    between = HOLDING + 0.5 * (start + stop)
    for cooling, expected in ((False, False), (True, True)):
        seen = pile(between)
        advice, after, _ = told(SEED, seen, ran(SEED, seen, cooling=cooling))
        assert advice.needs.cool == expected
        assert after.cooling == expected
    above, below = pile(HOLDING + start + 0.02), pile(HOLDING + stop - 0.02)
    assert advise(SEED, above, ran(SEED, above))[1].cooling
    assert not advise(SEED, below, ran(SEED, below, cooling=True))[1].cooling


def test_warming_has_its_own_hysteresis():
    """In warm-up the pulp is brought up to its target; between the two limits memory decides."""
    between = HOLDING - 0.5 * (SEED.control.start_above + SEED.control.stop_above)
    for warming in (False, True):
        seen = pile(between, time=LATE)
        memory = ran(SEED, seen, warming=warming, target=HOLDING - SEED.control.stop_above)
        advice, after, _ = told(SEED, seen, memory)
        assert after.warming == advice.needs.warm
        assert advice.needs.warm == (warming or advice.situation.excess < -SEED.control.start_above)


@pytest.mark.parametrize("since", [0.0, 900.0, 1800.0, 2700.0])
def test_shortest_run(since):
    """A run goes on, door shut, until it has lasted ``minimum_on``; then the fans rest."""
    seen = pile(HOLDING - 0.1)
    advice, _, _ = told(SEED, seen, ran(SEED, seen, fan_since=since))
    short = since + 900.0 < SEED.control.minimum_on
    assert advice.action == (Action.FINISH_RUN if short else Action.REST)


def test_shortest_run_gives_way_to_a_wet_crop():
    """A run is not held on where the air of the pile would wet the coldest tubers."""
    seen = pile(HOLDING - 0.1, pulp_coldest=0.5, return_relative_humidity=0.97)
    advice, _, _ = told(SEED, seen, ran(SEED, seen, fan_since=0.0))
    assert advice.action == Action.REST
    assert advice.needs.recirculation_wets


@pytest.mark.parametrize("since", [0.0, 600.0, 1200.0, 1800.0])
def test_shortest_rest(since):
    seen = pile(HOLDING + 0.8)
    advice, _, _ = told(SEED, seen, rested(SEED, seen, fan_since=since, ago=300.0))
    short = since + 300.0 < SEED.control.minimum_off
    assert advice.action == (Action.WAIT if short else Action.COOL_BY_OUTSIDE)


def test_waiting_does_not_misstate_the_rest():
    """Fans that stopped 20 minutes ago did not stop 'less than 5 min ago'."""
    seen = pile(HOLDING + 0.8)
    advice, _, lines = told(SEED, seen, rested(SEED, seen, fan_since=900.0, ago=300.0))
    assert advice.action == Action.WAIT
    said = re.search(r"(?:less than )?(\d+) min ago", lines[0])
    assert said is None or int(said[1]) >= 20
    assert not any("does not cool the pile now: Outside air" in line for line in lines)


def test_tail_after_cooling_lasts_as_long_as_it_should():
    """Quarter-hours after a cooling run: recirculation for ``tail``, then rest."""
    seen = pile(HOLDING)
    memory = ran(SEED, seen, cooled=True, cooling=True)
    ran_for = 0.0
    for k in range(12):
        advice, memory = advise(SEED, seen._replace(time=seen.time + 900.0 * k), memory)
        if advice.action != Action.TAIL:
            break
        assert advice.door_opening == 0.0
        assert not memory.cooled
        ran_for += 900.0
    assert ran_for == SEED.control.tail
    assert advice.action == Action.REST


def test_new_cooling_ends_the_tail():
    seen = pile(HOLDING + 0.8)
    advice, after, _ = told(SEED, seen, ran(SEED, seen, tail_left=1800.0))
    assert advice.action == Action.COOL_BY_OUTSIDE
    assert after.cooled
    assert after.tail_left == SEED.control.tail


def test_measured_co2_has_hysteresis():
    limit = SEED.limits.co2
    for share, purging, expected in (
        (1.05, False, True),
        (0.95, False, False),
        (0.95, True, True),
        (0.65, True, False),
        (0.55, False, False),
    ):
        seen = pile(HOLDING, co2=share * limit)
        advice, after, _ = told(SEED, seen, rested(SEED, seen, purging=purging))
        assert advice.needs.purge == expected
        assert after.purging == expected
        # Where it does no harm, fresh air comes before the limit is reached.
        assert (advice.action == Action.FRESH_AIR) == (share > REFRESH_FROM)


def test_the_purge_opens_wider_the_more_co2_there_is():
    opening = []
    for share in (1.1, 2.0, 4.0):
        seen = pile(HOLDING, co2=share * SEED.limits.co2, outside_temperature=1.5)
        opening.append(advise(SEED, seen, rested(SEED, seen))[0].door_opening)
    assert opening[0] < opening[1] <= opening[2]


def test_co2_beyond_twice_the_limit_warns_people():
    seen = pile(HOLDING, co2=2.2 * SEED.limits.co2)
    lines = told(SEED, seen, rested(SEED, seen))[2]
    warning = next(line for line in lines if line.startswith("WARNING"))
    assert f"{2.2e6 * SEED.limits.co2:,.0f} ppm" in warning
    assert "Nobody enters" in warning


def test_co2_not_measured_is_purged_by_the_clock():
    """Every ``fresh_air_every`` a run of ``fresh_air_for``, in quarter-hours over three days."""
    rules = replace(SEED.control, fresh_air_every=24 * HOUR, fresh_air_for=HOUR)
    bay = replace(SEED, control=rules)
    memory = rested(bay, pile(HOLDING))
    purged = []
    for k in range(3 * 96):
        seen = pile(
            HOLDING,
            time=WINTER + 900.0 * k,
            co2=float("nan"),
            outside_temperature=HOLDING + 1.5,  # too warm to even the pile out with
            outside_relative_humidity=0.75,
            plenum_temperature=float("nan"),  # it teaches nothing here
        )
        advice, memory = advise(bay, seen, memory)
        purged.append(advice.action == Action.FRESH_AIR)
    starts = [k for k in range(1, len(purged)) if purged[k] and not purged[k - 1]]
    assert 2 <= len(starts) <= 3
    lengths = [purged[k:].index(False) * 900.0 for k in starts]
    assert all(abs(x - bay.control.fresh_air_for) <= 900.0 for x in lengths)
    gaps = [(b - a) * 900.0 for a, b in pairwise(starts)]
    every, length = bay.control.fresh_air_every, bay.control.fresh_air_for
    assert all(every <= gap <= every + length + 1800.0 for gap in gaps)


def test_fresh_air_is_due_by_the_clock_to_the_minute():
    """An advice a quarter-hour after the last one counts that quarter-hour."""
    every = SEED.control.fresh_air_every
    for since, due in ((every - 960.0, False), (every - 840.0, True)):
        seen = pile(HOLDING, co2=float("nan"))
        advice, _, _ = told(SEED, seen, ran(SEED, seen, ago=900.0, since_fresh=since))
        assert advice.needs.purge == due


def test_unmeasured_purge_says_why():
    seen = pile(HOLDING, co2=float("nan"))
    advice, _, lines = told(SEED, seen, rested(SEED, seen, since_fresh=30 * HOUR))
    assert advice.action == Action.FRESH_AIR
    assert "not measured" in lines[0]
    assert "last fresh air was 15 min ago or more" in lines[0]
    assert SEED.control.fresh_air_every == 15 * 60.0


def test_purge_waits_where_it_would_do_harm():
    """Hot moist outside air over a cold pile: no fresh air, and a line that says so."""
    seen = pile(
        HOLDING,
        co2=1.2 * SEED.limits.co2,
        outside_temperature=28.0,
        outside_relative_humidity=0.9,
    )
    advice, _, lines = told(SEED, seen, rested(SEED, seen))
    assert advice.needs.purge
    assert advice.action != Action.FRESH_AIR
    assert any(line.startswith("CO2 is at") for line in lines)


def test_run_for_an_even_pile_after_a_long_rest():
    """Every ``circulate_every`` of rest, ``circulate_for`` of slow recirculation."""
    memory = rested(SEED, pile(HOLDING))
    acts = []
    for k in range(96):
        seen = pile(
            HOLDING - 0.1,
            time=WINTER + 900.0 * k,
            return_relative_humidity=0.85,
            outside_temperature=9.0,
            spread=0.0,
        )
        advice, memory = advise(SEED, seen, memory)
        acts.append(advice.action)
    runs = [a == Action.EVEN_OUT for a in acts]
    first = runs.index(True)
    assert abs(first * 900.0 - SEED.control.circulate_every) <= 900.0
    length = runs[first:].index(False) * 900.0
    assert SEED.control.circulate_for <= length <= SEED.control.circulate_for + 900.0
    stops = first + round(length / 900.0)
    again = stops + runs[stops:].index(True)
    assert abs((again - stops) * 900.0 - SEED.control.circulate_every) <= 900.0
    assert set(acts) <= {Action.REST, Action.EVEN_OUT}


def test_uneven_pile_is_evened_out_and_told():
    bay, seen, memory = CASES[Action.EVEN_OUT]()
    advice, _, lines = told(bay, seen, memory)
    assert show(2.4, "delta_degC") in lines[0]
    even = pile(HOLDING, spread=0.5, return_relative_humidity=0.8, outside_temperature=9.0)
    assert advise(bay, even, ran(bay, even))[0].action == Action.REST
    assert advice.needs.even


def test_full_speed_is_not_called_slow():
    bay, seen, memory = CASES[Action.EVEN_OUT]()
    advice, _, lines = told(bay, seen, memory)
    assert ("slowly" in lines[0]) <= (advice.fan_speed < 0.75)


def test_a_cold_pile_that_is_not_warmed_is_told_why():
    """The top's moist air would wet a bottom half a kelvin colder: no heat, and a line on it."""
    seen = pile(HOLDING - 1.3, spread=1.2, outside_temperature=1.5, outside_relative_humidity=1.0)
    advice, _, lines = told(SEED, seen, rested(SEED, seen))
    assert advice.needs.warm
    assert advice.action == Action.REST
    assert any("would wet" in line for line in lines)


def test_a_cold_pile_without_a_heater_is_told_so():
    bare = replace(SEED, heater=None)
    seen = pile(HOLDING - 1.3, spread=0.1)
    advice, _, lines = told(bare, seen, rested(bare, seen))
    assert advice.action == Action.REST
    assert any("should be warmer" in line for line in lines)
    assert not any(line.startswith("No cooling needed") for line in lines)


def test_dripping_ceiling_gets_air_and_no_mist():
    bay, seen, memory = CASES[Action.DRY_CEILING]()
    advice, _, lines = told(bay, seen, memory)
    assert advice.humidifier == 0.0
    assert show(seen.ceiling_temperature, "degC") in lines[0]
    assert show(advice.situation.return_dew_point, "degC") in lines[0]


def test_the_ceiling_is_estimated_when_it_is_not_measured():
    """Colder outside makes a colder ceiling; a reading, where there is one, is believed."""
    found = []
    for outside in (0.0, -20.0):
        seen = pile(HOLDING, outside_temperature=outside, ceiling_temperature=float("nan"))
        found.append(advise(SEED, seen, ran(SEED, seen))[0].situation.ceiling)
    assert found[1] < found[0] < HOLDING + 0.2
    assert advise(SEED, pile(HOLDING, ceiling_temperature=1.25))[0].situation.ceiling == 1.25


def test_warm_pile_in_wound_healing_is_not_cooled_below_it():
    time = datetime(2026, 9, 28, 12, tzinfo=UTC).timestamp()
    healing = SEED.schedule.healing_temperature
    advice, after, lines = told(SEED, pile(healing + 0.1, time=time, outside_temperature=2.0))
    assert after.target == healing
    assert advice.action == Action.REST
    assert "(wound healing)" in lines[0]


def test_empty_bay_asks_for_nothing():
    seen = pile(18.0, time=SUMMER, outside_temperature=10.0, co2=0.0005)
    advice, _, lines = told(SEED, seen, rested(SEED, seen))
    assert advice.action == Action.REST
    assert not advice.needs.cool
    assert "(empty)" in lines[0]


# --- memory -----------------------------------------------------------------------------------


def test_cold_start_without_memory():
    """The first advice needs no memory, and a warm pile is not chased down at once."""
    advice, after, _ = told(SEED, pile(11.0, time=AUTUMN))
    assert advice.action == Action.COOL_BY_OUTSIDE
    assert after.time == AUTUMN
    assert 11.0 - after.target <= 1.0 + SEED.schedule.ramp * SEED.control.validity + 1e-9


@pytest.mark.parametrize("jump", [-1.0, -5 * HOUR, -400 * 86400.0, 6.1 * HOUR, 90 * 86400.0])
def test_clock_jump_or_long_silence(jump):
    """What happened meanwhile is not known: no more than one validity is counted."""
    seen = pile(8.0, time=AUTUMN)
    memory = ran(SEED, seen, target=8.0, since_run=0.0, time=AUTUMN - jump)
    advice, after, _ = told(SEED, seen, memory)
    assert advice.situation.fresh_start
    assert 8.0 - after.target <= SEED.schedule.ramp * SEED.control.validity + 1e-9
    assert after.time == AUTUMN
    for name, value in after._asdict().items():
        if name not in ("time", "target", "alarm_times"):
            assert value >= 0.0 or name.startswith("expected_") or math.isnan(value), name
    assert after.since_fresh <= SEED.control.validity
    again, _ = advise(SEED, seen._replace(time=AUTUMN + 900.0), after)
    assert not again.situation.fresh_start


def test_silence_within_the_limit_is_counted():
    seen = pile(8.0, time=AUTUMN)
    memory = ran(SEED, seen, target=8.0, ago=5.9 * HOUR)
    after = advise(SEED, seen, memory)[1]
    assert 8.0 - after.target == pytest.approx(SEED.schedule.ramp * 5.9 * HOUR, abs=1e-12)


def test_missing_pulp_does_not_forget():
    """A quarter-hour without readings leaves target and latch where they were."""
    blank = Readings(time=AUTUMN)
    advice, after, lines = told(SEED, blank, ran(SEED, blank, target=8.0))
    assert advice.action == Action.HANDS_OFF
    bay = replace(SEED, control=replace(SEED.control, freeze_latch=1.0))
    latched = advise(bay, blank, ran(bay, blank, target=8.0, freeze_stage=3))[1]
    assert latched.freeze_stage == 3
    assert after.target == pytest.approx(8.0, abs=SEED.schedule.ramp * 900.0 + 1e-9)
    assert len(lines) == 1


def test_refrigeration_lets_in_a_little_air_while_co2_is_high():
    """A warm day on which only the coil cools: the door bleeds until CO2 is down again."""
    seen = pile(FRY.schedule.holding_temperature + 1.0, outside_temperature=24.0,
                outside_relative_humidity=0.35, co2=0.0045)  # fmt: skip
    memory = ran(FRY, seen)
    shut, _ = advise(FRY, seen._replace(co2=0.0020), memory)
    bleeds, memory = advise(FRY, seen, memory)
    assert shut.action == bleeds.action == Action.COOL_BY_COIL
    assert shut.door_opening == 0.0
    assert 0.02 < bleeds.door_opening <= FRY.control.fresh_air_opening
    assert bleeds.refrigeration >= shut.refrigeration
    assert any("the fresh air of this run lowers it" in line for line in reasons(bleeds, FRY))
    still, memory = advise(FRY, seen._replace(time=seen.time + HOUR, co2=0.0025), memory)
    assert still.door_opening > 0.02  # early: from 0.6 of the limit on
    done, _ = advise(FRY, seen._replace(time=seen.time + 2 * HOUR, co2=0.0023), memory)
    assert done.door_opening == 0.0


@pytest.mark.parametrize(("part", "opens"), [(1.0, True), (0.4, False)])
def test_moist_air_comes_in_where_the_coil_has_the_power_to_dry_it(part, opens):
    """Moister than return air and tubers before the coil, drier behind it."""
    seen = pile(FRY.schedule.holding_temperature + 1.0, outside_temperature=10.0,
                outside_relative_humidity=1.0, co2=0.0045)  # fmt: skip
    plant = replace(FRY.refrigeration, capacity=part * FRY.refrigeration.capacity)
    advice, _ = advise(replace(FRY, refrigeration=plant), seen, ran(FRY, seen))
    assert advice.action == Action.COOL_BY_COIL
    assert (advice.door_opening > 0.02) == opens
    assert advice.plenum_dew_point < seen.pulp_coldest
