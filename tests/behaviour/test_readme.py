"""
README and the guides tell the truth: commands run, print what is shown, and samples load.

Commands that need an environment of their own, or a whole minute, are run by ``.ci/run``; the test
makes sure that they stand there word for word.
"""

from __future__ import annotations

import contextlib
import io
import json
import os
import re
import shlex
import shutil
import subprocess
import sys
import tomllib
from pathlib import Path
from typing import Any

import pytest
from guides import blocks, commands_of, not_printed
from jsonschema import Draft202012Validator

from firmware_bridge.config import read_config
from ventcalc.advice.readings_file import KEYS, readings_from_dict
from ventcalc.bay.file import bay_from_dict, example_bay_path
from ventcalc.commands.main import main

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")
GUIDES = ["README.md", *sorted(f"examples/{path.name}" for path in ROOT.glob("examples/*.md"))]
TEXT = "\n".join((ROOT / name).read_text(encoding="utf-8") for name in GUIDES)
CI = (ROOT / ".ci" / "run").read_text(encoding="utf-8")
SCHEMAS = [
    path
    for path in sorted((ROOT / "firmware_bridge" / "schema").glob("*.json"))
    if path.stem != "asyncapi"
]
BY_CI = re.compile(
    r"(python3? -m (venv|pip|pytest)|source |\. |git clone|cd |ventcalc demo|\.ci/run)"
)
TEST_COMMAND = 'python -m pip install -e ".[test]" && python -m pytest'


COMMANDS = commands_of(TEXT)


SHELL = re.compile(r"[|<>]|&&|^(?!ventcalc )")


@pytest.fixture(scope="module")
def printed(tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    """What the commands print, run one after the other in a copy of the examples."""
    folder = tmp_path_factory.mktemp("reader")
    shutil.copytree(ROOT / "examples", folder / "examples")
    told: dict[str, str] = {}
    with contextlib.chdir(folder):
        for command in COMMANDS:
            if not BY_CI.match(command.line) and command.line not in told:
                run = in_a_shell if SHELL.search(command.line) else in_process
                told[command.line] = run(command.line)
    return told


def in_process(line: str) -> str:
    """A command of the library, without starting Python anew."""
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        code = main(shlex.split(line)[1:])
    assert code == 0, f"{line}\n{err.getvalue()}"
    return out.getvalue()


def in_a_shell(line: str) -> str:
    path = f"{Path(sys.executable).parent}{os.pathsep}{os.environ['PATH']}"
    run = subprocess.run(
        ["bash", "-euo", "pipefail", "-c", line],
        env={**os.environ, "PATH": path},
        capture_output=True,
        text=True,
    )
    assert run.returncode == 0, f"{line}\n{run.stderr}"
    return run.stdout


def test_the_test_command_is_the_one_that_ci_runs() -> None:
    assert TEST_COMMAND in README
    assert TEST_COMMAND in CI


def test_readme_is_short_and_leads_to_every_guide() -> None:
    assert len(README.splitlines()) <= 250
    linked = set(re.findall(r"\]\(([\w./-]+)\)", README))
    assert set(GUIDES[1:]) <= linked
    assert all((ROOT / name).exists() for name in linked)


def test_there_are_commands_to_try() -> None:
    lines = [command.line for command in COMMANDS]
    for start in ("ventcalc advise", "ventcalc season", "ventcalc demo"):
        assert any(start in line for line in lines), f"README shows no {start!r}"


def is_sound_install(line: str) -> bool:
    """An install of this project with extras that it has; ``.ci/run`` installs all of them."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    told = re.fullmatch(r"""python -m pip install (?:-e )?"?\.(?:\[([\w,]+)\])?"?""", line)
    extras = told[1].split(",") if told and told[1] else []
    return told is not None and set(extras) <= set(project["optional-dependencies"])


def test_commands(printed: dict[str, str]) -> None:
    wrong = []
    for command in COMMANDS:
        if BY_CI.match(command.line):
            wrong += [
                f"neither this test nor .ci/run runs: {part}"
                for part in command.line.split(" && ")
                if part not in CI and not is_sound_install(part)
            ]
            continue
        wrong += not_printed(command, printed[command.line])
    assert not wrong, "\n".join(wrong)


def bay_sample(sample: dict[str, Any]) -> None:
    """Part of a bay file: laid over the example, the whole must be a bay."""
    whole = tomllib.loads(example_bay_path("seed_bay").read_text(encoding="utf-8"))
    for key, value in sample.items():
        whole[key] = {**whole.get(key, {}), **value} if isinstance(value, dict) else value
    bay_from_dict(whole)


def bridge_sample(text: str, folder: Path) -> None:
    """A whole configuration of the bridge, with the files that it names."""
    for name in re.findall(r'"([\w./-]+\.(?:toml|txt|password|pem|crt))"', text):
        file = folder / Path(name).name
        file.write_bytes(example_bay_path("seed_bay").read_bytes())
        file.chmod(0o600)
        text = text.replace(f'"{name}"', f'"{file.name}"')
    (folder / "bridge.toml").write_text(text, encoding="utf-8")
    read_config(folder / "bridge.toml", {})


def test_toml_samples(tmp_path: Path) -> None:
    assert blocks(TEXT, "toml")
    for text in blocks(TEXT, "toml"):
        sample = tomllib.loads(text)
        if sample.keys() & {"bridge", "broker", "bays"}:
            bridge_sample(text, tmp_path)
        else:
            bay_sample(sample)


def test_json_samples() -> None:
    """Readings for ``ventcalc advise``, or a message that fits one of the bridge's schemas."""
    assert blocks(TEXT, "json")
    for text in blocks(TEXT, "json"):
        sample = json.loads(text)
        if set(sample) <= {*KEYS, "time", "note"}:
            readings_from_dict(sample)
        else:
            schemas = [json.loads(path.read_text("utf-8")) for path in SCHEMAS]
            fits = [Draft202012Validator(schema).is_valid(sample) for schema in schemas]
            assert any(fits), f"no reader for this sample: {text}"


def test_python_samples(tmp_path: Path) -> None:
    assert blocks(TEXT, "python")
    shutil.copytree(ROOT / "examples", tmp_path / "examples")
    with contextlib.chdir(tmp_path):
        for text in blocks(TEXT, "python"):
            exec(compile(text, "sample", "exec"), {"__name__": "__main__"})


def test_every_block_says_what_it_is() -> None:
    """A block of no kind is neither run nor loaded; prose and drawings say ``text``."""
    kinds = set(re.findall(r"^```(\w*)$", TEXT, re.MULTILINE)) - {""}
    assert kinds <= {"console", "toml", "json", "python", "text"}
    fences = re.findall(r"^```(\w*)$", TEXT, re.MULTILINE)
    assert all(fence for fence in fences[::2])
