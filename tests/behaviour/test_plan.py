"""``ventcalc plan``: sentences, stretches, JSON, page, refusals."""

from __future__ import annotations

import html
import json
from pathlib import Path

import pytest

from ventcalc.commands.main import main

FORECAST = str(Path(__file__).parent / "data" / "invented_weather_gov.json")
READINGS = {
    "time": "2026-11-10T09:30:00Z", "outside_temp_c": 2.0, "outside_rh": 0.8,
    "return_temp_c": 6.0, "return_rh": 0.93, "pulp_temps_c": [4.6, 5.0, 5.8],
}  # fmt: skip


@pytest.fixture
def words(tmp_path):
    path = tmp_path / "readings.json"
    path.write_text(json.dumps(READINGS))
    base = ["plan", "seed_bay", "--readings", str(path), "--forecast", FORECAST, "--hours", "24"]
    return lambda *more: [*base, *more]


def test_sentences_stretches_and_both_models(words, capsys):
    assert main(words("--demand-charge", "12", "--units", "us")) == 0
    out = capsys.readouterr().out
    assert out.startswith("Seed bay (invented), 24 h from Tue 10 Nov 2026 02:30 MST")
    said = " ".join(out.split())
    for part in ("no plan there costs less than", "the advice as it stands:", "What binds:",
                 "Demand charge, not part of the plan's cost", "cold costs",
                 "Why these hours: cold is cheapest on", "°F",
                 "interlocks stay in charge"):  # fmt: skip
        assert part in said


def test_air_that_warms_a_cold_pile_is_not_called_cooling(words, capsys, tmp_path):
    cold = tmp_path / "readings.json"
    warm = {"return_temp_c": 1.5, "outside_temp_c": 4.0, "pulp_temps_c": [0.6, 0.9, 1.2]}
    cold.write_text(json.dumps({**READINGS, **warm}))
    mild = tmp_path / "mild.csv"
    rows = [f"2026-11-{10 + k // 24}T{k % 24:02d}:00Z,6.0,60" for k in range(8, 36)]
    head = ["# issued: 2026-11-10T06:00Z", "time,outside_temp_c,outside_rh_percent"]
    mild.write_text("\n".join([*head, *rows]))
    told = [*words()[:2], "--readings", str(cold), "--forecast", str(mild), "--hours", "24"]
    assert main([*told, "--json"]) == 0
    hours = json.loads(capsys.readouterr().out)["hours"]
    before = [0.9, *(hour["pulp_mean_c"] for hour in hours)]
    does = {hour["action"] for hour in hours}
    assert "warm by outside air" in does
    for hour, pulp in zip(hours, before, strict=False):
        if hour["action"].startswith("cool"):
            assert hour["outside_temp_c"] < pulp
        if hour["action"].startswith("warm"):
            assert hour["pulp_mean_c"] > pulp


def test_json_adds_up_and_the_page_shows_it(words, capsys, tmp_path):
    page = tmp_path / "plan.html"
    assert (
        main(
            words(
                "--json",
                "--html",
                str(page),
                "--tariff",
                "22-6 0.05, 6-22 0.15",
                "--demand-charge",
                "9",
            )
        )
        == 0
    )
    data = json.loads(capsys.readouterr().out)
    parts = [data["cost"][name] for name in ("energy", "shrink", "off_target", "end")]
    assert sum(parts) == pytest.approx(data["cost"]["total"], rel=1e-12)
    assert data["bound"] <= data["cost"]["total"]
    assert len(data["hours"]) == 24
    prices = {hour["time"][11:13]: hour["energy_price_per_kwh"] for hour in data["hours"]}
    assert prices["03"] == pytest.approx(0.05)
    assert prices["12"] == pytest.approx(0.15)
    energy = sum(hour["energy_cost"] for hour in data["hours"])
    assert energy == pytest.approx(data["cost"]["energy"], rel=1e-12)
    text = page.read_text("utf-8")
    assert text.count("<svg class=") == 1
    assert "When and why" in text
    for remark in data["remarks"]:
        assert remark in html.unescape(text)
    for hour in data["hours"]:  # what it does is what pays, up to what a grid rounds
        cost, worth = hour["cold_cost_per_kwh"], hour["cold_worth_per_kwh"]
        if cost is not None and abs(cost - worth) > 0.1 * worth:
            assert (hour["action"] == "rest") == (cost > worth)


@pytest.mark.parametrize(
    ("more", "part"),
    [
        (("--tariff", "22-6 0.05"), "--tariff hour 6 of the day has no price"),
        (("--off-target", "-1"), "not a price"),
        (("--demand-charge", "much"), "not a price"),
        (("--hours", "9"), "24 to 240"),
    ],
)
def test_refusals_are_one_line(words, capsys, more, part):
    assert main(words(*more)) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert part in err
    assert "Traceback" not in err
