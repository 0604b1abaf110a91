"""A whole bay by its own balances: water, heat and CO2 of a step, limits, batch against single."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from ventcalc._ops import ARRAY, SCALAR
from ventcalc.bay.batch import stack_bays

from ventcalc import air
from ventcalc.advice.policies import Positions
from ventcalc.air import plain as plain_air
from ventcalc.bay import calendar
from ventcalc.bay.file import example_bay
from ventcalc.pile import bed
from ventcalc.pile.crop import metabolic_water_rate
from ventcalc.season import bay_model, headspace, surroundings

approx = pytest.approx
HOUR, DAY = 3600.0, 86400.0
BAY = example_bay()
PRESSURE = 84.3e3
START = calendar.calendar_at(BAY, 1_700_000_000.0)
BEGIN = 1_700_000_000.0 - START.now
"""First load, UTC."""


def outside(temperature, relative=0.7, day=40.0):
    return surroundings.Outside(
        time=BEGIN + day * DAY,
        temperature=temperature,
        relative_humidity=relative,
        humidity_ratio=air.humidity_ratio(temperature, relative, PRESSURE),
        pressure=PRESSURE,
    )


def full_bay(bay=BAY, bays=None, temperature=8.0):
    """A filled bay, weeks after its first load."""
    model = bay_model.bed_of(bay, PRESSURE, 40)
    state = bay_model.first_state(bay, model, bays)
    ones = 1.0 if bays is None else np.ones(bays)
    pile = replace(bed.fresh_bed(model, temperature, bays), curing=20 * DAY * ones)
    warm, moist = temperature * ones, air.humidity_ratio(temperature, 0.95, PRESSURE) * ones
    return model, replace(
        state, bed=pile, share=ones, loaded=ones, exit_temperature=warm, return_temperature=warm,
        exit_humidity_ratio=moist, return_humidity_ratio=moist,
    )  # fmt: skip


def advance(bay, model, state, positions, weather, step=HOUR, ops=SCALAR):
    when = calendar.calendar_at(bay, weather.time)
    return bay_model.step_bay(bay, model, state, positions, weather, when, step, ops)


def crop_water(bay, model, before, after, hour, step):
    """Water that left the crop and its film in a step, for the whole bay. [kg]"""
    area = bay.pile.floor_area * after.share
    lost = np.sum(after.bed.water_loss - before.bed.water_loss) * model.layer_mass
    film = np.sum(after.bed.film - before.bed.film) * model.layer_mass
    formed = metabolic_water_rate(np.sum(hour.step.respiration), model.crop) * step
    return (lost + formed - film) * area


speeds = st.one_of(st.just(0.0), st.floats(0.5, 1.0))
settings_ = {
    "t": st.floats(-25.0, 15.0), "rh": st.floats(0.3, 1.0), "speed": speeds,
    "door": st.floats(0.0, 1.0), "aim": st.sampled_from([0.0, 0.9, 0.95]),
    "pulp": st.floats(4.0, 15.0),
}  # fmt: skip


@settings(deadline=None, max_examples=80)
@given(**settings_)
def test_water_of_an_hour_is_all_accounted_for(t, rh, speed, door, aim, pulp):
    """
    Crop, film, humidifier, doors, leaks, ceiling and the air under it.

    In the second hour of the same weather and fan speed: while these change, the air under
    the ceiling is found afresh for the supply.
    """
    model, first = full_bay(temperature=pulp)
    speed = speed or 0.5
    positions = Positions(fan_speed=speed, door_opening=door, humidity_wanted=aim)
    weather = outside(t, rh)
    state, _ = advance(BAY, model, first, positions, weather)
    after, hour = advance(BAY, model, state, positions, weather)
    shell = BAY.envelope
    leak = shell.leakage * shell.headspace_volume * 1.25
    flow = bed.passage(model, BAY.fans.airflow * speed / BAY.pile.floor_area, HOUR).mass_flow
    flow *= BAY.pile.floor_area
    gained = hour.water_added * HOUR + crop_water(BAY, model, state, after, hour, HOUR)
    # What the air above took from the top of the pile is charged to it in the next hour.
    gained += (after.top_water - state.top_water) * BAY.pile.floor_area * HOUR
    vented = hour.fresh_air * (weather.humidity_ratio - state.return_humidity_ratio)
    leaked = leak * (weather.humidity_ratio - after.return_humidity_ratio)
    kept = flow * (after.return_humidity_ratio - state.return_humidity_ratio)
    total = gained + (vented + leaked - hour.drip - kept) * HOUR
    assert abs(total) <= 1e-9 * (abs(gained) + flow * state.return_humidity_ratio * HOUR)


spaces = {
    "flow": st.floats(0.05, 30.0), "exit_": st.floats(2.0, 18.0), "moist": st.floats(0.6, 1.0),
    "top": st.floats(2.0, 18.0), "t": st.floats(-30.0, 20.0), "rh": st.floats(0.2, 1.0),
    "over_air": st.floats(-10.0, 40.0),
}  # fmt: skip


@settings(deadline=None, max_examples=100)
@given(**spaces)
def test_the_headspace_keeps_heat_and_water(flow, exit_, moist, top, t, rh, over_air):
    """What comes from the pile, by leaks and from the top tubers leaves again."""
    model = bay_model.bed_of(BAY, PRESSURE, 40)
    w_exit, w_out = air.humidity_ratio(exit_, moist, PRESSURE), air.humidity_ratio(t, rh, PRESSURE)
    roof = t + over_air
    over = headspace.headspace(
        bay=BAY, model=model, flow=flow, outlet_temperature=exit_, outlet_humidity_ratio=w_exit,
        top=top, curing=20 * DAY, share=1.0, loaded=1.0, outside_temperature=t,
        outside_humidity_ratio=w_out, roof_temperature=roof, ops=SCALAR,
    )  # fmt: skip
    shell, area = BAY.envelope, BAY.pile.floor_area
    leak = shell.leakage * shell.headspace_volume * 1.25
    heat = flow * plain_air.AIR_HEAT * (exit_ - over.temperature) - over.top_heat * area
    heat -= leak * plain_air.AIR_HEAT * (over.temperature - t)
    heat -= shell.ceiling_u * shell.ceiling_area * (over.temperature - roof)
    assert heat == approx(0.0, abs=1e-9 * (flow + leak + area) * 1e3)
    water = flow * (w_exit - over.humidity_ratio) + leak * (w_out - over.humidity_ratio)
    water += over.from_top * area - over.drip
    # Not tried: air that would drip as it comes, but no longer once the top tubers dried it.
    below = shell.ceiling_u * headspace.CEILING_RESISTANCE * (over.temperature - roof)
    limit = air.saturation_humidity_ratio(over.temperature - below, PRESSURE)
    assume(over.drip > 0.0 or flow * w_exit + leak * w_out <= (flow + leak) * limit)
    assert water == approx(0.0, abs=1e-12 * (flow + leak + area))
    assert min(exit_, top, t, roof) - 1e-9 <= over.temperature <= max(exit_, top, t, roof) + 1e-9
    assert over.drip >= 0.0


@settings(deadline=None, max_examples=40)
@given(**settings_)
def test_an_hour_stays_within_reason(t, rh, speed, door, aim, pulp):
    """No air beyond its sources and their wet bulb, CO2 above outside, nothing negative."""
    model, state = full_bay(temperature=pulp)
    positions = Positions(fan_speed=speed, door_opening=door, humidity_wanted=aim)
    here = outside(t, rh)
    after, hour = advance(BAY, model, state, positions, here)
    wet = air.wet_bulb(t, here.humidity_ratio, PRESSURE)
    assert min(wet, pulp) - 0.5 < after.return_temperature < max(t, pulp) + 2.0
    assert min(wet, pulp) - 0.5 < after.plenum_temperature < max(t, pulp) + 2.0
    assert after.co2 >= 419e-6
    assert hour.drip >= 0.0
    assert hour.water_added >= 0.0
    assert np.all(after.bed.film >= 0.0)
    assert hour.fresh_air >= 0.0
    if speed == 0.0:
        assert hour.fan_power == hour.water_added == hour.fresh_air == 0.0


def test_heat_of_a_bay_at_rest_is_all_accounted_for():
    """
    Constant weather and positions for four months: what respires and what the fans bring leaves
    by doors, leaks and shell. Enthalpies of real air (``air.enthalpy``), so to 1 %.
    """
    model, state = full_bay(temperature=6.0)
    positions = Positions(fan_speed=1.0, door_opening=0.04)
    weather = outside(-3.0, 0.8, day=60.0)
    for _ in range(900):
        before = bed.layer_mean(state.bed.temperature)
        state, hour = advance(BAY, model, state, positions, weather, 3 * HOUR)
    shell, area = BAY.envelope, BAY.pile.floor_area
    mean = bed.layer_mean(state.bed.temperature)
    stored = (mean - before) * model.heat_capacity * model.layers * area / (3 * HOUR)
    assert abs(mean - before) < 0.01  # nearly at rest
    made = float(np.sum(hour.step.respiration)) * area + hour.fan_power
    inside = air.enthalpy(state.return_temperature, state.return_humidity_ratio, PRESSURE)
    beyond = air.enthalpy(weather.temperature, weather.humidity_ratio, PRESSURE)
    leak = shell.leakage * shell.headspace_volume * 1.25
    vented = (hour.fresh_air + leak) * (inside - beyond)
    shell_loss = shell.wall_u * shell.wall_area * (mean - weather.temperature)
    shell_loss += (
        shell.ceiling_u * shell.ceiling_area * (state.return_temperature - weather.temperature)
    )
    water = float(np.sum(hour.step.evaporated)) * area * plain_air.WATER_HEAT * mean
    assert made > 2e4
    dripped = hour.drip * plain_air.EVAPORATION  # its heat leaves through the ceiling
    assert vented + shell_loss + dripped + stored - water == approx(made, rel=0.01)


def test_carbon_dioxide_settles_where_fresh_air_carries_it_off():
    """Steady level = outside + production / fresh air: plain mass balance."""
    model, state = full_bay(temperature=6.0)
    positions = Positions(fan_speed=1.0, door_opening=0.1)
    for _ in range(400):
        state, hour = advance(BAY, model, state, positions, outside(3.0), HOUR)
    made = hour.step.co2 * BAY.pile.floor_area
    shell = BAY.envelope
    volume = BAY.pile.volume * model.porosity + shell.headspace_volume
    fresh = hour.fresh_air / (PRESSURE / (287.05 * 278.15)) + shell.leakage * volume
    density = PRESSURE * 44.009e-3 / (8.314462618 * 278.15)
    assert state.co2 - 420e-6 == approx(made / density / fresh, rel=0.02)
    level = state.co2
    state, hour = advance(BAY, model, state, Positions(), outside(3.0), HOUR)
    for _ in range(3600):
        gain = hour.step.co2 * BAY.pile.floor_area / density
        level += (gain - shell.leakage * volume * (level - 420e-6)) / volume
    assert state.co2 == approx(level, rel=0.01)


@pytest.mark.parametrize("relative", [0.4, 0.9])
def test_colder_weather_means_colder_plenum_and_ceiling(relative):
    model, state = full_bay()
    positions = Positions(fan_speed=1.0, door_opening=0.15)
    found = [
        advance(BAY, model, state, positions, outside(t, relative))
        for t in (-20.0, -10.0, -3.0, 3.0, 12.0)
    ]
    for name in ("plenum_temperature", "ceiling_temperature"):
        values = [getattr(hour, name) for _, hour in found]
        assert values == sorted(values)
    mean = [bed.layer_mean(after.bed.temperature) for after, _ in found]
    assert mean == sorted(mean)


def test_a_better_ceiling_drips_less():
    model, state = full_bay()
    drips = []
    for u in (0.1, 0.3, 0.8, 2.0):
        bay = replace(BAY, envelope=replace(BAY.envelope, ceiling_u=u))
        now = state
        for _ in range(24):
            now, hour = advance(bay, model, now, Positions(), outside(-25.0))
        drips.append(hour.drip)
    assert drips == sorted(drips)
    assert drips[-1] > drips[0]


def test_a_bay_left_alone_warms_by_its_respiration():
    """Well insulated, fans off: slower than q / c, since air still carries some heat off."""
    shell = replace(BAY.envelope, wall_u=1e-6, ceiling_u=1e-6, leakage=1e-9)
    bay = replace(BAY, envelope=shell)
    model, state = full_bay(bay)
    for _ in range(48):
        state, hour = advance(bay, model, state, Positions(), outside(8.0))
    warmed = bed.layer_mean(state.bed.temperature) - 8.0
    adiabatic = float(np.mean(hour.step.respiration)) / model.heat_capacity * 48 * HOUR
    assert 0.5 * adiabatic < warmed < 1.02 * adiabatic


@pytest.mark.parametrize("temperature", [8.0, -10.0])
def test_heat_and_water_of_a_standing_bay_are_all_accounted_for(temperature):
    """Fans off for 20 days: respired = stored + through shell and leaks + evaporated, to 0.5 %."""
    model, first = full_bay()
    shell, area = BAY.envelope, BAY.pile.floor_area
    leak = shell.leakage * shell.headspace_volume * 1.25
    weather = outside(temperature, 0.8)
    lost = (shell.ceiling_u * shell.ceiling_area + leak * plain_air.AIR_HEAT) * HOUR
    respired = through = carried = given_off = 0.0
    state = first
    for _ in range(480):
        before = state
        state, hour = advance(BAY, model, before, Positions(), weather)
        respired += float(np.sum(hour.step.respiration)) * area * HOUR
        through += lost * (state.return_temperature - temperature)
        mean = bed.layer_mean(before.bed.temperature)
        through += shell.wall_u * shell.wall_area * HOUR * (mean - temperature)
        leaving = leak * (state.return_humidity_ratio - weather.humidity_ratio) + hour.drip
        carried += leaving * HOUR
        given_off += crop_water(BAY, model, before, state, hour, HOUR)
    warmed = np.sum(state.bed.temperature - first.bed.temperature)
    stored = warmed * model.heat_capacity * area
    assert stored + through + carried * 2.48e6 == approx(respired, rel=0.005)
    # The slow air that sinks through the pile takes some vapour it does not bring back.
    assert carried == approx(given_off, rel=0.03)


# --- loading and unloading --------------------------------------------------------------------


def test_loading_mixes_heat_by_mass():
    """Heat in what lies there and what comes in is heat in the mixture, at every step of it."""
    model = bay_model.bed_of(BAY, PRESSURE, 40)
    state = bay_model.first_state(BAY, model, None)
    warm = state.return_temperature
    state = replace(state, bed=replace(state.bed, temperature=np.linspace(5.0, 9.0, 40)))
    last = 0.0
    for hour in range(1, int(BAY.schedule.fill_days / HOUR) + 5):
        when = calendar.calendar_at(BAY, BEGIN + hour * HOUR)
        after = bay_model.load_and_unload(BAY, model, state, when, SCALAR)
        expected = state.loaded * state.bed.temperature + (after.loaded - state.loaded) * warm
        assert after.loaded * after.bed.temperature == approx(expected, rel=1e-12)
        assert last <= after.share <= 1.0
        last, state = after.share, after
    assert state.loaded == 1.0
    assert state.share == 1.0


def test_unloading_empties_floor_and_leaves_the_rest_as_it_is():
    model, state = full_bay()
    when = calendar.calendar_at(BAY, BEGIN)
    shares = []
    for k in range(21):
        now = when.unloading + k / 20 * (when.emptied - when.unloading)
        after = bay_model.load_and_unload(BAY, model, state, replace(when, now=now), SCALAR)
        shares.append(after.share)
        assert np.array_equal(after.bed.temperature, state.bed.temperature)
    assert shares[0] == 1.0
    assert shares[-1] == approx(1e-3)
    assert shares == sorted(shares, reverse=True)


# --- one bay, many bays -----------------------------------------------------------------------


def variants():
    bigger = replace(BAY, fans=replace(BAY.fans, airflow=BAY.fans.airflow * 1.2))
    colder = replace(BAY, envelope=replace(BAY.envelope, ceiling_u=0.5, leakage=1e-4))
    return [BAY, bigger, colder]


def test_a_bay_in_a_batch_is_that_bay_alone():
    """A hundred hours of fans on and off, each bay with positions of its own."""
    bays = variants()
    stack = stack_bays(bays)
    model, state = full_bay(stack, 3)
    alone = [full_bay(bay) for bay in bays]
    rng = np.random.default_rng(8)
    for k in range(100):
        weather = outside(float(rng.uniform(-15.0, 8.0)), float(rng.uniform(0.4, 1.0)), 30 + k / 24)
        speed = np.where(rng.random(3) < 0.4, 0.0, rng.uniform(0.5, 1.0, 3))
        door, aim = rng.uniform(0.0, 0.3, 3), rng.choice([0.0, 0.95], 3)
        state, hour = advance(
            stack, model, state,
            Positions(fan_speed=speed, door_opening=door, humidity_wanted=aim),
            weather, HOUR, ARRAY,
        )  # fmt: skip
        for i, bay in enumerate(bays):
            own = Positions(
                fan_speed=float(speed[i]), door_opening=float(door[i]),
                humidity_wanted=float(aim[i]),
            )  # fmt: skip
            after, own_hour = advance(bay, alone[i][0], alone[i][1], own, weather)
            alone[i] = (alone[i][0], after)
            for name in ("return_temperature", "return_humidity_ratio", "co2", "top_heat"):
                assert getattr(after, name) == approx(
                    getattr(state, name)[i], rel=1e-8, abs=1e-8
                ), name
            for name in ("fan_power", "water_added", "drip", "fresh_air"):
                assert getattr(own_hour, name) == approx(
                    getattr(hour, name)[i], rel=1e-7, abs=1e-9
                ), name
            for name in ("temperature", "water_loss", "film"):
                one, many = getattr(after.bed, name), getattr(state.bed, name)[:, i]
                assert np.max(np.abs(one - many)) <= 1e-9 * max(np.max(np.abs(one)), 1e-3), name
