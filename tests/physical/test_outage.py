"""An outage: rates by hand, published values of its formulas, and what must be monotone."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

import ventcalc as vc
from ventcalc.advice.readings import Readings
from ventcalc.air.plain import humidity_ratio
from ventcalc.bay.calendar import STAGES
from ventcalc.bay.file import example_bay
from ventcalc.errors import BadInput
from ventcalc.outage.outage import outage_of
from ventcalc.outage.outside import steady_outside, weather_outside
from ventcalc.outage.places import doorway_flow, wall_share
from ventcalc.outage.start import start_of

SEA = 101325.0
WINTER = 1768478400.0  # 2026-01-15 12:00 UTC
AUTUMN = WINTER - 109 * 86400.0
DOOR = (3.6, 4.2)
BAY = example_bay("seed_bay")


def readings(pulp=4.0, **changes):
    given = {
        "time": WINTER, "return_temperature": pulp, "return_relative_humidity": 0.95,
        "pulp_bottom": pulp, "pulp_top": pulp, "pulp_mean": pulp, "pulp_coldest": pulp,
        "co2": 1000e-6, "pressure": SEA,
    }  # fmt: skip
    return Readings(**{**given, **changes})


def tight(bay=BAY, headspace=None):
    """No heat and no air through the shell."""
    shell = bay.envelope
    headspace = shell.headspace_volume if headspace is None else headspace
    shell = replace(shell, wall_u=1e-6, ceiling_u=1e-6, leakage=0.0, headspace_volume=headspace)
    return replace(bay, envelope=shell)


def outage(temperature, bay=BAY, **changes):
    told = readings(**changes)
    return outage_of(bay, told, steady_outside(temperature, 0.7, SEA, told.time), doorway=DOOR)


def hours(case, found, key):
    return case.hours[[limit.key for limit in found.limits].index(key)]


def daily_rise(found):
    """Of the mean pulp, over the first day. [K]"""
    traces = found.closed.traces
    day = next(trace for trace in traces if trace.hours >= 24.0)
    return day.pulp_mean - traces[0].pulp_mean


def test_settled_crop_warms_as_its_respiration_over_its_heat_capacity():
    # 9-14 W/t over 3.4 kJ/(kg K): 0.23-0.36 K a day (J. Agric. Sci., Cambridge), by hand.
    rise = daily_rise(outage(4.0, tight()))
    assert 9e-3 * 86400 / 3600 <= rise <= 14.4e-3 * 86400 / 3300
    assert 0.22 <= rise <= 0.36


def test_freshly_dug_crop_warms_by_about_a_kelvin_a_day():
    # 43 W/t over 3.43 kJ/(kg K) is 1.08 K a day; it settles a little in the first day.
    fresh = outage(
        14.0, tight(), pulp=14.0, time=AUTUMN, stage_told=STAGES.index("filling"), loaded=1.0
    )
    young = replace(BAY, schedule=replace(BAY.schedule, fill_days=86400.0))
    first = outage(
        14.0, tight(young), pulp=14.0, time=AUTUMN, stage_told=STAGES.index("filling"), loaded=1.0
    )
    assert 0.85 <= daily_rise(first) <= 1.10
    assert daily_rise(fresh) < daily_rise(first)


def test_co2_rises_by_what_the_crop_gives_off_into_the_air_that_is_there():
    # 9-12 W/t at 10.7 J per mg of CO2 into 1.3 m³ of air per tonne: 1200-1600 ppm an hour.
    pile = BAY.pile
    pores = pile.floor_area * pile.height * (1.0 - pile.bulk_density / 1080.0)
    bay = tight(headspace=1.3 * BAY.mass / 1000.0 - pores)
    found = outage(4.0, bay)
    hour = next(trace for trace in found.closed.traces if trace.hours >= 1.0)
    risen = (hour.co2 - 1000e-6) / hour.hours
    heat = float(
        vc.pile.crop.respiration_heat(4.0, 115 * 86400.0, start_of(bay, readings()).bed.crop)
    )
    by_hand = heat / 10.7e6 * 1000.0 * 3600.0 / 1.95 / 1.3
    assert risen == pytest.approx(by_hand, rel=0.05)
    assert 9e-3 <= heat <= 12e-3
    assert 1150e-6 <= risen <= 1600e-6


def test_hours_to_co2_follow_from_its_rate():
    found = outage(4.0, tight())
    first, second = found.closed.traces[1], found.closed.traces[60]
    rate = (second.co2 - first.co2) / (second.hours - first.hours)
    by_hand = (5000e-6 - 1000e-6) / rate
    assert hours(found.closed, found, "co2_people") == pytest.approx(by_hand, rel=0.02)


@pytest.mark.parametrize(
    ("x", "value"),
    [(0.5, 0.6156903442), (1.0, 0.4275835762), (2.0, 0.2553956763)],
)
def test_crop_at_a_wall_follows_the_published_function(x, value):
    # exp(x²) erfc(x): Carslaw and Jaeger 1959, appendix II.
    time = (x / 0.4) ** 2 * 0.35 * 640.0 * 3500.0
    assert 1.0 - wall_share(0.4, 0.35, 640.0, 3500.0, time) == pytest.approx(value, rel=1e-8)


def test_crop_at_a_wall_long_after_has_no_seam():
    times = [(x / 0.4) ** 2 * 0.35 * 640.0 * 3500.0 for x in (19.99, 20.01)]
    before, after = (wall_share(0.4, 0.35, 640.0, 3500.0, time) for time in times)
    assert before == pytest.approx(after, abs=1e-4)


def test_an_open_doorway_agrees_with_another_published_formula():
    # Brown and Solvason 1962: Q = C/3 A sqrt(g H dT / T), C between 0.6 and 1.0.
    for inside, outside in ((4.0, -2.0), (4.0, -28.0), (4.0, 24.0)):
        mean = 0.5 * (inside + outside) + 273.15
        other = 3.6 * 4.2 / 3.0 * math.sqrt(9.81 * 4.2 * abs(inside - outside) / mean)
        assert 0.6 * other < doorway_flow(3.6, 4.2, inside, outside) < 1.0 * other
    assert doorway_flow(3.6, 4.2, 4.0, 4.0) == 0.0


def test_colder_air_freezes_sooner_and_an_open_door_sooner_still():
    cold, colder = outage(-15.0), outage(-30.0)
    for case in ("closed", "open"):
        first, second = (hours(getattr(one, case), one, "freezing") for one in (cold, colder))
        assert 0.0 < second < first
    assert hours(colder.open, colder, "freezing") < hours(colder.closed, colder, "freezing")
    assert hours(colder.open, colder, "draught") < 1.0
    assert colder.open.ended < 14 * 24
    half_hour = [case.traces[30] for case in (colder.open, colder.closed)]
    assert half_hour[0].co2 < 1000e-6 < half_hour[1].co2


def test_a_tuber_in_the_doorway_by_hand():
    # Lumped, 61 mm, 1080 kg/m³, 3.4 kJ/(kg K), 20 to 40 W/(m² K): 1500 to 3500 s; Newton's law.
    found = outage(-29.0)
    fall = math.log((4.0 + 29.0) / (29.0 - 0.8))
    low, high = (0.061 / 6.0 * 1080.0 * 3430.0 / film * fall / 3600.0 for film in (45.0, 15.0))
    assert low < hours(found.open, found, "draught") < high


def test_air_that_goes_through_the_door_is_the_air_that_keeps_itself_going():
    found = outage(-10.0)
    for trace in found.open.traces[1:60:6]:
        greatest = doorway_flow(*DOOR, trace.warmest_pulp + 1.0, -10.0)
        assert 0.2 * greatest < trace.airflow < greatest + 1.0


def test_warm_air_through_an_open_door_heats_the_top():
    found = outage(28.0)
    assert 1.0 < hours(found.open, found, "heat") < hours(found.closed, found, "heat")
    assert hours(found.open, found, "wet") < hours(found.closed, found, "heat")


def test_a_limit_that_is_passed_is_passed_now():
    found = outage(0.0, co2=6000e-6)
    assert hours(found.closed, found, "co2_people") == 0.0
    assert math.isnan(hours(found.closed, found, "co2_dangerous"))


def test_half_a_bay_has_more_air_for_its_crop():
    whole, half = outage(4.0, tight()), outage(4.0, tight(), loaded=0.5)
    assert hours(half.closed, half, "co2_people") > 1.5 * hours(whole.closed, whole, "co2_people")
    start = start_of(BAY, readings(loaded=0.5))
    assert start.bay.mass == pytest.approx(0.5 * BAY.mass)
    assert start.bed.height == pytest.approx(start_of(BAY, readings()).bed.height)


def test_the_profile_keeps_what_the_probes_say():
    told = readings(pulp_bottom=3.0, pulp_top=5.0, pulp_mean=4.2, pulp_coldest=2.5)
    start = start_of(BAY, told)
    assert start.temperatures[0] == pytest.approx(3.0, abs=0.1)
    assert start.temperatures[-1] == pytest.approx(5.0, abs=0.1)
    assert sum(start.temperatures) / len(start.temperatures) == pytest.approx(4.2, abs=0.01)
    assert start.temperatures[0] - start.colder_by == pytest.approx(2.5, abs=1e-9)


@pytest.mark.parametrize(
    ("changes", "part"),
    [
        ({"pulp_mean": math.nan}, "pulp_temps_c"),
        ({"loaded": 0.0}, "nothing to protect"),
        ({"time": WINTER + 200 * 86400.0}, "empty by the calendar"),
    ],
)
def test_what_cannot_be_answered_is_refused(changes, part):
    with pytest.raises(BadInput, match=part):
        start_of(BAY, readings(**changes))


def test_a_year_of_weather_gives_the_same_days_and_the_ground():
    weather = vc.example_weather()
    found, ground, notes = weather_outside(BAY, weather, WINTER)
    assert len(found) == 14 * 24
    assert "not a forecast" in notes[0]
    assert ground.inner > 0.0
    assert found[0].humidity_ratio == pytest.approx(
        humidity_ratio(found[0].temperature, found[0].relative_humidity, 84e3), rel=0.05
    )
    with pytest.raises(BadInput, match="no temperature"):
        steady_outside(math.nan, 0.7, SEA, WINTER)


def test_a_cold_snap_that_ends_lets_the_wall_warm_up_again():
    cold, mild = (steady_outside(t, 0.7, SEA, WINTER)[0] for t in (-25.0, 2.0))
    found = outage_of(BAY, readings(), [cold] * 48 + [mild], doorway=DOOR)
    wall = {trace.hours: trace.wall_pulp for trace in found.closed.traces}
    assert wall[0] > wall[24] > wall[48] > -25.0
    assert wall[48] < wall[72] < wall[300] < 4.0
    alone = {trace.hours: trace.wall_pulp for trace in outage(-25.0).closed.traces}
    assert wall[48] == pytest.approx(alone[48], abs=1e-9)
