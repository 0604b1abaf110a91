"""``ventcalc size``: what it prints and writes, what it refuses and how."""

from __future__ import annotations

import json
import pickle
import re
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pytest

from ventcalc.bay.description import Refrigeration
from ventcalc.bay.file import bay_to_toml, example_bay, example_bay_path, read_bay
from ventcalc.commands.main import main
from ventcalc.sizing import size
from ventcalc.sizing.written import rounded
from ventcalc.weather import example_weather, write_weather_csv
from ventcalc.weather.files import ARRAYS

SUBJECTS = (
    "Weather", "Fans", "Plenum", "Laterals", "Ports", "Doors", "Fresh air", "Humidifier",
    "Refrigeration",
    "Insulation", "Heater", "Outside air",
)  # fmt: skip
DATA = Path(__file__).parent / "data"
VOID = {"meta", "br", "hr", "img"}


@pytest.fixture(scope="module", autouse=True)
def sized_once():
    """The same bay, target, weather and units are sized once for all tests here."""
    size_bay, made = size.size_bay, {}

    def remembered(*bay, **asked):
        key = pickle.dumps((bay, asked))
        if key not in made:
            made[key] = size_bay(*bay, **asked)
        return made[key]

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(size, "size_bay", remembered)
        yield


@pytest.fixture
def run(capsys):
    """Run the command line in this process: exit status, standard output, standard error."""

    def call(*words):
        status = main([str(word) for word in words])
        out, err = capsys.readouterr()
        return status, out, err

    return call


@pytest.fixture
def refused(run):
    """Problems of a call that must be refused, without the program's name before each."""

    def call(*words):
        status, out, err = run(*words)
        assert (status, out) == (2, "")
        return [line.removeprefix("ventcalc: ") for line in err.splitlines()]

    return call


# --- what it prints ----------------------------------------------------------------------


@pytest.mark.parametrize("units", ["us", "metric"])
def test_tables_by_subject_with_the_working(run, units):
    status, out, err = run("size", "seed_bay", "--target", "20 cfm/ton", "--units", units)
    assert (status, err) == (0, "")
    lines = out.splitlines()
    for subject in SUBJECTS:
        assert any(re.match(rf"{subject}\s+size\s+margin\s+bay now", line) for line in lines)
        assert f"Working: {subject.lower()}" in lines
    assert "licensed" in out.split("Cautions")[1]
    assert "structural engineer" in out
    words = " ".join(out.split())
    assert "Outside air alone is not enough in this weather" in words
    assert re.search(r"too warm for \d+ of \d,\d+ h \(\d+ of 144 in filling, \d+ of 336", words)
    assert "without refrigeration the calendar cannot be kept" in words
    assert "No check fails for the sized bay" in words
    assert re.search(r"rest between fresh-air runs, CO2 not measured +15 min +15 min", words)
    assert "Legionella" in words
    assert "Not at these temperatures: R744 (at or above the critical point)" in words
    assert ("40,000 cfm" in out) == (units == "us")
    assert ("67,960 m³/h" in out) == (units == "metric")
    assert ("RSI 3.2" in out) == (units == "metric")


def test_example_weather_is_not_for_sizing(run):
    _, out, _ = run("size", "fry_bay")
    assert "do not size anything from them" in out
    assert "National Renewable Energy Laboratory" in " ".join(out.split())


def test_every_line_fits_a_page(run):
    _, out, _ = run("size", "fry_bay", "--target", "25 cfm/ton", "--units", "us")
    body = out.split("These sizes are for the example weather")[0]
    assert max(len(line) for line in body.splitlines()) <= 100


def test_target_is_that_of_the_bay_when_not_given(run):
    _, out, _ = run("size", "seed_bay", "--json")
    data = json.loads(out)
    assert data["sizes"]["fans_airflow_m3_s"] == pytest.approx(example_bay().fans.airflow)


def test_target_as_airflow_of_all_fans(run):
    _, out, _ = run("size", "seed_bay", "--json", "--target", "50000 cfm")
    per_second = 50000 * 0.3048**3 / 60
    assert json.loads(out)["sizes"]["fans_airflow_m3_s"] == pytest.approx(per_second)


def test_json_says_units_and_keeps_the_working(run):
    status, out, err = run("size", "fry_bay", "--target", "20 cfm/ton", "--json", "--units", "us")
    assert (status, err) == (0, "")
    data = json.loads(out)
    assert data["bay"] == example_bay("fry_bay").name
    assert data["refrigeration_needed"] is False
    assert data["outside_air_alone"] == "nearly enough"
    sizes = data["sizes"]
    for key in (
        "fans_static_pressure_pa", "fans_power_w", "plenum_width_m", "lateral_diameter_m",
        "slot_width_m", "fresh_air_door_area_m2", "exhaust_area_m2", "humidifier_capacity_kg_s",
        "refrigeration_capacity_w", "refrigeration_load_cool_down_w", "heater_capacity_w",
        "wall_resistance_m2_k_w", "ceiling_resistance_m2_k_w", "fan_speed_holding_fraction",
        "outside_air_energy_cost_money_per_j", "refrigeration_energy_cost_money_per_j",
    ):  # fmt: skip
        assert isinstance(sizes[key], float), key
    assert len(data["working"]) == len(sizes)
    for record in data["working"]:
        assert record["formula"]
        assert record["source"]
        values = [key for key in record if key.startswith("value")]
        assert len(values) == 1
        assert record["key"] + values[0].removeprefix("value") in sizes
        assert all(re.fullmatch(r"\w+", name) for name in record["inputs"])
    assert any("structural engineer" in line for line in data["cautions"])
    # Numbers do not follow --units.
    assert 150 < sizes["fans_static_pressure_pa"] < 400


def test_magnitudes_of_the_example_bay(run):
    """Per tonne and per 1000 t: what an engineer expects of a store (common practice)."""
    _, out, _ = run("size", "seed_bay", "--target", "20 cfm/ton", "--json")
    sizes, tonnes = json.loads(out)["sizes"], 1814.4
    assert 2 < sizes["fans_power_w"] / tonnes < 8
    assert 10 < sizes["humidifier_capacity_kg_s"] * 3600 / tonnes * 1000 < 120
    assert 30 < sizes["refrigeration_capacity_w"] / tonnes < 110
    assert 100 < sizes["fans_static_pressure_pa"] < 350
    assert 0.4 < sizes["lateral_diameter_m"] < 1.2
    assert 3 < sizes["wall_resistance_m2_k_w"] < 8


# --- what it writes ----------------------------------------------------------------------


@pytest.mark.parametrize(("name", "units"), [("seed_bay", "us"), ("fry_bay", "metric")])
def test_bay_file_that_passes_the_check(run, tmp_path, name, units):
    path = tmp_path / "sized.toml"
    words = ("size", name, "--target", "20 cfm/ton", "--units", units, "--out", path)
    status, out, _ = run(*words)
    assert status == 0
    assert f"Wrote {path}" in out
    bay = read_bay(path)
    assert bay.ducts is not None
    assert bay.fans.motor_power is not None
    assert "for an engineer to check" in bay.notes
    status, out, _ = run("check", path, "--json")
    assert status == 0
    verdicts = {one["key"]: one["verdict"] for one in json.loads(out)["checks"]}
    assert "no" not in verdicts.values()
    assert verdicts["airflow"] == "ok"
    _, words, _ = run("size", name, "--target", "20 cfm/ton")
    told = re.search(r'--winter "(.*? degC)" --warm "(.*? degC)"', " ".join(words.split()))
    status, out, _ = run("check", path, "--winter", told[1], "--warm", told[2])
    assert status == 0
    assert not out.splitlines()[2].startswith("No:")


def test_sizes_in_the_file_have_four_figures(tmp_path, run):
    path = tmp_path / "sized.toml"
    run("size", "seed_bay", "--target", "20 cfm/ton", "--units", "us", "--out", path)
    text = path.read_text(encoding="utf-8")
    equipment = re.search(r"\[fans\].*?\n\n", text, re.S)
    assert equipment
    for number in re.findall(r'"([\d.]+) ', equipment[0]):
        assert len(number.replace(".", "").strip("0")) <= 4, number


def test_rounding_keeps_the_laterals_inside_the_bay():
    """17.876 m of lateral must not become 17.88 m in a bay 17.876 m wide."""
    bay = example_bay("fry_bay")
    narrow = replace(
        bay,
        pile=replace(bay.pile, width=17.876),
        ducts=replace(bay.ducts, lateral_length=17.876),
    )
    assert rounded(narrow, "metric").ducts.lateral_length == 17.876


def test_a_file_that_is_there_stays(refused, tmp_path):
    path = tmp_path / "sized.toml"
    path.write_text("mine", encoding="utf-8")
    (line,) = refused("size", "seed_bay", "--out", path)
    assert "stays as it is" in line
    assert path.read_text(encoding="utf-8") == "mine"


class Outline(HTMLParser):
    """Tags, ids and links of a page; complains about tags that do not match."""

    def __init__(self, text):
        super().__init__()
        self.open, self.tags, self.ids, self.links, self.words = [], [], [], [], []
        self.feed(text)
        assert self.open == []

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.ids += [value for name, value in attrs if name == "id"]
        self.links += [value for name, value in attrs if name in ("src", "href", "xlink:href")]
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.handle_starttag(tag, attrs)
        if tag not in VOID:
            self.open.pop()

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        self.words.append(data)


@pytest.fixture(scope="module")
def page(tmp_path_factory):
    path = tmp_path_factory.mktemp("size") / "size.html"
    assert main(["size", "seed_bay", "--html", str(path), "--no-compare"]) == 0
    return path.read_text(encoding="utf-8")


def test_page_is_sound_and_asks_nothing_of_the_network(page):
    outline = Outline(page)
    assert len(outline.ids) == len(set(outline.ids))
    assert all(link.startswith("#") for link in outline.links)
    assert set(outline.tags).isdisjoint({"link", "iframe", "img"})
    assert "<script src" not in page
    targets = set(re.findall(r"url\(#([^)]+)\)", page))
    targets |= {link[1:] for link in outline.links}
    assert targets <= set(outline.ids)
    assert len(page.encode()) < 3e6


def test_page_draws_and_tells(page):
    words = " ".join(" ".join(Outline(page).words).split())
    for title in (
        "Bill of equipment", "Sizes", "The bay to scale", "Fans and system", "Moist air",
        "Pressure", "Refrigeration load", "Outside air alone", "Cost of cooling", "Working",
        "Cautions",
    ):  # fmt: skip
        assert title in words
    assert page.count("<svg") == 6
    assert page.count("<table") >= 7
    assert "do not size anything from them" in words


def test_page_escapes_what_the_bay_file_says(run, tmp_path):
    bay = replace(example_bay("fry_bay"), name="Bay <b>1</b> & co")
    source, target = tmp_path / "bay.toml", tmp_path / "size.html"
    source.write_text(bay_to_toml(bay), encoding="utf-8")
    assert run("size", source, "--html", target, "--no-compare")[0] == 0
    page = target.read_text(encoding="utf-8")
    assert "Bay &lt;b&gt;1&lt;/b&gt; &amp; co" in page
    assert "<b>1" not in page


# --- weather -----------------------------------------------------------------------------


def test_weather_from_a_file_and_without_refrigeration_where_it_is_warm(run, tmp_path):
    """Eight kelvin warmer, the seed bay needs refrigeration, and the bay file gets it."""
    plain = example_weather()
    warm, out = tmp_path / "warm.csv", tmp_path / "sized.toml"
    write_weather_csv(replace(plain, temperature=plain.temperature + 8.0), warm)
    status, text, _ = run("size", "seed_bay", "--target", "20 cfm/ton", "--weather", warm,
                          "--out", out)  # fmt: skip
    assert status == 0
    assert "without refrigeration the calendar cannot be kept" in " ".join(text.split())
    assert "do not size anything" not in text
    assert isinstance(read_bay(out).refrigeration, Refrigeration)


def test_weather_of_two_days_is_refused(refused):
    (line,) = refused("size", "seed_bay", "--weather", DATA / "denver_two_days.epw")
    assert "does not hold" in line


def test_weather_without_humidity_is_refused(refused, tmp_path):
    path = tmp_path / "dry.csv"
    path.write_text("time,outside_temp_c\n2020-01-01T00:00Z,1\n2020-01-01T01:00Z,2\n")
    (line,) = refused("size", "seed_bay", "--weather", path)
    assert line.startswith("dry.csv: there is no column for humidity; expected outside_rh")


def test_half_a_year_that_holds_the_season_is_enough(run, tmp_path):
    """The winter's percentile is then of less than a year, and the notes say so."""
    plain = example_weather()
    path = tmp_path / "year.csv"
    first = {name: getattr(plain, name)[:2928] for name in ARRAYS}  # January to April
    last = {name: getattr(plain, name)[6240:] for name in ARRAYS}  # from 18 September on
    joined = {name: np.concatenate([last[name], first[name]]) for name in ARRAYS}
    joined["time"] = last["time"][0] + np.arange(len(joined["time"])) * np.timedelta64(3600, "s")
    write_weather_csv(replace(plain, **joined), path)
    bay = example_bay("seed_bay")
    plan = replace(
        bay.schedule, fill_start="09-20", warm_up_start="04-01", unloading_start="04-10",
        unloading_days=5 * 86400.0,
    )  # fmt: skip
    source = tmp_path / "bay.toml"
    source.write_text(bay_to_toml(replace(bay, schedule=plan)), encoding="utf-8")
    status, out, err = run("size", source, "--weather", path)
    assert (status, err) == (0, "")
    assert "not of a whole year" in " ".join(out.split())


# --- refusals ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("value", "part"),
    [
        ("20", "write"),
        ("20 cfm", "usual are 10 to 30 cfm/ton"),
        ("2000 cfm/ton", "usual are 10 to 30 cfm/ton"),
        ("0 cfm/ton", "usual are 10 to 30 cfm/ton"),
        ("-20 cfm/ton", "usual are 10 to 30 cfm/ton"),
        ("20 kg", "20 cfm/ton"),
        ("plenty", "plain number"),
    ],
)
def test_wrong_target_gets_one_line(refused, value, part):
    (line,) = refused("size", "seed_bay", f"--target={value}")
    assert line.startswith("--target ")
    assert part in line


def test_too_little_air_for_any_coil_says_what_would_do(refused):
    (line,) = refused("size", "seed_bay", "--target", "2 cfm/ton")
    told = re.search(r"a target of .* \(([\d.]+) cfm/ton\) would do", line)
    assert 3.0 < float(told[1]) < 6.0


def test_missing_files_get_one_line(refused, tmp_path):
    (line,) = refused("size", tmp_path / "none.toml")
    assert "no such file" in line
    (line,) = refused("size", "seed_bay", "--weather", tmp_path / "none.csv")
    assert "no such file" in line
    (line,) = refused("size", "seed_bay", "--out", tmp_path / "no" / "sized.toml")
    assert "there is no folder" in line
    (line,) = refused("size", "seed_bay", "--html", tmp_path)
    assert "is not a file" in line


def test_contradictory_bay_gets_a_line_for_each_problem(refused, tmp_path):
    text = example_bay_path().read_text(encoding="utf-8")
    path = tmp_path / "bay.toml"
    path.write_text(text.replace("0.032 Btu/(h ft2 degF)", "0 Btu/(h ft2 degF)"), encoding="utf-8")
    (line,) = refused("size", path)
    assert "envelope.wall_u" in line


@pytest.mark.parametrize(
    ("was", "now", "part"),
    [
        ('"1.80 inH2O"', '"1.60 inH2O"', "rises from 399 Pa (1.60 inH2O) to 423 Pa"),
        ('lateral_length = "48 ft"', 'lateral_length = "148 ft"', "is longer than the bay"),
        ('port_area = "10 in2"', 'port_area = "15 in2"', "exceed the lateral's"),
        ('wall_u = "0.032 Btu', 'wall_u = "0 Btu', "envelope.wall_u"),
        ('ceiling_u = "0.029 Btu', 'ceiling_u = "0 Btu', "envelope.ceiling_u"),
    ],
)
def test_bay_that_cannot_be_gets_one_line(refused, tmp_path, was, now, part):
    text = example_bay_path().read_text(encoding="utf-8")
    assert was in text
    path = tmp_path / "bay.toml"
    path.write_text(text.replace(was, now), encoding="utf-8")
    (line,) = refused("size", path)
    assert line.startswith("bay.toml: ")
    assert part in line


@pytest.fixture
def short(tmp_path):
    """A bay that is emptied soon after it is cold: its season is short to run."""
    bay = example_bay("seed_bay")
    ends = {"warm_up_start": "11-20", "unloading_start": "11-25", "unloading_days": 2 * 86400.0}
    path = tmp_path / "short.toml"
    bay = replace(bay, schedule=replace(bay.schedule, **ends))
    path.write_text(bay_to_toml(bay), encoding="utf-8")
    return path


def test_a_report_has_more_air_beside_the_one_asked(run, short, tmp_path, monkeypatch):
    """Fans for more air take more power; text, page and JSON tell the same season."""
    monkeypatch.setattr("ventcalc.sizing.alternatives.SHARES", (1.5,))
    page = tmp_path / "size.html"
    status, out, _ = run("size", short, "--target", "20 cfm/ton", "--json", "--html", page)
    assert status == 0
    asked, more = json.loads(out)["compared"]
    assert (asked["asked"], more["asked"]) == (True, False)
    assert more["airflow_m3_s_t"] == pytest.approx(1.5 * asked["airflow_m3_s_t"], rel=1e-12)
    assert more["power_w"] > asked["power_w"]
    assert more["season"]["spread_h"] <= asked["season"]["spread_h"]
    text = " ".join(re.sub("<[^>]+>", " ", page.read_text(encoding="utf-8")).split())
    assert f"{more['fans']}" in text.partition("More air or less")[2]
    season = asked["season"]
    assert f"CO2 comes to {season['co2_highest_ppm']:,.0f} ppm" in text
    assert f"for {season['people_co2_h']:,.0f} h; the top of the pile lags" in text


def test_an_airflow_that_cannot_be_sized_is_left_out_of_the_report(
    run, short, tmp_path, monkeypatch
):
    """It was not asked for by name: the season of the bay as asked stays, and why is said."""
    monkeypatch.setattr("ventcalc.sizing.alternatives.SHARES", (0.1,))
    page = tmp_path / "size.html"
    status, out, _ = run("size", short, "--target", "20 cfm/ton", "--units", "us", "--html", page)
    assert status == 0
    words = "2.0 cfm/ton is left out: the airflow is too small for refrigeration"
    assert words in out
    assert words in page.read_text(encoding="utf-8")
    assert "A season of the sized bay under the advice" in out


def test_compare_refuses_what_target_refuses(refused):
    (line,) = refused("size", "seed_bay", "--compare", "30 apples")
    assert line.startswith("--compare ")


def test_help_shows_an_example(run):
    status, out, _ = run("size", "--help")
    assert status == 0
    assert "ventcalc size seed_bay --target" in out


def test_a_file_in_the_folder_where_one_stands(run, tmp_path, monkeypatch):
    """Exit status, nothing on standard error."""
    monkeypatch.chdir(tmp_path)
    status, _, err = run("size", "fry_bay", "--out", "sized.toml")
    assert (status, err) == (0, "")
    assert (tmp_path / "sized.toml").exists()


# --- one system of units -----------------------------------------------------------------

FOREIGN = {
    "us": r"m³/h|\bm/s\b|°C|degC|\bPa\b|RSI|W/t|g/kg|\d (m|mm|cm|K|kg/h|J)\b|\bm[23²³]\b",
    "metric": r"°F|degF|cfm|inH2O|Btu|\bTR\b|psf|\d (ft|lb/h|inch)\b|\bR \d",
}


@pytest.mark.parametrize("units", FOREIGN)
@pytest.mark.parametrize("command", ["check", "size"])
def test_print_out_and_page_keep_to_one_system_of_units(run, tmp_path, command, units):
    page = tmp_path / "page.html"
    alone = ["--no-compare"] if command == "size" else []
    status, out, _ = run(command, "fry_bay", "--units", units, "--html", page, *alone)
    assert status == 0
    html = re.sub(r"<(script|style).*?</\1>", "", page.read_text(encoding="utf-8"), flags=re.S)
    text = out + re.sub(r"<[^>]+>", "\n", html)
    assert [line for line in text.splitlines() if re.search(FOREIGN[units], line)] == []


def test_ducts_and_motors_have_nominal_sizes_of_the_reader(run, tmp_path):
    found = {}
    for units in ("us", "metric"):
        sized = tmp_path / f"{units}.toml"
        run("size", "seed_bay", "--target", "20 cfm/ton", "--units", units, "--out", sized)
        bay = read_bay(sized)
        found[units] = [bay.ducts.lateral_diameter, bay.ducts.plenum_width, bay.fans.motor_power]
    inches, half_feet, horsepower = (
        x / y for x, y in zip(found["us"], (2 * 0.0254, 0.5 * 0.3048, 745.7), strict=True)
    )
    assert abs(inches - round(inches)) < 1e-3
    assert abs(half_feet - round(half_feet)) < 1e-3
    assert horsepower == pytest.approx(5.0, rel=1e-3)  # NEMA MG 1
    assert found["metric"] == pytest.approx([0.7, 2.5, 3000.0])
