"""
Speed of moist air: run with ``pytest tests/benchmarks/bench_air.py`` on an idle machine.

The floor is five exponentials and five logarithms of numpy per state, in blocks as the library
uses them; CoolProp is timed on a small share. ``extra_info`` holds nanoseconds per state, so
that ratios of one run can be formed; nothing passes or fails by time.
"""

from __future__ import annotations

import numpy as np
import pytest

from ventcalc import air
from ventcalc.air import kernel, plain
from ventcalc.air.border import BLOCK, evaluate
from ventcalc.air.coolprop import humid_air

N = 1_000_000
FEW = 2000
PRESSURE = 95e3


@pytest.fixture(scope="module")
def states():
    random = np.random.default_rng(3)
    t = random.uniform(-30.0, 45.0, N)
    rh = random.uniform(0.01, 1.0, N)
    p = random.uniform(75e3, 101e3, N)
    return {"t": t, "rh": rh, "w": air.humidity_ratio(t, rh, PRESSURE), "p": p}


def timed(benchmark, call, n, rounds=5):
    result = benchmark.pedantic(call, rounds=rounds, warmup_rounds=1)
    benchmark.extra_info["ns_per_state"] = round(benchmark.stats["min"] / n * 1e9, 1)
    return result


def test_floor_five_exponentials_and_logarithms(benchmark, states):
    def floor():
        for start in range(0, N, BLOCK):
            part = slice(start, start + BLOCK)
            for _ in range(5):
                np.exp(states["rh"][part])
                np.log(states["rh"][part])

    timed(benchmark, floor, N)


@pytest.mark.parametrize("pressure", ["one", "each"])
@pytest.mark.parametrize("name", ["humidity_ratio", "dew_point", "wet_bulb", "enthalpy", "volume"])
def test_million(benchmark, states, name, pressure):
    t, rh, w = states["t"], states["rh"], states["w"]
    p = PRESSURE if pressure == "one" else states["p"]
    calls = {
        "humidity_ratio": lambda: air.humidity_ratio(t, rh, p),
        "dew_point": lambda: air.dew_point(w, p),
        "wet_bulb": lambda: air.wet_bulb(t, w, p),
        "enthalpy": lambda: air.enthalpy(t, w, p),
        "volume": lambda: air.specific_volume(t, w, p),
    }
    assert timed(benchmark, calls[name], N).shape == (N,)


@pytest.mark.parametrize("pressure", ["one", "each"])
def test_million_five_properties(benchmark, states, pressure):
    p = PRESSURE if pressure == "one" else states["p"]
    timed(
        benchmark,
        lambda: evaluate(kernel.of_relative_humidity, states["t"], states["rh"], p),
        N,
    )


def test_million_whole_states(benchmark, states):
    timed(
        benchmark,
        lambda: air.state(
            temperature=states["t"], relative_humidity=states["rh"], pressure=PRESSURE
        ),
        N,
        rounds=3,
    )


@pytest.mark.parametrize("key", ["W", "D", "B", "H", "V"])
def test_coolprop(benchmark, states, key):
    t, rh = states["t"][:FEW] + 273.15, states["rh"][:FEW]
    timed(benchmark, lambda: humid_air(key, "T", t, "R", rh, "P", PRESSURE), FEW, rounds=3)


@pytest.mark.parametrize("temperature", [5.0, -5.0])
def test_one_state_five_properties(benchmark, temperature):
    benchmark(kernel.of_relative_humidity, temperature, 0.9, PRESSURE)


@pytest.mark.parametrize("temperature", [5.0, -5.0])
def test_one_saturation_of_an_hour(benchmark, temperature):
    benchmark(plain.saturated, temperature, PRESSURE)


@pytest.mark.parametrize("temperature", [5.0, -5.0])
def test_one_state_as_users_call_it(benchmark, temperature):
    benchmark(air.state, temperature=temperature, relative_humidity=0.9, pressure=PRESSURE)


def test_one_state_at_a_new_pressure_each_time(benchmark):
    """Coefficients of a pressure are remembered; this is the price when it is always another."""
    pressures = iter(np.linspace(80e3, 100e3, 1_000_000).tolist())

    def call():
        return air.state(temperature=5.0, relative_humidity=0.9, pressure=next(pressures))

    benchmark.pedantic(call, rounds=2000, iterations=1)
