"""``ventcalc check``: what it prints, writes and refuses."""

from __future__ import annotations

import copy
import json
import re
import subprocess
import sys
import tomllib
from dataclasses import replace
from html.parser import HTMLParser
from itertools import pairwise

import pytest

from ventcalc.bay.file import bay_to_toml, example_bay, example_bay_path
from ventcalc.check.check import check_pile, sweep_heights
from ventcalc.commands.main import main
from ventcalc.report.bay_picture import bay_picture
from ventcalc.report.equipment_bill import bill

VERDICTS = ("ok", "marginal", "no", "cannot say")


def run(capsys, *words):
    status = main(["check", *words])
    said = capsys.readouterr()
    return status, said.out, said.err


def written(tables):
    """Tables as TOML, enough of it for a bay file."""

    def value(item):
        if isinstance(item, list):
            return "[" + ", ".join(map(value, item)) + "]"
        return json.dumps(item)

    lines = []
    for name, table in tables.items():
        for part in table if isinstance(table, list) else [table]:
            lines.append(f"[[{name}]]" if isinstance(table, list) else f"[{name}]")
            lines += [f"{key} = {value(item)}" for key, item in part.items()]
    return "\n".join(lines)


@pytest.fixture
def tables():
    """The seed bay as TOML gives it, free to be changed."""
    return copy.deepcopy(tomllib.loads(example_bay_path().read_text(encoding="utf-8")))


@pytest.fixture
def bay_of(tmp_path):
    def write(tables):
        path = tmp_path / "bay.toml"
        path.write_text(written(tables), encoding="utf-8")
        return str(path)

    return write


# --- text --------------------------------------------------------------------------------


@pytest.mark.parametrize("units", ["us", "metric"])
@pytest.mark.parametrize("bay", ["seed_bay", "fry_bay"])
def test_table_findings_and_cautions(capsys, bay, units):
    status, out, err = run(capsys, bay, "--units", units)
    assert (status, err) == (0, "")
    result = check_pile(example_bay(bay))
    for check in result.checks:
        row = next(line for line in out.splitlines() if line.startswith(f"  {check.name}  "))
        assert re.search(rf"\b{check.verdict}\s+\d+$", row), row
    assert "Highest pile that passes: " in out
    assert "limited by depth against pressure bruise" in " ".join(out.split())
    for words in ("licensed structural engineer", "never alone", "Sources:", "from memory"):
        assert words in out
    assert "(invented)" in out
    assert "nan" not in out
    assert ("ft?" in out.splitlines()[0]) == (units == "us")


def test_examples_pass_and_say_what_is_not_judged(capsys):
    _, out, _ = run(capsys, "seed_bay", "--units", "us")
    assert "Doubtful, past the limit by less than the uncertainty: walls above the dew" in out
    assert "1,814.4 t = 40,000 cwt = 4,000,000 lb" in out
    assert "Not judged at 16.0 ft: thrust on the wall" in out


def test_a_no_is_a_result_not_an_error(capsys):
    status, out, err = run(capsys, "seed_bay", "--height", "22 ft", "--units", "us")
    assert (status, err) == (0, "")
    assert "No: mean headspace above the pile; pile against the height of the wall; depth" in out


def test_past_a_limit_by_less_than_its_uncertainty_is_doubtful(capsys):
    status, out, _ = run(capsys, "seed_bay", "--height", "19 ft", "--units", "us")
    assert status == 0
    # Bruise is known from one side: below the usual depth a doubt, beyond it none.
    assert "No: depth against pressure bruise (indication)." in out
    (row,) = (line for line in out.splitlines() if line.startswith("  mean headspace"))
    assert re.search(r"-0.3 ± 0.7 ft +marginal", row)
    assert "Highest pile that passes: 18.0 ft" in out


def test_what_no_lower_pile_can_mend_comes_first(capsys, tables, bay_of):
    tables["fans"]["motor_power"] = "1.5 kW"
    status, out, _ = run(capsys, bay_of(tables))
    assert status == 0
    assert "No: shaft power of one fan against its motor." in out
    words = " ".join(out.split())
    assert "Fails at any height, fix first: shaft power of one fan" in words
    assert "Apart from that, the highest pile that passes: 5.50 m, limited by " in words
    data = json.loads(run(capsys, bay_of(tables), "--json")[1])
    assert data["no_at_any_height"] == ["shaft power of one fan against its motor"]
    assert data["verdict"] == "no"


def test_without_known_air_nothing_is_promised(capsys, tables, bay_of):
    """One fan alone runs off the end of its curve."""
    tables["fans"]["count"] = 1
    status, out, _ = run(capsys, bay_of(tables))
    assert status == 0
    assert out.splitlines()[2] == "Cannot say: the air that the pile gets is not known."
    assert "No height can be judged before the airflow is known." in " ".join(out.split())
    assert "Highest pile that passes" not in out
    assert "No check fails" not in out


def test_lots_that_do_not_fit(capsys):
    _, out, _ = run(capsys, "seed_bay", "--height", "12 ft")
    assert "No: crop against capacity." in out


def test_methods_for_walls_stand_side_by_side(capsys):
    _, out, _ = run(capsys, "fry_bay")
    block = out.partition("Walls, per length")[2].partition("Sources")[0]
    for name in ("Rankine", "Jaky", "silo ratio 0.54", "upper value", "Janssen"):
        assert name in block
    assert "1.91" in block


@pytest.mark.parametrize(("units", "step", "last"), [("metric", 0.5, 8.0), ("us", 1.0, 26.0)])
def test_sweep_is_a_table_by_round_heights(capsys, units, step, last):
    _, out, _ = run(capsys, "fry_bay", "--sweep", "--units", units)
    first, second = (part.strip().splitlines() for part in out.split("Margins by height")[1:])
    for lines in (first, second):
        heights = [float(line.split()[0]) for line in lines[3:]]
        assert heights[-1] == last
        assert {round(b - a, 6) for a, b in pairwise(heights)} == {step}
        assert max(map(len, lines)) <= 120
    assert "headspace, " in second[-1]  # fails by far at the tallest
    words = " ".join(first[1].split() + second[1].split())
    for name in ("below eave", "bruise", "rise, fill", "CO2, healing", "cooling, holding"):
        assert name in words


def test_sweep_marks_what_is_past_by_less_than_its_uncertainty(capsys):
    """At 19 ft the headspace lacks 0.3 ± 0.7 ft: no "no", but past its limit; the bruise is one."""
    _, out, _ = run(capsys, "seed_bay", "--sweep", "--units", "us")
    (row,) = (line for line in out.splitlines() if re.match(r" +19.0 .*headspace", line))
    assert row.endswith(" headspace?, bruise, 1 more")
    (fits,) = (line for line in out.splitlines() if re.match(r" +17.0 .* walls\?$", line))
    assert fits.count("?") == 1


def test_a_bay_that_tells_little_is_told_what_to_add(capsys, tables, bay_of):
    del tables["ducts"], tables["humidifier"], tables["envelope"]["wall_height"]
    for key in ("motor_power", "curve_airflow", "curve_static_pressure"):
        del tables["fans"][key]
    status, out, _ = run(capsys, bay_of(tables))
    assert status == 0
    for words in (
        "one is assumed about the rated point",
        "the rated pressure at the rated airflow stands for them",
        "Give envelope.wall_height",
        "Give fans.motor_power",
        "The bay has no humidifier",
    ):
        assert words in " ".join(out.split())
    assert "velocity in the ports" not in out


def test_winter_and_height_take_any_unit(capsys):
    one = run(capsys, "fry_bay", "--winter", "-4 degF", "--height", "15 ft")[1]
    two = run(capsys, "fry_bay", "--winter", "-20 degC", "--height", "4.572 m")[1]
    assert one == two


def test_air_outside_is_an_option(capsys):
    """Damp autumn air needs less water, a damp warm day more cold; each is named as assumed."""

    def checked(*words):
        data = json.loads(run(capsys, "fry_bay", "--json", *words)[1])
        found = {one["key"]: one for one in data["checks"]}
        return found["humidity_fill"], found["cold_fill"]

    dry, damp = (checked("--autumn-rh", rh, "--warm-rh", rh) for rh in ("30 %", "90 %"))
    values = [[one["value_kg_h"], two["value_w"]] for one, two in (dry, damp)]
    assert values[0][0] > 1.3 * values[1][0]
    assert values[1][1] > values[0][1] + 1000.0
    assert "outside assumed 10 °C (50 °F), 90 %" in damp[0]["formula"]
    assert "outside assumed 18 °C (64 °F), 90 %" in damp[1]["formula"]


def test_refrigeration_is_judged_where_there_is_some(capsys):
    status, out, _ = run(capsys, "fry_bay", "--warm", "59 degF", "--units", "us")
    words = " ".join(out.split())
    assert status == 0
    assert re.search(r"heat to remove while holding, warm day +[\d.]+ TR +19.9 TR .* ok", out)
    assert "Refrigeration alone, without outside air: up to " in words
    assert "The plant alone falls short on such a day" in words
    tons = re.compile(r"-?[\d.]+(?= TR)")
    rows = out.partition("Heat to remove on a warm day")[2].splitlines()[1:12]
    assert rows[0].split() == ["fill", "pull-down", "holding"]
    heat = {re.split("  +", row.strip())[0]: [float(x) for x in tons.findall(row)]
            for row in rows[1:]}  # fmt: skip
    assert heat["the refrigeration plant"] == [19.9] * 3
    parts = ("field heat", "respiration", "envelope", "leakage", "fresh air", "fans")
    for k, total in enumerate(heat["all, mean of the day"]):
        assert sum(heat[part][k] for part in parts) == pytest.approx(total, abs=0.3)
        assert heat["capacity needed, 20 h of 24"][k] == pytest.approx(1.2 * total, abs=0.1)
    none = " ".join(run(capsys, "seed_bay")[1].split())
    assert "The bay has no refrigeration: outside air must do this." in none
    assert "Refrigeration alone" not in none


# --- data --------------------------------------------------------------------------------


def test_json_has_units_in_its_keys(capsys):
    status, out, _ = run(capsys, "seed_bay", "--json", "--sweep")
    data = json.loads(out)
    assert status == 0
    assert data["height_m"] == pytest.approx(16 * 0.3048)
    assert data["capacity_cwt"] == pytest.approx(40000.0)
    assert data["capacity_lb"] == pytest.approx(4e6)
    checks = {check["key"]: check for check in data["checks"]}
    assert checks["rise_holding"]["limit_k"] == 1.5
    assert checks["airflow"]["margin_m3_s_t"] > 0.0
    assert checks["wall_thrust"]["limit_n_m"] is None
    assert checks["wall_thrust"]["figures"]["factor"] == pytest.approx(1.91, abs=0.01)
    for check in data["checks"]:
        assert check["verdict"] in VERDICTS
        assert check["formula"]
        assert check["source"]
    sweep = data["sweep"]
    assert len(sweep["height_m"]) == len(sweep["checks"][0]["verdict"]) == 200
    assert set(sweep["checks"][0]["verdict"]) <= set(VERDICTS)
    assert data["binds"] == [data["reaches"][0]["name"]]


# --- bad input ---------------------------------------------------------------------------

WRONG_WORDS = [
    (("seed_bay", "--height", "16"), "--height"),
    (("seed_bay", "--height", "16 lb"), "lb is a mass"),
    (("seed_bay", "--height", "30 ft"), "must lie in 1.6 ft to 26.2 ft (0.50 m to 8.00 m)"),
    (("seed_bay", "--height", "-3 ft"), "must lie in"),
    (("seed_bay", "--height", "nan m"), "--height"),
    (("seed_bay", "--winter", "40 degC"), "--winter"),
    (("fry_bay", "--warm", "120 degF"), "--warm"),
    (("fry_bay", "--warm", "18"), "--warm"),
    (("fry_bay", "--autumn-rh", "140 %"), "must lie in 1.0% to 100.0%"),
    (("nowhere.toml",), "no such file"),
    (("seed_bay", "--html", "/nowhere/at/all.html"), "no folder"),
]


@pytest.mark.parametrize(("words", "said"), WRONG_WORDS)
def test_wrong_words(capsys, words, said):
    status, out, err = run(capsys, *words)
    assert (status, out) == (2, "")
    assert err.startswith("ventcalc: ")
    assert len(err.splitlines()) == 1
    assert said in err


RISING = ["1.0 inH2O", "1.2 inH2O", "0.9 inH2O"]
WRONG_BAYS = [
    ("ducts", {"lateral_length": "60 ft"}, "is longer than the bay"),
    ("ducts", {"port_area": "20 in2"}, "exceed the lateral's"),
    ("ducts", {"laterals": 100}, "do not fit side by side"),
    ("ducts", {"lateral_shape": "square"}, "must be one of round, half_round"),
    ("ducts", {"ports": 0}, "must lie in 1 to 2000"),
    (
        "fans",
        {
            "curve_airflow": ["0 cfm", "4000 cfm", "8000 cfm"],
            "curve_static_pressure": RISING,
        },
        "rises from 249 Pa (1.00 inH2O) to 299 Pa (1.20 inH2O) at value 2",
    ),
    (
        "fans",
        {
            "curve_airflow": ["0 cfm", "8000 cfm", "4000 cfm"],
            "curve_static_pressure": ["1.2 inH2O", "1.0 inH2O", "0.9 inH2O"],
        },
        "does not exceed the one before",
    ),
    ("fans", {"curve_airflow": ["0 cfm", "8000 cfm"]}, "must have as many values each (2 and 7)"),
    ("fans", {"curve_airflow": "8000 cfm"}, "must be a list"),
    ("fans", {"curve_airflow": ["8000 cfm"]}, "two values or more"),
    ("fans", {"curve_airflow": [8000, 9000]}, "a bare number"),
    ("envelope", {"wall_u": "0 W/(m2 K)"}, "envelope.wall_u"),
    ("envelope", {"ceiling_u": "R-0"}, "a resistance must be greater than zero"),
    ("envelope", {"wall_height": "10 ft"}, "is below pile.height"),
    ("pile", {"soil": "20 %"}, "must lie in 0 to 0.1"),
    ("pile", {"angle_of_repose": 34}, "a bare number"),
    ("limits", {"floor_load": "500 lb"}, "lb is a mass"),
]


@pytest.mark.parametrize(("table", "change", "said"), WRONG_BAYS)
def test_wrong_bays(capsys, tables, bay_of, table, change, said):
    tables.setdefault(table, {}).update(change)
    status, out, err = run(capsys, bay_of(tables))
    assert (status, out) == (2, "")
    lines = err.splitlines()
    assert len(lines) == 1, lines
    assert lines[0].startswith(f"ventcalc: bay.toml: {table}.")
    assert said in lines[0]


def test_as_a_program():
    done = subprocess.run(
        [sys.executable, "-m", "ventcalc", "check", "seed_bay", "--height", "99 ft"],
        capture_output=True,
        text=True,
    )
    assert done.returncode == 2
    assert done.stdout == ""
    assert "Traceback" not in done.stderr


# --- the page ----------------------------------------------------------------------------


class Page(HTMLParser):
    """Counts what a page holds, and minds that every tag is closed."""

    def __init__(self):
        super().__init__()
        self.open, self.seen, self.links, self.ids = [], [], [], []

    def handle_starttag(self, tag, attributes):
        given = dict(attributes)
        self.seen.append((tag, given))
        self.links += [v for k, v in given.items() if k in ("src", "href", "xlink:href")]
        self.ids += [given["id"]] if "id" in given else []
        if tag not in ("meta", "br"):
            self.open.append(tag)

    def handle_startendtag(self, tag, attributes):
        self.handle_starttag(tag, attributes)
        self.open.pop()

    def handle_endtag(self, tag):
        assert self.open.pop() == tag


def page_of(path):
    page = Page()
    page.feed(path.read_text(encoding="utf-8"))
    assert page.open == []
    return page


@pytest.mark.parametrize("units", ["us", "metric"])
def test_page_is_whole_and_fetches_nothing(capsys, tmp_path, units):
    path = tmp_path / "check.html"
    status, out, _ = run(capsys, "seed_bay", "--html", str(path), "--units", units)
    assert status == 0
    assert out.rstrip().endswith(f"Wrote {path}")
    page = page_of(path)
    drawings = [given for tag, given in page.seen if tag == "svg"]
    assert len(drawings) == 6
    assert all("src" not in given for tag, given in page.seen if tag == "script")
    assert all(given["role"] == "img" for given in drawings)
    assert all(link.startswith("#") for link in page.links)
    assert len(page.ids) == len(set(page.ids))
    text = path.read_text(encoding="utf-8")
    assert not re.search(r"url\((?!#)", text)
    assert path.stat().st_size < 1_000_000
    for words in (
        "licensed structural engineer",
        "The bay",
        "Heights",
        "Moist air",
        "Refrigeration",
        "Janssen",
        "Bill of equipment",
        "what binds is",
    ):
        assert words in text
    assert text.index('<p class="verdict"') < text.index("Plan and section")
    assert text.index("Bill of equipment") < text.index("<h2>The checks")
    assert run(capsys, "seed_bay", "--html", str(path))[1].rstrip().endswith(f"Replaced {path}")


def test_page_of_a_bay_without_ducts_and_air(capsys, tmp_path, tables, bay_of):
    """Nothing to draw for ducts, and one fan off its curve leaves the air unknown."""
    bay = bay_of(tables | {"fans": tables["fans"] | {"count": 1}})
    status, out, _ = run(capsys, bay, "--html", str(tmp_path / "a.html"), "--sweep")
    assert status == 0
    assert "No height can be judged" in out
    assert "not drawn" in (tmp_path / "a.html").read_text(encoding="utf-8")
    del tables["ducts"]
    status, _, _ = run(capsys, bay_of(tables), "--html", str(tmp_path / "b.html"))
    assert status == 0
    assert "no [ducts] to draw" in (tmp_path / "b.html").read_text(encoding="utf-8")


def test_the_drawing_is_to_scale_and_dimensioned():
    """Plan: as many laterals as there are, each as wide against the pile as in the file."""
    bay = example_bay("fry_bay")
    picture = bay_picture(bay, 4.0, highest=5.0)
    boxes = [one.look for one in picture.shapes if one.tag == "rect"]
    earth, blue = ([b for b in boxes if b["fill"] == f"var({c})"] for c in ("--c4", "--c0"))
    plan, cut = earth
    scale = float(plan["width"]) / bay.pile.length
    assert float(plan["height"]) == pytest.approx(scale * bay.pile.width, abs=0.2)
    laterals = [b for b in blue if float(b["height"]) > 5 * float(b["width"])]
    assert len(laterals) == bay.ducts.laterals
    for one in laterals:
        assert float(one["width"]) == pytest.approx(scale * bay.ducts.lateral_diameter, abs=0.2)
        assert float(one["height"]) == pytest.approx(scale * bay.ducts.lateral_length, abs=0.2)
    assert float(cut["height"]) / float(cut["width"]) == pytest.approx(4.0 / 18.0, rel=0.01)
    words = {one.text for one in picture.shapes if one.tag == "text"}
    sizes = {"38.00 m", "18.00 m", "17.50 m", "2.70 m", "2.75 m", "4.00 m", "wall 6.00 m"}
    assert sizes <= words
    assert "highest that passes, 5.00 m" in words


def test_the_bill_names_all_that_a_bay_has_and_its_rating():
    bay = example_bay("fry_bay")
    rows = {row[0]: row[1:] for row in bill(bay)}
    rating = "250 Pa static pressure; motor 3.00 kW shaft power"
    assert rows["Fans"] == ["6", "15,005 m³/h each", rating]
    assert rows["Laterals, round"][0] == "16"
    assert "30.0 °C outside, R290" in rows["Refrigeration and coil"][2]
    assert "coil 4.00 K below the entering air" in rows["Refrigeration and coil"][2]
    assert rows["Insulation, walls"][1] == "RSI 5.0, 730.0 m²"  # 1/0.2 W/(m² K)
    bare = {row[0]: row[1:] for row in bill(replace(bay, humidifier=None, refrigeration=None))}
    assert bare["Humidifier"][0] == bare["Refrigeration"][0] == "none"


@pytest.mark.parametrize("along", ["length", "width"])
@pytest.mark.parametrize("shape", ["round", "half_round"])
def test_laterals_either_way(capsys, tmp_path, tables, bay_of, along, shape):
    tables["ducts"] |= {"plenum_along": along, "lateral_shape": shape}
    tables["ducts"] |= {"laterals": 6, "lateral_diameter": "40 inch", "port_area": "11 in2"}
    path = tmp_path / "c.html"
    status, out, err = run(capsys, bay_of(tables), "--html", str(path))
    assert (status, err) == (0, "")
    assert "evenness of the air along a lateral" in out
    page_of(path)


def test_a_written_bay_is_checked_like_the_one_it_came_from(capsys, tmp_path):
    path = tmp_path / "again.toml"
    path.write_text(bay_to_toml(example_bay(), "metric"), encoding="utf-8")
    assert run(capsys, str(path))[1] == run(capsys, "seed_bay")[1]


def test_limits_that_were_kept_are_those_of_the_bay_that_is_asked():
    bay = example_bay("seed_bay")
    fewer = replace(bay, fans=replace(bay.fans, count=2, airflow=bay.fans.airflow / 2.0))
    first, other, cold = (
        check_pile(bay, 4.0),
        check_pile(fewer, 4.0),
        check_pile(bay, 4.0, winter_temperature=-40.0),
    )
    for asked, kept, outside in ((bay, first, -20.0), (fewer, other, -20.0), (bay, cold, -40.0)):
        swept = check_pile(asked, sweep_heights(), winter_temperature=outside)  # keeps nothing
        again = check_pile(asked, 6.0, winter_temperature=outside)
        assert again.reaches == kept.reaches == swept.reaches
    assert other.reaches != first.reaches
    listed = replace(bay, lots=list(bay.lots))  # cannot be kept, and is answered all the same
    assert check_pile(listed, 4.0).reaches == first.reaches
