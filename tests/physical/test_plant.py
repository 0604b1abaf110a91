"""A cooling plant by the hour: the design point given back, limits, and one bay among many."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from ventcalc._ops import ARRAY, SCALAR

from ventcalc.equipment.plant import PLANT_REFRIGERANTS, UNNAMED, Rating, hourly_performance
from ventcalc.errors import OutOfRange

approx = pytest.approx
PLANT = Rating(
    refrigerant="R717", capacity=1e5, performance=3.0, surface=-1.0, outside_temperature=30.0
)
names = st.sampled_from(PLANT_REFRIGERANTS)


def at(plant=PLANT, surface=-1.0, outside=30.0, heat=1e5, ops=SCALAR):
    return hourly_performance(
        plant, surface=surface, outside_temperature=outside, heat=heat, ops=ops
    )


@pytest.mark.parametrize("name", PLANT_REFRIGERANTS)
def test_the_design_point_is_given_back(name):
    assert at(replace(PLANT, refrigerant=name)) == approx(3.0, rel=1e-12)


@settings(deadline=None, max_examples=60)
@given(names, st.floats(-8.0, 8.0), st.floats(8.5, 44.0), st.floats(0.1, 3.0))
def test_warm_coil_and_cool_day_help(name, surface, outside, more):
    plant = replace(PLANT, refrigerant=name)
    now = at(plant, surface, outside)
    assert at(plant, surface + more, outside) > now
    assert at(plant, surface, outside + more) < now
    assert at(plant, surface, outside, heat=5e4) < now


@pytest.mark.parametrize("name", PLANT_REFRIGERANTS)
def test_head_pressure_control_stops_the_gain_of_a_frosty_day(name):
    plant = replace(PLANT, refrigerant=name)
    assert at(plant, outside=-20.0) == at(plant, outside=5.0) > at(plant, outside=15.0)


def test_named_and_unnamed_agree_near_the_design_point():
    """The ideal cycle over-rates a real one by the fluid's own losses: 12 % over 20 K."""
    ideal = at(replace(PLANT, refrigerant=UNNAMED), outside=10.0)
    real = at(outside=10.0)
    assert ideal == approx(real, rel=0.12)


def test_many_plants_are_each_their_own():
    capacity, surface = np.array([5e4, 1e5]), np.array([-3.0, 2.0])
    many = at(replace(PLANT, capacity=capacity), surface=surface, heat=4e4, ops=ARRAY)
    for k in (0, 1):
        one = at(replace(PLANT, capacity=float(capacity[k])), float(surface[k]), heat=4e4)
        assert many[k] == approx(one, rel=1e-14)


def test_a_day_hotter_than_the_map_is_refused():
    with pytest.raises(OutOfRange, match="condensing_temperature"):
        at(outside=49.0)
    assert np.isnan(at(surface=float("nan")))
