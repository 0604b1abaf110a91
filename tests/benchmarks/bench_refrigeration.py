"""Refrigeration: the cycle, the fit of its map, and the map over a season of hours."""

from __future__ import annotations

import numpy as np

from ventcalc import air
from ventcalc.equipment import coil
from ventcalc.equipment import refrigerant_cycle as rc
from ventcalc.equipment import refrigerant_map as rm

SEASON = 6570


def test_cycle_of_one_state(benchmark):
    benchmark(rc.cycle, "R717", evaporating_temperature=-2.0, condensing_temperature=32.0)


def test_cycle_of_forty_states(benchmark):
    evaporating, condensing = np.linspace(-8, 4, 5)[:, None], np.linspace(20, 45, 8)
    benchmark(
        rc.cycle, "R717", evaporating_temperature=evaporating, condensing_temperature=condensing
    )


def test_fit_of_the_map(benchmark):
    benchmark(rm.fit_performance, "R717")


def test_map_at_one_state(benchmark):
    benchmark(rm.performance, rm.fit_performance("R717"), -2.0, 32.0)


def test_map_over_a_season(benchmark):
    fitted = rm.fit_performance("R717")
    generator = np.random.default_rng(1)
    evaporating, condensing = generator.uniform(-8, 4, SEASON), generator.uniform(20, 45, SEASON)
    benchmark(rm.performance, fitted, evaporating, condensing)


def test_coil_at_one_state(benchmark):
    humidity = air.humidity_ratio(8.0, 0.95, 95e3)
    benchmark(
        coil.coil, temperature=8.0, humidity_ratio=humidity, pressure=95e3, mass_flow=20.0,
        temperature_difference=4.0,
    )  # fmt: skip


def test_coil_surface_over_a_season(benchmark):
    humidity = air.humidity_ratio(8.0, 0.95, 95e3)
    heat = np.random.default_rng(1).uniform(1e3, 2e5, SEASON)
    benchmark(
        coil.coil_surface, temperature=8.0, humidity_ratio=humidity, pressure=95e3,
        mass_flow=20.0, heat=heat,
    )  # fmt: skip
