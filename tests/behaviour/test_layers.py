"""Imports point down the layers that pyproject.toml names, and a wrong one is found out."""

from __future__ import annotations

import re
import shutil
import subprocess
import sys
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


@pytest.fixture(scope="module")
def copy(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("tree")
    shutil.copy(ROOT / "pyproject.toml", folder)
    for package in PACKAGES:
        shutil.copytree(ROOT / package, folder / package, ignore=shutil.ignore_patterns("*.csv"))
    return folder


@pytest.fixture(scope="module")
def broken_before(copy: Path) -> set[str]:
    """So that one fault in the tree does not hide the others' answers."""
    return lint(copy)[0]


WRONG = {
    "the pile asks for advice": (
        "ventcalc/pile/pile.py",
        "import ventcalc.advice.advise",
        {"ventcalc points down"},
    ),
    "air asks its own user": (
        "ventcalc/air/kernel.py",
        "def late():\n    from ventcalc.air import moist",
        {"no room goes in circles"},
    ),
    "through the lazy front door": (
        "ventcalc/pile/pile.py",
        "import ventcalc",
        {"ventcalc points down"},
    ),
    "a module without a place": ("ventcalc/stray.py", "", {"ventcalc points down"}),
    "a second door to CoolProp": (
        "ventcalc/equipment/coil.py",
        "from CoolProp import CoolProp",
        {"one door to CoolProp"},
    ),
    "a second door to jinja2": (
        "ventcalc/report/text.py",
        "import jinja2",
        {"one door to jinja2"},
    ),
    "a second door to the web library": (
        "ventcalc/page/answers.py",
        "import starlette",
        {"few doors to the web library"},
    ),
    "the web parts know the pile": (
        "ventcalc/web/chart.py",
        "import ventcalc.pile.pile",
        {"ventcalc points down"},
    ),
    "the library on the network": (
        "ventcalc/units/text.py",
        "import paho.mqtt.client",
        {"the library never knows the bridge"},
    ),
    "a second door to the broker": (
        "firmware_bridge/wire/messages.py",
        "import paho.mqtt.client",
        {"one door to the broker"},
    ),
    "another door to the library": (
        "firmware_bridge/wire/messages.py",
        "from ventcalc import air",
        {"few doors to the library"},
    ),
    "the wire asks the bay": (
        "firmware_bridge/wire/topics.py",
        "import firmware_bridge.bay.state",
        {"firmware_bridge points down"},
    ),
    "topics ask their own user": (
        "firmware_bridge/wire/topics.py",
        "import firmware_bridge.wire.contract",
        {"no room goes in circles"},
    ),
}


@pytest.mark.parametrize("slip", WRONG)
def test_a_wrong_import_is_found(copy: Path, broken_before: set[str], slip: str) -> None:
    name, line, contracts = WRONG[slip]
    file = copy / name
    before = file.read_bytes() if file.exists() else None
    try:
        with file.open("a") as end:
            end.write(f"\n{line}\n")
        broken, words = lint(copy)
    finally:
        if before is None:
            file.unlink()
        else:
            file.write_bytes(before)
    assert contracts <= broken - broken_before, words
