"""The building against balances, limits and monotone behaviour."""

from __future__ import annotations

import math

import numpy as np
import pytest
import scipy
from hypothesis import given
from hypothesis import strategies as st

from ventcalc import building
from ventcalc.building import ground, sky
from ventcalc.errors import BadInput, OutOfRange


def test_profile_carries_one_heat_flow() -> None:
    """Heat through the inside film equals heat through the whole wall."""
    u = building.u_value([building.layer(thickness=0.1, conductivity=0.035)])
    surface = building.surface_temperature(8.0, -20.0, u)
    assert (8.0 - surface) / 0.13 == pytest.approx(u * 28.0, rel=1e-12)


def test_bridged_reduces_to_plain() -> None:
    """A bridge of the same resistance is no bridge."""
    plain = building.u_value([building.Layer(resistance=3.0), building.Layer(resistance=0.2)])
    planes = [[(0.9, 3.0), (0.1, 3.0)], [(1.0, 0.2)]]
    assert building.bridged_u_value(planes) == pytest.approx(plain, rel=1e-12)


@given(share=st.floats(0.01, 0.5), bridge=st.floats(0.05, 2.9))
def test_bridge_always_costs(share: float, bridge: float) -> None:
    """A worse conductor in the insulation raises U above that of the plain wall."""
    plain = building.u_value([building.Layer(resistance=3.0)])
    assert building.bridged_u_value([[(1.0 - share, 3.0), (share, bridge)]]) > plain


def test_bad_shares_are_named() -> None:
    with pytest.raises(BadInput, match=r"layer 1 sum to 0\.9"):
        building.bridged_u_value([[(0.8, 3.0), (0.1, 1.0)]])


def test_resistance_in_place_of_u_is_refused() -> None:
    with pytest.raises(OutOfRange, match="U contains this resistance"):
        building.surface_temperature(8.0, -20.0, 20.0)


def test_hours_broadcast_and_nan_stays() -> None:
    outside = np.array([[-20.0, np.nan], [0.0, 8.0]])
    heat = building.heat_gain(building.conductance(600.0, 0.2), outside, 8.0)
    assert heat == pytest.approx(np.array([[-3360.0, np.nan], [-960.0, 0.0]]), nan_ok=True)
    roof = sky.sol_air_temperature(outside, sky_temperature=outside - 20.0)
    assert np.array_equal(np.isnan(roof), np.isnan(outside))


def test_scalar_and_array_agree() -> None:
    for function in (
        lambda x: sky.sky_temperature(x, x - 2.0, pressure=95000.0, cloud_cover=0.3, hour=3.0),
        lambda x: sky.sol_air_temperature(x, sky_temperature=x - 15.0, solar=200.0),
        lambda x: sky.outside_resistance(3.0, temperature=x),
    ):
        one, many = function(-7.0), function(np.array([-7.0]))
        assert isinstance(one, float)
        assert many[0] == pytest.approx(one, rel=1e-14)


def test_sky_is_colder_when_clear_and_dry() -> None:
    dew_points = np.linspace(-35.0, 20.0, 30)
    clear = sky.sky_temperature(20.0, dew_points, pressure=101325.0)
    assert np.all(np.diff(clear) > 0.0)
    clouds = sky.sky_temperature(20.0, 5.0, pressure=101325.0, cloud_cover=np.linspace(0, 1, 9))
    assert np.all(np.diff(clouds) > 0.0)
    assert np.all(clouds < 20.0)


def test_sky_keeps_the_daily_swing() -> None:
    """Midnight sky emits more than the noon sky at the same temperature, by 0.026."""
    midnight = sky.sky_temperature(0.0, -5.0, pressure=1e5, hour=0.0) + 273.15
    noon = sky.sky_temperature(0.0, -5.0, pressure=1e5, hour=12.0) + 273.15
    assert (midnight**4 - noon**4) / 273.15**4 == pytest.approx(0.026, rel=1e-9)


def test_sky_seen_by_half() -> None:
    """A wall sees half the sky and is cooled half as much."""
    roof, wall = (
        sky.sol_air_temperature(0.0, sky_temperature=-20.0, sky_view=view) for view in (1.0, 0.5)
    )
    assert roof == pytest.approx(2.0 * wall, rel=1e-12)
    assert wall < -0.5


def test_sol_air_solves_the_surface_balance() -> None:
    """
    Heat through a thin roof by the sol-air temperature against the full balance at its surface.

    The full balance has radiation to the sky by the fourth power and air at the same
    convection; the linear one is within 0.6 K of it for a sky 20 K colder.
    """
    outside, heavens, inside, u_inner, wind = -5.0, -25.0, 6.0, 0.25, 1.0
    convection = 4.0 + 4.0 * wind
    emittance, sigma = 0.9, sky.STEFAN_BOLTZMANN

    def imbalance(surface: float) -> float:
        lost = emittance * sigma * ((surface + 273.15) ** 4 - (heavens + 273.15) ** 4)
        return u_inner * (inside - surface) + convection * (outside - surface) - lost

    low, high = -40.0, 20.0
    for _ in range(60):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if imbalance(middle) > 0.0 else (low, middle)
    film = sky.outside_resistance(wind, temperature=outside, emittance=emittance)
    roof = sky.sol_air_temperature(
        outside, surface_resistance=film, sky_temperature=heavens, emittance=emittance
    )
    linear = roof + film * (inside - roof) / (film + 1.0 / u_inner)
    assert roof < outside - 3.0
    assert linear == pytest.approx(low, abs=0.6)


def test_ground_is_continuous_where_the_formula_changes() -> None:
    """The two branches meet where the equivalent thickness equals the width (11.25 m)."""
    insulation = [5.265 - 1e-6, 5.265 + 1e-6]
    below, above = (
        ground.ground_u_value(
            ground.Floor(area=100.0, perimeter=200.0 / 11.25, insulation=resistance)
        )
        for resistance in insulation
    )
    assert below == pytest.approx(above, rel=5e-4)
    assert below != above


def test_ground_yearly_mean_is_the_steady_flow() -> None:
    """Over a whole year the seasons cancel."""
    floor = ground.Floor(area=1200.0, perimeter=140.0)
    phase = np.arange(360) / 360.0
    heat = ground.ground_heat_gain(
        floor,
        inside_temperature=6.0 + 3.0 * np.cos(2.0 * np.pi * phase),
        inside_mean=6.0,
        outside_mean=8.0,
        outside_swing=12.0,
        year_phase=phase,
    )
    assert np.mean(heat) == pytest.approx(1200.0 * ground.ground_u_value(floor) * 2.0, rel=1e-9)


def test_ground_follows_a_month_late() -> None:
    floor = ground.Floor(area=1200.0, perimeter=140.0)
    phase = np.arange(0.0, 1.0, 1.0 / 1200.0)
    heat = ground.ground_heat_gain(
        floor,
        inside_temperature=6.0,
        inside_mean=6.0,
        outside_mean=8.0,
        outside_swing=12.0,
        year_phase=phase,
    )
    assert phase[np.argmax(heat)] == pytest.approx(1.0 / 12.0, abs=1e-3)


def seasonal_edge_flow(penetration: float, depth: float) -> complex:
    """
    Heat into a floor per edge, unit soil and swing, by the heat equation in two dimensions.

    Half-space under a half-plane of outside air (known surface temperature) and a half-plane
    of floor behind the equivalent thickness ``depth``, in complex amplitudes; finite volumes
    on a grid that widens away from the edge.
    """
    nodes = 20.0 * np.sinh(4.2 * np.linspace(0.0, 1.0, 41)) / np.sinh(4.2)
    faces = np.concatenate([-nodes[::-1], nodes[1:]])
    centre, below = 0.5 * (faces[1:] + faces[:-1]), 0.5 * (nodes[1:] + nodes[:-1])
    width, height = np.diff(faces), np.diff(nodes)
    index = np.arange(width.size * height.size).reshape(width.size, height.size)
    sideways = height[None, :] / np.diff(centre)[:, None]
    downwards = width[:, None] / np.diff(below)[None, :]
    surface = width / (0.5 * height[0] + np.where(centre < 0.0, 0.0, depth))
    own = -2j / penetration**2 * width[:, None] * height[None, :]
    own[:-1] -= sideways
    own[1:] -= sideways
    own[:, :-1] -= downwards
    own[:, 1:] -= downwards
    own[:, 0] -= surface
    first = np.concatenate([index[:-1].ravel(), index[:, :-1].ravel()])
    second = np.concatenate([index[1:].ravel(), index[:, 1:].ravel()])
    link = np.concatenate([sideways.ravel(), downwards.ravel()])
    matrix = scipy.sparse.coo_matrix((link, (first, second)), shape=(index.size, index.size))
    matrix = (matrix + matrix.T + scipy.sparse.diags(own.ravel())).tocsc()
    source = np.zeros(index.size, dtype=complex)
    source[index[:, 0]] = np.where(centre < 0.0, -surface, 0.0)
    amplitude = scipy.sparse.linalg.spsolve(matrix, source)[index[:, 0]]
    return complex(np.sum((surface * amplitude)[centre > 0.0]))


@pytest.mark.parametrize("insulation", [0.0, 0.5, 2.0])
def test_ground_season_against_the_heat_equation(insulation: float) -> None:
    """Seasonal flow from outside: size within 4 %, lag within half a month of one month."""
    floor = ground.Floor(area=1200.0, perimeter=140.0, insulation=insulation)
    depth = 0.3 + 2.0 * (0.17 + 0.04 + insulation)
    exact = 140.0 * 2.0 * seasonal_edge_flow(3.17, depth)
    peak = ground.ground_heat_gain(
        floor,
        inside_temperature=6.0,
        inside_mean=6.0,
        outside_mean=6.0,
        outside_swing=1.0,
        year_phase=1.0 / 12.0,
    )
    assert peak == pytest.approx(abs(exact), rel=0.04)
    lag = -12.0 * np.angle(exact) / (2.0 * np.pi)
    assert lag == pytest.approx(1.0, abs=0.5)


def test_ground_answer_to_inside_is_the_exact_one() -> None:
    """Size of the answer to a yearly wave inside: a half-space behind a resistance."""
    floor = ground.Floor(area=1200.0, perimeter=140.0)
    depth = 0.3 + 2.0 * (0.17 + 0.04)
    penetration = math.sqrt(2.0 * 365.0 * 86400.0 / (math.pi * 2.0e6))
    impedance = depth / 2.0 + penetration / (2.0 * (1.0 + 1.0j))
    still, warmer = (
        ground.ground_heat_gain(floor, inside_temperature=now, inside_mean=6.0, outside_mean=6.0)
        for now in (6.0, 7.0)
    )
    assert still == 0.0
    assert -warmer == pytest.approx(1200.0 / abs(impedance), rel=1e-3)


def test_ground_cold_floor_draws_heat() -> None:
    """A floor held colder than its yearly mean takes heat from the ground."""
    floor = ground.Floor(area=1200.0, perimeter=140.0)
    warm, cold = (
        ground.ground_heat_gain(floor, inside_temperature=now, inside_mean=6.0, outside_mean=8.0)
        for now in (6.0, 3.0)
    )
    assert cold > warm


def test_leak_by_hand() -> None:
    flow = building.leakage_mass_flow(2000.0, 0.2 / 3600.0, 0.79)
    assert flow == pytest.approx(2000.0 * 0.2 / 3600.0 / 0.79)


def test_per_hour_slip_is_named() -> None:
    with pytest.raises(OutOfRange, match="per hour"):
        building.leakage_mass_flow(2000.0, 0.2, 0.79)


def test_conductance_allowance() -> None:
    assert building.conductance(100.0, 0.2, bridge_allowance=0.5) == pytest.approx(30.0)
    assert math.isnan(building.conductance(math.nan, 0.2))
