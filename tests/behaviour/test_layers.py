"""Imports point down the layers that pyproject.toml names, and a wrong one is found out."""

from __future__ import annotations

import re
import shutil
import subprocess
import sys
import tempfile
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
SETTINGS = tomllib.loads((ROOT / "pyproject.toml").read_text())["tool"]["importlinter"]
PACKAGES = SETTINGS["root_packages"]


def lint(folder: Path) -> tuple[set[str], str]:
    """The contracts broken by the packages in ``folder``, and all that import-linter says."""
    command = "import sys; from importlinter.cli import lint_imports_command as f; sys.exit(f())"
    run = subprocess.run(
        [sys.executable, "-c", command, "--no-cache"], cwd=folder, capture_output=True, text=True
    )
    words = run.stdout + run.stderr
    broken = set(re.findall(r"^(.*) BROKEN", words, flags=re.MULTILINE))
    assert run.returncode == (1 if broken else 0), words
    return broken, words


def test_imports_point_down() -> None:
    broken, words = lint(ROOT)
    assert not broken, words


def test_every_package_of_the_tree_is_under_contract() -> None:
    assert sorted(PACKAGES) == sorted(path.parent.name for path in ROOT.glob("*/__init__.py"))
    layered = [c for c in SETTINGS["contracts"] if c["type"] == "layers"]
    assert {name for contract in layered for name in contract["containers"]} >= set(PACKAGES)
    assert all(contract["exhaustive"] for contract in layered)


def tree(folder: Path) -> Path:
    """A copy of the packages and their contracts, to be spoilt."""
    shutil.copy(ROOT / "pyproject.toml", folder)
    for package in PACKAGES:
        shutil.copytree(ROOT / package, folder / package, ignore=shutil.ignore_patterns("*.csv"))
    return folder


WRONG = {
    "the pile asks for advice": (
        "ventcalc/pile/pile.py",
        "import ventcalc.advice.advise",
        "ventcalc points down",
        "ventcalc.pile.pile -> ventcalc.advice.advise (",
    ),
    "air asks its own user": (
        "ventcalc/air/kernel.py",
        "def late():\n    from ventcalc.air import moist",
        "no room goes in circles",
        "No cycles are allowed in ventcalc.air.",
    ),
    "through the lazy front door": (
        "ventcalc/pile/pile.py",
        "import ventcalc",
        "ventcalc points down",
        "ventcalc.pile.pile -> ventcalc (",
    ),
    "a second door to CoolProp": (
        "ventcalc/equipment/coil.py",
        "from CoolProp import CoolProp",
        "one door to CoolProp",
        "ventcalc.equipment.coil -> CoolProp",
    ),
    "a second door to jinja2": (
        "ventcalc/report/text.py",
        "import jinja2",
        "one door to jinja2",
        "ventcalc.report.text -> jinja2",
    ),
    "a second door to the web library": (
        "ventcalc/page/answers.py",
        "import starlette",
        "few doors to the web library",
        "ventcalc.page.answers -> starlette",
    ),
    "the web parts know the pile": (
        "ventcalc/web/chart.py",
        "import ventcalc.pile.pile",
        "ventcalc points down",
        "ventcalc.web.chart -> ventcalc.pile.pile",
    ),
    "the library on the network": (
        "ventcalc/units/text.py",
        "import paho.mqtt.client",
        "the library never knows the bridge",
        "ventcalc.units.text -> paho",
    ),
    "a second door to the broker": (
        "firmware_bridge/wire/messages.py",
        "import paho.mqtt.client",
        "one door to the broker",
        "firmware_bridge.wire.messages -> paho",
    ),
    "another door to the library": (
        "firmware_bridge/wire/messages.py",
        "from ventcalc import air",
        "few doors to the library",
        "firmware_bridge.wire.messages -> ventcalc.air",
    ),
    "the wire asks the bay": (
        "firmware_bridge/wire/topics.py",
        "import firmware_bridge.bay.state",
        "firmware_bridge points down",
        "firmware_bridge.wire.topics -> firmware_bridge.bay.state",
    ),
    "topics ask their own user": (
        "firmware_bridge/wire/topics.py",
        "import firmware_bridge.wire.contract",
        "no room goes in circles",
        "No cycles are allowed in firmware_bridge.wire.",
    ),
}
"""File, line added to it, the contract that breaks, and what is said below its name."""


@pytest.fixture(scope="module")
def lines() -> dict[str, str]:
    """The lines that import-linter says below each contract that is broken by all slips at once."""
    with tempfile.TemporaryDirectory() as name:
        copy = tree(Path(name))
        for file, line, _, _ in WRONG.values():
            with (copy / file).open("a") as end:
                end.write(f"\n{line}\n")
        _, words = lint(copy)
    parts = re.split(r"^(.+)\n-+$", words.partition("Broken contracts")[2], flags=re.MULTILINE)
    return dict(zip(parts[1::2], parts[2::2], strict=True))


@pytest.mark.parametrize("slip", WRONG)
def test_a_wrong_import_is_found(lines: dict[str, str], slip: str) -> None:
    _, _, contract, said = WRONG[slip]
    assert said in lines[contract], lines


def test_a_module_without_a_place_is_found(tmp_path: Path) -> None:
    copy = tree(tmp_path)
    (copy / "ventcalc" / "stray.py").touch()
    broken, words = lint(copy)
    assert broken == {"ventcalc points down"}, words
    assert "stray" in words
