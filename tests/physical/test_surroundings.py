"""Roof under sun and sky, ground under the floor, fans as installed: what a season stands in."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from ventcalc import air
from ventcalc.bay.file import example_bay
from ventcalc.building.ground import SOILS, Floor, ground_heat_gain
from ventcalc.check.air_system import air_system
from ventcalc.equipment.fan import operating_point
from ventcalc.errors import BadInput
from ventcalc.season.installed import as_installed
from ventcalc.season.surroundings import floor_heat, ground_at, ground_of, hours_of
from ventcalc.weather import Weather

approx = pytest.approx
SEED, FRIES = example_bay("seed_bay"), example_bay("fry_bay")
STEPS = 365 * 24


def made_up(**changes) -> Weather:
    """A year with a plain cosine of air temperature, warmest on 20 July, and half-day sun."""
    hours = np.arange(STEPS)
    time = np.datetime64("2021-01-01", "s") + hours * np.timedelta64(3600, "s")
    # The longest day is 21 June, a month before the warmest.
    angle = 2.0 * np.pi * hours / 24.0 / 365.25
    temperature = 8.0 + 12.0 * np.cos(angle - 2.0 * np.pi * 200.0 / 365.25)
    day = np.clip(np.sin(2.0 * np.pi * (hours % 24 - 6) / 24.0), 0.0, None)
    sun = (450.0 + 250.0 * np.cos(angle - 2.0 * np.pi * 171.0 / 365.25)) * day
    values = {
        "temperature": temperature,
        "relative_humidity": np.full(STEPS, 0.6),
        "pressure": np.full(STEPS, 95e3),
        "wind_speed": np.full(STEPS, 3.0),
        "global_radiation": sun,
        "sky_temperature": np.full(STEPS, np.nan),
        **changes,
    }
    ratio = air.humidity_ratio(values["temperature"], values["relative_humidity"], 95e3)
    return Weather(time=time, humidity_ratio=ratio, time_zone="UTC", step=3600.0, **values)


def columns(weather):
    hours, notes = hours_of(weather, np.arange(STEPS), 95e3)
    return np.array([[h.solar_rise, h.sky_drop, h.ground_season] for h in hours]).T, notes


def test_a_roof_warms_in_the_sun_and_cools_under_a_clear_sky():
    """Every day of this year is clear: the sky is 10 to 25 K below the air (ASHRAE), black."""
    (rise, drop, _), notes = columns(made_up())
    night = made_up().global_radiation == 0.0
    assert np.all(rise[night] == 0.0)
    assert 30.0 < rise.max() < 45.0  # 700 W/m² through 0.05 m² K/W
    assert np.all((drop > 1.5) & (drop < 7.0))
    assert any("Kasten" in note for note in notes)


def test_cloud_closes_the_sky():
    clear = made_up()
    dull = np.where(np.arange(STEPS) // 24 % 3 == 0, 0.3, 1.0) * clear.global_radiation
    (_, drop, _), _ = columns(made_up(global_radiation=dull))
    (_, open_, _), _ = columns(clear)
    cloudy = np.arange(STEPS) // 24 % 3 == 0
    assert drop[cloudy].mean() < 0.4 * open_[cloudy].mean()
    assert drop[~cloudy].mean() == approx(open_[~cloudy].mean(), rel=0.12)


def test_a_given_sky_is_taken_and_what_lacks_is_said():
    """Black roof under a given sky: sigma (Ta^4 - Ts^4) times the outside resistance."""
    nan = np.full(STEPS, np.nan)
    given = made_up().temperature - 20.0
    weather = made_up(sky_temperature=given, wind_speed=nan, global_radiation=nan)
    (rise, drop, _), notes = columns(weather)
    kelvin = weather.temperature + 273.15
    hand = 0.04 * 5.670374419e-8 * (kelvin**4 - (kelvin - 20.0) ** 4)
    assert drop == approx(hand, rel=1e-9)
    assert np.all(rise == 0.0)
    assert [note.split(";")[0] for note in notes] == [
        "roof: no wind speed for 100% of the hours",
        "roof: no sunlight for 100% of the hours",
    ]
    assert "cloud cover 0.5 taken" in " ".join(columns(made_up(global_radiation=nan))[1])


def test_the_ground_about_a_time_is_that_of_the_year_then():
    weather = made_up()
    hours, _ = hours_of(weather, np.arange(STEPS), 95e3)
    year = ground_of(SEED, weather)
    for k in (0, 3000, 6000):
        still = ground_at(SEED, weather, hours[k].time)
        wanted = floor_heat(year, hours[k], 5.0)
        assert floor_heat(still, hours[k], 5.0) == approx(wanted)
        assert floor_heat(still, hours[k + 500], 5.0) == approx(wanted)


def test_ground_and_hours_are_plain_floats():
    """A number of numpy makes every number of a season one, and the season twice as long."""
    weather = made_up()
    hours, _ = hours_of(weather, np.arange(24), 95e3)
    numbers = [*ground_of(SEED, weather), *ground_at(SEED, weather, hours[5].time), *hours[5]]
    assert {type(number) for number in numbers} == {float}


def test_floor_heat_is_that_of_the_ground_model_all_year():
    """Against ``ground_heat_gain`` with the cosine that this weather was made of."""
    weather = made_up()
    ground = ground_of(SEED, weather)
    pile = SEED.pile
    floor = Floor(
        area=pile.floor_area, perimeter=2.0 * (pile.length + pile.width), soil=SOILS["sand"]
    )
    hours, _ = hours_of(weather, np.arange(STEPS), 95e3)
    for k in range(0, STEPS, 700):
        wanted = ground_heat_gain(
            floor, inside_temperature=5.0, inside_mean=ground.inside_mean, outside_mean=8.0,
            outside_swing=12.0, year_phase=(k / 24.0 - 200.0) / 365.25,
        )  # fmt: skip
        assert floor_heat(ground, hours[k], 5.0) == approx(wanted, abs=15.0)
    assert SEED.schedule.holding_temperature < ground.inside_mean < 20.0


@pytest.mark.parametrize("bay", [SEED, FRIES], ids=["seed", "fries"])
def test_installed_fans_stand_at_their_operating_point(bay):
    pressure = float(air.standard_pressure(bay.site.altitude))
    found = air_system(bay, bay.pile.height, pressure=pressure, temperature=5.0)
    fans = as_installed(bay).fans
    assert fans.airflow == approx(found.airflow, rel=1e-12)
    power = fans.airflow * fans.static_pressure / fans.efficiency
    assert power == approx(found.electrical_power, rel=1e-12)


@pytest.mark.parametrize("bay", [SEED, FRIES], ids=["seed", "fries"])
def test_speed_moves_airflow_straight_and_power_by_its_cube(bay):
    """What advice and season take for granted, on the fan curve against ducts and pile."""
    pressure = float(air.standard_pressure(bay.site.altitude))
    found = air_system(bay, bay.pile.height, pressure=pressure, temperature=5.0)
    speed = np.linspace(0.3, 1.0, 8)
    point = operating_point(
        found.curve, found.system, density=found.density, count=bay.fans.count, fan_speed=speed
    )
    assert point.airflow == approx(found.airflow * speed, rel=3e-3)
    assert point.shaft_power == approx(found.point.shaft_power * speed**3, rel=3e-3)


def test_rated_fans_stay_where_nothing_else_is_known():
    plain = replace(
        SEED,
        ducts=None,
        fans=replace(SEED.fans, curve_airflow=None, curve_static_pressure=None),
    )
    assert as_installed(plain) is plain


def test_fans_that_cannot_are_refused_in_one_line():
    choked = replace(SEED, ducts=replace(SEED.ducts, port_area=1e-5, other_static_pressure=1500.0))
    with pytest.raises(BadInput, match="ventcalc check") as caught:
        as_installed(choked)
    assert "\n" not in str(caught.value)


def test_the_ground_is_a_month_late_and_the_night_roof_no_warmer_than_the_air():
    (rise, drop, season), _ = columns(made_up(global_radiation=np.zeros(STEPS)))
    assert np.all(rise == 0.0)
    assert season.max() == approx(1.0, abs=1e-3)
    # One month after the warmest day, 20 July.
    assert abs(int(np.argmax(season)) / 24.0 - (200.0 + 365.25 / 12.0)) < 1.5
    assert math.isfinite(drop.sum())
