"""Moist air: round trips, limits, order, continuity through 0 °C."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ventcalc import air
from ventcalc.errors import BadInput, OutOfRange

temperatures = st.floats(-30.0, 45.0)
humidities = st.floats(0.01, 1.0)
pressures = st.floats(75e3, 101e3)
NAMES = ("temperature", "humidity_ratio", "relative_humidity", "dew_point", "wet_bulb")


@given(temperatures, humidities, pressures)
def test_relative_humidity_round_trip(t, rh, p):
    w = air.humidity_ratio(t, rh, p)
    assert air.relative_humidity(t, w, p) == pytest.approx(rh, rel=1e-12)


@given(temperatures, pressures)
def test_dew_point_of_saturated_air_is_its_temperature(t, p):
    w = air.saturation_humidity_ratio(t, p)
    near_zero = 0.0 < t < 0.01  # between the slopes of ice and water
    assert air.dew_point(w, p) == pytest.approx(t, abs=6e-5 if near_zero else 3e-5)


@given(temperatures, pressures)
def test_wet_bulb_of_saturated_air_is_its_temperature(t, p):
    w = air.saturation_humidity_ratio(t, p)
    near_zero = abs(t) < 0.05  # one step of the solver across the kink there
    assert air.wet_bulb(t, w, p) == pytest.approx(t, abs=1e-3 if near_zero else 2e-4)


@given(temperatures, st.floats(0.01, 0.995), pressures)
def test_wet_bulb_lies_between_dew_point_and_dry_bulb(t, rh, p):
    s = air.state(temperature=t, relative_humidity=rh, pressure=p)
    assert s.dew_point < t
    if s.wet_bulb < air.FREEZING or s.dew_point > air.FREEZING:
        assert s.dew_point < s.wet_bulb < t
    else:  # frost point, but a wick of water
        assert s.wet_bulb < t + 1e-3


@given(temperatures, humidities, pressures)
def test_enthalpy_round_trip(t, rh, p):
    w = air.humidity_ratio(t, rh, p)
    assert air.temperature_from_enthalpy(air.enthalpy(t, w, p), w, p) == pytest.approx(t, abs=1e-9)


@given(temperatures, humidities, pressures)
def test_wet_bulb_round_trip(t, rh, p):
    w = air.humidity_ratio(t, rh, p)
    wet = air.wet_bulb(t, w, p)
    assert air.humidity_ratio_from_wet_bulb(t, wet, p) == pytest.approx(w, rel=1e-5, abs=4e-7)


@pytest.mark.parametrize("pair", list(itertools.combinations(NAMES, 2)))
@pytest.mark.parametrize(
    ("t", "rh", "p"), [(12.0, 0.7, 95e3), (-8.0, 0.9, 101e3), (40.0, 0.2, 80e3), (3.0, 0.99, 1e5)]
)
def test_state_is_the_same_from_every_pair(pair, t, rh, p):
    truth = air.state(temperature=t, relative_humidity=rh, pressure=p)
    known = {name: getattr(truth, name) for name in pair}
    if set(pair) == {"dew_point", "humidity_ratio"}:
        with pytest.raises(BadInput, match="fix the same thing"):
            air.state(pressure=p, **known)
        return
    other = air.state(pressure=p, **known)
    for name in (*NAMES, "enthalpy", "specific_volume", "density"):
        assert getattr(other, name) == pytest.approx(getattr(truth, name), rel=5e-5, abs=5e-5)


def test_state_forwards_to_the_single_functions():
    s = air.state(temperature=7.0, relative_humidity=0.93, pressure=98e3)
    w = s.humidity_ratio
    assert w == air.humidity_ratio(7.0, 0.93, 98e3)
    assert s.dew_point == pytest.approx(air.dew_point(w, 98e3), abs=1e-12)
    assert s.wet_bulb == air.wet_bulb(7.0, w, 98e3)
    assert s.enthalpy == air.enthalpy(7.0, w, 98e3)
    assert s.specific_volume == air.specific_volume(7.0, w, 98e3)
    assert s.density == air.density(7.0, w, 98e3)


@pytest.mark.parametrize("p", [75e3, 101325.0])
def test_no_step_through_zero(p):
    """Between neighbours 0.1 mK apart nothing may change by more than the local slope allows."""
    t = np.arange(-0.2, 0.2, 1e-4)
    w = air.saturation_humidity_ratio(t, p)
    rise = np.diff(np.log(w)) / 1e-4
    assert 0.07 < rise.min() < rise.max() < 0.085
    pure = np.diff(np.log(air.saturation_pressure(t))) / 1e-4
    assert 0.07 < pure.min() < pure.max() < 0.085
    dew = np.diff(air.dew_point(w, p))
    np.testing.assert_allclose(dew, 1e-4, atol=5e-5)
    assert np.abs(np.diff(air.enthalpy(t, w, p))).max() < 0.25


def test_ice_and_water_meet_at_the_ice_point():
    """Air-saturated water at 1 atm freezes at 0.00 °C, definition of the ice point before 1954."""
    t = np.linspace(-0.03, 0.03, 6001)
    slope = np.gradient(np.log(air.saturation_humidity_ratio(t, 101325.0)), t)
    assert t[np.argmin(np.gradient(slope))] == pytest.approx(0.0, abs=1e-3)


def test_pure_saturation_pressure_kinks_at_the_triple_point():
    t = np.linspace(-0.03, 0.03, 6001)
    slope = np.gradient(np.log(air.saturation_pressure(t)), t)
    assert t[np.argmin(np.gradient(slope))] == pytest.approx(0.01, abs=1e-4)


def test_two_wet_bulbs_near_zero_water_is_taken_while_it_can_be():
    """Cooling dry air: the wick stays water down to 0.01 °C, then it is iced and jumps."""
    p, rh = 1e5, 0.3
    t = np.linspace(8.0, 2.0, 6001)
    w = air.humidity_ratio(t, rh, p)
    wet = air.wet_bulb(t, w, p)
    steps = np.diff(wet)
    (jump,) = np.flatnonzero(steps < -0.1)
    assert wet[jump] == pytest.approx(air.FREEZING, abs=1e-3)
    assert wet[jump] >= air.FREEZING
    assert -0.7 < steps[jump] < -0.2
    assert (np.delete(steps, jump) < 0.0).all()
    for at in (jump, jump + 1):  # on either side the balance closes with its own condensed phase
        back = air.humidity_ratio_from_wet_bulb(t[at], wet[at], p)
        assert back == pytest.approx(w[at], abs=4e-7)  # 1 mK


def test_one_step_of_the_solver_is_enough_everywhere_accepted():
    """The iterated way back meets the start, to what 1 mK of wet bulb is worth in humidity."""
    random = np.random.default_rng(2)
    t, p = random.uniform(-49.0, 60.0, 50_000), random.uniform(60e3, 110e3, 50_000)
    full = air.saturation_humidity_ratio(t, p)
    for w in (np.minimum(0.1, full * random.uniform(0.0, 1.5, t.size)), np.zeros(t.size)):
        wet = air.wet_bulb(t, w, p)
        # the wick hangs on the last digit at 0.01 °C, and is anyone's guess in fog that freezes
        sure = np.abs(wet - air.FREEZING) > np.where(w > full, 3.0, 2e-3)
        back = air.humidity_ratio_from_wet_bulb(t, wet, p)
        slope = 1006.0 / 2.5e6 + air.saturation_humidity_ratio(wet, p) * 0.1
        assert np.abs((back - w) / slope)[sure].max() < 1e-3


@given(st.floats(-30.0, 44.0), humidities, pressures)
def test_monotone(t, rh, p):
    w = air.humidity_ratio(t, rh, p)
    assert air.humidity_ratio(t + 1.0, rh, p) > w
    assert air.dew_point(w * 1.01, p) > air.dew_point(w, p)
    assert air.enthalpy(t + 1.0, w, p) > air.enthalpy(t, w, p)
    assert air.specific_volume(t + 1.0, w, p) > air.specific_volume(t, w, p)
    assert air.specific_volume(t, w, p) < air.specific_volume(t, w, p * 0.99)


@given(temperatures, humidities, pressures)
def test_a_float_and_an_array_give_the_same_numbers(t, rh, p):
    one = air.state(temperature=t, relative_humidity=rh, pressure=p)
    many = air.state(temperature=np.array([t]), relative_humidity=rh, pressure=np.array([p]))
    for name in AirFields:
        single, (element,) = getattr(one, name), getattr(many, name)
        assert type(single) is float
        assert element == pytest.approx(single, rel=1e-12, abs=1e-10)


AirFields = tuple(air.AirState.__dataclass_fields__)


def test_supersaturated_input_is_not_clamped():
    w = 1.1 * air.saturation_humidity_ratio(5.0, 1e5)
    assert air.relative_humidity(5.0, w, 1e5) > 1.09
    assert air.dew_point(w, 1e5) > 5.0
    assert air.wet_bulb(5.0, w, 1e5) > 5.0


def test_standard_pressure_of_a_barometer():
    """dp/dz = -density g: the hydrostatic balance of dry air at 15 °C near sea level."""
    slope = (air.standard_pressure(10.0) - air.standard_pressure(-10.0)) / 20.0
    assert slope == pytest.approx(-air.density(15.0, 0.0, 101325.0) * 9.80665, rel=1e-3)


def test_exactly_two_properties():
    with pytest.raises(BadInput, match="exactly two"):
        air.state(pressure=1e5, temperature=3.0)
    with pytest.raises(BadInput, match="exactly two"):
        air.state(pressure=1e5, temperature=3.0, dew_point=1.0, wet_bulb=2.0)


def test_impossible_pairs_are_refused():
    with pytest.raises(OutOfRange):  # no air is this dry
        air.state(pressure=1e5, temperature=30.0, wet_bulb=2.0)
    with pytest.raises(OutOfRange, match="relative_humidity"):
        air.state(pressure=1e5, humidity_ratio=0.005, relative_humidity=0.0)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: air.humidity_ratio(5.0, 95.0, 1e5), "relative_humidity must lie in 0 to 1.*perc"),
        (lambda: air.humidity_ratio(278.15, 0.9, 1e5), "temperature must.*got 278.15.*kelvin"),
        (lambda: air.dew_point(0.005, 101.3), "pressure must lie.*kPa"),
        (lambda: air.dew_point(5.0, 1e5), "humidity_ratio must lie.*g/kg"),
        (lambda: air.dew_point(0.0, 1e5), "humidity_ratio must lie"),
        (lambda: air.enthalpy(np.array([[1.0, 2.0], [300.0, 2.0]]), 0.0, 1e5), r"at \[1, 0\]"),
        (lambda: air.standard_pressure(9000.0), "altitude must lie.*feet"),
        (lambda: air.temperature_from_enthalpy(1e7, 0.0, 1e5), "enthalpy must lie"),
    ],
)
def test_out_of_range_says_what_and_why(call, message):
    with pytest.raises(OutOfRange, match=message):
        call()


@pytest.mark.parametrize("nan", [math.nan, np.array([math.nan])])
def test_nan_in_nan_out(nan):
    p = 1e5
    for result in (
        air.saturation_pressure(nan),
        air.humidity_ratio(nan, 0.5, p),
        air.humidity_ratio(5.0, nan, p),
        air.humidity_ratio(5.0, 0.5, nan),
        air.relative_humidity(5.0, nan, p),
        air.dew_point(nan, p),
        air.wet_bulb(nan, 0.004, p),
        air.wet_bulb(5.0, nan, p),
        air.wet_bulb(5.0, 0.004, nan),
        air.humidity_ratio_from_wet_bulb(5.0, nan, p),
        air.enthalpy(5.0, nan, p),
        air.temperature_from_enthalpy(nan, 0.004, p),
        air.specific_volume(5.0, 0.004, nan),
        air.standard_pressure(nan),
    ):
        assert np.isnan(result).all()


def test_nan_stays_in_its_element():
    t = np.array([1.0, np.nan, 3.0])
    s = air.state(temperature=t, relative_humidity=0.9, pressure=1e5)
    for name in AirFields:
        if name not in ("pressure", "relative_humidity"):
            assert np.isnan(getattr(s, name)).tolist() == [False, True, False]


def test_shapes_broadcast():
    t = np.linspace(-5.0, 10.0, 4)[:, None]
    rh = np.array([0.5, 0.8, 1.0])
    p = np.array(1e5)
    w = air.humidity_ratio(t, rh, p)
    assert w.shape == (4, 3)
    assert w[2, 1] == air.humidity_ratio(t[2], np.array([0.8]), 1e5)[0]
    assert air.wet_bulb(5.0, w, np.full((2, 1, 1), 9e4)).shape == (2, 4, 3)
    assert air.dew_point(np.empty((0, 3)), 1e5).shape == (0, 3)
    assert air.state(temperature=t, relative_humidity=rh, pressure=1e5).pressure.shape == (4, 3)
    assert air.humidity_ratio([5, 6], 1, 100000).shape == (2,)


def test_long_arrays_are_cut_into_blocks_and_put_together():
    t = np.linspace(-30.0, 45.0, 20_001)
    w = air.humidity_ratio(t, 0.5, 1e5)
    for i in (0, 8191, 8192, 12_345, 20_000):
        assert w[i] == pytest.approx(air.humidity_ratio(float(t[i]), 0.5, 1e5), rel=1e-13)
    grid = air.wet_bulb(t.reshape(3, -1), w.reshape(3, -1), 1e5)
    assert grid.shape == (3, 6667)
    np.testing.assert_array_equal(grid.ravel(), air.wet_bulb(t, w, 1e5))
