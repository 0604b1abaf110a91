"""The examples run as their reader would run them, and give the right physics."""

from __future__ import annotations

import math
import re
import subprocess
import sys
from pathlib import Path

import psychrolib
import pytest

from ventcalc.advice.advise import Memory, advise
from ventcalc.advice.readings_file import readings_from_json
from ventcalc.advice.reasons import reasons
from ventcalc.bay.file import example_bay

EXAMPLES = Path(__file__).parents[2] / "examples"


def run(name: str, cwd: Path) -> str:
    program = subprocess.run(
        [sys.executable, "-W", "error", EXAMPLES / name], cwd=cwd, capture_output=True, text=True
    )
    assert program.returncode == 0, program.stderr
    assert program.stderr == ""
    return program.stdout


@pytest.fixture(scope="module")
def embedded(tmp_path_factory: pytest.TempPathFactory) -> str:
    """What ``embed.py`` prints."""
    return run("embed.py", tmp_path_factory.mktemp("embed"))


def test_embed_gives_the_dew_point_of_psychrolib(embedded: str) -> None:
    """
    PsychroLib 2.5 (ASHRAE Fundamentals 2017, ideal gas) for 9.6 °C, 95 %, 84.1 kPa.

    A real gas differs by less than 0.02 K here.
    """
    told = re.search(r"return air (-?[\d.]+) °C", embedded)
    assert told is not None
    expected = psychrolib.GetTDewPointFromRelHum(9.6, 0.95)
    assert float(told[1]) == pytest.approx(expected, abs=0.02)


def test_embed_gives_reasons_as_the_command_line_does(embedded: str) -> None:
    """Same moment as in readings_cold_night.json but for the CO2."""
    text = (EXAMPLES / "readings_cold_night.json").read_text(encoding="utf-8")
    given = readings_from_json(text.replace('"co2_ppm": 1600', '"co2_ppm": null')).readings
    bay = example_bay("seed_bay")
    advice, _ = advise(bay, given, Memory())
    lines = embedded.splitlines()
    assert lines[0].startswith(f"fans {advice.fan_speed:.2f}, door {advice.door_opening:.2f} ")
    assert lines[2:] == list(reasons(advice, bay, "metric"))


def test_the_scripts_are_all_tested() -> None:
    assert [path.name for path in EXAMPLES.glob("*.py")] == ["embed.py"]


@pytest.mark.parametrize("path", sorted(EXAMPLES.glob("*.json")), ids=lambda path: path.stem)
def test_readings_load_and_say_that_they_are_invented(path: Path) -> None:
    given = readings_from_json(path.read_text(encoding="utf-8"), path.name)
    assert given.note.startswith("Invented")
    advice, _ = advise(example_bay("seed_bay"), given.readings)
    assert not math.isnan(advice.fan_speed), "hands off: the readings are not complete"
