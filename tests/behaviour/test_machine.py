"""Machine code: kept in the user's cache, never believed when broken, sound after a failure."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from ventcalc import _machine

TEXT = """
define i64 @run(i64 %a, i64 %b, i64 %c, i64 %d, i64 %e, i64 %f, i64 %g) {
entry:
  %v1 = mul i64 %a, NUMBER
  %v2 = add i64 %v1, %g
  ret i64 %v2
}
"""
"""A program small enough to be compiled at once; NUMBER is written in."""


def small(number):
    return TEXT.replace("NUMBER", str(number))


@pytest.fixture
def folder(monkeypatch, tmp_path):
    """An empty cache of our own."""
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    return tmp_path / "ventcalc"


@pytest.fixture
def translations(monkeypatch):
    """The programs that are compiled from now on."""
    seen, translated = [], _machine._translated

    def noted(text):
        seen.append(text)
        return translated(text)

    monkeypatch.setattr(_machine, "_translated", noted)
    return seen


# --- the cache ----------------------------------------------------------------------------------

PROGRAM = """
import numpy as np
from ventcalc import _machine
from ventcalc.physics import bed, bed_series
from ventcalc.physics.crop import crop_for
seen, translated = [], _machine._translated
_machine._translated = lambda text: seen.append(text) or translated(text)
pile = bed.Bed(height=4.0, bulk_density=650.0, tuber_diameter=0.06, pressure=101325.0,
               crop=crop_for("table"), layers=4)
state, means = bed_series.march_through(
    pile, bed.fresh_bed(pile, 12.0), step=3600.0, superficial_velocity=0.05,
    inlet_temperature=8.0, inlet_humidity_ratio=0.006, age=np.arange(300) * 3600.0)
print(len(seen), state.temperature.tobytes().hex(), means.co2.tobytes().hex())
"""


def begin(home, program=PROGRAM):
    return subprocess.Popen(
        [sys.executable, "-c", program],
        env={**os.environ, "XDG_CACHE_HOME": str(home)},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


def ended(process):
    """What a process printed, as words; it must have ended well and silently."""
    out, err = process.communicate(timeout=120)
    assert (process.returncode, err) == (0, "")
    return out.split()


def test_another_process_uses_the_machine_code_again(tmp_path):
    first, second = ended(begin(tmp_path)), ended(begin(tmp_path))
    assert (first[0], second[0]) == ("1", "0")
    assert first[1:] == second[1:]
    (file,) = (tmp_path / "ventcalc").iterdir()
    assert file.suffix == ".code"


def test_two_processes_at_once(tmp_path):
    """Neither reads what the other is still writing, and nothing is left lying about."""
    both = [begin(tmp_path) for _ in range(2)]
    one, other = (ended(process) for process in both)
    assert one[1:] == other[1:]
    assert [file.suffix for file in (tmp_path / "ventcalc").iterdir()] == [".code"]
    assert ended(begin(tmp_path)) == ["0", *one[1:]]


def test_a_file_is_whole_from_the_moment_it_is_there(folder, monkeypatch):
    write, waits = Path.write_bytes, []

    def slowly(path, data):
        write(path, data[: len(data) // 2])
        waits.append(list(folder.glob("*.code")))
        return write(path, data)

    monkeypatch.setattr(Path, "write_bytes", slowly)
    _machine._object_code(small(13))
    assert waits == [[]]
    assert len(list(folder.glob("*.code"))) == 1


def test_a_folder_that_cannot_be_written_costs_only_time(tmp_path):
    """A file stands where the folder should."""
    file = tmp_path / "file"
    file.write_text("in the way")
    without = ended(begin(file))
    assert without == ended(begin(file))
    assert without[0] == "1"
    assert without[1:] == ended(begin(tmp_path))[1:]
    assert file.read_text() == "in the way"


def test_each_program_has_machine_code_of_its_own(folder, translations):
    codes = [_machine._object_code(small(number)) for number in (3, 5, 3)]
    assert codes[0] == codes[2] != codes[1]
    assert translations == [small(3), small(5)]
    assert len(list(folder.iterdir())) == 2


def flipped(place):
    def change(data):
        return data[:place] + bytes([data[place] ^ 1]) + data[place + 1 :]

    return change


BROKEN = {
    "nothing": lambda data: b"",
    "half": lambda data: data[: len(data) // 2],
    "a sum alone": lambda data: data[:32],
    "last byte missing": lambda data: data[:-1],
    "a byte more": lambda data: data + b"\0",
    "sum flipped": flipped(0),
    "code flipped": flipped(32),
    "end flipped": flipped(-2),
    "of something else": lambda data: data[:32] + b"\0" * (len(data) - 32),
}


@pytest.mark.parametrize("broken", BROKEN.values(), ids=BROKEN)
def test_a_broken_file_is_not_believed(broken, folder, translations):
    """It is compiled anew, and the file mended."""
    code = _machine._object_code(small(7))
    (file,) = folder.iterdir()
    whole = file.read_bytes()
    file.write_bytes(broken(whole))
    assert file.read_bytes() != whole
    assert _machine._object_code(small(7)) == code
    assert file.read_bytes() == whole
    assert len(translations) == 2
    assert _machine._object_code(small(7)) == code
    assert len(translations) == 2


def test_a_folder_in_place_of_the_file(folder, translations):
    code = _machine._object_code(small(9))
    (file,) = folder.iterdir()
    file.unlink()
    file.mkdir()
    assert _machine._object_code(small(9)) == code
    assert list(folder.iterdir()) == [file]


def test_without_a_home(monkeypatch, translations):
    """Nowhere to keep anything, and yet no refusal."""

    def homeless():
        raise RuntimeError("Could not determine home directory.")

    monkeypatch.delenv("XDG_CACHE_HOME", raising=False)
    monkeypatch.setattr(Path, "home", homeless)
    assert _machine._object_code(small(11)) == _machine._object_code(small(11))
    assert len(translations) == 2


FAILURES = {
    "a program that is none": "bad = 'no program'",
    "an interrupt": """
def interrupted(text):
    raise KeyboardInterrupt
bad, _machine._translated = TEXT, interrupted
""",
}


@pytest.mark.parametrize("failure", FAILURES.values(), ids=FAILURES)
def test_a_compilation_that_fails_leaves_the_process_sound(failure, tmp_path):
    """In a process of its own, since what is broken may be its memory."""
    program = f"""
import gc
from ventcalc import _machine
TEXT = {TEXT!r}
translated = _machine._translated
before = _machine.compiled(TEXT.replace("NUMBER", "2"))
{failure}
for number in range(3):
    try:
        _machine.compiled(bad.replace("NUMBER", str(number)))
    except (RuntimeError, KeyboardInterrupt):
        gc.collect()
_machine._translated = translated
after = [_machine.compiled(TEXT.replace("NUMBER", str(n))) for n in (100, 1000, 10000)]
print(before(7, 0, 0, 0, 0, 0, 1), *(f(7, 0, 0, 0, 0, 0, 1) for f in after))
"""
    assert ended(begin(tmp_path, program)) == ["15", "701", "7001", "70001"]


def test_the_oldest_machine_code_is_thrown_out(folder, translations, monkeypatch):
    monkeypatch.setattr(_machine, "MOST_KEPT", 3)
    for age, number in enumerate(range(21, 26)):
        _machine._object_code(small(number))
        for file in folder.iterdir():
            os.utime(file, (file.stat().st_mtime - 60.0, file.stat().st_mtime - 60.0))
        assert len(list(folder.iterdir())) == min(age + 1, 3)
    del translations[:]
    for number in (25, 24, 23, 21):
        _machine._object_code(small(number))
    assert translations == [small(21)]


def test_more_programs_than_are_kept_at_hand(tmp_path):
    """Those let go of leave the others sound; in a process of its own for the same reason."""
    program = f"""
from ventcalc import _machine
TEXT = {TEXT!r}
many = range(3 * _machine.MOST_KEPT)
held = _machine.compiled(TEXT.replace("NUMBER", "31"))
found = [_machine.compiled(TEXT.replace("NUMBER", str(n)))(2, 0, 0, 0, 0, 0, 1) for n in many]
print(found == [2 * n + 1 for n in many], held(1, 0, 0, 0, 0, 0, 0))
"""
    assert ended(begin(tmp_path, program)) == ["True", "31"]


def test_compiling_in_several_threads_at_once(tmp_path):
    """The same program for all, and one of its own for each; what was made twice may go."""
    program = f"""
import gc
from concurrent.futures import ThreadPoolExecutor
from threading import Barrier
from ventcalc import _machine
TEXT = {TEXT!r}
barrier = Barrier(6)
def compiled(n):
    barrier.wait(60.0)
    shared, own = (_machine.compiled(TEXT.replace("NUMBER", str(x))) for x in (71, 72 + n))
    return shared(2, 0, 0, 0, 0, 0, n), own(3, 0, 0, 0, 0, 0, 1)
with ThreadPoolExecutor(6) as pool:
    found = list(pool.map(compiled, range(6)))
gc.collect()
print(found == [(142 + n, 3 * (72 + n) + 1) for n in range(6)])
print(_machine.compiled(TEXT.replace("NUMBER", "81"))(1, 0, 0, 0, 0, 0, 0))
"""
    assert ended(begin(tmp_path, program)) == ["True", "81"]
    assert {file.suffix for file in (tmp_path / "ventcalc").iterdir()} == {".code"}


def test_advice_never_loads_it(tmp_path):
    program = """
import sys
import ventcalc as vc
readings = vc.Readings(
    time=1_800_000_000.0, outside_temperature=-1.0, outside_relative_humidity=0.55,
    return_temperature=4.3, return_relative_humidity=0.95, pulp_bottom=3.4, pulp_mean=3.9,
    pulp_top=4.3, pulp_coldest=3.4)
advice, memory = vc.advise(vc.example_bay("seed_bay"), readings)
vc.run_season  # only looked at
print(0.0 <= advice.fan_speed <= 1.0, "numpy" in sys.modules, "llvmlite" in sys.modules)
"""
    assert ended(begin(tmp_path, program)) == ["True", "True", "False"]
    assert not list(tmp_path.iterdir())
