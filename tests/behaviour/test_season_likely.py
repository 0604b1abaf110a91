"""How sure a season is: ranges over the crop, the parameter that matters, words, few layers."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest

from ventcalc.bay.file import example_bay
from ventcalc.commands import season as command
from ventcalc.commands.main import main
from ventcalc.pile.crop import crop_for
from ventcalc.season import likely, plan
from ventcalc.season.run import run_season
from ventcalc.weather import example_weather

SEED = example_bay("seed_bay")
BRIEF = replace(SEED, schedule=replace(
    SEED.schedule, fill_start="10-10", warm_up_start="10-25", unloading_start="10-27",
    fill_days=2 * 86400.0, healing_days=3 * 86400.0, unloading_days=2 * 86400.0))  # fmt: skip


@pytest.fixture
def few(monkeypatch):
    """Nine seasons in plain Python."""
    monkeypatch.setattr(likely, "SEASONS", 9)
    monkeypatch.setattr(likely, "use_machine_code", lambda *given: False)


def only(monkeypatch, name):
    """The ranges with one parameter free and the others as good as known."""
    crop = crop_for(SEED.use)
    ranges = {
        other: span
        if other == name
        else (getattr(crop, other) * (1.0 - 1e-9), getattr(crop, other))
        for other, span in likely.RANGES.items()
    }
    monkeypatch.setattr(likely, "RANGES", ranges)


@pytest.mark.parametrize("name", likely.RANGES)
def test_what_is_uncertain_alone_matters_most(name, few, monkeypatch):
    only(monkeypatch, name)
    found = likely.likely_range(BRIEF, example_weather(), "clock", layers=4)["mass_loss"]
    assert found.matters_most == name
    assert found.rank_correlation == pytest.approx(1.0)
    central = run_season(BRIEF, example_weather(), "clock", layers=4, compiled=False).kpi.mass_loss
    assert found.low < central * 1.05
    assert found.high > central * 0.95
    assert found.low < found.high


def test_the_ranges_hold_the_central_values_and_are_covered_evenly():
    points = likely.crop_points(likely.SEASONS)
    assert points.shape == (likely.SEASONS, 3)
    for column, (name, (low, high)) in zip(points.T, likely.RANGES.items(), strict=True):
        assert low <= getattr(crop_for("seed"), name) <= high
        parts = np.histogram(column, bins=likely.SEASONS, range=(low, high))[0]
        assert (parts == 1).all()
    assert np.abs(np.corrcoef(points.T) - np.eye(3)).max() < 0.3  # each apart from the others


def test_the_command_says_range_and_parameter(monkeypatch, capsys):
    one = likely.Likely(
        low=0.04, high=0.08, matters_most="respiration_settled", rank_correlation=0.9
    )
    monkeypatch.setattr(command, "_likely", lambda *given: {"mass_loss": one})
    monkeypatch.setattr(
        command, "simulate", lambda bay, weather, name, layers, *how: run_season(
            BRIEF, weather, name, layers=layers, compiled=False)
    )  # fmt: skip
    line = ["season", "seed_bay", "--weather", "example", "--policy", "clock", "--layers", "10"]
    assert main(line) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "likely 4.00% to 8.00% (10 to 90 %); what matters most is respiration once" in said
    assert "note: 10 layers are few: energy and spread may be 10 % off" in said
    assert main([*line, "--json"]) == 0
    data = json.loads(capsys.readouterr().out)
    assert data["likely"]["mass_loss"]["p10"] == 0.04
    assert data["likely"]["mass_loss"]["matters_most"] == "respiration_settled"


def test_without_machine_code_there_is_a_word_on_it(monkeypatch, capsys):
    monkeypatch.setattr(command, "works", lambda: False)
    monkeypatch.setattr(
        command, "simulate", lambda bay, weather, name, layers, *how: run_season(
            BRIEF, weather, name, layers=4, compiled=False)
    )  # fmt: skip
    assert main(["season", "seed_bay", "--weather", "example", "--policy", "clock"]) == 0
    assert "No likely range" in capsys.readouterr().out


def test_enough_layers_are_no_matter_for_words():
    assert plan._coarse(40) == plan._coarse(30) == ()
    assert "12 layers are few" in plan._coarse(12)[0]


def test_forty_layers_are_enough():
    """Energy, and spread, within 2 % of three times as many under the same decisions."""
    usual, fine = (
        run_season(BRIEF, example_weather(), "clock", layers=layers, compiled=False).kpi
        for layers in (40, 120)
    )
    assert usual.energy == pytest.approx(fine.energy, rel=0.02)
    assert usual.mean_spread == pytest.approx(fine.mean_spread, rel=0.02)
