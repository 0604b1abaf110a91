"""``ventcalc outage``: words, JSON, the sheet, refusals."""

from __future__ import annotations

import base64
import json
import re
from pathlib import Path

import pytest

from ventcalc.commands.main import main

FROST = str(Path(__file__).parents[2] / "examples" / "readings_deep_frost.json")
COLD = ("outage", "seed_bay", "--readings", FROST, "--outside", "-20 degF")


def test_words(capsys):
    assert main([*COLD, "--units", "us"]) == 0
    out = capsys.readouterr().out
    assert "Outside -20.0 °F and staying so" in out
    for part in ("First potatoes freeze", "40,000 ppm", "test", "transfer switch", "Refrigerant"):
        assert part in out
    numbers = re.findall(r"^  (\d+)\. ", out, re.M)
    assert numbers == [str(k) for k in range(1, len(numbers) + 1)]
    assert out.index("1. People out") < out.index("2. Go by hand")
    assert re.search(r"In \d+ h: Cold comes first", out)


def test_json(capsys):
    assert main([*COLD, "--json"]) == 0
    data = json.loads(capsys.readouterr().out)
    limits = {limit["key"]: limit for limit in data["limits"]}
    assert limits["freezing"]["open_h"] < limits["freezing"]["closed_h"] < 72
    assert limits["heat"]["closed_h"] is None
    assert data["outside_temp_c"]["first"] == pytest.approx(-28.9, abs=0.05)


def test_more_door_more_air(capsys):
    flows = []
    for door in ("3 ft x 7 ft", "12 ft x 14 ft"):
        assert main([*COLD, "--json", "--door", door]) == 0
        flows.append(json.loads(capsys.readouterr().out)["door_airflow_m3_s"])
    assert flows[0] < flows[1]


def test_what_is_not_measured_is_said(capsys, tmp_path):
    path = tmp_path / "few.json"
    path.write_text('{"time": "2027-01-14T06:00:00-07:00", "pulp_temps_c": [3.0, 3.4, 4.0]}')
    assert main(["outage", "seed_bay", "--readings", str(path), "--weather", "example"]) == 0
    out = capsys.readouterr().out
    assert "CO2 is not measured" in out
    assert "not a forecast" in out


@pytest.mark.parametrize("paper", [(8.27, 11.69), (8.5, 11.0)], ids=("A4", "Letter"))
@pytest.mark.parametrize("readings", ["all", "few"])
def test_the_sheet_is_one_sheet(browser, tmp_path, paper, readings):
    given = FROST
    if readings == "few":
        given = str(tmp_path / "few.json")
        Path(given).write_text(
            '{"time": "2027-01-14T06:00:00-07:00", "pulp_temps_c": [3.0, 3.4, 4.0]}'
        )
    sheet = tmp_path / "outage.html"
    words = ["outage", "seed_bay", "--readings", given, "--outside", "-30 degC", "--units", "us"]
    assert main([*words, "--html", str(sheet)]) == 0
    browser.open(sheet.as_uri())
    wide, high = paper
    printed = base64.b64decode(
        browser.call("Page.printToPDF", paperWidth=wide, paperHeight=high, preferCSSPageSize=False)[
            "data"
        ]
    )
    assert len(re.findall(rb"/Type\s*/Page\b(?!s)", printed)) == 1


@pytest.mark.parametrize(
    ("words", "part"),
    [
        (("--outside", "-20"), "unit"),
        (("--outside", "200 degC"), "between -50 and 50"),
        (("--door", "12 ft"), "width x height"),
        (("--door", "12 ft x 140 ft"), "between 0.1 and 12 m"),
        (("--outside", "0 degC", "--weather", "example"), "not allowed with"),
    ],
)
def test_wrong_words(capsys, words, part):
    assert main(["outage", "seed_bay", "--readings", FROST, *words]) == 2
    error = capsys.readouterr().err
    assert part in error
    assert error.count("\n") == 1


def test_no_outside_air_at_all(capsys, tmp_path):
    path = tmp_path / "few.json"
    path.write_text('{"time": "2027-01-14T06:00:00-07:00", "pulp_temps_c": [3.0]}')
    assert main(["outage", "seed_bay", "--readings", str(path)]) == 2
    assert "--outside" in capsys.readouterr().err
