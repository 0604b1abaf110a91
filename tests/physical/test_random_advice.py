"""
What no advice may ever do, looked at in 200 000 of them.

Readings are drawn at random, each advice with the memory that the one before it left: most follow
within hours near the target, now and then the clock jumps to another part of the season, a probe
fails, or everything is forgotten.
"""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from numba.extending import register_jitable

from ventcalc import compiled
from ventcalc.advice.advise import Action, Readings
from ventcalc.advice.chooser import WETTING_ROOM
from ventcalc.advice.envelope import PROTECT_WETS, SHORTEST
from ventcalc.advice.fresh_air import CO2_DANGEROUS, SWEATS
from ventcalc.advice.learning import MOST
from ventcalc.advice.outside_air import Binding
from ventcalc.advice.readings import OUT_OF_ORDER, START
from ventcalc.advice.rules import decide
from ventcalc.advice.setpoints import dry_air_flow, fan_power
from ventcalc.bay.calendar import STAGES
from ventcalc.bay.description import Heater
from ventcalc.bay.file import example_bay
from ventcalc.bay.hourly import hourly

DAY = 86400.0
CALLS, PLAINLY = 25_000, 250
"""Of each bay: compiled, and of these the first ones in plain Python too."""
SEED, FRY = example_bay("seed_bay"), example_bay("fry_bay")
BAYS = {
    "seed": SEED,
    "fries": FRY,
    "seed, refrigerated": replace(SEED, refrigeration=FRY.refrigeration),
    "seed, neither": replace(SEED, heater=None),
    "fries, neither": replace(FRY, refrigeration=None, heater=None),
    "fries, no heater": replace(FRY, heater=None),
    "seed, no humidifier": replace(SEED, humidifier=None, heater=Heater(capacity=6e4)),
    "fries, leaky": replace(
        FRY,
        doors=replace(FRY.doors, leakage_fraction=0.1),
        control=replace(FRY.control, freeze_latch=1.0),
    ),
}
POSITIONS = ("fan_speed", "door_opening", "humidifier", "refrigeration", "heater")
KEPT = (
    *POSITIONS, "humidity_wanted", "action", "stopped_by", "freeze_stage", "stage", "target",
    "plenum_temperature", "plenum_relative_humidity", "plenum_dew_point", "run_temperature",
    "pulp_coldest", "verdict", "fan_on", "fan_since", "pulp_cold", "valid_for", "leak",
    "door_share", "outside_correction", "people_inside", "out_of_order", "leak_chills",
    "co2",
)  # fmt: skip
LOST_ONE_IN = 160
"""How seldom a given probe fails."""


@register_jitable
def between(low, high, share):
    return low + share * (high - low)


@register_jitable
def either(which, one, other):
    return one if which else other


@register_jitable
def drawn(u, time, target):
    """Readings from numbers between 0 and 1; half of the piles are near their target."""
    mean = between(-1.0, 18.0, u[2])
    if u[3] < 0.6 and not math.isnan(target):
        mean = target + between(-1.5, 2.5, u[2])
    spread = between(-0.5, 3.5, u[4] * u[4])
    top = mean + 0.5 * spread
    lost = int(LOST_ONE_IN * u[5])
    plenum = max(mean + between(-2.0, 2.0, u[9]), 0.5)
    if u[11] < 0.2:
        plenum = math.nan
    elif u[11] > 0.992:
        plenum = between(-1.5, 0.5, u[12])
    outside = between(-35.0, 40.0, u[6]) if u[7] < 0.5 else mean - between(-4.0, 14.0, u[6])
    return Readings(
        time=time,
        outside_temperature=either(lost == 0, math.nan, outside),
        outside_relative_humidity=either(lost == 1, math.nan, between(0.05, 1.0, u[8])),
        return_temperature=either(lost == 2, math.nan, top + between(-3.0, 2.0, u[9])),
        return_relative_humidity=either(lost == 3, math.nan, between(0.5, 1.0, u[10])),
        plenum_temperature=plenum,
        plenum_relative_humidity=either(u[11] < 0.3, math.nan, between(0.5, 1.0, u[10])),
        pulp_bottom=either(lost == 4, math.nan, mean - 0.5 * spread),
        pulp_top=either(lost == 5, math.nan, top),
        pulp_mean=either(lost == 6, math.nan, mean),
        pulp_coldest=either(lost == 7, math.nan, min(top, mean - 0.5 * spread) - u[12] * u[12]),
        ceiling_temperature=either(u[13] < 0.5, math.nan, mean + between(-14.0, 4.0, u[13])),
        co2=either(u[14] < 0.1, math.nan, between(0.0004, 0.03, u[14] * u[14] * u[14])),
        pressure=either(u[15] < 0.5, math.nan, between(70e3, 106e3, u[15])),
        pulp_odd=either(u[18] < 0.03, between(-5.0, 30.0, u[17]), math.nan),
        pulp_odd_place=either(u[18] < 0.03, 1, 0),
        pulp_probes=5,
        loaded=either(u[19] < 0.03, u[2], math.nan),
        stage_told=either(u[19] > 0.97, int(7.0 * u[6]), -1),
        rot_share=either(u[20] > 0.95, u[20] - 0.95, 0.0),
        crop_wet=u[20] < 0.03,
        people_inside=u[21] < 0.04,
        co2_at_least=False,
        out_of_order=either(u[23] < 0.04, 1 << int(5.0 * u[22]), 0),
        doubted=0,
    )


def ask(bay, memory, first, last, draws, found):
    """One advice after the other; what came of them is written into ``found``."""
    fresh = memory
    time = first
    for i in range(len(draws)):
        u = draws[i]
        time += between(120.0, 4000.0, u[0])
        if u[1] < 0.02 or time > last:
            time = between(first, last, u[16])
        if u[1] > 0.97:
            memory = fresh
        seen = drawn(u, time, memory.target)
        advice, memory = decide(bay, seen, memory)
        row = found[i]
        row[0] = advice.fan_speed
        row[1] = advice.door_opening
        row[2] = advice.humidifier
        row[3] = advice.refrigeration
        row[4] = advice.heater
        row[5] = advice.humidity_wanted
        row[6] = advice.action
        row[7] = advice.stopped_by
        row[8] = advice.freeze_stage
        row[9] = advice.situation.stage
        row[10] = memory.target
        row[11] = advice.plenum_temperature
        row[12] = advice.plenum_relative_humidity
        row[13] = advice.plenum_dew_point
        row[14] = advice.situation.run_temperature
        row[15] = seen.pulp_coldest
        row[16] = advice.outside.verdict
        row[17] = memory.fan_on
        row[18] = memory.fan_since
        row[19] = advice.pulp_cold
        row[20] = advice.valid_for
        row[21] = advice.situation.leak
        row[22] = memory.door_share
        row[23] = memory.outside_correction
        row[24] = seen.people_inside
        row[25] = seen.out_of_order
        span = advice.situation.run_temperature - advice.situation.outside_temperature
        row[26] = either(span > 0.0, advice.situation.leak * span, 0.0)
        row[27] = seen.co2


def season_of(name):
    """The bay in the season that begins in 2026, and that season's first and last second."""
    bay = hourly(BAYS[name], 1_796_000_000.0)
    return bay, bay.dates.fill_start, bay.dates.fill_start + 364.0 * DAY


@cache
def draws(name):
    return np.random.default_rng([*name.encode()]).random((CALLS, 24))


@cache
def asked(name):
    """Columns of what the compiled advice gave."""
    bay, first, last = season_of(name)
    found = np.full((CALLS, len(KEPT)), 99.0)
    compiled.entry(ask)(compiled.record_of(bay), START, first, last, draws(name), found)
    return dict(zip(KEPT, found.T, strict=True))


@pytest.mark.parametrize("name", BAYS)
def test_positions_lie_in_range_or_say_hands_off(name):
    found = asked(name)
    positions = np.array([found[key] for key in POSITIONS])
    off = found["action"] == Action.HANDS_OFF
    assert np.isnan(positions[:, off]).all()
    assert ((positions[:, ~off] >= 0.0) & (positions[:, ~off] <= 1.0)).all()
    stands = (found["action"] == Action.REST) | (found["action"] == Action.WAIT)
    assert (positions[:, stands] == 0.0).all()
    assert (positions[:, found["fan_speed"] == 0.0] == 0.0).all()
    # With people inside, under frost and with dead fans an action may stand; no other does.
    may = stands | np.isin(found["action"], (Action.PROTECT, Action.PEOPLE_INSIDE))
    least = BAYS[name].fans.minimum_speed
    assert (found["fan_speed"][~off & ~may] >= least).all()
    speeds = found["fan_speed"][~off]
    assert ((speeds == 0.0) | (speeds >= least)).all()
    for part in ("humidifier", "refrigeration", "heater"):
        used = found[part][~off]
        assert (used > 0.0).any() == (getattr(BAYS[name], part) is not None), part
    assert (found["fan_on"] == (found["fan_speed"] > 0.0)).all()


@pytest.mark.parametrize("name", BAYS)
def test_no_supply_below_the_floor_nor_above_the_dew_point_of_the_coldest_tuber(name):
    """
    The floor, or the air of the bay itself where that is colder: the return air as it is once the
    fans run; that holds for every action. People and freezing outrank wetting; deep cold bears
    with a little, so does protection while no pulp is in danger, and fresh air in a bay with so
    much CO2 that rest would harm more.
    """
    found = asked(name)
    runs = found["fan_speed"] > 0.0
    known = ~np.isnan(found["run_temperature"])
    floor = np.minimum(BAYS[name].limits.plenum_floor, found["run_temperature"])
    supply = found["plenum_temperature"]
    unknown = np.isin(found["action"], (Action.PROTECT, Action.PEOPLE_INSIDE))
    unknown &= np.isnan(supply)
    assert (supply >= floor - 1e-6)[runs & known & ~unknown].all()
    room = np.zeros(CALLS)
    room[found["action"] == Action.CHOSEN] = WETTING_ROOM
    room[found["action"] == Action.PROTECT] = PROTECT_WETS
    fresh = found["action"] == Action.FRESH_AIR
    much = fresh & (found["co2"] > 0.25 * CO2_DANGEROUS)
    room[much] = SWEATS * (found["co2"][much] / (0.25 * CO2_DANGEROUS) - 1.0)
    free = (found["action"] == Action.PEOPLE_INSIDE) | (found["pulp_cold"] > 0.0)
    free |= np.isnan(found["plenum_dew_point"] + found["pulp_coldest"])
    assert not np.isnan(found["plenum_dew_point"][runs & (found["action"] < Action.PROTECT)]).any()
    dry = found["plenum_dew_point"] <= found["pulp_coldest"] + room + 1e-9
    assert dry[runs & ~free].all()
    # Nor far below the coldest tuber, but for people's sake or through a door that cannot shut.
    tight = runs & known & ~unknown & np.isnan(found["door_share"])
    tight &= found["action"] != Action.PEOPLE_INSIDE
    least = np.fmin(found["pulp_coldest"] - BAYS[name].limits.supply_difference,
                    found["run_temperature"] - found["leak_chills"])  # fmt: skip
    # Less mist and the coil are reckoned on a straight line: some hundredths of a kelvin.
    assert (supply >= least - 0.03)[tight].all()
    # Nor far above it, but the more CO2 the warmer; recirculated air is as warm as it is.
    limits, times = BAYS[name].limits, found["co2"] / BAYS[name].limits.co2
    rise = fan_power(BAYS[name], 1.0) / (dry_air_flow(BAYS[name], 1.0, 8e4) * 1006.0)
    borne = np.where(times > 2.0, 2.0 * (times - 1.0), rise)
    most = np.fmax(found["pulp_coldest"] + limits.warm_supply_difference,
                   found["run_temperature"] + borne)  # fmt: skip
    # Mixed on dry bulb alone: a tenth of a kelvin.
    assert (supply <= most + 0.2)[fresh & runs].all()
    protects = found["action"] == Action.PROTECT
    for part in ("door_opening", "humidifier", "refrigeration"):
        assert (found[part][protects] == 0.0).all()


@pytest.mark.parametrize("name", BAYS)
def test_what_is_told_and_learnt_keeps_its_limits(name):
    found, bay = asked(name), BAYS[name]
    assert (np.abs(found["outside_correction"]) <= MOST).all()
    share = found["door_share"][~np.isnan(found["door_share"])]
    assert ((share > 0.0) & (share <= 1.0)).all()
    assert (found["valid_for"] >= SHORTEST).all()
    assert (found["valid_for"] <= bay.control.validity).all()
    runs = found["fan_speed"] > 0.0
    started = runs & ~np.roll(runs, 1)
    assert not (started & (found["people_inside"] > 0.0))[1:].any()
    for part, code in OUT_OF_ORDER.items():
        dead = (found["out_of_order"].astype(int) & code) > 0
        column = {"fans": "fan_speed", "door": "door_opening"}.get(part, part)
        used = found[column][dead]
        assert (np.isnan(used) | (used == 0.0)).all(), part


@pytest.mark.parametrize("name", BAYS)
def test_plain_advice_is_the_compiled_one(name):
    bay, first, last = season_of(name)
    plain = np.full((PLAINLY, len(KEPT)), 99.0)
    ask(bay, START, first, last, draws(name)[:PLAINLY].tolist(), plain)
    for k, key in enumerate(KEPT):
        ours = asked(name)[key][:PLAINLY]
        np.testing.assert_allclose(ours, plain[:, k], rtol=1e-11, atol=1e-11, err_msg=key)


def test_the_draw_leaves_nothing_out():
    """Every action, every stage of the season and of freeze protection, either kind of stop."""
    assert CALLS * len(BAYS) == 200_000
    assert PLAINLY * len(BAYS) == 2_000
    whole = {key: np.concatenate([asked(name)[key] for name in BAYS]) for key in KEPT}
    for key, wanted, least in (
        ("action", Action, 300),
        ("stage", range(len(STAGES)), 2_000),
        ("freeze_stage", range(4), 500),
        ("stopped_by", (Binding.NONE, Binding.FREEZING, Binding.WETS_CROP), 300),
        ("verdict", (-1, 0, 1), 1_000),
    ):
        for code in wanted:
            assert (whole[key] == code).sum() >= least, (key, code)
