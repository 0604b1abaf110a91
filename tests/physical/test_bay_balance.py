"""
Water and energy of the whole bay, kept beside the model: crop, air, humidifier, coil, doors,
leaks, structure.

The air holds nothing (its heat is that of some minutes of a run). Enthalpies are from dry air and
liquid water at 0 °C; water leaves the crop as a liquid at its mean temperature, and the heat
capacity of the crop stays that of the mass loaded.
"""

from __future__ import annotations

import copy
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ventcalc import air
from ventcalc.advice.policies import POLICIES, Positions
from ventcalc.advice.readings import START
from ventcalc.air.plain import split
from ventcalc.bay.calendar import calendar_at
from ventcalc.bay.description import Heater
from ventcalc.bay.file import example_bay
from ventcalc.bay.hourly import hourly
from ventcalc.pile.crop import metabolic_water_rate
from ventcalc.season import bay_model, bay_state, circuit, faults, surroundings
from ventcalc.season.installed import as_installed
from ventcalc.season.plan import weather_of_season
from ventcalc.weather import example_weather

CLOSE = 1e-6
"""Of the step's summed absolute terms, as promised."""
AIR, VAPOUR, EVAPORATION, WATER, ICE, MELTING = 1006.0, 1860.0, 2.5009e6, 4186.0, 2100.0, 333550.0
HUMIDIFIER_WATER = 10.0
GROUND = surroundings.Ground(steady_heat=-900.0, season_heat=500.0, inner=40.0, inside_mean=6.0)
SEED, FRY = example_bay("seed_bay"), example_bay("fry_bay")


def enthalpy(temperature, ratio):
    return AIR * temperature + ratio * (EVAPORATION + VAPOUR * temperature)


def liquid(temperature):
    return WATER * temperature if temperature >= 0.0 else ICE * temperature - MELTING


def water_held(layers, bed):
    """In tubers and on them, over that at loading. [kg/m²]"""
    return sum(layer.film - layer.water_loss for layer in layers) * bed.layer_mass


def leaks(bay, bed, state, loaded, share):
    """Dry air: every leak of the shut bay, twenty times with the truck door in use. [kg/s]"""
    solid = bay.mass / bed.crop.tuber_density * share
    volume = bay.envelope.headspace_volume + bay.pile.floor_area * bay.pile.height - solid
    kelvin = state.return_temperature + 273.15
    density = bed.pressure / (287.05 * kelvin * (1.0 + state.return_humidity_ratio / 0.621945))
    doors = 20.0 if loaded < 1.0 or share < 0.999 else 1.0
    return doors * bay.envelope.leakage * volume * density


def coil(bay, record, back, fresh, weather, bed):
    """Heat and water that the coil takes out of the air, net of what defrosting gives back."""
    if not record.coil_heat > 0.0:
        return 0.0, 0.0
    inside = enthalpy(*back)
    mixed = inside + fresh * (enthalpy(weather.temperature, weather.humidity_ratio) - inside)
    vapour = back[1] + fresh * (weather.humidity_ratio - back[1])
    entering = split(mixed, vapour, bed.pressure)[0]
    surface = entering - bay.refrigeration.coil_temperature_difference
    heat = record.coil_heat + record.coil_water * liquid(surface)
    if surface < 0.0:  # of an electric heater's heat half melts the frost, half warms the air
        heat -= record.coil_water * (WATER * 5.0 - ICE * surface + MELTING)
    return heat, record.coil_water


def books(bay, bed, layers, state, positions, weather, step):
    """One step, and the imbalance of water and energy over the sum of their absolute terms."""
    when = calendar_at(bay, weather.time)
    began = [copy.copy(layer) for layer in layers]
    bay_model.load_and_unload(bay, began, state, when)
    record = bay_state.StepRecord()
    after, fault, value = bay_model.step_bay(
        bay, bed, GROUND, layers, state, positions, weather, step, record
    )
    assert fault == faults.NO_FAULT, (faults.FAULTS[fault], value)
    share, shell = after.share, bay.envelope
    area = bay.pile.floor_area * share
    back = after.return_temperature, after.return_humidity_ratio
    respired = record.respiration * step
    given_off = water_held(began, bed) - water_held(layers, bed)
    given_off += metabolic_water_rate(respired, bed.crop)
    crop = np.mean([layer.temperature for layer in began])
    warmed = sum(a.temperature - b.temperature for a, b in zip(layers, began, strict=True))
    passing = record.fresh_air + leaks(bay, bed, state, after.loaded, share)
    taken, condensed = coil(
        bay, record, back, record.fresh_air / max(supplied(bay, bed, positions, share), 1e-9),
        weather, bed,
    )  # fmt: skip
    roof = weather.temperature + shell.roof_absorptance * weather.solar_rise
    roof -= shell.roof_emittance * weather.sky_drop
    floor = GROUND.steady_heat + GROUND.season_heat * weather.ground_season
    floor -= GROUND.inner * (crop - GROUND.inside_mean)
    vapour = EVAPORATION + VAPOUR * back[0]
    water = {
        "crop": given_off * area,
        "humidifier": record.water_added * step,
        "doors and leaks": passing * (weather.humidity_ratio - back[1]) * step,
        "ceiling": -record.drip * step,
        "coil": -condensed * step,
    }
    energy = {
        "crop": -warmed * bed.heat_capacity * area,
        "respiration": respired * area,
        "water of the crop": given_off * area * WATER * crop,
        "fans": record.fan_power * step,
        "heater": record.heater_power * step,
        "humidifier": record.water_added * WATER * HUMIDIFIER_WATER * step,
        "exchange": passing * (enthalpy(weather.temperature, weather.humidity_ratio)
                               - enthalpy(*back)) * step,
        "walls": shell.wall_u * shell.wall_area * (weather.temperature - crop) * share * step,
        "floor": floor * share * step,
        "ceiling": -shell.ceiling_u * shell.ceiling_area * (back[0] - roof) * step,
        "drip": -record.drip * vapour * step,
        "coil": -taken * step,
    }  # fmt: skip
    return after, record, relative(water), relative(energy)


def supplied(bay, bed, positions, share):
    """Dry air of the fans; their airflow is that of air at 5 °C. [kg/s]"""
    flow = bay.fans.airflow * positions.fan_speed * share
    return flow * bed.pressure / (287.05 * 278.15)


def relative(terms):
    return abs(sum(terms.values())) / sum(abs(term) for term in terms.values())


def season(bay, policy, layers=40, every=1):
    """Imbalance of every step of a season, and its records."""
    weather = weather_of_season(bay.schedule, example_weather())
    pressure = float(np.mean(weather.pressure))
    bay = as_installed(bay, pressure=pressure)
    rows = np.arange(48, len(weather.time) - 72)
    hours = surroundings.hours_of(weather, rows, pressure)[0]
    this, bed = hourly(bay, hours[0].time), bay_state.bed_of(bay, pressure, layers)
    pile, state = bay_state.first_layers(bay, layers), bay_state.first_state(bay, pressure)
    memory, found, records = START, [], []
    for hour in hours[::every]:
        told = bay_model.readings_of(state, pile, hour, pressure)
        positions, memory = POLICIES[policy](this, told, memory)
        if positions.action == 0:
            positions = positions._replace(fan_speed=0.0)
        state, record, water, energy = books(
            this, bed, pile, state, positions, hour, weather.step * every
        )
        found.append((water, energy))
        records.append(record)
    return np.array(found), records


HEATED = replace(FRY, heater=Heater(capacity=3e4), refrigeration=replace(
    FRY.refrigeration, coil_temperature_difference=10.0))  # fmt: skip


@pytest.mark.parametrize(
    ("bay", "policy", "layers", "every"),
    [
        (SEED, "advice", 20, 1),
        (FRY, "advice", 10, 3),
        (HEATED, "thermostat", 12, 3),
        (SEED, "clock", 12, 3),
        (FRY, "nothing", 12, 3),
    ],
)
def test_water_and_energy_close_in_every_step_of_a_season(bay, policy, layers, every):
    found, records = season(bay, policy, layers, every)
    assert len(found) > 5000 / every
    assert found[:, 0].max() < CLOSE
    assert found[:, 1].max() < CLOSE
    runs = np.array([record.runs for record in records])
    assert policy == "nothing" or 0.1 < runs.mean() < 0.9  # starts and stops are among them


def test_the_tries_of_a_step_are_few_and_enough(monkeypatch):
    """One where fans rest, three at most nine times of ten; a far finer search changes little."""
    tries, counted = [0], circuit.step_layers

    def counting(*given_):
        tries[0] += 1
        return counted(*given_)

    monkeypatch.setattr(circuit, "step_layers", counting)
    weather = weather_of_season(SEED.schedule, example_weather())
    pressure = float(np.mean(weather.pressure))
    bay = as_installed(SEED, pressure=pressure)
    hours = surroundings.hours_of(weather, np.arange(48, 1500), pressure)[0]
    this, bed = hourly(bay, hours[0].time), bay_state.bed_of(bay, pressure, 20)
    pile, state = bay_state.first_layers(bay, 20), bay_state.first_state(bay, pressure)
    memory, at_rest, running = START, [], []
    for hour in hours:
        told = bay_model.readings_of(state, pile, hour, pressure)
        positions, memory = POLICIES["advice"](this, told, memory)
        twin, before = [copy.copy(layer) for layer in pile], state
        tries[0] = 0
        state, record, *_ = books(this, bed, pile, before, positions, hour, 3600.0)
        (running if record.runs else at_rest).append(tries[0])
        if len(running) % 10 == 1 and record.runs:
            with monkeypatch.context() as finer:
                finer.setattr(circuit, "NEAR", 1e-6)
                finer.setattr(circuit, "MOST_TRIES", 100)
                fine, *_ = books(this, bed, twin, before, positions, hour, 3600.0)
            assert fine.return_temperature == pytest.approx(state.return_temperature, abs=0.01)
            assert fine.return_humidity_ratio == pytest.approx(
                state.return_humidity_ratio, abs=1e-5
            )
    assert set(at_rest) == {1}
    assert np.percentile(running, 90) <= 3
    assert max(running) < circuit.MOST_TRIES


@settings(deadline=None, max_examples=100)
@given(
    pulp=st.floats(3.0, 16.0), tilt=st.floats(-2.0, 4.0), exit_=st.floats(-2.0, 2.0),
    moist=st.floats(0.5, 1.0), film=st.sampled_from([0.0, 1e-5, 1e-3]), t=st.floats(-25.0, 25.0),
    rh=st.floats(0.2, 1.0), speed=st.sampled_from([0.0, 0.5, 1.0]), door=st.floats(0.0, 1.0),
    mist=st.sampled_from([0.0, 0.92, 1.0]), cools=st.sampled_from([0.0, 0.5, 1.0]),
    warms=st.sampled_from([0.0, 1.0]), sun=st.floats(0.0, 25.0), share=st.sampled_from([0.3, 1.0]),
    step=st.sampled_from([60.0, 3600.0, 14400.0]),
)  # fmt: skip
def test_water_and_energy_close_from_any_state(
    pulp, tilt, exit_, moist, film, t, rh, speed, door, mist, cools, warms, sun, share, step
):
    """Fans that start, doors that open, a wet pile, fog, frost on the coil."""
    begin, pressure = hourly(HEATED, 1_700_000_000.0).dates.fill_start, 95e3
    this, bed = hourly(HEATED, begin), bay_state.bed_of(HEATED, pressure, 20)
    layers = bay_state.first_layers(HEATED, 20)
    for k, layer in enumerate(layers):
        layer.temperature, layer.film = pulp + tilt * k / 20.0, film
    leaving = pulp + tilt + exit_
    ratio = float(air.humidity_ratio(leaving, moist, pressure))
    state = bay_state.first_state(HEATED, pressure)._replace(
        share=share, loaded=share, exit_temperature=leaving, return_temperature=leaving,
        exit_humidity_ratio=ratio, return_humidity_ratio=ratio, curing=1e6,
    )  # fmt: skip
    day = 40.0 if share == 1.0 else 0.3 * HEATED.schedule.fill_days / 86400.0
    weather = surroundings.Outside(
        time=begin + day * 86400.0, temperature=t, relative_humidity=rh,
        humidity_ratio=float(air.humidity_ratio(t, rh, pressure)), solar_rise=sun, sky_drop=3.0,
        ground_season=0.4,
    )  # fmt: skip
    positions = Positions(
        fan_speed=speed,
        door_opening=door,
        humidity_wanted=mist,
        refrigeration=cools if t > -5.0 else 0.0,
        heater=warms,
    )
    *_, water, energy = books(this, bed, layers, state, positions, weather, step)
    assert water < CLOSE
    assert energy < CLOSE
