"""Lots: where they lie, what leaves first, rules for seed, which bay, and weight out against in."""

from __future__ import annotations

import json
import math
import re
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from ventcalc.bay.file import example_bay, example_bay_path
from ventcalc.commands.main import main
from ventcalc.logbook.allotment import allot
from ventcalc.logbook.folder import read_logbook
from ventcalc.logbook.lots import blocked_lots, face_at, lots_of, stretches_of
from ventcalc.logbook.probe_checks import salt_humidity
from ventcalc.logbook.seed_rules import BROKEN, CANNOT_SAY, KEPT, seed_findings
from ventcalc.logbook.weights import shrink_of
from ventcalc.logbook.writing import add_lines
from ventcalc.report.lots_text import outline

BAY = example_bay("seed_bay")
START = datetime(2026, 9, 18, 7, tzinfo=ZoneInfo(BAY.site.time_zone)).timestamp()
HOUR = 3600.0
SOUND = {"use": "seed", "variety": "Russet", "seed_class": "G2", "inspected": "yes"}
PER_METRE = BAY.pile.width * BAY.pile.height * BAY.pile.bulk_density


def book_of(folder: Path, bay=BAY, **kinds):
    """A season from lines without time, an hour after each other."""
    for kind, lines in kinds.items():
        told = [{"time": START + HOUR * k, **line} for k, line in enumerate(lines)]
        add_lines(folder, bay, kind, told, written=START)
    return read_logbook(folder, bay)


def truck(lot: str, tonnes: float = 27.0, **more):
    return {"lot": lot, "gross": 11e3 + 1e3 * tonnes, "tare": 11e3, **more}


@pytest.fixture
def folder(tmp_path):
    return tmp_path / "north.season"


# --- where they lie ----------------------------------------------------------------------


def test_lots_fill_from_the_back_wall_and_leave_by_the_door(folder):
    loads = [truck("Lot A", 40), truck("Lot A", 40), truck("Lot B", 40), truck("Lot C", 20)]
    first = book_of(folder, loads=loads)
    parts = stretches_of(BAY, first)
    assert [part.lot for part in parts] == ["Lot A", "Lot B", "Lot C"]
    assert [part.start for part in parts] == pytest.approx([0, 80e3 / PER_METRE, 120e3 / PER_METRE])
    assert parts[-1].end == pytest.approx(140e3 / PER_METRE)
    out = [truck("Lot C", 20, time=START + 9 * HOUR), truck("Lot A", 30, time=START + 10 * HOUR)]
    left = stretches_of(BAY, book_of(folder, weights_out=out))
    assert [(part.lot, part.mass) for part in left] == [("Lot A", 50e3), ("Lot B", 40e3)]
    assert left[0].start == 0.0
    assert left[0].end == pytest.approx(50e3 / PER_METRE)
    assert left[1] == pytest.approx(parts[1]), "what lies elsewhere stays there"


def test_a_lot_in_two_pieces_leaves_from_the_one_by_the_door(folder):
    turns = [truck("Lot A", 40), truck("Lot B", 40), truck("Lot A", 30)]
    out = [truck("Lot A", 35, time=START + 99 * HOUR)]
    left = stretches_of(BAY, book_of(folder, loads=turns, weights_out=out))
    assert [(part.lot, part.mass) for part in left] == [("Lot A", 35e3), ("Lot B", 40e3)]


def test_a_place_that_was_told_counts(folder):
    parts = stretches_of(BAY, book_of(folder, loads=[truck("Lot A"), truck("Lot B", place=20.0)]))
    assert 0.5 * (parts[1].start + parts[1].end) == pytest.approx(20.0)
    assert parts[1].start > parts[0].end, "a gap between lots is kept"


@pytest.mark.parametrize("place", [0.0, 1.0, 3.0, 12.0, 30.0, 36.0, 37.5, 38.1])
def test_faces_hold_what_a_level_pile_would(place):
    """Area under the face, by the corners of what lies behind it."""
    corners = [(0.0, 0.0)]
    (foot, low), (crest, top) = face_at(BAY, place)
    if low > 0.0:
        corners.append((BAY.pile.length, 0.0))
    corners += [(foot, low), (crest, top)]
    if crest > 0.0:
        corners.append((0.0, BAY.pile.height))
    assert area(corners) == pytest.approx(place * BAY.pile.height, abs=1e-9)
    if crest not in (0.0, foot):
        slope = math.degrees(math.atan2(top - low, foot - crest))
        assert slope == pytest.approx(BAY.pile.angle_of_repose)


def area(corners):
    pairs = zip(corners, [*corners[1:], corners[0]], strict=True)
    return 0.5 * sum(x * v - u * y for (x, y), (u, v) in pairs)


@pytest.mark.parametrize("tonnes", [(40, 500, 300), (900, 100, 800), (5, 5, 1800)])
def test_the_drawing_holds_the_mass_of_each_lot(folder, tonnes):
    loads = [
        truck(lot, 0.02 * t)
        for lot, t in zip(("Lot A", "Lot B", "Lot C"), tonnes, strict=True)
        for _ in range(50)
    ]
    for part in stretches_of(BAY, book_of(folder, loads=loads)):
        drawn = area(outline(BAY, part)) * BAY.pile.width * BAY.pile.bulk_density
        assert drawn == pytest.approx(part.mass, rel=1e-9)


# --- what leaves first -------------------------------------------------------------------


def test_what_speaks_against_a_long_stay_leaves_first(folder):
    lots = [
        {"lot": "sound", "keep_until": "2027-05-01"},
        {"lot": "sooner", "keep_until": "2027-03-01"},
        {"lot": "green", "maturity": "immature"},
        {"lot": "rotten"},
    ]
    loads = [truck("rotten", rot_share=0.06), truck("green"), truck("sooner"), truck("sound")]
    book = book_of(folder, lots=lots, loads=loads)
    states = lots_of(BAY, book)
    assert [state.entry.lot for state in states] == ["rotten", "green", "sooner", "sound"]
    assert [state.term for state in states] == ["first out", "mid season", "long", "long"]
    assert states[0].against == ("rot",)
    blocked = blocked_lots(stretches_of(BAY, book), states)
    assert blocked[0] == ("rotten", ("green", "sooner", "sound"))
    seen = {"what": "frost", "share": 0.2, "lot": "sound", "time": START + 9 * HOUR}
    states = lots_of(BAY, book_of(folder, observations=[seen]))
    # both must go at once; the one with a date is wanted earlier
    assert [(state.entry.lot, state.term) for state in states[:2]] == [
        ("sound", "first out"),
        ("rotten", "first out"),
    ]


# --- rules for seed ----------------------------------------------------------------------


def verdicts(book, bay=BAY):
    lots = lots_of(bay, book)
    return {f.key: f.verdict for f in seed_findings(bay, book, lots, stretches_of(bay, book))}


def test_a_clean_season_of_seed_keeps_the_rules(folder):
    clean = {"what": "disinfectant", "time": START - 99 * HOUR}
    lots = [{"lot": "Lot A", "disease": "none", **SOUND}]
    found = verdicts(book_of(folder, lots=lots, treatments=[clean], loads=[truck("Lot A")] * 1))
    assert found.pop("inhibitor_before") == CANNOT_SAY, "a blank page is no proof"
    assert set(found.values()) == {KEPT}
    assert len(found) == 8


@pytest.mark.parametrize(
    ("key", "kinds"),
    [
        ("inhibitor_before", {"treatments": [{"what": "sprout_inhibitor", "time": START - 5e6}]}),
        ("inhibitor_now", {"treatments": [{"what": "sprout_inhibitor", "time": START + 5e6}]}),
        ("identified", {"lots": [{"lot": "Lot A", **SOUND, "seed_class": None}]}),
        ("inspected", {"lots": [{"lot": "Lot A", **SOUND, "inspected": "no"}]}),
        ("disease", {"lots": [{"lot": "Lot A", **SOUND, "disease": "Ring rot"}]}),
        (
            "separate",
            {"lots": [{"lot": "Lot A", **SOUND}, {"lot": "Lot B", **SOUND, "seed_class": "G3"}]},
        ),
    ],
)
def test_a_rule_that_is_broken(folder, key, kinds):
    loads = [truck("Lot A"), truck("Lot B", 26)]
    assert verdicts(book_of(folder, **kinds, loads=loads))[key] == BROKEN


@pytest.mark.parametrize(
    ("time", "broken", "kept"),
    [(-5e6, "inhibitor_before", KEPT), (5e6, "inhibitor_now", CANNOT_SAY)],
)
def test_when_the_inhibitor_was_used_tells_which_rule_is_broken(folder, time, broken, kept):
    used = [{"what": "sprout_inhibitor", "time": START + time}]
    found = verdicts(book_of(folder, treatments=used, loads=[truck("Lot A")]))
    pair = {"inhibitor_before", "inhibitor_now"}
    assert found[broken] == BROKEN
    assert found[(pair - {broken}).pop()] == kept


def test_lots_loaded_in_turns_are_mixed(folder):
    turns = [truck("Lot A"), truck("Lot B"), truck("Lot A", 26)]
    assert verdicts(book_of(folder, loads=turns))["not_mixed"] == BROKEN


def test_no_rules_for_what_is_no_seed(tmp_path):
    fry = example_bay("fry_bay")
    book = book_of(tmp_path / "fry.season", fry, loads=[truck(fry.lots[0].name)])
    assert verdicts(book, fry) == {}


# --- which bay ---------------------------------------------------------------------------


def test_lots_go_where_they_may_fit_and_leave_together(tmp_path):
    fry = replace(example_bay("fry_bay"), name="Fries")
    north, south = (replace(BAY, name=name) for name in ("North", "South"))
    used = [{"what": "sprout_inhibitor", "time": START - 9e6}]
    lots = [
        {"lot": "big", "mass": 1.5e6, **SOUND, "keep_until": "2027-05-01"},
        {"lot": "more", "mass": 0.2e6, **SOUND, "keep_until": "2027-03-01"},
        {"lot": "chips", "mass": 0.4e6, "use": "chips"},
        {"lot": "fries", "mass": 0.4e6, "use": "fries"},
    ]
    bays = {
        "Fries": (fry, book_of(tmp_path / "f.season", fry)),
        "North": (north, book_of(tmp_path / "n.season", north, lots=lots)),
        "South": (south, book_of(tmp_path / "s.season", south, treatments=used)),
    }
    found = {placing.lot: placing for placing in allot(bays)}
    assert {lot: placing.bay for lot, placing in found.items()} == {
        "big": "North",
        "more": "North",
        "fries": "Fries",
        "chips": "",
    }
    assert (found["big"].order, found["more"].order) == (1, 2), "what leaves last goes in first"
    assert found["more"].until == "2027-03-01"
    assert "South: is kept for seed, the lot is chips" in found["chips"].reasons
    assert sum(placing.mass for placing in found.values()) == pytest.approx(2.5e6)


def test_a_lot_too_large_for_a_bay_is_split(tmp_path):
    lots = [{"lot": "big", "mass": 2.5e6, **SOUND}]
    bays = {
        "North": (BAY, book_of(tmp_path / "n.season", lots=lots)),
        "South": (BAY, book_of(tmp_path / "s.season", loads=[truck("Lot A", 50)])),
    }
    placings = allot(bays)
    assert [placing.bay for placing in placings] == ["North", "South"]
    assert sum(placing.mass for placing in placings) == pytest.approx(2.5e6)
    assert placings[0].mass == pytest.approx(BAY.pile.capacity)


def bays_with(tmp_path, lot, *there):
    """Two bays for seed, each with what is told; the lot is announced in the first."""
    found = {}
    for name, kinds in zip(("North", "South"), there, strict=True):
        announced = {"lots": [*kinds.get("lots", []), *([lot] if not found else [])]}
        book = book_of(tmp_path / f"{name}.season", **{**kinds, **announced})
        found[name] = (replace(BAY, name=name), book)
    return found


def test_a_lot_goes_where_it_fits_whole_and_not_where_it_nearly_fills_the_bay(tmp_path):
    lot = {"lot": "new", "mass": 1.1e6, **SOUND}
    there = [truck("Lot A", 80 + k) for k in range(9)]  # leaves 1.06e6 kg
    nearly = {"lots": [{"lot": "Lot A", **SOUND}], "loads": there}
    assert [p.bay for p in allot(bays_with(tmp_path, lot, nearly, {}))] == ["South"]


@pytest.mark.parametrize(("maturity", "bay"), [("mature", "South"), ("immature", "North")])
def test_a_lot_lies_with_those_that_leave_with_it(tmp_path, maturity, bay):
    lot = {"lot": "new", "mass": 1e5, **SOUND, "maturity": maturity}
    green = {"lots": [{"lot": "green", "maturity": "immature"}], "loads": [truck("green", 60)]}
    ripe = {"lots": [{"lot": "ripe", "maturity": "mature"}], "loads": [truck("ripe", 60)]}
    (placing,) = allot(bays_with(tmp_path, lot, green, ripe))
    assert placing.bay == bay
    assert "lies with lots that leave at about the same time" in placing.reasons


@pytest.mark.parametrize(
    ("told", "there", "why"),
    [
        ({}, {"treatments": [{"what": "sprout_inhibitor"}]}, "sprout inhibitor was used there"),
        (
            {},
            {"lots": [{"lot": "sick", "disease": "ring rot"}], "loads": [truck("sick")]},
            "a lot lies there that bears a disease",
        ),
        ({"disease": "root-knot"}, {"loads": [truck("Lot A")]}, "the lot bears a disease"),
        ({"inspected": "no"}, {"loads": [truck("Lot A")]}, "the lot is not inspected"),
    ],
)
def test_seed_stays_out_of_a_bay_that_would_cost_its_certificate(tmp_path, told, there, why):
    lot = {"lot": "new", "mass": 1e5, **SOUND, **told}
    (placing,) = allot(bays_with(tmp_path, lot, there, there))
    assert placing.bay == ""
    assert placing.reasons[0].startswith("North: ")
    assert why in placing.reasons[0]


# --- weight out against weight in --------------------------------------------------------


def test_shrink_with_its_uncertainty(folder):
    """95 of 100 t come out; soil told by sample: 1 % doubt each way, 0.1 % of the scales."""
    soil = {"soil_share": 0.0}
    loads = [truck("Lot A", 25, **soil) for _ in range(4)]
    late = {"time": START + 4000 * HOUR}
    out = [
        truck("Lot A", 47.5, **soil, **late),
        truck("Lot A", 47.5, **soil, last="yes", ticket="2", **late),
    ]
    book = book_of(folder, loads=loads, weights_out=out)
    found = shrink_of(book, "Lot A")
    assert found.complete
    assert found.mass_loss == pytest.approx(0.05)
    assert found.doubt == pytest.approx(0.95 * math.sqrt(2 * (0.01**2 + 0.001**2)))
    assert shrink_of(book, "Lot A", same_scale=True).doubt == pytest.approx(0.95 * 0.01 * 2**0.5)
    assert shrink_of(book).mass_loss == pytest.approx(0.05)


def test_soil_that_nobody_sampled_doubles_the_doubt(folder):
    out = [truck("Lot A", 26, last="yes", soil_share=0.0, time=START + 99 * HOUR)]
    found = shrink_of(book_of(folder, loads=[truck("Lot A")], weights_out=out), same_scale=True)
    assert found.doubt == pytest.approx(26 / 27 * math.hypot(0.02, 0.01))


def test_no_shrink_is_told_before_the_last_truck(folder):
    loads = [truck("Lot A"), truck("Lot B", 26)]
    out = [truck("Lot A", 20, last="yes", time=START + 99 * HOUR)]
    book = book_of(folder, loads=loads, weights_out=out)
    assert shrink_of(book, "Lot A").complete
    assert math.isnan(shrink_of(book, "Lot B").mass_loss)
    assert not shrink_of(book).complete
    assert shrink_of(book).mass_out == 20e3


# --- probes ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("salt", "temperature", "humidity"),
    [
        # Greenspan, J. Res. NBS 81A (1977) 89: values at 20 °C and 25 °C, from memory
        ("NaCl", 20.0, 0.7547),
        ("NaCl", 25.0, 0.7529),
        ("KCl", 20.0, 0.8511),
        ("K2SO4", 20.0, 0.9759),
        ("K2SO4", 25.0, 0.9730),
        # Wexler and Hasegawa, J. Res. NBS 53 (1954) 19, abstract: 75.6 % at 30 °C
        ("NaCl", 30.0, 0.756),
    ],
)
def test_humidity_over_a_salt(salt, temperature, humidity):
    assert salt_humidity(salt, temperature) == pytest.approx(humidity, abs=0.01)


@pytest.fixture
def run(capsys, tmp_path):
    path = tmp_path / "north.toml"
    path.write_text(example_bay_path().read_text(encoding="utf-8"), encoding="utf-8")

    def call(command, *words):
        status = main([command, str(path), *map(str, words)])
        out, err = capsys.readouterr()
        return status, out, err.replace("ventcalc: ", "")

    return call


def test_a_check_of_a_probe_tells_its_offset(run):
    _, out, _ = run("log", "sensor_checks", "probe=top", "method=ice_bath", "reading=0.4 degC")
    assert out.splitlines()[1] == "top: temperature 0.40 K too high"
    words = ("probe=plenum", "method=NaCl", "reading_rh=72 %", "true=20 degC")
    _, out, _ = run("log", "sensor_checks", *words)
    assert re.fullmatch(r"plenum: humidity 3\.[3-6]% too low \(a salt is .*\)", out.splitlines()[1])
    status, _, err = run("log", "sensor_checks", "probe=plenum", "method=NaCl")
    assert (status, err.strip()) == (
        2,
        "a check by NaCl needs reading_rh, and true for the temperature of the jar",
    )
    _, out, _ = run("log", "sensor_checks")
    assert "Reading less truth" in out


# --- the command -------------------------------------------------------------------------


def test_lots_in_words_as_data_and_drawn(run, tmp_path):
    folder = tmp_path / "north.season"
    book_of(
        folder, lots=[{"lot": "A <1>", **SOUND}], loads=[truck("A <1>", 40), truck("Lot B", 40)]
    )
    page = tmp_path / "lots.html"
    status, out, err = run("lots", "--html", page)
    assert (status, err) == (0, "")
    bar = next(line for line in out.splitlines() if line.startswith("  |"))
    assert bar == f"  |{'A' * 2}{'B' * 1}{'.' * 69}|"
    assert "cannot say: no seed where sprout inhibitor was used" in out
    text = page.read_text(encoding="utf-8")
    assert text.count("<polygon") == 2
    assert "A &lt;1&gt;" in text
    assert "A <1>" not in text
    data = json.loads(run("lots", "--json")[1])["bays"][0]
    assert [part["lot"] for part in data["stretches"]] == ["A <1>", "Lot B"]
    assert data["unloading_order"] == ["A <1>", "Lot B"]


def test_a_plan_in_words(run, tmp_path):
    status, out, _ = run("lots", "--plan")
    assert (status, out.startswith("No lot is announced")) == (0, True)
    run("log", "lots", "lot=D", "mass=1e6 lb", "use=seed", "keep_until=2027-03-01")
    _, out, _ = run("lots", "--plan", "--units", "us")
    assert out.splitlines()[0] == "Seed bay (invented), in this order:"
    assert "1. D, 1,000,000 lb, until 2027-03-01: the bay is empty" in out
