"""
Operations of traced formulas, compiled and run, against the same operations on floats and arrays.

Plain Python and numpy, element by element, are the oracle.
"""

from __future__ import annotations

import operator
from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from small_runs import INF, NAN, compiled, few, lists_of, sizes

from ventcalc._loop import traced_loop
from ventcalc._ops import ARRAY, SCALAR, ops_for
from ventcalc._traced import TRACED

SPECIAL = (NAN, INF, -INF, 0.0, -0.0, 1.0, -1.0, 0.5, 3.0, -745.2, 708.9, 1e308, -1e-308, 5e-324)
numbers = st.floats() | st.sampled_from(SPECIAL)


def assert_same(found, wanted, text):
    """The same number to the last bit, except that one NaN is as good as another."""
    np.testing.assert_array_equal(found, wanted, err_msg=text)
    if np.asarray(found).dtype == float:
        known = ~np.isnan(wanted)
        signs = np.signbit(found)[known], np.signbit(wanted)[known]
        np.testing.assert_array_equal(*signs, err_msg=f"sign of {text}")


# --- one operation at a time --------------------------------------------------------------------

EXACT = {
    "add": lambda ops, x, y: x + y,
    "add to a constant": lambda ops, x, y: 0.1 + x,
    "subtract": lambda ops, x, y: x - y,
    "subtract from a constant": lambda ops, x, y: 0.1 - y,
    "multiply": lambda ops, x, y: x * y,
    "multiply a constant": lambda ops, x, y: 3 * x,
    "divide": lambda ops, x, y: x / y,
    "divide a constant": lambda ops, x, y: 0.1 / x,
    "minus": lambda ops, x, y: -x,
    "size": lambda ops, x, y: abs(x),
    "multiply and add": lambda ops, x, y: x * y + x,
    "sqrt": lambda ops, x, y: ops.sqrt(x),
    "where": lambda ops, x, y: ops.where(x < y, x, y),
    "where, constants": lambda ops, x, y: ops.where(y >= 1.0, -0.0, 2.0),
    "isnan": lambda ops, x, y: ops.isnan(x),
    "negate": lambda ops, x, y: ops.negate(ops.isnan(y)),
    "less": lambda ops, x, y: ops.less(x, y),
    "below": lambda ops, x, y: x < y,
    "at most": lambda ops, x, y: x <= y,
    "above": lambda ops, x, y: x > y,
    "at least": lambda ops, x, y: x >= y,
    "equal": lambda ops, x, y: x == y,
    "unequal": lambda ops, x, y: x != y,
    "constant below": lambda ops, x, y: operator.lt(1.0, x),
    "constant unequal": lambda ops, x, y: operator.ne(0.0, x),
    "and": lambda ops, x, y: (x > 0.0) & (y > 0.0),
    "or": lambda ops, x, y: (x > 0.0) | (y > 0.0),
    "either": lambda ops, x, y: (x > 0.0) != (y > 0.0),
    "not": lambda ops, x, y: ops.negate(x > 0.0) & ops.negate((y > 0.0) | (x == y)),
    "and with what is known": lambda ops, x, y: (x > y) & True | False,
    "or with what is known": lambda ops, x, y: (x > y) & False | (x < y) & (True | (x > 1.0)),
}
UP_TO_ZEROS = {
    "minimum": lambda ops, x, y: ops.minimum(x, y),
    "minimum of a number and a constant": lambda ops, x, y: ops.minimum(x, 0.5),
    "minimum of a constant and a number": lambda ops, x, y: ops.minimum(0.5, x),
    "maximum": lambda ops, x, y: ops.maximum(x, y),
    "maximum of a number and a constant": lambda ops, x, y: ops.maximum(x, 0.5),
    "maximum of a constant and a number": lambda ops, x, y: ops.maximum(0.5, x),
}
"""Exact, but which of 0.0 and -0.0 is the lesser nobody says."""
NEAR = {
    "exp": lambda ops, x, y: ops.exp(ops.minimum(x, 708.9)),  # plainly infinite from 709
    "log": lambda ops, x, y: ops.log(x),
    "square": lambda ops, x, y: x**2,
    "third power": lambda ops, x, y: x**3,
    "fourth power": lambda ops, x, y: x**4,
    "power 0.6": lambda ops, x, y: x**0.6,
    "power -1.5": lambda ops, x, y: (abs(x) + 1e-3) ** -1.5,
    # At -inf and -0.0 the root is meant: NaN and -0.0, where a power is inf and 0.0.
    "power 0.5": lambda ops, x, y: (x + 0.0) ** 0.5 if ops is TRACED else ops.sqrt(x + 0.0),
}
"""Up to the last bits of a library of mathematics."""
OPERATIONS = EXACT | UP_TO_ZEROS | NEAR


def operations(ops, x, y):
    return tuple(formula(ops, x, y) for formula in OPERATIONS.values())


def plainly(formula, x, y):
    """With floats; None where Python refuses (1/0, too great a power) or turns complex."""
    try:
        found = formula(SCALAR, x, y)
    except (ZeroDivisionError, OverflowError):
        return None
    return None if isinstance(found, complex) else found


def check_operations(xs, ys, bays, lanes):
    (x, y), found = compiled(operations, (xs, ys), bays, lanes)
    for (name, formula), mine in zip(OPERATIONS.items(), found, strict=True):
        with np.errstate(all="ignore"):
            by_array = np.broadcast_to(formula(ARRAY, x, y), x.shape)
        pairs = zip(x.tolist(), y.tolist(), strict=True)
        plain = [plainly(formula, a, b) for a, b in pairs]
        defined = [i for i, one in enumerate(plain) if one is not None]
        by_float = np.array([plain[i] for i in defined])
        for wanted, have in ((by_array, mine), (by_float, mine[defined])):
            assert not len(wanted) or have.dtype == wanted.dtype, name
            if name in EXACT:
                assert_same(have, wanted, name)
            elif name in UP_TO_ZEROS:
                np.testing.assert_array_equal(have, wanted, err_msg=name)
            else:
                np.testing.assert_allclose(have, wanted, rtol=1e-15, atol=1e-322, err_msg=name)


@sizes
def test_operations_at_the_edges(bays, lanes):
    """Every pair of the special numbers: NaN, infinities, zeros of both signs, the tiniest."""
    xs, ys = np.array([(a, b) for a in SPECIAL for b in SPECIAL]).T
    check_operations(xs, ys, bays, lanes)


@sizes
@settings(max_examples=60)
@given(pairs=lists_of(numbers, numbers))
def test_operations_anywhere(pairs, bays, lanes):
    check_operations(*zip(*pairs, strict=True), bays, lanes)


def test_nan_is_handed_on_by_extremes_with_a_constant():
    """As by ``SCALAR`` and ``ARRAY``, on whichever side it stands."""

    def extremes(ops, x):
        pairs = [(x, NAN), (NAN, x)]
        return tuple(f(*pair) for f in (ops.minimum, ops.maximum) for pair in pairs)

    assert np.isnan(extremes(SCALAR, 1.0)).all()
    assert np.isnan(compiled(extremes, [[1.0]])[1]).all()


def test_equal_flags_are_found_or_refused():
    """Never plain False, which would decide the program in silence."""

    def both(ops, x, y):
        return ((x > 0.0) == (y > 0.0),)

    try:
        _, (found,) = compiled(both, [[1.0, 1.0, -1.0], [1.0, -1.0, -1.0]])
    except TypeError:
        return
    assert found.tolist() == [True, False, True]


def test_what_may_and_what_must_hold():
    seen = {}

    def asks(ops, x):
        for name, flag in (("traced", x > 0.0), ("false", False), ("true", True)):
            seen[name] = ops.any(flag), ops.all(flag)
        seen["layers"] = ops.any(np.array([x > 0.0, x > 1.0])), ops.all(np.array([x > 0.0]))
        assert ops_for(x) is ops_for(1.0, np.array([x, x])) is ops_for(np.zeros(2), x) is TRACED
        return (x,)

    compiled(asks, [[1.0]])
    assert seen == {
        "traced": (True, False), "layers": (True, False), "false": (False, False),
        "true": (True, True),
    }  # fmt: skip


# --- layers -------------------------------------------------------------------------------------

LAYERS = 5


def layered(ops, many, one):
    """Arrays of layers with each other, with a number, with a row of constants."""
    row = np.linspace(-1.0, 1.0, LAYERS)
    row = row if np.ndim(many) == 1 else row[:, None]
    low = ops.minimum(many, one)
    warm = ops.where(ops.less(low, row), many * row, one - many)
    known = ops.where(ops.isnan(warm), 0.0, warm)
    flags = ops.negate(ops.less(known, one))
    shifted = ops.maximum(known[1:], known[:-1])
    total = ops.exp(-abs(shifted)) / 3.0 + ops.sqrt(shifted**2) + ops.log(1.0 + abs(shifted))
    return low, warm, known, ops.where(flags, 1.0, -1.0), total


@pytest.mark.parametrize(("bays", "lanes"), [(None, 1), (5, 4)])
@settings(max_examples=40)
@given(data=st.data())
def test_layers(data, bays, lanes):
    width = bays or 1
    cells = st.lists(numbers, min_size=LAYERS * width, max_size=LAYERS * width)
    many = np.array(data.draw(cells)).reshape(LAYERS, width)
    one = np.array(data.draw(st.lists(few, min_size=width, max_size=width)))
    if bays is None:
        many, one = many[:, 0], one[0]
    loop = layer_loop(bays, lanes)
    rows = loop.pack((many,))
    before = rows.copy()
    after, record = loop.steps(rows, np.empty((2, 0)), loop.own_rows((np.array([one, one]),)))
    np.testing.assert_array_equal(rows, before)
    carried = many
    with np.errstate(all="ignore"):
        for step in range(2):
            wanted = layered(ARRAY, carried, one)
            for have, want in zip(record, wanted, strict=True):
                np.testing.assert_allclose(have[step], want, rtol=1e-14, atol=1e-322)
            carried = wanted[2] * 0.5
    np.testing.assert_allclose(loop.unpack(after)[0], carried, rtol=1e-14, atol=1e-322)


@cache
def layer_loop(bays, lanes):
    def step(_, carried, __, own):
        found = layered(TRACED, carried[0], own[0])
        return (found[2] * 0.5,), found

    like = np.zeros(LAYERS if bays is None else (LAYERS, bays))
    number = np.zeros(() if bays is None else bays)
    return traced_loop(step, (), (like,), (), (number,), bays=bays, lanes=lanes)


def test_flags_of_layers_stay_flags():
    def cold(ops, x, y):
        return (ops.less(np.array([x, y], dtype=object), 0.0),)

    _, (found,) = compiled(cold, [[1.0, -1.0], [-1.0, -1.0]])
    assert found.tolist() == [False, True, True, True]
    assert found.dtype == bool
