"""A whole bay by its own balances: water, heat and CO2 of a step, limits, loading."""

from __future__ import annotations

import copy
from dataclasses import replace
from typing import NamedTuple

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ventcalc import air
from ventcalc.advice.policies import Positions
from ventcalc.air import plain as plain_air
from ventcalc.bay.calendar import calendar_at
from ventcalc.bay.description import Heater
from ventcalc.bay.file import example_bay
from ventcalc.bay.hourly import hourly
from ventcalc.pile.crop import co2_rate, metabolic_water_rate, respiration_heat
from ventcalc.pile.layers import Bed, Layer, layer_mean
from ventcalc.season import bay_model, bay_state, faults, headspace, surroundings

approx = pytest.approx
HOUR, DAY = 3600.0, 86400.0
BAY = example_bay()
PRESSURE = 84.3e3
BEGIN = hourly(BAY, 1_700_000_000.0).dates.fill_start
"""First load, UTC."""


class Moment(NamedTuple):
    """A bay at a time, and what the step that led there did."""

    bed: Bed
    layers: list[Layer]
    state: bay_state.BayState
    record: bay_state.StepRecord

    def of_all(self, name):
        """A property of every layer."""
        return np.array([getattr(layer, name) for layer in self.layers])

    @property
    def mean(self):
        return layer_mean(self.layers)


def outside(temperature, relative=0.7, day=40.0):
    return surroundings.Outside(
        time=BEGIN + day * DAY,
        temperature=temperature,
        relative_humidity=relative,
        humidity_ratio=air.humidity_ratio(temperature, relative, PRESSURE),
    )


def complete(bay):
    return hourly(bay, BEGIN)


def first(bay=BAY):
    """A bay at its first load."""
    return Moment(
        bay_state.bed_of(bay, PRESSURE, 40),
        bay_state.first_layers(bay, 40),
        bay_state.first_state(bay, PRESSURE),
        bay_state.StepRecord(),
    )


def full_bay(bay=BAY, temperature=8.0):
    """A filled bay, weeks after its first load."""
    now = first(bay)
    moist = air.humidity_ratio(temperature, 0.95, PRESSURE)
    state = now.state._replace(
        share=1.0, loaded=1.0, exit_temperature=temperature, return_temperature=temperature,
        exit_humidity_ratio=moist, return_humidity_ratio=moist, curing=20 * DAY,
    )  # fmt: skip
    return now._replace(layers=[Layer(temperature) for _ in now.layers], state=state)


def advance(bay, now, positions, weather, step=HOUR):
    """The moment a step later; the one given stays as it is."""
    layers, record = [copy.copy(layer) for layer in now.layers], bay_state.StepRecord()
    after, fault, value = bay_model.step_bay(
        complete(bay), now.bed, surroundings.Ground(), layers, now.state, positions, weather, step,
        record,
    )  # fmt: skip
    assert fault == faults.NO_FAULT, (faults.FAULTS[fault], value)
    return Moment(now.bed, layers, after, record)


def leaking(now):
    """Dry air through the leaks of the shut bay, all of whose free air takes part. [kg/s]"""
    shell, state = BAY.envelope, now.state
    solid = BAY.mass / now.bed.crop.tuber_density
    volume = shell.headspace_volume + BAY.pile.floor_area * BAY.pile.height - solid
    vapour = PRESSURE * state.return_humidity_ratio / (0.621945 + state.return_humidity_ratio)
    density = (PRESSURE - vapour) / (287.05 * (state.return_temperature + 273.15))
    return shell.leakage * volume * density


def crop_water(bay, before, after, step):
    """Water that left the crop and its film in a step, for the whole bay. [kg]"""
    area, mass = bay.pile.floor_area * after.state.share, after.bed.layer_mass
    lost = np.sum(after.of_all("water_loss") - before.of_all("water_loss")) * mass
    film = np.sum(after.of_all("film") - before.of_all("film")) * mass
    formed = metabolic_water_rate(after.record.respiration, after.bed.crop) * step
    return (lost + formed - film) * area


speeds = st.one_of(st.just(0.0), st.floats(0.5, 1.0))
settings_ = {
    "t": st.floats(-25.0, 15.0), "rh": st.floats(0.3, 1.0), "speed": speeds,
    "door": st.floats(0.0, 1.0), "mist": st.sampled_from([0.0, 0.9, 0.95]),
    "pulp": st.floats(4.0, 15.0),
}  # fmt: skip


spaces = {
    "flow": st.floats(0.05, 30.0), "exit_": st.floats(2.0, 18.0), "moist": st.floats(0.6, 1.0),
    "top": st.floats(2.0, 18.0), "t": st.floats(-30.0, 20.0), "rh": st.floats(0.2, 1.0),
    "over_air": st.floats(-10.0, 40.0), "crop": st.floats(2.0, 18.0),
    "use": st.sampled_from([(1.0, 1.0), (0.4, 20.0), (1.0, 20.0)]),
}  # fmt: skip


@settings(deadline=None, max_examples=100)
@given(**spaces)
def test_the_headspace_keeps_heat_and_water(flow, exit_, moist, top, t, rh, over_air, crop, use):
    """
    What comes from the pile, by leaks and from the top tubers leaves again.
    """
    share, doors = use
    w_exit, w_out = air.humidity_ratio(exit_, moist, PRESSURE), air.humidity_ratio(t, rh, PRESSURE)
    roof = t + over_air
    shell, area, leak = BAY.envelope, BAY.pile.floor_area * share, doors * 0.07
    over = headspace.headspace(
        bay=complete(BAY), bed=first().bed, flow=flow, leak=leak, outlet_temperature=exit_,
        outlet_humidity_ratio=w_exit, top=top, pulp_mean=crop, curing=20 * DAY, share=share,
        outside=outside(t, rh), roof_temperature=roof,
    )  # fmt: skip
    inside = over.temperature, over.humidity_ratio
    terms = [
        flow * (plain_air.enthalpy(exit_, w_exit) - plain_air.enthalpy(*inside)),
        leak * (plain_air.enthalpy(t, w_out) - plain_air.enthalpy(*inside)),
        -over.top_heat * area,
        over.from_top * area * 4186.0 * crop,
        -shell.ceiling_u * shell.ceiling_area * (over.temperature - roof),
        -over.drip * (2.5009e6 + 1860.0 * over.temperature),
    ]
    assert sum(terms) == approx(0.0, abs=1e-9 * sum(map(abs, terms)) + 1e-6)
    water = flow * (w_exit - over.humidity_ratio) + leak * (w_out - over.humidity_ratio)
    water += over.from_top * area - over.drip
    assert water == approx(0.0, abs=1e-12 * (flow + leak + area))
    assert min(exit_, top, t, roof) - 1e-9 <= over.temperature <= max(exit_, top, t, roof) + 1e-9
    assert over.drip >= 0.0


@settings(deadline=None, max_examples=40)
@given(**settings_)
def test_an_hour_stays_within_reason(t, rh, speed, door, mist, pulp):
    """No air beyond its sources and their wet bulb, CO2 above outside, nothing negative."""
    positions = Positions(fan_speed=speed, door_opening=door, humidity_wanted=mist)
    here = outside(t, rh)
    _, layers, after, hour = advance(BAY, full_bay(temperature=pulp), positions, here)
    wet = air.wet_bulb(t, here.humidity_ratio, PRESSURE)
    assert min(wet, pulp) - 0.5 < after.return_temperature < max(t, pulp) + 2.0
    assert min(wet, pulp) - 0.5 < after.plenum_temperature < max(t, pulp) + 2.0
    assert after.co2 >= 419e-6
    assert hour.drip >= 0.0
    assert hour.water_added >= 0.0
    assert all(layer.film >= 0.0 for layer in layers)
    assert hour.fresh_air >= 0.0
    if speed == 0.0:
        assert hour.fan_power == hour.water_added == hour.fresh_air == 0.0


def test_heat_of_a_bay_at_rest_is_all_accounted_for():
    """
    Constant weather and positions for four months: what respires and what the fans bring leaves
    by doors, leaks and shell. Enthalpies of real air (``air.enthalpy``), so to 1 %.
    """
    now = full_bay(temperature=6.0)
    positions = Positions(fan_speed=1.0, door_opening=0.04)
    weather = outside(-3.0, 0.8, day=60.0)
    for _ in range(900):
        before = now.mean
        now = advance(BAY, now, positions, weather, 3 * HOUR)
    model, state, hour, mean = now.bed, now.state, now.record, now.mean
    shell, area = BAY.envelope, BAY.pile.floor_area
    stored = (mean - before) * model.heat_capacity * model.layers * area / (3 * HOUR)
    assert abs(mean - before) < 0.01  # nearly at rest
    made = hour.respiration * area + hour.fan_power
    inside = air.enthalpy(state.return_temperature, state.return_humidity_ratio, PRESSURE)
    beyond = air.enthalpy(weather.temperature, weather.humidity_ratio, PRESSURE)
    vented = (hour.fresh_air + leaking(now)) * (inside - beyond)
    shell_loss = shell.wall_u * shell.wall_area * (mean - weather.temperature)
    shell_loss += (
        shell.ceiling_u * shell.ceiling_area * (state.return_temperature - weather.temperature)
    )
    water = now.of_all("evaporated").sum() * area * plain_air.WATER_HEAT * mean
    assert made > 2e4
    dripped = hour.drip * plain_air.EVAPORATION  # its heat leaves through the ceiling
    assert vented + shell_loss + dripped + stored - water == approx(made, rel=0.01)


def test_carbon_dioxide_settles_where_fresh_air_carries_it_off():
    """Steady level = outside + production / fresh air: plain mass balance."""
    now = full_bay(temperature=6.0)
    positions = Positions(fan_speed=1.0, door_opening=0.1)
    for _ in range(400):
        now = advance(BAY, now, positions, outside(3.0), HOUR)
    model = now.bed
    made = co2_rate(now.record.respiration, model.crop) * BAY.pile.floor_area
    shell = BAY.envelope
    leak = leaking(now) / (PRESSURE / (287.05 * 278.15))
    fresh = now.record.fresh_air / (PRESSURE / (287.05 * 278.15)) + leak
    volume = leak / shell.leakage
    density = PRESSURE * 44.009e-3 / (8.314462618 * 278.15)
    assert now.state.co2 - 420e-6 == approx(made / density / fresh, rel=0.02)
    level = now.state.co2
    now = advance(BAY, now, Positions(), outside(3.0), HOUR)
    for _ in range(3600):
        gain = co2_rate(now.record.respiration, model.crop) * BAY.pile.floor_area / density
        level += gain / volume - shell.leakage * (level - 420e-6)
    assert now.state.co2 == approx(level, rel=0.01)


@pytest.mark.parametrize("relative", [0.4, 0.9])
def test_colder_weather_means_colder_plenum_and_ceiling(relative):
    positions = Positions(fan_speed=1.0, door_opening=0.15)
    found = [
        advance(BAY, full_bay(), positions, outside(t, relative))
        for t in (-20.0, -10.0, -3.0, 3.0, 12.0)
    ]
    for name in ("plenum_temperature", "ceiling_temperature"):
        values = [getattr(after.record, name) for after in found]
        assert values == sorted(values)
    mean = [after.mean for after in found]
    assert mean == sorted(mean)


def test_a_better_ceiling_drips_less():
    drips = []
    for u in (0.1, 0.3, 0.8, 2.0):
        bay = replace(BAY, envelope=replace(BAY.envelope, ceiling_u=u))
        now = full_bay()
        for _ in range(24):
            now = advance(bay, now, Positions(), outside(-25.0))
        drips.append(now.record.drip)
    assert drips == sorted(drips)
    assert drips[-1] > drips[0]


def test_a_bay_left_alone_warms_by_its_respiration():
    """Well insulated, fans off: slower than q / c, since air still carries some heat off."""
    shell = replace(BAY.envelope, wall_u=1e-6, ceiling_u=1e-6, leakage=1e-9)
    bay = replace(BAY, envelope=shell)
    now = full_bay(bay)
    for _ in range(48):
        now = advance(bay, now, Positions(), outside(8.0))
    warmed = now.mean - 8.0
    each = now.record.respiration / now.bed.layers
    adiabatic = each / now.bed.heat_capacity * 48 * HOUR
    assert 0.5 * adiabatic < warmed < 1.02 * adiabatic


@pytest.mark.parametrize(
    ("day", "part", "doors"),
    [(2.0, "filling", 20.0), (40.0, "full", 1.0), (230.0, "emptying", 20.0)],
)
def test_truck_doors_carry_carbon_dioxide_off(day, part, doors):
    """Fans off, 1 % of CO2: an hour of leaks and of the crop's breath, second by second."""
    now = full_bay()
    dates = complete(BAY).dates
    assert BAY.schedule.fill_days > 3 * DAY
    assert day != 230.0 or DAY < BEGIN + day * DAY - dates.unloading_start < 15 * DAY
    loaded = min(day * DAY / BAY.schedule.fill_days, 1.0)
    now = now._replace(state=now.state._replace(co2=0.01, loaded=loaded))
    after = advance(BAY, now, Positions(), outside(8.0, day=day))
    solid = BAY.mass / now.bed.crop.tuber_density * after.state.share
    volume = BAY.envelope.headspace_volume + BAY.pile.volume - solid
    density = PRESSURE * 44.009e-3 / (8.314462618 * 281.15)
    area = BAY.pile.floor_area * after.state.share
    gain = co2_rate(after.record.respiration, now.bed.crop) * area / density / volume
    level = 0.01
    for _ in range(3600):
        level += gain - doors * BAY.envelope.leakage * (level - 420e-6)
    assert after.state.co2 == approx(level, rel=0.01), part


@pytest.mark.parametrize("day", [0.5, 2.0, 5.9, 6.5, 12.0, 60.0])
def test_the_crop_is_as_old_as_its_mean_load(day):
    """Loads come evenly: while the bay is filled half of its time, later half the filling less."""
    time, filled = day * DAY, BAY.schedule.fill_days
    assert filled == 6 * DAY
    now = first()
    warm = now.state.return_temperature
    loaded = min(time / filled, 1.0)
    now = now._replace(state=now.state._replace(loaded=loaded, share=loaded))
    after = advance(BAY, now, Positions(), outside(10.0, day=day))
    age = time / 2.0 if time < filled else time - filled / 2.0
    crop, mass = now.bed.crop, now.bed.layer_mass * now.bed.layers
    breath = respiration_heat(warm, age, crop, now.bed.maturity) * mass
    assert after.record.respiration == approx(breath, rel=1e-6)


def test_equipment_serves_the_floor_that_is_under_crop():
    """Half of the trucks gone: half the fans' air and power, half of heater and refrigeration."""
    bay = replace(
        BAY, refrigeration=example_bay("fry_bay").refrigeration, heater=Heater(capacity=2e4)
    )
    unloading = complete(bay).dates.unloading_start - BEGIN
    half = (unloading + 0.5 * bay.schedule.unloading_days) / DAY
    positions = Positions(fan_speed=0.8, door_opening=0.1, refrigeration=0.5, heater=0.5)
    whole, part = (
        advance(bay, full_bay(bay), positions, outside(8.0, day=day)) for day in (60.0, half)
    )
    assert part.state.share == approx(0.5, abs=1e-9)
    for name in ("fan_power", "heater_power", "fresh_air"):
        assert getattr(part.record, name) == approx(0.5 * getattr(whole.record, name), rel=1e-9)
    assert whole.record.heater_power == 0.5 * 2e4
    assert part.record.coil_power == approx(0.5 * whole.record.coil_power, rel=0.02)


@pytest.mark.parametrize("runs", [False, True])
def test_sun_and_sky_reach_the_ceiling_as_far_as_the_roof_takes_and_gives(runs):
    """
    Outside air, plus absorptance times the sun's rise, less emittance times the sky's drop; the
    ceiling's coldest spots by ISO 6946 with an inside resistance of 0.10 m² K/W.
    """
    shell = replace(BAY.envelope, ceiling_u=0.5, roof_absorptance=0.7, roof_emittance=0.4)
    bay = replace(BAY, envelope=shell)
    found = []
    for rise, drop in ((0.0, 0.0), (20.0, 0.0), (0.0, 5.0), (20.0, 5.0)):
        weather = outside(2.0)._replace(solar_rise=rise, sky_drop=drop)
        after = advance(bay, full_bay(bay), Positions(fan_speed=0.8 if runs else 0.0), weather)
        inside, roof = after.state.return_temperature, 2.0 + 0.7 * rise - 0.4 * drop
        through = 0.5 * shell.bridge_factor * 0.10 * (inside - roof)
        assert after.record.ceiling_temperature == approx(inside - through, abs=1e-9)
        found.append(inside)
    assert found[2] < found[0] < found[3] < found[1]


# --- what leaves the range of the model -------------------------------------------------------


PLANT = replace(example_bay("fry_bay").refrigeration, coil_temperature_difference=15.0)
CHILLED = replace(BAY, refrigeration=PLANT)
OPEN, COLD = Positions(fan_speed=1.0, door_opening=1.0), Positions(fan_speed=1.0, refrigeration=1.0)
MILD, NAN = outside(5.0), float("nan")
SLOW = 1e-4 * BAY.fans.airflow / BAY.pile.floor_area


@pytest.mark.parametrize(
    ("name", "positions", "weather", "value"),
    [
        ("fan_speed", Positions(fan_speed=1.01), MILD, 1.01),
        ("fan_speed", Positions(fan_speed=NAN), MILD, NAN),
        ("door_opening", Positions(door_opening=-0.01), MILD, -0.01),
        ("humidity_wanted", Positions(fan_speed=1.0, humidity_wanted=95.0), MILD, 95.0),
        ("refrigeration", Positions(refrigeration=NAN), MILD, NAN),
        ("heater", Positions(heater=2.0), MILD, 2.0),
        ("superficial_velocity", Positions(fan_speed=1e-4), MILD, SLOW),
        ("inlet_temperature", OPEN, MILD._replace(temperature=-60.0), -59.5),
        ("inlet_humidity_ratio", OPEN, MILD._replace(humidity_ratio=0.2), 0.2),
        ("coil surface", COLD, MILD, -29.6),
        ("outside_temperature", COLD, MILD._replace(temperature=70.0), 70.0),
    ],
)
def test_what_leaves_the_range_is_named_with_its_value(name, positions, weather, value):
    now = full_bay(CHILLED)
    if name == "coil surface":  # air out of the pile as no pile gives it
        now = now._replace(state=now.state._replace(exit_temperature=-36.5))
    _, fault, found = bay_model.step_bay(
        complete(CHILLED), now.bed, surroundings.Ground(), now.layers, now.state, positions,
        weather, HOUR, now.record,
    )  # fmt: skip
    said, low, high, *_ = faults.FAULTS[fault]
    assert said == name
    assert not low <= found <= high
    assert found == approx(value, rel=0.02, abs=1e-9, nan_ok=True)


def test_a_pile_that_heats_itself_out_of_range_is_named():
    now = full_bay(temperature=44.99)
    _, fault, value = bay_model.step_bay(
        complete(BAY), now.bed, surroundings.Ground(steady_heat=1e6), now.layers, now.state,
        Positions(), outside(40.0), HOUR, now.record,
    )  # fmt: skip
    assert faults.FAULTS[fault][0] == "temperature"
    assert 45.0 < value < 46.0


# --- loading and unloading --------------------------------------------------------------------


def load(bay, now, hour):
    """The moment after loads have come in, or trucks have gone, at an hour of the season."""
    layers = [copy.copy(layer) for layer in now.layers]
    year = complete(bay)
    when = calendar_at(year, BEGIN + hour * HOUR)
    share, loaded, curing = bay_model.load_and_unload(year, layers, now.state, when)
    state = now.state._replace(share=share, loaded=loaded, curing=curing)
    return now._replace(layers=layers, state=state)


def test_air_that_sinks_at_rest_leaves_no_film_on_a_colder_bottom():
    """On its way down it has passed colder and colder skins, which took what they do not hold."""
    now = full_bay(temperature=8.0)
    for layer, temperature in zip(now.layers, np.linspace(4.0, 8.0, 40), strict=True):
        layer.temperature = float(temperature)
    after = advance(BAY, now, Positions(), outside(5.0))
    assert not after.of_all("film").any()
    assert after.record.condensed == 0.0


def test_loading_mixes_heat_and_water_by_mass():
    """Heat in what lies there and what comes in is heat in the mixture, at every step of it."""
    now = first()
    for layer in now.layers:
        layer.film = layer.water_loss = layer.dry_matter_loss = 0.01
    warm = now.state.return_temperature
    for layer, temperature in zip(now.layers, np.linspace(5.0, 9.0, 40), strict=True):
        layer.temperature = float(temperature)
    last = 0.0
    for hour in range(1, int(BAY.schedule.fill_days / HOUR) + 5):
        after = load(BAY, now, hour)
        new = after.state.loaded - now.state.loaded
        expected = now.state.loaded * now.of_all("temperature") + new * warm
        assert after.state.loaded * after.of_all("temperature") == approx(expected, rel=1e-12)
        for name in ("film", "water_loss", "dry_matter_loss"):
            kept = now.state.loaded * now.of_all(name)
            assert after.state.loaded * after.of_all(name) == approx(kept, rel=1e-12)
        assert last <= after.state.share <= 1.0
        last, now = after.state.share, after
    assert now.state.loaded == 1.0
    assert now.state.share == 1.0


def test_unloading_empties_floor_and_leaves_the_rest_as_it_is():
    now = full_bay()
    when = calendar_at(complete(BAY), BEGIN)
    shares = []
    for k in range(21):
        time = when.unloading + k / 20 * (when.emptied - when.unloading)
        after = load(BAY, now, time / HOUR)
        shares.append(after.state.share)
        assert np.array_equal(after.of_all("temperature"), now.of_all("temperature"))
    assert shares[0] == 1.0
    assert shares[-1] == approx(1e-3)
    assert shares == sorted(shares, reverse=True)
