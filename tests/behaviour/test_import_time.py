"""What an import drags in: the heavy libraries wait until they are asked for."""

from __future__ import annotations

import subprocess
import sys

import pytest

import ventcalc

HEAVY = {"CoolProp", "distributed", "jinja2", "pint", "scipy", "tqdm"}


def loaded_by(program: str) -> set[str]:
    """Packages and modules in memory after a program, in a fresh interpreter."""
    run = subprocess.run(
        [sys.executable, "-c", f"{program}\nimport sys; print(); print(*sys.modules)"],
        capture_output=True,
        text=True,
        check=True,
    )
    names = set(run.stdout.splitlines()[-1].split())
    return names | {name.partition(".")[0] for name in names}


def test_the_front_door_loads_nothing_at_all() -> None:
    loaded = loaded_by("import ventcalc")
    assert "ventcalc" in loaded
    assert not loaded & {*HEAVY, "numpy"}


LIBRARY = """
import ventcalc as vc
vc.air.dew_point(0.008, 101325.0)
vc.advise, vc.run_season
import ventcalc.weather, ventcalc.bay.description
import ventcalc.equipment.refrigeration, ventcalc.equipment.refrigerant_cycle
"""
MAIN = "from ventcalc.commands.main import main; assert main(['--help']) == 0"
CHECKS = """
from ventcalc.commands.main import main
for bay in ("seed_bay", "fry_bay"):
    assert main(["check", bay]) == 0
"""


def test_the_library_loads_nothing_heavy() -> None:
    assert not loaded_by(LIBRARY) & HEAVY


def test_the_command_line_loads_no_plots_and_no_refrigerants() -> None:
    assert not loaded_by(MAIN) & (HEAVY - {"tqdm"})


def test_a_command_loads_nothing_of_the_others() -> None:
    """The check before fill needs no season, no advice, no progress bar, plots, refrigerants."""
    loaded = loaded_by(CHECKS)
    assert "ventcalc.check.check" in loaded
    assert not loaded & {"ventcalc.season.run", "ventcalc.advice.advise"}
    assert not loaded & {*HEAVY, "dask"}


def test_heavy_libraries_are_told_apart() -> None:
    """The check itself: what is loaded is seen; and pint's hiding of Dask leaves Dask to others."""
    program = "from ventcalc.air import coolprop; coolprop.load()\n"
    program += "import ventcalc as vc; vc.units.parse('16 long_tons', 'kg'); import dask"
    assert loaded_by(program) >= {"CoolProp", "pint", "dask"}


@pytest.mark.parametrize("name", ventcalc.__all__)
def test_every_name_at_the_front_door_opens(name: str) -> None:
    assert getattr(ventcalc, name) is not None
    assert name in dir(ventcalc)


def test_an_unknown_name_is_refused() -> None:
    with pytest.raises(AttributeError, match="module 'ventcalc' has no attribute 'airr'"):
        _ = ventcalc.airr
