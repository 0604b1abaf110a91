"""Small things to compile and run: a formula for many numbers, a pile, a season."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from hypothesis import strategies as st
from ventcalc._loop import traced_loop
from ventcalc._traced import TRACED

from ventcalc.advice.policies import POLICIES
from ventcalc.bay.file import example_bay
from ventcalc.pile import bed
from ventcalc.pile import series as bed_series
from ventcalc.pile.crop import crop_for
from ventcalc.season.run import run_season
from ventcalc.weather import example_weather

INF, NAN = math.inf, math.nan
SIZES = [(None, 1), (1, 4), (3, 4), (4, 4), (5, 4), (9, 4), (9, 8)]
"""Bays and lanes; None is one bay without an axis of its own."""
sizes = pytest.mark.parametrize(("bays", "lanes"), SIZES)
few = st.sampled_from([NAN, -INF, INF, -2.0, -1.0, -0.0, 0.0, 0.5, 1.0, 2.0, 5.0])


def lists_of(*kinds):
    return st.lists(st.tuples(*kinds), min_size=1, max_size=30)


@cache
def loop_of(formula, inputs, bays, lanes):
    """A formula of ``(ops, *numbers)`` as a loop that records its results."""

    def step(_, carried, __, own):
        return carried, formula(TRACED, *own)

    like = tuple(np.zeros(() if bays is None else (bays,)) for _ in range(inputs))
    return traced_loop(step, (), (), (), like, bays=bays, lanes=lanes)


def compiled(formula, columns, bays=None, lanes=1):
    """
    Numbers given to a compiled formula, spread over steps and bays, and what it records for them.

    None in place of the record where a number left its range.
    """
    width = bays or 1
    steps = -(-len(columns[0]) // width)
    spread = [np.resize(np.array(c, dtype=float), (steps, width)) for c in columns]
    loop = loop_of(formula, len(columns), bays, lanes)
    own = tuple(c[:, 0] if bays is None else c for c in spread)
    run = loop.steps(loop.pack(()), np.empty((steps, 0)), loop.own_rows(own))
    return [c.ravel() for c in spread], None if run is None else [np.ravel(r) for r in run[1]]


def through_a_pile(bays=None):
    """Ten days of a small pile that cools, is wetted and dries; traced anew at each call."""
    bed_series._loop_of.cache_clear()
    pile = bed.Bed(
        height=4.0, bulk_density=650.0, tuber_diameter=0.06, pressure=101325.0,
        crop=crop_for("table"), conductivity=0.3, layers=6,
    )  # fmt: skip
    hours, warm = np.arange(240), np.linspace(6.0, 14.0, 6)
    inlet, moist = 9.0 + 5.0 * np.sin(hours / 5.0), 0.0065 + 0.0035 * np.sin(hours / 3.0)
    age = hours * 3600.0
    if bays is not None:
        inlet, moist, age = inlet[:, None] + np.arange(bays), moist[:, None], age[:, None]
        warm = warm[:, None] - np.arange(bays)
    return bed_series.march_through(
        pile, bed.fresh_bed(pile, warm, bays), step=3600.0, superficial_velocity=0.04,
        inlet_temperature=inlet, inlet_humidity_ratio=moist, age=age,
    )  # fmt: skip


def through_a_season(policy):
    """The example's seed bay, hurried through a season of some weeks."""
    bay, day = example_bay("seed_bay"), 86400.0
    short = replace(
        bay.schedule, fill_start="10-18", fill_days=2 * day, healing_days=day,
        warm_up_start="11-02", unloading_start="11-05", unloading_days=day,
    )  # fmt: skip
    return run_season(replace(bay, schedule=short), example_weather(), POLICIES[policy], layers=5)
