"""Compiled runs in threads, and the same runs where nothing can be compiled."""

from __future__ import annotations

import os
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from dataclasses import fields
from functools import cache
from pathlib import Path
from threading import Barrier

import numpy as np
import pytest
from small_runs import through_a_pile, through_a_season
from ventcalc._leaves import leaves
from ventcalc._loop import traced_loop
from ventcalc._ops import ops_for

from ventcalc import _loop, _machine
from ventcalc.season import steps as season_steps

# --- threads ------------------------------------------------------------------------------------


def growth(_, carried, __, own):
    ops = ops_for(own[0])
    turned = ops.repeat(own[1], lambda v: v * 1.25 + own[0], carried[0])
    after = ops.branch(turned > 50.0, lambda: turned / 64.0, turned)
    return (after,), (after, ops.exp(-after))


@cache
def growth_loop(bays):
    like = np.zeros(bays)
    return traced_loop(growth, (), (like,), (), (like, like), bays=bays)


def grown(seed, bays=37, workers=1):
    rng, loop = np.random.default_rng(seed), growth_loop(bays)
    rows = loop.pack((rng.random(bays),))
    own = loop.own_rows((rng.random((200, bays)), rng.integers(0, 5, (200, bays)).astype(float)))
    after, record = loop.steps(rows, np.empty((200, 0)), own, workers)
    return np.array([*loop.unpack(after), *record[0], *record[1]])


def test_runs_in_several_threads_at_once_give_the_same_numbers():
    alone = [grown(seed) for seed in range(16)]
    barrier = Barrier(8)

    def together(seed):
        barrier.wait(60.0)
        return grown(seed)

    with ThreadPoolExecutor(8) as pool:
        for one, other in zip(alone, pool.map(together, range(16)), strict=True):
            np.testing.assert_array_equal(one, other)
    assert len({one.tobytes() for one in alone}) == 16


@pytest.mark.parametrize("workers", [2, 3, 10, 64])
def test_bays_shared_between_threads_give_the_same_numbers(workers):
    np.testing.assert_array_equal(grown(3, workers=workers), grown(3))


# --- without it ---------------------------------------------------------------------------------


@pytest.fixture
def absent(monkeypatch):
    """A Python in which llvmlite is not installed: asking for it fails."""
    for name in [n for n in sys.modules if n.partition(".")[0] == "llvmlite"]:
        monkeypatch.delitem(sys.modules, name)
    monkeypatch.setitem(sys.modules, "llvmlite", None)
    monkeypatch.setattr(_loop, "compiled", lambda text: pytest.fail("compiled all the same"))
    _machine.available.cache_clear()
    yield
    _machine.available.cache_clear()


def test_whether_it_is_there(request):
    assert _machine.available()
    request.getfixturevalue("absent")
    assert not _machine.available()


@pytest.mark.parametrize("bays", [None, 3])
def test_a_pile_without_it(bays, request):
    fast = through_a_pile(bays)
    request.getfixturevalue("absent")
    plain = through_a_pile(bays)
    for one, other in zip(leaves(fast), leaves(plain), strict=True):
        np.testing.assert_allclose(one, other, rtol=1e-11, atol=1e-15)
    for one, other in zip(leaves(fast[1]), leaves(plain[1]), strict=True):
        assert np.shape(one) == np.shape(other) == ((240,) if bays is None else (240, bays))


def test_a_broken_one_is_none(tmp_path):
    """Whatever fails while it is loaded: the plain way serves, without a word."""
    broken = tmp_path / "llvmlite" / "binding"
    broken.mkdir(parents=True)
    (broken.parent / "__init__.py").write_text("")
    (broken / "__init__.py").write_text("raise OSError('libllvmlite.so: cannot be opened')")
    source = (
        "import sys; sys.path.insert(0, 'tests'); from small_runs import through_a_pile;"
        "through_a_pile(None); from ventcalc import _machine; assert not _machine.available()"
    )
    path = os.pathsep.join([str(tmp_path), os.environ.get("PYTHONPATH", "")])
    done = subprocess.run(
        [sys.executable, "-c", source],
        env={**os.environ, "PYTHONPATH": path},
        cwd=Path(__file__).parents[2],
        capture_output=True,
        text=True,
        check=False,
    )
    assert (done.returncode, done.stderr) == (0, "")


def test_a_season_without_it(request, monkeypatch):
    monkeypatch.setattr(season_steps, "WORTH_COMPILING", 1)
    calls, loop = [], season_steps.traced_loop
    monkeypatch.setattr(
        season_steps, "traced_loop", lambda *a, **k: calls.append(1) or loop(*a, **k)
    )
    fast = through_a_season("thermostat")
    request.getfixturevalue("absent")
    plain = through_a_season("thermostat")
    assert calls == [1]
    for field in fields(fast.kpi):
        one, other = getattr(fast.kpi, field.name), getattr(plain.kpi, field.name)
        np.testing.assert_allclose(one, other, rtol=1e-9, atol=1e-12, err_msg=field.name)
    for name, trace in fast.traces.items():
        np.testing.assert_allclose(trace, plain.traces[name], rtol=1e-9, atol=1e-12, err_msg=name)
