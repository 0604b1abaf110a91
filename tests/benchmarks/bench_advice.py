"""Advice for one hour, reasons and all; and what the import costs."""

from __future__ import annotations

import subprocess
import sys
from typing import Any

import numpy as np
import pytest

from ventcalc import compiled
from ventcalc.advice.advise import Memory, Readings, advise, decide
from ventcalc.advice.reasons import reasons
from ventcalc.advice.situation import START
from ventcalc.bay.file import example_bay
from ventcalc.bay.hourly import HourlyBay, hourly

BAY = example_bay("seed_bay")
NIGHT = Readings(
    time=1_793_095_200.0,
    outside_temperature=-1.0,
    outside_relative_humidity=0.55,
    return_temperature=9.6,
    return_relative_humidity=0.95,
    plenum_temperature=8.9,
    pulp_bottom=8.7,
    pulp_mean=9.1,
    pulp_top=9.5,
    pulp_coldest=8.7,
    co2=0.0016,
    pressure=84_100.0,
)


def test_advice_for_one_bay(benchmark: Any) -> None:
    advice, _ = benchmark(advise, BAY, NIGHT, Memory())
    assert advice.fan_speed > 0.0


def test_reasons_for_one_bay(benchmark: Any) -> None:
    advice, _ = advise(BAY, NIGHT)
    assert benchmark(reasons, advice, BAY, "metric")


def ask(bay: HourlyBay, seen: Readings, memory: Memory, outside: Any, speed: Any) -> None:
    """Advice for one outside temperature after the other."""
    for i in range(len(outside)):
        now = Readings(
            seen.time, outside[i], seen.outside_relative_humidity, seen.return_temperature,
            seen.return_relative_humidity, seen.plenum_temperature, seen.pulp_bottom,
            seen.pulp_top, seen.pulp_mean, seen.pulp_coldest, seen.ceiling_temperature, seen.co2,
            seen.pressure,
        )  # fmt: skip
        speed[i] = decide(bay, now, memory)[0].fan_speed


@pytest.mark.parametrize("calls", [100, 10_000])
def test_compiled_advice(benchmark: Any, calls: int) -> None:
    bay, speed = compiled.record_of(hourly(BAY, NIGHT.time)), np.empty(calls)
    given = bay, NIGHT, START, np.linspace(-20.0, 20.0, calls), speed
    benchmark.pedantic(compiled.entry(ask), given, rounds=10, warmup_rounds=1)
    assert (speed > 0.0).any()
    benchmark.extra_info["calls per second"] = round(calls / benchmark.stats.stats.median)


@pytest.mark.parametrize(
    "module",
    [
        "",
        "numpy",
        "ventcalc",
        "ventcalc.advice.advise",
        "ventcalc.season.run",
        "ventcalc.commands.main",
        "CoolProp.CoolProp",
    ],
)
def test_import_in_a_fresh_interpreter(benchmark: Any, module: str) -> None:
    """The first row is Python alone, the second what numpy costs."""
    program = f"import {module}" if module else ""
    command = [sys.executable, "-c", program]
    benchmark.pedantic(subprocess.run, (command,), {"check": True}, rounds=5, warmup_rounds=1)
