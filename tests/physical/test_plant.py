"""A cooling plant by the hour: the design point given back, limits."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ventcalc.advice.policies import Positions
from ventcalc.bay.file import example_bay
from ventcalc.equipment.plant import (
    HOTTEST_OUTSIDE,
    PLANT_REFRIGERANTS,
    UNNAMED,
    cooling_plant,
    cycle_performance,
    hourly_performance,
)
from ventcalc.equipment.refrigerant_map import performance, shipped_map
from ventcalc.errors import BadInput, OutOfRange
from ventcalc.season.run import run_season
from ventcalc.weather import example_weather

approx = pytest.approx
names = st.sampled_from(PLANT_REFRIGERANTS)


def at(name="R717", surface=-1.0, outside=30.0, load=1.0):
    """Of a plant that takes 1 W for 3 W at -1 °C of surface and 30 °C outside."""
    plant = cooling_plant(name, design_surface_temperature=-1.0, design_outside_temperature=30.0)
    return hourly_performance(plant, 3.0, surface, outside, load)


@pytest.mark.parametrize("name", PLANT_REFRIGERANTS)
def test_the_design_point_is_given_back(name):
    assert at(name) == approx(3.0, rel=1e-12)


@settings(deadline=None, max_examples=60)
@given(names, st.floats(-8.0, 8.0), st.floats(8.5, 44.0), st.floats(0.1, 3.0))
def test_warm_coil_and_cool_day_help(name, surface, outside, more):
    now = at(name, surface, outside)
    assert at(name, surface + more, outside) > now
    assert at(name, surface, outside + more) < now
    assert at(name, surface, outside, load=0.5) < now


@pytest.mark.parametrize("name", PLANT_REFRIGERANTS)
def test_head_pressure_control_stops_the_gain_of_a_frosty_day(name):
    assert at(name, outside=-20.0) == at(name, outside=5.0) > at(name, outside=15.0)


@pytest.mark.parametrize("name", PLANT_REFRIGERANTS)
def test_suction_pressure_control_stops_the_gain_of_a_warm_coil(name):
    assert at(name, surface=20.0) == at(name, surface=12.0) > at(name, surface=9.0)


def test_named_and_unnamed_agree_near_the_design_point():
    """The ideal cycle over-rates a real one by the fluid's own losses: 12 % over 20 K."""
    assert at(UNNAMED, outside=10.0) == approx(at(outside=10.0), rel=0.12)


@pytest.mark.parametrize("name", PLANT_REFRIGERANTS[1:])
def test_the_cycle_of_an_hour_is_that_of_the_map(name):
    """Boiling 2 K below the surface, condensing 12 K above outside air."""
    plant = cooling_plant(name, design_surface_temperature=-1.0, design_outside_temperature=30.0)
    expected = performance(shipped_map(name), -5.0, 37.0)
    assert cycle_performance(plant, -3.0, 25.0) == approx(expected, rel=1e-12)


def test_a_day_hotter_than_the_map_is_refused():
    """By whoever takes a plant through the hours: beyond its map a sum of polynomials runs wild."""
    year, noon = example_weather(), np.datetime64("2018-10-15T12")
    heat = np.where(year.time < noon, year.temperature, HOTTEST_OUTSIDE + 1.0)
    cools = Positions(fan_speed=1.0, refrigeration=1.0)
    with pytest.raises(OutOfRange, match=r"outside_temperature .* -60 to 48 .*15T12.* map"):
        run_season(
            example_bay("fry_bay"), replace(year, temperature=heat),
            lambda bay, readings, memory: (cools, memory), layers=4,
        )  # fmt: skip


def test_a_refrigerant_without_a_map_is_refused():
    with pytest.raises(BadInput, match="'R12': no performance map"):
        cooling_plant("R12", design_surface_temperature=-1.0, design_outside_temperature=30.0)


def test_what_is_missing_stays_missing():
    for name in ("R717", UNNAMED):
        assert math.isnan(at(name, surface=math.nan))
        assert math.isnan(at(name, outside=math.nan))
