"""Advice for one hour, reasons and all; and what the import costs."""

from __future__ import annotations

import subprocess
import sys
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from ventcalc.bay.batch import stack_bays

from ventcalc.advice.advise import Memory, Readings, advise
from ventcalc.advice.reasons import reasons
from ventcalc.bay.file import example_bay

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


@pytest.mark.parametrize("bays", [100, 10_000])
def test_advice_for_many_bays(benchmark: Any, bays: int) -> None:
    many = stack_bays([BAY] * bays)
    outside = np.linspace(-20.0, 20.0, bays)
    readings = replace(NIGHT, outside_temperature=outside, pulp_mean=np.full(bays, 9.1))
    advice, _ = benchmark(advise, many, readings, Memory())
    assert advice.fan_speed.shape == (bays,)
    benchmark.extra_info["bays per second"] = round(bays / benchmark.stats.stats.median)


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
