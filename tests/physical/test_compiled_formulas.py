"""
Formulas compiled by numba do what they do as plain Python, NaN, signed zeros and errors included.

The two part where Python raises and machine code does not (a logarithm of nothing, an exponential
beyond a float) unless the formula says itself what is to happen there.
"""

from __future__ import annotations

import inspect
import math
import struct
from itertools import product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ventcalc import compiled
from ventcalc.air import formula, plain
from ventcalc.air.fit import MASS_RATIO, OFFSET
from ventcalc.equipment import plenum
from ventcalc.equipment.plant import PLANT_REFRIGERANTS, cooling_plant, hourly_performance
from ventcalc.pile.air_path import natural_velocity
from ventcalc.pile.crop import crop_for
from ventcalc.pile.layers import Bed

NOTHING_KNOWN = (math.nan, math.inf, -math.inf)
NOTHING_THERE = (0.0, -0.0, 5e-324, -5e-324, 1e-300)
POLES = (-OFFSET, math.nextafter(-OFFSET, 0.0), -MASS_RATIO, -273.15, 0.01, 709.0)
LARGE = (-1.0, 1.0, -1e6, 1e6, 1e150, -1e150)
ODD = NOTHING_KNOWN + NOTHING_THERE + POLES + LARGE

SPANS = {
    "age": (0.0, 1e7),
    "altitude": (-500.0, 9000.0),
    "bypass_factor": (0.0, 0.9),
    "coil_heat": (-1e4, 1e5),
    "coil_temperature_difference": (1.0, 8.0),
    "enthalpy": (-3e4, 8e4),
    "entering_enthalpy": (-3e4, 8e4),
    "fresh_fraction": (0.0, 1.0),
    "heat": (0.0, 5e4),
    "humidity_wanted": (0.0, 1.0),
    "load": (0.0, 1.0),
    "mass_flow": (0.5, 40.0),
    "p": (6e4, 1.1e5),
    "pressure": (6e4, 1.1e5),
    "rated_performance": (1.0, 6.0),
    "relative_humidity": (0.0, 1.05),
    "surface": (-18.0, 20.0),
    "t": (-50.0, 50.0),
    "vapour": (0.0, 5e3),
    "vapour_limit": (0.0, 0.03),
    "w": (0.0, 0.03),
    "wanted_enthalpy": (0.0, 3e4),
    "wanted_humidity": (0.0, 1.0),
    "water": (0.0, 0.03),
    "water_capacity": (0.0, 0.1),
}
"""Least and greatest that an hour brings, of every argument."""


def span_of(name):
    if name.endswith("humidity_ratio"):
        return 0.0, 0.03
    return (-50.0, 50.0) if name.endswith("temperature") else SPANS[name]


def functions_of(module, names):
    return [f for f in (getattr(module, name) for name in names) if inspect.isfunction(f)]


FORMULAS = [
    *functions_of(plain, plain.__all__),
    *functions_of(formula, ("place", "humidity_of_vapour", "vapour_pressure")),
    *functions_of(plenum, plenum.__all__),
]
by_name = pytest.mark.parametrize("function", FORMULAS, ids=lambda f: f.__name__)


def usual(name):
    low, high = span_of(name)
    return st.sampled_from([low, 0.0, -0.0]) | st.floats(low, high)


@st.composite
def hours(draw, names):
    """Arguments of an hour; in every other one a value is missing."""
    values = [draw(usual(name)) for name in names]
    missing = draw(st.none() | st.integers(0, len(names) - 1))
    return [math.nan if k == missing else value for k, value in enumerate(values)]


def arguments(function):
    return list(inspect.signature(function).parameters)


def bits(value):
    """A number or several, bit by bit; one NaN is like another."""
    several = value if isinstance(value, tuple) else (value,)
    return [None if x != x else struct.pack("d", x) for x in several]


def outcome(function, given_):
    """Bits of what comes out, or the name of what is raised."""
    try:
        return bits(function(*given_))
    except (ArithmeticError, ValueError) as error:
        return type(error).__name__


def assert_alike(function, given_):
    ours, theirs = outcome(compiled.entry(function), given_), outcome(function, given_)
    assert ours == theirs, f"{function.__name__}{tuple(given_)}"


@by_name
def test_any_hour(function):
    """Bit for bit, whatever an hour brings, sensors that give nothing included."""

    @settings(max_examples=60)
    @given(hours(arguments(function)))
    def check(given_):
        assert_alike(function, given_)

    check()


@by_name
def test_numbers_that_no_hour_brings(function):
    """NaN, nothing, poles, infinity: each argument alone, and all pairs of the first two."""
    names = arguments(function)
    ordinary = [0.3 * low + 0.7 * high for low, high in map(span_of, names)]
    odd = ODD
    if function is plain.standard_pressure:  # a power; its base is negative from 44 km up
        odd = [x for x in ODD if abs(x) < 44e3]
    for k, value in product(range(len(names)), odd):
        assert_alike(function, [*ordinary[:k], value, *ordinary[k + 1 :]])
    if len(names) > 1:
        for pair in product(odd, odd):
            assert_alike(function, [*pair, *ordinary[2:]])


def test_both_raise_where_something_is_divided_by_nothing():
    """What the above would also pass if neither did."""
    for function, given_ in (
        (plain.dry_bulb, (1e4, -plain.AIR_HEAT / plain.VAPOUR_HEAT)),
        (plain.saturated, (-OFFSET, 95e3)),
        (plenum.supply, (0.0, *(0.5 * sum(span_of(n)) for n in arguments(plenum.supply)[1:]))),
    ):
        assert outcome(function, given_) == "ZeroDivisionError"
        assert_alike(function, given_)


@pytest.mark.parametrize("name", PLANT_REFRIGERANTS)
def test_the_cooling_plant(name):
    plant = cooling_plant(name, design_surface_temperature=-1.0, design_outside_temperature=30.0)
    record = compiled.record_of(plant)
    names = arguments(hourly_performance)[1:]

    @settings(max_examples=50)
    @given(hours(names))
    def check(given_):
        ours = outcome(compiled.entry(hourly_performance), (record, *given_))
        assert ours == outcome(hourly_performance, (plant, *given_))

    check()


@given(st.floats(-5.0, 30.0), st.floats(-5.0, 30.0), st.floats(1.0, 6.0), st.floats(0.04, 0.08))
def test_the_draught_of_a_pile(mean, around, height, diameter):
    pile = Bed(
        height=height, bulk_density=650.0, tuber_diameter=diameter, pressure=95e3,
        crop=crop_for("table"),
    )  # fmt: skip
    ours = compiled.entry(natural_velocity)(compiled.record_of(pile), mean, around)
    assert bits(ours) == bits(natural_velocity(pile, mean, around))
