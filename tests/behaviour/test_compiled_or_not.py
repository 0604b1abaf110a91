"""Compiled runs in threads, the same runs where nothing can be compiled, and where code is kept."""

from __future__ import annotations

import os
import resource
import shutil
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from dataclasses import fields
from pathlib import Path
from threading import Barrier

import numba
import numpy as np
import pytest
from small_runs import hurried, through_a_pile, through_a_season

import ventcalc as vc
from ventcalc import compiled
from ventcalc.bay.file import example_bay
from ventcalc.compiled import kept
from ventcalc.errors import BadInput
from ventcalc.weather import example_weather

ROOT = Path(__file__).parents[2]
DAYS = ("10-18", "10-19", "10-20", "10-21")


def python(code, *words, **environment):
    """What a fresh interpreter gives back, with tests that can be imported by name."""
    given = {"PYTHONPATH": os.pathsep.join([str(ROOT), str(ROOT / "tests")]), **environment}
    return subprocess.run(
        [sys.executable, "-c", code, *words],
        env={**os.environ, **given},
        capture_output=True,
        text=True,
        check=False,
    )


# --- threads ------------------------------------------------------------------------------------


def season_of(day):
    bay = hurried(example_bay("seed_bay"), fill_start=day)
    return vc.run_season(bay, example_weather(), layers=5, compiled=True)


def test_seasons_in_several_threads_at_once_give_the_same_numbers():
    alone = [season_of(day) for day in DAYS]
    barrier = Barrier(len(DAYS))

    def together(day):
        barrier.wait(60.0)
        return season_of(day)

    with ThreadPoolExecutor(len(DAYS)) as pool:
        for one, other in zip(alone, pool.map(together, DAYS), strict=True):
            for name in one.records.dtype.names:
                np.testing.assert_array_equal(one.records[name], other.records[name])
            np.testing.assert_array_equal(one.pulp, other.pulp)
    assert len({season.pulp[-1].tobytes() for season in alone}) == len(DAYS)


@pytest.mark.parametrize("workers", [2, 16])
def test_seasons_shared_between_threads_give_the_same_numbers(workers):
    bays = [hurried(example_bay("seed_bay"), fill_start=day) for day in DAYS]

    def found(workers):
        return vc.run_seasons(
            bays, example_weather(), layers=5, workers=workers, compiled=True
        ).mass_loss

    np.testing.assert_array_equal(found(workers), found(1))


# --- without it ---------------------------------------------------------------------------------


@pytest.fixture
def absent(monkeypatch):
    """A Python in which numba is not installed: asking for it fails."""
    for name in [n for n in sys.modules if n.partition(".")[0] in ("numba", "llvmlite")]:
        monkeypatch.delitem(sys.modules, name)
    for name in ("numba", "llvmlite"):
        monkeypatch.setitem(sys.modules, name, None)
    known = (compiled.available, compiled.works, compiled._numba)
    for function in known:
        function.cache_clear()
    monkeypatch.setattr(kept, "_MADE", set())
    yield
    for function in known:
        function.cache_clear()


def test_whether_it_is_there(request):
    assert compiled.available()
    assert compiled.works()
    request.getfixturevalue("absent")
    assert not compiled.available()
    assert not compiled.works()
    assert not compiled.ready("season-advice")


def assert_same(fast, plain):
    for field in fields(fast.kpi):
        one, other = getattr(fast.kpi, field.name), getattr(plain.kpi, field.name)
        np.testing.assert_allclose(one, other, rtol=1e-9, atol=1e-12, err_msg=field.name)
    for name, trace in fast.traces.items():
        np.testing.assert_allclose(trace, plain.traces[name], rtol=1e-9, atol=1e-12, err_msg=name)


def test_a_season_without_it(request):
    fast = through_a_season("thermostat", compiled=True)
    request.getfixturevalue("absent")
    assert_same(fast, through_a_season("thermostat"))
    with pytest.raises(BadInput, match="needs numba: python -m pip install") as caught:
        through_a_season("thermostat", compiled=True)
    assert len(caught.value.problems) == 1


def test_many_seasons_without_it(absent):
    """Even where they would be worth compiling."""
    bays = [hurried(example_bay("seed_bay"), fill_start=DAYS[0])] * 5
    found = vc.run_seasons(bays, example_weather(), "nothing", layers=5)
    assert len(set(found.mass_loss.tolist())) == 1


def test_a_pile_without_it(request):
    fast = through_a_pile()
    request.getfixturevalue("absent")
    plain = through_a_pile()
    for one, other in zip(fast[1], plain[1], strict=True):
        assert np.shape(one) == np.shape(other) == (240,)
        np.testing.assert_allclose(one, other, rtol=1e-11, atol=1e-15)
    for field in fields(fast[0]):
        one, other = getattr(fast[0], field.name), getattr(plain[0], field.name)
        np.testing.assert_allclose(one, other, rtol=1e-11, atol=1e-15)


BROKEN = """
from small_runs import hurried, through_a_season
from ventcalc import compiled, run_seasons, example_bay, example_weather
assert compiled.available()
through_a_season("nothing")
run_seasons([hurried(example_bay("seed_bay"))] * 5, example_weather(), "nothing", layers=4)
assert not compiled.works()
try:
    through_a_season("nothing", compiled=True)
except ValueError as error:
    print(error)
"""


def test_a_broken_one_is_none(tmp_path):
    """Whatever fails while it is loaded: the plain way serves, without a word."""
    broken = tmp_path / "numba"
    broken.mkdir()
    (broken / "__init__.py").write_text("raise OSError('libllvmlite.so: cannot be opened')")
    path = os.pathsep.join([str(tmp_path), str(ROOT), str(ROOT / "tests")])
    done = python(BROKEN, PYTHONPATH=path)
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout.startswith("compiled=True needs numba")
    assert done.stdout.count("\n") == 1


# --- where machine code is kept -----------------------------------------------------------------


def folder_in(place):
    """Where machine code would be kept if the user's cache were there."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("XDG_CACHE_HOME", str(place))
        compiled.folder.cache_clear()
        found = compiled.folder()
    compiled.folder.cache_clear()
    return found


def test_the_folder_is_ours_alone(tmp_path):
    place = folder_in(tmp_path / "new" / "cache")
    assert place.is_relative_to(tmp_path / "new" / "cache" / "ventcalc")
    for part in (place, place.parent):
        assert part.stat().st_mode & 0o777 == 0o700
    assert folder_in(tmp_path / "new" / "cache") == place


@pytest.mark.parametrize("deep", [0, 1, 2])
def test_machine_code_in_a_folder_that_others_may_write_to_is_not_used(deep, tmp_path):
    """Neither the user's cache, nor ours in it, nor that of these sources."""
    place = folder_in(tmp_path / "cache")
    shared = [tmp_path / "cache", place.parent, place][deep]
    shared.chmod(0o777)
    assert folder_in(tmp_path / "cache") is None
    shared.chmod(0o700)
    assert folder_in(tmp_path / "cache") == place


def test_a_folder_that_cannot_be_made_is_not_used(tmp_path):
    taken = tmp_path / "file"
    taken.write_text("")
    assert folder_in(taken) is None
    (tmp_path / "ventcalc").write_text("")
    assert folder_in(tmp_path) is None


PLANTED = """
import numpy as np
from small_runs import through_a_season
from ventcalc import compiled
found = through_a_season("nothing", until=np.datetime64("2018-10-18T12"))
print(compiled.ready("season-nothing"), *sorted(compiled.kept._MADE))
"""


def test_a_shared_folder_makes_no_season_wait_nor_run_what_lies_there(tmp_path):
    """Though it says that the machine code is ready, nothing of it is loaded, nor put there."""
    place = folder_in(tmp_path)
    kept.note_of(place, "season-nothing").touch()
    tmp_path.chmod(0o777)
    before = sorted(tmp_path.rglob("*"))
    done = python(PLANTED, XDG_CACHE_HOME=str(tmp_path))
    assert (done.stdout.split(), done.stderr) == (["False"], "")
    assert sorted(tmp_path.rglob("*")) == before


def test_machine_code_hangs_on_every_source(tmp_path, monkeypatch):
    """A copy of the package has the same key; a letter more or a file more has another."""
    copy = tmp_path / "ventcalc"
    shutil.copytree(ROOT / "ventcalc", copy, ignore=shutil.ignore_patterns("__pycache__", "data"))
    before = kept._key()
    monkeypatch.setattr(kept, "_PACKAGE", copy)
    assert kept._key() == before
    keys = {before}
    for name in ("air/plain.py", "advice/devices.py", "equipment/plenum.py", "pile/crop.py"):
        source = copy / name
        source.write_text(source.read_text() + "\n")
        keys.add(kept._key())
    (copy / "bay" / "more.py").write_text("MORE = 1")
    keys.add(kept._key())
    assert len(keys) == 6
    monkeypatch.setattr(np, "__version__", "9.9")
    assert kept._key() not in keys


def test_what_waits_for_one_copy_waits_for_no_other(tmp_path, monkeypatch):
    """Numba would compile the same sources again at another place, and installed once more."""
    copy = tmp_path / "ventcalc"
    shutil.copytree(ROOT / "ventcalc", copy, ignore=shutil.ignore_patterns("__pycache__", "data"))

    def note():
        kept._copy.cache_clear()
        return kept.note_of(tmp_path, "season-advice").name

    ours = note()
    assert note() == ours
    monkeypatch.setattr(kept, "_PACKAGE", copy)
    other = note()
    os.utime(copy / "season" / "steps.py", (0, 0))
    assert len({ours, other, note()}) == 3
    monkeypatch.undo()
    assert note() == ours


STUDY = """
import numba
import numpy as np
import ventcalc as vc
from settings import SPEED
from small_runs import through_a_season

@numba.njit
def own(bay, readings, memory):
    return vc.Positions(SPEED, 0.1, 0.0, 0.0, 0.0, 1), memory

found = through_a_season(own, until=np.datetime64("2018-10-19"))
print(*sorted({*found.traces["fan_speed"].tolist()}))
"""


def test_a_policy_follows_what_it_reads_from_other_files(tmp_path):
    """Its machine code is not kept: nobody could tell that a number elsewhere has changed."""
    (tmp_path / "study.py").write_text(STUDY)
    path = os.pathsep.join([str(tmp_path), str(ROOT), str(ROOT / "tests")])
    for speed in ("0.5", "0.8"):
        (tmp_path / "settings.py").write_text(f"SPEED = {speed}")
        shutil.rmtree(tmp_path / "__pycache__", ignore_errors=True)
        done = python("import study", PYTHONPATH=path)
        assert (done.stdout.split(), done.stderr) == ([speed], "")


# --- a memory with a few fields changed ---------------------------------------------------------


KEEP = vc.updated(vc.Memory, "fan_since", "target")
MOVE = vc.updated(vc.Positions, "fan_speed", "door_opening")
STILL = vc.Positions()


def in_turns(bay, readings, memory):
    """Fans on in every third hour; what else is remembered stays as it was."""
    turn = (memory.fan_since + 1.0) % 3.0
    speed = 0.6 if turn < 1.0 else 0.0
    return MOVE(STILL, speed, 0.2), KEEP(memory, turn, bay.schedule.holding_temperature)


def test_some_fields_of_a_memory_are_changed_compiled_as_in_plain_python():
    start = vc.Memory(freeze_stage=2, purging=True)
    assert KEEP(start, 5.0, 3.3) == start._replace(fan_since=5.0, target=3.3)
    whole = {"until": np.datetime64("2018-10-20T12")}
    fast = through_a_season(numba.njit(in_turns), compiled=True, **whole)
    plain = through_a_season(numba.njit(in_turns), compiled=False, **whole)
    assert 0.15 < np.mean(plain.traces["fan_speed"]) < 0.25
    assert fast.state.memory.fan_since == plain.state.memory.fan_since
    assert fast.state.memory.target == example_bay("seed_bay").schedule.holding_temperature
    assert_same(fast, plain)


def test_a_field_that_is_not_there_is_named():
    with pytest.raises(BadInput, match="Memory has no 'targets'; it has time, target, "):
        vc.updated(vc.Memory, "targets")


# --- Ctrl-C -------------------------------------------------------------------------------------


INTERRUPTED = """
import os, signal, sys, threading, time
from llvmlite.binding.executionengine import ExecutionEngine
from ventcalc import compiled
from ventcalc.commands.main import main

delay, at, timers = float(sys.argv[1]), [], []
compiling, set_object_cache = compiled._compiling, ExecutionEngine.set_object_cache

def ctrl_c():
    if not at:
        at.append(time.process_time())
        os.kill(os.getpid(), signal.SIGINT)

def begin():
    if not timers:
        timers.append(threading.Timer(delay, ctrl_c))
        if delay > 0.0:
            timers[0].start()
    return compiling()

def listen(engine, notify, getbuffer=None):
    # What is raised in here goes no further.
    def written(module, code):
        if timers and delay == 0.0:
            ctrl_c()
        notify(module, code)
    set_object_cache(engine, written, getbuffer)

compiled._compiling, ExecutionEngine.set_object_cache = begin, listen
code = main("season seed_bay --weather example --layers 4".split())
print(code, at[0])
"""


@pytest.mark.parametrize("delay", ["0", "3"])
def test_ctrl_c_ends_a_command_that_is_compiling(delay, tmp_path):
    """
    Within 2 s of a processor's time, by its status for it and without a word.

    With no delay it comes where LLVM has just written the code of the first function.
    """
    place = folder_in(tmp_path)
    kept.note_of(place, "season-advice").touch()  # so that the command takes to compiling
    before = processor_time()
    done = python(INTERRUPTED, delay, XDG_CACHE_HOME=str(tmp_path))
    status, interrupted = done.stdout.split()
    assert status == "130"
    assert processor_time() - before - float(interrupted) < 2.0
    assert done.stderr == ""


ENDED_AGAIN_AND_AGAIN = """
import os
import signal
import threading

import ventcalc as vc

bay, weather = vc.example_bay("seed_bay"), vc.example_weather()


def run():
    vc.run_season(bay, weather, layers=8, compiled=True, progress=lambda step, steps: None)


run()
for k in range(20):
    threading.Timer(0.05 + 0.01 * k, os.kill, (os.getpid(), signal.SIGINT)).start()
    try:
        while True:
            run()
    except KeyboardInterrupt:
        print("ended")
"""


def test_ctrl_c_ends_machine_code_that_runs():
    """Numba builds what it returns by calling Python, and crashes where Ctrl-C is raised there."""
    done = python(ENDED_AGAIN_AND_AGAIN)
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout.split() == ["ended"] * 20


def processor_time():
    """That of all processes started so far. [s]"""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime
