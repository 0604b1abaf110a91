"""Pile: balances, limits and round trips."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
import scipy

from ventcalc.errors import OutOfRange
from ventcalc.pile import loads as pile_loads
from ventcalc.pile import pile

AIR = {"density": 1.25, "viscosity": 1.77e-5}
BED = {"height": 5.0, "porosity": 0.38, "tuber_diameter": 0.06, **AIR}
BAY = {"width": 15.0, "height": 5.0, "bulk_density": 660.0}


def test_shape_volume_is_the_integral_of_its_profile():
    shape = pile.pile_shape(toe=20.0, face_angle=34.0, **BAY)
    x = np.linspace(0.0, 20.0, 200_001)
    profile = np.minimum(5.0, (20.0 - x) * math.tan(math.radians(34.0)))
    assert shape.volume == pytest.approx(15.0 * np.trapezoid(profile, x), rel=1e-8)
    assert shape.mean_height == pytest.approx(profile.mean(), rel=1e-4)


def test_wedge_and_level_pile_meet():
    run = 5.0 / math.tan(math.radians(34.0))
    low, high = (pile.pile_shape(toe=run * k, face_angle=34.0, **BAY) for k in (1 - 1e-9, 1 + 1e-9))
    assert low.volume == pytest.approx(high.volume, rel=1e-8)
    assert low.crest == 0.0
    assert low.back_height == pytest.approx(5.0, rel=1e-8)


def test_bulkhead_gives_the_box():
    shape = pile.pile_shape(toe=20.0, **BAY)
    assert shape.volume == pytest.approx(20.0 * 15.0 * 5.0, rel=1e-12)
    assert shape.crest == pytest.approx(20.0)


def test_ergun_goes_from_linear_to_square():
    slow, slow2 = (pile.pressure_drop_ergun(v, **BED) for v in (1e-7, 2e-7))
    fast, fast2 = (pile.pressure_drop_ergun(v, **BED) for v in (2.0, 4.0))
    assert slow2 / slow == pytest.approx(2.0, rel=1e-3)
    assert fast2 / fast == pytest.approx(4.0, rel=1e-2)


def test_resistance_sweep_is_one_call_and_equals_floats():
    heights = np.linspace(2.0, 6.0, 200)
    bed = {**BED, "height": heights}
    swept = pile.pressure_drop_ergun(0.04, **bed)
    single = [pile.pressure_drop_ergun(0.04, **{**BED, "height": float(h)}) for h in heights]
    assert swept.tolist() == pytest.approx(single, rel=1e-14)
    assert type(single[0]) is float


def test_wall_load_is_the_integral_of_its_pressure():
    z = np.linspace(0.0, 5.0, 20_001)
    pressure = 0.3 * (660.0 * pile_loads.GRAVITY * z + 1000.0)
    load = pile_loads.wall_load(5.0, bulk_density=660.0, ratio=0.3, surcharge=1000.0)
    assert load.base_pressure == pytest.approx(pressure[-1])
    assert load.thrust == pytest.approx(np.trapezoid(pressure, z), rel=1e-8)
    assert load.moment == pytest.approx(np.trapezoid(pressure * (5.0 - z), z), rel=1e-8)


@pytest.mark.parametrize("width", [1.0, 6.0, 15.0, 60.0])
def test_janssen_balances_every_slice(width):
    """d(sigma)/dz = weight - friction on two walls, integrated numerically from the top."""
    k, mu, weight = 0.54, 0.38, 660.0 * pile_loads.GRAVITY

    def slope(z, state):
        vertical = state[0]
        return [weight - 2 * k * mu * vertical / width, k * vertical, k * vertical * (5.0 - z)]

    end = scipy.integrate.solve_ivp(slope, (0.0, 5.0), [0.0, 0.0, 0.0], rtol=1e-10, atol=1e-6).y[
        :, -1
    ]
    load = pile_loads.wall_load_janssen(5.0, bulk_density=660.0, width=width)
    assert load.base_pressure == pytest.approx(k * end[0], rel=1e-7)
    assert load.thrust == pytest.approx(end[1], rel=1e-7)
    assert load.moment == pytest.approx(end[2], rel=1e-7)


def test_janssen_without_friction_is_the_plain_wall():
    plain = pile_loads.wall_load(5.0, bulk_density=660.0, ratio=0.54, surcharge=500.0)
    wide = pile_loads.wall_load_janssen(
        5.0, bulk_density=660.0, width=300.0, wall_friction=0.05, surcharge=500.0
    )
    assert wide.moment == pytest.approx(plain.moment, rel=5e-4)
    assert wide.thrust < plain.thrust


def test_methods_stand_in_order_at_every_height():
    heights = np.linspace(0.5, 6.0, 200)
    loads = pile_loads.wall_loads(heights, bulk_density=660.0, width=15.0)
    order = [loads.active, loads.at_rest, loads.janssen, loads.silo, loads.silo_upper]
    for lower, higher in itertools.pairwise(order):
        assert (lower.thrust < higher.thrust).all()
    assert loads.spread == pytest.approx(1.91, abs=0.005)
    assert "licensed structural engineer" in loads.note


def test_moment_grows_with_the_cube_of_height():
    five, six = (pile_loads.wall_load(h, bulk_density=660.0, ratio=0.5) for h in (5.0, 6.0))
    assert six.moment / five.moment == pytest.approx(1.2**3)
    assert six.thrust / five.thrust == pytest.approx(1.2**2)


def test_nan_stays_in_its_element():
    heights = np.array([3.0, np.nan, 5.0])
    moment = pile_loads.wall_loads(heights, bulk_density=660.0, width=15.0).janssen.moment
    assert np.isnan(moment).tolist() == [False, True, False]
    shape = pile.pile_shape(toe=heights, face_angle=34.0, **BAY)
    assert np.isnan(shape.volume).tolist() == [False, True, False]


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: pile.porosity(42.0, 1080.0), "lb/ft3"),
        (lambda: pile.pressure_drop_ergun(0.04, **{**BED, "tuber_diameter": 60.0}), "millimetres"),
        (lambda: pile_loads.floor_pressure(18.0, bulk_density=660.0), "feet"),
        (lambda: pile_loads.rankine_ratio(0.6), "radians"),
        (lambda: pile.soil_factor(6.0), "percent"),
    ],
)
def test_the_likely_slip_is_named(call, words):
    with pytest.raises(OutOfRange, match=words):
        call()
