"""Re-warming and emptying: heat and CO2 balances by hand, limits, and answers that are monotone."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import date
from itertools import pairwise

import pytest

from ventcalc.advice.fresh_air import PEOPLE_CO2
from ventcalc.bay.file import example_bay
from ventcalc.stages.emptying import (
    air_for_remains,
    on_the_truck,
    people_inside,
)
from ventcalc.stages.warm_up import model_run, warm_up
from ventcalc.weather import example_weather

DAY = 86400.0
BAY = example_bay("seed_bay")


def warmed(bay=BAY, **changed):
    given = {"pulp": 3.0, "final": 7.0, "outside_temperature": 5.0, "ramp": 10.0 / DAY}
    return warm_up(bay, bay.mass, **{**given, **changed})


def test_heat_and_rise_by_hand():
    """1 814.369 t of 3.52 kJ/(kg K), warmed by 4 K; outside as warm as the mean pulp."""
    found = warmed()
    assert found.heat == pytest.approx(1814369.48 * 3520.0 * 4.0)
    assert found.walls == pytest.approx(0.0)
    assert found.heater == pytest.approx(30e3)
    # Settled respiration of 11.5 W/t, within the temperature factor's 1 at 7 and 1.1 at 3 °C.
    assert 11.5e-3 * 1814369 <= found.respiration <= 1.1 * 11.5e-3 * 1814369
    # Air 1.5 K warmer: the airflow of 19.5 m3/s at about 1.1 kg/m3 and 1.006 kJ/(kg K).
    assert found.air_heat == pytest.approx(19.5 * 1.08 * 1006.0 * 1.5, rel=0.05)
    assert found.binds == "air"
    by_hand = found.heat / (found.air_heat + found.respiration)
    assert found.lead_time == pytest.approx(by_hand)


def test_walls_by_hand():
    shell = BAY.envelope
    loss = shell.wall_area * shell.wall_u + shell.ceiling_area * shell.ceiling_u
    assert warmed(outside_temperature=-5.0).walls == pytest.approx(-10.0 * loss)


def test_what_sets_the_rate():
    assert warmed(ramp=0.1 / DAY).binds == "ramp"
    assert warmed(ramp=0.1 / DAY).lead_time == pytest.approx(40 * DAY)
    cold = warmed(replace(BAY, heater=None))
    assert cold.binds == "heat"
    assert cold.lead_time == pytest.approx(cold.heat / (cold.fans + cold.respiration))
    assert warmed(final=2.0).lead_time == 0.0
    frozen = replace(BAY, heater=None, envelope=replace(BAY.envelope, ceiling_u=2.0))
    assert warmed(frozen, outside_temperature=-30.0).lead_time == math.inf


def test_the_model_warms_with_its_lead():
    """A lead that is too short leaves the pile cold, so a longer one is taken, and no crop wets."""
    given = {"pulp": 3.3, "final": 7.2, "day": date(2027, 5, 1)}
    run = model_run(BAY, example_weather(), lead_time=3 * DAY, **given)
    assert run.arrived
    assert run.lead_time > 3 * DAY
    assert 7.2 - BAY.limits.band <= run.pulp_mean <= 7.2 + BAY.limits.band
    assert 3.3 < run.pulp_coldest <= run.pulp_mean
    assert run.wet_time == 0.0
    # Not faster than all the heat there is: 150 kW would be twice fans, heater and respiration.
    power = BAY.mass * 3520.0 * (run.pulp_mean - 3.3) / run.lead_time
    assert 0.0 < power < 150e3
    assert 0.0 < run.mass_loss < 0.01


def test_the_model_takes_longer_in_the_cold_and_takes_any_date():
    """Tubers stay dry by waiting: on 1 March it takes longer than on 1 May; a leap day is a day."""
    weather, given = example_weather(), {"pulp": 3.3, "final": 5.8, "lead_time": 7 * DAY}
    winter = model_run(BAY, weather, day=date(2028, 2, 29), **given)
    spring = model_run(BAY, weather, day=date(2027, 5, 1), **given)
    assert winter.arrived
    assert spring.arrived
    assert winter.lead_time > spring.lead_time
    assert winter.energy > spring.energy
    # Before the bay file's harvest and just after it, where its own season knows no unloading.
    for day in (date(2027, 8, 30), date(2026, 9, 20)):
        assert model_run(BAY, weather, day=day, **given).pulp_mean > 3.3


# --- emptying ----------------------------------------------------------------------------


def test_what_is_left_gets_more_air_than_it_needs():
    rows = air_for_remains(BAY, BAY.mass)
    assert [row.laterals for row in rows] == [12, 9, 6, 3, 2]
    for more, less in pairwise(rows):
        assert less.airflow < more.airflow
        assert less.airflow_per_mass > more.airflow_per_mass
        assert less.static_pressure > more.static_pressure
        assert less.kept_if_open < more.kept_if_open
        assert less.fan_speed < more.fan_speed
    full, half = rows[0], rows[2]
    assert (full.fan_speed, full.kept_if_open) == (1.0, 1.0)
    # Speed by the fan laws: half the air of the full bay, over what full speed gives.
    assert half.fan_speed == pytest.approx(0.5 * full.airflow / half.airflow)
    # Six of twelve laterals bear no pile, so a little less than half the air reaches crop.
    assert 0.4 < half.kept_if_open < 0.5


def test_co2_by_hand():
    """10.7 MJ of heat a kg of CO2; 21 kW of a pile give 7 kg an hour."""
    found = people_inside(BAY, BAY.mass, 7.2)
    heat = 11.5e-3 * BAY.mass
    density = 1.95 * (1.0 - 2.25577e-5 * BAY.site.altitude) ** 5.25588  # standard atmosphere
    assert found.volume_flow == pytest.approx(heat / 10.7e6 / density, rel=0.01)
    assert found.fresh_airflow == pytest.approx(found.volume_flow / (0.005 - 0.00042))
    # Step by step: the same time from the crop's limit to people's.
    volume = found.volume_flow / found.co2_climb
    level, time = BAY.limits.co2, 0.0
    while level < PEOPLE_CO2:
        level += found.co2_climb - BAY.envelope.leakage * (level - 420e-6)
        time += 1.0
    assert found.time_to_limit == pytest.approx(time, rel=0.01)
    assert 1000.0 < volume < 10000.0
    level, time = 0.03, 0.0
    fans = found.fresh_airflow / found.fresh_fraction
    leak, door = BAY.doors.leakage_fraction, BAY.control.fresh_air_opening
    fresh = fans * (leak + door * (BAY.doors.largest_fraction - leak))
    rate = fresh / volume + BAY.envelope.leakage
    while level > PEOPLE_CO2:
        level += found.co2_climb - rate * (level - 420e-6)
        time += 1.0
    assert found.purge_time == pytest.approx(time, rel=0.01)


def test_people_wait_longer_where_there_is_less_crop():
    full, tenth = (people_inside(BAY, BAY.mass * share, 7.2) for share in (1.0, 0.1))
    assert tenth.co2_climb < full.co2_climb
    assert tenth.time_to_limit > full.time_to_limit


def test_tubers_sweat_more_the_colder_they_are():
    weather = example_weather()
    given = {"first": date(2027, 7, 1), "days": 20.0}
    shares = [
        on_the_truck(weather, BAY.site.time_zone, pulp=pulp, **given)[0]
        for pulp in (-20.0, 3.0, 8.0, 13.0, 30.0)
    ]
    assert shares == sorted(shares, reverse=True)
    assert shares[0] == 1.0
    assert 0.0 < shares[2] < 1.0
    assert shares[-1] == 0.0


def test_it_freezes_on_the_road_in_january_and_not_in_july():
    """Fort Collins in January: lowest -8 °C by night, highest 7 °C by day (NOAA, from memory)."""
    given = {"pulp": 8.0, "days": 20.0}
    winter, summer = (
        on_the_truck(example_weather(), BAY.site.time_zone, first=date(2027, month, 1), **given)[1]
        for month in (1, 7)
    )
    assert 0.05 < winter < 0.6, "by day only"
    assert summer == 0.0
