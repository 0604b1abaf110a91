"""
The year on the farm: its guide is run command by command, and each step's numbers hold by hand.

Where a number has no source beside it, it is worked out here from the tickets and the bay file.
"""

from __future__ import annotations

import contextlib
import csv
import io
import re
import shlex
import shutil
import subprocess
from datetime import date
from pathlib import Path

import pytest
from guides import commands_of, not_printed

from ventcalc.commands.main import main

EXAMPLES = Path(__file__).parents[2] / "examples"
GUIDE = commands_of((EXAMPLES / "year" / "README.md").read_text(encoding="utf-8"))
POUND = 0.45359237
BTU_PER_HOUR = 0.29307107
"""[W]"""


@pytest.fixture(scope="module")
def farm(tmp_path_factory):
    """The folder, and what each command prints, one after the other."""
    folder = tmp_path_factory.mktemp("year") / "examples"
    shutil.copytree(EXAMPLES, folder)
    told = {}
    with contextlib.chdir(folder / "year"):
        for command in GUIDE:
            if not command.line.startswith("ventcalc "):
                subprocess.run(["bash", "-euc", command.line], check=True)
                continue
            with contextlib.redirect_stdout(io.StringIO()) as out:
                assert main(shlex.split(command.line)[1:]) == 0, command.line
            told[command.line] = out.getvalue()
    return folder / "year", told


@pytest.fixture(scope="module")
def told(farm):
    """What the command prints that begins so."""
    return lambda start: next(
        text for line, text in farm[1].items() if line.startswith(f"ventcalc {start}")
    )


def number(pattern, text):
    """The first number of a pattern, as it is printed."""
    found = re.search(pattern, text)
    assert found, pattern
    return float(found[1].replace(",", ""))


def test_the_guide_prints_what_it_shows(farm):
    wrong = [
        words
        for one in GUIDE
        if one.line in farm[1]
        for words in not_printed(one, farm[1][one.line])
    ]
    assert not wrong, "\n".join(wrong)


def test_march_the_new_bay(told):
    """20 cfm/ton of 2 000 short tons; refrigeration as heat of the crop, its air and its fans."""
    sized = told("size")
    assert number(r"airflow of all fans +([\d,]+) cfm", sized) == pytest.approx(20 * 4e6 / 2000)
    plant = number(r"filling asks most\) +([\d.]+) TR", sized) * 3516.85
    parts = re.search(r"load when the last load is in, warm day +([\d.]+) TR", sized)
    assert plant == pytest.approx(float(parts[1]) * 3516.85 * 24 / 20 * 1.1, rel=0.01)
    # Fresh crop gives 43 W/t (Burton); with field heat and fans no more than twice that.
    assert 43.0 < plant / (4e6 * POUND / 1000.0) < 86.0


def test_august_ice_water_and_the_fill(told):
    """A trip takes 4 + 2 x 45 + 10 min; two trucks of 60 000 lb on a day of 10 h."""
    assert "temperature 1.00 °F too high" in told("log north.toml sensor_checks")
    loads = 600 / 104 * 2
    days = number(r": ([\d.]+) days;", told("loads north.toml --trucks"))
    assert days == pytest.approx(4e6 / 60000 / loads, abs=0.05)


def test_september_weights_and_field_heat(farm, told):
    """Net of truck and soil; 3.52 kJ/(kg K) (Geankoplis), to 55 °F within a day."""
    with (farm[0] / "tickets_in.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    net = [
        (float(r["Full lb"]) - float(r["Empty lb"])) * (1 - float(r["Soil %"]) / 100) for r in rows
    ]
    loads = told("loads north.toml --units")
    assert number(r"67 loads, ([\d,]+) lb", loads) == pytest.approx(sum(net), abs=1.0)
    first = [k for k, r in enumerate(rows) if r["Date"] == "09/18/2018"]
    mass = sum(net[k] for k in first) * POUND
    pulp = sum(net[k] * POUND * float(rows[k]["Pulp F"]) for k in first) / mass
    heat = mass * 3520.0 * (pulp - 55.0) / 1.8 / 86400.0
    told_heat = number(r"18 Sep .*°F +([\d,]+) Btu/h", loads) * BTU_PER_HOUR
    assert told_heat == pytest.approx(heat, rel=0.001)
    breath = number(r"18 Sep .*Btu/h +([\d,]+) Btu/h", loads) * BTU_PER_HOUR / (mass / 1000.0)
    assert 30.0 < breath < 43.0  # [W/t] fresh 43 (Burton), half a day old
    assert loads.count("advised to wait: pulp 66.") == 3


def test_autumn_by_the_calendar(told):
    """Two weeks after the last load; then 17 °F at half a degree a day."""
    stages = told("stages")
    assert re.search(r"cool down .* 07 Oct +11 Nov", stages)
    taken = (date(2018, 11, 11) - date(2018, 10, 7)).days
    assert taken == pytest.approx((55.0 - 38.0) / 0.5, abs=3)
    assert "done on 07 Oct" in stages


def test_winter(told):
    """After four months between 3 and 5 %: Olsen and Frazier, Univ. of Idaho, one and five."""
    board = told("board")
    assert 3.0 < number(r"3,996,875 lb +([\d.]+)% ±", board) < 5.0
    assert "Nothing found." in told("diagnose")


def test_no_power_in_deep_frost(told):
    """Each tonne gives 1.2 to 1.6 thousand ppm an hour to 1.3 m³: some hours to 5,000 ppm."""
    outage = told("outage")
    assert 1.0 <= number(r"nobody works inside +5,000 ppm +(\d+) h", outage) <= 3.0
    closed, opened = (
        number(rf"First potatoes freeze +30.6 °F +{skip}(\d+) h", outage)
        for skip in ("", r"\d+ h +")
    )
    assert closed > 10 * opened


def test_april_trucks_and_air(told):
    """600 000 lb a day; 7 °F at half a degree a day; half the crop gets less than twice the air."""
    plan = told("unload")
    days = 3_996_875 / 600_000
    assert number(r"North .* ([\d.]+) +67", plan) == pytest.approx(days, abs=0.05)
    lead = (date(2019, 5, 1) - date(2019, 4, 17)).days
    assert lead == pytest.approx((45.0 - 38.0) / 0.5)
    full, half = (number(rf"{share}% .*cfm +([\d.]+) cfm/ton", plan) for share in (100, 50))
    assert full < half < 2 * full


def test_may_the_scale_and_the_log_agree(farm, told):
    record = told("record")
    came, left = (number(p, record) for p in (r"([\d,]+) lb", r"lb +([\d,]+) lb"))
    weighed, doubt = re.search(r"lb +([\d.]+)% ± ([\d.]+)%", record).groups()
    assert float(weighed) == pytest.approx(100 * (1 - left / came), abs=0.05)
    expected = number(r"% +([\d.]+)% ±", record)
    assert abs(expected - float(weighed)) < 2 * float(doubt)
    log = (farm[0] / "winter.csv").read_text(encoding="utf-8").splitlines()[1:]
    used = sum(float(row["energy_kwh"] or 0.0) for row in csv.DictReader(log))
    assert number(r"Electricity: ([\d,]+) kWh", record) == pytest.approx(used, abs=1.0)
    assert number(r"per tonne in; USD ([\d,]+)\.", record) == pytest.approx(0.09 * used, abs=1.0)
    facts = csv.DictReader((farm[0] / "record.csv").read_text(encoding="utf-8").splitlines())
    lots = {row["lot"] for row in facts if row["subject"] == "weight"}
    assert lots == {"", "A", "B", "C"}
