"""What pint answered is kept for the next program, and a damaged file of it harms nothing."""

from __future__ import annotations

import json
import os
import subprocess
import sys

ASK = """
import sys
from ventcalc.units import parse
print(parse("20 cfm/ton", "m3/(s kg)"), parse("0.035 Btu/(h ft2 degF)", "W/(m2 K)"),
      parse("50 degF", "degC"), "pint" in sys.modules)
"""


def asked(place):
    env = {**os.environ, "XDG_CACHE_HOME": str(place)}
    done = subprocess.run(
        [sys.executable, "-c", ASK], env=env, capture_output=True, text=True, check=True
    )
    return done.stdout.split()


def test_the_second_program_needs_no_pint(tmp_path):
    *first, loaded = asked(tmp_path)
    assert loaded == "True"
    assert asked(tmp_path) == [*first, "False"]


def test_torn_and_strange_lines_are_no_answers(tmp_path):
    *first, _ = asked(tmp_path)
    (file,) = (tmp_path / "ventcalc").glob("units-*")
    rows = file.read_text("utf-8").splitlines(keepends=True)
    torn = next(row for row in rows if json.loads(row)[:2] == ["cfm/ton", "m**3/(s kg)"])
    file.write_text("".join(row for row in rows if row != torn) + '{"a": 1}\n[1]\n' + torn[:-14])
    assert asked(tmp_path) == [*first, "True"]
    file.write_bytes(b"\xff\xfe\n")
    assert [asked(tmp_path), asked(tmp_path)] == [[*first, "True"], [*first, "False"]]


def test_a_folder_that_cannot_be_made_keeps_nothing(tmp_path):
    (tmp_path / "ventcalc").write_text("a file in its place")
    assert asked(tmp_path) == asked(tmp_path)
