"""All bays of an invented farm: the board of today, and the record of the season."""

from __future__ import annotations

import csv
import io
import json
import math
import re
from dataclasses import replace
from datetime import datetime, timedelta
from types import SimpleNamespace
from zoneinfo import ZoneInfo

import numpy as np
import pytest

import ventcalc as vc
from ventcalc.bay.file import example_bay, example_bay_path
from ventcalc.commands.main import main
from ventcalc.diagnose.log import read_log
from ventcalc.farm.advised import as_logged
from ventcalc.farm.expected import expected_loss
from ventcalc.farm.folder import FarmBay, farm_bay
from ventcalc.logbook.writing import add_lines
from ventcalc.report.season_log import season_log_csv

BAY = example_bay("seed_bay")
ZONE = ZoneInfo(BAY.site.time_zone)
NOW = datetime(2026, 12, 20, 6, tzinfo=ZONE)
START = datetime(2026, 9, 18, 7, tzinfo=ZONE).timestamp()
HOUR = 3600.0
PLANT = '[refrigeration]\ncapacity = "100 kW"\ncoil_temperature_difference = "4 delta_degC"\n'
READ = {
    "time": NOW.isoformat(),
    "outside_temp_c": -5.0,
    "outside_rh": 0.8,
    "return_temp_c": 3.6,
    "return_rh": 0.95,
    "plenum_temp_c": 3.2,
    "pulp_temps_c": [3.2, 3.3, 3.9, 3.5],
    "co2_ppm": 1500,
}


def truck(lot, tonnes, hour, **more):
    place = {"lot": lot, "gross": 11e3 + 1e3 * tonnes, "tare": 11e3, "soil_share": 0.0}
    return {**place, "time": START + hour * HOUR, **more}


@pytest.fixture
def farm(tmp_path):
    """Two bays: North is sound and has a season, South is too warm and tells by its log."""
    text = example_bay_path().read_text(encoding="utf-8")
    for name in ("north", "south"):
        bay = text.replace('"Seed bay (invented)"', f'"{name.title()} (invented)"')
        assert bay != text
        (tmp_path / f"{name}.toml").write_text(f"{bay}\n{PLANT}", encoding="utf-8")
    (tmp_path / "north.readings.json").write_text(json.dumps(READ), encoding="utf-8")
    write_log(tmp_path / "south.readings.csv", pulp=9.5)
    loads = [truck("Lot A", 40, k) for k in range(20)]
    loads += [truck("Lot B", 50, 30 + k) for k in range(4)]
    add_lines(tmp_path / "north.season", BAY, "loads", loads, written=START)
    return tmp_path


def write_log(path, pulp, hours=96, outside=-5.0, end=NOW):
    """A log whose probes move as real ones do; one that stands still is not believed."""
    names = "outside_temp_c,outside_rh,return_temp_c,return_rh,plenum_temp_c,plenum_rh,fan_speed"
    rows = [f"time,{names},energy_kwh,co2_ppm,pulp_1_c,pulp_2_c"]
    for k in range(hours):
        time = (end - timedelta(hours=hours - 1 - k)).isoformat()
        wave = math.sin(1.7 * (k - hours + 1))
        values = (
            *(outside + 3 * wave, 0.8 + 0.1 * wave, pulp + 0.1 * wave, 0.95 + 0.02 * wave),
            *(pulp - 1.0 + 0.1 * wave, 0.92 + 0.02 * wave, 0.5, 3.0, 1500 + 90 * wave),
            *(pulp - 0.4 + 0.05 * wave, pulp + 0.05 * wave),
        )
        rows.append(f"{time},{','.join(f'{value:.5g}' for value in values)}")
    path.write_text("\n".join(rows) + "\n", encoding="utf-8")


@pytest.fixture
def run(capsys):
    def call(*words):
        status = main([str(word) for word in words])
        out, err = capsys.readouterr()
        return status, out, err.replace("ventcalc: ", "")

    return call


def board(run, farm, *words):
    return run("board", farm, "--at", NOW.isoformat(), *words)


def by_file(run, farm):
    return {bay["file"]: bay for bay in json.loads(board(run, farm, "--json")[1])["bays"]}


# --- the board ---------------------------------------------------------------------------


def test_the_board_tells_each_bay_by_what_lies_beside_its_file(run, farm):
    bays = by_file(run, farm)
    assert list(bays) == ["north", "south"]
    north, south = bays["north"], bays["south"]
    assert (north["pulp_coldest_c"], north["pulp_warmest_c"]) == (3.2, 3.9), "warmest in the middle"
    assert north["mass_in_kg"] == pytest.approx(1e6)
    assert north["advice"]["alarms"] == []
    assert south["mass_in_kg"] is None
    assert south["advice"]["stage"] == "holding"
    (hot,) = (a for a in south["advice"]["alarms"] if a["id"] == "pile_hot")
    # the rows before the last are remembered: it is not an alarm of this hour
    assert hot["since"] != NOW.astimezone(ZoneInfo("UTC")).isoformat()
    assert "above its target" in south["first"]


def test_what_is_wrong_stands_first_and_nothing_hides_a_bay(run, farm):
    _, out, _ = board(run, farm, "--units", "us")
    lines = out.splitlines()
    first = lines[lines.index("First:") + 1]
    assert first.startswith("  - South (invented): The pile is")
    assert "°F" in out
    (farm / "south.readings.csv").write_text("time,plenum_temp\n", encoding="utf-8")
    status, out, _ = board(run, farm)
    assert status == 0
    assert re.search(r"South \(invented\) +no readings", out)
    assert "south: south.readings.csv: column" in out


def test_old_readings_are_called_old_and_are_no_advice(run, farm):
    later = (NOW + timedelta(days=3)).isoformat()
    _, out, _ = run("board", farm, "--at", later, "--json")
    north = json.loads(out)["bays"][0]
    assert north["lapsed"]
    assert north["first"].startswith("Read it anew: these readings are 3 days old")
    assert not by_file(run, farm)["north"]["lapsed"]


def test_the_newer_of_file_and_log_counts(run, farm):
    write_log(farm / "north.readings.csv", pulp=5.0)
    old = {**READ, "time": (NOW - timedelta(hours=2)).isoformat()}
    (farm / "north.readings.json").write_text(json.dumps(old), encoding="utf-8")
    assert by_file(run, farm)["north"]["pulp_warmest_c"] == 5.0


def test_crop_in_the_bay_is_what_the_season_weighed(run, farm):
    """Loads of 1 000 t in a bay for 1 814 t: the advice is for a bay 55 % full."""
    part = by_file(run, farm)["north"]["advice"]
    whole = {**READ, "loaded_t": BAY.mass / 1000.0}
    (farm / "north.readings.json").write_text(json.dumps(whole), encoding="utf-8")
    full = by_file(run, farm)["north"]["advice"]
    assert part != full


def test_a_shared_plant_that_is_too_small_serves_the_warmest_first(run, farm):
    write_log(farm / "north.readings.csv", pulp=7.5, outside=25.0)
    write_log(farm / "south.readings.csv", pulp=9.5, outside=25.0)
    (farm / "north.readings.json").unlink()
    shared = '[shared.plant]\nwhat = "refrigeration"\ncapacity = "{}"\nbays = ["south", "north"]\n'
    (farm / "farm.toml").write_text(shared.format("10 kW"), encoding="utf-8")
    plant = json.loads(board(run, farm, "--json")[1])["shared"][0]
    asked = plant["asked_kw"]
    assert asked > 10.0
    assert not plant["enough"]
    _, out, _ = board(run, farm)
    assert "serve south first" in " ".join(out.split())
    (farm / "farm.toml").write_text(shared.format(f"{asked + 1} kW"), encoding="utf-8")
    assert json.loads(board(run, farm, "--json")[1])["shared"][0]["enough"]


@pytest.mark.parametrize(
    ("text", "part"),
    [
        ('[shared.plant]\nwhat = "fans"\ncapacity = "1 kW"\nbays = ["north"]', "one of refrig"),
        ('[shared.p]\nwhat = "heater"\ncapacity = "1 kW"\nbays = ["east"]', "no bay east"),
        ('[shared.p]\nwhat = "heater"\ncapacity = "1 m"\nbays = ["north"]', "capacity"),
        ("[plant]\n", "plant: not known"),
        ("what", "mend it as TOML"),
    ],
)
def test_a_farm_file_that_cannot_be_is_refused_in_one_line(run, farm, text, part):
    (farm / "farm.toml").write_text(text, encoding="utf-8")
    status, out, err = board(run, farm)
    assert (status, out) == (2, "")
    assert part in err
    assert len(err.splitlines()) == 1


def test_a_folder_without_bays_is_refused(run, tmp_path):
    assert run("board", tmp_path)[0] == 2
    status, _, err = run("board", tmp_path / "nowhere")
    assert (status, "no such folder" in err) == (2, True)


def test_the_board_as_a_page(run, farm, tmp_path):
    out = tmp_path / "board.html"
    (farm / "south.toml").write_text(
        (farm / "south.toml").read_text().replace("South (invented)", "South <2>")
    )
    assert board(run, farm, "--html", out)[0] == 0
    text = out.read_text(encoding="utf-8")
    assert "South &lt;2&gt;" in text
    assert "South <2>" not in text
    assert 'data-state="bad"' in text
    assert text.count('<td role="cell" data-label="target">') == 2, "a card a bay on a phone"


# --- advice over a log -------------------------------------------------------------------


def test_advice_for_each_row_of_a_log_remembers_the_rows_before(run, farm):
    log = farm / "south.readings.csv"
    status, out, err = run("advise", farm / "south.toml", "--log", log)
    rows = list(csv.DictReader(io.StringIO(out)))
    assert (status, len(rows)) == (0, 96)
    assert err.startswith("Caution")
    assert rows[-1]["time"] == NOW.isoformat()
    assert "pile_hot" in rows[-1]["alarms"]
    last = json.loads(board(run, farm, "--json")[1])["bays"][1]["advice"]
    assert float(rows[-1]["fan_speed"]) == pytest.approx(last["fan_speed"], abs=1e-3)
    data = json.loads(run("advise", farm / "south.toml", "--log", log, "--json")[1])
    assert [row["action"] for row in data["rows"]] == [row["action"] for row in rows]


def test_a_log_is_its_own_memory(run, farm):
    words = ("advise", farm / "south.toml", "--log", farm / "south.readings.csv")
    status, _, err = run(*words, "--memory", farm / "m.json")
    assert (status, "its own memory" in err) == (2, True)
    assert run(*words, "--readings", farm / "north.readings.json")[0] == 2


def test_one_log_of_several_bays(run, farm):
    """Each bay's rows as if they stood alone; what is wrong keeps the number of its row."""
    lines = (farm / "south.readings.csv").read_text(encoding="utf-8").splitlines()
    both = [lines[0].replace("time,", "time,bay,")]
    for line in lines[1:]:
        both += [line.replace(",", f",{bay},", 1) for bay in ("south", "north")]
    log = farm / "both.csv"
    log.write_text("\n".join(both), encoding="utf-8")
    alone = {}
    for bay in ("south", "north"):
        out = run("advise", farm / f"{bay}.toml", "--log", farm / "south.readings.csv")[1]
        alone[bay] = list(csv.DictReader(io.StringIO(out)))
    status, out, _ = run("advise", farm, "--log", log)
    rows = list(csv.DictReader(io.StringIO(out)))
    assert (status, len(rows)) == (0, 192)
    assert [row["time"] for row in rows] == sorted(row["time"] for row in rows)
    for bay, own in alone.items():
        assert [{**one, "bay": bay} for one in own] == [r for r in rows if r["bay"] == bay]
    found = run("advise", farm, "--log", log, "--json-lines")[1].splitlines()
    assert [json.loads(line)["action"] for line in found] == [row["action"] for row in rows]
    log.write_text("\n".join([*both[:9], both[9].replace("south", "west"), *both[10:]]))
    status, _, err = run("advise", farm, "--log", log)
    assert (status, "row 10: bay 'west' is none of north, south" in err) == (2, True)
    both[9] = re.sub(r"^[^,]*", "yesterday", both[9])
    log.write_text("\n".join(both), encoding="utf-8")
    assert "row 10: time is 'yesterday'" in run("advise", farm, "--log", log)[2]
    assert run("advise", farm, "--log", farm / "south.readings.csv")[0] == 2


# --- the record --------------------------------------------------------------------------


@pytest.fixture
def ended(farm):
    """North is empty again: 5 % of lot A and 6 % of lot B are gone."""
    book, late = farm / "north.season", 4000
    out = [truck("Lot A", 38, late + k) for k in range(19)]
    out += [truck("Lot A", 38, late + 19, last="yes"), truck("Lot B", 188 / 4, late + 30)]
    out += [truck("Lot B", 188 / 4, late + 31 + k) for k in range(2)]
    out += [truck("Lot B", 188 / 4, late + 33, last="yes")]
    lines = {
        "weights_out": out,
        "treatments": [{"what": "disinfectant", "who": "Ann", "time": START - 99 * HOUR}],
        "inspections": [{"what": "storage", "result": "accepted <1>", "time": START + 900 * HOUR}],
        "settings": [{"what": "supply", "before": "48 degF", "after": "46 degF", "time": START}],
        "sensor_checks": [
            {"probe": "top", "method": "ice_bath", "reading_temperature": 0.4, "time": START}
        ],
    }
    for kind, told in lines.items():
        add_lines(book, BAY, kind, told, written=START)
    return farm


def test_the_record_weighs_each_lot_each_bay_and_the_farm(run, ended):
    data = json.loads(run("record", ended, "--json")[1])
    north, south = data["bays"]
    assert {lot["lot"]: lot["mass_loss"] for lot in north["lots"]} == {
        "Lot A": pytest.approx(0.05),
        "Lot B": pytest.approx(0.06),
    }
    assert north["mass_loss"] == pytest.approx(0.8 * 0.05 + 0.2 * 0.06)
    assert north["standard_uncertainty"] == pytest.approx(0.0135, abs=0.001), "soil, 1 % each way"
    assert south["mass_loss"] is None
    assert data["farm"]["mass_loss"] == pytest.approx(north["mass_loss"]), "of empty bays"
    assert north["told"][0]["kind"] == "treatments"
    assert len(north["told"]) == 4


def test_months_of_the_log(run, ended):
    data = json.loads(run("record", ended / "south.toml", "--json")[1])
    (month,) = data["bays"][0]["months"]
    assert month["month"] == "2026-12"
    assert month["energy_kwh"] == pytest.approx(96 * 3.0)
    assert month["fan_time_h"] == pytest.approx(95.0), "between the first row and the last"
    assert month["pulp_warmest_c"] == pytest.approx(9.55, abs=0.01)
    assert month["pulp_coldest_c"] == pytest.approx(9.05, abs=0.01)
    assert month["co2_highest_ppm"] == pytest.approx(1590, abs=1)


def test_the_record_in_words_on_a_page_and_as_csv(run, ended, tmp_path):
    page, sheet = tmp_path / "season.html", tmp_path / "season.csv"
    status, out, _ = run("record", ended, "--html", page, "--csv", sheet, "--units", "us")
    assert status == 0
    assert "5.2% ± 1.3%" in out, "0.948 √2 √(0.01² + 0.001²)"
    assert "disinfectant [Ann]" in " ".join(out.split())
    assert "supply from 48 degF to 46 degF" in out
    assert "top: temperature 0.72 °F too high" in out
    text = page.read_text(encoding="utf-8")
    assert "accepted &lt;1&gt;" in text
    assert "accepted <1>" not in text
    rows = list(csv.DictReader(io.StringIO(sheet.read_text(encoding="utf-8"))))
    facts = {(r["bay"], r["lot"], r["subject"], r["what"]): r["value"] for r in rows}
    assert float(facts["North (invented)", "Lot B", "weight", "mass_out_kg"]) == 188e3
    assert ("South (invented)", "", "month", "energy_kwh") in facts
    assert {r["who"] for r in rows if r["subject"] == "treatment"} == {"Ann"}


def test_a_season_with_a_bad_line_is_no_record_until_that_is_wished(run, ended):
    sheet = ended / "north.season" / "treatments.csv"
    sheet.write_text(sheet.read_text() + "x,2026-13-01,,,,,,,,\n", encoding="utf-8")
    status, _, err = run("record", ended)
    assert status == 2
    assert "treatments.csv row 3" in err
    status, out, _ = run("record", ended, "--skip-bad")
    assert status == 0
    assert "Left out: treatments.csv row 3" in out


def test_weights_are_held_against_the_log_where_it_covers_the_stay(run, ended):
    """4 034 h from the first load to the last truck."""
    log, last = ended / "north.readings.csv", datetime.fromtimestamp(START + 4034 * HOUR, ZONE)
    write_log(log, pulp=4.0, hours=4034, end=last)
    north = json.loads(run("record", ended / "north.toml", "--json")[1])["bays"][0]
    assert north["expected_covered"] == pytest.approx(1.0, abs=0.001)
    doubt = math.hypot(north["standard_uncertainty"], north["expected_standard_uncertainty"])
    difference = north["mass_loss"] - north["expected_mass_loss"]
    assert north["surprise"] == pytest.approx(difference / doubt)
    assert len(north["months"]) == 7, "September to March"
    write_log(log, pulp=4.0, hours=2000, end=last)
    _, out, _ = run("record", ended / "north.toml")
    assert "the log covers 50% of the time" in " ".join(out.split())


# --- shrink by the log -------------------------------------------------------------------


@pytest.mark.parametrize("name", ["seed_bay", "fry_bay"])
def test_shrink_by_the_log_is_that_of_the_season_within_its_doubt(name):
    """A log knows neither wet skins nor layers; two standard uncertainties must cover that."""
    bay = example_bay(name)
    until = np.datetime64("2018-11-15T00:00:00")
    season = vc.run_season(bay, vc.example_weather(), until=until, layers=10, compiled=False)
    log = read_log(season_log_csv(season))
    place = FarmBay(name=name, bay=bay, book=None, given=None, log=log, problems=())
    found = expected_loss(place)
    assert found.doubt < 0.25 * season.kpi.mass_loss
    assert found.mass_loss == pytest.approx(season.kpi.mass_loss, abs=2.0 * found.doubt)
    drier = replace(log, values={**log.values})
    drier.values["plenum_relative_humidity"] = log.values["plenum_relative_humidity"] - 0.05
    assert expected_loss(replace(place, log=drier)).mass_loss > found.mass_loss


def test_crop_that_has_left_loses_nothing_more(farm):
    """800 of 1 000 t are gone when the log begins: a fifth loses what all would have lost."""
    write_log(farm / "north.readings.csv", pulp=4.0)
    whole = expected_loss(farm_bay(farm / "north.toml"))
    out = [truck("Lot A", 80, 2100 + k) for k in range(10)]
    add_lines(farm / "north.season", BAY, "weights_out", out, written=START)
    part = expected_loss(farm_bay(farm / "north.toml"))
    assert part.mass_loss == pytest.approx(0.2 * whole.mass_loss)


def test_no_expectation_without_what_it_rests_on(farm):
    log = farm / "south.readings.csv"
    text = log.read_text(encoding="utf-8").replace("plenum_rh", "forecast_temp_c")
    log.write_text(text, encoding="utf-8")
    assert expected_loss(farm_bay(farm / "south.toml")) is None


# --- the pages in a browser --------------------------------------------------------------


@pytest.mark.parametrize("width", [1280, 390, 320])
@pytest.mark.parametrize("command", ["board", "record"])
def test_a_page_is_as_wide_as_its_window(run, browser, ended, tmp_path, command, width):
    page = tmp_path / "page.html"
    assert run(command, ended, "--html", page)[0] == 0
    browser.look(width=width)
    browser.open(page.as_uri())
    assert browser.ask("document.documentElement.scrollWidth") <= width
    cut = browser.ask(
        """[...document.querySelectorAll('.wide')].filter((e) => e.scrollWidth > e.clientWidth + 1)
          .map((e) => e.textContent.slice(0, 60))"""
    )
    assert cut == []
    card = browser.ask("getComputedStyle(document.querySelector('tbody tr')).display")
    assert card == ("table-row" if width > 640 else "block")


def test_a_record_is_printed_whole(run, browser, ended, tmp_path):
    page = tmp_path / "page.html"
    assert run("record", ended, "--html", page)[0] == 0
    width = int(96 * (8.27 - 2 * 0.4))  # A4 less the margins of browsers
    browser.look(width=width)
    browser.open(page.as_uri())
    browser.call("Emulation.setEmulatedMedia", media="print")
    cut = browser.ask(
        f"""[...document.querySelectorAll('table, p, li')]
          .filter((e) => e.getBoundingClientRect().right > {width} + 1)
          .map((e) => e.textContent.slice(0, 60))"""
    )
    browser.call("Emulation.setEmulatedMedia", media="", features=[])
    assert cut == []


def test_from_what_was_not_done_nothing_is_learnt():
    """A log in which the fans stand while the advice would run them, and the other way round."""
    before = vc.Memory()._replace(time=0.0, fan_on=True, fan_since=1800.0)
    after = vc.Memory()._replace(
        time=3600.0, fan_on=True, fan_since=5400.0, fan_speed=0.6, door_opening=0.2,
        expected_plenum_temperature=2.5, expected_humidity=0.95,
    )  # fmt: skip

    def seen(speed: float, door: float):
        values = {"fan_speed": np.array([speed]), "door_opening": np.array([door])}
        log = SimpleNamespace(values=values)
        return as_logged(before, after, log, 0)

    assert seen(0.61, 0.18) == after  # as advised
    stood = seen(0.0, 0.0)
    assert (stood.fan_on, stood.fan_since, stood.door_opening) == (False, 0.0, 0.0)
    other = seen(0.6, 0.9)
    assert (other.fan_on, other.fan_since, other.door_opening) == (True, 5400.0, 0.9)
    assert math.isnan(stood.expected_plenum_temperature)
    assert math.isnan(other.expected_plenum_temperature)
    assert seen(math.nan, 0.5) == after
