"""
The decision list, line by line and in its order, by plain readings.

Each line comes twice: what leads to it although everything below it is wanted too, and what keeps
it from applying.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime

import pytest
from piles import (
    AUTUMN,
    CASES,
    FRY,
    HOLDING,
    HOUR,
    LATE,
    NAN,
    POSITIONS,
    SEED,
    SUMMER,
    WINTER,
    pile,
    ran,
    rested,
)

from ventcalc import air
from ventcalc.advice import devices
from ventcalc.advice.advise import Action, advise
from ventcalc.advice.outside_air import Binding, Verdict
from ventcalc.advice.reasons import reasons
from ventcalc.advice.setpoints import dry_air_flow, fan_power, lowest_supply, wetting_margin
from ventcalc.bay.hourly import hourly

MUCH = 1.3 * SEED.limits.co2
LEAKY = replace(SEED, doors=replace(SEED.doors, leakage_fraction=0.15))
SPREAD = 2.0
"""More than both bays' limit of 1.5 K."""
DRY = HOLDING - 0.1
"""Coldest tuber that recirculated air leaves dry: near the mean, whatever the spread. [°C]"""
assert SEED.limits.spread == FRY.limits.spread == 1.5


def given(bay, seen, memory):
    """The advice of readings that make sense, and that nothing stopped afterwards."""
    advice, _ = advise(bay, seen, memory)
    assert advice.stopped_by == Binding.NONE
    return advice


def wants(advice):
    """What is wanted; early fresh air, which comes with a purge, is looked at by itself."""
    needs = {name for name, wanted in advice.needs._asdict().items() if wanted}
    return needs - {"refresh"} if "purge" in needs else needs


# --- every action -----------------------------------------------------------------------------


def test_every_action_has_its_case():
    assert set(Action) == set(CASES)


@pytest.mark.parametrize("wanted", CASES)
def test_action(wanted):
    bay, seen, memory = CASES[wanted]()
    advice, after = advise(bay, seen, memory)
    assert advice.action == wanted
    runs = wanted not in (Action.HANDS_OFF, Action.REST, Action.WAIT)
    if wanted == Action.HANDS_OFF:
        assert all(getattr(advice, name) != getattr(advice, name) for name in POSITIONS)
        return
    assert (advice.humidity_wanted > 0.0) == (advice.humidifier > 0.0)
    assert all(0.0 <= getattr(advice, name) <= 1.0 for name in POSITIONS)
    assert (advice.fan_speed > 0.0) == runs
    assert after.fan_on == runs
    if runs:
        assert advice.fan_speed >= bay.fans.minimum_speed
    else:
        assert all(getattr(advice, name) == 0.0 for name in POSITIONS)
    uses_outside = (Action.CHOSEN, Action.FRESH_AIR, Action.WARM_BY_OUTSIDE, Action.COOL_BY_OUTSIDE)
    shut = (Action.FINISH_RUN, Action.TAIL, Action.WARM_BY_HEATER, Action.COOL_BY_COIL)
    if wanted in uses_outside:
        assert advice.door_opening > 0.0
    if wanted in (*shut, Action.PROTECT):
        assert advice.door_opening == 0.0
    assert (advice.refrigeration > 0.0) == (wanted == Action.COOL_BY_COIL)
    if wanted in (Action.WARM_BY_HEATER,):
        assert advice.heater > 0.0


# --- protect, or hands off --------------------------------------------------------------------


def test_people_come_before_everything():
    """Nothing that stands is started, not even by frost, deep cold or a hot pile."""
    for amiss in (
        {"plenum_temperature": 0.3},
        {"outside_temperature": -25.0},
        {"return_temperature": NAN},
        {"pulp_mean": NAN, "plenum_temperature": 0.3},
    ):
        seen = pile(HOLDING + 0.8, co2=MUCH, people_inside=True)._replace(**amiss)
        stands = given(SEED, seen, rested(SEED, seen))
        assert stands.action == Action.PEOPLE_INSIDE
        assert [getattr(stands, name) for name in POSITIONS] == [0.0] * 5
        runs = given(SEED, seen, ran(SEED, seen, fan_speed=0.6))
        assert (runs.action, runs.fan_speed) == (Action.PEOPLE_INSIDE, 0.6)
        assert (runs.humidifier, runs.refrigeration, runs.heater) == (0.0, 0.0, 0.0)


def test_bad_air_opens_the_door_for_people_where_that_freezes_nothing():
    """Also where the fresh air would wet the crop; fans that run keep running."""
    for outside, relative, co2, opens in (
        (9.0, 1.0, 0.006, True),
        (9.0, 1.0, NAN, True),
        (9.0, 1.0, 0.003, False),
        (-4.0, 0.7, 0.006, False),
    ):
        seen = pile(HOLDING, people_inside=True, co2=co2, outside_temperature=outside,
                    outside_relative_humidity=relative)  # fmt: skip
        advice = given(SEED, seen, ran(SEED, seen, fan_speed=0.6))
        assert advice.fan_speed == 0.6
        assert (advice.door_opening == 1.0) == opens


@pytest.mark.parametrize("stage", [0, 1, 2])
def test_protection_from_freezing_comes_before_everything_else(stage):
    """Even before 'hands off': the plenum alone is enough to shut the door."""
    seen = pile(HOLDING + 0.8, return_temperature=NAN, co2=MUCH, plenum_temperature=0.3)
    advice = given(SEED, seen, ran(SEED, seen, freeze_stage=stage))
    assert advice.action == Action.PROTECT
    assert advice.fan_speed == SEED.fans.minimum_speed
    assert advice.door_opening == 0.0


@pytest.mark.parametrize("more", [{}, {"outside_temperature": -20.0}, {"out_of_order": 1}])
def test_frost_comes_before_deep_cold_and_dead_fans(more):
    seen = pile(HOLDING + 0.8, plenum_temperature=-0.3, **more)
    advice = given(SEED, seen, ran(SEED, seen))
    assert advice.action == Action.PROTECT
    assert [getattr(advice, name) for name in POSITIONS] == [0.0] * 5


def test_dead_fans_mean_hands_off():
    seen = pile(HOLDING + 0.8, out_of_order=1, outside_temperature=-20.0)
    assert given(SEED, seen, ran(SEED, seen)).action == Action.HANDS_OFF


# --- deep cold --------------------------------------------------------------------------------


def test_deep_cold_begins_at_minus_five():
    found = []
    for outside in (-4.9, -5.1):
        seen = pile(HOLDING + 0.8, outside_temperature=outside)
        found.append(given(SEED, seen, ran(SEED, seen)).action)
    assert found == [Action.COOL_BY_OUTSIDE, Action.CHOSEN]


def test_the_coldest_supply_allowed_is_not_refused_by_round_off():
    """The door's set point reaches it to the last digits, on either side."""
    for tenths in range(-180, -55, 5):
        seen = pile(HOLDING + 0.2, spread=1.6, outside_temperature=tenths / 10.0,
                    return_relative_humidity=0.9)  # fmt: skip
        advice = given(SEED, seen, ran(SEED, seen))
        lowest = lowest_supply(hourly(SEED, WINTER))
        assert advice.plenum_temperature == pytest.approx(lowest, abs=1e-3), tenths


def test_a_humidifier_that_gives_nothing_is_weighed_like_deep_cold():
    for told, action in ((0, Action.COOL_BY_OUTSIDE), (4, Action.CHOSEN)):
        seen = pile(HOLDING + 0.8, out_of_order=told)
        advice = given(SEED, seen, ran(SEED, seen))
        assert advice.action == action
        assert (advice.humidifier == 0.0) == (told > 0)


def test_without_outside_readings_deep_cold_cannot_be_chosen_for():
    seen = pile(HOLDING + 0.8, outside_temperature=-20.0, outside_relative_humidity=NAN)
    assert given(SEED, seen, ran(SEED, seen)).action != Action.CHOSEN


def test_hands_off_comes_before_every_wish():
    seen = pile(HOLDING + 0.8, pulp_top=NAN, co2=MUCH, ceiling_temperature=-3.0)
    assert advise(SEED, seen, ran(SEED, seen, cooled=True))[0].action == Action.HANDS_OFF


# --- cool -------------------------------------------------------------------------------------


def test_outside_air_cools_before_the_coil_and_all_below():
    """Warm pile, cold night, refrigeration ready, CO2 high, uneven, a tail to run."""
    seen = pile(9.0, outside_temperature=2.0, return_relative_humidity=0.9, co2=MUCH, spread=SPREAD)
    advice = given(FRY, seen, ran(FRY, seen, cooled=True))
    assert wants(advice) >= {"cool", "purge", "even", "tail"}
    assert advice.action == Action.COOL_BY_OUTSIDE
    assert advice.refrigeration == 0.0


def test_outside_air_cools_only_where_it_is_allowed():
    """Too warm by a tenth of a kelvin: the coil has to do it. Then, a tenth colder, outside air."""
    bay, found = replace(FRY, humidifier=None), []
    for margin in (-0.1, 0.1):
        outside = 9.0 - bay.control.outside_offset - margin - fan_warmth(bay)
        seen = pile(9.0, outside_temperature=outside)
        found.append(given(bay, seen, ran(bay, seen)).action)
    assert found == [Action.COOL_BY_COIL, Action.COOL_BY_OUTSIDE]


def fan_warmth(bay, speed=1.0, pressure=None):
    """Rise of the air by the fans' heat. [K]"""
    pressure = air.standard_pressure(bay.site.altitude) if pressure is None else pressure
    return fan_power(bay, speed) / (1006.0 * dry_air_flow(bay, speed, float(pressure)))


@pytest.mark.parametrize("action", [Action.COOL_BY_OUTSIDE, Action.COOL_BY_COIL])
def test_nothing_cools_while_a_stage_of_freeze_protection_lasts(action):
    bay, seen, memory = CASES[action]()
    seen = seen._replace(plenum_temperature=bay.limits.plenum_floor + 0.5)
    advice = given(bay, seen, memory._replace(freeze_stage=1, fan_since=0.0))
    assert "cool" in wants(advice)
    assert advice.action == Action.PROTECT
    assert (advice.door_opening, advice.refrigeration) == (0.0, 0.0)


def test_the_coil_cools_before_all_below():
    """A warm day: CO2 high, a dripping ceiling, uneven, a tail to run."""
    seen = pile(9.0, outside_temperature=15.0, outside_relative_humidity=0.4, spread=SPREAD,
                return_relative_humidity=0.75, co2=MUCH, ceiling_temperature=4.0,
                pulp_coldest=8.9)  # fmt: skip
    advice = given(FRY, seen, ran(FRY, seen, cooled=True))
    assert wants(advice) == {"cool", "purge", "even", "drip", "tail"}
    assert advice.action == Action.COOL_BY_COIL
    assert advice.door_opening > 0.0  # a little fresh air beside it


def test_cooling_goes_down_to_air_that_leaves_a_cold_bottom_dry():
    """What the target asks for would wet a bottom four kelvin below the top."""
    for below, moist in ((0.0, False), (1.5, True)):
        seen = pile(10.5, spread=4.0, outside_temperature=2.0, return_relative_humidity=0.98,
                    pulp_coldest=8.5 - below, time=AUTUMN)  # fmt: skip
        advice = given(SEED, seen, rested(SEED, seen, target=10.2))
        assert advice.action == Action.COOL_BY_OUTSIDE
        margin = wetting_margin(hourly(SEED, AUTUMN), seen.pulp_coldest, 0)
        assert advice.plenum_dew_point <= seen.pulp_coldest - margin + 0.02
        lowest = seen.pulp_coldest - SEED.limits.supply_difference
        assert advice.plenum_temperature >= lowest - 0.01
        assert (advice.plenum_temperature < 10.2 - SEED.control.supply_below - 1.0) == moist


def test_a_pile_behind_the_calendar_is_cooled_by_up_to_a_kelvin_colder_air():
    """The target waits for the pile, so it does not tell; ten days earlier nothing is late."""
    seen = pile(12.0, spread=0.2, return_relative_humidity=0.9)
    supplies = []
    for days in (0.0, 10.0):
        now = seen._replace(time=AUTUMN - days * 24.0 * HOUR)
        advice = given(SEED, now, ran(SEED, now, target=11.9, cooling=True))
        assert advice.action == Action.COOL_BY_OUTSIDE
        assert advice.situation.excess == pytest.approx(0.1, abs=0.01)
        supplies.append(advice.plenum_temperature)
    assert supplies[1] == pytest.approx(11.9 - SEED.control.supply_below, abs=0.05)
    assert supplies[0] == pytest.approx(11.9 - SEED.limits.supply_difference, abs=0.05)


def test_without_a_coil_the_next_line_applies():
    seen = pile(9.0, outside_temperature=15.0, outside_relative_humidity=0.4,
                return_relative_humidity=0.75, co2=MUCH)  # fmt: skip
    bare = replace(FRY, refrigeration=None)
    advice = given(bare, seen, ran(bare, seen))
    assert wants(advice) == {"cool", "purge"}
    assert advice.action == Action.FRESH_AIR


def test_fresh_air_comes_before_the_coil_where_recirculation_would_wet_the_crop():
    """Dry air, too warm to cool; a cold bottom, CO2 high: the coil would blow moist air on it."""
    seen = pile(14.3, spread=1.6, outside_temperature=14.0, outside_relative_humidity=0.7,
                return_relative_humidity=0.98, pulp_coldest=13.1, co2=0.0083,
                time=AUTUMN)  # fmt: skip
    bare = replace(FRY, humidifier=None)  # mist would cool the air enough
    advice = given(bare, seen, ran(bare, seen, target=14.0))
    assert wants(advice) >= {"cool", "purge", "recirculation_wets"}
    assert devices.coil_heat(hourly(bare, AUTUMN), advice.situation, 1.0, 0.0) > 0.0
    assert advice.action == Action.FRESH_AIR
    assert advice.fan_speed > 0.0
    assert advice.plenum_dew_point < 13.1


def test_moist_air_goes_through_the_coil_where_there_is_no_fresh_air_to_be_had():
    """Behind the coil it is dry enough: dew point 0.2 K below the coldest tuber."""
    wet = {"pulp_coldest": 8.0, "return_relative_humidity": 0.97, "outside_temperature": 15.0}
    for co2 in (0.0015, MUCH):
        seen = pile(9.0, co2=co2, **wet)
        advice = given(FRY, seen, ran(FRY, seen))
        assert "recirculation_wets" in wants(advice)
        assert advice.action == Action.COOL_BY_COIL
        assert advice.door_opening == 0.0


# --- warm -------------------------------------------------------------------------------------


def test_warm_outside_air_comes_before_the_heater_and_all_below():
    seen = pile(HOLDING - 1.3, spread=0.1, outside_temperature=8.0, outside_relative_humidity=0.4,
                return_relative_humidity=0.8, co2=MUCH, ceiling_temperature=-2.0)  # fmt: skip
    advice = given(SEED, seen, ran(SEED, seen, cooled=True, run_left=900.0))
    assert wants(advice) == {"warm", "purge", "even", "drip", "tail"}
    assert advice.action == Action.WARM_BY_OUTSIDE
    assert advice.heater == 0.0
    assert advice.fan_speed == 1.0


def test_warm_outside_air_is_mixed_to_the_warmest_supply_allowed():
    """Coldest tuber and ``warm_supply_difference``, and the fans' own heat on top: no more."""
    for outside in (6.0, 9.0, 14.0):
        seen = pile(HOLDING - 1.3, spread=0.1, outside_temperature=outside,
                    outside_relative_humidity=0.25, return_relative_humidity=0.8)  # fmt: skip
        advice = given(SEED, seen, ran(SEED, seen))
        assert advice.action == Action.WARM_BY_OUTSIDE
        warmest = seen.pulp_coldest + SEED.limits.warm_supply_difference
        rise = fan_warmth(SEED, pressure=advice.situation.pressure)
        assert advice.plenum_temperature == pytest.approx(warmest + rise, abs=0.02)


def test_outside_air_warms_only_where_it_is_surely_dry_enough():
    """
    The mixture's dew point below the coldest tuber by the wetting margin, found by hand; where it
    is not, the heater has to do it.
    """
    pressure, dew = 84e3, []
    for relative in (x / 100.0 for x in range(40, 100)):
        seen = pile(HOLDING - 1.3, spread=0.1, outside_temperature=8.0, pressure=pressure,
                    outside_relative_humidity=relative, return_relative_humidity=0.9)  # fmt: skip
        advice = given(SEED, seen, ran(SEED, seen))
        warmest = seen.pulp_coldest + SEED.limits.warm_supply_difference
        share = (warmest - seen.return_temperature) / (8.0 - seen.return_temperature)
        inside = air.humidity_ratio(seen.return_temperature, 0.9, pressure)
        mixed = inside + share * (air.humidity_ratio(8.0, relative, pressure) - inside)
        dew.append(air.dew_point(mixed, pressure))
        doubt = wetting_margin(hourly(SEED, WINTER), seen.pulp_coldest, 0)
        if abs(dew[-1] - (seen.pulp_coldest - doubt)) > 0.01:
            dry = dew[-1] < seen.pulp_coldest - doubt
            assert advice.action == (Action.WARM_BY_OUTSIDE if dry else Action.WARM_BY_HEATER)
    assert dew[0] < seen.pulp_coldest - 1.1 * doubt
    assert dew[-1] > seen.pulp_coldest - 0.9 * doubt


def test_outside_air_warms_only_where_it_is_warmer_than_the_pulp_by_the_offset():
    found = []
    for above in (0.9, 1.1):
        assert SEED.control.outside_offset == 1.0
        seen = pile(HOLDING - 1.3, spread=0.1, outside_temperature=HOLDING - 1.3 + above,
                    outside_relative_humidity=0.4, return_relative_humidity=0.8)  # fmt: skip
        found.append(given(SEED, seen, ran(SEED, seen)).action)
    assert found == [Action.WARM_BY_HEATER, Action.WARM_BY_OUTSIDE]


def test_the_heater_comes_before_all_below():
    """Cold outside, CO2 high, a dripping ceiling, a tail and a run to finish."""
    seen = pile(HOLDING - 1.3, spread=0.1, return_relative_humidity=0.85, co2=MUCH,
                ceiling_temperature=-2.0)  # fmt: skip
    advice = given(SEED, seen, ran(SEED, seen, cooled=True, run_left=900.0))
    assert wants(advice) == {"warm", "purge", "even", "drip", "tail"}
    assert advice.action == Action.WARM_BY_HEATER
    assert advice.door_opening < 0.1 * SEED.control.fresh_air_opening  # a little, for CO2
    assert advice.fan_speed == 1.0


def test_the_heater_does_not_run_where_its_air_would_wet_the_crop():
    """Outside air is too moist to dry what is recirculated."""
    seen = pile(HOLDING - 1.3, pulp_coldest=1.4, outside_temperature=1.5,
                outside_relative_humidity=1.0, return_relative_humidity=0.95)  # fmt: skip
    advice = given(SEED, seen, ran(SEED, seen))
    assert wants(advice) == {"warm", "recirculation_wets"}
    assert advice.action == Action.REST


def test_the_heater_takes_the_fresh_air_that_keeps_a_cold_bottom_dry():
    """
    On the way to unloading: a little dry frost dries the moist air, and the heater pays for it.

    A pile that is held warms by itself.
    """
    target = SEED.schedule.warm_up_temperature
    dry = {"outside_temperature": -3.0, "outside_relative_humidity": 0.5,
           "return_relative_humidity": 0.95}  # fmt: skip
    seen = pile(target - 1.3, pulp_coldest=target - 1.8, time=LATE, **dry)
    advice = given(SEED, seen, ran(SEED, seen, target=target))
    assert wants(advice) == {"warm", "recirculation_wets"}
    assert advice.action == Action.WARM_BY_HEATER
    assert advice.door_opening > 0.0
    assert advice.plenum_dew_point < seen.pulp_coldest
    assert advice.plenum_temperature > seen.pulp_mean
    weak = replace(SEED, heater=replace(SEED.heater, capacity=1000.0))
    assert given(weak, seen, ran(weak, seen, target=target)).action == Action.REST
    held = pile(HOLDING - 1.3, pulp_coldest=HOLDING - 1.8, **dry)
    assert given(SEED, held, ran(SEED, held)).action == Action.REST


def test_a_pile_within_the_band_is_not_warmed_but_on_its_way_to_unloading():
    """Half a kelvin below: within the band while held, too cold in warm-up and unloading."""
    below = 0.5
    assert SEED.control.start_above < below < SEED.limits.band
    held = pile(HOLDING - below)
    assert "warm" not in wants(given(SEED, held, rested(SEED, held)))
    colder = pile(HOLDING - SEED.limits.band - 0.05)
    assert "warm" in wants(given(SEED, colder, rested(SEED, colder)))
    for time in (LATE, LATE + 10 * 24 * HOUR):
        target = SEED.schedule.warm_up_temperature
        seen = pile(target - below, time=time)
        assert "warm" in wants(given(SEED, seen, rested(SEED, seen, target=target)))


def test_a_pile_that_is_ahead_of_its_ramp_is_not_warmed():
    """Colder than the target of the day, but not than where it is going."""
    seen = pile(7.2, time=AUTUMN)
    advice = given(SEED, seen, ran(SEED, seen, target=8.1))
    assert advice.situation.excess < -SEED.limits.band
    assert "warm" not in wants(advice)


# --- fresh air, tail --------------------------------------------------------------------------


def test_fresh_air_comes_before_all_below():
    seen = pile(HOLDING, spread=1.6, return_relative_humidity=0.8, co2=MUCH,
                ceiling_temperature=-2.0, pulp_coldest=DRY)  # fmt: skip
    advice = given(SEED, seen, ran(SEED, seen, cooled=True))
    assert wants(advice) == {"purge", "even", "drip", "tail"}
    assert advice.action == Action.FRESH_AIR
    assert advice.fan_speed == SEED.fans.minimum_speed


def test_without_fresh_air_that_is_known_the_next_line_applies():
    seen = pile(HOLDING, outside_relative_humidity=NAN, co2=MUCH)
    advice = given(SEED, seen, ran(SEED, seen, cooled=True))
    assert wants(advice) == {"purge", "tail"}
    assert advice.action == Action.TAIL


WARM_AND_DRY = {"time": WINTER, "outside_temperature": 16.0, "outside_relative_humidity": 0.3,
                "return_relative_humidity": 0.96}  # fmt: skip


def test_the_refrigeration_cools_fresh_air_that_would_be_too_warm():
    """For CO2 alone: a pile that is cool enough is not cooled further."""
    target = FRY.schedule.holding_temperature
    found = []
    for pulp, much, bay in (
        (target, 1.3, FRY),
        (target, 0.9, FRY),
        (target, 1.3, replace(FRY, refrigeration=None)),
        (target - FRY.limits.band - 0.1, 1.3, FRY),
    ):
        seen = pile(pulp, co2=much * FRY.limits.co2, ceiling_temperature=pulp + 1, **WARM_AND_DRY)
        found.append(given(bay, seen, rested(bay, seen)))
    chilled, *others = found
    assert chilled.action == Action.FRESH_AIR
    assert min(chilled.door_opening, chilled.refrigeration) > 0.0
    assert chilled.plenum_temperature <= target + FRY.limits.warm_supply_difference
    assert chilled.plenum_dew_point < chilled.situation.readings.pulp_coldest
    assert "behind the refrigeration" in reasons(chilled, FRY)[0]
    assert [one.action for one in others] == [Action.REST] * 3


@pytest.mark.parametrize("hours", [1.0, 100.0])
def test_in_deep_cold_fresh_air_that_is_due_comes_without_a_probe_too(hours):
    seen = pile(HOLDING, outside_temperature=-8.0, co2=NAN)
    advice = given(SEED, seen, rested(SEED, seen)._replace(since_fresh=hours * HOUR))
    assert advice.needs.purge == (hours * HOUR > SEED.control.fresh_air_every)
    assert (advice.fan_speed > 0.0 and advice.door_opening > 0.0) == advice.needs.purge


HOT_AND_DRY = {"outside_temperature": 24.0, "outside_relative_humidity": 0.25,
               "return_relative_humidity": 0.99, "co2": 2.3 * SEED.limits.co2,
               "ceiling_temperature": 20.0}  # fmt: skip


def test_hot_dry_air_comes_in_through_the_whole_door_where_the_mist_cools_it():
    """A little of it would not dry the return air, more would warm the crop."""
    seen = pile(12.8, spread=3.0, time=AUTUMN, **HOT_AND_DRY)
    advice = given(SEED, seen, rested(SEED, seen))
    assert (advice.action, advice.door_opening) == (Action.FRESH_AIR, 1.0)
    assert advice.humidifier > 0.5
    assert advice.plenum_temperature <= seen.return_temperature + 2.0  # it suffocates
    assert advice.plenum_dew_point <= seen.pulp_coldest


@pytest.mark.parametrize(
    ("more", "bay"),
    [
        ({}, replace(SEED, humidifier=None)),
        ({"outside_relative_humidity": 0.7}, SEED),
        ({"outside_temperature": 34.0}, SEED),
        ({"co2": MUCH}, SEED),  # not yet worth a warm supply
        ({"ceiling_temperature": 10.0}, SEED),  # nothing is misted under a dripping ceiling
    ],
)
def test_hot_air_stays_out_where_it_would_warm_or_wet_the_crop(more, bay):
    seen = pile(12.8, spread=3.0, time=AUTUMN, **{**HOT_AND_DRY, **more})
    advice, _ = advise(bay, seen, rested(bay, seen))
    assert (advice.action, advice.fan_speed) == (Action.REST, 0.0)


MUGGY = {"outside_temperature": 17.5, "outside_relative_humidity": 0.97,
         "return_relative_humidity": 0.99}  # fmt: skip


@pytest.mark.parametrize(
    ("co2", "outside", "runs"),
    [
        (0.0099, 17.5, False),
        (0.012, 17.5, False),
        (0.019, 17.5, True),
        (0.021, 20.5, False),  # wets more than that is worth
        (0.036, 20.5, True),
    ],
)
def test_the_more_co2_the_more_a_bottom_may_sweat_for_a_change_of_air(co2, outside, runs):
    """1.5 K of dew point for every 10 000 ppm over the first 10 000."""
    seen = pile(17.4, spread=2.0, time=AUTUMN, co2=co2,
                **{**MUGGY, "outside_temperature": outside})  # fmt: skip
    advice, _ = advise(SEED, seen, rested(SEED, seen))
    if not runs:
        assert (advice.action, advice.fan_speed) == (Action.REST, 0.0)
        return
    assert (advice.action, advice.door_opening) == (Action.FRESH_AIR, 1.0)
    assert 0.0 < advice.plenum_dew_point - seen.pulp_coldest <= 1.5 * (co2 - 0.01) / 0.01
    assert any("sweats tubers" in line for line in reasons(advice, SEED))


@pytest.mark.parametrize(("co2", "runs"), [(0.019, False), (0.022, True)])
def test_pulp_that_seems_to_read_warm_may_sweat_the_less(co2, runs):
    """0.6 K above the coldest probe are 1.6 K above the tuber; not wished for and then stopped."""
    seen = pile(17.4, spread=2.0, time=AUTUMN, co2=co2, **MUGGY)
    advice = given(SEED, seen, rested(SEED, seen, pulp_warm=1.0))
    assert (advice.action == Action.FRESH_AIR) == runs


def test_the_refrigeration_does_no_more_than_the_supply_asks_for():
    seen = pile(8.6, outside_temperature=15.0, return_relative_humidity=0.7)
    advice = given(FRY, seen, ran(FRY, seen, target=8.0))
    assert advice.action == Action.COOL_BY_COIL
    assert 0.7 < advice.refrigeration < 0.9
    below = advice.situation.target - FRY.control.supply_below
    assert below - 0.5 < advice.plenum_temperature < below


def test_in_deep_cold_a_pile_below_its_target_rests_and_one_above_it_is_cooled():
    for mean, action in ((HOLDING - 0.7, Action.REST), (HOLDING + 0.3, Action.CHOSEN)):
        seen = pile(mean, spread=1.0, outside_temperature=-20.0, co2=0.0012)
        assert given(SEED, seen, rested(SEED, seen)).action == action


def test_the_heater_brings_fresh_air_in_deep_cold_to_just_above_the_bottom():
    seen = pile(2.6, spread=1.5, outside_temperature=-20.0, co2=1.5 * SEED.limits.co2)
    advice = given(SEED, seen, rested(SEED, seen))
    assert advice.action == Action.CHOSEN
    assert advice.heater > 0.3
    assert advice.plenum_temperature - seen.pulp_bottom == pytest.approx(0.3, abs=0.02)


@pytest.mark.parametrize(
    ("outside", "humidity", "opened"),
    [(4.0, 0.7, (0.6, 0.6)), (4.0, 0.85, (0.6, 0.93)), (2.0, 0.95, (0.6, 0.75))],
)
def test_urgent_fresh_air_is_dry_enough_for_pulp_that_seems_to_read_warm(outside, humidity, opened):
    """The door opens wider for it; it is not taken and then stopped."""
    seen = pile(HOLDING, spread=1.0, co2=2.4 * SEED.limits.co2, outside_temperature=outside,
                outside_relative_humidity=humidity, return_relative_humidity=0.97)  # fmt: skip
    for warm, door in zip((0.0, 1.0), opened, strict=True):
        advice = given(SEED, seen, rested(SEED, seen, pulp_warm=warm))
        assert advice.action == Action.FRESH_AIR
        assert advice.door_opening == pytest.approx(door, abs=0.01)
        assert advice.plenum_dew_point <= seen.pulp_coldest - warm + 1e-9


@pytest.mark.parametrize("warm", [0.5, 1.5])
def test_pulp_known_to_read_warm_counts_as_what_it_is(warm):
    """Recirculated air wets where it would by true readings, and only there."""
    for mean, spread in ((HOLDING, 0.2), (HOLDING, 1.0)):
        true = pile(mean, spread=spread, return_relative_humidity=0.8)
        read = pile(mean + warm, spread=spread, return_relative_humidity=0.8)
        read = read._replace(return_temperature=true.return_temperature)
        (one, _), (other, _) = (
            advise(SEED, seen, rested(SEED, seen, pulp_warm=off))
            for seen, off in ((true, 0.0), (read, warm))
        )
        found = [a.situation.recirculated_dew_point for a in (one, other)]
        assert found[0] == pytest.approx(found[1], abs=1e-6)
        assert one.needs.recirculation_wets == other.needs.recirculation_wets == (spread > 0.5)


@pytest.mark.parametrize(("warm", "cools"), [(0.0, True), (0.5, True), (1.0, False)])
def test_outside_air_keeps_farther_from_wetting_pulp_that_seems_to_read_warm(warm, cools):
    """1.5 K of margin: enough for the probes' 0.8 K and half a kelvin, not for a whole one."""
    seen = pile(HOLDING + 1.0, spread=3.0, outside_temperature=0.5,
                outside_relative_humidity=1.0, return_relative_humidity=0.985)  # fmt: skip
    advice = given(SEED, seen, rested(SEED, seen, pulp_warm=warm))
    assert advice.outside.wetting_margin == pytest.approx(1.5, abs=0.05)
    assert (advice.action == Action.COOL_BY_OUTSIDE) == cools


def test_each_pulp_probe_that_lacks_widens_the_margin_by_a_quarter_of_a_kelvin():
    margins = [wetting_margin(hourly(SEED, WINTER), HOLDING, count) for count in (1, 2, 3, 9, 0)]
    assert [m - margins[2] for m in margins] == pytest.approx([0.5, 0.25, 0.0, 0.0, 0.0])


def test_deep_cold_rests_where_all_fresh_air_would_wet_the_bottom():
    seen = pile(2.26, spread=1.66, outside_temperature=-24.9, outside_relative_humidity=0.82,
                return_relative_humidity=0.964, co2=0.011)  # fmt: skip
    advice = given(SEED, seen, rested(SEED, seen))
    assert (advice.action, advice.fan_speed) == (Action.REST, 0.0)


def test_in_deep_cold_air_that_nobody_measures_is_changed_as_if_it_held_much_co2():
    seen = pile(HOLDING - 0.2, co2=NAN, outside_temperature=-20.0)
    doors = [
        given(SEED, seen, rested(SEED, seen, since_fresh=since)).door_opening for since in (9e4, 0)
    ]
    assert doors[0] > 0.03
    assert doors[0] > 2.0 * doors[1]


@pytest.mark.parametrize(("share", "goes_on"), [(0.65, False), (0.75, True)])
def test_a_change_of_air_goes_on_down_to_seven_tenths_of_the_limit(share, goes_on):
    seen = pile(HOLDING, co2=share * SEED.limits.co2)
    advice, after = advise(SEED, seen, ran(SEED, seen, purging=True))
    assert advice.needs.purge == after.purging == goes_on
    assert not advise(SEED, seen, ran(SEED, seen))[0].needs.purge


@pytest.mark.parametrize(("hours", "lacks"), [(2.9, False), (3.5, True)])
def test_a_humidifier_that_shows_nothing_for_three_hours_is_not_reckoned_with(hours, lacks):
    seen = pile(HOLDING + 0.8)
    memory = ran(SEED, seen, humidifier_lacking=hours * HOUR, expected_plenum_temperature=NAN)
    advice = given(SEED, seen, memory)
    assert (advice.action == Action.CHOSEN) == lacks


def test_people_inside_find_the_door_as_it_was_however_cold_it_makes_the_supply():
    seen = pile(HOLDING + 2.5, people_inside=True, outside_temperature=-3.0)
    memory = ran(SEED, seen, fan_speed=0.5, door_opening=0.4)
    advice = given(SEED, seen, memory)
    assert advice.plenum_temperature < seen.pulp_coldest - SEED.limits.supply_difference
    assert advice.door_opening == pytest.approx(0.4)


@pytest.mark.parametrize("co2", [0.001, 0.006, NAN])
def test_fans_that_run_with_people_inside_go_on_in_frost_with_the_door_closer(co2):
    seen = pile(HOLDING + 2.5, people_inside=True, outside_temperature=-15.0, co2=co2)
    advice = given(SEED, seen, ran(SEED, seen, fan_speed=0.5, door_opening=0.4))
    assert (advice.action, advice.fan_speed) == (Action.PEOPLE_INSIDE, 0.5)
    assert 0.05 < advice.door_opening < 0.4
    assert SEED.limits.plenum_floor <= advice.plenum_temperature < lowest_supply(SEED) + 0.2


def test_people_inside_a_bay_whose_pulp_is_not_read_find_all_as_it_was():
    seen = pile(HOLDING, people_inside=True, outside_temperature=-15.0, return_temperature=0.8)
    seen = seen._replace(pulp_mean=NAN)
    advice = given(SEED, seen, ran(SEED, seen, fan_speed=0.5, door_opening=0.4))
    assert (advice.fan_speed, advice.door_opening) == (0.5, pytest.approx(0.4))


def test_a_start_in_deep_cold_keeps_farther_from_the_floor_than_a_run():
    """Its return air is not yet read, and a pulp probe may read a kelvin high."""
    seen = pile(HOLDING + 0.8, spread=3.0, outside_temperature=-20.0)
    floor = lowest_supply(hourly(SEED, WINTER))
    for memory, above in ((rested, 0.4), (ran, 0.0)):
        advice = given(SEED, seen, memory(SEED, seen))
        assert advice.action == Action.CHOSEN
        assert floor + above - 0.02 <= advice.plenum_temperature < floor + above + 0.02


def test_the_tail_comes_before_drying_and_evening_out():
    seen = pile(HOLDING, spread=1.6, return_relative_humidity=0.8, ceiling_temperature=-3.0,
                pulp_coldest=DRY)  # fmt: skip
    advice = given(SEED, seen, ran(SEED, seen, cooled=True))
    assert wants(advice) == {"even", "drip", "tail"}
    assert advice.action == Action.TAIL
    assert advice.fan_speed == SEED.fans.minimum_speed


def test_no_tail_where_recirculation_would_wet_the_crop():
    seen = pile(HOLDING - 0.1, pulp_coldest=2.6, outside_temperature=-3.0,
                outside_relative_humidity=0.3, return_relative_humidity=0.96)  # fmt: skip
    advice = given(LEAKY, seen, ran(LEAKY, seen, cooled=True))
    assert wants(advice) == {"tail", "recirculation_wets"}
    assert advice.action == Action.REST
    assert advice.plenum_dew_point < seen.pulp_coldest


def test_no_tail_while_cooling_is_still_wanted():
    """Outside air has become too warm in the middle of it: the pile waits for the next night."""
    seen = pile(HOLDING + 0.8, outside_temperature=9.0, spread=0.2, return_relative_humidity=0.85)
    advice = given(SEED, seen, ran(SEED, seen, cooled=True))
    assert wants(advice) == {"cool", "tail"}
    assert advice.action == Action.REST


# --- dry the ceiling, even out ----------------------------------------------------------------


def test_the_ceiling_drips_by_the_air_that_stands_under_it():
    """Fans off, that is the air of the headspace as read, not what a run would draw."""
    for relative, drips in ((0.80, False), (0.92, True)):
        seen = pile(HOLDING, return_relative_humidity=relative, ceiling_temperature=2.0)
        advice = given(SEED, seen, rested(SEED, seen))
        assert advice.situation.run_dew_point > 3.0
        assert ("drip" in wants(advice)) == drips


def test_drying_the_ceiling_comes_before_evening_out():
    seen = pile(HOLDING, spread=1.6, return_relative_humidity=0.8, ceiling_temperature=-3.0,
                pulp_coldest=DRY)  # fmt: skip
    advice = given(SEED, seen, ran(SEED, seen))
    assert wants(advice) == {"even", "drip"}
    assert advice.action == Action.DRY_CEILING
    assert advice.fan_speed == SEED.fans.minimum_speed


def test_the_ceiling_is_dried_by_outside_air_where_that_may_else_by_the_heater():
    """Outside air that would drip itself may not; no mist under a dripping ceiling either way."""
    dry = {"outside_relative_humidity": 0.5, "return_relative_humidity": 0.95, "pulp_coldest": 3.1}
    for ceiling, allowed in ((2.5, True), (1.5, False)):
        seen = pile(HOLDING, ceiling_temperature=ceiling, **dry)
        advice = given(SEED, seen, ran(SEED, seen))
        assert advice.action == Action.DRY_CEILING
        assert (advice.outside.verdict == Verdict.ALLOWED) == allowed
        assert (advice.door_opening > 0.0) == allowed
        assert (advice.heater > 0.0) != allowed
        assert advice.humidifier == 0.0


@pytest.mark.parametrize("more", [{}, {"ceiling_temperature": 5.0}], ids=["drip", "even"])
def test_moist_recirculation_neither_dries_nor_evens_but_outside_air_may(more):
    """Top air of 3.8 °C dew point over tubers at 2.1 °C."""
    for outside, wanted in ((9.0, Action.REST), (-2.0, None)):
        seen = pile(HOLDING, spread=2.4, return_relative_humidity=0.95,
                    outside_temperature=outside, **more)  # fmt: skip
        advice = given(SEED, seen, ran(SEED, seen))
        assert wants(advice) >= {"even", "recirculation_wets"}
        if wanted is None:
            wanted = Action.EVEN_OUT if more else Action.DRY_CEILING
            assert advice.door_opening > 0.0
        assert advice.action == wanted


@pytest.mark.parametrize("more", [{}, {"ceiling_temperature": 5.0}], ids=["drip", "even"])
def test_outside_air_that_may_not_cool_does_not_serve_for_drying_or_evening_instead(more):
    """Freeze protection has shut the door; recirculated air would wet the crop: the fans rest."""
    seen = pile(HOLDING + 0.8, spread=2.4, return_relative_humidity=0.97, **more)
    seen = seen._replace(plenum_temperature=SEED.limits.plenum_floor + 0.5)
    advice, _ = advise(SEED, seen, ran(SEED, seen, freeze_stage=1))
    assert wants(advice) >= {"cool", "even", "recirculation_wets"}
    assert advice.outside.verdict == Verdict.ALLOWED
    assert advice.action == Action.PROTECT
    assert advice.stopped_by == Binding.WETS_CROP
    assert (advice.fan_speed, advice.door_opening) == (0.0, 0.0)


def test_evening_out_comes_before_finishing_the_run():
    seen = pile(HOLDING, spread=SPREAD, return_relative_humidity=0.8, pulp_coldest=DRY)
    advice = given(SEED, seen, ran(SEED, seen, fan_since=0.0))
    assert wants(advice) == {"even"}
    assert advice.action == Action.EVEN_OUT


def test_a_pile_is_evened_out_by_air_as_cold_as_its_coldest_tubers():
    """Outside air colder than the top by the offset; the plenum at the coldest tuber."""
    dry = replace(SEED, humidifier=None)
    seen = pile(HOLDING, spread=SPREAD, return_relative_humidity=0.8)
    advice = given(dry, seen, ran(dry, seen))
    assert advice.action == Action.EVEN_OUT
    assert advice.door_opening > 0.0
    assert advice.plenum_temperature == pytest.approx(seen.pulp_coldest, abs=0.05)
    for over in (-0.05, 0.05):
        warmer = seen.pulp_top - SEED.control.outside_offset - fan_warmth(SEED) + over
        seen = seen._replace(outside_temperature=warmer, outside_relative_humidity=0.5)
        advice = given(dry, seen, ran(dry, seen))
        # recirculated air would wet a bottom that is this much colder than the mean
        assert advice.action == (Action.REST if over > 0.0 else Action.EVEN_OUT)
        assert (advice.outside.binding == Binding.NOT_COLD_ENOUGH) == (over > 0.0)
        assert (advice.door_opening > 0.0) == (over < 0.0)


MOVING = datetime(2027, 5, 5, 12, tzinfo=UTC).timestamp()
"""Trucks go in and out."""
WARM = SEED.schedule.warm_up_temperature


def test_while_trucks_go_heated_outside_air_evens_a_pile_whose_bottom_any_other_would_wet():
    """No colder than the bottom, no warmer than the rest; a pile that is held waits for frost."""
    cold = {"outside_temperature": -3.0, "outside_relative_humidity": 0.9,
            "return_relative_humidity": 0.7}  # fmt: skip
    seen = pile(WARM, spread=SPREAD, air=-2.0, time=MOVING, **cold)
    advice = given(SEED, seen, rested(SEED, seen, target=WARM))
    assert wants(advice) == {"even", "recirculation_wets"}
    assert (advice.action, advice.outside.binding) == (Action.EVEN_OUT, Binding.WETS_CROP)
    assert advice.heater > 0.0
    assert advice.door_opening > 0.0
    assert seen.pulp_coldest <= advice.plenum_temperature <= seen.pulp_mean + 0.01
    margin = wetting_margin(hourly(SEED, MOVING), seen.pulp_coldest, 0)
    assert advice.plenum_dew_point == pytest.approx(seen.pulp_coldest - margin, abs=0.05)
    assert any("the heater warms" in line for line in reasons(advice, SEED))
    weak = replace(SEED, heater=replace(SEED.heater, capacity=1000.0))
    assert given(weak, seen, rested(weak, seen, target=WARM)).action == Action.REST
    held = pile(HOLDING, spread=SPREAD, air=-2.0, **cold)
    advice = given(SEED, held, rested(SEED, held))
    assert wants(advice) == {"even", "recirculation_wets"}
    assert advice.action == Action.REST


def test_cold_air_over_a_pile_at_rest_asks_for_a_run_before_it_has_sunk_through_it():
    """Air 1.5 K colder than the top tubers, read while the fans stand."""
    for colder, uneven in ((1.4, False), (1.6, True)):
        seen = pile(WARM, spread=0.6, air=-colder, time=MOVING, return_relative_humidity=0.7)
        assert given(SEED, seen, rested(SEED, seen, target=WARM)).needs.even == uneven
        assert not given(SEED, seen, ran(SEED, seen, target=WARM)).needs.even


def test_frost_is_left_to_the_rules_while_trucks_go():
    """The chooser does not know what comes in through their door."""
    for time, target, chooses in ((MOVING, WARM, False), (WINTER, HOLDING, True)):
        seen = pile(target + 0.5, spread=0.6, outside_temperature=-8.0, time=time)
        action = given(SEED, seen, ran(SEED, seen, target=target)).action
        assert (action == Action.CHOSEN) == chooses


def test_a_pile_near_the_floor_is_evened_out_by_air_that_surely_stays_above_it():
    """By ``confidence`` standard uncertainties of a thermometer."""
    bay = replace(SEED, humidifier=None, schedule=replace(SEED.schedule, holding_temperature=2.2))
    seen = pile(2.2, spread=SPREAD, return_relative_humidity=0.8)
    advice = given(bay, seen, ran(bay, seen))
    assert advice.action == Action.EVEN_OUT
    surely = bay.limits.plenum_floor + bay.control.confidence * bay.sensors.temperature
    assert seen.pulp_coldest < surely
    assert advice.plenum_temperature == pytest.approx(surely, abs=0.05)


def test_a_pile_that_is_too_cold_is_not_cooled_to_even_it_out():
    """Below the band the pile is evened out by its own air alone."""
    for below, allowed in ((0.55, True), (0.65, False)):
        assert SEED.limits.band == 0.6
        bare = replace(SEED, heater=None)
        seen = pile(HOLDING - below, spread=SPREAD, return_relative_humidity=0.8,
                    pulp_coldest=DRY - below)  # fmt: skip
        advice = given(bare, seen, ran(bare, seen))
        assert advice.action == Action.EVEN_OUT
        assert (advice.door_opening > 0.0) == allowed


def test_an_even_pile_that_ran_lately_is_left_alone():
    """Three things ask for a run: a long rest, an uneven pile, a run not yet over."""
    every, limit = SEED.control.circulate_every, SEED.limits.spread
    for spread, memory, runs in (
        (0.4, {"since_run": every - 950.0}, False),
        (0.4, {"since_run": every - 850.0}, True),
        (limit - 0.05, {}, False),
        (limit + 0.05, {}, True),
        (0.4, {"run_left": 1.0}, True),
    ):
        seen = pile(HOLDING, spread=spread, return_relative_humidity=0.75)
        advice = given(SEED, seen, rested(SEED, seen, ago=900.0, **memory))
        assert ("even" in wants(advice)) == runs, (spread, memory)


# --- shortest run, shortest rest, rest --------------------------------------------------------


def test_a_run_is_finished_only_by_fans_that_run():
    seen = pile(HOLDING - 0.1)
    assert given(SEED, seen, ran(SEED, seen, fan_since=0.0)).action == Action.FINISH_RUN
    assert given(SEED, seen, rested(SEED, seen, fan_since=0.0)).action == Action.REST


def test_a_run_is_not_finished_with_air_that_would_wet_the_crop():
    """Not even where the leaks' dry frost would hide it from the envelope."""
    for relative, wanted in ((0.93, Action.FINISH_RUN), (0.99, Action.REST)):
        seen = pile(HOLDING - 0.1, pulp_coldest=3.0, outside_temperature=-3.0,
                    outside_relative_humidity=0.3, return_relative_humidity=relative)  # fmt: skip
        advice = given(LEAKY, seen, ran(LEAKY, seen, fan_since=0.0))
        assert advice.action == wanted
        assert advice.plenum_dew_point < seen.pulp_coldest


STARTS = (
    Action.COOL_BY_OUTSIDE, Action.COOL_BY_COIL, Action.WARM_BY_OUTSIDE, Action.WARM_BY_HEATER,
    Action.FRESH_AIR,
)  # fmt: skip


@pytest.mark.parametrize("action", STARTS)
def test_every_run_but_protection_waits_for_the_shortest_rest(action):
    bay, seen, memory = CASES[action]()
    least = bay.control.minimum_off
    for since, wanted in ((least - 901.0, Action.WAIT), (least - 899.0, action)):
        resting = memory._replace(fan_on=False, fan_since=since)
        assert given(bay, seen, resting).action == wanted
    protected = memory._replace(fan_on=False, fan_since=0.0)
    cold = seen._replace(plenum_temperature=0.5)
    assert advise(bay, cold, protected)[0].action == Action.PROTECT


def test_whoever_wants_nothing_does_not_wait():
    seen = pile(HOLDING)
    assert given(SEED, seen, rested(SEED, seen, fan_since=0.0)).action == Action.REST


def test_fresh_air_is_taken_early_where_nothing_else_is_wanted():
    """From six tenths of the CO2 limit, after every other wish; never where it would do harm."""
    for part, outside, action in (
        (0.55, 1.0, Action.REST),
        (0.65, 1.0, Action.FRESH_AIR),
        (0.65, 25.0, Action.REST),
    ):
        seen = pile(HOLDING, co2=part * SEED.limits.co2, outside_temperature=outside,
                    return_relative_humidity=0.85)  # fmt: skip
        assert given(SEED, seen, rested(SEED, seen)).action == action
    seen = pile(HOLDING, spread=SPREAD, co2=0.65 * SEED.limits.co2, return_relative_humidity=0.8)
    assert given(SEED, seen, ran(SEED, seen)).action == Action.EVEN_OUT


def test_a_run_that_goes_on_anyway_takes_fresh_air_early():
    for part, opens in ((0.55, False), (0.65, True)):
        seen = pile(HOLDING, co2=part * SEED.limits.co2, outside_temperature=1.0,
                    return_relative_humidity=0.85)  # fmt: skip
        tail = given(SEED, seen, ran(SEED, seen, cooled=True))
        assert tail.action == Action.TAIL
        assert (tail.door_opening > 0.0) == opens


def test_an_empty_bay_wants_nothing_at_all():
    """What breathes is no empty bay, whatever the calendar says."""
    seen = pile(HOLDING, time=SUMMER, spread=3.0, co2=MUCH, ceiling_temperature=-3.0)
    everything = {"purge", "even", "drip", "tail"}
    assert wants(given(SEED, seen, ran(SEED, seen, cooled=True))) >= everything
    for co2 in (0.0005, NAN):
        empty = seen._replace(co2=co2)
        assert wants(given(SEED, empty, ran(SEED, empty, cooled=True))) <= {"recirculation_wets"}
