"""
Jumps, loops, refusals and moments of traced formulas, against the same formulas in plain Python.

What plain Python gives a compiled lane must give; what it refuses a compiled run must refuse.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from small_runs import NAN, compiled, few, lists_of, sizes

from ventcalc._loop import traced_loop
from ventcalc._ops import SCALAR, at_moment, ops_for
from ventcalc._traced import TRACED
from ventcalc.errors import OutOfRange, check_range

# --- branches and repeats -----------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class Pair:
    first: Any
    flag: Any
    note: str | None = None


def count(ops, n):
    return n if ops is TRACED else int(n)


def halve_or_add(ops, y):
    return lambda v: ops.branch(v > 10.0, lambda: v / 2.0, v + y)


def branches(ops, x, y, n, m):
    """Jumps inside jumps inside loops; dividing by zero, plainly an error, is never needed."""
    alone = ops.branch(x != 0.0, lambda: 1.0 / x, 0.0)

    def inner():
        other = Pair(first=1.0 / x, flag=False)
        return ops.branch(y > 0.0, lambda: Pair(first=1.0 / y / x, flag=x > y), other)

    nested = ops.branch(x != 0.0, inner, Pair(first=-1.0, flag=True))
    times, also = count(ops, n), count(ops, m)
    repeated = ops.repeat(times, lambda v: v * 1.5 + y, x)
    inside = ops.repeat(times, halve_or_add(ops, y), 1.0)
    chosen = ops.branch(x != 0.0, lambda: ops.repeat(times, lambda v: v + 1.0 / x, y), y)

    def both(carried):
        turns, total, odd = carried
        total = ops.repeat(also, lambda v: v + turns, total)
        return turns + 1.0, total, odd != True  # noqa: E712  the carrier's own word for "either"

    turns, total, odd = ops.repeat(times, both, (0.0, y, False))
    never = ops.branch(x != x, lambda: 1.0 / 0.0 if ops is SCALAR else x * 0.0, 7.0)
    never = ops.where(x != x, 0.0, never)
    return (
        *(alone, nested.first, nested.flag, repeated, inside, chosen, turns, total, odd, never),
        *(times, also),
    )  # fmt: skip


counts = st.integers(0, 6)
reals = st.sampled_from([-3.0, -1.0, -0.0, 0.0, 0.25, 1.0, 4.0, 12.0]) | st.floats(-50.0, 50.0)


@sizes
@settings(max_examples=60)
@given(cases=lists_of(reals, reals, counts, counts))
def test_jumps_and_loops_do_what_plain_python_does(cases, bays, lanes):
    """Every bay its own way and its own number of turns, none and one among them."""
    columns, found = compiled(branches, list(zip(*cases, strict=True)), bays, lanes)
    for i, case in enumerate(zip(*(c.tolist() for c in columns), strict=True)):
        wanted = branches(SCALAR, *case)
        for place, (have, want) in enumerate(zip(found, wanted, strict=True)):
            assert have[i] == want or (have[i] != have[i] and want != want), (place, case)


@pytest.mark.parametrize("times", [0, 1, 5])
def test_a_plain_count_repeats_too(times):
    _, (found,) = compiled(lambda ops, x: (ops.repeat(times, lambda v: 2.0 * v, x),), [[3.0, -1.0]])
    assert found.tolist() == [3.0 * 2.0**times, -(2.0**times)]


def test_a_plain_condition_is_decided_once():
    calls = []

    def plain(ops, x):
        return (
            ops.branch(True, lambda: x + 1.0, x),
            ops.branch(np.False_, lambda: calls.append(1), x),
            ops.where(True, x, 5.0),
            ops.branch(False, lambda: calls.append(1), 3.0),
        )

    _, found = compiled(plain, [[2.0]])
    assert [f[0] for f in found] == [3.0, 2.0, 2.0, 3.0]
    assert not calls


# --- out of range -------------------------------------------------------------------------------


def ranged(ops, x, y, n):
    """Range checks in the open, in a branch, in a branch's branch and in some turns of a loop."""
    check_range("x", x, -3.0, 3.0)

    def deeper():
        check_range("y", y, 0.0, 2.0)
        return y

    def checked():
        check_range("x", x, 1.0, 2.0)
        return ops.branch(n > 2.0, deeper, x)

    def turn(v):
        check_range("v", v, -10.0, 10.0)
        return ops.branch(x > y, lambda: v + 5.0, v)

    times = count(ops, n)
    a = ops.branch(x > 0.0, checked, x)
    b = ops.branch(y > 1.0, lambda: ops.repeat(times, turn, 9.0), 0.0)
    return a, b, ops.repeat(times, turn, 0.0)


@sizes
@settings(max_examples=80)
@given(cases=st.lists(st.tuples(few, few, st.integers(0, 4)), min_size=1, max_size=6))
def test_a_run_is_refused_where_plain_python_refuses(cases, bays, lanes):
    """And nowhere else: not for bays that jump over the check, nor for lanes without a bay."""
    columns, found = compiled(ranged, list(zip(*cases, strict=True)), bays, lanes)
    wanted = []
    for case in zip(*(c.tolist() for c in columns), strict=True):
        try:
            wanted.append(ranged(SCALAR, *case))
        except OutOfRange:
            assert found is None
            return
    np.testing.assert_array_equal(np.array(found), np.array(wanted).T)


@pytest.mark.parametrize(("x", "y", "refused"), [
    (1.5, 99.0, True), (-1.0, 99.0, False), (NAN, NAN, False), (3.5, 1.0, True), (2.5, 1.0, True),
])  # fmt: skip
def test_one_lane_of_many_decides(x, y, refused):
    """The other lanes are well, and each need what this one is checked for."""
    for place in range(4):
        xs, ys, ns = np.full(4, 1.5), np.full(4, 1.0), np.full(4, 3.0)
        xs[place], ys[place], ns[place] = x, y, 3.0 if x != 2.5 else 0.0
        assert (
            compiled(ranged, [xs, ys, np.where(ns > 2.0, 3.0, 0.0)], 4, 4)[1] is None
        ) is refused


@pytest.mark.parametrize("bays", [1, 3, 5, 9])
def test_lanes_without_a_bay_refuse_nothing(bays):
    """Whatever fills them is as well as the bays are: what stays, is carried, is given."""

    def step(fixed, carried, _, own):
        for value in (fixed[0], carried[0], own[0]):
            check_range("value", value, 1.0, 2.0)
        return (3.0 - carried[0],), (fixed[0] * carried[0] + own[0],)

    rising = np.linspace(1.0, 2.0, bays)
    own = (np.tile(rising, (4, 1)),)
    loop = traced_loop(step, (rising,), (rising,), (), (rising,), bays=bays)
    after, (found,) = loop.steps(loop.pack((rising,)), np.empty((4, 0)), loop.own_rows(own))
    np.testing.assert_array_equal(found[0], rising * rising + rising)
    np.testing.assert_array_equal(found[1], rising * (3.0 - rising) + rising)
    np.testing.assert_allclose(loop.unpack(after)[0], rising, rtol=1e-15)


# --- moments, and plain Python ------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class Hour:
    heat: float
    time: float


def day_and_hour(time, word):
    """What a calendar does: whole numbers, by methods that no trace can follow."""
    days, seconds = divmod(int(time), 86400)
    return float(days), float(len(word) + seconds // 3600)


def parity(time):
    return float(int(time) // 3600 % 2)


def clock_loop(step, bays):
    own = (np.zeros(() if bays is None else bays),)
    return traced_loop(step, (), (), Hour(heat=1.0, time=0.0), own, bays=bays)


def run_clock(step, bays):
    hours = [Hour(heat=float(i), time=1800.0 * i * i) for i in range(12)]
    xs = np.linspace(-1.0, 1.0, 12)
    loop = clock_loop(step, bays)
    own = (xs if bays is None else np.tile(xs[:, None], (1, bays)),)
    _, record = loop.steps(loop.pack(()), loop.given_rows(hours), loop.own_rows(own))
    return hours, xs, record


@pytest.mark.parametrize("bays", [None, 5])
def test_moments(bays):
    def step(_, carried, hour, own):
        days, clock = at_moment(day_and_hour, hour.time, "ab")
        same, other = at_moment(day_and_hour, hour.time, "ab")[0], at_moment(parity, hour.time)
        later = at_moment(day_and_hour, hour.time, "abcd")[1]
        return carried, (days, clock, same, other, later, hour.time * 2.0 + hour.heat)

    hours, _, found = run_clock(step, bays)
    for i, hour in enumerate(hours):
        _, wanted = step(None, (), hour, None)
        for have, want in zip(found, wanted, strict=True):
            np.testing.assert_array_equal(have[i], want)


@pytest.mark.parametrize("bays", [None, 5])
def test_a_moment_asked_about_in_a_branch_may_be_asked_about_again(bays):
    def step(_, carried, hour, own):
        ops = ops_for(own[0])
        odd = ops.branch(own[0] > 0.0, lambda: at_moment(parity, hour.time), -1.0)
        return carried, (odd, at_moment(parity, hour.time))

    hours, xs, found = run_clock(step, bays)
    for i, hour in enumerate(hours):
        _, wanted = step(None, (), hour, (float(xs[i]),))
        for have, want in zip(found, wanted, strict=True):
            np.testing.assert_array_equal(have[i], want)


USES = {
    "if": lambda x: 1.0 if x > 0.0 else 2.0,
    "if of a number": lambda x: 1.0 if x else 2.0,
    "not": lambda x: not (x > 0.0),
    "and": lambda x: x > 0.0 and x < 1.0,
    "between": lambda x: 0.0 < x < 1.0,
    "min": lambda x: min(x, 1.0),
    "max of layers": lambda x: np.maximum.reduce(np.array([x, 1.0])),
    "in": lambda x: x in (1.0, 2.0),
    "float": float,
    "int": int,
    "exp": math.exp,
    "float of a flag": lambda x: float(x > 0.0),
}


@pytest.mark.parametrize("use", USES.values(), ids=USES)
def test_plain_python_is_told_what_to_do_instead(use):
    with pytest.raises(TypeError, match="traced value"):
        compiled(lambda ops, x: (use(x),), [[1.0]])


def test_flags_are_no_numbers():
    with pytest.raises(TypeError):
        compiled(lambda ops, x: ((x > 0.0) * 2.0,), [[1.0]])
